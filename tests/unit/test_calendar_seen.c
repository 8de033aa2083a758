#include "tests/unit/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/calendar_seen.h"

/* Entries as calendar programs leave them. What they may say: RFC 5545, sections beside the cases. Instants worked out by
 * hand; Berlin is an hour east of UTC in winter, two in summer. */

#define HEAD "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//example//person//EN\r\n"
#define OPEN_TODO HEAD "BEGIN:VTODO\r\nUID:u-1\r\nDTSTAMP:20260420T080000Z\r\n"
#define END_TODO "END:VTODO\r\nEND:VCALENDAR\r\n"
#define EVENT HEAD "BEGIN:VEVENT\r\nUID:u-1\r\nDTSTAMP:20260420T080000Z\r\n"
#define END_EVENT "END:VEVENT\r\nEND:VCALENDAR\r\n"

static struct zone *berlin;

static int open_zone(void **state)
{
	(void)state;
	struct err err = { 0 };
	OK(zone_new("Europe/Berlin", &berlin, &err), &err);
	return 0;
}

static int close_zone(void **state)
{
	(void)state;
	zone_free(berlin);
	return 0;
}

static struct seen see(const char *text)
{
	struct seen s;
	struct err err = { 0 };
	OK(calendar_seen(text, strlen(text), berlin, &s, &err), &err);
	return s;
}

static int64_t utc(int year, int month, int day, int hour, int minute)
{
	return civil_seconds(&(struct civil){ year, month, day, hour, minute, 0 });
}

/* ---- done ---- */

#define APRIL_20_10_15 utc(2026, 4, 20, 10, 15)

static void each_sign_of_completion_counts_alone(void **state)
{
	(void)state;
	const struct {
		const char *lines;
		bool done;
		int64_t done_s;
	} cases[] = {
		{ "", false, TIME_NEVER },
		/* 3.8.1.11 */
		{ "STATUS:COMPLETED\r\n", true, TIME_NEVER },
		{ "status:completed \r\n", true, TIME_NEVER },
		{ "STATUS:NEEDS-ACTION\r\n", false, TIME_NEVER },
		{ "STATUS:IN-PROCESS\r\nPERCENT-COMPLETE:99\r\n", false, TIME_NEVER },
		/* 3.8.1.8 */
		{ "PERCENT-COMPLETE:100\r\n", true, TIME_NEVER },
		{ "PERCENT-COMPLETE:0\r\n", false, TIME_NEVER },
		/* 3.8.2.1: UTC */
		{ "COMPLETED:20260420T101500Z\r\n", true, APRIL_20_10_15 },
		/* the example of 3.6.2 */
		{ "STATUS:NEEDS-ACTION\r\nCOMPLETED:20260420T101500Z\r\n", true, APRIL_20_10_15 },
		/* not of the standard, but met: floating, zoned, a date, small letters */
		{ "COMPLETED:20260420T121500\r\n", true, APRIL_20_10_15 },
		{ "COMPLETED;TZID=Europe/Berlin:20260420T121500\r\n", true, APRIL_20_10_15 },
		{ "COMPLETED;TZID=\"America/New_York\":20260420T061500\r\n", true, APRIL_20_10_15 },
		{ "COMPLETED;TZID=/example.org/v2/America/New_York:20260420T061500\r\n", true,
			APRIL_20_10_15 },
		{ "COMPLETED;VALUE=DATE:20260420\r\n", true, utc(2026, 4, 20, 10, 0) },
		{ "completed:20260420t101500z\r\n", true, APRIL_20_10_15 },
		/* an unknown zone is taken as floating */
		{ "COMPLETED;TZID=Elsewhere:20260420T121500\r\n", true, APRIL_20_10_15 },
		/* a leap second (3.3.12) */
		{ "COMPLETED:20161231T235960Z\r\n", true, utc(2017, 1, 1, 0, 0) - 1 },
		/* LAST-MODIFIED in its place (3.8.7.3) */
		{ "STATUS:COMPLETED\r\nLAST-MODIFIED:20260420T101500Z\r\n", true, APRIL_20_10_15 },
		{ "COMPLETED:yes\r\nLAST-MODIFIED:20260420T101500Z\r\n", true, APRIL_20_10_15 },
		{ "COMPLETED:20260420T101500Z\r\nLAST-MODIFIED:20260421T101500Z\r\n", true,
			APRIL_20_10_15 },
		{ "COMPLETED:\r\n", false, TIME_NEVER },
		/* dismissed, not done */
		{ "STATUS:CANCELLED\r\nCOMPLETED:20260420T101500Z\r\n", false, TIME_NEVER },
		/* of an alarm, of another component: not ours */
		{ "BEGIN:VALARM\r\nSTATUS:COMPLETED\r\nEND:VALARM\r\n", false, TIME_NEVER },
	};
	for (size_t i = 0; i < COUNT(cases); i++) {
		char text[1024];
		(void)snprintf(text, sizeof text, "%s%s%s", OPEN_TODO, cases[i].lines, END_TODO);
		struct seen s = see(text);
		if (s.done != cases[i].done || s.done_s != cases[i].done_s)
			fail_msg(
				"%s: done %d at %lld", cases[i].lines, s.done, (long long)s.done_s);
	}
	assert_true(see(OPEN_TODO "STATUS:CANCELLED\r\n" END_TODO).cancelled);
	assert_false(see(OPEN_TODO END_TODO).cancelled);
	/* an event has no COMPLETED (3.8.2.1), but it can be cancelled */
	assert_false(see(EVENT "COMPLETED:20260420T101500Z\r\n" END_EVENT).done);
	assert_true(see(EVENT "STATUS:CANCELLED\r\n" END_EVENT).cancelled);
}

