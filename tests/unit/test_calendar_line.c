#include "tests/unit/support.h"

#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/calendar_int.h"

/* The first line of text as that manner takes it; texts point into room. */
static enum rc first(enum calendar_manner manner, const char *text, char *room,
	struct calendar_line *line, struct err *err)
{
	struct calendar_lines lines = {
		.bytes = text, .len = strlen(text), .manner = manner, .text = room
	};
	return calendar_line_next(&lines, line, err);
}

static void names_values_and_parameters_are_taken_apart(void **state)
{
	(void)state;
	static const struct {
		const char *source, *text, *name, *value, *parameter, *said;
	} rows[] = {
		{ "RFC 5545 3.1", "SUMMARY:a\r\n", "SUMMARY", "a", "CN", NULL },
		{ "RFC 5545 3.1: unfolded", "SUM\r\n MARY:a\r\n\tb\r\n", "SUMMARY", "ab", "CN",
			NULL },
		{ "RFC 5545 3.1: octets are unfolded first", "SUMMARY:\xc3\r\n \xbc\r\n", "SUMMARY",
			"\u00fc", "CN", NULL },
		{ "RFC 5545 2: names in any case", "attendee;cn=Anna:mailto:a@b\r\n", "ATTENDEE",
			"mailto:a@b", "CN", "Anna" },
		{ "RFC 5545 3.2: quotes", "ATTENDEE;CN=\"B; C: D\";X-A=1:mailto:a@b\r\n",
			"ATTENDEE", "mailto:a@b", "CN", "B; C: D" },
		{ "RFC 5545 3.2: lists", "ATTENDEE;MEMBER=\"mailto:a@b\",\"mailto:c@d\":x\r\n",
			"ATTENDEE", "x", "MEMBER", "mailto:a@b,mailto:c@d" },
		{ "RFC 6868 3", "X;CN=George Herman ^'Babe^' Ruth^n^^x^y:a\r\n", "X", "a", "CN",
			"George Herman \"Babe\" Ruth\n^x^y" },
		{ "empty values", "X;CN=:\r\n", "X", "", "CN", "" },
		{ "the first of two", "X;CN=a;CN=b:\r\n", "X", "", "CN", "a" },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		char room[200];
		struct calendar_line line;
		struct err err = { 0 };
		for (int manner = MANNER_FOREIGN; manner <= MANNER_SEEN; manner++) {
			OK(first((enum calendar_manner)manner, rows[i].text, room, &line, &err),
				&err);
			const char *said = calendar_parameter(&line, rows[i].parameter);
			if (strcmp(line.name, rows[i].name) != 0 ||
				strcmp(line.value, rows[i].value) != 0 ||
				(said == NULL) != (rows[i].said == NULL) ||
				(said && strcmp(said, rows[i].said) != 0))
				fail_msg("%s: %s %s %s", rows[i].source, line.name, line.value,
					said ? said : "none");
			assert_int_equal(line.to, strlen(rows[i].text));
		}
	}
}

static void type_and_zone_are_at_hand(void **state)
{
	(void)state;
	char room[200];
	struct calendar_line line;
	struct err err = { 0 };
	OK(first(MANNER_FOREIGN, "DUE;value=date;X-A=b:20260420\r\n", room, &line, &err), &err);
	assert_string_equal(line.type, "DATE");
	assert_null(line.tzid);
	assert_int_equal(line.n_params, 2);
	OK(first(MANNER_OURS, "DTSTART;TZID=Europe/Berlin:20260420T080000\r\n", room, &line, &err),
		&err);
	assert_string_equal(line.tzid, "Europe/Berlin");
	assert_null(line.type);
}

static void what_one_manner_takes_another_refuses(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		bool ours, foreign;
	} rows[] = {
		{ "SUMMARY:a\r\n", true, true },
		{ "summary:a\r\n", false, true },
		{ "ATTENDEE;CN=\"a\":b\r\n", true, true },
		{ "ATTENDEE;X-A=a:b\r\n", false, true },
		{ "DUE;VALUE=\"DATE\":a\r\n", false, true },
		{ "SUMMARY:\xc3\r\n \xbc\r\n", false, true },
		{ "SUMMARY:a\n", false, false },
		{ "SUMMARY:a", false, false },
		{ "SUMMARY:a\ab\r\n", false, false },
		{ "SUMMARY:\xff\r\n", false, false },
		{ "SUMMARY\r\n", false, false },
		{ " SUMMARY:a\r\n", false, false },
		{ "\r\n", false, false },
		{ "X;CN=\"a:b\r\n", false, false },
		{ "X;:b\r\n", false, false },
		{ "SUMMARY:aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"
		  "\r\n",
			false, true },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		char room[200];
		struct calendar_line line;
		bool ours = first(MANNER_OURS, rows[i].text, room, &line, NULL) == RC_OK;
		bool foreign = first(MANNER_FOREIGN, rows[i].text, room, &line, NULL) == RC_OK;
		if (ours != rows[i].ours || foreign != rows[i].foreign)
			fail_msg("row %zu", i);
		assert_int_equal(first(MANNER_SEEN, rows[i].text, room, &line, NULL), RC_OK);
	}
}

/* As XML hands them out, with LF; what is no line has no name. */
static void whatever_a_server_hands_out_is_read_to_its_end(void **state)
{
	(void)state;
	static const char text[] = "\xef\xbb\xbf"
				   "BEGIN:VCALENDAR\n\nnonsense\nSUMMARY:a\n b\r\nX:\xff\aY\nEND:c";
	static const char *const want[][2] = { { "BEGIN", "VCALENDAR" }, { "", "" }, { "", "" },
		{ "SUMMARY", "ab" }, { "X", "\xff\aY" }, { "END", "c" } };
	char room[sizeof text];
	struct calendar_lines lines = {
		.bytes = text, .len = strlen(text), .manner = MANNER_SEEN, .text = room
	};
	size_t n = 0;
	for (; lines.at < lines.len; n++) {
		struct calendar_line line;
		assert_int_equal(calendar_line_next(&lines, &line, NULL), RC_OK);
		assert_true(n < COUNT(want));
		assert_string_equal(line.name, want[n][0]);
		assert_string_equal(line.value, want[n][1]);
		if (n == 3)
			assert_memory_equal(
				text + line.from, "SUMMARY:a\n b\r\n", line.to - line.from);
	}
	assert_int_equal(n, COUNT(want));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(names_values_and_parameters_are_taken_apart),
		cmocka_unit_test(type_and_zone_are_at_hand),
		cmocka_unit_test(what_one_manner_takes_another_refuses),
		cmocka_unit_test(whatever_a_server_hands_out_is_read_to_its_end),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
