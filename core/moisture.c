/* Method
 * u' = F(u) in flux form: the flux through face i is face[i] times the difference across it. A is F
 * with the faces frozen at the old state, so that I - gamma dt A is symmetric, diagonally dominant
 * and tridiagonal, and one factorisation serves both stages:
 *   (I - gamma dt A) k1 = F(u),  (I - gamma dt A) k2 = F(u + dt k1) - 2 k1,
 *   u + dt (3 k1 + k2) / 2;  embedded error dt |k1 + k2| / 2 (Verwer et al. 1999).
 * Second order holds for any A, so D's slope is not needed. Adding the first equation to the second
 * gives k1 + k2 at once, and with it the step as one flux a face,
 *   dt / 2 [ f(u) + f(u + dt k1) + gamma dt a (k1 + k2) ],  a the frozen flux, linear.
 * Cells are updated by those, so mass is conserved to rounding however well the solves went. The
 * matrix is eliminated from both faces towards the middle, with one division a cell.
 *
 * gamma is the smaller root. On hourly air of a Finnish house the larger errs eight times as much
 * (mean of a 2.7 mm plate, rms: 0.0007 against 0.0001 % MC). It damps without changing sign where
 * the smaller overshoots by up to a fifth of a jump that is fast against the step, but such a step
 * has an embedded error of the same size and is halved.
 * ERROR_PCT: with 0.05 every cell stays within 0.010 % MC of a 16 times finer run at 1.09 stage
 * pairs an hour; 0.1 gives 0.019 at 1.01, 0.02 gives 0.004 at 1.7. */
#include "moisture.h"

#include <math.h>

#include "mem.h"

#define KELVIN_AT_0_DEGC 273.15 /* K; exact, SI definition */
#define GAS_CAL 1.9872 /* cal/(mol K) */
#define GAS_CMHG 6236.0 /* cm3 cmHg/(mol K); Siau's value */
#define WATER_G_MOL 18.0
#define WALL_GRAVITY                                                                               \
	1.54 /* of the cell wall; 1.5 in 6.19 (from memory) changes D by 0.4 % at most */
#define SEALED_FROM 1e29 /* s/m */
#define TORATTI_M_S 3.2e-8 /* surface emission at 0 % MC (Toratti 1992); from memory */
#define TORATTI_EXP 4.0

/* The table of D: -20..60 degC by 2.5, 0..30 % MC by 0.5, and one row and one column more, so that
 * the upper neighbour of a clamped place always exists. */
#define T_LOW_DEGC (-20.0)
#define T_PER_DEGC 0.4
#define T_SPAN 32.0
#define MC_PER_PCT 2.0
#define MC_SPAN 60.0
enum { T_ROWS = 34, MC_COLUMNS = 62 };

#define GAMMA 0.29289321881345248 /* 1 - 1 / sqrt(2) */
#define ERROR_PCT 0.05 /* embedded error of one step, any cell */
enum { HALVINGS = 12 }; /* a day becomes steps of 21 s at the finest */

struct row {
	double d[MC_COLUMNS];
};

struct moisture_diffusivity {
	struct row row[T_ROWS];
};

/* Scratch of one step, on the stack. Face i lies before cell i, face n after the last cell. Fluxes
 * run from face 0 towards face n, as the change of a cell's content in percent over the step; flux is
 * first of the old state, then of both stages, in the end of the step. */
struct work {
	struct row d; /* D(MC) at the wood's temperature */
	double face[MOISTURE_CELLS_MAX + 1]; /* flux per difference across it, at the old state */
	double flux[MOISTURE_CELLS_MAX + 1];
	double mid_face[MOISTURE_CELLS_MAX + 1];
	double mid_flux[MOISTURE_CELLS_MAX + 1];
	double mid[MOISTURE_CELLS_MAX]; /* state of the second stage */
	double share[MOISTURE_CELLS_MAX]; /* factors of the matrix: of a cell in its next one */
	double inverse[MOISTURE_CELLS_MAX];
	double first[MOISTURE_CELLS_MAX]; /* dt k1 */
	double both[MOISTURE_CELLS_MAX]; /* dt (k1 + k2) */
};

/* Slope of relative vapour pressure by moisture content as a fraction: Bradley's isotherm after
 * Simpson 1973 eqs 10, 22-24, T in degF. */
static double vapour_slope(double t_degc, double mc_pct)
{
	double t_f = 1.8 * t_degc + 32;
	double l1 = 0.839 + t_f * (2.02e-5 + t_f * -1.56e-6);
	double l2 = 3.56 + t_f * (0.00392 + t_f * -4.45e-5);
	double l3 = 0.0219 + 1.64e-5 * t_f;
	double power = l2 * pow(l1, mc_pct);
	return -100 * log(l1) * power * exp(-(power + l3));
}

