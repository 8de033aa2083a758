#include "tests/unit/support.h"

#include <math.h>

#include "core/care.h"
#include "core/civil.h"

/* Judging is the project's own rule book: no outside source. */

static const struct care_rule preload = {
	.name = "tuner-nuts",
	.kind = CARE_PRELOAD,
	.open = 0.2,
	.close = 0.5,
	.pressing = 0,
	.lead_s = 2 * DAY_S,
	.window_s = 20 * DAY_S,
	.rest_s = 60 * DAY_S,
};
static const struct care_rule damp = {
	.name = "damp",
	.kind = CARE_AIR_DAMP,
	.open = 2,
	.close = -1,
	.pressing = 15,
	.window_s = 8 * DAY_S,
	.rest_s = DAY_S,
};
static const struct care_rule yearly = {
	.name = "hygrometer",
	.kind = CARE_CHECK,
	.lead_s = 14 * DAY_S,
	.window_s = 30 * DAY_S,
};

static const struct care_rule battery = {
	.name = "battery",
	.kind = CARE_BATTERY,
	.open = 15,
	.close = 25,
	.pressing = 5,
	.window_s = 14 * DAY_S,
};

static enum care_verdict verdict(const struct care_rule *r, double value, bool is_open)
{
	struct care_measure m = { .value = value, .since_s = TIME_NEVER };
	return care_judge(r, &m, is_open, TIME_NEVER, 0).verdict;
}

static void a_level_opens_beyond_open_and_goes_only_inside_close(void **state)
{
	(void)state;
	assert_int_equal(verdict(&preload, 0.21, false), CARE_NOTHING);
	assert_int_equal(verdict(&preload, 0.19, false), CARE_OPEN);
	assert_int_equal(verdict(&preload, 0.4, true), CARE_KEEP);
	assert_int_equal(verdict(&preload, 0.51, true), CARE_WITHDRAW);
	assert_int_equal(verdict(&damp, 1.9, false), CARE_NOTHING);
	assert_int_equal(verdict(&damp, 2.1, false), CARE_OPEN);
	assert_int_equal(verdict(&damp, 0, true), CARE_KEEP);
	assert_int_equal(verdict(&damp, -1.1, true), CARE_WITHDRAW);
}

static void a_battery_calls_when_low_and_is_pressing_when_nearly_empty(void **state)
{
	(void)state;
	assert_int_equal(care_subject_of(CARE_BATTERY), CARE_OF_SENSOR);
	assert_int_equal(verdict(&battery, 15, false), CARE_NOTHING);
	assert_int_equal(verdict(&battery, 14, false), CARE_OPEN);
	assert_int_equal(verdict(&battery, 24, true), CARE_KEEP);
	assert_int_equal(verdict(&battery, 26, true), CARE_WITHDRAW);
	struct care_measure m = { .value = 5, .since_s = TIME_NEVER };
	assert_int_equal(care_judge(&battery, &m, false, TIME_NEVER, 0).weight, CARE_PRESSING);
	m.value = 14;
	assert_int_equal(care_judge(&battery, &m, false, TIME_NEVER, 0).weight, CARE_LEISURE);
}

static void a_level_wandering_between_the_limits_never_flaps(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	bool open = false;
	int changes = 0;
	for (int i = 0; i < 10000; i++) {
		double v = 0.2 + 0.3 * (double)(support_random(&seed) % 1000) / 1000;
		enum care_verdict j = verdict(&preload, v - 0.001 * (i == 0), open);
		changes += j == CARE_OPEN || j == CARE_WITHDRAW;
		open = j == CARE_OPEN || j == CARE_KEEP;
	}
	assert_true(changes <= 1);
}

static void nothing_known_never_opens_and_keeps_what_is_open(void **state)
{
	(void)state;
	assert_int_equal(verdict(&preload, (double)NAN, false), CARE_NOTHING);
	assert_int_equal(verdict(&preload, (double)NAN, true), CARE_KEEP);
}

static void a_closed_item_rests(void **state)
{
	(void)state;
	struct care_measure m = { .value = 0, .since_s = TIME_NEVER };
	assert_int_equal(care_judge(&preload, &m, false, 0, 59 * DAY_S).verdict, CARE_NOTHING);
	assert_int_equal(care_judge(&preload, &m, false, 0, 60 * DAY_S).verdict, CARE_OPEN);
}