/* ---- the day ---- */

static void the_day_is_that_of_the_bench(void **state)
{
	(void)state;
	const int64_t day = civil_days(2026, 4, 20);
	const struct {
		const char *lines;
		bool has;
		int64_t day;
	} cases[] = {
		{ "", false, 0 },
		{ "DUE;VALUE=DATE:20260420\r\n", true, day },
		{ "DUE:20260420\r\n", true, day }, /* VALUE forgotten */
		{ "DUE:20260420T215959Z\r\n", true, day }, /* 23:59:59 in Berlin */
		{ "DUE:20260420T220000Z\r\n", true, day + 1 },
		{ "DUE:20260420T235900\r\n", true, day }, /* floating */
		{ "DUE;TZID=America/New_York:20260420T190000\r\n", true, day + 1 },
		{ "DUE;TZID=Pacific/Auckland:20260421T080000\r\n", true, day },
		{ "DTSTART;VALUE=DATE:20260420\r\nDUE;VALUE=DATE:20260420\r\n", true, day },
		{ "DTSTART;VALUE=DATE:20260415\r\nDUE;VALUE=DATE:20260420\r\n", true, day },
		/* DURATION in place of DUE (3.6.2, 3.3.6) */
		{ "DTSTART;VALUE=DATE:20260419\r\nDURATION:P1D\r\n", true, day },
		{ "DTSTART;VALUE=DATE:20260406\r\nDURATION:P2W\r\n", true, day },
		{ "DTSTART:20260419T220000Z\r\nDURATION:PT23H59M\r\n", true, day },
		{ "DTSTART:20260419T220000Z\r\nDURATION:P1DT0H\r\n", true, day + 1 },
		{ "DTSTART;VALUE=DATE:20260419\r\nDURATION:soon\r\n", false, 0 },
		{ "DTSTART;VALUE=DATE:20260420\r\n", false, 0 }, /* no day by which */
		{ "DUE:20260230T120000Z\r\n", false, 0 },
		{ "DUE:20260420T120000+0200\r\n", false, 0 },
		{ "DUE:2026\r\n", false, 0 },
	};
	for (size_t i = 0; i < COUNT(cases); i++) {
		char text[1024];
		(void)snprintf(text, sizeof text, "%s%s%s", OPEN_TODO, cases[i].lines, END_TODO);
		struct seen s = see(text);
		if (s.has_day != cases[i].has || (s.has_day && s.day != cases[i].day))
			fail_msg("%s: %d, %lld", cases[i].lines, s.has_day, (long long)s.day);
	}
	struct seen e = see(EVENT "DTSTART;VALUE=DATE:20260420\r\nDTEND;VALUE=DATE:20260421\r\n"
				  "DUE;VALUE=DATE:20260501\r\n" END_EVENT);
	assert_int_equal(e.kind, CALENDAR_EVENTS);
	assert_true(e.has_day);
	assert_int_equal(e.day, day);
}

