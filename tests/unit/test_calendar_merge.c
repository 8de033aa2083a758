#include "tests/unit/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/calendar_seen.h"

/* Three texts come to one. What a calendar may hold: RFC 5545, 9074; who wins in what: calendar_seen.h. Every result has
 * passed the linter for texts that others have been at. */

#define HEAD "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//seasond//seasond//EN\r\n"
#define END "END:VTODO\r\nEND:VCALENDAR\r\n"

/* Our entry, from its parts. */
struct ours {
	int sequence;
	const char *stamp, *due, *summary, *description, *state, *alarm;
};
static const struct ours first = { 0, "20260401T080000Z", "DUE;VALUE=DATE:20260420", "Snug nuts",
	"Slack.\\nTurn 1/6.", "STATUS:NEEDS-ACTION\r\n", "20260420T060000Z" };

static char *print(const struct ours *o)
{
	static char buffers[8][2048];
	static size_t at;
	char *text = buffers[at++ % COUNT(buffers)];
	size_t n = (size_t)snprintf(text, 2048,
		HEAD "BEGIN:VTODO\r\nUID:u-1\r\nDTSTAMP:%s\r\nCREATED:20260401T080000Z\r\n"
		     "LAST-MODIFIED:%s\r\nSEQUENCE:%d\r\n%s\r\n%sSUMMARY:%s\r\nDESCRIPTION:%s\r\n",
		o->stamp, o->stamp, o->sequence, o->due, o->state, o->summary, o->description);
	if (o->alarm)
		n += (size_t)snprintf(text + n, 2048 - n,
			"BEGIN:VALARM\r\nACTION:DISPLAY\r\nTRIGGER;VALUE=DATE-TIME:%s\r\n"
			"DESCRIPTION:%s\r\nEND:VALARM\r\n",
			o->alarm, o->summary);
	(void)snprintf(text + n, 2048 - n, END);
	return text;
}

/* text with `what` replaced by `with`, once. */
static char *with(const char *text, const char *what, const char *with_what)
{
	static char buffers[16][8192];
	static size_t next;
	char *out = buffers[next++ % COUNT(buffers)];
	const char *p = strstr(text, what);
	if (!p)
		fail_msg("\"%s\" is not in\n%s", what, text);
	(void)snprintf(out, 8192, "%.*s%s%s", (int)(p - text), text, with_what, p + strlen(what));
	return out;
}

static bool changed;

/* The merged text, in a buffer of the test; theirs when nothing changed. Merging once more changes nothing. */
static const char *merge(const char *sent, const char *theirs, const char *ours, bool day_ours)
{
	static char buffers[4][16384];
	static size_t next;
	char *out = NULL, *again = NULL;
	bool more = true;
	struct err err = { 0 };
	OK(calendar_merge(sent, theirs, ours, day_ours, &out, &changed, &err), &err);
	assert_int_equal(changed, out != NULL);
	char *text = buffers[next++ % COUNT(buffers)];
	(void)snprintf(text, sizeof buffers[0], "%s", out ? out : theirs);
	OK(calendar_merge(sent, text, ours, day_ours, &again, &more, &err), &err);
	if (more)
		fail_msg("changes once more:\n%s\nto\n%s", text, again);
	OK(calendar_merge(ours, text, ours, day_ours, &again, &more, &err), &err);
	if (more)
		fail_msg("changes when sent:\n%s\nto\n%s", text, again);
	mem_free(out);
	return text;
}

static void has(const char *text, const char *line)
{
	if (!strstr(text, line))
		fail_msg("\"%s\" is missing in\n%s", line, text);
}

static void has_not(const char *text, const char *line)
{
	if (strstr(text, line))
		fail_msg("\"%s\" is in\n%s", line, text);
}

static int count(const char *text, const char *what)
{
	int n = 0;
	for (const char *p = text; (p = strstr(p, what)); p++)
		n++;
	return n;
}

static struct ours news(void)
{
	struct ours o = first;
	o.sequence = 1;
	o.stamp = "20260410T080000Z";
	o.summary = "Snug nuts soon";
	o.description = "A gap.\\nTurn 1/4.";
	return o;
}

