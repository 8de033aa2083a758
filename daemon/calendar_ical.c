/* Method: one libical component for each entry, properties in a fixed order, printed and freed
 * before the next, which keeps all in the processor's cache. libical escapes TEXT, but folds badly,
 * lets controls and bad UTF-8 through and does not escape CATEGORIES, so every text is cleaned
 * first. Properties with empty values are left out: readers refuse them. */
#include "daemon/calendar_int.h"

#include <libical/ical.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/utf8.h"

enum { REFRESH_MAX_S = 366 * 86400 };

struct work {
	icalcomponent *in; /* receives the next property */
	bool failed; /* out of memory */
	char *out; /* the calendar so far, NUL-terminated, mem_new's */
	size_t len, cap;
	char text[CALENDAR_TEXT_MAX + 1];
};

static void put(struct work *w, icalproperty *p)
{
	if (p)
		icalcomponent_add_property(w->in, p);
	else
		w->failed = true;
}

static void put_text(struct work *w, icalproperty *(*make)(const char *), const char *text)
{
	if (*utf8_clean(text, w->text, sizeof w->text))
		put(w, make(w->text));
}

static void put_x(struct work *w, const char *name, const char *text)
{
	if (!*utf8_clean(text, w->text, sizeof w->text))
		return;
	icalproperty *p = icalproperty_new_x(w->text);
	if (p)
		icalproperty_set_x_name(p, name);
	put(w, p);
}

/* The new component becomes a child of parent, NULL: of none. NULL when out of memory. */
static icalcomponent *component(struct work *w, icalcomponent *parent, icalcomponent_kind kind)
{
	icalcomponent *c = icalcomponent_new(kind);
	if (c && parent)
		icalcomponent_add_component(parent, c);
	w->failed = w->failed || !c;
	return c;
}

static struct icaltimetype date(int64_t day)
{
	struct civil c = civil_at(day * DAY_S);
	struct icaltimetype t = icaltime_null_date();
	t.year = c.year;
	t.month = c.month;
	t.day = c.day;
	return t;
}

static struct icaltimetype utc(int64_t s)
{
	struct civil c = civil_at(s);
	return (struct icaltimetype){
		.year = c.year,
		.month = c.month,
		.day = c.day,
		.hour = c.hour,
		.minute = c.minute,
		.second = c.second,
		.zone = icaltimezone_get_utc_timezone(),
	};
}

/* libical prints CATEGORIES as it is: commas separate, what would need a backslash becomes a blank,
 * and empty names go. In place. */
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
	if (*w->text)
		put(w, icalproperty_new_categories(w->text));
}

/* Absolute, as a to-do with DUE alone has no start to count from (RFC 5545 3.8.6.3). */
static void put_alarm(struct work *w, const struct calendar_entry *e)
{
	icalcomponent *item = w->in;
	w->in = component(w, item, ICAL_VALARM_COMPONENT);
	if (w->in) {
		put(w, icalproperty_new_action(ICAL_ACTION_DISPLAY));
		struct icaltriggertype trigger = { .time = utc(e->alarm_s) };
		put(w, icalproperty_new_trigger(trigger));
		bool said = *utf8_clean(e->summary, w->text, sizeof w->text);
		put(w, icalproperty_new_description(said ? w->text : "Reminder"));
	}
	w->in = item;
}

static void put_event_time(struct work *w, const struct calendar_entry *e)
{
	put(w, icalproperty_new_dtstart(date(e->start_day)));
	put(w, icalproperty_new_dtend(date(e->start_day + 1)));
	put(w, icalproperty_new_transp(ICAL_TRANSP_TRANSPARENT));
}

static void put_todo_time(struct work *w, const struct calendar_entry *e)
{
	/* DUE has to be later than DTSTART (RFC 5545 3.8.2.3) */
	if (e->start_day < e->due_day)
		put(w, icalproperty_new_dtstart(date(e->start_day)));
	put(w, icalproperty_new_due(date(e->due_day)));
	switch (e->status) {
	case ENTRY_OPEN:
		put(w, icalproperty_new_status(ICAL_STATUS_NEEDSACTION));
		break;
	case ENTRY_DONE:
		put(w, icalproperty_new_status(ICAL_STATUS_COMPLETED));
		put(w, icalproperty_new_completed(utc(e->done_s)));
		put(w, icalproperty_new_percentcomplete(100));
		break;
	case ENTRY_CANCELLED:
		put(w, icalproperty_new_status(ICAL_STATUS_CANCELLED));
		break;
	}
}

static void put_entry(struct work *w, enum calendar_kind kind, const struct calendar_entry *e)
{
	put(w, icalproperty_new_uid(e->uid));
	/* without METHOD it means the last change (RFC 5545 3.8.7.2) */
	put(w, icalproperty_new_dtstamp(utc(e->modified_s)));
	put(w, icalproperty_new_created(utc(e->created_s)));
	put(w, icalproperty_new_lastmodified(utc(e->modified_s)));
	put(w, icalproperty_new_sequence(e->sequence));
	if (kind == CALENDAR_EVENTS)
		put_event_time(w, e);
	else
		put_todo_time(w, e);
	put_text(w, icalproperty_new_summary, e->summary);
	put_text(w, icalproperty_new_description, e->description);
	put_text(w, icalproperty_new_location, e->location);
	put_text(w, icalproperty_new_contact, e->contact);
	put_categories(w, e->categories);
	if (e->priority > 0)
		put(w, icalproperty_new_priority(e->priority));
	if (e->status == ENTRY_OPEN && e->alarm_s != TIME_NEVER)
		put_alarm(w, e);
}