/* Zones that the system does not know, defined inside (3.6.5). The rules of central Europe under another name. */
#define ZONE                                                                                       \
	"BEGIN:VTIMEZONE\r\nTZID:Own Time\r\n"                                                     \
	"BEGIN:STANDARD\r\nDTSTART:19961027T030000\r\nTZOFFSETFROM:+0200\r\nTZOFFSETTO:+0100\r\n"  \
	"RRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU\r\nEND:STANDARD\r\n"                              \
	"BEGIN:DAYLIGHT\r\nDTSTART:19810329T020000\r\nTZOFFSETFROM:+0100\r\nTZOFFSETTO:+0200\r\n"  \
	"RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=-1SU\r\nEND:DAYLIGHT\r\nEND:VTIMEZONE\r\n"

/* Brisbane's without rules, and New York's as dates. */
#define ZONE_FLAT                                                                                  \
	"BEGIN:VTIMEZONE\r\nTZID:Flat\r\nBEGIN:STANDARD\r\nDTSTART:19700101T000000\r\n"            \
	"TZOFFSETFROM:+1000\r\nTZOFFSETTO:+1000\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\n"
#define ZONE_LISTED                                                                                \
	"BEGIN:VTIMEZONE\r\nTZID:Listed\r\n"                                                       \
	"BEGIN:STANDARD\r\nDTSTART:20200101T000000\r\nRDATE:20251101T020000,20261101T020000\r\n"   \
	"TZOFFSETFROM:-0400\r\nTZOFFSETTO:-0500\r\nEND:STANDARD\r\n"                               \
	"BEGIN:DAYLIGHT\r\nDTSTART:20200301T000000\r\nRDATE:20260308T020000\r\n"                   \
	"TZOFFSETFROM:-0500\r\nTZOFFSETTO:-0400\r\nEND:DAYLIGHT\r\nEND:VTIMEZONE\r\n"

/* New York: the second Sunday of March, the first of November, and how it was until 2006. */
#define ZONE_COUNTED                                                                               \
	"BEGIN:VTIMEZONE\r\nTZID:Counted\r\n"                                                      \
	"BEGIN:DAYLIGHT\r\nDTSTART:19870405T020000\r\n"                                            \
	"RRULE:FREQ=YEARLY;BYMONTH=4;BYDAY=1SU;UNTIL=20060402T070000Z\r\n"                         \
	"TZOFFSETFROM:-0500\r\nTZOFFSETTO:-0400\r\nEND:DAYLIGHT\r\n"                               \
	"BEGIN:DAYLIGHT\r\nDTSTART:20070311T020000\r\n"                                            \
	"RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=SU;BYMONTHDAY=8,9,10,11,12,13,14\r\n"                   \
	"TZOFFSETFROM:-0500\r\nTZOFFSETTO:-0400\r\nEND:DAYLIGHT\r\n"                               \
	"BEGIN:STANDARD\r\nDTSTART:20071104T020000\r\n"                                            \
	"RRULE:FREQ=YEARLY;BYMONTH=11;BYDAY=1SU\r\n"                                               \
	"TZOFFSETFROM:-0400\r\nTZOFFSETTO:-0500\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\n"

/* A rule that ended, its end in UTC (3.3.10); days of a month, as Iran's in common years were. */
#define ZONE_ENDED                                                                                 \
	"BEGIN:VTIMEZONE\r\nTZID:Ended\r\nBEGIN:STANDARD\r\nDTSTART:19800928T090000\r\n"           \
	"RRULE:FREQ=YEARLY;BYMONTH=9;BYDAY=-1SU;UNTIL=19950924T000000Z\r\n"                        \
	"TZOFFSETFROM:+0900\r\nTZOFFSETTO:+0800\r\nEND:STANDARD\r\n"                               \
	"BEGIN:DAYLIGHT\r\nDTSTART:19810329T020000\r\nRRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=-1SU\r\n"  \
	"TZOFFSETFROM:+0800\r\nTZOFFSETTO:+0900\r\nEND:DAYLIGHT\r\nEND:VTIMEZONE\r\n"
#define ZONE_DATED                                                                                 \
	"BEGIN:VTIMEZONE\r\nTZID:Dated\r\nBEGIN:DAYLIGHT\r\nDTSTART:20170322T000000\r\n"           \
	"RRULE:FREQ=YEARLY;BYMONTH=3;BYMONTHDAY=22\r\nTZOFFSETFROM:+0330\r\nTZOFFSETTO:+0430\r\n"  \
	"END:DAYLIGHT\r\nBEGIN:STANDARD\r\nDTSTART:20170922T000000\r\nRRULE:FREQ=YEARLY\r\n"       \
	"TZOFFSETFROM:+0430\r\nTZOFFSETTO:+0330\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\n"

