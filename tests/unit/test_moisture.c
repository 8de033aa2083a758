#include "tests/unit/support.h"

#include <math.h>
#include <stdio.h>

#include "core/moisture.h"
#include "core/sorption.h"

/* Siau 1984 eqs 1.2, 6.14, 6.15, 6.18, 6.19, 6.22 with Bradley's isotherm (Simpson 1973), evaluated
 * elsewhere to four digits. */
static const struct {
	double t_degc, mc_pct, gravity, d_m2_s;
} siau[] = {
	{ 10, 4, 0.3, 4.507e-11 },
	{ 10, 10, 0.3, 9.418e-11 },
	{ 10, 20, 0.3, 2.684e-10 },
	{ 10, 4, 0.4, 2.494e-11 },
	{ 10, 10, 0.4, 5.224e-11 },
	{ 10, 20, 0.4, 1.562e-10 },
	{ 10, 4, 0.8, 5.703e-12 },
	{ 10, 10, 0.8, 1.199e-11 },
	{ 10, 20, 0.8, 3.875e-11 },
	{ 10, 4, 0.95, 3.87e-12 },
	{ 10, 10, 0.95, 8.142e-12 },
	{ 10, 20, 0.95, 2.666e-11 },
	{ 20, 4, 0.3, 7.753e-11 },
	{ 20, 10, 0.3, 1.581e-10 },
	{ 20, 20, 0.3, 4.415e-10 },
	{ 20, 4, 0.4, 4.288e-11 },
	{ 20, 10, 0.4, 8.765e-11 },
	{ 20, 20, 0.4, 2.554e-10 },
	{ 20, 4, 0.8, 9.799e-12 },
	{ 20, 10, 0.8, 2.009e-11 },
	{ 20, 20, 0.8, 6.276e-11 },
	{ 20, 4, 0.95, 6.649e-12 },
	{ 20, 10, 0.95, 1.364e-11 },
	{ 20, 20, 0.95, 4.312e-11 },
	{ 30, 4, 0.3, 1.287e-10 },
	{ 30, 10, 0.3, 2.565e-10 },
	{ 30, 20, 0.3, 6.982e-10 },
	{ 30, 4, 0.4, 7.114e-11 },
	{ 30, 10, 0.4, 1.421e-10 },
	{ 30, 20, 0.4, 4.024e-10 },
	{ 30, 4, 0.8, 1.625e-11 },
	{ 30, 10, 0.8, 3.254e-11 },
	{ 30, 20, 0.8, 9.823e-11 },
	{ 30, 4, 0.95, 1.102e-11 },
	{ 30, 10, 0.95, 2.209e-11 },
	{ 30, 20, 0.95, 6.74e-11 },
};

/* Crank 1975 section 4.3.6, plane sheet with surface evaporation; series of 400 terms evaluated
 * elsewhere. biot = l S / D, fo = D t / l^2; 1e6 stands for a surface that is at once at
 * equilibrium. Fractions of the final change. */
