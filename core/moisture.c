/* Method
 * u' = F(u) in flux form: the flux through face i is face[i] times the difference across it. A is F
 * with the faces frozen at the old state, so that I - gamma dt A is symmetric, diagonally dominant
 * and tridiagonal, and one factorisation serves both stages:
 *   (I - gamma dt A) k1 = F(u),  (I - gamma dt A) k2 = F(u + dt k1) - 2 k1,
 *   u + dt (3 k1 + k2) / 2;  embedded error dt |k1 + k2| / 2 (Verwer et al. 1999).
 * Second order holds for any A, so D's slope is not needed. Adding the first equation to the second
 * gives k1 + k2 at once, and with it the step as one flux a face,
 *   dt / 2 [ f(u) + f(u + dt k1) + gamma dt a (k1 + k2) ],  a the frozen flux, linear.
 * Cells are updated by those, so mass is conserved to rounding however well the solves went.
 * A column is folded in the middle (where the glue line is, if it has one): its two halves are the
 * two elements of a vector, eliminated together from the outer faces to the two cells in the middle.
 * All is in water, %MC * metre * specific gravity: a cell holds capacity * mc.
 *
 * gamma is the smaller root. On hourly air of a Finnish house the larger errs eight times as much
 * (mean of a 2.7 mm plate, rms: 0.0007 against 0.0001 % MC). It damps without changing sign where
 * the smaller overshoots by up to a fifth of a jump that is fast against the step, but such a step
 * has an embedded error of the same size and is halved.
 * ERROR_PCT: with 0.05 every cell stays within 0.010 % MC of a 16 times finer run at 1.09 stage
 * pairs an hour; 0.1 gives 0.019 at 1.01, 0.02 gives 0.004 at 1.7.
 *
 * Speed, against a bare loop of the same cells (tests/bench/moisture.c; two elements a vector, as any
 * x86-64 and arm64 has): folding, one division a cell and no call of exp took a step from 0.86 to
 * 0.54. Four columns abreast cost 0.38 each: a pass is a chain of additions and divisions that wait
 * for one another, and the processor works on the next column meanwhile. Eight abreast are no
 * better, two a little worse. Of a step half is looking D up: entries that hold line and difference
 * to the next row beat two rows by 5 %; a polynomial in MC needs degree 10 for the same accuracy.
 * A matrix eliminated without waiting for divisions, passes split further, and fetching the next
 * columns' moisture ahead gained nothing. */
#include "moisture.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>

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

/* The table of D: -20..60 degC by 2.5, 0..30 % MC by 0.5. */
#define T_LOW_DEGC (-20.0)
#define T_PER_DEGC 0.4
#define T_SPAN 32.0
#define MC_PER_PCT 2.0 /* place() counts on it */
#define MC_SPAN 60.0
enum { T_ROWS = 33, MC_COLUMNS = 61 };

#define GAMMA 0.29289321881345248 /* 1 - 1 / sqrt(2) */
#define ERROR_PCT 0.05 /* embedded error of one step, any cell */
enum { HALVINGS = 12 }; /* a day becomes steps of 21 s at the finest */
enum { ABREAST = 4 }; /* columns advanced together */

/* The two halves of a column, each counted from its outer face: element 0 is the half at face 0. */
typedef double pair __attribute__((vector_size(16)));
typedef int64_t flags __attribute__((vector_size(16))); /* of a comparison: all bits or none */

/* D between two columns at a row's temperature is a straight line in the place along the row: what it
 * has at column 0, and its slope. warmer: what to add for the next row. */
struct entry {
	pair line, warmer;
};

struct moisture_diffusivity {
	double gravity;
	struct entry row[T_ROWS][MC_COLUMNS];
};

/* Scratch of one cell of each half and of the face before it. Face 0 is the outer one, the face after
 * the last cell is the middle, which both halves share. Fluxes run inwards, as water over the step,
 * %MC * metre * specific gravity. */
