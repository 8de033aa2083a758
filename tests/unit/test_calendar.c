#include "tests/unit/support.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/calendar.h"
#include "daemon/outfile.h"

#define DATA "tests/data/calendar" /* tests run in the folder of the sources */

static const struct calendar_head head = {
	.title = "Bench, care",
	.description = "Jobs that are due",
	.zone = "Europe/Berlin",
	.colour = "teal",
	.refresh_s = 12 * 3600,
};

/* 2026-04-20 is day 20563: civil_days(2026, 4, 20) */
static const struct calendar_entry nuts = {
	.uid = "3f8c1e52-7a40-4c55-9d0e-5b1f2a6c7d80",
	.summary = "Snug the tuner nuts",
	.description = "Gap 0.02 mm; turn 1/6",
	.location = "Room 2",
	.contact = "The bench",
	.categories = "hardware,neck",
	.start_day = 20563,
	.due_day = 20570,
	.alarm_s = 1776664800, /* 2026-04-20T06:00:00Z */
	.priority = 5,
	.sequence = 2,
	.created_s = 1767600000, /* 2026-01-05T08:00:00Z */
	.modified_s = 1767686400,
	.done_s = TIME_NEVER,
};

#define HEAD                                                                                       \
	"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//seasond//seasond//EN\r\nNAME:Bench\\, "       \
	"care\r\n"                                                                                 \
	"X-WR-CALNAME:Bench, care\r\nDESCRIPTION:Jobs that are due\r\nX-WR-CALDESC:Jobs that are " \
	"due\r\n"                                                                                  \
	"X-WR-TIMEZONE:Europe/Berlin\r\nCOLOR:teal\r\nREFRESH-INTERVAL;VALUE=DURATION:PT12H\r\n"   \
	"X-PUBLISHED-TTL:PT12H\r\n"

static char *build(enum calendar_kind kind, const struct calendar_entry *entries, size_t n)
{
	char *bytes = NULL;
	size_t len = 0;
	struct err err = { 0 };
	OK(calendar_build(kind, &head, entries, n, &bytes, &len, &err), &err);
	assert_int_equal(strlen(bytes), len);
	return bytes;
}

static void is_built(enum calendar_kind kind, const struct calendar_entry *e, const char *want)
{
	char *bytes = build(kind, e, e ? 1 : 0);
	assert_string_equal(bytes, want);
	mem_free(bytes);
}

static bool built_has(enum calendar_kind kind, const struct calendar_entry *e, const char *text)
{
	char *bytes = build(kind, e, 1);
	bool has = strstr(bytes, text) != NULL;
	mem_free(bytes);
	return has;
}

static void an_open_job_is_a_todo_with_window_and_alarm(void **state)
{
	(void)state;
	is_built(CALENDAR_TODOS, &nuts,
		HEAD
		"BEGIN:VTODO\r\nUID:3f8c1e52-7a40-4c55-9d0e-5b1f2a6c7d80\r\nDTSTAMP:"
		"20260106T080000Z\r\n"
		"CREATED:20260105T080000Z\r\nLAST-MODIFIED:20260106T080000Z\r\nSEQUENCE:2\r\n"
		"DTSTART;VALUE=DATE:20260420\r\nDUE;VALUE=DATE:20260427\r\nSTATUS:NEEDS-ACTION\r\n"
		"SUMMARY:Snug the tuner nuts\r\nDESCRIPTION:Gap 0.02 mm\\; turn 1/6\r\n"
		"LOCATION:Room 2\r\nCONTACT:The bench\r\nCATEGORIES:hardware,neck\r\nPRIORITY:5\r\n"
		"BEGIN:VALARM\r\nACTION:DISPLAY\r\nTRIGGER;VALUE=DATE-TIME:20260420T060000Z\r\n"
		"DESCRIPTION:Snug the tuner nuts\r\nEND:VALARM\r\nEND:VTODO\r\nEND:VCALENDAR\r\n");
}

