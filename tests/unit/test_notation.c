#include "tests/unit/support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/notation.h"

/* Lines as people write them. Words and ways of writing: common practice, no source; lengths by the international inch
 * (25.4 mm, exact since 1959). */

#define INCH 25.4e-3
#define EVENT ((double)NAN)

struct said {
	const char *line;
	enum bench_units units;
	size_t n;
	struct notation want[4];
};

static const struct said good[] = {
	{ "relief .010 tuner 1/6", BENCH_INCH, 2,
		{ { FINDING_RELIEF, 0.010 * INCH }, { FINDING_TUNER_TURN, 1.0 / 6 } } },
	/* a feeler gauge is marked in inches, also where people measure in millimetres */
	{ "relief .010", BENCH_MM, 1, { { FINDING_RELIEF, 0.010 * INCH } } },
	{ "relief 0.010", BENCH_MM, 1, { { FINDING_RELIEF, 0.010 * INCH } } },
	{ "relief .25", BENCH_MM, 1, { { FINDING_RELIEF, 0.25e-3 } } },
	{ "relief 0,25", BENCH_MM, 1, { { FINDING_RELIEF, 0.25e-3 } } },
	{ "relief 0,25 mm; restrung", BENCH_INCH, 2,
		{ { FINDING_RELIEF, 0.25e-3 }, { FINDING_RESTRUNG, EVENT } } },
	{ "relief .010in", BENCH_MM, 1, { { FINDING_RELIEF, 0.010 * INCH } } },
	{ "relief 10 thou", BENCH_MM, 1, { { FINDING_RELIEF, 0.010 * INCH } } },
	{ "Relief: .010\xe2\x80\x9d", BENCH_MM, 1, { { FINDING_RELIEF, 0.010 * INCH } } },
	{ "relief is now .008 at the 7th fret.", BENCH_MM, 1,
		{ { FINDING_RELIEF, 0.008 * INCH } } },
	{ "relief 0.25mm, action 6/64 bass 4.5/64 treble", BENCH_INCH, 3,
		{ { FINDING_RELIEF, 0.25e-3 }, { FINDING_ACTION_BASS, 6 * INCH / 64 },
			{ FINDING_ACTION_TREBLE, 4.5 * INCH / 64 } } },
	{ "ACTION 6/64 BASS, 4/64 TREBLE", BENCH_INCH, 2,
		{ { FINDING_ACTION_BASS, 6 * INCH / 64 },
			{ FINDING_ACTION_TREBLE, 4 * INCH / 64 } } },
	{ "bass 6/64 treble 5/64", BENCH_MM, 2,
		{ { FINDING_ACTION_BASS, 6 * INCH / 64 },
			{ FINDING_ACTION_TREBLE, 5 * INCH / 64 } } },
	{ "action at the 12th fret 2.4mm bass side and 2,0mm treble side", BENCH_MM, 2,
		{ { FINDING_ACTION_BASS, 2.4e-3 }, { FINDING_ACTION_TREBLE, 2.0e-3 } } },
	{ "treble 5/64ths", BENCH_MM, 1, { { FINDING_ACTION_TREBLE, 5 * INCH / 64 } } },
	{ "12th fret bass 2.4", BENCH_MM, 1, { { FINDING_ACTION_BASS, 2.4e-3 } } },
	{ "first fret .020 bass .018 treble", BENCH_MM, 2,
		{ { FINDING_FIRST_FRET_BASS, 0.020 * INCH },
			{ FINDING_FIRST_FRET_TREBLE, 0.018 * INCH } } },
	{ "1st fret bass .020", BENCH_INCH, 1, { { FINDING_FIRST_FRET_BASS, 0.020 * INCH } } },
	{ "first_fret_bass=.020in, action_bass=6/64", BENCH_INCH, 2,
		{ { FINDING_FIRST_FRET_BASS, 0.020 * INCH },
			{ FINDING_ACTION_BASS, 6 * INCH / 64 } } },
	{ "snug", BENCH_INCH, 1, { { FINDING_SNUG, EVENT } } },
	{ "Tuners snug, relief .012.", BENCH_INCH, 2,
		{ { FINDING_SNUG, EVENT }, { FINDING_RELIEF, 0.012 * INCH } } },
	{ "snug snug", BENCH_INCH, 1, { { FINDING_SNUG, EVENT } } },
	{ "- restrung!", BENCH_INCH, 1, { { FINDING_RESTRUNG, EVENT } } },
	{ "new strings and pegs eased", BENCH_INCH, 2,
		{ { FINDING_RESTRUNG, EVENT }, { FINDING_PEGS, EVENT } } },
	{ "truss -1/8", BENCH_INCH, 1, { { FINDING_TRUSS_TURN, -0.125 } } },
	{ "truss rod tightened \xe2\x85\x9b turn", BENCH_INCH, 1,
		{ { FINDING_TRUSS_TURN, 0.125 } } },
	{ "truss rod 1/4 looser", BENCH_INCH, 1, { { FINDING_TRUSS_TURN, -0.25 } } },
	{ "rod \xe2\x88\x92"
	  "1/8",
		BENCH_INCH, 1, { { FINDING_TRUSS_TURN, -0.125 } } },
	{ "tuners 1/6 turn", BENCH_INCH, 1, { { FINDING_TUNER_TURN, 1.0 / 6 } } },
	{ "tuner nuts 1 1/2 turns", BENCH_INCH, 1, { { FINDING_TUNER_TURN, 1.5 } } },
	{ "tuners 1\xc2\xbd turns", BENCH_INCH, 1, { { FINDING_TUNER_TURN, 1.5 } } },
	{ "tuners 0.25", BENCH_MM, 1, { { FINDING_TUNER_TURN, 0.25 } } },
	{ "fret ends dressed", BENCH_INCH, 1, { { FINDING_FRET_ENDS, 0 } } },
	{ "fret ends 0.2 mm", BENCH_INCH, 1, { { FINDING_FRET_ENDS, 0.2e-3 } } },
	{ "fret_ends 0", BENCH_INCH, 1, { { FINDING_FRET_ENDS, 0 } } },
	{ "saddle +0.5mm", BENCH_INCH, 1, { { FINDING_SADDLE, 0.5e-3 } } },
	{ "saddle lowered by .020", BENCH_MM, 1, { { FINDING_SADDLE, -0.020 * INCH } } },
	{ "nut 0.1 mm up", BENCH_MM, 1, { { FINDING_NUT, 0.1e-3 } } },
	{ "battery changed", BENCH_MM, 1, { { FINDING_BATTERY, EVENT } } },
	{ "settled\tinspected", BENCH_MM, 2,
		{ { FINDING_SETTLED, EVENT }, { FINDING_INSPECTED, EVENT } } },
};