static void put_refresh(struct work *w, int64_t refresh_s)
{
	if (refresh_s <= 0)
		return;
	int s = (int)(refresh_s < REFRESH_MAX_S ? refresh_s : REFRESH_MAX_S);
	struct icaldurationtype d = icaldurationtype_from_int(s);
	put(w, icalproperty_new_refreshinterval(d));
	char *text = icaldurationtype_as_ical_string_r(d);
	put_x(w, "X-PUBLISHED-TTL", text);
	w->failed = w->failed || !text;
	free(text);
}

/* RFC 7986 names and the older X- names that clients read. */
static void put_head(struct work *w, const struct calendar_head *head)
{
	put(w, icalproperty_new_version("2.0"));
	put(w, icalproperty_new_prodid("-//seasond//seasond//EN"));
	put_text(w, icalproperty_new_name, head->title);
	put_x(w, "X-WR-CALNAME", head->title);
	put_text(w, icalproperty_new_description, head->description);
	put_x(w, "X-WR-CALDESC", head->description);
	put_x(w, "X-WR-TIMEZONE", head->zone);
	put_text(w, icalproperty_new_color, head->colour);
	put_refresh(w, head->refresh_s);
}

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

/* Prints the component to the end of out, and frees it. NULL is allowed. libical 3.0.16 folds right
 * after a colon and now and then parts CR from LF; making the folds anew mends both. */
static void emit(struct work *w, icalcomponent *c)
{
	char *text = c && !w->failed ? icalcomponent_as_ical_string_r(c) : NULL;
	if (text)
		calendar_unfold(text);
	w->failed = !text || !room(w, strlen(text));
	char *out = w->failed ? NULL : w->out + w->len;
	for (const char *p = text, *lf; out && (lf = strchr(p, '\n')); p = lf + 1)
		out = calendar_fold(out, p, (size_t)(lf - p) + 1);
	if (out) {
		*out = '\0';
		w->len = (size_t)(out - w->out);
	}
	free(text);
	if (c)
		icalcomponent_free(c);
}

/* By hand, as libical's own would load every zone of the system. */
static icalcomponent *utc_zone(struct work *w)
{
	icalcomponent *zone = component(w, NULL, ICAL_VTIMEZONE_COMPONENT);
	icalcomponent *standard = zone ? component(w, zone, ICAL_XSTANDARD_COMPONENT) : NULL;
	if (!standard)
		return zone;
	w->in = zone;
	put(w, icalproperty_new_tzid("Etc/UTC"));
	w->in = standard;
	struct icaltimetype epoch = utc(0);
	epoch.zone = NULL; /* a zone's own start is local time */
	put(w, icalproperty_new_dtstart(epoch));
	put(w, icalproperty_new_tzoffsetfrom(0));
	put(w, icalproperty_new_tzoffsetto(0));
	put(w, icalproperty_new_tzname("UTC"));
	return zone;
}

static void emit_entries(
	struct work *w, enum calendar_kind kind, const struct calendar_entry *entries, size_t n)
{
	size_t written = 0;
	for (size_t i = 0; i < n && !w->failed; i++) {
		if (kind == CALENDAR_EVENTS && entries[i].status != ENTRY_OPEN)
			continue;
		icalcomponent *c = component(w, NULL,
			kind == CALENDAR_EVENTS ? ICAL_VEVENT_COMPONENT : ICAL_VTODO_COMPONENT);
		w->in = c;
		if (c)
			put_entry(w, kind, &entries[i]);
		emit(w, c);
		written++;
	}
	if (written == 0 && !w->failed)
		emit(w, utc_zone(w));
}

char *calendar_print(enum calendar_kind kind, const struct calendar_head *head,
	const struct calendar_entry *entries, size_t n, size_t *len)
{
	static const char end[] = "END:VCALENDAR\r\n";
	icalerror_set_errors_are_fatal(0);
	struct work w = { .in = icalcomponent_new(ICAL_VCALENDAR_COMPONENT) };
	icalcomponent *cal = w.in;
	if (cal)
		put_head(&w, head);
	emit(&w, cal);
	if (!w.failed) {
		w.len -= strlen(end);
		emit_entries(&w, kind, entries, n);
	}
	if (w.failed || !room(&w, sizeof end)) {
		mem_free(w.out);
		return NULL;
	}
	memcpy(w.out + w.len, end, sizeof end);
	*len = w.len + strlen(end);
	return w.out;
}

void calendar_done(void)
{
	icaltimezone_free_builtin_timezones();
	free_zone_directory();
	icalmemory_free_ring();
}