static const struct {
	double biot, fo, mean, centre;
} crank[] = {
	{ 0.1, 0.01, 0.00099, 0.00000 },
	{ 0.1, 0.05, 0.00492, 0.00003 },
	{ 0.1, 0.1, 0.00977, 0.00078 },
	{ 0.1, 0.2, 0.01935, 0.00600 },
	{ 0.1, 0.5, 0.04743, 0.03202 },
	{ 0.1, 1, 0.09241, 0.07761 },
	{ 0.1, 2, 0.17611, 0.16267 },
	{ 0.1, 5, 0.38368, 0.37362 },
	{ 0.1, 10, 0.62006, 0.61387 },
	{ 0.1, 20, 0.85562, 0.85326 },
	{ 0.5, 0.01, 0.00482, 0.00000 },
	{ 0.5, 0.05, 0.02304, 0.00013 },
	{ 0.5, 0.1, 0.04462, 0.00368 },
	{ 0.5, 0.2, 0.08538, 0.02740 },
	{ 0.5, 0.5, 0.19567, 0.13589 },
	{ 0.5, 1, 0.35024, 0.30162 },
	{ 0.5, 2, 0.57595, 0.54422 },
	{ 0.5, 5, 0.88213, 0.87331 },
	{ 0.5, 10, 0.98605, 0.98500 },
	{ 0.5, 20, 0.99980, 0.99979 },
	{ 1, 0.01, 0.00929, 0.00000 },
	{ 1, 0.05, 0.04269, 0.00025 },
	{ 1, 0.1, 0.08040, 0.00689 },
	{ 1, 0.2, 0.14840, 0.04936 },
	{ 1, 0.5, 0.31890, 0.22747 },
	{ 1, 1, 0.52960, 0.46614 },
	{ 1, 2, 0.77561, 0.74533 },
	{ 1, 5, 0.97564, 0.97236 },
	{ 1, 10, 0.99940, 0.99932 },
	{ 1, 20, 1.00000, 1.00000 },
	{ 2, 0.01, 0.01735, 0.00000 },
	{ 2, 0.05, 0.07421, 0.00046 },
	{ 2, 0.1, 0.13363, 0.01222 },
	{ 2, 0.2, 0.23372, 0.08211 },
	{ 2, 0.5, 0.46038, 0.34038 },
	{ 2, 1, 0.69784, 0.63044 },
	{ 2, 2, 0.90524, 0.88411 },
	{ 2, 5, 0.99708, 0.99643 },
	{ 2, 10, 0.99999, 0.99999 },
	{ 2, 20, 1.00000, 1.00000 },
	{ 5, 0.01, 0.03598, 0.00000 },
	{ 5, 0.05, 0.13179, 0.00095 },
	{ 5, 0.1, 0.21858, 0.02269 },
	{ 5, 0.2, 0.35098, 0.13512 },
	{ 5, 0.5, 0.61483, 0.47689 },
	{ 5, 1, 0.83752, 0.77928 },
	{ 5, 2, 0.97108, 0.96072 },
	{ 5, 5, 0.99984, 0.99978 },
	{ 5, 10, 1.00000, 1.00000 },
	{ 5, 20, 1.00000, 1.00000 },
	{ 10, 0.01, 0.05560, 0.00000 },
	{ 10, 0.05, 0.17555, 0.00147 },
	{ 10, 0.1, 0.27388, 0.03158 },
	{ 10, 0.2, 0.41674, 0.17075 },
	{ 10, 0.5, 0.68498, 0.54536 },
	{ 10, 1, 0.88650, 0.83618 },
	{ 10, 2, 0.98527, 0.97873 },
	{ 10, 5, 0.99997, 0.99995 },
	{ 10, 10, 1.00000, 1.00000 },
	{ 10, 20, 1.00000, 1.00000 },
	{ 100, 0.01, 0.10340, 0.00000 },
	{ 100, 0.05, 0.24257, 0.00282 },
	{ 100, 0.1, 0.34700, 0.04791 },
	{ 100, 0.2, 0.49427, 0.22064 },
	{ 100, 0.5, 0.75578, 0.62015 },
	{ 100, 1, 0.92713, 0.88666 },
	{ 100, 2, 0.99351, 0.98991 },
	{ 100, 5, 1.00000, 0.99999 },
	{ 100, 10, 1.00000, 1.00000 },
	{ 100, 20, 1.00000, 1.00000 },
	{ 1e6, 0.01, 0.11284, 0.00000 },
	{ 1e6, 0.05, 0.25231, 0.00313 },
	{ 1e6, 0.1, 0.35682, 0.05069 },
	{ 1e6, 0.2, 0.50409, 0.22769 },
	{ 1e6, 0.5, 0.76395, 0.62922 },
	{ 1e6, 1, 0.93126, 0.89202 },
	{ 1e6, 2, 0.99417, 0.99084 },
	{ 1e6, 5, 1.00000, 0.99999 },
	{ 1e6, 10, 1.00000, 1.00000 },
	{ 1e6, 20, 1.00000, 1.00000 },
};

