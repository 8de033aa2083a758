#include "tests/unit/support.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/calendar_int.h"
#include "daemon/calendar_seen.h"
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

/* RFC 4791 4.1: one component, no METHOD; the names of the calendar are the collection's. */
static void a_resource_holds_one_entry_and_no_names(void **state)
{
	(void)state;
	struct calendar_entry e = nuts;
	char *bytes = NULL;
	size_t len = 0;
	struct err err = { 0 };
	e.summary = e.description = e.location = e.contact = e.categories = NULL;
	e.alarm_s = TIME_NEVER;
	OK(calendar_resource(CALENDAR_TODOS, &e, &bytes, &len, &err), &err);
	assert_string_equal(bytes,
		"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//seasond//seasond//EN\r\n"
		"BEGIN:VTODO\r\nUID:3f8c1e52-7a40-4c55-9d0e-5b1f2a6c7d80\r\nDTSTAMP:"
		"20260106T080000Z\r\n"
		"CREATED:20260105T080000Z\r\nLAST-MODIFIED:20260106T080000Z\r\nSEQUENCE:2\r\n"
		"DTSTART;VALUE=DATE:20260420\r\nDUE;VALUE=DATE:20260427\r\nSTATUS:NEEDS-ACTION\r\n"
		"PRIORITY:5\r\nEND:VTODO\r\nEND:VCALENDAR\r\n");
	assert_int_equal(len, strlen(bytes));
	mem_free(bytes);
	bytes = NULL;
	e.status = ENTRY_CANCELLED;
	assert_int_equal(calendar_resource(CALENDAR_EVENTS, &e, &bytes, &len, &err), RC_INPUT);
	assert_string_equal(err.text,
		"calendar: entry 3f8c1e52-7a40-4c55-9d0e-5b1f2a6c7d80: not among the events: it is "
		"no longer open");
	err = (struct err){ 0 };
	e.event_only = true;
	assert_int_equal(calendar_resource(CALENDAR_TODOS, &e, &bytes, &len, &err), RC_INPUT);
	assert_string_equal(err.text,
		"calendar: entry 3f8c1e52-7a40-4c55-9d0e-5b1f2a6c7d80: not among the to-dos: it is "
		"an event only");
	assert_null(bytes);
}

/* 2026-04-20T06:00:00Z is 08:00 in Berlin, a Monday. */
static struct calendar_entry timed(void)
{
	struct calendar_entry e = nuts;
	e.at_s = 1776664800;
	e.length_s = 5400;
	return e;
}

static void a_visit_at_a_time_is_in_utc_and_takes_its_time(void **state)
{
	(void)state;
	struct calendar_entry e = timed();
	assert_true(built_has(CALENDAR_EVENTS, &e,
		"\r\nDTSTART:20260420T060000Z\r\nDTEND:20260420T073000Z\r\nTRANSP:OPAQUE\r\n"));
	assert_true(
		built_has(CALENDAR_EVENTS, &e, "\r\nTRIGGER;VALUE=DATE-TIME:20260420T060000Z\r\n"));
	/* its to-do keeps to the days */
	assert_true(built_has(CALENDAR_TODOS, &e,
		"\r\nDTSTART;VALUE=DATE:20260420\r\nDUE;VALUE=DATE:20260427\r\n"));
}

#define BERLIN                                                                                     \
	"BEGIN:VTIMEZONE\r\nTZID:Europe/Berlin\r\nBEGIN:DAYLIGHT\r\nDTSTART:19810329T020000\r\n"   \
	"TZOFFSETFROM:+0100\r\nTZOFFSETTO:+0200\r\n"                                               \
	"RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=-1SU\r\nEND:DAYLIGHT\r\nBEGIN:STANDARD\r\n"             \
	"DTSTART:19961027T030000\r\nTZOFFSETFROM:+0200\r\nTZOFFSETTO:+0100\r\n"                    \
	"RRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\n"