static void zones_defined_inside_are_followed(void **state)
{
	(void)state;
	const struct {
		const char *value;
		int64_t want;
	} cases[] = {
		{ "Own Time:20260420T121500", APRIL_20_10_15 },
		{ "Own Time:20260120T111500", utc(2026, 1, 20, 10, 15) },
		{ "Own Time:20260329T015959", utc(2026, 3, 29, 1, 0) - 1 },
		{ "Own Time:20260329T030000", utc(2026, 3, 29, 1, 0) },
		{ "Own Time:20261025T030000", utc(2026, 10, 25, 2, 0) },
		{ "Own Time:20261025T015959", utc(2026, 10, 25, 0, 0) - 1 },
		{ "Flat:20260420T201500", APRIL_20_10_15 },
		{ "Listed:20260420T061500", APRIL_20_10_15 },
		{ "Listed:20261220T051500", utc(2026, 12, 20, 10, 15) },
		{ "Counted:20260308T030000", utc(2026, 3, 8, 7, 0) },
		{ "Counted:20260308T015959", utc(2026, 3, 8, 7, 0) - 1 },
		{ "Counted:20260310T061500", utc(2026, 3, 10, 10, 15) },
		{ "Counted:20261101T020000", utc(2026, 11, 1, 7, 0) },
		{ "Counted:20050402T120000", utc(2005, 4, 2, 16, 0) },
		{ "Ended:19950920T120000", utc(1995, 9, 20, 3, 0) },
		{ "Ended:19950924T090000", utc(1995, 9, 24, 1, 0) },
		{ "Ended:19951020T120000", utc(1995, 10, 20, 4, 0) },
		{ "Ended:19961020T120000", utc(1996, 10, 20, 3, 0) }, /* no autumn came */
		{ "Dated:20190321T235959", utc(2019, 3, 21, 20, 30) - 1 },
		{ "Dated:20190322T010000", utc(2019, 3, 21, 20, 30) },
		{ "Dated:20190922T000000", utc(2019, 9, 21, 20, 30) },
	};
	for (size_t i = 0; i < COUNT(cases); i++) {
		char text[8192];
		(void)snprintf(text, sizeof text,
			HEAD ZONE ZONE_FLAT ZONE_LISTED ZONE_COUNTED ZONE_ENDED ZONE_DATED
			"BEGIN:VTODO\r\nUID:u-1\r\n"
			"COMPLETED;TZID=%s\r\n" END_TODO,
			cases[i].value);
		struct seen s = see(text);
		if (s.done_s != cases[i].want)
			fail_msg("%s: off by %lld s", cases[i].value,
				(long long)(s.done_s - cases[i].want));
	}
}

/* What an entry defines holds in it (3.6.5), but for the zone of the bench, whose changes the system knows better. */
static void a_definition_goes_before_the_systems_zone(void **state)
{
	(void)state;
	static const char *const names[] = { "Asia/Tokyo", "/example.org/Europe/Berlin" };
	const int64_t want[] = { APRIL_20_10_15, APRIL_20_10_15 };
	const char *const values[] = { "20260420T101500", "20260420T121500" };
	for (size_t i = 0; i < 2; i++) {
		char text[1024];
		(void)snprintf(text, sizeof text,
			HEAD "BEGIN:VTIMEZONE\r\nTZID:%s\r\nBEGIN:STANDARD\r\n"
			     "DTSTART:19700101T000000\r\nTZOFFSETFROM:+0000\r\n"
			     "TZOFFSETTO:+0000\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\n"
			     "BEGIN:VTODO\r\nUID:u-1\r\nCOMPLETED;TZID=%s:%s\r\n" END_TODO,
			names[i], names[i], values[i]);
		assert_int_equal(see(text).done_s, want[i]);
	}
}

/* ---- the text ---- */

