#include "tests/unit/support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/finding.h"
#include "core/units.h"
#include "daemon/recordtext_int.h"

/* ---- single findings ---- */

static void findings_are_read_as_people_write_them(void **state)
{
	(void)state;
	/* inch = 25.4 mm exactly */
	static const struct {
		const char *word, *value;
		bool of_sensor;
		int kind;
		double want;
	} rows[] = {
		{ "relief", ".010in", false, FINDING_RELIEF, 0.254e-3 },
		{ "relief", "10 thou", false, FINDING_RELIEF, 0.254e-3 },
		{ "relief", "-0.1mm", false, FINDING_RELIEF, -0.1e-3 },
		{ "action_bass", "6/64", false, FINDING_ACTION_BASS, 2.38125e-3 },
		{ "fret_ends", "0mm", false, FINDING_FRET_ENDS, 0 },
		{ "tuner_turn", "1/6", false, FINDING_TUNER_TURN, 1.0 / 6 },
		{ "truss_turn", "-1/8 turn", false, FINDING_TRUSS_TURN, -0.125 },
		{ "restrung", NULL, false, FINDING_RESTRUNG, (double)NAN },
		{ "snug", "", false, FINDING_SNUG, (double)NAN },
		{ "snug", "yes", false, FINDING_SNUG, (double)NAN },
		{ "checked", "true", true, FINDING_CHECKED, (double)NAN },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct err err = { 0 };
		int kind = -1;
		double got = -1;
		OK(recordtext_finding(
			   rows[i].word, rows[i].value, rows[i].of_sensor, &kind, &got, &err),
			&err);
		assert_int_equal(kind, rows[i].kind);
		if (isnan(rows[i].want))
			assert_true(isnan(got));
		else
			CLOSE(got, rows[i].want, 1e-18,
				rows[i].value); /* 1 ulp of a millimetre is 2e-19 m */
	}
}

static void findings_that_cannot_be_are_refused_with_what_would_do(void **state)
{
	(void)state;
	static const struct {
		const char *word, *value;
		bool of_sensor;
		enum rc rc;
		const char *text;
	} rows[] = {
		{ "releif", ".010in", false, RC_UNKNOWN,
			"finding \"releif\": no such word: did you mean \"relief\"?" },
		{ "humidity", "5", true, RC_UNKNOWN,
			"finding \"humidity\": no such word: known are checked" },
		{ "checked", NULL, false, RC_UNKNOWN,
			"finding \"checked\": said of a sensor, not of an instrument: " },
		{ "relief", "1mm", true, RC_UNKNOWN,
			"finding \"relief\": said of an instrument, not of a sensor: known are "
			"checked" },
		{ "relief", ".010", false, RC_INPUT,
			"relief = \".010\": inches or millimetres? say .010in or 0.25mm" },
		{ "relief", NULL, false, RC_INPUT,
			"relief: a value is missing: a length such as .010in, 6/64in or 0.25mm" },
		{ "relief", "1 furlong", false, RC_INPUT,
			"relief = \"1 furlong\": not understood: a length such as " },
		{ "relief", "3.1mm", false, RC_INPUT,
			"relief = \"3.1mm\": cannot be true: -1.5 to 3 mm" },
		{ "tuner_turn", "6", false, RC_INPUT,
			"tuner_turn = \"6\": cannot be true: 0 to 5 turns" },
		{ "truss_turn", "left", false, RC_INPUT,
			"truss_turn = \"left\": not understood: turns such as 1/6 or 0.25" },
		{ "snug", "no", false, RC_INPUT,
			"snug = \"no\": takes no value: leave it out when it did not happen" },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct err err = { 0 };
		int kind = -7;
		double out = -7;
		assert_int_equal(recordtext_finding(rows[i].word, rows[i].value, rows[i].of_sensor,
					 &kind, &out, &err),
			rows[i].rc);
		if (strncmp(err.text, rows[i].text, strlen(rows[i].text)) != 0)
			print_error("row %zu: %s\n", i, err.text);
		assert_memory_equal(err.text, rows[i].text, strlen(rows[i].text));
		assert_int_equal(kind, -7);
		CLOSE(out, -7, 0, "untouched");
	}
}

/* ---- exact text ---- */

