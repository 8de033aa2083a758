/* Entries as servers hand them out: read, and our news laid into them. The first byte picks the news. */
#include <string.h>

#include "core/mem.h"
#include "daemon/calendar_raw.h"
#include "daemon/calendar_seen.h"
#include "daemon/utf8.h"
#include "tests/fuzz/fuzz.h"

#define ENTRY(number, stamp, lines, words)                                                         \
	"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//seasond//seasond//EN\r\nBEGIN:VTODO\r\n"      \
	"UID:u-1\r\nDTSTAMP:" stamp "\r\nLAST-MODIFIED:" stamp "\r\nSEQUENCE:" number "\r\n" lines \
	"SUMMARY:Snug " words "\r\nDESCRIPTION:Turn\\, " words "\r\nCATEGORIES:wood\r\n"           \
	"BEGIN:VALARM\r\nACTION:DISPLAY\r\nTRIGGER;VALUE=DATE-TIME:" stamp "\r\nDESCRIPTION:"      \
	"" words "\r\nEND:VALARM\r\nEND:VTODO\r\nEND:VCALENDAR\r\n"

#define EVENT(number, stamp, zone, lines)                                                          \
	"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//seasond//seasond//EN\r\n" zone                \
	"BEGIN:VEVENT\r\nUID:u-1\r\nDTSTAMP:" stamp "\r\nSEQUENCE:" number "\r\n" lines            \
	"SUMMARY:Round\r\nTRANSP:TRANSPARENT\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"

#define AS_SENT                                                                                    \
	ENTRY("0", "20260401T080000Z", "DUE;VALUE=DATE:20260420\r\nSTATUS:NEEDS-ACTION\r\n", "nuts")

static const struct news {
	const char *sent, *ours;
	bool done;
} news[] = {
	{ AS_SENT,
		ENTRY("1", "20260410T080000Z", "DUE;VALUE=DATE:20260415\r\nSTATUS:NEEDS-ACTION\r\n",
			"1/4"),
		false },
	{ AS_SENT,
		ENTRY("1", "20260410T080000Z",
			"DUE;VALUE=DATE:20260420\r\nSTATUS:COMPLETED\r\n"
			"COMPLETED:20260410T080000Z\r\nPERCENT-COMPLETE:100\r\n",
			"nuts"),
		true },
	{ AS_SENT,
		ENTRY("1", "20260410T080000Z", "DUE;VALUE=DATE:20260420\r\nSTATUS:CANCELLED\r\n",
			"nuts"),
		false },
	{ EVENT("0", "20260401T080000Z", "",
		  "DTSTART;VALUE=DATE:20260406\r\nDTEND;VALUE=DATE:20260407\r\n"),
		EVENT("1", "20260410T080000Z",
			"BEGIN:VTIMEZONE\r\nTZID:Own\r\nBEGIN:STANDARD\r\n"
			"DTSTART:19700101T000000\r\nTZOFFSETFROM:+0000\r\nTZOFFSETTO:+0000\r\n"
			"END:STANDARD\r\nEND:VTIMEZONE\r\n",
			"DTSTART;TZID=Own:20260406T090000\r\nDURATION:PT1H\r\n"
			"RRULE:FREQ=WEEKLY;BYDAY=MO\r\n"),
		false },
};
enum { NEWS = sizeof news / sizeof news[0] };

static struct zone *zone(void)
{
	static struct zone *z;
	if (!z)
		HOLDS(zone_new("Europe/Berlin", &z, NULL) == RC_OK);
	return z;
}

static bool is_clean(const char *text)
{
	for (size_t n = strlen(text); n > 0;) {
		bool valid;
		size_t step = utf8_step(text, n, &valid);
		if (!valid)
			return false;
		text += step;
		n -= step;
	}
	return true;
}

static void check_seen(const struct seen *s)
{
	HOLDS(s->uid[0] && strlen(s->uid) < CALENDAR_UID_SIZE);
	HOLDS(strlen(s->description) < SEEN_DESCRIPTION && is_clean(s->description));
	HOLDS(!(s->done && s->cancelled) && (s->done || s->done_s == TIME_NEVER));
	HOLDS(s->sequence >= 0);
}

/* A line as it has to stand in what is put: CRLF, no empty physical lines. */
static void as_put(char *out, const char *bytes, size_t n)
{
	size_t start = 0;
	for (size_t i = 0, used = 0; i <= n; i++) {
		if (i < n && bytes[i] != '\n')
			continue;
		size_t end = i;
		end -= end > start && bytes[end - 1] == '\r';
		memcpy(out + used, bytes + start, end - start);
		used += end - start;
		if (end > start) {
			memcpy(out + used, "\r\n", 3);
			used += 2;
		}
		out[used] = '\0';
		start = i + 1;
	}
}

/* Every line of a property that is none of ours, and not in an alarm. */
static void check_kept(const char *theirs, const char *out)
{
	struct raw_text t;
	HOLDS(raw_read(theirs, strlen(theirs), &t, NULL) == RC_OK);
	for (size_t i = 0; i < t.n; i++) {
		const struct raw_line *line = &t.lines[i];
		char *wanted = mem_new(2 * line->len + 3, 1);
		as_put(wanted, theirs + line->at, line->len);
		if (line->depth <= 2 && strncmp(line->name, "X-", 2) == 0)
			HOLDS(strstr(out, wanted));
		mem_free(wanted);
	}
	raw_free(&t);
}

static void check_merged(const char *theirs, const struct news *of, bool day_ours)
{
	const char *sent = of->sent, *ours = of->ours;
	char *out = NULL, *again = NULL;
	bool changed = false;
	struct seen s;
	enum rc rc = calendar_merge(sent, theirs, ours, day_ours, &out, &changed, NULL);
	HOLDS(rc == RC_OK || rc == RC_INPUT);
	HOLDS(rc == RC_OK || !out);
	if (rc != RC_OK)
		return;
	HOLDS(changed == (out != NULL));
	if (!out)
		return;
	HOLDS(calendar_lint_foreign(out, strlen(out), NULL) == RC_OK);
	check_kept(theirs, out);
	HOLDS(calendar_seen(out, strlen(out), zone(), &s, NULL) == RC_OK);
	HOLDS(!of->done || strcmp(s.uid, "u-1") != 0 || s.done);
	HOLDS(calendar_merge(sent, out, ours, day_ours, &again, &changed, NULL) == RC_OK);
	HOLDS(!changed);
	HOLDS(calendar_merge(ours, out, ours, day_ours, &again, &changed, NULL) == RC_OK);
	HOLDS(!changed);
	mem_free(out);
}

static void check_line(void *arg, const char *text)
{
	HOLDS(text[0] && !strchr(text, '\n'));
	++*(size_t *)arg;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
	struct seen s;
	struct err err = { 0 };
	size_t lines = 0;
	if (n < 1 || n > 65536)
		return -1;
	char *theirs = mem_new(n, 1);
	memcpy(theirs, bytes + 1, n - 1);
	enum rc rc = calendar_seen(theirs, n - 1, zone(), &s, &err);
	HOLDS(rc == RC_OK || (rc == RC_INPUT && err.text[0]));
	if (rc == RC_OK) {
		check_seen(&s);
		calendar_written("Turn, nuts", s.description, check_line, &lines);
	}
	check_merged(theirs, &news[bytes[0] % NEWS], bytes[0] & 0x80);
	mem_free(theirs);
	return 0;
}
