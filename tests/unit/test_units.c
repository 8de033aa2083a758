#include "tests/unit/support.h"

#include <math.h>

#include "core/units.h"

/* 1 in = 25.4 mm exactly: International yard and pound agreement, 1959. */
static void lengths_are_read_in_every_bench_unit(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		double want_m;
	} rows[] = {
		{ "6/64", 6.0 / 64 * 0.0254 },
		{ "6/64 in", 6.0 / 64 * 0.0254 },
		{ "6/64\"", 6.0 / 64 * 0.0254 },
		{ " 6/64  \" ", 6.0 / 64 * 0.0254 },
		{ "5.5/64 in", 5.5 / 64 * 0.0254 },
		{ ".010in", 0.000254 },
		{ "0.010 in", 0.000254 },
		{ "10thou", 0.000254 },
		{ "10 thou", 0.000254 },
		{ "-4 thou", -4 * 25.4e-6 },
		{ "+4thou", 4 * 25.4e-6 },
		{ "0.25mm", 0.00025 },
		{ "0.25 mm", 0.00025 },
		{ "1/2 mm", 0.0005 },
		{ "2 cm", 0.02 },
		{ "0.65m", 0.65 },
		{ "250 um", 0.00025 },
		{ "1 1/64 in", 65.0 / 64 * 0.0254 },
		{ "25 1/2", 25.5 * 0.0254 },
		{ "-1 1/2 in", -1.5 * 0.0254 },
		{ "1 inch", 0.0254 },
		{ "3 inches", 3 * 0.0254 },
		{ "0 mm", 0 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		double m = 7;
		assert_true(units_length(rows[i].text, &m));
		CLOSE(m, rows[i].want_m, 1e-15, rows[i].text);
	}
}

static void doubtful_lengths_are_refused_and_leave_the_result_alone(void **state)
{
	(void)state;
	static const char *const rows[] = { "", " ", ".25", "0.25", "10", "4-5/64", "4 1/2/64",
		"4 1/2/64 in", "1/0", "1/0 in", "1/-2", "6/", "/64", "6 / 64", "6/64 mmm",
		"6/64 in in", "mm", "0x10 mm", "1e3 mm", "nan mm", "inf in", "0,25 mm",
		"1.5 1/2 in", "--1 mm", "1..2 mm", "1/2.5 in", "10 thousand", "1/64 in 2", "6:64",
		"1111111111111111111111111111 mm" };
	for (size_t i = 0; i < COUNT(rows); i++) {
		double m = 7;
		if (units_length(rows[i], &m))
			fail_msg("\"%s\" was read as %g m", rows[i], m);
		CLOSE(m, 7, 0, rows[i]);
	}
}

static void turns_are_read_with_or_without_the_word(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		double want;
	} rows[] = {
		{ "1/6", 1.0 / 6 },
		{ "0.25", 0.25 },
		{ "-1/8", -0.125 },
		{ "1/4 turn", 0.25 },
		{ "2 turns", 2 },
		{ "1 1/4 turns", 1.25 },
		{ "-1 1/2 turn", -1.5 },
		{ " 1/12turn ", 1.0 / 12 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		double t = 7;
		assert_true(units_turns(rows[i].text, &t));
		CLOSE(t, rows[i].want, 1e-15, rows[i].text);
	}
	static const char *const bad[] = { "", "turn", "1/4 in", "a bit", "1/4 turnip", "1/6/2" };
	for (size_t i = 0; i < COUNT(bad); i++) {
		double t = 7;
		assert_false(units_turns(bad[i], &t));
		CLOSE(t, 7, 0, bad[i]);
	}
}

static void gaps_and_heights_are_printed_as_people_say_them(void **state)
{
	(void)state;
	static const struct {
		double m;
		enum bench_units u;
		const char *gap, *height;
	} rows[] = {
		{ 0.000254, BENCH_INCH, "0.010 in", "0.5/64 in" },
		{ 0.00025, BENCH_MM, "0.25 mm", "0.3 mm" },
		{ 5.5 / 64 * 0.0254, BENCH_INCH, "0.086 in", "5.5/64 in" },
		{ 0.0022, BENCH_MM, "2.20 mm", "2.2 mm" },
		{ 6.0 / 64 * 0.0254, BENCH_INCH, "0.094 in", "6/64 in" },
		{ -0.000102, BENCH_INCH, "-0.004 in", "-0.5/64 in" },
		{ -1e-9, BENCH_INCH, "0.000 in", "0/64 in" },
		{ -1e-9, BENCH_MM, "0.00 mm", "0.0 mm" },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		char buf[32];
		units_print_gap(buf, sizeof buf, rows[i].m, rows[i].u);
		assert_string_equal(buf, rows[i].gap);
		units_print_height(buf, sizeof buf, rows[i].m, rows[i].u);
		assert_string_equal(buf, rows[i].height);
	}
}

