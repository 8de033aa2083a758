#include "tests/unit/support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/civil.h"
#include "core/instrument.h"
#include "core/sorption.h"

/* A parlour flat-top. Wood values: Wood Handbook FPL-GTR-190 tables 4-3, 5-1, 13-5 and FPL sheets as in
 * conf/species.conf; dimensions: common practice, no source. */
static struct build parlour(void)
{
	const struct species spruce = { "sitka_spruce", 0.36, 0.00148, 0.00263, 5e-5, 10.9e9,
		0.85e9, 0.47e9 };
	const struct species mahogany = { "mahogany_honduras", 0.50, 0.00172, 0.00238, 5e-5, 11.3e9,
		1.21e9, 0.72e9 };
	const struct species rosewood = { "rosewood_indian", 0.80, 0.00092, 0.00201, 8e-5, 13.5e9,
		1.5e9, 0.9e9 };
	struct build b = {
		.name = "parlour",
		.rh_low_pct = 40,
		.rh_high_pct = 55,
		.scale_m = 0.62,
		.relief_span_m = 0.30,
		.relief_share = 0.6,
		.top_span_m = 0.32,
		.top_share = 0.3,
		.brace_pitch_m = 0.06,
		.joint_m = 0.31,
		.body_depth_m = 0.1,
		.cavity_lag_s = 3 * 3600,
		.sorption_ratio = 1,
		.n_members = 6,
		.n_fastenings = 1,
	};
	b.members[0] = (struct member){ MEMBER_TOP, spruce, 0.0027, 0.36, 0, { 5e7, 0 } };
	b.members[1] = (struct member){ MEMBER_NECK, mahogany, 0.015, 0.055, 90,
		{ 5e7, MOISTURE_SEALED } };
	b.members[2] = (struct member){ MEMBER_FINGERBOARD, rosewood, 0.006, 0.055, 0,
		{ 0, MOISTURE_SEALED } };
	b.members[3] =
		(struct member){ MEMBER_HEADSTOCK, mahogany, 0.0145, 0.07, 90, { 5e7, 5e7 } };
	b.members[4] =
		(struct member){ MEMBER_BRIDGE, rosewood, 0.009, 0.03, 0, { 0, MOISTURE_SEALED } };
	b.members[5] = (struct member){ MEMBER_TOP_BRACE, spruce, 0.012, 0.008, 0,
		{ 0, MOISTURE_SEALED } };
	b.fastenings[0] = (struct fastening){ .kind = FASTENING_TUNER_NUT,
		.member = 3,
		.count = 6,
		.thread = "M10x0.75",
		.pitch_m = 0.75e-3,
		.grip_m = 0.0145,
		.snug_strain = 0.004,
		.yield_strain = 0.0075,
		.relax_s = 1.5 * 365 * (double)DAY_S };
	return b;
}

/* As conf/care.conf has them. */
static const struct learn_prior priors[LEARN_QUANTITIES] = {
	[LEARN_RELIEF] = { 1.0, 0.03e-3, 0.5 * 25.4e-6 },
	[LEARN_ACTION] = { 0.5, 0.115e-3, 0.05e-3 },
	[LEARN_FRET_ENDS] = { 0.4, 0.03e-3, 0.01e-3 },
	[LEARN_TUNER_TURN] = { 0.5, 0.04, 0.02 },
};

static struct instrument_model *model_of(const struct build *b)
{
	struct err err = { 0 };
	struct instrument_model *m = NULL;
	OK(instrument_model_new(b, priors, &m, &err), &err);
	return m;
}

static void live(const struct instrument_model *m, struct instrument_state *s, double rh, int days)
{
	const struct instrument_air air = { sorption_mc_pct(20, rh), 20, false };
	for (int h = 0; h < 24 * days; h++)
		instrument_step(m, s, &air);
}

