/* Times in calendar text that others have been at. */
#include <stdlib.h>
#include <string.h>

#include "core/civil.h"
#include "daemon/calendar_int.h"
#include "daemon/calendar_raw.h"

#define DURATION_MAX_S (3660 * DAY_S)

/* `YYYYMMDD` or `YYYYMMDDTHHMMSS` and what follows it; NULL: neither. A leap second is the one before it (RFC 5545
 * 3.3.12). */
static const char *wall(const char *p, bool *is_date, int64_t *wall_s)
{
	struct civil c = { 0 };
	p += strspn(p, " \t");
	if (!calendar_digits(p, 4, &c.year) || !calendar_digits(p + 4, 2, &c.month) ||
		!calendar_digits(p + 6, 2, &c.day))
		return NULL;
	*is_date = p[8] != 'T' && p[8] != 't';
	if (!*is_date &&
		(!calendar_digits(p + 9, 2, &c.hour) || !calendar_digits(p + 11, 2, &c.minute) ||
			!calendar_digits(p + 13, 2, &c.second)))
		return NULL;
	c.second -= c.second == 60;
	if (!civil_valid(&c))
		return NULL;
	*wall_s = civil_seconds(&c);
	return p + (*is_date ? 8 : 15);
}

/* `+HHMM` or `-HHMMSS` (RFC 5545 3.3.14). */
static bool offset(const struct raw_line *line, int64_t *s)
{
	int hour, minute, second = 0;
	const char *p = line ? line->value + strspn(line->value, " \t") : "";
	if ((*p != '+' && *p != '-') || !calendar_digits(p + 1, 2, &hour) ||
		!calendar_digits(p + 3, 2, &minute))
		return false;
	if (!calendar_digits(p + 5, 2, &second))
		second = 0;
	*s = (*p == '-' ? -1 : 1) * (hour * HOUR_S + minute * 60 + second);
	return true;
}

/* ---- VTIMEZONE (RFC 5545 3.6.5) ---- */

/* A yearly rule as zones have them: BYMONTH with BYDAY=nDD, or BYDAY=DD from the first BYMONTHDAY on, or a day of the
 * month alone; what is not said is that of DTSTART. */
struct yearly {
	int month, nth, from_day;
	int weekday; /* 0 is Sunday, 7 any; nth 0: the first from from_day on */
	int64_t until_s; /* on the wall clock; TIME_NEVER: none */
};

static const char *part(const char *rule, const char *name)
{
	size_t n = strlen(name);
	for (const char *p = rule; p; p = strchr(p, ';')) {
		p += *p == ';';
		if (strncmp(p, name, n) == 0 && p[n] == '=')
			return p + n + 1;
	}
	return NULL;
}

/* first_s: DTSTART; from_s: the offset before each onset, as UNTIL is in UTC. */
static bool read_yearly(const char *rule, int64_t first_s, int64_t from_s, struct yearly *y)
{
	static const char days[] = "SUMOTUWETHFRSA";
	const struct civil first = civil_at(first_s);
	const char *freq = part(rule, "FREQ"), *month = part(rule, "BYMONTH"),
		   *day = part(rule, "BYDAY"), *from = part(rule, "BYMONTHDAY"),
		   *until = part(rule, "UNTIL");
	bool is_date;
	if (!freq || strncmp(freq, "YEARLY", 6) != 0)
		return false;
	char *end = NULL;
	y->month = month ? (int)strtol(month, NULL, 10) : first.month;
	y->nth = day ? (int)strtol(day, &end, 10) : 0;
	y->from_day = from ? (int)strtol(from, NULL, 10) : day ? 1 : first.day;
	y->weekday = day ? 0 : 7;
	while (y->weekday < 7 && strncmp(days + 2L * y->weekday, end, 2) != 0)
		y->weekday++;
	const char *rest = until ? wall(until, &is_date, &y->until_s) : NULL;
	if (!rest)
		y->until_s = TIME_NEVER;
	else if (*rest == 'Z')
		y->until_s += from_s;
	return y->month >= 1 && y->month <= 12 && y->nth >= -5 && y->nth <= 5 &&
	       (!day || y->weekday < 7) && y->from_day >= 1 && y->from_day <= 31;
}

/* The day of the rule in that year. */
static int64_t yearly_day(const struct yearly *y, int year)
{
	if (y->nth < 0) { /* back from the month's last day */
		int64_t last = y->month == 12 ? civil_days(year + 1, 1, 1)
					      : civil_days(year, y->month + 1, 1);
		int64_t day = last - 1;
		int off = (int)(((day + 4) % 7 + 7) % 7) - y->weekday;
		return day - (off < 0 ? off + 7 : off) - 7 * (-y->nth - 1);
	}
	int64_t day = civil_days(year, y->month, 1) + y->from_day - 1;
	if (y->weekday == 7)
		return day;
	int off = y->weekday - (int)(((day + 4) % 7 + 7) % 7); /* 1970-01-01 was a Thursday */
	return day + (off < 0 ? off + 7 : off) + (y->nth > 1 ? 7 * (y->nth - 1) : 0);
}

