/* print_moisture HOURS: the columns of a flat-top guitar stepped through invented hourly air, as JSON: what they
 * are made of, the air, the moisture of each cell at the end, and the seconds that the steps took. For
 * moisture_reference.py. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "core/moisture.h"

#define PI 3.14159265358979323846
#define START_PCT 9.0
#define LACQUER_S_M 3e7 /* as in conf/finishes.conf */
#define FILM_M_S 3.2e-8 /* Toratti 1992, from memory */
#define FILM_EXP 4.0

enum { COLUMNS = 5, HOURS_MAX = 100000, WOODS = 4, ROUNDS = 5 };
enum { SPRUCE, MAHOGANY, ROSEWOOD, EBONY };
static const double gravity[WOODS] = { 0.40, 0.50, 0.75, 0.90 };

struct part {
	const char *name;
	struct {
		int wood;
		double thickness_m, finish_s_m[2];
	} piece[2];
	size_t n_pieces;
	double glue_s_m;
};

static const struct part parts[COLUMNS] = {
	{ "top", { { SPRUCE, 0.0027, { LACQUER_S_M, 0 } } }, 1, 0 },
	{ "back", { { ROSEWOOD, 0.0025, { LACQUER_S_M, 0 } } }, 1, 0 },
	{ "headstock", { { MAHOGANY, 0.015, { LACQUER_S_M, LACQUER_S_M } } }, 1, 0 },
	{ "neck and fingerboard",
		{ { MAHOGANY, 0.020, { LACQUER_S_M, 0 } }, { EBONY, 0.006, { 0, 0 } } }, 2, 0 },
	{ "top and bridge", { { SPRUCE, 0.0027, { 0, 0 } }, { ROSEWOOD, 0.009, { 0, 0 } } }, 2,
		2e7 },
};

struct run {
	struct moisture_column column[COLUMNS];
	double mc_pct[COLUMNS][2][MOISTURE_CELLS];
	struct moisture_lane lane[COLUMNS];
};

static double seconds(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* Waves of ten days and a day; a window stands open for some hours of every fourth day. */
static double air_mc_pct(int hour)
{
	double dry = hour % 96 < 10 ? 3 : 0;
	return 9 + 3 * sin(2 * PI * hour / 240) + sin(2 * PI * hour / 24) - dry;
}

static double air_degc(int hour)
{
	return 20 + 3 * sin(2 * PI * (hour - 6) / 24);
}

static void begin(struct run *r, struct moisture_diffusivity *const *woods)
{
	for (size_t i = 0; i < COLUMNS; i++) {
		const struct part *p = &parts[i];
		r->column[i].n_pieces = p->n_pieces;
		r->column[i].glue_s_m = p->glue_s_m;
		r->lane[i].column_ref = &r->column[i];
		for (size_t j = 0; j < p->n_pieces; j++) {
			r->column[i].piece[j] = (struct moisture_slab){
				.d_ref = woods[p->piece[j].wood],
				.n = MOISTURE_CELLS,
				.dx_m = p->piece[j].thickness_m / MOISTURE_CELLS,
				.finish_s_m = { p->piece[j].finish_s_m[0],
					p->piece[j].finish_s_m[1] },
				.film_m_s = FILM_M_S,
				.film_exp = FILM_EXP,
			};
			r->lane[i].mc_pct[j] = r->mc_pct[i][j];
			moisture_fill(r->mc_pct[i][j], MOISTURE_CELLS, START_PCT);
		}
	}
}

static double steps(struct run *r, int hours)
{
	double start = seconds();
	for (int h = 0; h < hours; h++) {
		for (size_t i = 0; i < COLUMNS; i++) {
			r->lane[i].t_degc = air_degc(h);
			r->lane[i].eq_mc_pct[0] = r->lane[i].eq_mc_pct[1] = air_mc_pct(h);
		}
		moisture_step_lanes(r->lane, COLUMNS, 3600);
	}
	return seconds() - start;
}

static void print_list(const char *name, const double *x, size_t n)
{
	printf("\"%s\": [", name);
	for (size_t i = 0; i < n; i++)
		printf("%s%.17g", i ? ", " : "", x[i]);
	printf("]");
}

static void print_column(const struct run *r, size_t i)
{
	const struct part *p = &parts[i];
	printf("%s\n{ \"name\": \"%s\", \"glue_s_m\": %g, \"pieces\": [", i ? "," : "", p->name,
		p->glue_s_m);
	for (size_t j = 0; j < p->n_pieces; j++) {
		printf("%s\n\t{ \"gravity\": %g, \"thickness_m\": %g, ", j ? "," : "",
			gravity[p->piece[j].wood], p->piece[j].thickness_m);
		print_list("finish_s_m", p->piece[j].finish_s_m, 2);
		printf(",\n\t");
		print_list("mc_pct", r->mc_pct[i][j], MOISTURE_CELLS);
		printf(" }");
	}
	printf("] }");
}

static void print(const struct run *r, int hours, double took_s)
{
	printf("{ \"start_pct\": %g, \"film_m_s\": %g, \"film_exp\": %g, \"seconds\": %.9g,\n",
		START_PCT, FILM_M_S, FILM_EXP, took_s);
	printf("\"air\": [");
	for (int h = 0; h < hours; h++)
		printf("%s[%.17g, %.17g]", h ? ", " : "", air_degc(h), air_mc_pct(h));
	printf("],\n\"columns\": [");
	for (size_t i = 0; i < COLUMNS; i++)
		print_column(r, i);
	printf("] }\n");
}

int main(int argc, char **argv)
{
	long hours = argc > 1 ? strtol(argv[1], NULL, 10) : 0;
	if (hours < 1 || hours > HOURS_MAX)
		return 64;
	struct moisture_diffusivity *woods[WOODS];
	for (size_t i = 0; i < WOODS; i++)
		if (!(woods[i] = moisture_diffusivity_new(gravity[i])))
			return 71;
	static struct run r;
	double took_s = HUGE_VAL;
	for (int i = 0; i < ROUNDS; i++) {
		begin(&r, woods);
		took_s = fmin(took_s, steps(&r, (int)hours));
	}
	print(&r, (int)hours, took_s);
	for (size_t i = 0; i < WOODS; i++)
		moisture_diffusivity_free(woods[i]);
	return 0;
}