static void from_50_to_30_percent_moves_as_the_trade_says(void **state)
{
	(void)state;
	/* Common practice, no source: relief moves some thousandths of an inch, action up to about a 64th or two, nuts
	 * snugged in the damp half need a fraction of a turn, fret ends stand out by a tenth or two of a millimetre. */
	struct build b = parlour();
	struct instrument_model *m = model_of(&b);
	struct instrument_state s;
	struct condition c;
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.5));
	live(m, &s, 0.3, 120);
	instrument_condition(m, &s, &c);
	assert_true(c.relief_m > 1 * 25.4e-6 && c.relief_m < 10 * 25.4e-6);
	assert_true(c.action_m < -0.1e-3 && c.action_m > -1.0e-3);
	assert_true(c.fret_end_m > 0.03e-3 && c.fret_end_m < 0.25e-3);
	assert_true(c.hardware[0].turns < 0.1);
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.6));
	live(m, &s, 0.3, 120);
	instrument_condition(m, &s, &c);
	assert_true(c.hardware[0].turns > 0.02 && c.hardware[0].turns < 0.25);
	instrument_model_free(m);
}

static void equal_air_changes_nothing(void **state)
{
	(void)state;
	struct build b = parlour();
	struct instrument_model *m = model_of(&b);
	struct instrument_state s;
	struct condition c;
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.45));
	live(m, &s, 0.45, 30);
	instrument_condition(m, &s, &c);
	CLOSE(c.relief_m, 0, 1e-9, "relief");
	CLOSE(c.action_m, 0, 1e-9, "action");
	CLOSE(c.fret_end_m, 0, 1e-9, "fret ends");
	CLOSE(c.hardware[0].hold, 1, 0.06, "hold relaxes by 30 days of 1.5 years");
	instrument_model_free(m);
}

static void a_finding_becomes_the_reference(void **state)
{
	(void)state;
	struct build b = parlour();
	struct instrument_model *m = model_of(&b);
	struct instrument_state s;
	struct condition c;
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.5));
	live(m, &s, 0.3, 60);
	instrument_finding(m, &s, s.hour, FINDING_RELIEF, 0.3e-3);
	instrument_finding(m, &s, s.hour, FINDING_FRET_ENDS, 0);
	instrument_finding(m, &s, s.hour, FINDING_SNUG, 0);
	instrument_condition(m, &s, &c);
	CLOSE(c.relief_m, 0, 0, "change since the finding");
	CLOSE(c.fret_end_m, 0, 0, "stand-out since dressing");
	CLOSE(c.hardware[0].hold, 1, 1e-12, "snug");
	CLOSE(s.refs[LINE_RELIEF].found, 0.3e-3, 0, "what was found");
	CLOSE(c.relief_now.value, 0.3e-3, 1e-15, "level");
	instrument_finding(m, &s, s.hour, FINDING_TRUSS_TURN, 0.125);
	assert_true(isnan(s.refs[LINE_RELIEF].found));
	instrument_condition(m, &s, &c);
	assert_true(isnan(c.relief_now.value));
	instrument_model_free(m);
}

/* Wet and dry half-years: the trend tells each extreme once, after it has passed. */
static void each_season_turns_once(void **state)
{
	(void)state;
	struct build b = parlour();
	struct instrument_model *m = model_of(&b);
	struct instrument_state s;
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.45));
	int64_t dry = TIME_NEVER, damp = TIME_NEVER;
	int dries = 0, damps = 0;
	for (int h = 0; h < 3 * 8766; h++) {
		double rh = 0.45 - 0.15 * sin(2 * 3.14159265358979 * h / 8766);
		const struct instrument_air air = { sorption_mc_pct(20, rh), 20, false };
		instrument_step(m, &s, &air);
		dries += s.trend.dry_seen_hour != dry;
		damps += s.trend.damp_seen_hour != damp;
		dry = s.trend.dry_seen_hour;
		damp = s.trend.damp_seen_hour;
		if (dry != TIME_NEVER)
			assert_true(s.trend.dry_hour < dry);
	}
	assert_int_equal(dries, 3);
	assert_int_equal(damps, 3);
	/* driest air at a quarter of each year; the wood lags by days, certainty by weeks */
	int64_t lag_h = s.trend.dry_hour - (2 * 8766 + 8766 / 4);
	assert_true(lag_h > 0 && lag_h < 30 * 24);
	instrument_model_free(m);
}