/* RFC 5545 3.6.5, 3.8.5.3; the rules of 2002/84/EC: last Sundays of March and October, 01:00 UTC */
static void a_weekly_event_keeps_the_clock_of_its_zone(void **state)
{
	(void)state;
	struct calendar_entry e = timed();
	e.weekly_zone = "Europe/Berlin";
	e.alarm_s = e.at_s - 1800;
	e.description = e.location = e.contact = e.categories = NULL;
	is_built(CALENDAR_EVENTS, &e,
		HEAD BERLIN
		"BEGIN:VEVENT\r\nUID:3f8c1e52-7a40-4c55-9d0e-5b1f2a6c7d80\r\nDTSTAMP:"
		"20260106T080000Z\r\nCREATED:20260105T080000Z\r\n"
		"LAST-MODIFIED:20260106T080000Z\r\nSEQUENCE:2\r\n"
		"DTSTART;TZID=Europe/Berlin:20260420T080000\r\nDURATION:PT1H30M\r\n"
		"RRULE:FREQ=WEEKLY;BYDAY=MO\r\nTRANSP:OPAQUE\r\nSUMMARY:Snug the tuner nuts\r\n"
		"PRIORITY:5\r\nBEGIN:VALARM\r\nACTION:DISPLAY\r\nTRIGGER:-PT30M\r\n"
		"DESCRIPTION:Snug the tuner nuts\r\nEND:VALARM\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n");
	e.weekly_zone = "UTC";
	assert_true(built_has(CALENDAR_EVENTS, &e, "\r\nDTSTART:20260420T060000Z\r\nDURATION:"));
	assert_false(built_has(CALENDAR_EVENTS, &e, "VTIMEZONE"));
	e.weekly_zone = ""; /* none */
	assert_false(built_has(CALENDAR_EVENTS, &e, "RRULE"));
}

static void one_zone_is_written_once_and_covers_the_first_event(void **state)
{
	(void)state;
	struct calendar_entry e[4] = { timed(), timed(), timed(), timed() };
	static const char *const uids[] = { "a", "b", "c", "d" };
	for (size_t i = 0; i < COUNT(e); i++) {
		e[i].uid = uids[i];
		e[i].weekly_zone = i == 1 ? "Asia/Kolkata" : "Australia/Lord_Howe";
		e[i].alarm_s = TIME_NEVER;
	}
	e[2].at_s = 1577836800; /* 2020-01-01T00:00:00Z */
	e[3].status = ENTRY_CANCELLED;
	char *bytes = build(CALENDAR_EVENTS, e, COUNT(e));
	size_t n = 0;
	for (const char *p = bytes; (p = strstr(p, "BEGIN:VTIMEZONE")); p++)
		n++;
	assert_int_equal(n, 2);
	/* half an hour of daylight saving, also after 2037 */
	assert_non_null(strstr(bytes,
		"DTSTART:20081005T020000\r\nTZOFFSETFROM:+1030\r\nTZOFFSETTO:+1100\r\n"
		"RRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=1SU\r\n"));
	assert_non_null(strstr(bytes, "DTSTART;TZID=Asia/Kolkata:20260420T113000"));
	mem_free(bytes);
}

static void classes_are_said_unless_public(void **state)
{
	(void)state;
	struct calendar_entry e = nuts;
	assert_false(built_has(CALENDAR_EVENTS, &e, "CLASS"));
	e.class = CLASS_PRIVATE;
	assert_true(built_has(CALENDAR_EVENTS, &e, "\r\nCLASS:PRIVATE\r\n"));
	e.class = CLASS_CONFIDENTIAL;
	assert_true(built_has(CALENDAR_TODOS, &e, "\r\nCLASS:CONFIDENTIAL\r\n"));
}

static void events_alone_are_not_among_the_todos(void **state)
{
	(void)state;
	struct calendar_entry e = nuts;
	e.event_only = true;
	assert_false(built_has(CALENDAR_TODOS, &e, "VTODO"));
	assert_true(built_has(CALENDAR_EVENTS, &e, "VEVENT"));
}

static char *message(enum calendar_method method, const struct calendar_entry *e, const char *name,
	const char *address)
{
	char *bytes = NULL;
	size_t len = 0;
	struct err err = { 0 };
	OK(calendar_message(method, e, "bench@bench.example", "The bench", address, name, &bytes,
		   &len, &err),
		&err);
	assert_int_equal(strlen(bytes), len);
	return bytes;
}

