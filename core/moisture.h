/* Moisture transport through the thickness of one piece of wood, or of two glued face to face.
 *
 * Method: one-dimensional finite volumes, equal cells across each piece; moisture-dependent
 * transverse diffusivity (Siau 1984, tabulated per specific gravity) at the faces between cells;
 * each outer face exchanges through its surface emission (air film) in series with its finish; at a
 * glue line the two half cells and the glue stand in series.
 * Time: the two-stage Rosenbrock method ROS2 as a W-method (Verwer, Spee, Blom, Hundsdorfer 1999,
 * gamma = 1 - 1/sqrt 2), second order, L-stable; a step whose embedded error exceeds 0.05 % MC is
 * halved. Mass is conserved to rounding. moisture.c tells why so and what was measured.
 * Units: metres, seconds, degC, moisture content percent of oven-dry mass. */
#ifndef CORE_MOISTURE_H
#define CORE_MOISTURE_H

#include <stddef.h>

enum { MOISTURE_CELLS = 16, MOISTURE_CELLS_MAX = 256 };

#define MOISTURE_SEALED 1e30 /* s/m: a finish resistance that lets nothing through */

/* Wood of one specific gravity and its D(T, MC), immutable once made. */
struct moisture_diffusivity;

/* Owned by the caller: release with moisture_diffusivity_free. NULL when out of memory.
 * specific_gravity: oven-dry mass over green or 12 % volume, 0.1..1.3. */
struct moisture_diffusivity *moisture_diffusivity_new(double specific_gravity);

/* The same D at every temperature and moisture, for checks against analytic solutions. */
struct moisture_diffusivity *moisture_diffusivity_constant(double d_m2_s, double specific_gravity);
void moisture_diffusivity_free(struct moisture_diffusivity *d);

/* Transverse diffusivity m2/s, interpolated as the transport step does: within 0.6 % of Siau's model
 * (0.3 % at 5..35 degC) in -20..60 degC and 0..30 % MC, clamped outside. */
double moisture_diffusivity_at(const struct moisture_diffusivity *d, double t_degc, double mc_pct);

/* Siau's model itself, m2/s (Siau 1984 eqs 1.2, 6.14, 6.15, 6.18, 6.19, 6.22; Simpson 1973). */
double moisture_siau_m2_s(double t_degc, double mc_pct, double specific_gravity);

/* One piece of wood. Plain data; d_ref is borrowed and must outlive it. */
struct moisture_slab {
	const struct moisture_diffusivity *d_ref;
	size_t n; /* cells, even, 2..MOISTURE_CELLS_MAX */
	double dx_m; /* thickness / n */
	double finish_s_m[2]; /* of each face; 0 bare, MOISTURE_SEALED lets nothing through */
	double film_m_s; /* surface emission of bare wood at 0 % MC, not 0; < 0: Toratti's law */
	double film_exp; /* it grows as exp(film_exp * mc / 100), 0..10; Toratti's law has its own */
};

/* One piece, or two glued face 1 on face 0, each of as many cells. Moisture content is one potential
 * for both woods (they share one isotherm), so it does not jump where they meet. The finishes of the
 * glued faces are not looked at. */
struct moisture_column {
	struct moisture_slab piece[2];
	size_t n_pieces; /* 1 or 2 */
	double glue_s_m; /* resistance of the glue line: water flux = difference / it; 0 none */
};

/* What entered through each outer face during a step, positive into the wood, in %MC * metre *
 * specific gravity (ten times that are kg/m2). The sum is what the cells together have gained. */
struct moisture_flow {
	double in_pct_m[2];
};

/* A column with its moisture and its air. Pointers are borrowed. */
struct moisture_lane {
	const struct moisture_column *column_ref;
	double *mc_pct[2]; /* of each piece, cells in the order from face 0 to face 1; advanced */
	double eq_mc_pct[2]; /* equilibrium moisture content of the air at the two outer faces */
	double t_degc; /* of the wood */
	struct moisture_flow flow; /* set by the step */
};

void moisture_fill(double *mc_pct, size_t n, double value_pct);

/* Advances each lane by dt_s > 0 with constant air. Lanes may be of unlike columns in any order; each
 * ends with the same bits as if stepped alone. No two lanes may share moisture. A cell may
 * overshoot what its start and the air allow by as much as the error bound, 0.05 % MC. NAN in the
 * air makes NAN in the wood. */
void moisture_step_lanes(struct moisture_lane *lanes, size_t n, double dt_s);

/* The same for a single piece. */
struct moisture_flow moisture_step(const struct moisture_slab *s, double *mc_pct,
	const double eq_mc_pct[2], double t_degc, double dt_s);

double moisture_mean(const double *mc_pct, size_t n);

#endif
