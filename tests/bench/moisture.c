/* Speed and agreement of the moisture step over ten years of hourly air.
 * Against a bare two-pass loop of the same cells, film, finish and table: a predictor with D at the
 * old state, a corrector with D at the mean state, one implicit Euler solve each.
 * With a file name as argument it also writes that problem for moisture_scipy.py. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "core/moisture.h"
#include "core/sorption.h"

enum { HOURS = 87660, SCRIPT_HOURS = 1461, CELLS_MAX = 20, ROUNDS = 7, COLUMNS = 61, ROWS = 33 };

#define PI 3.14159265358979323846
#define GRAVITY 0.40 /* spruce */
#define THICKNESS_M 0.0027
#define LACQUER_S_M 5e7 /* outer face; the inner one is bare */
#define START_PCT 9.0

struct air {
	double t_degc, eq_mc_pct;
};

/* Everything the bare loop needs. */
struct plain {
	size_t n;
	double dx_m;
	double table[ROWS][COLUMNS]; /* -20..60 degC by 2.5, 0..30 % by 0.5 */
};

static double seconds(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* A year's and a day's wave and weather that wanders with a memory of two days. */
static void make_air(struct air *air)
{
	uint64_t state = 1;
	double weather = 0;
	for (int h = 0; h < HOURS; h++) {
		state = state * 6364136223846793005U + 1442695040888963407U;
		double noise = (double)(state >> 11) * 0x1p-53 - 0.5;
		weather = weather * (1 - 1.0 / 48) + noise * 5;
		double year = sin(2 * PI * h / 8766), day = sin(2 * PI * h / 24);
		double rh_pct = 45 + 14 * year - 2 * day + weather;
		air[h].t_degc = 20.5 + 2 * year + day;
		air[h].eq_mc_pct = sorption_mc_pct(air[h].t_degc, rh_pct / 100);
	}
}

static void plain_table(struct plain *p)
{
	for (int t = 0; t < ROWS; t++)
		for (int m = 0; m < COLUMNS; m++)
			p->table[t][m] = moisture_siau_m2_s(-20 + 2.5 * t, 0.5 * m, GRAVITY);
}

static double plain_d(const double *row, double mc_pct)
{
	double at = mc_pct * 2;
	if (at < 0)
		at = 0;
	if (at > COLUMNS - 2)
		at = COLUMNS - 2;
	int i = (int)at;
	return row[i] + (at - i) * (row[i + 1] - row[i]);
}

static double plain_outer(const struct plain *p, const double *row, double finish, double mc_pct)
{
	return 1 /
	       (1 / (3.2e-8 * exp(0.04 * mc_pct)) + finish + p->dx_m / (2 * plain_d(row, mc_pct)));
}

/* Implicit Euler from old to next with coefficients taken at state. */
static void plain_pass(const struct plain *p, const double *row, const struct air *air,
	const double *state, const double *old, double *next)
{
	double upper[CELLS_MAX];
	size_t n = p->n;
	double edge = 3600 / p->dx_m, inner = edge / p->dx_m;
	double left = edge * plain_outer(p, row, LACQUER_S_M, state[0]);
	double known = left * air->eq_mc_pct;
	for (size_t i = 0; i < n; i++) {
		double right = i + 1 < n ? inner * plain_d(row, 0.5 * (state[i] + state[i + 1]))
					 : edge * plain_outer(p, row, 0, state[i]);
		double b = old[i] + known + (i + 1 < n ? 0 : right * air->eq_mc_pct);
		double diagonal = 1 + left + right;
		if (i > 0) {
			diagonal -= left * upper[i - 1];
			b += left * next[i - 1];
		}
		upper[i] = right / diagonal;
		next[i] = b / diagonal;
		left = right;
		known = 0;
	}
	for (size_t i = n - 1; i-- > 0;)
		next[i] += upper[i] * next[i + 1];
}

static void plain_step(const struct plain *p, const struct air *air, double *mc)
{
	double row[COLUMNS], guess[CELLS_MAX], mean[CELLS_MAX], next[CELLS_MAX];
	double at = (air->t_degc + 20) / 2.5;
	int r = (int)at;
	for (int m = 0; m < COLUMNS; m++)
		row[m] = p->table[r][m] + (at - r) * (p->table[r + 1][m] - p->table[r][m]);
	plain_pass(p, row, air, mc, mc, guess);
	for (size_t i = 0; i < p->n; i++)
		mean[i] = 0.5 * (mc[i] + guess[i]);
	plain_pass(p, row, air, mean, mc, next);
	for (size_t i = 0; i < p->n; i++)
		mc[i] = next[i];
}

static double run_plain(const struct plain *p, const struct air *air, double *mc)
{
	moisture_fill(mc, p->n, START_PCT);
	double start = seconds();
	for (int h = 0; h < HOURS; h++)
		plain_step(p, &air[h], mc);
	return seconds() - start;
}

static double run_ours(const struct moisture_slab *s, const struct air *air, int hours, double *mc)
{
	moisture_fill(mc, s->n, START_PCT);
	double start = seconds();
	for (int h = 0; h < hours; h++) {
		double eq[2] = { air[h].eq_mc_pct, air[h].eq_mc_pct };
		(void)moisture_step(s, mc, eq, air[h].t_degc, 3600);
	}
	return seconds() - start;
}

static struct moisture_slab slab_of(const struct moisture_diffusivity *d, size_t n)
{
	return (struct moisture_slab){
		.d_ref = d,
		.n = n,
		.dx_m = THICKNESS_M / (double)n,
		.finish_s_m = { LACQUER_S_M, 0 },
		.film_m_s = -1,
	};
}

/* Best of some rounds of each, taken in turn, so that a busy machine disturbs both alike. */
static double compare(const struct air *air, const struct moisture_diffusivity *d, size_t n)
{
	static struct plain p;
	struct moisture_slab s = slab_of(d, n);
	double ours = HUGE_VAL, plain = HUGE_VAL, a[CELLS_MAX], b[CELLS_MAX];
	p.n = n;
	p.dx_m = s.dx_m;
	plain_table(&p);
	for (int i = 0; i < ROUNDS; i++) {
		ours = fmin(ours, run_ours(&s, air, HOURS, a));
		plain = fmin(plain, run_plain(&p, air, b));
	}
	printf("bench moisture_%zu_cells_ten_years %.1f ms\n", n, 1e3 * ours);
	printf("bench moisture_%zu_cells_to_bare_loop %.3f ratio goal <= 1.5\n", n, ours / plain);
	return ours;
}

/* Parameters, table rows, then the air; one value or row a line. */
static int write_problem(const char *path, const struct air *air, double ours_s, const double *mc)
{
	FILE *f = fopen(path, "w");
	if (!f)
		return 1;
	fprintf(f, "%d %.17g %.17g %.17g %.17g %d\n", MOISTURE_CELLS, THICKNESS_M, LACQUER_S_M,
		START_PCT, ours_s * SCRIPT_HOURS / HOURS, SCRIPT_HOURS);
	for (int i = 0; i < MOISTURE_CELLS; i++)
		fprintf(f, "%.17g ", mc[i]);
	for (int t = 0; t < ROWS; t++) {
		fprintf(f, "\n");
		for (int m = 0; m < COLUMNS; m++)
			fprintf(f, "%.17g ", moisture_siau_m2_s(-20 + 2.5 * t, 0.5 * m, GRAVITY));
	}
	fprintf(f, "\n");
	for (int h = 0; h < SCRIPT_HOURS; h++)
		fprintf(f, "%.17g %.17g\n", air[h].t_degc, air[h].eq_mc_pct);
	return fclose(f) != 0;
}

int main(int argc, char **argv)
{
	struct air *air = malloc(HOURS * sizeof *air);
	struct moisture_diffusivity *d = moisture_diffusivity_new(GRAVITY);
	if (!air || !d)
		return 1;
	make_air(air);
	double ours_s = compare(air, d, MOISTURE_CELLS);
	(void)compare(air, d, 20);
	int failed = 0;
	if (argc > 1) {
		struct moisture_slab s = slab_of(d, MOISTURE_CELLS);
		double mc[MOISTURE_CELLS];
		(void)run_ours(&s, air, SCRIPT_HOURS, mc);
		failed = write_problem(argv[1], air, ours_s, mc);
	}
	moisture_diffusivity_free(d);
	free(air);
	return failed;
}