enum { HOURS_MAX = 20000 };

struct house {
	int64_t hour[HOURS_MAX];
	double t_degc[HOURS_MAX], rh[HOURS_MAX];
	size_t n;
};

/* Rows `2010-11-15 00:00:00,22.30,38.75` at a fixed +02:00. */
static bool read_house(const char *name, struct house *x)
{
	const char *path = support_data(name);
	FILE *f = path ? fopen(path, "r") : NULL;
	char line[128];
	struct civil c = { 0 };
	x->n = 0;
	while (f && x->n < HOURS_MAX && fgets(line, sizeof line, f)) {
		double t = 0, rh_pct = 0;
		if (sscanf(line, "%d-%d-%d %d:00:00,%lf,%lf", &c.year, &c.month, &c.day, &c.hour,
			    &t, &rh_pct) != 6)
			continue;
		x->hour[x->n] = civil_seconds(&c) / HOUR_S - 2;
		x->t_degc[x->n] = t;
		x->rh[x->n++] = rh_pct / 100;
	}
	if (f)
		(void)fclose(f);
	return x->n > 0;
}

static int64_t hour_of(int year, int month, int day)
{
	return civil_days(year, month, day) * 24 + 10;
}

struct winter {
	double least_hold, widest_gap_m;
	int64_t loosest_hour;
	double hold_in_august;
};

/* Follows the house, snugging on both days; tells each winter. */
static void follow_house(const struct house *x, struct winter *first, struct winter *second)
{
	struct build b = parlour();
	struct instrument_model *m = model_of(&b);
	struct instrument_state s;
	double rh = 0, t = 0;
	for (size_t i = 0; i < 720; i++) {
		rh += x->rh[i] / 720;
		t += x->t_degc[i] / 720;
	}
	instrument_begin(m, &s, x->hour[0] - 1, sorption_mc_pct(t, rh));
	*first = *second = (struct winter){ .least_hold = 9 };
	for (size_t i = 0; i < x->n; i++) {
		while (s.hour < x->hour[i]) {
			const struct instrument_air air = { sorption_mc_pct(x->t_degc[i], x->rh[i]),
				x->t_degc[i], false };
			instrument_step(m, &s, &air);
			if (s.hour == hour_of(2010, 12, 1) || s.hour == hour_of(2011, 10, 1))
				instrument_finding(m, &s, s.hour, FINDING_SNUG, 0);
			struct winter *w = s.hour < hour_of(2011, 10, 1) ? first : second;
			struct condition c;
			instrument_condition(m, &s, &c);
			if (s.hour > hour_of(2010, 12, 1) && c.hardware[0].hold < w->least_hold) {
				w->least_hold = c.hardware[0].hold;
				w->loosest_hour = s.hour;
				w->widest_gap_m = c.hardware[0].gap_m;
			}
			if (s.hour == hour_of(2011, 8, 15))
				w->hold_in_august = c.hardware[0].hold;
		}
	}
	instrument_model_free(m);
}

