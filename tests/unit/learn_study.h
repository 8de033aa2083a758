/* A study of learning on invented instruments: hidden gains, a year of findings with measuring noise, then the
 * next year's extremes foretold. Used by test_learn_study.c and tests/bench/learn.c.
 *
 * x comes from the wood: builds of conf/ followed hour by hour through invented seasonal air, drier in winter,
 * with weather of five days' memory. The priors are those of conf/care.conf. The air to come is taken as
 * known: what is scored is learning, not the forecast. */
#ifndef TESTS_UNIT_LEARN_STUDY_H
#define TESTS_UNIT_LEARN_STUDY_H

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include "core/instrument.h"
#include "core/learn.h"
#include "core/sorption.h"
#include "daemon/library.h"

/* Day 0 is 1 August. Invented air begins half a year earlier, to forget its start; then two years of findings
 * and one foretold. The last houses are free for measured air. */
enum {
	STUDY_HOUSES = 24,
	STUDY_MEASURED = 2,
	STUDY_WOODS = 3,
	STUDY_BUILDS = 2,
	STUDY_SPIN = 182,
	STUDY_DAYS = 3 * 365,
	STUDY_HOURS = (STUDY_SPIN + STUDY_DAYS) * 24,
	STUDY_LEVELS = 4,
	STUDY_YEARS = 2,
	STUDY_SEASONS = 4
};

/* wood 0 is what the model believes; 1 and 2 differ in finish and thickness, so that they move at other times. */
struct study_course {
	double relief_m[STUDY_DAYS], action_m[STUDY_DAYS], fret_m[STUDY_DAYS];
};
struct study_house {
	struct study_course course[STUDY_WOODS];
	int first_day, end_day; /* of the course; not including the end */
};
struct study_world {
	struct study_house house[STUDY_HOUSES + STUDY_MEASURED];
	struct build build[STUDY_BUILDS];
	struct learn_prior prior[LEARN_QUANTITIES];
	uint64_t random;
};

enum study_noise { STUDY_EVEN, STUDY_NORMAL, STUDY_ROUNDED };

struct study {
	enum learn_quantity quantity;
	enum study_noise noise;
	double step_m; /* even: off by at most that; normal: standard deviation; rounded: what it is rounded to */
	double gain_mean, gain_sd; /* of the hidden gains */
	double scatter_m; /* of the hidden truth */
	double jump_m; /* from the last finding on the truth lies off by so much: work nobody told */
	bool other_wood;
	bool measured; /* houses of measured air instead of invented ones */
	int years; /* of findings, up to STUDY_YEARS */
	int instruments;
};

/* Of all predictions, two for each instrument and string. */
struct study_result {
	double inside[STUDY_LEVELS]; /* central 50, 80, 90, 95 % intervals that held the truth */
	double rms_m; /* of predicted minus true */
	double rms_last_m, rms_first_m; /* gain 1 and the level of the last, the first finding */
	double rms_mean_m; /* gain 1 and the level of all findings */
	double outliers; /* of all findings but the first: those called an outlier */
	double last_outlier; /* of the last ones */
	double reversed_learnt; /* of the gains below zero: those also learnt as below zero */
};

static const double study_z[STUDY_LEVELS] = { 0.67449, 1.28155, 1.64485, 1.95996 };

static double study_uniform(struct study_world *w)
{
	/* splitmix64, Steele et al. 2014 */
	uint64_t z = w->random += 0x9e3779b97f4a7c15U;
	z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
	z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
	return ((double)((z ^ (z >> 31)) >> 11) + 0.5) / 9007199254740992.0;
}

/* Box and Muller 1958. */
static double study_normal(struct study_world *w)
{
	double r = sqrt(-2 * log(study_uniform(w)));
	return r * cos(2 * 3.14159265358979 * study_uniform(w));
}

/* Wood 1: thicker and better finished, later; wood 2: thinner and barer, earlier. */
static void study_change_wood(struct build *b, int wood)
{
	double by = wood == 1 ? 2.0 : 0.5, thicker = wood == 1 ? 1.15 : 0.87;
	for (size_t i = 0; wood > 0 && i < b->n_members; i++) {
		b->members[i].thickness_m *= thicker;
		for (size_t k = 0; k < 2; k++)
			if (b->members[i].finish_s_m[k] < 1e29)
				b->members[i].finish_s_m[k] *= by;
	}
	for (size_t i = 0; wood > 0 && i < b->n_fastenings; i++)
		b->fastenings[i].grip_m *= thicker;
}