static void an_open_job_is_an_event_of_one_free_day(void **state)
{
	(void)state;
	struct calendar_entry e = nuts;
	e.alarm_s = TIME_NEVER;
	is_built(CALENDAR_EVENTS, &e,
		HEAD
		"BEGIN:VEVENT\r\nUID:3f8c1e52-7a40-4c55-9d0e-5b1f2a6c7d80\r\nDTSTAMP:"
		"20260106T080000Z\r\n"
		"CREATED:20260105T080000Z\r\nLAST-MODIFIED:20260106T080000Z\r\nSEQUENCE:2\r\n"
		"DTSTART;VALUE=DATE:20260420\r\nDTEND;VALUE=DATE:20260421\r\nTRANSP:TRANSPARENT\r\n"
		"SUMMARY:Snug the tuner nuts\r\nDESCRIPTION:Gap 0.02 mm\\; turn 1/6\r\n"
		"LOCATION:Room 2\r\nCONTACT:The bench\r\nCATEGORIES:hardware,neck\r\nPRIORITY:5\r\n"
		"END:VEVENT\r\nEND:VCALENDAR\r\n");
}

static void nothing_due_is_a_calendar_with_one_zone(void **state)
{
	(void)state;
	static const char want[] = HEAD
		"BEGIN:VTIMEZONE\r\nTZID:Etc/UTC\r\nBEGIN:STANDARD\r\nDTSTART:19700101T000000\r\n"
		"TZOFFSETFROM:+0000\r\nTZOFFSETTO:+0000\r\nTZNAME:UTC\r\nEND:STANDARD\r\n"
		"END:VTIMEZONE\r\nEND:VCALENDAR\r\n";
	is_built(CALENDAR_EVENTS, NULL, want);
	is_built(CALENDAR_TODOS, NULL, want);
	struct calendar_entry done = nuts;
	done.status = ENTRY_DONE;
	done.done_s = nuts.modified_s;
	is_built(CALENDAR_EVENTS, &done, want);
}

static void a_done_job_says_so_three_times_and_rings_no_more(void **state)
{
	(void)state;
	struct calendar_entry e = nuts;
	e.status = ENTRY_DONE;
	e.done_s = 1767693600;
	assert_true(built_has(CALENDAR_TODOS, &e,
		"\r\nSTATUS:COMPLETED\r\nCOMPLETED:20260106T100000Z\r\nPERCENT-COMPLETE:100\r\n"));
	assert_false(built_has(CALENDAR_TODOS, &e, "VALARM"));
	e.status = ENTRY_CANCELLED;
	assert_true(built_has(CALENDAR_TODOS, &e, "\r\nSTATUS:CANCELLED\r\n"));
	assert_false(built_has(CALENDAR_TODOS, &e, "VALARM"));
	assert_false(built_has(CALENDAR_TODOS, &e, "COMPLETED"));
}

static void a_window_of_one_day_has_due_alone(void **state)
{
	(void)state;
	struct calendar_entry e = nuts;
	e.due_day = e.start_day;
	assert_false(built_has(CALENDAR_TODOS, &e, "DTSTART"));
	assert_true(built_has(CALENDAR_TODOS, &e, "\r\nDUE;VALUE=DATE:20260420\r\n"));
	assert_true(
		built_has(CALENDAR_TODOS, &e, "\r\nTRIGGER;VALUE=DATE-TIME:20260420T060000Z\r\n"));
}

static void what_says_nothing_is_left_out(void **state)
{
	(void)state;
	static const struct calendar_head bare = { .title = " \r\n", .colour = "" };
	struct calendar_entry e = {
		.uid = "a", .summary = " \a", .description = "", .categories = " , ;", .alarm_s = 0
	};
	char *bytes = NULL;
	size_t len = 0;
	struct err err = { 0 };
	OK(calendar_build(CALENDAR_TODOS, &bare, &e, 1, &bytes, &len, &err), &err);
	assert_string_equal(bytes,
		"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//seasond//seasond//"
		"EN\r\nBEGIN:VTODO\r\nUID:a\r\n"
		"DTSTAMP:19700101T000000Z\r\nCREATED:19700101T000000Z\r\nLAST-MODIFIED:"
		"19700101T000000Z\r\n"
		"SEQUENCE:0\r\nDUE;VALUE=DATE:19700101\r\nSTATUS:NEEDS-ACTION\r\nBEGIN:VALARM\r\n"
		"ACTION:DISPLAY\r\nTRIGGER;VALUE=DATE-TIME:19700101T000000Z\r\nDESCRIPTION:"
		"Reminder\r\n"
		"END:VALARM\r\nEND:VTODO\r\nEND:VCALENDAR\r\n");
	mem_free(bytes);
}

