/* Moisture transport through the thickness of one member.
 *
 * Method: one-dimensional finite volumes, n equal cells across the thickness; moisture-dependent
 * transverse diffusivity (Siau 1984, tabulated per specific gravity) at the faces between cells;
 * each outer face exchanges through its surface emission (air film) in series with its finish.
 * Time: the two-stage Rosenbrock method ROS2 as a W-method (Verwer, Spee, Blom, Hundsdorfer 1999,
 * gamma = 1 - 1/sqrt 2), second order, L-stable; a step whose embedded error exceeds 0.05 % MC is
 * halved. Mass is conserved to rounding. moisture.c tells why so and what was measured.
 * Units: metres, seconds, degC, moisture content percent of oven-dry mass. */
#ifndef CORE_MOISTURE_H
#define CORE_MOISTURE_H

#include <stddef.h>

enum { MOISTURE_CELLS = 16, MOISTURE_CELLS_MAX = 256 };

#define MOISTURE_SEALED 1e30 /* s/m: a finish resistance that lets nothing through */

struct moisture_diffusivity; /* D(T, MC) of one specific gravity, immutable once made */

/* Owned by the caller: release with moisture_diffusivity_free. NULL when out of memory.
 * specific_gravity: oven-dry mass over green or 12 % volume, 0.1..1.3. */
struct moisture_diffusivity *moisture_diffusivity_new(double specific_gravity);

/* The same D at every temperature and moisture, for checks against analytic solutions. */
struct moisture_diffusivity *moisture_diffusivity_constant(double d_m2_s);
void moisture_diffusivity_free(struct moisture_diffusivity *d);

/* Transverse diffusivity m2/s, interpolated as the transport step does: within 0.6 % of Siau's model
 * (0.3 % at 5..35 degC) in -20..60 degC and 0..30 % MC, clamped outside. */
double moisture_diffusivity_at(const struct moisture_diffusivity *d, double t_degc, double mc_pct);

/* Siau's model itself, m2/s (Siau 1984 eqs 1.2, 6.14, 6.15, 6.18, 6.19, 6.22; Simpson 1973). */
double moisture_siau_m2_s(double t_degc, double mc_pct, double specific_gravity);

/* One member's constants. Plain data; d_ref is borrowed and must outlive it. */
struct moisture_slab {
	const struct moisture_diffusivity *d_ref;
	size_t n; /* cells, 2..MOISTURE_CELLS_MAX */
	double dx_m; /* thickness / n */
	double finish_s_m[2]; /* of each face; 0 bare, MOISTURE_SEALED lets nothing through */
	double film_m_s; /* surface emission of bare wood at 0 % MC; < 0: Toratti's law */
	double film_exp; /* it grows as exp(film_exp * mc / 100); Toratti's law has its own */
};

/* What entered through each face during a step, in %MC * metre (positive into the wood). */
struct moisture_flow {
	double in_pct_m[2];
};

void moisture_fill(double *mc_pct, size_t n, double value_pct);

/* Advances mc_pct[s->n] by dt_s with constant air on each face: eq_mc_pct is the equilibrium
 * moisture content of the air at face 0 and face 1, t_degc the wood's temperature. A cell may
 * overshoot what its start and the air allow by as much as the error bound, 0.05 % MC. NAN in the
 * air makes NAN in the wood. */
struct moisture_flow moisture_step(const struct moisture_slab *s, double *mc_pct,
	const double eq_mc_pct[2], double t_degc, double dt_s);

double moisture_mean(const double *mc_pct, size_t n);

#endif