static void turns_are_printed_as_the_nearest_part_a_hand_can_follow(void **state)
{
	(void)state;
	static const struct {
		double turns;
		const char *want;
	} rows[] = {
		{ 0, "no turn" },
		{ 0.0208, "no turn" },
		{ 1.0 / 48, "1/24 turn" },
		{ 0.0417, "1/24 turn" },
		{ 0.06, "1/16 turn" },
		{ 0.08, "1/12 turn" },
		{ 0.13, "1/8 turn" },
		{ 0.17, "1/6 turn" },
		{ 0.24, "1/4 turn" },
		{ 0.34, "1/3 turn" },
		{ 0.49, "1/2 turn" },
		{ 0.74, "3/4 turn" },
		{ 0.97, "1 turn" },
		{ 1, "1 turn" },
		{ 1.25, "1 1/4 turns" },
		{ 2.01, "2 turns" },
		{ -0.125, "-1/8 turn" },
		{ -1.5, "-1 1/2 turns" },
		{ (double)NAN, "unknown" },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		char buf[32];
		units_print_turns(buf, sizeof buf, rows[i].turns);
		assert_string_equal(buf, rows[i].want);
	}
}

static void what_is_printed_reads_back_within_half_a_step(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	for (int i = 0; i < 20000; i++) {
		double m = ((double)(support_random(&seed) % 2000001) - 1e6) * 1e-8; /* +-10 mm */
		double turns = m * 300; /* +-3 */
		char buf[32];
		double back = 7;
		units_print_gap(buf, sizeof buf, m, BENCH_INCH);
		assert_true(units_length(buf, &back));
		CLOSE(back, m, METRE_PER_THOU / 2 + 1e-12, buf);
		units_print_gap(buf, sizeof buf, m, BENCH_MM);
		assert_true(units_length(buf, &back));
		CLOSE(back, m, 5e-6 + 1e-12, buf);
		units_print_height(buf, sizeof buf, m, BENCH_INCH);
		assert_true(units_length(buf, &back));
		CLOSE(back, m, METRE_PER_INCH / 256 + 1e-12, buf);
		units_print_height(buf, sizeof buf, m, BENCH_MM);
		assert_true(units_length(buf, &back));
		CLOSE(back, m, 5e-5 + 1e-12, buf);
		units_print_turns(buf, sizeof buf, turns);
		if (turns > -1.0 / 48 && turns < 1.0 / 48)
			continue;
		assert_true(units_turns(buf, &back));
		CLOSE(back, turns, 1.0 / 16 + 1e-12, buf); /* half of 1/8, the widest step */
	}
}

static void a_short_buffer_is_never_overrun(void **state)
{
	(void)state;
	char buf[8] = "xxxxxxx";
	units_print_gap(buf, 4, 0.001, BENCH_INCH);
	assert_string_equal(buf, "0.0");
	assert_string_equal(buf + 4, "xxx");
}

static void changes_are_told_finer_than_gauges_read(void **state)
{
	(void)state;
	char buf[32];
	units_print_change(buf, sizeof buf, 4.2 * METRE_PER_THOU, BENCH_INCH);
	assert_string_equal(buf, "4.2 thou");
	units_print_change(buf, sizeof buf, -0.034e-3, BENCH_MM);
	assert_string_equal(buf, "-0.03 mm");
	units_print_rise(buf, sizeof buf, 1.5 / 64 * METRE_PER_INCH, BENCH_INCH);
	assert_string_equal(buf, "1.5/64 in");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(lengths_are_read_in_every_bench_unit),
		cmocka_unit_test(doubtful_lengths_are_refused_and_leave_the_result_alone),
		cmocka_unit_test(turns_are_read_with_or_without_the_word),
		cmocka_unit_test(gaps_and_heights_are_printed_as_people_say_them),
		cmocka_unit_test(turns_are_printed_as_the_nearest_part_a_hand_can_follow),
		cmocka_unit_test(what_is_printed_reads_back_within_half_a_step),
		cmocka_unit_test(a_short_buffer_is_never_overrun),
		cmocka_unit_test(changes_are_told_finer_than_gauges_read),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