enum { START = 5, AIR = 15 };
static const double damp[2] = { AIR, AIR };

static double uniform(uint64_t *seed, double low, double high)
{
	return low + (high - low) * (double)(support_random(seed) >> 11) * 0x1p-53;
}

/* Both faces of a sheet of half-thickness 1 cm bare, D 1e-10, S by the Biot number. */
static struct moisture_slab sheet(const struct moisture_diffusivity *d, size_t n, double biot)
{
	return (struct moisture_slab){
		.d_ref = d, .n = n, .dx_m = 0.02 / (double)n, .film_m_s = biot * 1e-8
	};
}

static void sheet_run(const struct moisture_slab *s, double *mc, double fo, int steps)
{
	for (int i = 0; i < steps; i++)
		(void)moisture_step(s, mc, damp, 20, fo * 1e6 / steps);
}

static double fraction(double mc_pct)
{
	return (mc_pct - START) / (AIR - START);
}

static void siau_is_met(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(siau); i++) {
		double d = moisture_siau_m2_s(siau[i].t_degc, siau[i].mc_pct, siau[i].gravity);
		CLOSE(d / siau[i].d_m2_s, 1, 5e-4, "D");
	}
	CLOSE(moisture_siau_m2_s(20, 10, 0.40), 8.7650e-11, 5e-15, "worked example");
}

static void the_table_follows_siau(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	struct moisture_diffusivity *d = moisture_diffusivity_new(0.40);
	for (int i = 0; i < 20000; i++) {
		double t = uniform(&seed, -20, 60), mc = uniform(&seed, 0, 30);
		double want = moisture_siau_m2_s(t, mc, 0.40);
		double tol = t >= 5 && t <= 35 ? 0.003 : 0.006;
		CLOSE(moisture_diffusivity_at(d, t, mc) / want, 1, tol, "D");
	}
	double corner = moisture_diffusivity_at(d, 60, 30);
	CLOSE(moisture_diffusivity_at(d, 200, 99), corner, 0, "clamped above");
	CLOSE(corner, moisture_siau_m2_s(60, 30, 0.40), 1e-15 * corner, "the corner is exact");
	CLOSE(moisture_diffusivity_at(d, -90, -1), moisture_diffusivity_at(d, -20, 0), 0, "below");
	moisture_diffusivity_free(d);
	moisture_diffusivity_free(NULL);
}

/* 128 cells, 256 steps a row. 2e-4 of the change, and 1e-3 at Fo 0.01, where the front is only some
 * cells deep. */
static void a_plane_sheet_follows_crank(void **state)
{
	(void)state;
	enum { N = 128 };
	struct moisture_diffusivity *d = moisture_diffusivity_constant(1e-10, 1);
	for (size_t i = 0; i < COUNT(crank); i++) {
		struct moisture_slab s = sheet(d, N, crank[i].biot);
		double mc[N];
		moisture_fill(mc, N, START);
		sheet_run(&s, mc, crank[i].fo, 256);
		double tol = crank[i].fo < 0.02 ? 1e-3 : 2e-4;
		char what[64];
		(void)snprintf(what, sizeof what, "biot %g fo %g", crank[i].biot, crank[i].fo);
		CLOSE(fraction(moisture_mean(mc, N)), crank[i].mean, tol, what);
		CLOSE(fraction(mc[N / 2]), crank[i].centre, tol, what);
	}
	moisture_diffusivity_free(d);
}

/* Crank, biot 1, fo 0.5: mean 0.31890 is given to five places, so the series is summed here. */
static double crank_mean(double biot, double fo)
{
	double sum = 1;
	for (int k = 0; k < 60; k++) {
		double low = k * acos(-1), high = low + acos(-1) / 2;
		for (int i = 0; i < 60; i++) {
			double b = 0.5 * (low + high);
			if (b * tan(b) > biot)
				high = b;
			else
				low = b;
		}
		double b2 = low * low;
		sum -= 2 * biot * biot * exp(-b2 * fo) / (b2 * (b2 + biot * biot + biot));
	}
	return sum;
}