double moisture_siau_m2_s(double t_degc, double mc_pct, double specific_gravity)
{
	double t_k = t_degc + KELVIN_AT_0_DEGC;
	double bound = 0.07 * exp(-(9200 - 70 * mc_pct) / (GAS_CAL * t_k));
	double in_air = 0.220 * pow(t_k / 273, 1.75);
	double p0_cmhg = 8.75e7 * exp(-10400 / (GAS_CAL * t_k));
	double wall_gravity = WALL_GRAVITY / (1 + 0.015 * mc_pct);
	double vapour = WATER_G_MOL * in_air * p0_cmhg * vapour_slope(t_degc, mc_pct) /
			(wall_gravity * GAS_CMHG * t_k);
	double wall = specific_gravity / WALL_GRAVITY;
	double d_cm2_s = bound * vapour / (wall * (bound + vapour * (1 - sqrt(1 - wall))));
	return d_cm2_s * 1e-4;
}

struct moisture_diffusivity *moisture_diffusivity_new(double specific_gravity)
{
	struct moisture_diffusivity *d = mem_new(1, sizeof *d);
	for (int t = 0; d && t < T_ROWS; t++)
		for (int m = 0; m < MC_COLUMNS; m++)
			d->row[t].d[m] = moisture_siau_m2_s(
				T_LOW_DEGC + t / T_PER_DEGC, m / MC_PER_PCT, specific_gravity);
	return d;
}

struct moisture_diffusivity *moisture_diffusivity_constant(double d_m2_s)
{
	struct moisture_diffusivity *d = mem_new(1, sizeof *d);
	for (int t = 0; d && t < T_ROWS; t++)
		for (int m = 0; m < MC_COLUMNS; m++)
			d->row[t].d[m] = d_m2_s;
	return d;
}

void moisture_diffusivity_free(struct moisture_diffusivity *d)
{
	mem_free(d);
}

/* Clamped to 0..high; NAN gives 0, so that an index made of it is safe. */
static double within(double x, double high)
{
	x = x > 0 ? x : 0;
	return x < high ? x : high;
}

static void row_at(const struct moisture_diffusivity *d, double t_degc, struct row *out)
{
	double at = within((t_degc - T_LOW_DEGC) * T_PER_DEGC, T_SPAN);
	int i = (int)at;
	double share = at - i;
	const struct row *cold = &d->row[i], *warm = &d->row[i + 1];
	for (int m = 0; m < MC_COLUMNS; m++)
		out->d[m] = cold->d[m] + share * (warm->d[m] - cold->d[m]);
}

static double look_up(const struct row *row, double mc_pct)
{
	double at = within(mc_pct * MC_PER_PCT, MC_SPAN);
	int i = (int)at;
	return row->d[i] + (at - i) * (row->d[i + 1] - row->d[i]);
}

double moisture_diffusivity_at(const struct moisture_diffusivity *d, double t_degc, double mc_pct)
{
	struct row row;
	row_at(d, t_degc, &row);
	return look_up(&row, mc_pct);
}

/* Surface emission. Moisture beyond the table counts as its end here too: a stage that strays must
 * not blow the exponential up. */
static double film_m_s(const struct moisture_slab *s, double mc_pct)
{
	double u = within(mc_pct, MC_SPAN / MC_PER_PCT) / 100;
	if (s->film_m_s < 0)
		return TORATTI_M_S * exp(TORATTI_EXP * u);
	return s->film_m_s * exp(s->film_exp * u);
}

/* Conductance from the centre of an outer cell to the air. */
static double outer_m_s(
	const struct moisture_slab *s, const struct row *d, size_t side, double mc_pct)
{
	double finish_s_m = s->finish_s_m[side];
	if (finish_s_m >= SEALED_FROM)
		return 0;
	return 1 / (1 / film_m_s(s, mc_pct) + finish_s_m + s->dx_m / (2 * look_up(d, mc_pct)));
}

static void fluxes(const struct moisture_slab *s, const struct row *d, const double *mc,
	const double eq[2], double dt_s, double *face, double *flux)
{
	size_t n = s->n;
	double outside = dt_s / s->dx_m, inside = outside / s->dx_m;
	face[0] = outside * outer_m_s(s, d, 0, mc[0]);
	flux[0] = face[0] * (eq[0] - mc[0]);
	for (size_t i = 1; i < n; i++) {
		face[i] = inside * look_up(d, 0.5 * (mc[i - 1] + mc[i]));
		flux[i] = face[i] * (mc[i - 1] - mc[i]);
	}
	face[n] = outside * outer_m_s(s, d, 1, mc[n - 1]);
	flux[n] = face[n] * (mc[n - 1] - eq[1]);
}

/* Takes one cell out of I - gamma dt A. A pivot is kept as its excess over the coupling to the next
 * cell, a sum of positive terms, so that nothing cancels; returns what the next one's grows by. */