/* Shape only, on open measurements (TRH database, CC BY 4.0); what a mender expects is common practice, no source. */
static void real_winters_loosen_the_nut_snugged_in_damp_october_most(void **state)
{
	(void)state;
	static const char *const houses[] = { "finland-R4-indoor1.csv", "finland-R3-indoor1.csv" };
	static struct house x;
	for (size_t i = 0; i < COUNT(houses); i++) {
		if (!read_house(houses[i], &x)) {
			skip();
			return;
		}
		struct winter first, second;
		follow_house(&x, &first, &second);
		print_message("%s: December nut %.2f, October nut %.2f with gap %.3f mm\n",
			houses[i], first.least_hold, second.least_hold, second.widest_gap_m * 1e3);
		assert_true(first.loosest_hour > hour_of(2011, 1, 1) &&
			    first.loosest_hour < hour_of(2011, 6, 1));
		assert_true(second.loosest_hour > hour_of(2012, 1, 1) &&
			    second.loosest_hour < hour_of(2012, 6, 1));
		CLOSE(first.hold_in_august, 1, 1e-9, "hold in August");
		assert_true(second.least_hold < first.least_hold - 0.5);
		assert_true(second.widest_gap_m > 0.02e-3 && second.widest_gap_m < 0.12e-3);
		CLOSE(first.widest_gap_m, 0, 0, "the December nut never lost contact");
	}
}

/* ---- pieces that are glued, the air inside, one curve or two ---- */

static void what_is_glued_dries_through_what_it_is_glued_to(void **state)
{
	(void)state;
	struct build b = parlour();
	struct instrument_model *m = model_of(&b);
	const struct build *made = instrument_model_build(m);
	assert_int_equal(made->n_members, b.n_members + 2);
	size_t under = build_member(made, MEMBER_UNDER_BRIDGE),
	       top = build_member(made, MEMBER_TOP), board = build_member(made, MEMBER_FINGERBOARD),
	       neck = build_member(made, MEMBER_NECK);
	struct instrument_state s;
	struct condition c;
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.5));
	live(m, &s, 0.3, 4);
	instrument_condition(m, &s, &c);
	/* covered by the bridge the top dries through one face, and feeds the bridge */
	assert_true(c.mc_pct[under] > c.mc_pct[top] + 0.3);
	/* no step across the glue: the last cell of the board and the first of the neck are neighbours */
	double step = fabs(s.mc_pct[board][MOISTURE_CELLS - 1] - s.mc_pct[neck][0]);
	assert_true(step < 0.15);
	assert_true(s.mc_pct[board][0] < s.mc_pct[board][MOISTURE_CELLS - 1]);
	/* the shaft's far face is lacquered and faces the room: it dries too, later */
	assert_true(s.mc_pct[neck][MOISTURE_CELLS - 1] < s.mc_pct[neck][MOISTURE_CELLS / 2]);
	instrument_model_free(m);
}

static void air_inside_trails_the_room(void **state)
{
	(void)state;
	struct build b = parlour();
	struct build open = b;
	open.cavity_lag_s = 0;
	b.cavity_lag_s = 10 * 3600;
	struct instrument_model *m = model_of(&b), *o = model_of(&open);
	struct instrument_state s, t;
	double from = sorption_mc_pct(20, 0.5), to = sorption_mc_pct(20, 0.3);
	instrument_begin(m, &s, 0, from);
	instrument_begin(o, &t, 0, from);
	const struct instrument_air air = { to, 20, false };
	for (int h = 0; h < 10; h++) {
		instrument_step(m, &s, &air);
		instrument_step(o, &t, &air);
	}
	CLOSE(s.inside_mc_pct, to + (from - to) * exp(-1), 1e-12, "after one time constant");
	CLOSE(t.inside_mc_pct, to, 0, "without a cavity");
	/* the top's inner face follows later; what has no face inside does not notice */
	assert_true(s.mc_pct[0][MOISTURE_CELLS - 1] > t.mc_pct[0][MOISTURE_CELLS - 1] + 0.2);
	assert_memory_equal(s.mc_pct[3], t.mc_pct[3], sizeof s.mc_pct[3]);
	instrument_model_free(m);
	instrument_model_free(o);
}

