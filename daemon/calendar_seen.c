#include "daemon/calendar_seen.h"

#include <string.h>

#include "core/mem.h"
#include "core/number.h"
#include "daemon/calendar_lines.h"
#include "daemon/calendar_raw.h"
#include "daemon/utf8.h"

/* ---- what an entry says ---- */

struct reading {
	const struct raw_text *text;
	struct raw_span entry;
	const struct zone *zone;
	struct seen *out;
};

static const struct raw_line *own(const struct reading *r, const char *name)
{
	return raw_property(r->text, r->entry, name);
}

static bool when(const struct reading *r, const char *name, struct raw_when *out)
{
	const struct raw_line *line = own(r, name);
	return line && raw_when(r->text, line, r->zone, out);
}

/* Any of the three is enough: RFC 5545 3.6.2 itself shows COMPLETED beside STATUS:NEEDS-ACTION. STATUS is of 3.8.1.11,
 * COMPLETED of 3.8.2.1, PERCENT-COMPLETE of 3.8.1.8. */
static void read_state(const struct reading *r)
{
	struct seen *out = r->out;
	int64_t percent = 0;
	struct raw_when at;
	const struct raw_line *status = own(r, "STATUS"), *completed = own(r, "COMPLETED"),
			      *part = own(r, "PERCENT-COMPLETE");
	out->cancelled = status && raw_is(status->value, "CANCELLED");
	out->done = r->out->kind == CALENDAR_TODOS && !out->cancelled &&
		    ((status && raw_is(status->value, "COMPLETED")) ||
			    (completed && !raw_is(completed->value, "")) ||
			    (part && number_int(part->value, &percent) && percent == 100));
	out->done_s = TIME_NEVER;
	if (out->done && (when(r, "COMPLETED", &at) || when(r, "LAST-MODIFIED", &at)))
		out->done_s = at.at_s;
}

/* DUE, or DTSTART and DURATION (RFC 5545 3.6.2). */
static void read_day(const struct reading *r)
{
	struct seen *out = r->out;
	struct raw_when at;
	int64_t length_s = 0;
	const struct raw_line *length = own(r, "DURATION");
	bool event = out->kind == CALENDAR_EVENTS;
	out->has_day = when(r, event ? "DTSTART" : "DUE", &at);
	if (out->has_day)
		out->day = at.day;
	if (out->has_day || event || !length || !raw_duration(length->value, &length_s) ||
		!when(r, "DTSTART", &at))
		return;
	out->has_day = true;
	out->day = at.is_date ? at.day + civil_floor(length_s, DAY_S)
			      : zone_day(r->zone, at.at_s + length_s);
}

static enum rc read_description(const struct reading *r, struct err *err)
{
	const struct raw_line *line = own(r, "DESCRIPTION");
	r->out->description[0] = '\0';
	if (!line)
		return RC_OK;
	char *text = mem_text(line->value);
	if (!text)
		return err_set(err, RC_MEM, "calendar: out of memory for a description");
	raw_unescape(text);
	(void)utf8_clean(text, r->out->description, sizeof r->out->description);
	mem_free(text);
	return RC_OK;
}

static enum rc read_entry(
	const struct raw_text *text, const struct zone *zone, struct seen *out, struct err *err)
{
	struct reading r = { .text = text, .zone = zone, .out = out };
	int64_t sequence = 0;
	if (!raw_entry(text, NULL, &r.entry, &out->kind))
		return err_set(err, RC_INPUT,
			"calendar: no event or to-do with a UID and without RECURRENCE-ID in it");
	const char *uid = own(&r, "UID")->value;
	uid += strspn(uid, " \t");
	size_t n = strlen(uid);
	while (n > 0 && strchr(" \t", uid[n - 1]))
		n--;
	if (n >= sizeof out->uid)
		return err_set(err, RC_INPUT, "calendar: UID %.40s: longer than %zu octets", uid,
			sizeof out->uid - 1);
	memcpy(out->uid, uid, n);
	out->uid[n] = '\0';
	const struct raw_line *line = own(&r, "SEQUENCE");
	bool good = line && number_int(line->value, &sequence) && sequence >= 0 &&
		    sequence <= INT32_MAX;
	out->sequence = good ? (int)sequence : 0;
	read_state(&r);
	read_day(&r);
	return read_description(&r, err);
}

enum rc calendar_seen(
	const char *text, size_t n, const struct zone *zone, struct seen *out, struct err *err)
{
	struct raw_text raw;
	struct seen seen = { .done_s = TIME_NEVER };
	enum rc rc = raw_read(text, n, &raw, err);
	if (rc == RC_OK)
		rc = read_entry(&raw, zone, &seen, err);
	raw_free(&raw);
	if (rc == RC_OK)
		*out = seen;
	return rc;
}

/* ---- what people wrote ---- */

void calendar_written(
	const char *ours, const char *theirs, void (*line)(void *arg, const char *text), void *arg)
{
	char text[SEEN_DESCRIPTION];
	for (const char *p = theirs; *p;) {
		struct words_line at = words_line(p);
		p = at.next;
		if (at.n == 0 || at.n >= sizeof text || words_have(ours, at))
			continue;
		memcpy(text, at.p, at.n);
		text[at.n] = '\0';
		line(arg, text);
	}
}