/* RFC 5546 3.2.2 and 3.2.5: what a REQUEST and a CANCEL hold; RFC 6047 2.3: mailto: */
static void messages_ask_and_call_off(void **state)
{
	(void)state;
	struct calendar_entry e = timed();
	e.description = e.location = e.contact = e.categories = NULL;
	e.alarm_s = e.at_s - 3600;
	char *bytes = message(METHOD_REQUEST, &e, "Anna Beispiel", "anna@client.example");
	assert_string_equal(bytes,
		"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//seasond//seasond//EN\r\n"
		"METHOD:REQUEST\r\nBEGIN:VEVENT\r\n"

		"UID:3f8c1e52-7a40-4c55-9d0e-5b1f2a6c7d80\r\nDTSTAMP:20260106T080000Z\r\n"
		"CREATED:20260105T080000Z\r\nLAST-MODIFIED:20260106T080000Z\r\nSEQUENCE:2\r\n"
		"ORGANIZER;CN=\"The bench\":mailto:bench@bench.example\r\n"
		"ATTENDEE;CN=\"Anna Beispiel\";ROLE=REQ-PARTICIPANT;PARTSTAT=NEEDS-ACTION;RSVP\r\n"
		" =TRUE:mailto:anna@client.example\r\n"
		"STATUS:CONFIRMED\r\n"
		"DTSTART:20260420T060000Z\r\nDTEND:20260420T073000Z\r\nTRANSP:OPAQUE\r\n"
		"SUMMARY:Snug the tuner nuts\r\nPRIORITY:5\r\n"
		"BEGIN:VALARM\r\nACTION:DISPLAY\r\nTRIGGER;VALUE=DATE-TIME:20260420T050000Z\r\n"
		"DESCRIPTION:Snug the tuner nuts\r\nEND:VALARM\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n");
	mem_free(bytes);
	e.sequence = 3;
	e.priority = 0;
	bytes = message(METHOD_CANCEL, &e, NULL, "anna@client.example");
	assert_string_equal(bytes,
		"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//seasond//seasond//EN\r\n"
		"METHOD:CANCEL\r\nBEGIN:VEVENT\r\n"

		"UID:3f8c1e52-7a40-4c55-9d0e-5b1f2a6c7d80\r\nDTSTAMP:20260106T080000Z\r\n"
		"CREATED:20260105T080000Z\r\nLAST-MODIFIED:20260106T080000Z\r\nSEQUENCE:3\r\n"
		"ORGANIZER;CN=\"The bench\":mailto:bench@bench.example\r\n"
		"ATTENDEE:mailto:anna@client.example\r\n"
		"STATUS:CANCELLED\r\n"
		"DTSTART:20260420T060000Z\r\nDTEND:20260420T073000Z\r\nTRANSP:OPAQUE\r\n"
		"SUMMARY:Snug the tuner nuts\r\nEND:VEVENT\r\n"
		"END:VCALENDAR\r\n");
	assert_int_equal(calendar_lint(bytes, strlen(bytes), NULL), RC_INPUT); /* no file */
	assert_int_equal(calendar_lint_foreign(bytes, strlen(bytes), NULL), RC_INPUT);
	mem_free(bytes);
}

static void names_in_messages_are_quoted_and_coded(void **state)
{
	(void)state;
	static const struct {
		const char *source, *name, *line;
	} rows[] = {
		{ "RFC 6868 3.1", "George Herman \"Babe\" Ruth",
			"CN=\"George Herman ^'Babe^' Ruth\"" },
		{ "RFC 6868 3: caret", "a^b^n", "CN=\"a^^b^^n\"" },
		{ "RFC 6868 3: newline", "a\r\nb", "CN=\"a^nb\"" },
		{ "RFC 5545 3.2: quotes hold , ; :", "B; C, D: E", "CN=\"B; C, D: E\"" },
		{ "no injection", "a\":mailto:x@y.example\r\nX-A:b",
			"CN=\"a^':mailto:x@y.example^nX-A:b\"" },
		{ "UTF-8", "Gr\u00fc\u00df \xff", "CN=\"Gr\u00fc\u00df \ufffd\"" },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct calendar_entry e = timed();
		char *bytes = message(METHOD_CANCEL, &e, rows[i].name, "a@b.example");
		if (!strstr(bytes, rows[i].line))
			fail_msg("%s: %s", rows[i].source, bytes);
		mem_free(bytes);
	}
}