static void halving_the_cells_quarters_the_error(void **state)
{
	(void)state;
	struct moisture_diffusivity *d = moisture_diffusivity_constant(1e-10, 1);
	double want = crank_mean(1, 0.5), last = 0;
	CLOSE(want, 0.31890, 5e-6, "the series itself");
	for (size_t n = 4; n <= 32; n *= 2) {
		struct moisture_slab s = sheet(d, n, 1);
		double mc[32];
		moisture_fill(mc, n, START);
		sheet_run(&s, mc, 0.5, 4000);
		double off = fabs(fraction(moisture_mean(mc, n)) - want);
		if (n > 4) {
			print_message("order in space, %zu cells: %.3f\n", n, log2(last / off));
			CLOSE(last / off, 4, 0.4, "ratio of errors");
		}
		last = off;
	}
	moisture_diffusivity_free(d);
}

/* Spruce plate with D and emission that depend on moisture: error against 4096 steps. */
static void halving_the_step_quarters_the_error(void **state)
{
	(void)state;
	enum { N = 16 };
	struct moisture_diffusivity *d = moisture_diffusivity_new(0.40);
	struct moisture_slab s = { .d_ref = d, .n = N, .dx_m = 0.0027 / N, .film_m_s = -1 };
	double want[N], mc[N], last = 0;
	for (int steps = 4096; steps >= 16; steps = steps == 4096 ? 128 : steps / 2) {
		double *at = steps == 4096 ? want : mc;
		for (size_t i = 0; i < N; i++)
			at[i] = 10 + 2 * cos(acos(-1) * ((double)i + 0.5) / N);
		for (int i = 0; i < steps; i++)
			(void)moisture_step(&s, at, (const double[2]){ 11, 9 }, 20, 7200.0 / steps);
		double off = 0;
		for (size_t i = 0; i < N; i++)
			off = fmax(off, fabs(at[i] - want[i]));
		if (last > 0) {
			print_message("order in time, %d steps: %.3f\n", steps, log2(off / last));
			CLOSE(off / last, 4, 0.6, "ratio of errors");
		}
		last = steps == 4096 ? 0 : off;
	}
	moisture_diffusivity_free(d);
}

static void a_plate_settles_by_its_time_constant(void **state)
{
	(void)state;
	/* tau = l^2 / (beta1^2 D), beta1 tan beta1 = l S / D; l 1.35 mm, D 8.8e-11: Crank 1975 */
	static const struct {
		const char *what;
		double s_m_s, tau_s;
	} rows[] = {
		{ "S 3e-8", 3e-8, 52093.6 },
		{ "S 1e-7", 1e-7, 20907.0 },
		{ "S 1e-6", 1e-6, 9519.9 },
	};
	enum { N = 64 };
	struct moisture_diffusivity *d = moisture_diffusivity_constant(8.8e-11, 1);
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct moisture_slab s = {
			.d_ref = d, .n = N, .dx_m = 0.0027 / N, .film_m_s = rows[i].s_m_s
		};
		double mc[N], tau = rows[i].tau_s;
		moisture_fill(mc, N, START);
		for (int k = 0; k < 200; k++)
			(void)moisture_step(&s, mc, damp, 20, tau / 100);
		double before = 1 - fraction(moisture_mean(mc, N));
		for (int k = 0; k < 100; k++)
			(void)moisture_step(&s, mc, damp, 20, tau / 100);
		double after = 1 - fraction(moisture_mean(mc, N));
		CLOSE(log(before / after), 1, 1e-3, rows[i].what);
	}
	moisture_diffusivity_free(d);
}