static void lines_of_the_bench_are_read(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(good); i++) {
		const struct said *s = &good[i];
		struct notation found[NOTATION_MAX];
		size_t n = 0;
		struct err err = { 0 };
		print_message("%s\n", s->line);
		assert_true(notation_is(s->line));
		OK(notation_read(s->line, s->units, found, &n, &err), &err);
		assert_int_equal(n, s->n);
		for (size_t k = 0; k < n; k++) {
			assert_int_equal(found[k].kind, s->want[k].kind);
			if (isnan(s->want[k].value))
				assert_true(isnan(found[k].value));
			else
				CLOSE(found[k].value, s->want[k].value, 1e-12, s->line);
		}
	}
}

/* Each with what the answer has to name. */
static const struct {
	const char *line, *named;
} bad[] = {
	{ "relief", "relief: a value is missing" },
	{ "relief .010 tuner", "tuner_turn: a value is missing" },
	{ "relief .010 all good", "\"all\"" },
	{ "relief .010 .012", "\".012\"" },
	{ "relief .010 relief .012", "relief and relief cannot both be" },
	{ "relief .25", "6.35 mm" }, /* bare, of a bench that works in inches */
	{ "relief 40mm", "-1.5 to 3" },
	{ "relief 1/6 turn", "\"1/6\"" },
	{ "relief ten thou", "relief: a value is missing" },
	{ "action", "action: a value is missing" },
	{ "action 6/64", "bass or treble" },
	{ "action 6/64 5/64", "bass or treble" },
	{ "action bass", "action bass: a value is missing" },
	{ "bass 6/64 bass 5/64", "cannot both be" },
	/* a string cannot be nearer to the 12th fret than to the first (core/finding.h) */
	{ "first fret 2.5mm bass, action 2.0mm bass", "cannot both be" },
	{ "saddle -0.5mm lowered", "not both" },
	{ "tuner -1/6", "0 to 5 turns" },
	{ "snug 1/6", "\"1/6\"" },
	{ "relief .010 bow rehaired", "\"bow\"" },
	{ "relief 1/0", "\"1/0\"" },
	{ "relief 1.2.3mm", "\"1.2.3\"" },
	{ "", "nothing on the line" },
	{ "and", "\"and\"" },
};

