/* Speed of the moisture step over hourly air: one piece, eight abreast, fleets of instruments.
 * Against a bare two-pass loop of the same cells, film, finish and table: a predictor with D at the
 * old state, a corrector with D at the mean state, one implicit Euler solve each.
 * moisture_scipy.py compares one instrument with a script. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "core/moisture.h"
#include "core/sorption.h"

enum { HOURS = 87660, CELLS_MAX = MOISTURE_CELLS, ROUNDS = 15, COLUMNS = 61, ROWS = 33 };
enum {
	LANES = 8,
	WOODS = 12,
	PIECES = 7,
	PARTS = 5,
	MEMBERS = 6,
	INSTRUMENTS = 10000,
	BUILDS = 30
};

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

/* Seconds of one step. */
static double run_plain(const struct plain *p, const struct air *air, int hours)
{
	double mc[CELLS_MAX];
	moisture_fill(mc, p->n, START_PCT);
	double start = seconds();
	for (int h = 0; h < hours; h++)
		plain_step(p, &air[h], mc);
	return (seconds() - start) / hours;
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

static double run_ours(const struct moisture_slab *s, const struct air *air, double *mc)
{
	moisture_fill(mc, s->n, START_PCT);
	double start = seconds();
	for (int h = 0; h < HOURS; h++) {
		double eq[2] = { air[h].eq_mc_pct, air[h].eq_mc_pct };
		(void)moisture_step(s, mc, eq, air[h].t_degc, 3600);
	}
	return seconds() - start;
}

/* Eight pieces of unlike wood and thickness, each in air of its own, one eighth of the hours each. */
static double run_lanes(struct moisture_diffusivity *const *woods, const struct air *air)
{
	struct moisture_column column[LANES] = { 0 };
	struct moisture_lane lane[LANES] = { 0 };
	double mc[LANES][MOISTURE_CELLS];
	for (size_t i = 0; i < LANES; i++) {
		column[i].n_pieces = 1;
		column[i].piece[0] = slab_of(woods[i], MOISTURE_CELLS);
		column[i].piece[0].dx_m *= 1 + 0.5 * (double)i;
		lane[i].column_ref = &column[i];
		lane[i].mc_pct[0] = mc[i];
		moisture_fill(mc[i], MOISTURE_CELLS, START_PCT);
	}
	double start = seconds();
	for (int h = 0; h < HOURS / LANES; h++) {
		for (int i = 0; i < LANES; i++) {
			const struct air *now = &air[HOURS / LANES * i + h];
			lane[i].t_degc = now->t_degc;
			lane[i].eq_mc_pct[0] = lane[i].eq_mc_pct[1] = now->eq_mc_pct;
		}
		moisture_step_lanes(lane, LANES, 3600);
	}
	return (seconds() - start) * HOURS / (HOURS / LANES * LANES);
}

/* Best of some rounds of each, taken in turn, so that a busy machine disturbs all alike. */
static void compare(
	const struct plain *p, const struct air *air, struct moisture_diffusivity *const *woods)
{
	struct moisture_slab s = slab_of(woods[0], MOISTURE_CELLS);
	double ours = HUGE_VAL, lanes = HUGE_VAL, plain = HUGE_VAL, mc[MOISTURE_CELLS];
	for (int i = 0; i < ROUNDS; i++) {
		ours = fmin(ours, run_ours(&s, air, mc));
		lanes = fmin(lanes, run_lanes(woods, air));
		plain = fmin(plain, run_plain(p, air, HOURS) * HOURS);
	}
	printf("bench moisture_16_cells_ten_years %.1f ms\n", 1e3 * ours);
	printf("bench moisture_16_cells_to_bare_loop %.3f ratio goal <= 1.3\n", ours / plain);
	printf("bench moisture_8_lanes_to_bare_loop %.3f ratio goal <= 0.5\n", lanes / plain);
}

/* A flat-top guitar in six members: top, back, headstock by themselves; fingerboard on neck, bridge on
 * its patch of the top, which is a seventh piece. */
struct guitar {
	const struct moisture_column *part;
	double mc_pct[PIECES][MOISTURE_CELLS];
};

static struct moisture_slab piece(
	const struct moisture_diffusivity *wood, double thickness_m, double outside, double inside)
{
	return (struct moisture_slab){ wood, MOISTURE_CELLS, thickness_m / MOISTURE_CELLS,
		{ outside, inside }, -1, 0 };
}

/* woods: from light to heavy. A build of each third, in ten thicknesses. */
static void make_build(
	struct moisture_column *part, struct moisture_diffusivity *const *woods, size_t number)
{
	size_t kind = number % 3;
	double thick = 1 + 0.01 * (double)(number / 3);
	struct moisture_slab top = piece(woods[kind], 0.0028 * thick, LACQUER_S_M, 0);
	struct moisture_slab back = piece(woods[6 + kind], 0.0025 * thick, LACQUER_S_M, 0);
	struct moisture_slab head = piece(woods[3 + kind], 0.015, LACQUER_S_M, LACQUER_S_M);
	struct moisture_slab neck = piece(woods[3 + kind], 0.020 * thick, LACQUER_S_M, 0);
	struct moisture_slab board = piece(woods[9 + kind], 0.006, 0, 0);
	struct moisture_slab bridge = piece(woods[6 + kind], 0.009, 0, 0);
	struct moisture_slab patch = top;
	patch.finish_s_m[0] = 0;
	const struct moisture_column parts[PARTS] = {
		{ { top }, 1, 0 },
		{ { back }, 1, 0 },
		{ { head }, 1, 0 },
		{ { neck, board }, 2, 0 },
		{ { patch, bridge }, 2, 0 },
	};
	memcpy(part, parts, sizeof parts);
}

static void guitar_lanes(struct guitar *g, const struct air *air, struct moisture_lane *lanes)
{
	size_t next = 0;
	for (size_t i = 0; i < PARTS; i++) {
		lanes[i] = (struct moisture_lane){ .column_ref = &g->part[i],
			.eq_mc_pct = { air->eq_mc_pct, air->eq_mc_pct },
			.t_degc = air->t_degc };
		for (size_t j = 0; j < g->part[i].n_pieces; j++)
			lanes[i].mc_pct[j] = g->mc_pct[next++];
	}
}

/* One hour of n guitars, each in air of its own; seconds. */
static double fleet_hour(struct guitar *fleet, size_t n, const struct air *air)
{
	enum { TOGETHER = 8 };
	double start = seconds();
	for (size_t i = 0; i < n; i += TOGETHER) {
		struct moisture_lane lanes[TOGETHER * PARTS];
		size_t some = n - i < TOGETHER ? n - i : TOGETHER;
		for (size_t j = 0; j < some; j++)
			guitar_lanes(&fleet[i + j], &air[i + j], &lanes[j * PARTS]);
		moisture_step_lanes(lanes, some * PARTS, 3600);
	}
	return seconds() - start;
}

/* A day to settle, then the best hour of a day; in turn with it the bare loop. */
static void best_hour(struct guitar *fleet, size_t n, const struct plain *p, const struct air *air,
	double *ours_s, double *bare_s)
{
	static struct air now[INSTRUMENTS];
	*ours_s = *bare_s = HUGE_VAL;
	for (size_t hour = 0; hour < 48; hour++) {
		for (size_t i = 0; i < n; i++)
			now[i] = air[(i * 61 + hour) % HOURS];
		double took = fleet_hour(fleet, n, now);
		if (hour < 24)
			continue;
		*ours_s = fmin(*ours_s, took);
		*bare_s = fmin(*bare_s, run_plain(p, air, HOURS / 8));
	}
}

static int compare_fleets(
	const struct plain *p, const struct air *air, struct moisture_diffusivity *const *woods)
{
	static const size_t sizes[] = { INSTRUMENTS / 60, INSTRUMENTS / 6, INSTRUMENTS };
	static struct moisture_column builds[BUILDS][PARTS];
	struct guitar *fleet = malloc(INSTRUMENTS * sizeof *fleet);
	double each[3];
	if (!fleet)
		return 1;
	for (size_t i = 0; i < BUILDS; i++)
		make_build(builds[i], woods, i);
	for (size_t k = 0; k < 3; k++) {
		size_t n = sizes[k];
		double ours_s, bare_s;
		for (size_t i = 0; i < n; i++) {
			fleet[i].part = builds[i % BUILDS];
			for (size_t j = 0; j < PIECES; j++)
				moisture_fill(fleet[i].mc_pct[j], MOISTURE_CELLS, START_PCT);
		}
		best_hour(fleet, n, p, air, &ours_s, &bare_s);
		each[k] = ours_s / (double)(n * MEMBERS) / bare_s;
		printf("bench moisture_fleet_of_%zu_members_an_hour %.3f ms\n", n * MEMBERS,
			1e3 * ours_s);
	}
	printf("bench moisture_fleet_a_member_to_bare_step %.3f ratio goal <= 0.5\n", each[2]);
	printf("bench moisture_fleet_largest_to_smallest_a_member %.3f ratio goal <= 1.2\n",
		each[2] / each[0]);
	free(fleet);
	return 0;
}

int main(void)
{
	struct air *air = malloc(HOURS * sizeof *air);
	struct moisture_diffusivity *woods[WOODS];
	if (!air)
		return 1;
	for (int i = 0; i < WOODS; i++)
		if (!(woods[i] = moisture_diffusivity_new(GRAVITY + 0.05 * i)))
			return 1;
	make_air(air);
	static struct plain p = { .n = MOISTURE_CELLS, .dx_m = THICKNESS_M / MOISTURE_CELLS };
	plain_table(&p);
	compare(&p, air, woods);
	int failed = compare_fleets(&p, air, woods);
	for (int i = 0; i < WOODS; i++)
		moisture_diffusivity_free(woods[i]);
	free(air);
	return failed;
}