static void what_people_write_comes_back_short(void **state)
{
	(void)state;
	static const char *const rows[][2] = {
		{ "0.010in", "10thou" },
		{ "6/64in", "6/64in" },
		{ "5.5/64", "5.5/64in" },
		{ "2.6mm", "2.6mm" },
		{ "0mm", "0mm" },
		{ "-0.3 mm", "-0.3mm" },
		{ "0.25mm", "0.25mm" },
		{ "-1.5mm", "-1.5mm" },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		char got[RECORDTEXT_VALUE];
		double m = 0;
		assert_true(units_length(rows[i][0], &m));
		recordtext_length(got, sizeof got, m);
		assert_string_equal(got, rows[i][1]);
	}
	static const char *const turns[][2] = {
		{ "1/6", "1/6" },
		{ "-1/8", "-1/8" },
		{ "0.25", "1/4" },
		{ "1 1/3", "1 1/3" },
		{ "2", "2" },
		{ "0", "0" },
		{ "0.37", "0.37" },
		{ "1.5", "1 1/2" },
		{ "4/3", "1 1/3" },
	};
	for (size_t i = 0; i < COUNT(turns); i++) {
		char got[RECORDTEXT_VALUE];
		double t = 0;
		assert_true(units_turns(turns[i][0], &t));
		recordtext_turns(got, sizeof got, t);
		assert_string_equal(got, turns[i][1]);
	}
}

static void times_carry_their_offset(void **state)
{
	(void)state;
	/* date -d @N in each zone */
	static const struct {
		const char *zone;
		int64_t t_s;
		const char *want;
	} rows[] = {
		{ "Europe/Vienna", 1759312800, "2025-10-01T12:00:00+02:00" },
		{ "Europe/Vienna", 1764586800, "2025-12-01T12:00:00+01:00" },
		{ "Europe/Vienna", 1761438600,
			"2025-10-26T02:30:00+02:00" }, /* the first of the two */
		{ "Europe/Vienna", 1761442200, "2025-10-26T02:30:00+01:00" },
		{ "America/St_Johns", 1764586800, "2025-12-01T07:30:00-03:30" },
		{ "UTC", 1764586801, "2025-12-01T11:00:01+00:00" },
		{ "Africa/Monrovia", 2670,
			"1970-01-01T00:44:30+00:00" }, /* 44 min 30 s west until 1972 */
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct zone *z = NULL;
		char got[RECORDTEXT_VALUE];
		OK(zone_new(rows[i].zone, &z, NULL), NULL);
		recordtext_print_time(got, sizeof got, z, rows[i].t_s);
		assert_string_equal(got, rows[i].want);
		zone_free(z);
	}
}

static double unit_random(uint64_t *seed)
{
	return (double)(support_random(seed) >> 11) / 9007199254740992.0;
}

/* A value as it comes from a person, from a caliper in any unit, or any double at all. */
static double random_length(uint64_t *seed, const struct finding_word *w)
{
	char text[64];
	double m = w->low + unit_random(seed) * (w->high - w->low), back = 0;
	switch (support_random(seed) % 5) {
	case 0:
		(void)snprintf(text, sizeof text, "%.2fmm", m * 1e3);
		break;
	case 1:
		(void)snprintf(text, sizeof text, "%.4fin", m / METRE_PER_INCH);
		break;
	case 2:
		(void)snprintf(text, sizeof text, "%.1f/64", m / METRE_PER_INCH * 64);
		break;
	case 3:
		(void)snprintf(text, sizeof text, "%.0f/%d in", m / METRE_PER_INCH * 1000,
			997 + (int)(support_random(seed) % 7));
		break;
	default:
		return m;
	}
	assert_true(units_length(text, &back));
	return back < w->low || back > w->high ? m : back;
}

static double random_turns(uint64_t *seed, const struct finding_word *w)
{
	double t = w->low + unit_random(seed) * (w->high - w->low);
	if (support_random(seed) % 2)
		return t;
	int under = 1 + (int)(support_random(seed) % 24);
	return trunc(t * under) / under + 0.0;
}

static void any_value_reads_back_to_the_same_bits(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	const struct finding_word *words = finding_words();
	for (int i = 0; i < 20000; i++) {
		char text[RECORDTEXT_VALUE] = "";
		double want, got = -99;
		if (i % 2) {
			want = random_length(
				&seed, &words[i % 4 == 1 ? FINDING_ACTION_BASS : FINDING_RELIEF]);
			recordtext_length(text, sizeof text, want);
			(void)units_length(text, &got);
		} else {
			want = random_turns(&seed, &words[FINDING_TRUSS_TURN]);
			recordtext_turns(text, sizeof text, want);
			(void)units_turns(text, &got);
		}
		CLOSE(got, want, 0, text);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(findings_are_read_as_people_write_them),
		cmocka_unit_test(findings_that_cannot_be_are_refused_with_what_would_do),
		cmocka_unit_test(what_people_write_comes_back_short),
		cmocka_unit_test(times_carry_their_offset),
		cmocka_unit_test(any_value_reads_back_to_the_same_bits),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
