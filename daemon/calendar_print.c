/* Method: properties in a fixed order, each put together in one line, which is then folded to the end of
 * the calendar. Whatever people wrote is cleaned first and escaped here; the rest are numbers and times.
 * Properties with empty values are left out: readers refuse them. */
#include "daemon/calendar_int.h"

#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/utf8.h"
#include "daemon/zone.h"

enum { REFRESH_MAX_S = 366 * 86400, LINE_MAX_OCTETS = 2 * CALENDAR_TEXT_MAX + 256 };

struct work {
	bool failed; /* out of memory */
	char *out; /* the calendar so far, NUL-terminated, mem_new's */
	size_t len, cap;
	char text[CALENDAR_TEXT_MAX + 1];
	char line[LINE_MAX_OCTETS]; /* not folded */
	size_t used;
};

/* Makes room for n more octets, their folds (3 octets for 71 or more) and a NUL. */
static bool room(struct work *w, size_t n)
{
	size_t most = w->len + n + 3 * (n / (CALENDAR_LINE_MAX - 4)) + 1;
	if (most <= w->cap)
		return true;
	size_t cap = 2 * most;
	char *grown = mem_grow(w->out, cap, 1);
	if (!grown)
		return false;
	w->out = grown;
	w->cap = cap;
	return true;
}

static void add(struct work *w, const char *text)
{
	size_t n = strlen(text);
	memcpy(w->line + w->used, text, n);
	w->used += n;
}

/* A number of at least so many digits. */
static void add_number(struct work *w, int64_t value, int digits)
{
	char reversed[24];
	int n = 0;
	for (int64_t rest = value; n < digits || rest > 0; rest /= 10)
		reversed[n++] = (char)('0' + rest % 10);
	while (n > 0)
		w->line[w->used++] = reversed[--n];
}

/* TEXT (RFC 5545 3.3.11); an X- property takes comma and semicolon as they are. */
static void add_escaped(struct work *w, const char *text, bool plain)
{
	const char *marks = plain ? "\\\n" : "\\\n;,";
	for (;;) {
		size_t n = strcspn(text, marks);
		memcpy(w->line + w->used, text, n);
		w->used += n;
		text += n;
		if (!*text)
			return;
		w->line[w->used++] = '\\';
		w->line[w->used++] = *text == '\n' ? 'n' : *text;
		text++;
	}
}

/* Ends the line and puts it to the end of out. */
static void put(struct work *w)
{
	add(w, "\r\n");
	w->failed = w->failed || !room(w, w->used);
	if (!w->failed) {
		char *end = calendar_fold(w->out + w->len, w->line, w->used);
		*end = '\0';
		w->len = (size_t)(end - w->out);
	}
	w->used = 0;
}

static void put_plain(struct work *w, const char *line)
{
	add(w, line);
	put(w);
}

static void put_value(struct work *w, const char *name, const char *text, bool plain)
{
	if (!*utf8_clean(text, w->text, sizeof w->text))
		return;
	add(w, name);
	add(w, ":");
	add_escaped(w, w->text, plain);
	put(w);
}

static void put_text(struct work *w, const char *name, const char *text)
{
	put_value(w, name, text, false);
}

static void put_number(struct work *w, const char *name, int64_t value)
{
	add(w, name);
	add_number(w, value, 1);
	put(w);
}

static void add_date(struct work *w, const struct civil *c)
{
	add_number(w, c->year, 4);
	add_number(w, c->month, 2);
	add_number(w, c->day, 2);
}

static void put_date(struct work *w, const char *name, int64_t day)
{
	struct civil c = civil_at(day * DAY_S);
	add(w, name);
	add_date(w, &c);
	put(w);
}