static void addresses_are_one_mailbox_or_refused(void **state)
{
	(void)state;
	static const struct {
		const char *address, *uri; /* NULL: refused */
	} rows[] = {
		{ "a.b+c@host.example", "mailto:a.b+c@host.example" },
		/* RFC 6068 2: what means something in a URI is percent-encoded */
		{ "a&b=c?d#e/f%g@host.example", "mailto:a%26b%3Dc%3Fd%23e%2Ff%25g@host.example" },
		{ NULL, NULL },
		{ "", NULL },
		{ "a", NULL },
		{ "@host.example", NULL },
		{ "a@", NULL },
		{ "a@b@c", NULL },
		{ "a b@c", NULL },
		{ "a@b\r\nX:y", NULL },
		{ "a@b\nATTENDEE:c", NULL },
		{ "a\t@b", NULL },
		{ "<a@b>", NULL },
		{ "A <a@b>", NULL },
		{ "\"a\"@b", NULL },
		{ "mailto:a@b", NULL },
		{ "a@b,c@d", NULL },
		{ "\u00fc@b", NULL },
		{ "a@\x7f", NULL },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct calendar_entry e = timed();
		char *bytes = NULL;
		size_t len = 0;
		struct err err = { 0 };
		enum rc rc = calendar_message(METHOD_CANCEL, &e, rows[i].address, NULL,
			rows[i].address, NULL, &bytes, &len, &err);
		assert_int_equal(rc, rows[i].uri ? RC_OK : RC_INPUT);
		if (rows[i].uri)
			assert_non_null(strstr(bytes, rows[i].uri));
		else
			assert_non_null(strstr(err.text, "address of the organizer"));
		mem_free(bytes);
	}
}

static void a_message_says_what_keeps_it_from_being_one(void **state)
{
	(void)state;
	char *bytes = NULL;
	size_t len = 0;
	struct err err = { 0 };
	struct calendar_entry e = timed();
	e.status = ENTRY_DONE;
	e.done_s = e.modified_s;
	assert_int_equal(
		calendar_message(METHOD_REQUEST, &e, "a@b", NULL, "c@d", NULL, &bytes, &len, &err),
		RC_INPUT);
	assert_string_equal(err.text,
		"calendar: entry 3f8c1e52-7a40-4c55-9d0e-5b1f2a6c7d80: only what is open can be "
		"asked for");
	err = (struct err){ 0 };
	e.summary = " \n";
	assert_int_equal(
		calendar_message(METHOD_CANCEL, &e, "a@b", NULL, "c@d", NULL, &bytes, &len, &err),
		RC_INPUT);
	assert_string_equal(err.text,
		"calendar: entry 3f8c1e52-7a40-4c55-9d0e-5b1f2a6c7d80: a message needs a summary");
	err = (struct err){ 0 };
	e = timed();
	assert_int_equal(
		calendar_message(METHOD_CANCEL, &e, "a@b", NULL, "c d", NULL, &bytes, &len, &err),
		RC_INPUT);
	assert_string_equal(err.text,
		"calendar: entry 3f8c1e52-7a40-4c55-9d0e-5b1f2a6c7d80: address of the attendee: c "
		"d: blanks, controls and letters beyond ASCII have no place in it");
	assert_null(bytes);
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

/* RFC 5545 3.1: 75 octets; no character is parted. */
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
	} rows[22];
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
	ROW(length_s = -1, "calendar: entry u: length not 0 to 31 days");
	ROW(length_s = 31 * DAY_S + 1, "calendar: entry u: length not 0 to 31 days");
	ROW(length_s = 60;
		rows[n].e.at_s = INT64_MIN, "calendar: entry u: time outside years 1900..2999");
	const struct calendar_entry weekly = { .uid = "u",
		.alarm_s = TIME_NEVER,
		.length_s = 3600,
		.weekly_zone = "Europe/Berlin",
		.at_s = 1776664800 };
#define WEEKLY(change, text)                                                                       \
	do {                                                                                       \
		rows[n].e = weekly;                                                                \
		ROW(change, text);                                                                 \
	} while (0)
	WEEKLY(length_s = DAY_S, "calendar: entry u: a weekly event of a day or longer");
	WEEKLY(at_s = -1, "calendar: entry u: a weekly event that begins outside years 1971..2098");
	WEEKLY(alarm_s = weekly.at_s + 8 * DAY_S,
		"calendar: entry u: alarm more than a week from a weekly event");
	WEEKLY(weekly_zone = "Nowhere/Else",
		"calendar: entry u: time zone: \"Nowhere/Else\" is not known here (a name such as "
		"Europe/Berlin, UTC, or an offset such as +02:00)");
	WEEKLY(weekly_zone = "a:b", "calendar: entry u: a:b: no name of a time zone");
	WEEKLY(weekly_zone = "/etc/passwd",
		"calendar: entry u: time zone: \"/etc/passwd\" is not known here (a name such as "
		"Europe/Berlin, UTC, or an offset such as +02:00)");
	WEEKLY(at_s = 1792888200, /* 2026-10-25T00:30:00Z, 02:30 for the first time */
		"calendar: entry u: begins at a time that clocks in Europe/Berlin show twice that "
		"day");
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

/* NAME.ics is judged by calendar_lint, message-NAME.ics by calendar_lint_message, foreign-NAME.ics by
 * calendar_lint_foreign. */