static void film_finish_and_half_a_cell_stand_in_series(void **state)
{
	(void)state;
	/* two cells of 1 mm, D 1e-10, one second: hardly anything moves, so the flow is the conductance
	 * times the difference. Toratti 1992 at 10 %: 3.2e-8 exp(0.4) m/s, from memory */
	static const struct {
		const char *what;
		double film_m_s, film_exp, finish_s_m, want_m_s;
	} rows[] = {
		{ "bare", 1e-7, 0, 0, 1 / (1e7 + 5e6) },
		{ "finish", 1e-7, 0, 2e7, 1 / (1e7 + 2e7 + 5e6) },
		{ "emission grows with moisture", 1e-7, 4, 0,
			1 / (1 / (1e-7 * 1.4918246976412703) + 5e6) },
		{ "default", -1, 0, 0, 1 / (1 / (3.2e-8 * 1.4918246976412703) + 5e6) },
		{ "sealed", 1e-7, 0, MOISTURE_SEALED, 0 },
	};
	struct moisture_diffusivity *d = moisture_diffusivity_constant(1e-10, 1);
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct moisture_slab s = { d, 2, 1e-3, { MOISTURE_SEALED, rows[i].finish_s_m },
			rows[i].film_m_s, rows[i].film_exp };
		double mc[2] = { 10, 10 };
		struct moisture_flow flow =
			moisture_step(&s, mc, (const double[2]){ 15, 15 }, 20, 1);
		CLOSE(flow.in_pct_m[1], 5 * rows[i].want_m_s, 5 * rows[i].want_m_s * 3e-4,
			rows[i].what);
		CLOSE(flow.in_pct_m[0], 0, 0, "the other face is sealed");
	}
	moisture_diffusivity_free(d);
}

/* A member anyone might build: 1..40 mm, some finish or none, 2..40 cells, uneven start. */
static struct moisture_slab any_slab(
	uint64_t *seed, const struct moisture_diffusivity *d, double *mc)
{
	struct moisture_slab s = {
		.d_ref = d, .n = 2 + 2 * (support_random(seed) % 20), .film_m_s = -1
	};
	s.dx_m = uniform(seed, 0.001, 0.040) / (double)s.n;
	for (size_t f = 0; f < 2; f++) {
		double finish = uniform(seed, -1e8, 2e8);
		s.finish_s_m[f] = finish > 1.9e8 ? MOISTURE_SEALED : fmax(finish, 0);
	}
	for (size_t i = 0; i < s.n; i++)
		mc[i] = uniform(seed, 3, 20);
	return s;
}

static void what_enters_through_the_faces_is_what_is_there(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	struct moisture_diffusivity *d = moisture_diffusivity_new(0.55);
	for (int run = 0; run < 300; run++) {
		double mc[MOISTURE_CELLS_MAX];
		struct moisture_slab s = any_slab(&seed, d, mc);
		double holds = 0.55 * s.dx_m * (double)s.n, entered = 0;
		double first = moisture_mean(mc, s.n) * holds;
		for (int hour = 0; hour < 50; hour++) {
			double before = moisture_mean(mc, s.n) * holds;
			double air[2] = { uniform(&seed, 2, 22), uniform(&seed, 2, 22) };
			double dt = uniform(&seed, 1, 86400);
			struct moisture_flow flow =
				moisture_step(&s, mc, air, uniform(&seed, -10, 40), dt);
			double in = flow.in_pct_m[0] + flow.in_pct_m[1];
			double after = moisture_mean(mc, s.n) * holds;
			CLOSE((after - before - in) / after, 0, 1e-12, "one step");
			entered += in;
		}
		double last = moisture_mean(mc, s.n) * holds;
		CLOSE((last - first - entered) / last, 0, 1e-12, "all steps");
	}
	moisture_diffusivity_free(d);
}