static double eliminate(struct work *w, size_t cell, double coupling, double excess)
{
	w->inverse[cell] = 1 / (excess + coupling);
	w->share[cell] = coupling * w->inverse[cell];
	return w->share[cell] * excess;
}

/* From both faces towards the middle cell: two short chains that do not wait for each other. */
static void factor(struct work *w, size_t n)
{
	size_t middle = n / 2;
	double left = GAMMA * w->face[0], right = GAMMA * w->face[n];
	for (size_t i = 0, j = n - 1; i < middle; i++, j--) {
		left = eliminate(w, i, GAMMA * w->face[i + 1], 1 + left);
		if (j > middle)
			right = eliminate(w, j, GAMMA * w->face[j], 1 + right);
	}
	w->inverse[middle] = 1 / (1 + left + right);
}

static void solve(const struct work *w, double *x, size_t n)
{
	size_t middle = n / 2;
	double left = 0, right = 0;
	for (size_t i = 0, j = n - 1; i < middle; i++, j--) {
		x[i] += left;
		left = w->share[i] * x[i];
		if (j > middle) {
			x[j] += right;
			right = w->share[j] * x[j];
		}
	}
	x[middle] = left = right = (x[middle] + left + right) * w->inverse[middle];
	for (size_t i = middle, j = middle; i-- > 0;) {
		x[i] = left = x[i] * w->inverse[i] + w->share[i] * left;
		if (++j < n)
			x[j] = right = x[j] * w->inverse[j] + w->share[j] * right;
	}
}

/* Both stages of a step; returns the embedded error, percent of the worst cell. */
static double stages(const struct moisture_slab *s, struct work *w, const double *mc,
	const double eq[2], double dt_s)
{
	size_t n = s->n;
	fluxes(s, &w->d, mc, eq, dt_s, w->face, w->flux);
	factor(w, n);
	for (size_t i = 0; i < n; i++)
		w->first[i] = w->flux[i] - w->flux[i + 1];
	solve(w, w->first, n);
	for (size_t i = 0; i < n; i++)
		w->mid[i] = mc[i] + w->first[i];
	fluxes(s, &w->d, w->mid, eq, dt_s, w->mid_face, w->mid_flux);
	for (size_t i = 0; i <= n; i++)
		w->flux[i] += w->mid_flux[i];
	for (size_t i = 0; i < n; i++)
		w->both[i] = w->flux[i] - w->flux[i + 1] - 2 * w->first[i];
	solve(w, w->both, n);
	double worst = 0;
	for (size_t i = 0; i < n; i++)
		worst = fabs(w->both[i]) > worst ? fabs(w->both[i]) : worst;
	return 0.5 * worst;
}

/* The new state through the faces: what leaves one cell enters the next. */
static void apply(
	const struct moisture_slab *s, struct work *w, double *mc, struct moisture_flow *flow)
{
	size_t n = s->n;
	double *flux = w->flux, *both = w->both;
	flux[0] = 0.5 * (flux[0] - GAMMA * w->face[0] * both[0]);
	for (size_t i = 1; i < n; i++)
		flux[i] = 0.5 * (flux[i] + GAMMA * w->face[i] * (both[i - 1] - both[i]));
	flux[n] = 0.5 * (flux[n] + GAMMA * w->face[n] * both[n - 1]);
	for (size_t i = 0; i < n; i++)
		mc[i] += flux[i] - flux[i + 1];
	flow->in_pct_m[0] += flux[0] * s->dx_m;
	flow->in_pct_m[1] -= flux[n] * s->dx_m;
}

static void advance(const struct moisture_slab *s, struct work *w, double *mc, const double eq[2],
	double dt_s, int halvings, struct moisture_flow *flow)
{
	double off_pct = stages(s, w, mc, eq, dt_s);
	if (off_pct > ERROR_PCT && halvings > 0) {
		advance(s, w, mc, eq, dt_s / 2, halvings - 1, flow);
		advance(s, w, mc, eq, dt_s / 2, halvings - 1, flow);
	} else {
		apply(s, w, mc, flow);
	}
}

struct moisture_flow moisture_step(const struct moisture_slab *s, double *mc_pct,
	const double eq_mc_pct[2], double t_degc, double dt_s)
{
	struct work w;
	struct moisture_flow flow = { { 0, 0 } };
	row_at(s->d_ref, t_degc, &w.d);
	advance(s, &w, mc_pct, eq_mc_pct, dt_s, HALVINGS, &flow);
	return flow;
}

void moisture_fill(double *mc_pct, size_t n, double value_pct)
{
	for (size_t i = 0; i < n; i++)
		mc_pct[i] = value_pct;
}

double moisture_mean(const double *mc_pct, size_t n)
{
	double sum = 0;
	for (size_t i = 0; i < n; i++)
		sum += mc_pct[i];
	return sum / (double)n;
}