/* Adsorption over desorption moisture 0.75-0.85 at mid humidity: Stamm 1964, Skaar 1988, from memory. */
static void with_two_curves_wood_ends_on_the_one_it_came_by(void **state)
{
	(void)state;
	struct build b = parlour();
	b.sorption_ratio = 0.8;
	struct instrument_model *m = model_of(&b);
	struct instrument_state s;
	struct condition c;
	double mid = sorption_mc_pct(20, 0.45);
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.7));
	live(m, &s, 0.45, 200);
	instrument_condition(m, &s, &c);
	double from_wet = c.mc_pct[0];
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.2));
	live(m, &s, 0.45, 200);
	instrument_condition(m, &s, &c);
	CLOSE(from_wet, mid * 2 / 1.8, 0.02, "giving off");
	CLOSE(c.mc_pct[0], mid * 1.6 / 1.8, 0.02, "taking up");
	CLOSE(c.mc_pct[0] / from_wet, 0.8, 0.004, "ratio");
	/* between the curves small swings of the air do nothing */
	double before = c.mc_pct[0];
	live(m, &s, 0.43, 3);
	instrument_condition(m, &s, &c);
	CLOSE(c.mc_pct[0], before, 0.02, "between the curves");
	instrument_model_free(m);
}

static void many_at_once_are_the_same_bits(void **state)
{
	(void)state;
	enum { N = 21 };
	struct build b = parlour(), solid = parlour();
	solid.n_members = 4;
	solid.sorption_ratio = 0.85;
	struct instrument_model *m[2] = { model_of(&b), model_of(&solid) };
	static struct instrument_state one[N], many[N];
	struct instrument_stepping list[N];
	uint64_t seed = support_seed();
	for (size_t i = 0; i < N; i++) {
		instrument_begin(m[i % 2], &one[i], (int64_t)i, 6 + (double)i / 4);
		many[i] = one[i];
	}
	for (int h = 0; h < 200; h++) {
		for (size_t i = 0; i < N; i++) {
			double rh = 0.2 + (double)(support_random(&seed) % 600) / 1000;
			double t = 10 + (double)(support_random(&seed) % 150) / 10;
			list[i] = (struct instrument_stepping){ m[i % 2], &many[i],
				{ sorption_mc_pct(t, rh), t, false } };
			instrument_step(m[i % 2], &one[i], &list[i].air);
		}
		instrument_step_many(list, N);
	}
	assert_memory_equal(one, many, sizeof one);
	instrument_model_free(m[0]);
	instrument_model_free(m[1]);
}

/* ---- what is held ---- */

/* Sitka spruce held all round, radial, free of stress at 50 % RH and 20 degC, reaches 0.4 % at 32.4 % RH: from Wood
 * Handbook C_R and eq. 4-5, yield strain by Richard, Mecklenburg and Tumosa (Getty 1998). Relaxation lowers it. */
static void a_held_top_comes_near_its_yield_at_a_third(void **state)
{
	(void)state;
	struct build b = parlour();
	b.rh_low_pct = 45;
	b.rh_high_pct = 55;
	struct instrument_model *m = model_of(&b);
	struct instrument_state s;
	struct condition c;
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.55));
	live(m, &s, 0.3243, 10);
	instrument_condition(m, &s, &c);
	CLOSE(c.crack, 1, 0.03, "at 32.4 %% RH");
	live(m, &s, 0.3243, 365);
	instrument_condition(m, &s, &c);
	assert_true(c.crack < 0.6 && c.crack > 0.3);
	/* squeezed in a damp summer it is crushed, and the next winter finds it shorter */
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.5));
	live(m, &s, 0.85, 20);
	live(m, &s, 0.3243, 20);
	instrument_condition(m, &s, &c);
	assert_true(c.crack > 1.2);
	assert_true(c.peel > 0.8 && c.peel < 1.5 * c.crack);
	instrument_model_free(m);
}