/* The last time at or before wall_s at which the observance set in; INT64_MIN: never. */
static int64_t onset(const struct raw_text *t, struct raw_span observance, int64_t wall_s)
{
	const struct raw_line *start = raw_property(t, observance, "DTSTART");
	const struct raw_line *rule = raw_property(t, observance, "RRULE");
	int64_t first = 0, last = INT64_MIN;
	bool is_date;
	struct yearly y;
	if (!start || !wall(start->value, &is_date, &first) || first > wall_s)
		return INT64_MIN;
	last = first;
	for (size_t i = observance.from; i < observance.to; i++) {
		int64_t at;
		const struct raw_line *line = &t->lines[i];
		if (!raw_is_own(t, observance, i) || strcmp(line->name, "RDATE") != 0)
			continue;
		for (const char *p = line->value; p; p = strchr(p, ',')) {
			p += *p == ',';
			if (wall(p, &is_date, &at) && at <= wall_s && at > last)
				last = at;
		}
	}
	int64_t from_s = 0;
	(void)offset(raw_property(t, observance, "TZOFFSETFROM"), &from_s);
	if (!rule || !read_yearly(rule->value, first, from_s, &y))
		return last;
	for (int year = civil_at(wall_s).year; year >= civil_at(wall_s).year - 1; year--) {
		int64_t at =
			yearly_day(&y, year) * DAY_S + first - civil_floor(first, DAY_S) * DAY_S;
		if (at <= wall_s && at > last && at <= y.until_s)
			return at;
	}
	return last;
}

/* The offset of that VTIMEZONE at a wall-clock time: of the observance that set in last. */
static bool defined_offset(
	const struct raw_text *t, struct raw_span zone, int64_t wall_s, int64_t *offset_s)
{
	static const char *const kinds[] = { "STANDARD", "DAYLIGHT" };
	int64_t best = INT64_MIN;
	bool found = false;
	for (size_t k = 0; k < 2; k++) {
		size_t at = zone.from;
		struct raw_span o;
		while (raw_component(t, zone, kinds[k], &at, &o)) {
			int64_t s, since = onset(t, o, wall_s);
			if (offset(raw_property(t, o, "TZOFFSETTO"), &s) &&
				(!found || since > best)) {
				*offset_s = s;
				best = since;
				found = true;
			}
		}
	}
	return found;
}

static bool find_zone(const struct raw_text *t, const char *tzid, struct raw_span *out)
{
	for (size_t i = 0; i < t->n; i++) {
		const struct raw_line *line = &t->lines[i];
		if (line->depth != 0 || strcmp(line->name, "BEGIN") != 0)
			continue;
		struct raw_span calendar = { i, t->n };
		size_t at = i;
		while (raw_component(t, calendar, "VTIMEZONE", &at, out)) {
			const struct raw_line *id = raw_property(t, *out, "TZID");
			if (id && raw_is(id->value, tzid))
				return true;
		}
	}
	return false;
}

/* ---- all together ---- */

/* True when the TZID is that zone, or ends in its name. */
static bool is_zone(const char *tzid, const struct zone *z)
{
	const char *name = zone_name_ref(z);
	size_t n = strlen(tzid), end = strlen(name);
	return n >= end && raw_is(tzid + n - end, name) && (n == end || tzid[n - end - 1] == '/');
}

/* The system's zone of that name, or of its last parts. */
static struct zone *system_zone(const char *tzid)
{
	struct zone *z = NULL;
	for (const char *p = tzid; p && *p; p = strchr(p, '/')) {
		p += *p == '/';
		if (zone_new(p, &z, NULL) == RC_OK)
			return z;
	}
	return NULL;
}

/* zone_new wants a process of one thread, and a service may be looking up names: it is asked last. */
static int64_t zoned(
	const struct raw_text *t, const char *tzid, int64_t wall_s, const struct zone *floating)
{
	struct raw_span definition;
	int64_t offset_s = 0;
	if (is_zone(tzid, floating))
		return zone_from_wall(floating, wall_s).first_s;
	if (find_zone(t, tzid, &definition) && defined_offset(t, definition, wall_s, &offset_s))
		return wall_s - offset_s;
	struct zone *z = system_zone(tzid);
	int64_t at_s = zone_from_wall(z ? z : floating, wall_s).first_s;
	zone_free(z);
	return at_s;
}

bool raw_when(const struct raw_text *t, const struct raw_line *line, const struct zone *zone,
	struct raw_when *out)
{
	int64_t wall_s;
	const char *rest = wall(line->value, &out->is_date, &wall_s);
	if (!rest || (!raw_is(rest, "") && !raw_is(rest, "Z")))
		return false;
	if (out->is_date) {
		out->day = civil_floor(wall_s, DAY_S);
		out->at_s = zone_from_wall(zone, wall_s + DAY_S / 2).first_s;
		return true;
	}
	if (raw_is(rest, "Z"))
		out->at_s = wall_s;
	else if (line->tzid[0])
		out->at_s = zoned(t, line->tzid, wall_s, zone);
	else
		out->at_s = zone_from_wall(zone, wall_s).first_s;
	out->day = zone_day(zone, out->at_s);
	return true;
}

/* Digits and a unit at *p, once; moves *p behind it and adds to *s. */
static void take_part(const char **p, char unit, int64_t unit_s, int64_t *s)
{
	char *end;
	long n = strtol(*p, &end, 10);
	if (**p < '0' || **p > '9' || *end != unit)
		return;
	*s += n > DURATION_MAX_S / unit_s ? DURATION_MAX_S + 1 : n * unit_s;
	*p = end + 1;
}

bool raw_duration(const char *value, int64_t *s)
{
	const char *p = value + strspn(value, " \t");
	p += *p == '+';
	if (*p != 'P')
		return false;
	p++;
	int64_t sum = 0;
	take_part(&p, 'W', 7 * DAY_S, &sum);
	take_part(&p, 'D', DAY_S, &sum);
	if (*p == 'T') {
		p++;
		take_part(&p, 'H', HOUR_S, &sum);
		take_part(&p, 'M', 60, &sum);
		take_part(&p, 'S', 1, &sum);
	}
	if (!raw_is(p, "") || sum > DURATION_MAX_S)
		return false;
	*s = sum;
	return true;
}