/* One wood through n hours of air that begin at midnight of first_day; fret ends are dressed on day 0 or then. */
static bool study_follow_wood(
	struct study_world *w, int house, int wood, const double *eq_pct, int n, int first_day)
{
	struct build b = w->build[house % STUDY_BUILDS];
	struct study_course *to = &w->house[house].course[wood];
	struct instrument_model *m = NULL;
	struct instrument_state s;
	double start_pct = 0;
	for (int h = 0; h < 720; h++)
		start_pct += eq_pct[h] / 720;
	study_change_wood(&b, wood);
	if (instrument_model_new(&b, w->prior, &m, NULL) != RC_OK)
		return false;
	instrument_begin(m, &s, 0, start_pct);
	for (int h = 0; h < n; h++) {
		const struct instrument_air air = { eq_pct[h], 20, false };
		struct condition c;
		int day = first_day + h / 24;
		instrument_step(m, &s, &air);
		if (day == 0 && h % 24 == 0)
			instrument_finding(m, &s, s.hour, FINDING_FRET_ENDS, 0);
		if (day < 0 || day >= STUDY_DAYS || h % 24 != 12)
			continue;
		instrument_condition(m, &s, &c);
		to->relief_m[day] = c.relief_m;
		to->action_m[day] = c.action_m;
		to->fret_m[day] = c.fret_end_m;
	}
	instrument_model_free(m);
	return true;
}

static bool study_follow(
	struct study_world *w, int house, const double *eq_pct, int n, int first_day)
{
	int end = first_day + n / 24;
	w->house[house].first_day = first_day > 0 ? first_day : 0;
	w->house[house].end_day = end < STUDY_DAYS ? end : STUDY_DAYS;
	for (int wood = 0; wood < STUDY_WOODS; wood++)
		if (!study_follow_wood(w, house, wood, eq_pct, n, first_day))
			return false;
	return true;
}

/* Indoor air: mean 42 to 50 %, swing 8 to 16 % RH to either side, weather of 4 %: the two houses of the TRH database
 * that tests know swing by 9 and 16 (monthly means 30 to 50 and 25 to 60 %); EN 15026 Annex C, from memory, has 30 % at
 * -10 degC outdoors and 60 % at 20 degC. */
static bool study_invent_house(struct study_world *w, int house)
{
	static double eq_pct[STUDY_HOURS];
	double mean = 42 + 8 * study_uniform(w), swing = 8 + 8 * study_uniform(w), weather = 0;
	for (int h = 0; h < STUDY_HOURS; h++) {
		double year = (h / 24.0 - STUDY_SPIN) / 365;
		weather = weather * (1 - 1 / 120.0) + study_normal(w) * 4 * sqrt(2 / 120.0);
		double rh_pct = mean + swing * cos(2 * 3.14159265358979 * year) + weather;
		eq_pct[h] = sorption_mc_pct(20, fmin(fmax(rh_pct, 10), 90) / 100);
	}
	return study_follow(w, house, eq_pct, STUDY_HOURS, -STUDY_SPIN);
}

/* Needs conf/ in the working folder. */
static bool study_begin(struct study_world *w, uint64_t seed)
{
	static const char *const dirs[] = { "conf" };
	struct library *l = NULL;
	struct faults f = { 0 };
	memset(w, 0, sizeof *w);
	w->random = seed;
	if (library_load(dirs, 1, &l, &f) != RC_OK)
		return false;
	memcpy(w->prior, l->learning, sizeof w->prior);
	w->build[0] = *library_build(l, "flat-top");
	w->build[1] = *library_build(l, "parlour");
	library_free(l);
	for (int i = 0; i < STUDY_HOUSES; i++)
		if (!study_invent_house(w, i))
			return false;
	return true;
}

static const double *study_x(const struct study_course *c, enum learn_quantity q)
{
	return q == LEARN_RELIEF ? c->relief_m : q == LEARN_ACTION ? c->action_m : c->fret_m;
}

