/* Free shrinkage and swelling of wood.
 * Units: coefficients as fraction per 1 % MC, shrinkage S in percent green to oven-dry, moisture in
 * percent. Source: Wood Handbook FPL-GTR-190 (2010) ch. 13 eqs 13-2 and 13-3. */
#ifndef CORE_STRAIN_H
#define CORE_STRAIN_H

/* Relative change of a dimension from mc_from to mc_to by eq. 13-2 (valid 6..14 % MC). */
double strain_linear(double c_per_pct, double mc_from_pct, double mc_to_pct);

/* The same by eq. 13-3, from total shrinkage; valid from 0 to start_pct. Moisture above start_pct
 * counts as start_pct. start_pct: where shrinkage begins, 30 for most species. */
double strain_general(double s_pct, double start_pct, double mc_from_pct, double mc_to_pct);

/* C from S: the slope of eq. 13-3 at 10 % MC. */
double strain_coefficient(double s_pct, double start_pct);

/* Coefficient across a board whose growth rings stand at ring_deg to that direction: 0 = the
 * direction is radial, 90 = tangential. c_r cos^2 + c_t sin^2 (strain tensor rotation; exact). */
double strain_at_angle(double c_r_per_pct, double c_t_per_pct, double ring_deg);

#endif