/* Common practice, no source: pegs slip in dry air and stick in damp; pins stand higher in a dry bridge. */
static void pegs_slip_in_winter_and_pins_stand_higher(void **state)
{
	(void)state;
	struct build b = parlour();
	const struct species ebony = {
		.name = "ebony_african", .c_r_per_pct = 0.00226, .c_t_per_pct = 0.00319
	};
	/* the peg box of a fiddle: maple, growth rings across its width; Wood Handbook table 13-5 */
	b.members[3].wood = (struct species){ .name = "maple_sugar",
		.specific_gravity = 0.63,
		.c_r_per_pct = 0.00165,
		.c_t_per_pct = 0.00353,
		.c_l_per_pct = 5e-5 };
	b.members[3].ring_deg = 0;
	b.n_fastenings = 3;
	b.fastenings[1] = (struct fastening){ .kind = FASTENING_PEG,
		.member = 3,
		.count = 4,
		.diameter_m = 7.5e-3,
		.taper = 1.0 / 30,
		.wood = ebony };
	b.fastenings[2] = (struct fastening){ .kind = FASTENING_BRIDGE_PIN,
		.member = 4,
		.count = 6,
		.diameter_m = 5e-3,
		.taper = 0.05 };
	struct instrument_model *m = model_of(&b);
	struct instrument_state s;
	struct condition c;
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.5));
	live(m, &s, 0.3, 60);
	instrument_condition(m, &s, &c);
	assert_int_equal(c.slackest, 0);
	assert_int_equal(c.loosest_peg, 1);
	assert_true(c.fits[1].fit_m < -0.01e-3 && c.fits[1].fit_m > -0.04e-3);
	assert_true(c.fits[1].seat_m < -0.3e-3 && c.fits[1].seat_m > -1.2e-3);
	assert_true(c.fits[1].oval_m > 0);
	assert_true(c.fits[2].seat_m > 0.05e-3 && c.fits[2].seat_m < 0.5e-3);
	instrument_finding(m, &s, s.hour, FINDING_PEGS, 0);
	instrument_condition(m, &s, &c);
	CLOSE(c.fits[1].fit_m, 0, 0, "fitted anew");
	live(m, &s, 0.6, 60);
	instrument_condition(m, &s, &c);
	assert_true(c.fits[1].fit_m > 0.01e-3);
	instrument_model_free(m);
}

/* ---- learning ---- */

/* One finding a season of an instrument that moves `gain` times as its build says. */
static void seasons(const struct instrument_model *m, struct instrument_state *s, int n,
	double gain, double level_m)
{
	double first = instrument_says(m, s, LINE_RELIEF);
	for (int i = 0; i < n; i++) {
		live(m, s, i % 2 ? 0.55 : 0.28, 91);
		double moved = instrument_says(m, s, LINE_RELIEF) - first;
		instrument_finding(m, s, s->hour, FINDING_RELIEF, level_m + gain * moved);
	}
}

static void findings_teach_an_instrument_that_moves_the_other_way(void **state)
{
	(void)state;
	struct build b = parlour();
	/* a neck that follows its lengthwise swelling more than most, so that a gauge can see it */
	for (size_t i = 0; i < b.n_members; i++)
		b.members[i].wood.c_l_per_pct *= 3;
	struct instrument_model *m = model_of(&b);
	struct instrument_state s;
	struct condition c;
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.5));
	double sd[2];
	for (int n = 0; n < 2; n++) {
		seasons(m, &s, 4, -0.5, 0.25e-3);
		instrument_condition(m, &s, &c);
		sd[n] = learn_gain_sd(&priors[LEARN_RELIEF], &s.gains[LEARN_RELIEF]);
	}
	double gain = learn_gain_mean(&priors[LEARN_RELIEF], &s.gains[LEARN_RELIEF]);
	assert_true(gain < -0.2 && gain > -0.7);
	assert_true(sd[1] < sd[0] && sd[0] < priors[LEARN_RELIEF].gain_sd);
	assert_int_equal(c.relief_now.findings, 7);
	/* and the next winter is foretold with its sign */
	double before = c.relief_now.value;
	live(m, &s, 0.28, 91);
	instrument_condition(m, &s, &c);
	assert_true(c.relief_m < 0 && c.relief_now.value < before);
	instrument_model_free(m);
}