static void check_data(const char *name)
{
	char ics[300], want_path[300];
	(void)snprintf(ics, sizeof ics, DATA "/%s.ics", name);
	(void)snprintf(want_path, sizeof want_path, DATA "/%s.want", name);
	bool foreign = strncmp(name, "foreign-", 8) == 0;
	bool message = strncmp(name, "message-", 8) == 0;
	char *bytes = NULL;
	char *want = NULL;
	size_t len = 0;
	size_t want_len = 0;
	struct err err = { 0 };
	OK(outfile_read(ics, 100000, &bytes, &len, &err), &err);
	OK(outfile_read(want_path, 1000, &want, &want_len, &err), &err);
	want[strcspn(want, "\n")] = '\0';
	enum rc rc = foreign   ? calendar_lint_foreign(bytes, len, &err)
		     : message ? calendar_lint_message(bytes, len, &err)
			       : calendar_lint(bytes, len, &err);
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
	assert_true(n >= 160);
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

#define ENTRY                                                                                      \
	"UID:an-entry\r\nDTSTAMP:20260101T000000Z\r\nDTSTART:20260102T090000Z\r\n"                 \
	"ORGANIZER:mailto:bench@example.org\r\nATTENDEE:mailto:player@example.org\r\n"             \
	"SEQUENCE:1\r\nSUMMARY:Visit\r\n"

/* RFC 5546 3.2.2 and 3.2.5, as libical has them: what a REQUEST and a CANCEL must and must not hold. */
static void what_libical_finds_at_fault_is_refused(void **state)
{
	(void)state;
	static const struct {
		const char *method, *more, *uid;
		bool good;
	} cases[] = {
		{ "REQUEST", "", "an-entry", true },
		{ "CANCEL", "STATUS:CANCELLED\r\n", "an-entry", true },
		{ "REQUEST", "", "another-entry", false },
		{ "REQUEST", "UID:again\r\n", "an-entry", false },
		{ "REQUEST", "DTEND:20260102T100000Z\r\nDURATION:PT1H\r\n", "an-entry", false },
		{ "REQUEST", "DTSTAMP:never\r\n", "an-entry", false },
	};
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		char text[1024];
		struct err err = { 0 };
		(void)snprintf(text, sizeof text,
			"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:x\r\nMETHOD:%s\r\nBEGIN:"
			"VEVENT\r\n" ENTRY "%sEND:VEVENT\r\nEND:VCALENDAR\r\n",
			cases[i].method, cases[i].more);
		enum rc rc = calendar_second_opinion(text, cases[i].uid, &err);
		if ((rc == RC_OK) != cases[i].good)
			fail_msg("case %zu: %d %s", i, rc, err.text);
	}
	struct err err = { 0 };
	assert_int_equal(calendar_second_opinion("", "an-entry", &err), RC_INPUT);
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
		cmocka_unit_test(a_resource_holds_one_entry_and_no_names),
		cmocka_unit_test(a_visit_at_a_time_is_in_utc_and_takes_its_time),
		cmocka_unit_test(a_weekly_event_keeps_the_clock_of_its_zone),
		cmocka_unit_test(one_zone_is_written_once_and_covers_the_first_event),
		cmocka_unit_test(classes_are_said_unless_public),
		cmocka_unit_test(events_alone_are_not_among_the_todos),
		cmocka_unit_test(messages_ask_and_call_off),
		cmocka_unit_test(names_in_messages_are_quoted_and_coded),
		cmocka_unit_test(addresses_are_one_mailbox_or_refused),
		cmocka_unit_test(a_message_says_what_keeps_it_from_being_one),
		cmocka_unit_test(categories_are_a_list_without_marks),
		cmocka_unit_test(long_texts_are_cut_between_characters),
		cmocka_unit_test(folds_are_as_late_as_characters_allow),
		cmocka_unit_test(wrong_entries_are_refused_by_name),
		cmocka_unit_test(a_calendar_that_fails_its_check_is_not_handed_out),
		cmocka_unit_test(first_and_last_day_allowed_are_written),
		cmocka_unit_test(the_linter_says_what_each_sample_breaks),
		cmocka_unit_test(what_libical_finds_at_fault_is_refused),
		cmocka_unit_test(the_linter_survives_broken_calendars),
		cmocka_unit_test(random_entries_always_pass_the_linter),
		cmocka_unit_test(uuids_are_of_version_4_and_differ),
	};
	return cmocka_run_group_tests(tests, NULL, done);
}