/* mark: "Z", or "" for the digits of a zone named before. */
static void put_time(struct work *w, const char *name, int64_t s, const char *mark)
{
	struct civil c = civil_at(s);
	add(w, name);
	add_date(w, &c);
	add(w, "T");
	add_number(w, c.hour, 2);
	add_number(w, c.minute, 2);
	add_number(w, c.second, 2);
	add(w, mark);
	put(w);
}

static void add_part(struct work *w, int64_t value, const char *unit)
{
	if (value <= 0)
		return;
	add_number(w, value, 1);
	add(w, unit);
}

/* RFC 5545 3.3.6, for s != 0; below zero with a minus. */
static void put_duration(struct work *w, const char *name, int64_t s)
{
	int64_t rest = llabs(s);
	add(w, name);
	add(w, s < 0 ? "-P" : "P");
	add_part(w, rest / DAY_S, "D");
	rest %= DAY_S;
	if (rest > 0 || s == 0)
		add(w, "T");
	add_part(w, rest / HOUR_S, "H");
	add_part(w, rest / 60 % 60, "M");
	add_part(w, rest % 60, "S");
	if (s == 0)
		add(w, "0S");
	put(w);
}

/* Commas part the names; what would need a backslash in one becomes a blank, as readers differ on it, and
 * empty names go. In place. */
static void tidy_categories(char *text)
{
	char *out = text;
	for (char *p = text; *p; p++) {
		char c = strchr(";\\\n\t", *p) ? ' ' : *p;
		bool first = out == text || out[-1] == ',';
		if (first && (c == ' ' || c == ','))
			continue;
		while (c == ',' && out[-1] == ' ')
			out--;
		*out++ = c;
	}
	while (out > text && (out[-1] == ' ' || out[-1] == ','))
		out--;
	*out = '\0';
}

static void put_categories(struct work *w, const char *categories)
{
	(void)utf8_clean(categories, w->text, sizeof w->text);
	tidy_categories(w->text);
	if (!*w->text)
		return;
	add(w, "CATEGORIES:");
	add(w, w->text);
	put(w);
}

/* Absolute, as a to-do with DUE alone has no start to count from (RFC 5545 3.8.6.3); but what comes
 * every week rings every week. */
static void put_alarm(struct work *w, enum calendar_kind kind, const struct calendar_entry *e)
{
	put_plain(w, "BEGIN:VALARM");
	put_plain(w, "ACTION:DISPLAY");
	if (kind == CALENDAR_EVENTS && calendar_weekly(e))
		put_duration(w, "TRIGGER:", e->alarm_s - e->at_s);
	else
		put_time(w, "TRIGGER;VALUE=DATE-TIME:", e->alarm_s, "Z");
	if (*utf8_clean(e->summary, w->text, sizeof w->text))
		put_text(w, "DESCRIPTION", e->summary);
	else
		put_plain(w, "DESCRIPTION:Reminder");
	put_plain(w, "END:VALARM");
}

/* DURATION, as an end would be wall-clock time too, which may be shown twice. */
static void put_weekly(struct work *w, const struct calendar_entry *e)
{
	static const char *const days[] = { "TH", "FR", "SA", "SU", "MO", "TU", "WE" };
	int32_t offset_s = 0;
	struct zone_instants instants;
	if (calendar_wall(e->weekly_zone, e->at_s, &offset_s, &instants, NULL) != RC_OK)
		w->failed = true; /* it was there when the entry was checked */
	int64_t wall = e->at_s + offset_s;
	int64_t day = civil_floor(wall, DAY_S);
	bool utc = calendar_zone_utc(e->weekly_zone);
	add(w, "DTSTART");
	if (!utc) {
		add(w, ";TZID=");
		add(w, e->weekly_zone);
	}
	put_time(w, ":", wall, utc ? "Z" : "");
	put_duration(w, "DURATION:", e->length_s);
	add(w, "RRULE:FREQ=WEEKLY;BYDAY=");
	put_plain(w, days[day - 7 * civil_floor(day, 7)]);
}

