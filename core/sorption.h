/* Equilibrium moisture content of wood in air.
 * Units: temperature degC, rh fraction 0..1, moisture content percent of oven-dry mass.
 * Source: Wood Handbook FPL-GTR-190 (2010) eq. 4-5, the Hailwood-Horrobin two-hydrate fit with SI
 * coefficients. Valid about -1..55 degC; temperatures outside are clamped to -20..60, rh to 0..1. */
#ifndef CORE_SORPTION_H
#define CORE_SORPTION_H

double sorption_mc_pct(double t_degc, double rh);

/* Inverse: the rh in equilibrium with mc_pct (0..saturation at rh 1; more gives 1). */
double sorption_rh(double t_degc, double mc_pct);

#endif