static void the_description_is_plain_text(void **state)
{
	(void)state;
	/* 3.3.11; folds part characters where old programs made them (3.1) */
	struct seen s =
		see(OPEN_TODO "DESCRIPTION;ALTREP=\"cid:a:b;c\";LANGUAGE=de:A\\, b\\; c\\\\d\\nne"
			      "\r\n xt \xc3\r\n \xa9\\Nlast\r\nSEQUENCE: 7\r\n" END_TODO);
	assert_string_equal(s.description, "A, b; c\\d\nnext \xc3\xa9\nlast");
	assert_int_equal(s.sequence, 7);
	assert_string_equal(see(OPEN_TODO END_TODO).description, "");
	assert_string_equal(see(OPEN_TODO "BEGIN:VALARM\r\nACTION:DISPLAY\r\nDESCRIPTION:bell\r\n"
					  "END:VALARM\r\n" END_TODO)
				    .description,
		"");
	assert_int_equal(see(OPEN_TODO "SEQUENCE:-1\r\n" END_TODO).sequence, 0);
	assert_int_equal(see(OPEN_TODO "SEQUENCE:99999999999\r\n" END_TODO).sequence, 0);
}

static void a_long_description_ends_with_a_character(void **state)
{
	(void)state;
	size_t n = 3 * SEEN_DESCRIPTION;
	char *text = mem_new(n, 1);
	size_t used = (size_t)snprintf(text, n, "%s", OPEN_TODO "DESCRIPTION:a");
	for (int i = 0; i < SEEN_DESCRIPTION; i++)
		used += (size_t)snprintf(text + used, n - used, "\xc3\xa9");
	(void)snprintf(text + used, n - used, "%s", "\r\n" END_TODO);
	struct seen s = see(text);
	mem_free(text);
	assert_int_equal(strlen(s.description), SEEN_DESCRIPTION - 1);
	assert_int_equal(strncmp(s.description + SEEN_DESCRIPTION - 3, "\xc3\xa9", 3), 0);
}

/* The same text with LF alone, without its last end of line, with a byte order mark, with empty lines. */
static void line_ends_are_taken_as_they_come(void **state)
{
	(void)state;
	static const char text[] =
		OPEN_TODO "DUE;VALUE=DATE:20260420\r\nDESCRIPTION:long \r\n line\r\n"
			  "COMPLETED:20260420T101500Z\r\n" END_TODO;
	char lf[1024] = "\xef\xbb\xbf\n\n";
	size_t n = 5;
	for (const char *p = text; *p; p++)
		if (*p != '\r')
			lf[n++] = *p;
	lf[n - 1] = '\0';
	struct seen a = see(text), b = see(lf);
	assert_string_equal(a.description, "long line");
	assert_string_equal(b.description, "long line");
	assert_int_equal(a.done_s, b.done_s);
	assert_int_equal(a.day, b.day);
	assert_string_equal(b.uid, "u-1");
}

/* One resource holds a to-do and its overrides (RFC 4791 4.1); the one without RECURRENCE-ID counts. */
static void overrides_and_others_are_passed_over(void **state)
{
	(void)state;
	struct seen s = see(HEAD ZONE
		"BEGIN:VTODO\r\nUID:u-1\r\nRECURRENCE-ID;VALUE=DATE:20260420\r\n"
		"STATUS:COMPLETED\r\nEND:VTODO\r\n"
		"BEGIN:VJOURNAL\r\nUID:j\r\nEND:VJOURNAL\r\n"
		"BEGIN:X-THING\r\nBEGIN:VTODO\r\nUID:inner\r\nEND:VTODO\r\nEND:X-THING\r\n"
		"begin:vtodo\r\nuid:u-1\r\nstatus:in-process\r\nsummary:x\r\nend:vtodo\r\n"
		"BEGIN:VTODO\r\nUID:u-2\r\nSTATUS:COMPLETED\r\nEND:VTODO\r\nEND:VCALENDAR\r\n");
	assert_string_equal(s.uid, "u-1");
	assert_false(s.done);
}

static void what_is_no_entry_is_refused(void **state)
{
	(void)state;
	static const char *const bad[] = { "", "<html>", HEAD "END:VCALENDAR\r\n",
		HEAD "BEGIN:VTODO\r\nSUMMARY:x\r\n" END_TODO,
		HEAD "BEGIN:VTODO\r\nUID:\r\n" END_TODO, HEAD "BEGIN:VTODO\r\nUID: \t\r\n" END_TODO,
		HEAD "BEGIN:VTODO\r\nUID:u\r\nRECURRENCE-ID:20260420T100000Z\r\n" END_TODO,
		HEAD "BEGIN:VTODO\r\nUID:u\r\n", HEAD "BEGIN:VTODO\r\nUID:u\r\nEND:VEVENT\r\n",
		"END:VTODO\r\n", "BEGIN:VTODO\r\nUID:u\r\nEND:VTODO\r\n" };
	for (size_t i = 0; i < COUNT(bad); i++) {
		struct seen s = { .sequence = 99 };
		struct err err = { 0 };
		assert_int_equal(calendar_seen(bad[i], strlen(bad[i]), berlin, &s, &err), RC_INPUT);
		assert_true(err.text[0]);
		assert_int_equal(s.sequence, 99);
	}
}