static void moisture_stays_between_start_and_air(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	struct moisture_diffusivity *d = moisture_diffusivity_new(0.40);
	double worst = 0;
	for (int run = 0; run < 300; run++) {
		double mc[MOISTURE_CELLS_MAX], low = 99, high = 0;
		struct moisture_slab s = any_slab(&seed, d, mc);
		for (int hour = 0; hour < 50; hour++) {
			double air[2] = { uniform(&seed, 2, 22), uniform(&seed, 2, 22) };
			low = fmin(air[0], air[1]), high = fmax(air[0], air[1]);
			for (size_t i = 0; i < s.n; i++)
				low = fmin(low, mc[i]), high = fmax(high, mc[i]);
			(void)moisture_step(&s, mc, air, 20, uniform(&seed, 1, 86400));
			for (size_t i = 0; i < s.n; i++)
				worst = fmax(worst, fmax(low - mc[i], mc[i] - high));
		}
	}
	/* the embedded error allowed to a step */
	CLOSE(worst, 0, 0.05, "overshoot, % MC");
	moisture_diffusivity_free(d);
}

static void steps_of_a_day_an_hour_and_a_minute_agree(void **state)
{
	(void)state;
	enum { N = MOISTURE_CELLS, SIZES = 4 };
	static const int per_day[SIZES] = { 1, 4, 24, 1440 };
	struct moisture_diffusivity *d = moisture_diffusivity_new(0.40);
	struct moisture_slab s = { .d_ref = d, .n = N, .dx_m = 0.0027 / N, .film_m_s = -1 };
	double mc[SIZES][N];
	for (size_t k = 0; k < SIZES; k++) {
		moisture_fill(mc[k], N, 6);
		for (int day = 0; day < 5; day++) {
			const double air[2] = { day % 2 ? 5 : 12, 9 };
			for (int i = 0; i < per_day[k]; i++)
				(void)moisture_step(&s, mc[k], air, 20, 86400.0 / per_day[k]);
		}
	}
	for (size_t k = 0; k + 1 < SIZES; k++)
		for (size_t i = 0; i < N; i++)
			CLOSE(mc[k][i], mc[SIZES - 1][i], 0.02, "against minutes");
	moisture_diffusivity_free(d);
}

static void rest_is_exact_and_both_faces_are_alike(void **state)
{
	(void)state;
	enum { N = MOISTURE_CELLS };
	struct moisture_diffusivity *d = moisture_diffusivity_new(0.40);
	struct moisture_slab s = { d, N, 0.0027 / N, { 5e7, 0 }, -1, 0 };
	struct moisture_slab turned = { d, N, 0.0027 / N, { 0, 5e7 }, -1, 0 };
	double mc[N], other[N], again[N];
	moisture_fill(mc, N, 9.3);
	(void)moisture_step(&s, mc, (const double[2]){ 9.3, 9.3 }, 20, 86400);
	for (size_t i = 0; i < N; i++)
		CLOSE(mc[i], 9.3, 0, "at rest");
	for (size_t i = 0; i < N; i++)
		mc[i] = again[i] = other[N - 1 - i] = 8 + sin((double)i);
	for (int i = 0; i < 100; i++) {
		(void)moisture_step(&s, mc, (const double[2]){ 12, 6 }, 20, 3600);
		(void)moisture_step(&s, again, (const double[2]){ 12, 6 }, 20, 3600);
		(void)moisture_step(&turned, other, (const double[2]){ 6, 12 }, 20, 3600);
	}
	assert_memory_equal(mc, again, sizeof mc);
	for (size_t i = 0; i < N; i++)
		CLOSE(other[N - 1 - i], mc[i], 1e-12, "turned over");
	moisture_diffusivity_free(d);
}

static void a_sealed_piece_evens_out_and_keeps_its_water(void **state)
{
	(void)state;
	enum { N = 10 };
	struct moisture_diffusivity *d = moisture_diffusivity_new(0.55);
	struct moisture_slab s = { d, N, 0.015 / N, { MOISTURE_SEALED, MOISTURE_SEALED }, -1, 0 };
	double mc[N];
	for (size_t i = 0; i < N; i++)
		mc[i] = 6 + (double)i;
	for (int day = 0; day < 200; day++)
		(void)moisture_step(&s, mc, (const double[2]){ 20, 2 }, 20, 86400);
	for (size_t i = 0; i < N; i++)
		CLOSE(mc[i], 10.5, 1e-4, "even");
	CLOSE(moisture_mean(mc, N), 10.5, 1e-12, "mean");
	moisture_diffusivity_free(d);
}

