/* Time zones of weekly events: a VTIMEZONE made from the system's changes of the clock.
 *
 * Method: changes of one kind (from this offset to that one) form an observance. Its latest part that
 * comes once a year by one rule to the end of what is known becomes an RRULE without end, from its first
 * year on; what comes before, as far as it is wanted, becomes a list of RDATEs. No UNTIL: readers differ
 * on what it means beside a local DTSTART. Rules are looked for in the forms that clients know: the nth or
 * the last weekday of a month, or a weekday among seven days of it.
 *
 * libical's own break off in 2037, are wrong behind that where offsets are not whole hours, and now and then
 * miss a year. */
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/calendar_int.h"
#include "daemon/text.h"
#include "daemon/zone.h"

enum {
	CHANGES_MAX = 1024, /* of one zone from 1970 to 2100 */
	LAST_YEAR = 2099,
	RULE_YEARS = 28, /* after as many every day that a rule can come to has been seen */
	TEXT_SIZE = 1 << 16
};

static struct zone *zones[CALENDAR_ZONES_MAX];
static size_t n_zones;

void calendar_zones_done(void)
{
	while (n_zones > 0)
		zone_free(zones[--n_zones]);
}

static enum rc zone_named(const char *name, const struct zone **out, struct err *err)
{
	for (size_t i = 0; i < n_zones; i++)
		if (strcmp(zone_name_ref(zones[i]), name) == 0) {
			*out = zones[i];
			return RC_OK;
		}
	if (n_zones == CALENDAR_ZONES_MAX)
		calendar_zones_done();
	enum rc rc = zone_new(name, &zones[n_zones], err);
	if (rc == RC_OK)
		*out = zones[n_zones++];
	return rc;
}

enum rc calendar_wall(const char *name, int64_t utc_s, int32_t *offset_s,
	struct zone_instants *wall, struct err *err)
{
	const struct zone *z = NULL;
	enum rc rc = zone_named(name, &z, err);
	if (rc != RC_OK)
		return rc;
	*offset_s = zone_offset_s(z, utc_s);
	*wall = zone_from_wall(z, utc_s + *offset_s);
	return RC_OK;
}

bool calendar_zone_utc(const char *name)
{
	return calendar_among("UTC GMT Z", name);
}

bool calendar_zone_name_good(const char *name)
{
	static const char allowed[] =
		"abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_+-/";
	size_t n = strspn(name, allowed);
	return n > 0 && n < 48 && !name[n];
}

/* Local time at which clocks begin to show another, by the offset before. */
static int64_t onset_s(const struct zone_change *c)
{
	return c->at_s + c->from_s;
}

static bool same_kind(const struct zone_change *a, const struct zone_change *b)
{
	return a->from_s == b->from_s && a->to_s == b->to_s;
}

static int month_days(const struct civil *c)
{
	int year = c->month == 12 ? c->year + 1 : c->year;
	int month = c->month == 12 ? 1 : c->month + 1;
	return (int)(civil_days(year, month, 1) - civil_days(c->year, c->month, 1));
}

/* What onsets of a yearly rule have in common, gathered from the last one backwards. */
struct fit {
	const struct zone_change *first; /* the earliest that fits; NULL: none yet */
	int year, month, weekday, nth, low, high;
	int64_t clock_s;
	bool same_nth, all_last;
};

static int weekday_of(int64_t wall_s)
{
	int64_t day = civil_floor(wall_s, DAY_S);
	return (int)(day - 7 * civil_floor(day, 7)); /* 0: Thursday */
}

/* Takes one more, a year before the others; false: it does not fit. */
static bool fit_take(struct fit *fit, const struct zone_change *c)
{
	int64_t wall = onset_s(c);
	struct civil civil = civil_at(wall);
	int nth = (civil.day - 1) / 7 + 1;
	bool last = civil.day + 7 > month_days(&civil);
	int64_t clock_s = wall - DAY_S * civil_floor(wall, DAY_S);
	struct fit next = *fit;
	if (!fit->first)
		next = (struct fit){ .year = LAST_YEAR + 1,
			.month = civil.month,
			.weekday = weekday_of(wall),
			.nth = nth,
			.low = civil.day,
			.high = civil.day,
			.clock_s = clock_s,
			.same_nth = true,
			.all_last = true };
	if (civil.year != next.year - 1 || civil.month != next.month ||
		weekday_of(wall) != next.weekday || clock_s != next.clock_s)
		return false;
	next.first = c;
	next.year = civil.year;
	next.same_nth = next.same_nth && nth == next.nth;
	next.all_last = next.all_last && last;
	next.low = civil.day < next.low ? civil.day : next.low;
	next.high = civil.day > next.high ? civil.day : next.high;
	if (!next.same_nth && !next.all_last && next.high - next.low > 6)
		return false;
	*fit = next;
	return true;
}

struct sheet {
	const struct zone_change *changes;
	size_t n;
	int64_t from_s; /* changes before it are left out, unless of a rule */
	char *text;
};

/* The rule that the last changes of that kind keep, first NULL: none. */
static struct fit find_rule(const struct sheet *s, const struct zone_change *kind)
{
	struct fit fit = { .first = NULL };
	for (size_t i = s->n; i-- > 0;)
		if (same_kind(&s->changes[i], kind) && !fit_take(&fit, &s->changes[i]))
			break;
	if (fit.first && LAST_YEAR - fit.year + 1 < RULE_YEARS)
		fit.first = NULL;
	return fit;
}