/* A time for which somebody comes is taken; a day on which something is due is not. */
static void put_event_time(struct work *w, const struct calendar_entry *e)
{
	if (calendar_weekly(e)) {
		put_weekly(w, e);
	} else if (e->length_s > 0) {
		put_time(w, "DTSTART:", e->at_s, "Z");
		put_time(w, "DTEND:", e->at_s + e->length_s, "Z");
	} else {
		put_date(w, "DTSTART;VALUE=DATE:", e->start_day);
		put_date(w, "DTEND;VALUE=DATE:", e->start_day + 1);
	}
	put_plain(w, e->length_s > 0 ? "TRANSP:OPAQUE" : "TRANSP:TRANSPARENT");
}

/* A to-do keeps to its days also when its event has a time of day: clients then agree on when it is
 * due. */
static void put_todo_time(struct work *w, const struct calendar_entry *e)
{
	/* DUE has to be later than DTSTART (RFC 5545 3.8.2.3) */
	if (e->start_day < e->due_day)
		put_date(w, "DTSTART;VALUE=DATE:", e->start_day);
	put_date(w, "DUE;VALUE=DATE:", e->due_day);
	switch (e->status) {
	case ENTRY_OPEN:
		put_plain(w, "STATUS:NEEDS-ACTION");
		break;
	case ENTRY_DONE:
		put_plain(w, "STATUS:COMPLETED");
		put_time(w, "COMPLETED:", e->done_s, "Z");
		put_plain(w, "PERCENT-COMPLETE:100");
		break;
	case ENTRY_CANCELLED:
		put_plain(w, "STATUS:CANCELLED");
		break;
	}
}

static void put_words(struct work *w, const struct calendar_entry *e)
{
	put_text(w, "SUMMARY", e->summary);
	put_text(w, "DESCRIPTION", e->description);
	put_text(w, "LOCATION", e->location);
	put_text(w, "CONTACT", e->contact);
	put_categories(w, e->categories);
	if (e->priority > 0)
		put_number(w, "PRIORITY:", e->priority);
	if (e->class == CLASS_PRIVATE)
		put_plain(w, "CLASS:PRIVATE");
	if (e->class == CLASS_CONFIDENTIAL)
		put_plain(w, "CLASS:CONFIDENTIAL");
}

static void put_entry(
	struct work *w, const struct calendar_sheet *sheet, const struct calendar_entry *e)
{
	bool events = sheet->kind == CALENDAR_EVENTS;
	bool cancel = sheet->method && strcmp(sheet->method, "CANCEL") == 0;
	put_plain(w, events ? "BEGIN:VEVENT" : "BEGIN:VTODO");
	add(w, "UID:");
	put_plain(w, e->uid);
	/* without METHOD it means the last change (RFC 5545 3.8.7.2) */
	put_time(w, "DTSTAMP:", e->modified_s, "Z");
	put_time(w, "CREATED:", e->created_s, "Z");
	put_time(w, "LAST-MODIFIED:", e->modified_s, "Z");
	put_number(w, "SEQUENCE:", e->sequence);
	if (sheet->method) {
		put_plain(w, sheet->organizer);
		put_plain(w, sheet->attendee);
		put_plain(w, cancel ? "STATUS:CANCELLED" : "STATUS:CONFIRMED");
	}
	if (events)
		put_event_time(w, e);
	else
		put_todo_time(w, e);
	put_words(w, e);
	if (e->status == ENTRY_OPEN && e->alarm_s != TIME_NEVER && !cancel)
		put_alarm(w, sheet->kind, e);
	put_plain(w, events ? "END:VEVENT" : "END:VTODO");
}