static void missing_air_makes_missing_moisture(void **state)
{
	(void)state;
	struct moisture_diffusivity *d = moisture_diffusivity_new(0.40);
	struct moisture_slab s = { d, 4, 0.001, { 0, 0 }, -1, 0 };
	double mc[4] = { 9, 9, 9, 9 };
	(void)moisture_step(&s, mc, (const double[2]){ (double)NAN, (double)NAN }, 20, 3600);
	for (size_t i = 0; i < 4; i++)
		assert_true(isnan(mc[i]));
	moisture_diffusivity_free(d);
}

/* Hourly air from a file through one member, hour by hour and in 16 steps an hour: the worst difference
 * of any cell at any hour. */
static double hourly_error(FILE *f, const struct moisture_slab *s, int *hours)
{
	double hourly[MOISTURE_CELLS], fine[MOISTURE_CELLS], worst = 0, t, rh;
	char line[128];
	moisture_fill(hourly, s->n, 8);
	moisture_fill(fine, s->n, 8);
	while (fgets(line, sizeof line, f)) {
		if (sscanf(line, "%*[^,],%lf,%lf", &t, &rh) != 2)
			continue;
		double eq = sorption_mc_pct(t, rh / 100);
		const double air[2] = { eq, eq };
		(void)moisture_step(s, hourly, air, t, 3600);
		for (int i = 0; i < 16; i++)
			(void)moisture_step(s, fine, air, t, 225);
		for (size_t i = 0; i < s->n; i++)
			worst = fmax(worst, fabs(hourly[i] - fine[i]));
		++*hours;
	}
	return worst;
}

static void an_hourly_step_does_for_real_air(void **state)
{
	(void)state;
	static const struct {
		const char *what;
		double thickness_m, gravity, finish_s_m[2];
	} rows[] = {
		{ "spruce plate, lacquered outside", 0.0027, 0.40, { 5e7, 0 } },
		{ "mahogany headstock, lacquered", 0.015, 0.55, { 5e7, 5e7 } },
		{ "mahogany headstock, bare", 0.015, 0.55, { 0, 0 } },
	};
	const char *path = support_data("finland-R4-indoor1.csv");
	if (!path)
		skip();
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct moisture_diffusivity *d = moisture_diffusivity_new(rows[i].gravity);
		struct moisture_slab s = { d, MOISTURE_CELLS, rows[i].thickness_m / MOISTURE_CELLS,
			{ rows[i].finish_s_m[0], rows[i].finish_s_m[1] }, -1, 0 };
		FILE *f = fopen(path, "r");
		assert_non_null(f);
		int hours = 0;
		double worst = hourly_error(f, &s, &hours);
		(void)fclose(f);
		assert_true(hours > 14000);
		CLOSE(worst, 0, 0.02, rows[i].what);
		moisture_diffusivity_free(d);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(siau_is_met),
		cmocka_unit_test(the_table_follows_siau),
		cmocka_unit_test(a_plane_sheet_follows_crank),
		cmocka_unit_test(halving_the_cells_quarters_the_error),
		cmocka_unit_test(halving_the_step_quarters_the_error),
		cmocka_unit_test(a_plate_settles_by_its_time_constant),
		cmocka_unit_test(film_finish_and_half_a_cell_stand_in_series),
		cmocka_unit_test(what_enters_through_the_faces_is_what_is_there),
		cmocka_unit_test(moisture_stays_between_start_and_air),
		cmocka_unit_test(steps_of_a_day_an_hour_and_a_minute_agree),
		cmocka_unit_test(rest_is_exact_and_both_faces_are_alike),
		cmocka_unit_test(a_sealed_piece_evens_out_and_keeps_its_water),
		cmocka_unit_test(missing_air_makes_missing_moisture),
		cmocka_unit_test(an_hourly_step_does_for_real_air),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
