#include "tests/unit/support.h"

#include <stdio.h>
#include <string.h>

#include "core/quality.h"

#define NONE QUALITY_NO_TEMP
#define MINUTE 60
#define HOUR 3600

/* Neighbours that nobody doubts, an hour apart, round the one reading to be judged. */
static uint32_t flags_between(int32_t rh_cpct, int32_t temp_cdegc, const int32_t round[4])
{
	struct quality_reading r[5];
	for (int i = 0; i < 5; i++)
		r[i] = (struct quality_reading){ i * HOUR, round[i - (i > 2)], NONE, 0 };
	r[2].rh_cpct = rh_cpct;
	r[2].temp_cdegc = temp_cdegc;
	quality_judge(r, 5);
	return r[2].flags;
}

static void readings_outside_the_element_are_out_of_range(void **state)
{
	(void)state;
	static const struct {
		const char *src;
		int32_t rh, temp;
		uint32_t want;
	} rows[] = {
		{ "ordinary", 4500, 2000, 0 },
		{ "lowest accepted, -2 %", -200, NONE, 0 },
		{ "below it", -201, NONE, QUALITY_RANGE },
		{ "highest accepted, 103 %", 10300, NONE, 0 },
		{ "above it", 10301, NONE, QUALITY_RANGE },
		{ "8-bit ones", 25500, 2000, QUALITY_RANGE },
		{ "raw zero, -46.85 degC and -6 %: computed", -600, -4685, QUALITY_RANGE },
		{ "raw zero, -45 degC: computed", 4500, -4500, QUALITY_RANGE },
		{ "raw zero, -40 degC and 0 %: computed", 0, -4000, QUALITY_RANGE },
		{ "a very cold store", 4500, -4000, 0 },
		{ "raw ones, 125 degC: computed", 10000, 12500, QUALITY_RANGE },
		{ "raw ones, 130 degC: computed", 10000, 13000, QUALITY_RANGE },
		{ "1-wire power-on value, from memory", 4500, 8500, QUALITY_RANGE },
		{ "1-wire without a device, from memory", 4500, -12700, QUALITY_RANGE },
		{ "warm but not the power-on value", 4500, 8499, 0 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		int32_t rh = rows[i].rh;
		uint32_t got = flags_between(rh, rows[i].temp, (int32_t[]){ rh, rh, rh, rh });
		if ((got & QUALITY_RANGE) != rows[i].want)
			fail_msg("%s: flags %u", rows[i].src, got);
	}
}

static void a_spike_is_far_off_on_both_sides(void **state)
{
	(void)state;
	static const struct {
		const char *what;
		int32_t round[4], rh;
		uint32_t want;
	} rows[] = {
		{ "25 % above all is kept", { 4000, 4000, 4000, 4000 }, 6500, 0 },
		{ "a little more is not", { 4000, 4000, 4000, 4000 }, 6501, QUALITY_JUMP },
		{ "below", { 4000, 4000, 4000, 4000 }, 1499, QUALITY_JUMP },
		{ "one of two bad ones", { 4000, 4000, 9000, 4000 }, 9000, QUALITY_JUMP },
		{ "a step that lasts, first after", { 2000, 2000, 9000, 9000 }, 9000, 0 },
		{ "a step that lasts, last before", { 2000, 2000, 9000, 9000 }, 2000, 0 },
		{ "in the middle of a step", { 2000, 2000, 9000, 9000 }, 5500, 0 },
		{ "beyond a step", { 2000, 2000, 4000, 4000 }, 6501, QUALITY_JUMP },
		{ "the steepest steady rise", { 0, 2600, 7800, 10300 }, 5200, 0 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		uint32_t got = flags_between(rows[i].rh, NONE, rows[i].round);
		if (got != rows[i].want)
			fail_msg("%s: flags %u", rows[i].what, got);
	}
}

static void a_spike_needs_neighbours_on_both_sides_within_two_hours(void **state)
{
	(void)state;
	static const struct {
		int64_t before_s, after_s;
		uint32_t want;
	} rows[] = {
		{ 7200, 7200, QUALITY_JUMP },
		{ 7201, 7200, 0 },
		{ 7200, 7201, 0 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct quality_reading r[] = {
			{ -rows[i].before_s, 4000, NONE, 0 },
			{ 0, 9000, NONE, 0 },
			{ rows[i].after_s, 4000, NONE, 0 },
		};
		quality_judge(r, 3);
		assert_int_equal(r[1].flags, rows[i].want);
		quality_judge(r, 2);
		assert_int_equal(r[1].flags, 0);
	}
}

static void temperature_spikes_count_by_temperature_alone(void **state)
{
	(void)state;
	struct quality_reading r[] = {
		{ 0, 4000, 2000, 0 },
		{ 600, 4010, NONE, 0 },
		{ 1200, 4000, 3001, 0 }, /* 10.01 K over the nearest that have a temperature */
		{ 1800, 4020, NONE, 0 },
		{ 2400, 4000, 2000, 0 },
	};
	quality_judge(r, 5);
	assert_int_equal(r[2].flags, QUALITY_JUMP);
	r[2].temp_cdegc = 3000;
	quality_judge(r, 5);
	assert_int_equal(r[2].flags, 0);
}

static void bad_and_future_readings_say_nothing_about_others(void **state)
{
	(void)state;
	struct quality_reading r[] = {
		{ 0, 4000, NONE, 0 },
		{ 60, 25500, NONE, 0 },
		{ 120, 9000, NONE, QUALITY_FUTURE },
		{ 180, 4000, NONE, 0 },
		{ 240, 9000, NONE, QUALITY_FUTURE },
		{ 300, 4000, NONE, 0 },
	};
	quality_judge(r, 6);
	static const uint32_t want[] = { 0, QUALITY_RANGE, QUALITY_FUTURE, 0, QUALITY_FUTURE, 0 };
	for (size_t i = 0; i < 6; i++)
		assert_int_equal(r[i].flags & ~(uint32_t)QUALITY_JUMP, want[i]);
	assert_int_equal(r[3].flags, 0);
}

enum { MANY = 20000 };

static size_t stuck(const struct quality_reading *r, size_t n)
{
	size_t count = 0;
	for (size_t i = 0; i < n; i++)
		count += (r[i].flags & QUALITY_STUCK) != 0;
	return count;
}

static void equal_readings_are_stuck_after_a_day_or_two(void **state)
{
	(void)state;
	static const struct {
		const char *what;
		int32_t rh, temp;
		int64_t step_s;
		size_t n, want;
	} rows[] = {
		{ "24 h of minutes", 4512, 2034, MINUTE, 1441, 1440 },
		{ "a minute less", 4512, 2034, MINUTE, 1440, 0 },
		{ "12 readings of a day and more", 4512, 2034, 2 * HOUR + 1800, 12, 11 },
		{ "11 readings", 4512, 2034, 3 * HOUR, 11, 0 },
		{ "no temperature, 48 h", 4512, NONE, 10 * MINUTE, 289, 288 },
		{ "no temperature, less", 4512, NONE, 10 * MINUTE, 288, 0 },
		{ "whole percents and degrees, less than 48 h", 4500, 2000, 10 * MINUTE, 288, 0 },
		{ "whole percents and degrees, 48 h", 4500, 2000, 10 * MINUTE, 289, 288 },
		{ "whole percent, tenth of a degree", 4500, 2010, 10 * MINUTE, 145, 144 },
		{ "two weeks of minutes: all but the first", 4512, 2034, MINUTE, 20000, 19999 },
		{ "by hand, every morning", 4500, 2000, 24 * HOUR, 60, 0 },
		{ "two at an end of the scale", 10000, 2011, MINUTE, 2, 0 },
		{ "three at 100 %", 10000, 2011, MINUTE, 3, 3 },
		{ "three at 99.9 %", 9990, 2011, MINUTE, 3, 3 },
		{ "three at 0 %", 0, NONE, MINUTE, 3, 3 },
		{ "three nearly there", 9989, 2011, MINUTE, 3, 0 },
	};
	static struct quality_reading r[MANY];
	for (size_t i = 0; i < COUNT(rows); i++) {
		for (size_t k = 0; k < rows[i].n; k++)
			r[k] = (struct quality_reading){ (int64_t)k * rows[i].step_s, rows[i].rh,
				rows[i].temp, 0 };
		quality_judge(r, rows[i].n);
		if (stuck(r, rows[i].n) != rows[i].want)
			fail_msg("%s: %zu", rows[i].what, stuck(r, rows[i].n));
	}
}

static void the_least_change_ends_a_run(void **state)
{
	(void)state;
	static struct quality_reading r[200];
	for (size_t k = 0; k < 200; k++)
		r[k] = (struct quality_reading){ (int64_t)k * 600, 4512, 2034, 0 };
	r[100].temp_cdegc = 2035;
	quality_judge(r, 200);
	assert_int_equal(stuck(r, 200), 0);
	r[100].temp_cdegc = 2034;
	quality_judge(r, 200);
	assert_int_equal(stuck(r, 200), 199);
}

/* Spikes, runs, ends of the scale, bus faults and gaps, with all of them more often than in life. */
static size_t random_series(struct quality_reading *r, size_t n, uint64_t *seed)
{
	int64_t t_s = 1700000000;
	int32_t rh = 4500, temp = 2000;
	for (size_t i = 0; i < n;) {
		uint64_t dice = support_random(seed) % 100;
		size_t run = dice < 4 ? support_random(seed) % 400 : 1;
		bool end_of_scale = support_random(seed) % 300 == 0;
		rh = 3000 + (int32_t)(support_random(seed) % 3000);
		temp = dice % 7 ? 2000 + (int32_t)(support_random(seed) % 200) : NONE;
		int32_t rh_now = end_of_scale ? 10000 : rh;
		if (end_of_scale)
			run = 1 + support_random(seed) % 5;
		int64_t step_s = 1 + (int64_t)(support_random(seed) % 1800);
		for (size_t k = 0; k < run && i < n; k++, i++) {
			t_s += step_s;
			r[i] = (struct quality_reading){ t_s, rh_now, temp, 0 };
			uint64_t odd = support_random(seed) % 200;
			if (odd == 0)
				r[i].rh_cpct = 25500;
			else if (odd == 1)
				r[i].rh_cpct = 9500;
			else if (odd == 2)
				r[i].flags = QUALITY_FUTURE;
		}
		if (support_random(seed) % 150 == 0)
			t_s += (int64_t)(support_random(seed) % (90 * HOUR));
	}
	return n;
}

/* The law the store leans on: parts with their context give the flags of the whole. */
static void a_part_with_its_context_is_judged_like_the_whole(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	static struct quality_reading whole[6000], part[6000];
	size_t seen[5] = { 0 };
	for (int round = 0; round < 20; round++) {
		size_t n = random_series(whole, COUNT(whole), &seed);
		quality_judge(whole, n);
		for (size_t i = 0; i < n; i++)
			seen[4] += whole[i].flags == 0, seen[0] += whole[i].flags & QUALITY_JUMP,
				seen[1] += whole[i].flags & QUALITY_STUCK;
		for (int cut = 0; cut < 20; cut++) {
			size_t first = support_random(&seed) % n;
			size_t last = first + support_random(&seed) % (n - first);
			size_t from = first, to = last + 1;
			while (from > 0 &&
				whole[from - 1].t_s >= whole[first].t_s - QUALITY_CONTEXT_S)
				from--;
			while (to < n && whole[to].t_s <= whole[last].t_s + QUALITY_CONTEXT_S)
				to++;
			memcpy(part, whole + from, (to - from) * sizeof part[0]);
			quality_judge(part, to - from);
			for (size_t i = first; i <= last; i++)
				assert_int_equal(part[i - from].flags, whole[i].flags);
		}
	}
	/* The series must have had what it is to test. */
	assert_true(seen[0] > 100 && seen[1] > 1000 && seen[4] > 10000);
}

static void words_name_each_flag(void **state)
{
	(void)state;
	char buf[80];
	quality_words(buf, sizeof buf, 0);
	assert_string_equal(buf, "");
	quality_words(buf, sizeof buf, QUALITY_RANGE | QUALITY_STUCK);
	assert_string_equal(buf, "out of range, stuck");
	quality_words(buf, sizeof buf, 15);
	assert_string_equal(buf, "out of range, from the future, spike, stuck");
	quality_words(buf, 8, 15);
	assert_string_equal(buf, "out of ");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(readings_outside_the_element_are_out_of_range),
		cmocka_unit_test(a_spike_is_far_off_on_both_sides),
		cmocka_unit_test(a_spike_needs_neighbours_on_both_sides_within_two_hours),
		cmocka_unit_test(temperature_spikes_count_by_temperature_alone),
		cmocka_unit_test(bad_and_future_readings_say_nothing_about_others),
		cmocka_unit_test(equal_readings_are_stuck_after_a_day_or_two),
		cmocka_unit_test(the_least_change_ends_a_run),
		cmocka_unit_test(a_part_with_its_context_is_judged_like_the_whole),
		cmocka_unit_test(words_name_each_flag),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
