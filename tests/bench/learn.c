/* How well learning keeps its promises, see tests/unit/learn_study.h; run in the folder of conf/. Seed: SEED.
 *
 * Relief unless its name says otherwise, four findings in one year, then the driest and the dampest day of
 * the next. Readings are off by up to one step of 2 thou, half a 64th for action, evenly spread; _coarse: normal with a
 * standard deviation of a whole step; _rounded: rounded to it.
 * Coverage is the share of true values inside; _to_prior: rms error by that of gain 1 from the last finding. */
#include <stdio.h>
#include <stdlib.h>

#include "tests/unit/learn_study.h"

enum { INSTRUMENTS = 20000 };

static struct study_world world;

static struct study of(enum learn_quantity q)
{
	struct study s = study_as_stated(&world, q);
	s.instruments = INSTRUMENTS;
	return s;
}

static void print_coverage(const char *name, const struct study_result *r)
{
	static const struct {
		int pct;
		const char *goal;
	} rows[STUDY_LEVELS] = { { 50, ">= 0.45" }, { 80, ">= 0.75" }, { 90, ">= 0.85" },
		{ 95, ">= 0.92" } };
	for (size_t k = 0; k < STUDY_LEVELS; k++)
		(void)printf("bench learning_coverage_%d%s %.3f share goal %s\n", rows[k].pct, name,
			r->inside[k], rows[k].goal);
}

static void print_ratio(const char *name, const struct study_result *r)
{
	(void)printf(
		"# %s: rms %.4f mm; gain 1 from last finding %.4f, first %.4f, mean of all %.4f\n",
		name, r->rms_m * 1e3, r->rms_last_m * 1e3, r->rms_first_m * 1e3,
		r->rms_mean_m * 1e3);
	(void)printf("bench learning_%s_error_to_prior %.2f ratio goal <= 0.5\n", name,
		r->rms_m / r->rms_last_m);
}

static void bench_relief(void)
{
	struct study s = of(LEARN_RELIEF);
	struct study_result r = study_run(&world, &s);
	print_coverage("", &r);
	print_ratio("relief", &r);
	(void)printf("bench learning_false_alarms %.4f share goal <= 0.005\n", r.outliers);
	s.years = 2;
	r = study_run(&world, &s);
	print_ratio("relief_two_years", &r);
	s.years = 1;
	s.noise = STUDY_ROUNDED;
	r = study_run(&world, &s);
	print_coverage("_rounded", &r);
	print_ratio("relief_rounded", &r);
	struct learn_prior was = world.prior[LEARN_RELIEF];
	s = study_coarse(&world, LEARN_RELIEF);
	s.instruments = INSTRUMENTS;
	r = study_run(&world, &s);
	print_coverage("_coarse", &r);
	print_ratio("relief_coarse", &r);
	world.prior[LEARN_RELIEF] = was;
}

static void bench_robustness(void)
{
	struct study s = of(LEARN_RELIEF);
	s.gain_sd *= 2;
	struct study_result r = study_run(&world, &s);
	print_coverage("_gains_twice_as_wide", &r);
	s = of(LEARN_RELIEF);
	s.other_wood = true;
	r = study_run(&world, &s);
	print_coverage("_other_finish", &r);
	s = of(LEARN_RELIEF);
	s.gain_mean = -1;
	s.gain_sd = 0.5;
	r = study_run(&world, &s);
	print_ratio("relief_reversed", &r);
	(void)printf("bench learning_reversed_learnt %.2f share goal >= 0.5\n", r.reversed_learnt);
	s.years = 2;
	r = study_run(&world, &s);
	(void)printf("bench learning_reversed_learnt_two_years %.2f share goal >= 0.7\n",
		r.reversed_learnt);
	s = of(LEARN_RELIEF);
	s.jump_m = 0.3e-3; /* about half a turn of the rod */
	r = study_run(&world, &s);
	(void)printf("bench learning_outliers_caught %.2f share goal >= 0.75\n", r.last_outlier);
}

static void bench_others(void)
{
	struct study s = of(LEARN_ACTION);
	struct study_result r = study_run(&world, &s);
	print_coverage("_action", &r);
	print_ratio("action", &r);
	s = of(LEARN_FRET_ENDS);
	r = study_run(&world, &s);
	print_coverage("_fret_ends", &r);
	print_ratio("fret_ends", &r);
}

int main(void)
{
	const char *seed = getenv("SEED");
	uint64_t random = seed ? strtoull(seed, NULL, 10) : 20261125;
	(void)printf("# learning: seed %llu, %d instruments a figure\n", (unsigned long long)random,
		INSTRUMENTS);
	if (!study_begin(&world, random)) {
		(void)fprintf(stderr, "learn: conf/ cannot be loaded\n");
		return 1;
	}
	bench_relief();
	bench_others();
	bench_robustness();
	return 0;
}