/* One instrument: model and truth of each day, and what was read. Action has two strings. */
struct study_instrument {
	const struct study_house *house;
	const double *x, *wood;
	double gain, offset_m[2];
	int strings;
	int day[STUDY_YEARS * STUDY_SEASONS];
	double y_m[STUDY_YEARS * STUDY_SEASONS][2];
	int findings;
};

static double study_truth(const struct study_instrument *in, int string, int day)
{
	return in->offset_m[string] + in->gain * in->wood[day];
}

static double study_reading(struct study_world *w, const struct study *s, double y)
{
	if (s->noise == STUDY_EVEN)
		return y + s->step_m * (2 * study_uniform(w) - 1);
	if (s->noise == STUDY_NORMAL)
		return y + s->step_m * study_normal(w);
	return s->step_m * round(y / s->step_m);
}

static void study_read(
	struct study_world *w, const struct study *s, struct study_instrument *in, int finding)
{
	double scatter = s->scatter_m * study_normal(w); /* the same for both strings */
	for (int k = 0; k < in->strings; k++) {
		double y = study_truth(in, k, in->day[finding]) + scatter;
		y += finding + 1 == in->findings ? s->jump_m : 0;
		in->y_m[finding][k] = study_reading(w, s, y);
	}
}

/* Findings about mid October (or a fortnight after the air begins), end of January, of April and mid July. */
static void study_make(struct study_world *w, const struct study *s, struct study_instrument *in)
{
	static const int season_day[STUDY_SEASONS] = { 76, 183, 270, 347 };
	int first = s->measured ? STUDY_HOUSES : 0, n = s->measured ? STUDY_MEASURED : STUDY_HOUSES;
	int wood = s->other_wood ? 1 + (int)(study_uniform(w) * 2) : 0;
	in->house = &w->house[first + (int)(study_uniform(w) * n)];
	in->x = study_x(&in->house->course[0], s->quantity);
	in->wood = study_x(&in->house->course[wood], s->quantity);
	in->gain = s->gain_mean + s->gain_sd * study_normal(w);
	in->strings = s->quantity == LEARN_ACTION ? 2 : 1;
	in->findings = s->years * STUDY_SEASONS;
	for (int k = 0; k < 2; k++)
		in->offset_m[k] =
			s->quantity == LEARN_FRET_ENDS ? 0 : 1e-3 * (1 + study_uniform(w));
	for (int i = 0; i < in->findings; i++) {
		int day = i / STUDY_SEASONS * 365 + season_day[i % STUDY_SEASONS];
		int earliest = in->house->first_day + 30;
		in->day[i] = (day < earliest ? earliest : day) + (int)(30 * study_uniform(w)) - 15;
		study_read(w, s, in, i);
	}
}

/* What learning has of one instrument. Lines are NULL where the origin is known. */
struct study_learnt {
	struct learn_gain gain;
	struct learn_line lines[2], *line[2];
	int outliers;
	bool last_outlier;
};

/* An outlier begins a new segment; where the origin is known it is left out. */
static void study_take(const struct learn_prior *p, const struct study_instrument *in, int finding,
	struct study_learnt *to)
{
	to->last_outlier = false;
	for (int k = 0; k < in->strings; k++) {
		double x = in->x[in->day[finding]], y = in->y_m[finding][k];
		bool off = fabs(learn_surprise(p, &to->gain, to->line[k], x, y)) > LEARN_OUTLIER;
		to->last_outlier = to->last_outlier || off;
		to->outliers += off;
		if (off && to->line[k])
			learn_new_segment(to->line[k]);
		if (!off || to->line[k])
			(void)learn_add(&to->gain, to->line[k], x, y);
	}
}

static void study_learn(const struct learn_prior *p, const struct study_instrument *in, bool origin,
	struct study_learnt *to)
{
	*to = (struct study_learnt){ 0 };
	for (int k = 0; k < in->strings; k++)
		to->line[k] = origin ? NULL : &to->lines[k];
	for (int i = 0; i < in->findings; i++)
		study_take(p, in, i, to);
}

/* The days of the least and the greatest x in the year after the findings. */
static void study_extremes(const struct study_instrument *in, int years, int day[2])
{
	int end = (years + 1) * 365;
	end = end < in->house->end_day ? end : in->house->end_day;
	day[0] = day[1] = years * 365;
	for (int d = years * 365; d < end; d++) {
		day[0] = in->x[d] < in->x[day[0]] ? d : day[0];
		day[1] = in->x[d] > in->x[day[1]] ? d : day[1];
	}
}