static void work_on_the_neck_starts_a_segment_and_keeps_the_gain(void **state)
{
	(void)state;
	struct build b = parlour();
	struct instrument_model *m = model_of(&b);
	struct instrument_state s;
	struct condition c;
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.5));
	seasons(m, &s, 4, 1.5, 0.25e-3);
	instrument_finding(m, &s, s.hour, FINDING_ACTION_BASS, 2.4e-3);
	struct learn_gain before = s.gains[LEARN_RELIEF];
	instrument_finding(m, &s, s.hour, FINDING_TRUSS_TURN, 0.25);
	instrument_condition(m, &s, &c);
	assert_true(isnan(c.relief_now.value) && isnan(c.action_now[0].value));
	assert_memory_equal(&before, &s.gains[LEARN_RELIEF], sizeof before);
	instrument_finding(m, &s, s.hour, FINDING_RELIEF, 0.1e-3);
	instrument_condition(m, &s, &c);
	CLOSE(c.relief_now.value, 0.1e-3, 1e-12, "level after the rod");
	assert_int_equal(s.surprises[LINE_RELIEF].hour, TIME_NEVER);
	/* a saddle or nut moves the strings, not the neck */
	instrument_finding(m, &s, s.hour, FINDING_ACTION_BASS, 2.4e-3);
	instrument_finding(m, &s, s.hour, FINDING_NUT, -0.2e-3);
	instrument_condition(m, &s, &c);
	assert_true(isnan(c.action_now[0].value) && !isnan(c.relief_now.value));
	instrument_model_free(m);
}

static void what_does_not_fit_is_kept_and_teaches_nothing(void **state)
{
	(void)state;
	struct build b = parlour();
	struct instrument_model *m = model_of(&b);
	struct instrument_state s;
	struct condition c;
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.5));
	seasons(m, &s, 6, 1, 0.18e-3);
	struct learn_gain before = s.gains[LEARN_RELIEF];
	instrument_condition(m, &s, &c);
	double expected = c.relief_now.value;
	instrument_finding(m, &s, s.hour, FINDING_RELIEF, expected + 0.4e-3);
	assert_memory_equal(&before, &s.gains[LEARN_RELIEF], sizeof before);
	const struct surprise *x = &s.surprises[LINE_RELIEF];
	assert_int_equal(x->hour, s.hour);
	CLOSE(x->expected, expected, 1e-12, "expected");
	CLOSE(x->found, expected + 0.4e-3, 0, "found");
	assert_true(x->sd > priors[LEARN_RELIEF].reading_sd && x->sd < 0.4e-3 / LEARN_OUTLIER);
	/* the level is what was found; a second finding like it is no surprise any more */
	/* one that fits the old line says that it was a slip: that line goes on */
	struct instrument_state slip = s;
	int64_t told = x->hour;
	live(m, &slip, 0.5, 5);
	instrument_finding(m, &slip, slip.hour, FINDING_RELIEF, expected);
	assert_int_equal(slip.surprises[LINE_RELIEF].hour, told);
	assert_int_equal(slip.lines[LINE_RELIEF].n, 7);
	live(m, &s, 0.5, 5);
	instrument_finding(m, &s, s.hour, FINDING_RELIEF, expected + 0.41e-3);
	assert_int_equal(s.surprises[LINE_RELIEF].hour, told);
	instrument_condition(m, &s, &c);
	CLOSE(c.relief_now.value, expected + 0.4e-3, 0.02e-3, "level");
	instrument_model_free(m);
}