static void texts_are_cleaned_and_escaped(void **state)
{
	(void)state;
	static const struct {
		const char *src, *text, *line;
	} rows[] = {
		{ "RFC 5545 3.3.11", "a,b;c\\d\ne:\"f\"", "a\\,b\\;c\\\\d\\ne:\"f\"" },
		{ "newlines of all kinds", "a\r\nb\rc\nd", "a\\nb\\nc\\nd" },
		{ "controls", "a\a\x7f\x1b[1m\xc2\x85z", "a[1mz" },
		{ "tab stays", "a\tb", "a\tb" },
		{ "blanks at the ends", " \n a b\t\r\n", "a b" },
		{ "injection", "x\r\nEND:VTODO", "x\\nEND:VTODO" },
		{ "Unicode 15 table 3-8", "\xc0\xaf\xe0\x80\xbf\xf0\x81\x82\x41",
			"\ufffd\ufffd\ufffd\ufffd\ufffd\ufffd\ufffd\ufffd\x41" },
		{ "Unicode 15 table 3-9", "\xed\xa0\x80\xed\xbf\xbf\xed\xaf\x41",
			"\ufffd\ufffd\ufffd\ufffd\ufffd\ufffd\ufffd\ufffd\x41" },
		{ "Unicode 15 table 3-10", "\xf4\x91\x92\x93\xff\x41\x80\xbf\x42",
			"\ufffd\ufffd\ufffd\ufffd\ufffd\x41\ufffd\ufffd\x42" },
		{ "Unicode 15 table 3-11", "\xe1\x80\xe2\xf0\x91\x92\xf1\xbf\x41",
			"\ufffd\ufffd\ufffd\ufffd\x41" },
		{ "cut at the end", "a\xf0\x9f\x8e", "a\ufffd" },
		{ "emoji and marks", "\U0001f3b8 u\u0308 \u00fc", "\U0001f3b8 u\u0308 \u00fc" },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct calendar_entry e = nuts;
		e.summary = rows[i].text;
		char want[200];
		(void)snprintf(want, sizeof want, "\r\nSUMMARY:%s\r\n", rows[i].line);
		if (!built_has(CALENDAR_TODOS, &e, want))
			fail_msg("%s", rows[i].src);
	}
}

static void categories_are_a_list_without_marks(void **state)
{
	(void)state;
	static const struct {
		const char *text, *line;
	} rows[] = {
		{ "a", "a" },
		{ " a , b ,, c ", "a,b,c" },
		{ ",;a;b\\c\nd, ,", "a b c d" },
		{ "neck, tuner nuts;", "neck,tuner nuts" },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct calendar_entry e = nuts;
		e.categories = rows[i].text;
		char want[200];
		(void)snprintf(want, sizeof want, "\r\nCATEGORIES:%s\r\n", rows[i].line);
		if (!built_has(CALENDAR_EVENTS, &e, want))
			fail_msg("row %zu", i);
	}
}

static void long_texts_are_cut_between_characters(void **state)
{
	(void)state;
	static char text[3 * CALENDAR_TEXT_MAX + 1];
	for (size_t i = 0; i + 3 < sizeof text; i += 3)
		memcpy(text + i, "\u20ac", 3);
	struct calendar_entry e = nuts;
	e.description = text;
	char *bytes = build(CALENDAR_TODOS, &e, 1);
	size_t signs = 0;
	for (const char *p = bytes; (p = strstr(p, "\xe2\x82\xac")); p += 3)
		signs++;
	assert_int_equal(signs, CALENDAR_TEXT_MAX / 3);
	mem_free(bytes);
}