static void the_rest_is_refused_with_what_would_do(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(bad); i++) {
		struct notation found[NOTATION_MAX] = { { FINDING_NUT, 7 } };
		size_t n = 99;
		struct err err = { 0 };
		assert_int_equal(notation_read(bad[i].line, BENCH_INCH, found, &n, &err), RC_INPUT);
		if (!strstr(err.text, bad[i].named))
			fail_msg("%s: %s", bad[i].line, err.text);
		assert_int_equal(n, 99);
		assert_int_equal(found[0].kind, FINDING_NUT); /* nothing of the line counts */
		assert_true(strchr(err.text, '`') || strchr(err.text, '?') ||
			    strstr(err.text, "not both"));
	}
}

static void remarks_are_no_notation(void **state)
{
	static const char *const remarks[] = { "", "   ", "called the school, Tuesday suits",
		"6/64 was here before", "please bring the key", "and", "up 2 mm", "1/6" };
	(void)state;
	for (size_t i = 0; i < COUNT(remarks); i++)
		assert_false(notation_is(remarks[i]));
}

static void caps_hold(void **state)
{
	char line[NOTATION_LINE + 2];
	struct notation found[NOTATION_MAX];
	size_t n = 0;
	struct err err = { 0 };
	(void)state;
	memset(line, 'x', sizeof line - 1);
	line[sizeof line - 1] = '\0';
	memcpy(line, "snug ", 5);
	assert_int_equal(notation_read(line, BENCH_INCH, found, &n, &err), RC_INPUT);
	/* as many marks as fit, each of which grows when made plain */
	for (size_t i = 0; i < NOTATION_LINE; i += 2)
		memcpy(line + i, "\xc2\xbd", 2);
	line[NOTATION_LINE] = '\0';
	assert_int_equal(notation_read(line, BENCH_INCH, found, &n, NULL), RC_INPUT);
	/* thirteen different things */
	assert_int_equal(
		notation_read("relief .010 action_bass 6/64 action_treble 5/64 "
			      "first_fret_bass .020 first_fret_treble .018 fret ends 0 tuner 1/6 "
			      "snug truss 1/8 saddle 1mm nut 1mm restrung pegs",
			BENCH_INCH, found, &n, &(struct err){ 0 }),
		RC_INPUT);
}

/* Every word of the findings is read under its own name. */
static void every_word_is_known(void **state)
{
	(void)state;
	for (int k = 0; k < FINDING_KINDS; k++) {
		char line[64];
		struct notation found[NOTATION_MAX];
		size_t n = 0;
		struct err err = { 0 };
		const struct finding_word *w = &finding_words()[k];
		(void)snprintf(line, sizeof line, "%s%s", w->name,
			w->unit == FINDING_EVENT    ? ""
			: w->unit == FINDING_LENGTH ? " 1mm"
						    : " 1/8");
		OK(notation_read(line, BENCH_INCH, found, &n, &err), &err);
		assert_int_equal(n, 1);
		assert_int_equal(found[0].kind, k);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(lines_of_the_bench_are_read),
		cmocka_unit_test(the_rest_is_refused_with_what_would_do),
		cmocka_unit_test(remarks_are_no_notation),
		cmocka_unit_test(caps_hold),
		cmocka_unit_test(every_word_is_known),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