static void turns_are_learnt_from_the_second_snug_on(void **state)
{
	(void)state;
	struct build b = parlour();
	struct instrument_model *m = model_of(&b);
	struct instrument_state s;
	struct condition c;
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.6));
	live(m, &s, 0.3, 60);
	instrument_finding(m, &s, s.hour, FINDING_TUNER_TURN, 0.5);
	assert_int_equal(s.gains[LEARN_TUNER_TURN].findings, 0);
	assert_int_equal(s.surprises[LINE_TUNER_TURN].hour, TIME_NEVER);
	live(m, &s, 0.6, 120);
	instrument_finding(m, &s, s.hour, FINDING_SNUG, 0);
	live(m, &s, 0.3, 120);
	instrument_condition(m, &s, &c);
	double said = c.turn.value;
	CLOSE(said, c.hardware[0].snug_turns, 1e-15, "before any lesson the model speaks");
	assert_true(said > 1.0 / 16 && said < 1.0 / 4);
	instrument_finding(m, &s, s.hour, FINDING_TUNER_TURN, 1.5 * said);
	assert_int_equal(s.gains[LEARN_TUNER_TURN].findings, 1);
	assert_true(learn_gain_mean(&priors[LEARN_TUNER_TURN], &s.gains[LEARN_TUNER_TURN]) > 1.05);
	live(m, &s, 0.6, 120);
	instrument_finding(m, &s, s.hour, FINDING_SNUG, 0);
	live(m, &s, 0.3, 120);
	instrument_finding(m, &s, s.hour, FINDING_TUNER_TURN, 1.5);
	assert_int_equal(s.surprises[LINE_TUNER_TURN].hour, s.hour);
	assert_int_equal(s.gains[LEARN_TUNER_TURN].findings, 1);
	instrument_model_free(m);
}

static void fret_ends_count_from_what_was_felt(void **state)
{
	(void)state;
	struct build b = parlour();
	struct instrument_model *m = model_of(&b);
	struct instrument_state s;
	struct condition c;
	instrument_begin(m, &s, 0, sorption_mc_pct(20, 0.5));
	instrument_finding(m, &s, s.hour, FINDING_FRET_ENDS, 0.05e-3);
	live(m, &s, 0.3, 120);
	instrument_condition(m, &s, &c);
	assert_true(c.fret_end_m > 0.1e-3 && c.fret_end_m < 0.2e-3);
	instrument_finding(m, &s, s.hour, FINDING_FRET_ENDS, 0);
	instrument_condition(m, &s, &c);
	CLOSE(c.fret_end_m, 0, 0, "dressed");
	instrument_model_free(m);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(from_50_to_30_percent_moves_as_the_trade_says),
		cmocka_unit_test(equal_air_changes_nothing),
		cmocka_unit_test(a_finding_becomes_the_reference),
		cmocka_unit_test(each_season_turns_once),
		cmocka_unit_test(what_is_glued_dries_through_what_it_is_glued_to),
		cmocka_unit_test(air_inside_trails_the_room),
		cmocka_unit_test(with_two_curves_wood_ends_on_the_one_it_came_by),
		cmocka_unit_test(many_at_once_are_the_same_bits),
		cmocka_unit_test(a_held_top_comes_near_its_yield_at_a_third),
		cmocka_unit_test(pegs_slip_in_winter_and_pins_stand_higher),
		cmocka_unit_test(findings_teach_an_instrument_that_moves_the_other_way),
		cmocka_unit_test(work_on_the_neck_starts_a_segment_and_keeps_the_gain),
		cmocka_unit_test(what_does_not_fit_is_kept_and_teaches_nothing),
		cmocka_unit_test(turns_are_learnt_from_the_second_snug_on),
		cmocka_unit_test(fret_ends_count_from_what_was_felt),
		cmocka_unit_test(real_winters_loosen_the_nut_snugged_in_damp_october_most),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