static void a_uid_is_taken_whole(void **state)
{
	(void)state;
	assert_string_equal(see(HEAD "BEGIN:VTODO\r\nUID: a b \r\n" END_TODO).uid, "a b");
}

/* Nothing is read behind its n octets. */
static void a_text_need_not_end_with_a_nul(void **state)
{
	(void)state;
	static const char text[] = OPEN_TODO "DESCRIPTION:x\r\n" END_TODO "\r\n\r\n";
	struct seen s;
	struct err err = { 0 };
	for (size_t n = 1; n < sizeof text; n++) {
		char *exact = malloc(n);
		memcpy(exact, text, n);
		enum rc rc = calendar_seen(exact, n, berlin, &s, &err);
		assert_int_equal(rc, n >= sizeof text - 7 ? RC_OK : RC_INPUT);
		free(exact);
	}
}

static void caps_hold(void **state)
{
	(void)state;
	struct seen s;
	char text[1024];
	/* the longest UID is 254 octets (RFC 7986 5.3) */
	for (int n = 254; n <= 255; n++) {
		(void)snprintf(
			text, sizeof text, HEAD "BEGIN:VTODO\r\nUID:%0*d\r\n" END_TODO, n, 1);
		assert_int_equal(calendar_seen(text, strlen(text), berlin, &s, NULL),
			n == 254 ? RC_OK : RC_INPUT);
	}
	assert_int_equal(calendar_seen("A\0B", 3, berlin, &s, NULL), RC_INPUT);
	size_t n = SEEN_TEXT_MAX + 1;
	char *big = mem_new(n + 1, 1);
	memset(big, 'x', n);
	assert_int_equal(calendar_seen(big, n, berlin, &s, NULL), RC_INPUT);
	memset(big, '\n', 30000);
	assert_int_equal(calendar_seen(big, 30000, berlin, &s, NULL), RC_INPUT);
	mem_free(big);
	char deep[1024] = "";
	for (int i = 0; i < 9; i++)
		(void)snprintf(deep + strlen(deep), sizeof deep - strlen(deep), "BEGIN:X\r\n");
	assert_int_equal(calendar_seen(deep, strlen(deep), berlin, &s, NULL), RC_INPUT);
}

/* ---- what people wrote ---- */

static void gather(void *arg, const char *text)
{
	char *all = arg;
	(void)snprintf(all + strlen(all), 512 - strlen(all), "[%s]", text);
}

static void their_lines_are_told_from_ours(void **state)
{
	(void)state;
	char all[512] = "";
	calendar_written("Snug the nuts.\nTurn 1/6.\n\nNoted: relief 0.010 in",
		"  relief .010 \n\nSnug  the nuts.\n\t\nTurn 1/6. \nNoted: relief 0.010 in\n"
		"Turn 1/8.\nbring\xc3\xa9 key",
		gather, all);
	assert_string_equal(all, "[relief .010][Turn 1/8.][bring\xc3\xa9 key]");
	all[0] = '\0';
	calendar_written("", "", gather, all);
	calendar_written("a", "a\n", gather, all);
	assert_string_equal(all, "");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(each_sign_of_completion_counts_alone),
		cmocka_unit_test(the_day_is_that_of_the_bench),
		cmocka_unit_test(zones_defined_inside_are_followed),
		cmocka_unit_test(a_definition_goes_before_the_systems_zone),
		cmocka_unit_test(the_description_is_plain_text),
		cmocka_unit_test(a_long_description_ends_with_a_character),
		cmocka_unit_test(line_ends_are_taken_as_they_come),
		cmocka_unit_test(overrides_and_others_are_passed_over),
		cmocka_unit_test(what_is_no_entry_is_refused),
		cmocka_unit_test(a_uid_is_taken_whole),
		cmocka_unit_test(a_text_need_not_end_with_a_nul),
		cmocka_unit_test(caps_hold),
		cmocka_unit_test(their_lines_are_told_from_ours),
	};
	return cmocka_run_group_tests(tests, open_zone, close_zone);
}