static void weight_grows_with_the_distance_beyond_the_limit(void **state)
{
	(void)state;
	struct care_measure m = { .value = 0.15, .since_s = TIME_NEVER };
	assert_int_equal(care_judge(&preload, &m, false, TIME_NEVER, 0).weight, CARE_LEISURE);
	m.value = 0.1;
	assert_int_equal(care_judge(&preload, &m, false, TIME_NEVER, 0).weight, CARE_SOON);
	m.value = 0;
	assert_int_equal(care_judge(&preload, &m, false, TIME_NEVER, 0).weight, CARE_PRESSING);
	int64_t from = -1, by = -1;
	care_window(&preload, &m, CARE_PRESSING, 0, &from, &by);
	assert_int_equal(from, 0);
	assert_int_equal(by, 5 * DAY_S);
	care_window(&preload, &m, CARE_LEISURE, 0, &from, &by);
	assert_int_equal(from, 2 * DAY_S);
	assert_int_equal(by, 22 * DAY_S);
}

static void a_dated_job_opens_its_lead_before_its_day_and_goes_when_the_date_moves(void **state)
{
	(void)state;
	struct care_measure m = { .value = (double)NAN, .since_s = 0, .every_s = 365 * DAY_S };
	assert_int_equal(
		care_judge(&yearly, &m, false, TIME_NEVER, 350 * DAY_S).verdict, CARE_NOTHING);
	assert_int_equal(
		care_judge(&yearly, &m, false, TIME_NEVER, 351 * DAY_S).verdict, CARE_OPEN);
	int64_t from = 0, by = 0;
	care_window(&yearly, &m, CARE_LEISURE, 351 * DAY_S, &from, &by);
	assert_int_equal(from, 365 * DAY_S);
	assert_int_equal(by, 395 * DAY_S);
	m.since_s = 352 * DAY_S;
	assert_int_equal(
		care_judge(&yearly, &m, true, TIME_NEVER, 353 * DAY_S).verdict, CARE_WITHDRAW);
	m.since_s = TIME_NEVER;
	assert_int_equal(
		care_judge(&yearly, &m, false, TIME_NEVER, 9999 * DAY_S).verdict, CARE_NOTHING);
}

/* Done without a finding that says so: a tick in a calendar. */
static void a_dated_job_counts_from_when_it_was_done(void **state)
{
	(void)state;
	const struct {
		int kind;
		int64_t since_s, done_s, want_s;
	} cases[] = {
		{ CARE_CHECK, 10, 20, 20 },
		{ CARE_STRINGS, 10, 20, 20 },
		{ CARE_STRINGS, 30, 20, 30 }, /* restrung since */
		{ CARE_STRINGS, TIME_NEVER, 20, TIME_NEVER },
		{ CARE_CHECK, 10, TIME_NEVER, 10 },
		{ CARE_SETTLE, 10, 20, TIME_NEVER },
		{ CARE_SETTLE, 30, 20, 30 },
		{ CARE_SILENT, 10, 20, 10 },
		{ CARE_RELIEF, 10, 20, 10 },
	};
	for (size_t i = 0; i < COUNT(cases); i++) {
		const struct care_rule rule = { .kind = cases[i].kind };
		struct care_measure m = { .value = (double)NAN, .since_s = cases[i].since_s };
		care_count_done(&rule, &m, cases[i].done_s);
		assert_int_equal(m.since_s, cases[i].want_s);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_level_opens_beyond_open_and_goes_only_inside_close),
		cmocka_unit_test(a_battery_calls_when_low_and_is_pressing_when_nearly_empty),
		cmocka_unit_test(a_level_wandering_between_the_limits_never_flaps),
		cmocka_unit_test(nothing_known_never_opens_and_keeps_what_is_open),
		cmocka_unit_test(a_closed_item_rests),
		cmocka_unit_test(weight_grows_with_the_distance_beyond_the_limit),
		cmocka_unit_test(
			a_dated_job_opens_its_lead_before_its_day_and_goes_when_the_date_moves),
		cmocka_unit_test(a_dated_job_counts_from_when_it_was_done),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