/* libical 3.0.16 alone wrote "=\r\r\n \n" for some lengths, and "SUMMARY:\r\n " for texts without
 * blanks. */
static void folds_are_as_late_as_characters_allow(void **state)
{
	(void)state;
	static const char *const units[] = { "x", " x", "\u00fc", "\u20ac", "\U0001f3b8",
		"\u20acx" };
	for (size_t u = 0; u < COUNT(units); u++) {
		char text[1000] = "^";
		for (size_t n = 1; n < 90; n++) {
			(void)strncat(text, units[u], sizeof text - strlen(text) - 1);
			struct calendar_entry e = nuts;
			e.summary = text;
			e.alarm_s = TIME_NEVER;
			char *bytes = build(CALENDAR_EVENTS, &e, 1);
			const char *p = strstr(bytes, "\r\nSUMMARY:^") + 2;
			char line[1000] = "";
			const char *lf = strchr(p, '\n');
			for (; lf[1] == ' '; p = lf + 2, lf = strchr(p, '\n')) {
				(void)strncat(line, p, (size_t)(lf - 1 - p));
				assert_in_range(lf - 1 - p, 70, 75);
			}
			(void)strncat(line, p, (size_t)(lf - 1 - p));
			assert_string_equal(line + strlen("SUMMARY:"), text);
			mem_free(bytes);
		}
	}
}

static void wrong_entries_are_refused_by_name(void **state)
{
	(void)state;
	static char long_uid[256];
	memset(long_uid, 'u', 255);
	static const struct calendar_entry good = { .uid = "u", .alarm_s = TIME_NEVER };
	struct {
		const char *want;
		struct calendar_entry e;
	} rows[12];
	for (size_t i = 0; i < COUNT(rows); i++)
		rows[i].e = good;
	size_t n = 0;
#define ROW(change, text)                                                                          \
	do {                                                                                       \
		rows[n].e.change;                                                                  \
		rows[n++].want = (text);                                                           \
	} while (0)
	ROW(uid = NULL, "calendar: entry 0: uid is not 1..254 letters, digits and hyphens");
	ROW(uid = "", "calendar: entry 0: uid is not 1..254 letters, digits and hyphens");
	ROW(uid = "a@host", "calendar: entry 0: uid is not 1..254 letters, digits and hyphens");
	ROW(uid = long_uid, "calendar: entry 0: uid is not 1..254 letters, digits and hyphens");
	ROW(due_day = -1, "calendar: entry u: due before its start");
	ROW(due_day = 376200, "calendar: entry u: day outside years 1900..2999");
	ROW(start_day = INT64_MIN, "calendar: entry u: day outside years 1900..2999");
	ROW(modified_s = TIME_NEVER, "calendar: entry u: time of change outside years 1900..2999");
	ROW(alarm_s = INT64_MIN, "calendar: entry u: alarm outside years 1900..2999");
	ROW(status = ENTRY_DONE;
		rows[n].e.done_s = TIME_NEVER, "calendar: entry u: done without a time");
	ROW(priority = 10, "calendar: entry u: priority not 0..9");
	ROW(sequence = -1, "calendar: entry u: sequence below 0");
	assert_int_equal(n, COUNT(rows));
	for (size_t i = 0; i < n; i++) {
		char *bytes = NULL;
		size_t len = 0;
		struct err err = { 0 };
		assert_int_equal(
			calendar_build(CALENDAR_TODOS, &head, &rows[i].e, 1, &bytes, &len, &err),
			RC_INPUT);
		assert_string_equal(err.text, rows[i].want);
		assert_null(bytes);
	}
}