static void add_time(char *text, const char *name, int64_t wall_s)
{
	struct civil c = civil_at(wall_s);
	text_add(text, TEXT_SIZE, "%s:%04d%02d%02dT%02d%02d%02d\r\n", name, c.year, c.month, c.day,
		c.hour, c.minute, c.second);
}

static void add_offset(char *text, const char *name, int32_t offset_s)
{
	int32_t s = offset_s < 0 ? -offset_s : offset_s;
	text_add(text, TEXT_SIZE, "%s:%c%02d%02d", name, offset_s < 0 ? '-' : '+', s / 3600,
		s / 60 % 60);
	text_add(text, TEXT_SIZE, s % 60 ? "%02d\r\n" : "\r\n", s % 60);
}

static void add_observance(char *text, int64_t start_s, int32_t from_s, int32_t to_s)
{
	text_add(text, TEXT_SIZE, "BEGIN:%s\r\n", to_s > from_s ? "DAYLIGHT" : "STANDARD");
	add_time(text, "DTSTART", start_s);
	add_offset(text, "TZOFFSETFROM", from_s);
	add_offset(text, "TZOFFSETTO", to_s);
}

static void end_observance(char *text, int32_t from_s, int32_t to_s)
{
	text_add(text, TEXT_SIZE, "END:%s\r\n", to_s > from_s ? "DAYLIGHT" : "STANDARD");
}

static void add_rule(const struct sheet *s, const struct fit *fit)
{
	static const char *const days[] = { "TH", "FR", "SA", "SU", "MO", "TU", "WE" };
	const struct zone_change *c = fit->first;
	char *text = s->text;
	add_observance(text, onset_s(c), c->from_s, c->to_s);
	text_add(text, TEXT_SIZE, "RRULE:FREQ=YEARLY;BYMONTH=%d;BYDAY=", fit->month);
	if (fit->all_last)
		text_add(text, TEXT_SIZE, "-1");
	else if (fit->same_nth)
		text_add(text, TEXT_SIZE, "%d", fit->nth);
	text_add(text, TEXT_SIZE, "%s", days[fit->weekday]);
	for (int i = 0; !fit->all_last && !fit->same_nth && i < 7; i++)
		text_add(text, TEXT_SIZE, "%s%d", i ? "," : ";BYMONTHDAY=", fit->low + i);
	text_add(text, TEXT_SIZE, "\r\n");
	end_observance(text, c->from_s, c->to_s);
}

/* Those before the rule, as a list. Some readers take of a list the RDATEs alone: the first is written
 * as DTSTART and among them, which is the same to others (RFC 5545 3.8.5.2). */
static void add_list(const struct sheet *s, const struct zone_change *kind, const struct fit *fit)
{
	const struct zone_change *end = fit->first ? fit->first : s->changes + s->n;
	bool begun = false;
	for (const struct zone_change *c = s->changes; c < end; c++) {
		if (!same_kind(c, kind) || c->at_s < s->from_s)
			continue;
		if (!begun)
			add_observance(s->text, onset_s(c), c->from_s, c->to_s);
		begun = true;
		add_time(s->text, "RDATE", onset_s(c));
	}
	if (begun)
		end_observance(s->text, kind->from_s, kind->to_s);
}

static bool first_of_kind(const struct sheet *s, size_t i)
{
	size_t j = 0;
	while (!same_kind(&s->changes[j], &s->changes[i]))
		j++;
	return j == i;
}

/* The offset at from_s, where no change in the year after says it. */
static void add_first(const struct sheet *s, const struct zone *z)
{
	struct zone_change next;
	bool soon = zone_next_change(z, s->from_s, &next) && next.at_s < s->from_s + 366 * DAY_S;
	int32_t offset_s = zone_offset_s(z, s->from_s);
	if (soon)
		return;
	add_observance(s->text, s->from_s + offset_s, offset_s, offset_s);
	end_observance(s->text, offset_s, offset_s);
}

static void add_zone(const struct sheet *s, const struct zone *z)
{
	text_add(s->text, TEXT_SIZE, "BEGIN:VTIMEZONE\r\nTZID:%s\r\n", zone_name_ref(z));
	add_first(s, z);
	for (size_t i = 0; i < s->n; i++) {
		if (!first_of_kind(s, i))
			continue;
		struct fit fit = find_rule(s, &s->changes[i]);
		add_list(s, &s->changes[i], &fit);
		if (fit.first)
			add_rule(s, &fit);
	}
	text_add(s->text, TEXT_SIZE, "END:VTIMEZONE\r\n");
}

char *calendar_zone_text(const char *name, int year)
{
	const struct zone *z = NULL;
	if (zone_named(name, &z, NULL) != RC_OK)
		return NULL;
	struct zone_change *changes = mem_new(CHANGES_MAX, sizeof *changes);
	char *text = mem_new(TEXT_SIZE, 1);
	size_t n = 0;
	int64_t at_s = -1;
	while (changes && n < CHANGES_MAX && zone_next_change(z, at_s, &changes[n]))
		at_s = changes[n++].at_s;
	if (changes && text)
		add_zone(
			&(struct sheet){ changes, n, DAY_S * civil_days(year - 1, 1, 1), text }, z);
	mem_free(changes);
	if (!changes) {
		mem_free(text);
		return NULL;
	}
	return text;
}