struct cell {
	pair mc, next_mc;
	pair coupling; /* gamma times the flux per difference across the face, at the old state */
	pair flux; /* of the old state, then of both stages */
	pair share; /* factors of the matrix: of a cell in its next one */
	pair inverse;
	pair first; /* dt k1 */
	pair both; /* dt (k1 + k2) */
};

/* A column on its way through one step. */
struct work {
	struct cell *cell; /* half + 1 */
	size_t half;
	const struct moisture_slab *piece[2]; /* that the halves are of */
	double glue_s_m;
	const struct entry *row[2]; /* of the table, below the temperature */
	double warmth; /* place between it and the next row, 0..1 */
	pair eq_mc_pct;
	pair capacity; /* of a cell: metre * specific gravity */
	pair per_capacity;
	pair scale; /* flux over the step between cells, per D and difference */
	pair film; /* resistances of the faces over the step, film at 0 % MC */
	pair film_fall; /* exponent of the film's resistance per column of the table */
	pair finish;
	pair open; /* 0 where a face is sealed, else 1 */
	double glue;
	pair in; /* water through the outer faces, of the last step */
	pair entered; /* of all steps that count */
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

/* d: of one temperature, by column. */
static void tabulate(struct entry *row, const double *d)
{
	for (int m = 0; m < MC_COLUMNS; m++) {
		double slope = m + 1 < MC_COLUMNS ? d[m + 1] - d[m] : 0;
		row[m].line = (pair){ d[m] - m * slope, slope };
	}
}

struct moisture_diffusivity *moisture_diffusivity_new(double specific_gravity)
{
	struct moisture_diffusivity *out = mem_new(1, sizeof *out);
	if (!out)
		return NULL;
	out->gravity = specific_gravity;
	for (int t = 0; t < T_ROWS; t++) {
		double d[MC_COLUMNS];
		for (int m = 0; m < MC_COLUMNS; m++)
			d[m] = moisture_siau_m2_s(
				T_LOW_DEGC + t / T_PER_DEGC, m / MC_PER_PCT, specific_gravity);
		tabulate(out->row[t], d);
	}
	for (int t = 0; t + 1 < T_ROWS; t++)
		for (int m = 0; m < MC_COLUMNS; m++)
			out->row[t][m].warmer = out->row[t + 1][m].line - out->row[t][m].line;
	return out;
}

struct moisture_diffusivity *moisture_diffusivity_constant(double d_m2_s, double specific_gravity)
{
	struct moisture_diffusivity *out = mem_new(1, sizeof *out);
	if (!out)
		return NULL;
	out->gravity = specific_gravity;
	for (int t = 0; t < T_ROWS; t++)
		for (int m = 0; m < MC_COLUMNS; m++)
			out->row[t][m].line = (pair){ d_m2_s, 0 };
	return out;
}

void moisture_diffusivity_free(struct moisture_diffusivity *d)
{
	mem_free(d);
}

static pair even(double x)
{
	return (pair){ x, x };
}

static pair swapped(pair x)
{
	return (pair){ x[1], x[0] };
}

static pair chosen(flags which, pair yes, pair no)
{
	return (pair)((which & (flags)yes) | (~which & (flags)no));
}

/* Clamped to 0..high; NAN gives 0, so that an index made of it is safe. */
static pair within(pair x, double high)
{
	x = (pair)((flags)(x > even(0)) & (flags)x);
	return chosen((flags)(x < even(high)), x, even(high));
}

static void set_temperature(struct work *w, double t_degc)
{
	double at = within(even((t_degc - T_LOW_DEGC) * T_PER_DEGC), T_SPAN)[0];
	int i = (int)at;
	w->warmth = at - i;
	w->row[0] = w->piece[0]->d_ref->row[i];
	w->row[1] = w->piece[1]->d_ref->row[i];
}

static inline pair line_at(const struct work *w, int side, ptrdiff_t column)
{
	const struct entry *e = &w->row[side][column];
	return e->line + w->warmth * e->warmer;
}

/* Place in the table of the mean of two moisture contents: columns are half a percent apart. */
static pair place(pair mc_pct, pair other_pct)
{
	return within(mc_pct + other_pct, MC_SPAN);
}

static inline pair diffusivity(const struct work *w, pair at)
{
	pair near = line_at(w, 0, (ptrdiff_t)at[0]), far = line_at(w, 1, (ptrdiff_t)at[1]);
	return (pair){ near[0], far[0] } + (pair){ near[1], far[1] } * at;
}

double moisture_diffusivity_at(const struct moisture_diffusivity *d, double t_degc, double mc_pct)
{
	const struct moisture_slab s = { .d_ref = d };
	struct work w = { .piece = { &s, &s } };
	set_temperature(&w, t_degc);
	return diffusivity(&w, place(even(mc_pct), even(mc_pct)))[0];
}

/* exp(x) of -3..0 within 3e-5, of Toratti's film within 2e-7: an eighth by series, then squared. */
static pair exponential(pair x)
{
	pair y = x * 0.125, y2 = y * y;
	pair e = 1 + y + y2 * (0.5 + y * (1.0 / 6) + y2 * (1.0 / 24 + y * (1.0 / 120)));
	e *= e;
	e *= e;
	return e * e;
}

/* From the centres of the outer cells to the air: half a cell, film and finish in series. Moisture
 * beyond the table counts as its end for the film too. */
static pair outer_face(const struct work *w, pair mc_pct)
{
	pair at = place(mc_pct, mc_pct);
	pair inner = w->scale * diffusivity(w, at);
	pair film = w->film * exponential(w->film_fall * at);
	return w->open * inner / (0.5 + inner * (film + w->finish));
}

/* Half a cell of each side and the glue between them in series; both elements are the same. */
static pair middle_face(const struct work *w, pair mc_pct)
{
	pair inner = w->scale * diffusivity(w, place(mc_pct, swapped(mc_pct)));
	pair product = inner * swapped(inner);
	return product / (0.5 * (inner + swapped(inner)) + w->glue * product);
}

/* From the outer faces to the middle: fluxes of the old state, the matrix, and the first equation
 * eliminated. A pivot is kept as its excess over the coupling to the next cell, a sum of positive
 * terms, so that nothing cancels. In the middle two cells are left, one of each half. */
static void first_inwards(struct work *w)
{
	struct cell *c = w->cell;
	size_t last = w->half - 1;
	pair face = outer_face(w, c[0].mc);
	pair x = c[0].flux = face * (w->eq_mc_pct - c[0].mc);
	c[0].coupling = GAMMA * face;
	pair excess = w->capacity + c[0].coupling;
	for (size_t i = 0; i < last; i++) {
		pair near = c[i].mc, far = c[i + 1].mc;
		face = w->scale * diffusivity(w, place(near, far));
		pair flux = face * (near - far), coupling = GAMMA * face;
		pair inverse = 1 / (excess + coupling), share = coupling * inverse;
		x -= flux;
		c[i].first = x;
		c[i].share = share;
		c[i].inverse = inverse;
		c[i + 1].flux = flux;
		c[i + 1].coupling = coupling;
		x = flux + share * x;
		excess = w->capacity + coupling * excess * inverse;
	}
	pair mc = c[last].mc, other = swapped(excess);
	face = middle_face(w, mc);
	pair flux = face * (mc - swapped(mc)), coupling = GAMMA * face;
	pair inverse = 1 / (excess * other + coupling * (excess + other));
	c[last].first = x - flux;
	c[last].share = coupling * inverse;
	c[last].inverse = (other + coupling) * inverse;
	c[last + 1].flux = flux;
	c[last + 1].coupling = coupling;
}

static pair middle(const struct cell *last, pair x)
{
	return last->inverse * x + last->share * swapped(x);
}

/* Back to the outer faces: dt k1, and the fluxes of the state it leads to added. */
static void first_outwards(struct work *w)
{
	struct cell *c = w->cell;
	size_t last = w->half - 1;
	pair x = c[last].first = middle(&c[last], c[last].first);
	pair far = c[last].mc + x;
	c[last + 1].flux += middle_face(w, far) * (far - swapped(far));
	for (size_t i = last; i-- > 0;) {
		x = c[i].inverse * c[i].first + c[i].share * x;
		pair near = c[i].mc + x;
		c[i].first = x;
		c[i + 1].flux += w->scale * diffusivity(w, place(near, far)) * (near - far);
		far = near;
	}
	c[0].flux += outer_face(w, far) * (w->eq_mc_pct - far);
}

static void both_inwards(struct work *w)
{
	struct cell *c = w->cell;
	size_t last = w->half - 1;
	pair twice = 2 * w->capacity, x = c[0].flux;
	for (size_t i = 0; i < last; i++) {
		x -= c[i + 1].flux + twice * c[i].first;
		c[i].both = x;
		x = c[i + 1].flux + c[i].share * x;
	}
	c[last].both = x - (c[last + 1].flux + twice * c[last].first);
}

static flags excessive(pair both)
{
	const flags without_sign = { INT64_MAX, INT64_MAX };
	return (flags)((pair)((flags)both & without_sign) > even(2 * ERROR_PCT));
}

/* dt (k1 + k2), and the new state through the faces: what leaves one cell enters the next. Returns
 * whether the embedded error is in bounds everywhere. */
static bool both_outwards(struct work *w)
{
	struct cell *c = w->cell;
	size_t last = w->half - 1;
	pair x = middle(&c[last], c[last].both);
	pair out = 0.5 * (c[last + 1].flux + c[last + 1].coupling * (x - swapped(x)));
	flags bad = excessive(x);
	for (size_t i = last; i > 0; i--) {
		pair before = c[i - 1].inverse * c[i - 1].both + c[i - 1].share * x;
		pair in = 0.5 * (c[i].flux + c[i].coupling * (before - x));
		c[i].next_mc = c[i].mc + w->per_capacity * (in - out);
		bad |= excessive(before);
		out = in;
		x = before;
	}
	w->in = 0.5 * (c[0].flux - c[0].coupling * x);
	c[0].next_mc = c[0].mc + w->per_capacity * (w->in - out);
	return !(bad[0] || bad[1]);
}

static double film_m_s(const struct moisture_slab *s)
{
	return s->film_m_s < 0 ? TORATTI_M_S : s->film_m_s;
}

static double film_exp(const struct moisture_slab *s)
{
	return s->film_m_s < 0 ? TORATTI_EXP : s->film_exp;
}

/* Everything that depends on the length of the step. */
static void set_time(struct work *w, double dt_s)
{
	const struct moisture_slab *a = w->piece[0], *b = w->piece[1];
	pair gravity = { a->d_ref->gravity, b->d_ref->gravity }, dx_m = { a->dx_m, b->dx_m };
	pair film = { film_m_s(a), film_m_s(b) };
	pair finish = { a->finish_s_m[0], b->finish_s_m[1] };
	flags sealed = (flags)(finish >= even(SEALED_FROM));
	pair over_step = gravity * dt_s;
	w->capacity = gravity * dx_m;
	w->per_capacity = 1 / w->capacity;
	w->scale = over_step / dx_m;
	w->film = 1 / (over_step * film);
	w->finish = chosen(sealed, even(0), finish) / over_step;
	w->open = chosen(sealed, even(0), even(1));
	w->glue = w->glue_s_m / dt_s;
}

static size_t half_of(const struct moisture_column *c)
{
	return c->n_pieces == 2 ? c->piece[0].n : c->piece[0].n / 2;
}

/* The column's matter and air; what it holds is folded, so that the halves lie side by side. */
static void begin(struct work *w, const struct moisture_lane *lane)
{
	const struct moisture_column *c = lane->column_ref;
	size_t far = c->n_pieces - 1, n = c->piece[far].n;
	w->piece[0] = &c->piece[0];
	w->piece[1] = &c->piece[far];
	w->half = half_of(c);
	w->glue_s_m = far ? c->glue_s_m : 0;
	w->eq_mc_pct = (pair){ lane->eq_mc_pct[0], lane->eq_mc_pct[1] };
	w->film_fall =
		(pair){ film_exp(w->piece[0]), film_exp(w->piece[1]) } * (-0.01 / MC_PER_PCT);
	w->entered = even(0);
	set_temperature(w, lane->t_degc);
	for (size_t i = 0; i < w->half; i++)
		w->cell[i].mc = (pair){ lane->mc_pct[0][i], lane->mc_pct[far][n - 1 - i] };
}

static void end(const struct work *w, struct moisture_lane *lane)
{
	size_t far = lane->column_ref->n_pieces - 1, n = w->piece[1]->n;
	for (size_t i = 0; i < w->half; i++) {
		lane->mc_pct[0][i] = w->cell[i].next_mc[0];
		lane->mc_pct[far][n - 1 - i] = w->cell[i].next_mc[1];
	}
	lane->flow = (struct moisture_flow){ { w->entered[0], w->entered[1] } };
}

/* A step that turned out too long is taken again as two of half its length. */
static void advance(struct work *w, double dt_s, int halvings, bool is_known_too_long)
{
	if (!is_known_too_long) {
		set_time(w, dt_s);
		first_inwards(w);
		first_outwards(w);
		both_inwards(w);
		if (both_outwards(w) || halvings == 0) {
			w->entered += w->in;
			return;
		}
	}
	advance(w, dt_s / 2, halvings - 1, false);
	for (size_t i = 0; i < w->half; i++)
		w->cell[i].mc = w->cell[i].next_mc;
	advance(w, dt_s / 2, halvings - 1, false);
}

static void step_alone(struct moisture_lane *lane, double dt_s)
{
	struct cell cell[MOISTURE_CELLS_MAX + 1];
	struct work w;
	w.cell = cell;
	begin(&w, lane);
	advance(&w, dt_s, HALVINGS, false);
	end(&w, lane);
}

/* Each pass of a step is a chain of additions and divisions that wait for one another; those of
 * several columns, one soon after another, go through the processor together. */
static void step_together(struct moisture_lane *const *lanes, size_t n, double dt_s)
{
	struct cell cell[ABREAST][MOISTURE_CELLS + 1];
	struct work w[ABREAST];
	for (size_t i = 0; i < n; i++) {
		w[i].cell = cell[i];
		begin(&w[i], lanes[i]);
		set_time(&w[i], dt_s);
	}
	for (size_t i = 0; i < n; i++)
		first_inwards(&w[i]);
	for (size_t i = 0; i < n; i++)
		first_outwards(&w[i]);
	for (size_t i = 0; i < n; i++)
		both_inwards(&w[i]);
	for (size_t i = 0; i < n; i++) {
		if (both_outwards(&w[i]))
			w[i].entered += w[i].in;
		else
			advance(&w[i], dt_s, HALVINGS, true);
		end(&w[i], lanes[i]);
	}
}

/* Columns of unlike lengths go abreast as well: no pass looks at the neighbour. */
void moisture_step_lanes(struct moisture_lane *lanes, size_t n, double dt_s)
{
	struct moisture_lane *row[ABREAST];
	size_t waiting = 0;
	for (size_t i = 0; i < n; i++) {
		if (half_of(lanes[i].column_ref) > MOISTURE_CELLS) {
			step_alone(&lanes[i], dt_s);
			continue;
		}
		row[waiting++] = &lanes[i];
		if (waiting == ABREAST) {
			step_together(row, waiting, dt_s);
			waiting = 0;
		}
	}
	step_together(row, waiting, dt_s);
}

struct moisture_flow moisture_step(const struct moisture_slab *s, double *mc_pct,
	const double eq_mc_pct[2], double t_degc, double dt_s)
{
	struct moisture_column column = { .piece = { *s }, .n_pieces = 1 };
	struct moisture_lane lane = { .column_ref = &column,
		.mc_pct = { mc_pct },
		.eq_mc_pct = { eq_mc_pct[0], eq_mc_pct[1] },
		.t_degc = t_degc };
	step_alone(&lane, dt_s);
	return lane.flow;
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