static void a_calendar_that_fails_its_check_is_not_handed_out(void **state)
{
	(void)state;
	const struct calendar_entry two[2] = { nuts, nuts };
	char *bytes = NULL;
	size_t len = 0;
	struct err err = { 0 };
	assert_int_equal(
		calendar_build(CALENDAR_TODOS, &head, two, 2, &bytes, &len, &err), RC_INPUT);
	assert_string_equal(err.text,
		"calendar line 34: 3f8c1e52-7a40-4c55-9d0e-5b1f2a6c7d80: UID more than once");
	assert_null(bytes);
}

static void first_and_last_day_allowed_are_written(void **state)
{
	(void)state;
	struct calendar_entry e = nuts;
	e.start_day = civil_days(1900, 1, 1);
	e.due_day = civil_days(2999, 12, 30);
	assert_true(built_has(CALENDAR_TODOS, &e,
		"\r\nDTSTART;VALUE=DATE:19000101\r\nDUE;VALUE=DATE:29991230\r\n"));
}

static void check_data(const char *name)
{
	char ics[300], want_path[300];
	(void)snprintf(ics, sizeof ics, DATA "/%s.ics", name);
	(void)snprintf(want_path, sizeof want_path, DATA "/%s.want", name);
	char *bytes = NULL;
	char *want = NULL;
	size_t len = 0;
	size_t want_len = 0;
	struct err err = { 0 };
	OK(outfile_read(ics, 100000, &bytes, &len, &err), &err);
	OK(outfile_read(want_path, 1000, &want, &want_len, &err), &err);
	want[strcspn(want, "\n")] = '\0';
	enum rc rc = calendar_lint(bytes, len, &err);
	if (strcmp(err.text, want) != 0)
		fail_msg("%s: got '%s', want '%s'", name, err.text, want);
	assert_int_equal(rc, *want ? RC_INPUT : RC_OK);
	mem_free(bytes);
	mem_free(want);
}

static void the_linter_says_what_each_sample_breaks(void **state)
{
	(void)state;
	DIR *d = opendir(DATA);
	assert_non_null(d);
	size_t n = 0;
	for (const struct dirent *e; (e = readdir(d));) {
		char name[256];
		size_t len = strlen(e->d_name);
		if (len < 5 || strcmp(e->d_name + len - 4, ".ics") != 0)
			continue;
		(void)snprintf(name, sizeof name, "%.*s", (int)len - 4, e->d_name);
		check_data(name);
		n++;
	}
	(void)closedir(d);
	assert_true(n >= 80);
}

/* Calendars that differ from a good one in one octet, or end early, are judged without harm: the
 * sanitizers watch. */
static void the_linter_survives_broken_calendars(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	char *good = build(CALENDAR_TODOS, &nuts, 1);
	size_t len = strlen(good);
	size_t refused = 0;
	for (size_t i = 0; i < len; i++) {
		char *copy = mem_new(len, 1); /* no NUL behind it */
		assert_non_null(copy);
		memcpy(copy, good, len);
		assert_int_equal(calendar_lint(copy, i, NULL), RC_INPUT);
		copy[i] = (char)support_random(&seed);
		refused += calendar_lint(copy, len, NULL) != RC_OK;
		mem_free(copy);
	}
	/* letters of texts may change; names, numbers and line ends may not */
	assert_in_range(refused, len / 2, len);
	mem_free(good);
}

/* Random text of hard parts, NUL-terminated. */
static const char *random_text(uint64_t *seed, char *buf, size_t size)
{
	static const char *const parts[] = { "Gr\u00fc\u00df", " ", "\U0001f3bb", ",", ";", "\\",
		"\\n", "\n", "\r\n", "\t", "\a", "\xff", "\xe2\x82", ":", "\"", "END:VTODO",
		"\r\nX:", "\u200d", "e\u0301", "=", "\xc2\x9b",
		"Donaudampfschifffahrtsgesellschaftskapit\u00e4nsm\u00fctzenabzeichen", "\ufeff",
		"^n" };
	size_t len = 0;
	for (size_t n = support_random(seed) % 60; n > 0; n--) {
		const char *part = parts[support_random(seed) % COUNT(parts)];
		size_t size_of = strlen(part);
		if (len + size_of + 1 >= size)
			break;
		memcpy(buf + len, part, size_of);
		len += size_of;
	}
	buf[len] = '\0';
	return buf;
}