static double study_square(double x)
{
	return x * x;
}

/* Scores one prediction into sums. Without learning the gain is 1 and the level that of a finding. */
static void study_score(struct study_world *w, const struct study *s,
	const struct study_instrument *in, const struct study_learnt *l, int string, int day,
	struct study_result *sum)
{
	struct learn_estimate e =
		learn_predict(&w->prior[s->quantity], &l->gain, l->line[string], in->x[day]);
	double truth = study_truth(in, string, day) + s->scatter_m * study_normal(w) + s->jump_m;
	double level[STUDY_YEARS * STUDY_SEASONS] = { 0 }, mean = 0;
	for (int i = 0; l->line[string] && i < in->findings; i++) {
		level[i] = in->y_m[i][string] - in->x[in->day[i]];
		mean += level[i] / in->findings;
	}
	for (int k = 0; k < STUDY_LEVELS; k++)
		sum->inside[k] += fabs(truth - e.value) <= study_z[k] * e.sd;
	sum->rms_m += study_square(truth - e.value);
	sum->rms_last_m += study_square(truth - level[in->findings - 1] - in->x[day]);
	sum->rms_first_m += study_square(truth - level[0] - in->x[day]);
	sum->rms_mean_m += study_square(truth - mean - in->x[day]);
}

/* Sums over n predictions into means. */
static void study_divide(struct study_result *sum, int n)
{
	for (int k = 0; k < STUDY_LEVELS; k++)
		sum->inside[k] /= n;
	sum->rms_m = sqrt(sum->rms_m / n);
	sum->rms_last_m = sqrt(sum->rms_last_m / n);
	sum->rms_first_m = sqrt(sum->rms_first_m / n);
	sum->rms_mean_m = sqrt(sum->rms_mean_m / n);
}

#define STUDY_FEELER_M (2 * 25.4e-6) /* one step of a feeler gauge set */
#define STUDY_RULER_M (25.4e-3 / 128) /* half of 1/64 in */

/* Hidden gains and scatter as the shipped prior has them; readings off by up to one step of the feeler gauge, half a 64th of the
 * ruler; a year of findings. */
static struct study study_as_stated(const struct study_world *w, enum learn_quantity q)
{
	return (struct study){
		.quantity = q,
		.noise = STUDY_EVEN,
		.step_m = q == LEARN_ACTION ? STUDY_RULER_M : STUDY_FEELER_M,
		.gain_mean = 1,
		.gain_sd = w->prior[q].gain_sd,
		.scatter_m = w->prior[q].scatter_sd,
		.years = 1,
		.instruments = 4000,
	};
}

/* The same with twice the spread in readings and prior: a standard deviation of one whole step. */
static struct study study_coarse(struct study_world *w, enum learn_quantity q)
{
	struct study s = study_as_stated(w, q);
	s.noise = STUDY_NORMAL;
	w->prior[q].reading_sd = s.step_m;
	return s;
}

static struct study_result study_run(struct study_world *w, const struct study *s)
{
	const struct learn_prior *p = &w->prior[s->quantity];
	struct study_result sum = { 0 };
	int predictions = 0, reversed = 0, judged = 0;
	for (int i = 0; i < s->instruments; i++) {
		struct study_instrument in;
		struct study_learnt learnt;
		int day[2];
		study_make(w, s, &in);
		study_learn(p, &in, s->quantity == LEARN_FRET_ENDS, &learnt);
		study_extremes(&in, s->years, day);
		for (int k = 0; k < in.strings; k++)
			for (int e = 0; e < 2; e++, predictions++)
				study_score(w, s, &in, &learnt, k, day[e], &sum);
		judged += (in.findings - 1) * in.strings;
		sum.outliers += learnt.outliers;
		sum.last_outlier += learnt.last_outlier;
		reversed += in.gain < 0;
		sum.reversed_learnt += in.gain < 0 && learn_gain_mean(p, &learnt.gain) < 0;
	}
	study_divide(&sum, predictions);
	sum.outliers /= judged;
	sum.last_outlier /= s->instruments;
	sum.reversed_learnt /= reversed ? reversed : 1;
	return sum;
}

#endif