/* RFC 7986 names and the older X- names that clients read. */
static void put_names(struct work *w, const struct calendar_head *head)
{
	int64_t refresh_s = head->refresh_s < REFRESH_MAX_S ? head->refresh_s : REFRESH_MAX_S;
	put_text(w, "NAME", head->title);
	put_value(w, "X-WR-CALNAME", head->title, true);
	put_text(w, "DESCRIPTION", head->description);
	put_value(w, "X-WR-CALDESC", head->description, true);
	put_value(w, "X-WR-TIMEZONE", head->zone, true);
	put_text(w, "COLOR", head->colour);
	if (refresh_s > 0) {
		put_duration(w, "REFRESH-INTERVAL;VALUE=DURATION:", refresh_s);
		put_duration(w, "X-PUBLISHED-TTL:", refresh_s);
	}
}

static void put_utc_zone(struct work *w)
{
	static const char *const lines[] = { "BEGIN:VTIMEZONE", "TZID:Etc/UTC", "BEGIN:STANDARD",
		"DTSTART:19700101T000000", "TZOFFSETFROM:+0000", "TZOFFSETTO:+0000", "TZNAME:UTC",
		"END:STANDARD", "END:VTIMEZONE" };
	for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++)
		put_plain(w, lines[i]);
}

static bool shown(const struct calendar_sheet *sheet, const struct calendar_entry *e)
{
	return sheet->method || calendar_shows(sheet->kind, e);
}

/* None of its lines is folded. */
static void put_zone(struct work *w, const char *name, int year)
{
	char *text = calendar_zone_text(name, year);
	size_t n = text ? strlen(text) : 0;
	w->failed = w->failed || !text || !room(w, n);
	if (!w->failed) {
		memcpy(w->out + w->len, text, n + 1);
		w->len += n;
	}
	mem_free(text);
}

/* One VTIMEZONE for each zone, good from its first event on, before what refers to it. */
static void put_zones(struct work *w, const struct calendar_sheet *sheet)
{
	struct {
		const char *name;
		int year;
	} zones[CALENDAR_ZONES_MAX];
	size_t n = 0;
	for (size_t i = 0; i < sheet->n; i++) {
		const struct calendar_entry *e = &sheet->entries[i];
		if (!calendar_weekly(e) || !shown(sheet, e) || calendar_zone_utc(e->weekly_zone))
			continue;
		int year = civil_at(e->at_s).year;
		size_t at = 0;
		while (at < n && strcmp(zones[at].name, e->weekly_zone) != 0)
			at++;
		if (at < n && year < zones[at].year)
			zones[at].year = year;
		if (at == n && n < CALENDAR_ZONES_MAX) { /* else the linter says what is missing */
			zones[n].name = e->weekly_zone;
			zones[n++].year = year;
		}
	}
	for (size_t i = 0; i < n && !w->failed; i++)
		put_zone(w, zones[i].name, zones[i].year);
}

static void put_entries(struct work *w, const struct calendar_sheet *sheet)
{
	size_t written = 0;
	if (sheet->kind == CALENDAR_EVENTS)
		put_zones(w, sheet);
	for (size_t i = 0; i < sheet->n && !w->failed; i++) {
		if (!shown(sheet, &sheet->entries[i]))
			continue;
		put_entry(w, sheet, &sheet->entries[i]);
		written++;
	}
	if (written == 0)
		put_utc_zone(w);
}

char *calendar_print(const struct calendar_sheet *sheet, size_t *len)
{
	struct work w;
	w.failed = false;
	w.out = NULL;
	w.len = w.cap = w.used = 0;
	put_plain(&w, "BEGIN:VCALENDAR");
	put_plain(&w, "VERSION:2.0");
	put_plain(&w, "PRODID:" CALENDAR_PRODID);
	if (sheet->method) {
		add(&w, "METHOD:");
		put_plain(&w, sheet->method);
	}
	if (sheet->head)
		put_names(&w, sheet->head);
	put_entries(&w, sheet);
	put_plain(&w, "END:VCALENDAR");
	if (w.failed) {
		mem_free(w.out);
		return NULL;
	}
	*len = w.len;
	return w.out;
}