static void random_entries_always_pass_the_linter(void **state)
{
	(void)state;
	enum { MANY = 3000 };
	uint64_t seed = support_seed();
	static struct calendar_entry e[MANY];
	static char text[MANY][5][1024];
	static char uid[MANY][37];
	for (size_t i = 0; i < MANY; i++) {
		OK(calendar_uuid(uid[i], NULL), NULL);
		e[i] = (struct calendar_entry){ .uid = uid[i],
			.summary = random_text(&seed, text[i][0], 1024),
			.description = random_text(&seed, text[i][1], 1024),
			.location = random_text(&seed, text[i][2], 1024),
			.contact = random_text(&seed, text[i][3], 1024),
			.categories = random_text(&seed, text[i][4], 1024),
			.start_day = (int64_t)(support_random(&seed) % 40000),
			.modified_s = (int64_t)(support_random(&seed) % 4000000000U),
			.alarm_s =
				i % 3 ? TIME_NEVER : (int64_t)(support_random(&seed) % 4000000000U),
			.priority = (int)(support_random(&seed) % 10),
			.status = (enum entry_status)(support_random(&seed) % 3) };
		e[i].due_day = e[i].start_day + (int64_t)(support_random(&seed) % 3);
	}
	char *todos = build(CALENDAR_TODOS, e, MANY);
	char *again = build(CALENDAR_TODOS, e, MANY);
	assert_string_equal(todos, again);
	const char *p = todos;
	for (size_t i = 0; i < MANY; i++) {
		p = strstr(p, uid[i]); /* order kept */
		assert_non_null(p);
	}
	mem_free(todos);
	mem_free(again);
	mem_free(build(CALENDAR_EVENTS, e, MANY));
}

static void uuids_are_of_version_4_and_differ(void **state)
{
	(void)state;
	char a[37], b[37];
	struct err err = { 0 };
	OK(calendar_uuid(a, &err), &err);
	OK(calendar_uuid(b, &err), &err);
	assert_string_not_equal(a, b);
	assert_int_equal(strlen(a), 36);
	assert_int_equal(strspn(a, "0123456789abcdef-"), 36);
	assert_true(a[8] == '-' && a[13] == '-' && a[18] == '-' && a[23] == '-');
	assert_int_equal(a[14], '4'); /* RFC 9562 5.4 */
	assert_non_null(strchr("89ab", a[19]));
}

static int done(void **state)
{
	(void)state;
	calendar_done();
	return 0;
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(an_open_job_is_a_todo_with_window_and_alarm),
		cmocka_unit_test(an_open_job_is_an_event_of_one_free_day),
		cmocka_unit_test(nothing_due_is_a_calendar_with_one_zone),
		cmocka_unit_test(a_done_job_says_so_three_times_and_rings_no_more),
		cmocka_unit_test(a_window_of_one_day_has_due_alone),
		cmocka_unit_test(what_says_nothing_is_left_out),
		cmocka_unit_test(texts_are_cleaned_and_escaped),
		cmocka_unit_test(categories_are_a_list_without_marks),
		cmocka_unit_test(long_texts_are_cut_between_characters),
		cmocka_unit_test(folds_are_as_late_as_characters_allow),
		cmocka_unit_test(wrong_entries_are_refused_by_name),
		cmocka_unit_test(a_calendar_that_fails_its_check_is_not_handed_out),
		cmocka_unit_test(first_and_last_day_allowed_are_written),
		cmocka_unit_test(the_linter_says_what_each_sample_breaks),
		cmocka_unit_test(the_linter_survives_broken_calendars),
		cmocka_unit_test(random_entries_always_pass_the_linter),
		cmocka_unit_test(uuids_are_of_version_4_and_differ),
	};
	return cmocka_run_group_tests(tests, NULL, done);
}