static int by_text(const void *a, const void *b)
{
	return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* Equal but for the order of lines. */
static void same_lines(const char *a, const char *b)
{
	char copies[2][4096];
	char *lines[2][128];
	size_t n[2] = { 0, 0 };
	const char *texts[2] = { a, b };
	for (size_t k = 0; k < 2; k++) {
		(void)snprintf(copies[k], sizeof copies[k], "%s", texts[k]);
		char *save = NULL;
		for (char *p = strtok_r(copies[k], "\n", &save); p; p = strtok_r(NULL, "\n", &save))
			lines[k][n[k]++] = p;
		qsort(lines[k], n[k], sizeof lines[k][0], by_text);
	}
	assert_int_equal(n[0], n[1]);
	for (size_t i = 0; i < n[0]; i++)
		assert_string_equal(lines[0][i], lines[1][i]);
}

static void what_nobody_touched_becomes_ours(void **state)
{
	(void)state;
	struct ours o = news();
	const char *sent = print(&first);
	assert_string_equal(merge(sent, sent, sent, false), sent);
	assert_false(changed);
	same_lines(merge(sent, sent, print(&o), false), print(&o));
	o.sequence = 0; /* above theirs even when we forgot */
	has(merge(sent, sent, print(&o), false), "\r\nSEQUENCE:1\r\n");
	o = news();
	o.state = "STATUS:COMPLETED\r\nCOMPLETED:20260410T080000Z\r\nPERCENT-COMPLETE:100\r\n";
	o.alarm = NULL; /* taken away, properties gone and come */
	same_lines(merge(sent, sent, print(&o), false), print(&o));
	same_lines(merge(print(&o), print(&o), sent, false),
		with(sent, "SEQUENCE:0", "SEQUENCE:2")); /* and back */
}

static void all_that_is_theirs_stays_octet_for_octet(void **state)
{
	(void)state;
	static const char zone[] =
		"BEGIN:VTIMEZONE\r\nTZID:Own Time\r\nX-LIC-LOCATION:Own/Time\r\nBEGIN:STANDARD\r\n"
		"DTSTART:19700101T000000\r\nTZOFFSETFROM:+0000\r\nTZOFFSETTO:+0000\r\n"
		"END:STANDARD\r\nEND:VTIMEZONE\r\n";
	static const char mine[] =
		"X-THEIR-SORT-ORDER:123\r\n"
		"X-THEIR-LASTACK:20260402T080000Z\r\n"
		"x-small;x-par=\"a:b;c\":Value with  blanks \r\n"
		"CATEGORIES:School,Own\r\n"
		"ATTACH;FMTTYPE=text/plain;FILENAME=a.txt:https://example.org/a/very/long/a"
		"ddress/\r\n\tfolded/with/a/tab\r\n"
		"RELATED-TO;RELTYPE=PARENT:another\r\n"
		"COMMENT:folded inside a character \xc3\r\n \xa9 here\r\n"
		"X-LONG:"
		"01234567890123456789012345678901234567890123456789012345678901234567890123456"
		"789\r\n";
	static const char theirs_only[] =
		"BEGIN:VTODO\r\nUID:u-1\r\nRECURRENCE-ID;VALUE=DATE:20260420\r\n"
		"DTSTAMP:20260401T080000Z\r\nSUMMARY:Snug nuts\r\nEND:VTODO\r\n";
	const char *sent = print(&first);
	struct ours o = news();
	char *theirs = with(sent, "BEGIN:VALARM", "@BEGIN:VALARM");
	theirs = with(theirs, "@", mine);
	theirs = with(theirs, "BEGIN:VTODO", "@BEGIN:VTODO");
	theirs = with(theirs, "@", zone);
	theirs = with(theirs, "END:VCALENDAR", "@END:VCALENDAR");
	theirs = with(theirs, "@", theirs_only);
	theirs = with(theirs, "-//seasond//seasond//EN", "-//example//person//EN");
	const char *out = merge(sent, theirs, print(&o), false);
	has(out, mine);
	has(out, zone);
	has(out, theirs_only); /* a changed single instance, with our old words in it */
	has(out, "PRODID:-//example//person//EN\r\n");
	has(out, "\r\nSUMMARY:Snug nuts soon\r\n");
	assert_int_equal(count(out, "SUMMARY:"), 2);
}

/* XML makes CRLF into LF; programs forget the last one. */
static void line_ends_become_those_of_the_standard(void **state)
{
	(void)state;
	const char *sent = print(&first);
	struct ours o = news();
	char lf[4096];
	size_t n = 0;
	for (const char *p = with(sent, "SUMMARY:Snug", "X-A:b\r\n\tc\r\n\r\nSUMMARY:Snug"); *p;
		p++)
		if (*p != '\r')
			lf[n++] = *p;
	lf[n - 1] = '\0';
	const char *out = merge(sent, lf, print(&o), false);
	has(out, "\r\nX-A:b\r\n\tc\r\n"); /* RFC 5545 3.1 */
	assert_int_equal(count(out, "\n"), count(out, "\r\n"));
	has_not(out, "\r\n\r\n");
}

static void a_person_keeps_what_they_changed(void **state)
{
	(void)state;
	const char *sent = print(&first);
	struct ours o = news();
	o.due = "DUE;VALUE=DATE:20260410";
	char *theirs = with(sent, "SUMMARY:Snug nuts", "SUMMARY;LANGUAGE=en:Do the nuts");
	theirs = with(theirs, "DUE;VALUE=DATE:20260420", "DUE;VALUE=DATE:20260501");
	theirs = with(theirs, "STATUS:NEEDS-ACTION\r\n",
		"STATUS:IN-PROCESS\r\nPERCENT-COMPLETE:50\r\nPRIORITY:1\r\n");
	const char *out = merge(sent, theirs, print(&o), false);
	has(out, "\r\nSUMMARY;LANGUAGE=en:Do the nuts\r\n");
	has(out, "\r\nDUE;VALUE=DATE:20260501\r\n");
	has(out, "\r\nSTATUS:IN-PROCESS\r\nPERCENT-COMPLETE:50\r\nPRIORITY:1\r\n");
	has(out, "A gap.\\nTurn 1/4."); /* our news all the same */
	/* the day is ours when its reason changed */
	out = merge(sent, theirs, print(&o), true);
	has(out, "\r\nDUE;VALUE=DATE:20260410\r\n");
	has_not(out, "20260501");
	has(out, "Do the nuts");
	/* and when it did not change on our side either */
	out = merge(sent, theirs, sent, true);
	has(out, "\r\nDUE;VALUE=DATE:20260420\r\n");
	/* a deleted property is a change, too */
	out = merge(sent, with(sent, "DUE;VALUE=DATE:20260420\r\n", ""), print(&o), false);
	has_not(out, "DUE");
}

/* What is done is done, whatever they wrote; of a text where it says so already nothing is touched. */
static void done_is_said(void **state)
{
	(void)state;
	const char *sent = print(&first);
	struct ours o = news();
	o.state = "STATUS:COMPLETED\r\nCOMPLETED:20260410T080000Z\r\nPERCENT-COMPLETE:100\r\n";
	char *theirs = with(sent, "NEEDS-ACTION", "IN-PROCESS\r\nPERCENT-COMPLETE:50");
	const char *out = merge(sent, theirs, print(&o), false);
	has(out, "\r\nSTATUS:COMPLETED\r\nCOMPLETED:20260410T080000Z\r\nPERCENT-COMPLETE:100\r\n");
	assert_int_equal(count(out, "PERCENT"), 1);
	/* opened again by hand although done was sent */
	out = merge(print(&o), theirs, print(&o), false);
	has(out, "\r\nSTATUS:COMPLETED\r\n");
	/* withdrawn: told to whoever has it open, not to whoever has done it */
	o.state = "STATUS:CANCELLED\r\n";
	has(merge(sent, theirs, print(&o), false), "\r\nSTATUS:CANCELLED\r\n");
	theirs = with(sent, "STATUS:NEEDS-ACTION", "COMPLETED:20260409T080000Z");
	out = merge(sent, theirs, print(&o), false);
	has(out, "COMPLETED:20260409T080000Z");
	has_not(out, "CANCELLED");
}

/* Programs add what says nothing and write the same in other words: no change of theirs. */
static void other_words_for_the_same_are_no_change(void **state)
{
	(void)state;
	const char *sent = print(&first);
	struct ours o = news();
	o.due = "DUE;VALUE=DATE:20260410";
	o.state = "STATUS:IN-PROCESS\r\n";
	char *theirs = with(sent, "DUE;VALUE=DATE:20260420",
		"DTSTART;VALUE=DATE:20260420\r\ndue;value=date:20260420");
	theirs = with(theirs, "STATUS:NEEDS-ACTION", "PERCENT-COMPLETE:0\r\nPRIORITY:0");
	theirs = with(theirs, "SUMMARY:Snug nuts", "SUMMARY;LANGUAGE=en:Snug\r\n  nuts ");
	const char *out = merge(sent, theirs, print(&o), false);
	has(out, "\r\nDUE;VALUE=DATE:20260410\r\n");
	has_not(out, "20260420\r\n");
	has(out, "\r\nSUMMARY:Snug nuts soon\r\n");
	has(out, "\r\nSTATUS:IN-PROCESS\r\n");
	has(out, "\r\nPRIORITY:0\r\n");
}

static void their_lines_of_the_description_stay_below(void **state)
{
	(void)state;
	const char *sent = print(&first);
	struct ours o = news();
	o.description = "A gap.\\nTurn 1/4.\\nNoted: relief 0.010 in";
	char *theirs = with(sent, "DESCRIPTION:Slack.\\nTurn 1/6.",
		"DESCRIPTION:relief .010\\nSlack.\\nTurn 1/6. \\n\\nbring the key\\, please\\n\\n"
		"twice\\n\\n\\n");
	const char *out = merge(sent, theirs, print(&o), false);
	/* folded after 75 octets (RFC 5545 3.1) */
	has(out, "DESCRIPTION:A gap.\\nTurn 1/4.\\nNoted: relief 0.010 in\\n\\nrelief .010\\n\\nbri"
		 "\r\n ng the key\\, please\\n\\ntwice\r\n");
	/* ours unchanged: not a letter of theirs is moved */
	o = first;
	o.summary = "Other";
	out = merge(sent, theirs, print(&o), false);
	has(out,
		"relief .010\\nSlack.\\nTurn 1/6. \\n\\nbring the key\\, please\\n\\ntwice\\n\\n\\n"
		"\r\n");
	/* none of theirs, and none of ours any more */
	o = news();
	out = merge(sent, with(sent, "DESCRIPTION:Slack.\\nTurn 1/6.\r\n", ""), print(&o), false);
	has(out, "\r\nDESCRIPTION:A gap.\\nTurn 1/4.\r\n");
	char *bare = with(print(&o), "DESCRIPTION:A gap.\\nTurn 1/4.\r\n", "");
	has_not(merge(sent, sent, bare, false), "Slack");
	has(merge(sent, theirs, bare, false), "DESCRIPTION:relief .010\\n\\nbring");
}

static void alarms_are_theirs_once_they_changed_any(void **state)
{
	(void)state;
	const char *sent = print(&first);
	struct ours o = news();
	o.alarm = "20260410T060000Z";
	/* seen and named by their program (RFC 9074 4, 6.1): still ours to move */
	char *theirs = with(sent, "ACTION:DISPLAY",
		"UID:alarm-1\r\nACKNOWLEDGED:20260420T060100Z\r\nX-WR-ALARMUID:alarm-1\r\n"
		"ACTION:DISPLAY");
	const char *out = merge(sent, theirs, print(&o), false);
	has(out, "TRIGGER;VALUE=DATE-TIME:20260410T060000Z\r\n");
	has_not(out, "20260420T060000Z");
	assert_int_equal(count(out, "BEGIN:VALARM"), 1);
	/* as it is while ours does not change */
	o.alarm = first.alarm;
	o.summary = first.summary;
	has(merge(sent, theirs, print(&o), false), "ACKNOWLEDGED:20260420T060100Z\r\n");
	/* another time, a second one, none at all */
	o.alarm = "20260410T060000Z";
	const char *const changes[][2] = {
		{ "TRIGGER;VALUE=DATE-TIME:20260420T060000Z", "TRIGGER;RELATED=END:-PT15M" },
		{ "BEGIN:VALARM", "BEGIN:VALARM\r\nACTION:AUDIO\r\nTRIGGER:-PT5M\r\nEND:VALARM\r\n"
				  "BEGIN:VALARM" },
	};
	for (size_t i = 0; i < COUNT(changes); i++) {
		theirs = with(sent, changes[i][0], changes[i][1]);
		out = merge(sent, theirs, print(&o), false);
		has(out, strstr(theirs, "BEGIN:VALARM"));
		has_not(out, "20260410T060000Z");
	}
	struct ours silent = first;
	silent.alarm = NULL;
	has_not(merge(sent, print(&silent), print(&o), false), "VALARM");
	/* one where there was none comes behind all properties (3.6.2) */
	out = merge(print(&silent), with(print(&silent), "END:VTODO", "X-LAST:1\r\nEND:VTODO"),
		print(&o), false);
	has(out, "X-LAST:1\r\nBEGIN:VALARM\r\n");
	has(out, "END:VALARM\r\nEND:VTODO\r\n");
}

/* Properties of an alarm are none of the entry. */
static void components_inside_are_not_the_entry(void **state)
{
	(void)state;
	const char *sent = print(&first);
	struct ours o = news();
	char *theirs = with(sent, "ACTION:DISPLAY", "SUMMARY:Snug nuts\r\nACTION:DISPLAY");
	theirs = with(theirs, "UID:u-1\r\n",
		"BEGIN:X-INNER\r\nSUMMARY:Snug nuts\r\nSEQUENCE:77\r\nEND:X-INNER\r\nUID:u-1\r\n");
	const char *out = merge(sent, theirs, print(&o), false);
	has(out, "BEGIN:X-INNER\r\nSUMMARY:Snug nuts\r\nSEQUENCE:77\r\nEND:X-INNER\r\n");
	has(out, "\r\nSEQUENCE:1\r\n");
	has(out, "BEGIN:VALARM\r\nSUMMARY:Snug nuts\r\n");
}

static void sequence_and_times_say_what_is_newest(void **state)
{
	(void)state;
	const char *sent = print(&first);
	struct ours o = news();
	char *theirs = with(sent, "SEQUENCE:0", "SEQUENCE:41");
	theirs = with(theirs, "LAST-MODIFIED:20260401T080000Z", "LAST-MODIFIED:20260405T120000Z");
	const char *out = merge(sent, theirs, print(&o), false);
	has(out, "\r\nSEQUENCE:42\r\n"); /* RFC 5546 2.1.5 */
	has(out, "\r\nDTSTAMP:20260410T080000Z\r\n");
	has(out, "\r\nLAST-MODIFIED:20260410T080000Z\r\n");
	has(out, "\r\nCREATED:20260401T080000Z\r\n");
	assert_int_equal(count(out, "DTSTAMP"), 1);
	/* where they had dropped both, and a method that has no place here (RFC 4791 4.1) */
	theirs = with(sent, "SEQUENCE:0\r\n", "");
	theirs = with(theirs, "LAST-MODIFIED:20260401T080000Z\r\n", "");
	theirs = with(theirs, "VERSION:2.0\r\n", "VERSION:2.0\r\nMETHOD:PUBLISH\r\n");
	o.sequence = 9;
	out = merge(sent, theirs, print(&o), false);
	has(out, "\r\nSEQUENCE:9\r\n");
	has(out, "\r\nLAST-MODIFIED:20260410T080000Z\r\n");
	has_not(out, "METHOD");
}

/* ---- events ---- */

#define WEEKLY                                                                                     \
	HEAD "BEGIN:VTIMEZONE\r\nTZID:Europe/Berlin\r\nBEGIN:STANDARD\r\n"                         \
	     "DTSTART:19961027T030000\r\nTZOFFSETFROM:+0200\r\nTZOFFSETTO:+0100\r\n"               \
	     "RRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\n"        \
	     "BEGIN:VEVENT\r\nUID:u-2\r\nDTSTAMP:20260402T080000Z\r\nSEQUENCE:3\r\n"               \
	     "DTSTART;TZID=Europe/Berlin:20260406T090000\r\n"                                      \
	     "DTEND;TZID=Europe/Berlin:20260406T093000\r\nRRULE:FREQ=WEEKLY;BYDAY=MO\r\n"          \
	     "SUMMARY:Round\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
#define PLAIN                                                                                      \
	HEAD "BEGIN:VEVENT\r\nUID:u-2\r\nDTSTAMP:20260401T080000Z\r\nSEQUENCE:2\r\n"               \
	     "DTSTART;VALUE=DATE:20260406\r\nDTEND;VALUE=DATE:20260407\r\nSUMMARY:Round\r\n"       \
	     "END:VEVENT\r\nEND:VCALENDAR\r\n"

static void a_zone_that_our_times_need_comes_along(void **state)
{
	(void)state;
	const char *out =
		merge(PLAIN, with(PLAIN, "SUMMARY:Round", "SUMMARY:Round\r\nX-A:b"), WEEKLY, false);
	has(out, "TZID:Europe/Berlin\r\n");
	has(out, "X-A:b\r\n");
	assert_int_equal(count(out, "BEGIN:VTIMEZONE"), 1);
	assert_true(strstr(out, "BEGIN:VTIMEZONE") < strstr(out, "BEGIN:VEVENT"));
	/* one that is there already is enough */
	out = merge(WEEKLY, WEEKLY, with(WEEKLY, "T090000", "T080000"), false);
	assert_int_equal(count(out, "BEGIN:VTIMEZONE"), 1);
	has(out, "T080000");
	/* a person's other weekday or length stays whole */
	char *theirs = with(WEEKLY, "RRULE:FREQ=WEEKLY;BYDAY=MO", "RRULE:FREQ=WEEKLY;BYDAY=MO,TH");
	out = merge(WEEKLY, theirs, with(WEEKLY, "T090000", "T080000"), false);
	assert_false(changed);
	theirs = with(PLAIN, "DTEND;VALUE=DATE:20260407", "DURATION:P1D");
	out = merge(PLAIN, theirs, WEEKLY, true);
	has_not(out, "DURATION"); /* not beside DTEND (RFC 5545 3.6.1) */
}

static void what_cannot_be_merged_is_refused(void **state)
{
	(void)state;
	const char *sent = print(&first);
	struct ours o = news();
	const char *ours = print(&o);
	char *bad[] = {
		with(sent, "UID:u-1", "UID:u-2"),
		with(sent, "END:VTODO\r\n", ""),
		with(with(sent, "BEGIN:VTODO", "BEGIN:VEVENT"), "END:VTODO", "END:VEVENT"),
		with(sent, "SUMMARY:Snug", "no content line\r\nSUMMARY:Snug"),
		with(sent, "SUMMARY:Snug", "\r\n X-A:b\r\nSUMMARY:Snug"),
		with(sent, "SUMMARY:Snug", "X-A:\x01\r\nSUMMARY:Snug"),
		with(sent, "SUMMARY:Snug", "X-A:\xff\r\nSUMMARY:Snug"),
		with(sent, "VERSION:2.0\r\n", ""),
	};
	for (size_t i = 0; i < COUNT(bad); i++) {
		char word[] = "untouched", *out = word;
		struct err err = { 0 };
		changed = true;
		assert_int_equal(
			calendar_merge(sent, bad[i], ours, false, &out, &changed, &err), RC_INPUT);
		assert_true(err.text[0]);
		assert_string_equal(out, "untouched");
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(what_nobody_touched_becomes_ours),
		cmocka_unit_test(all_that_is_theirs_stays_octet_for_octet),
		cmocka_unit_test(line_ends_become_those_of_the_standard),
		cmocka_unit_test(a_person_keeps_what_they_changed),
		cmocka_unit_test(done_is_said),
		cmocka_unit_test(other_words_for_the_same_are_no_change),
		cmocka_unit_test(their_lines_of_the_description_stay_below),
		cmocka_unit_test(alarms_are_theirs_once_they_changed_any),
		cmocka_unit_test(components_inside_are_not_the_entry),
		cmocka_unit_test(sequence_and_times_say_what_is_newest),
		cmocka_unit_test(a_zone_that_our_times_need_comes_along),
		cmocka_unit_test(what_cannot_be_merged_is_refused),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
