/* Method: a closed world. calendar_rules.c lists each component, the properties it may hold, how
 * often, and the form of their values; anything else, X-LIC-ERROR among it, is refused. What concerns
 * several properties is looked at when their component ends.
 *
 * A text that others have been at is the open world: components and properties that are not listed
 * pass with the form of their lines. */
#include "daemon/calendar.h"

#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/calendar_int.h"
#include "daemon/calendar_seen.h"

enum { DEPTH_MAX = 8 };

enum whose { OURS, MESSAGE, FOREIGN };

/* A component that has begun and not ended. */
struct open {
	const struct calendar_component *kind; /* NULL: not one of ours */
	const char *name;
	size_t line;
	bool holds;
	uint32_t has; /* a bit for each of kind->rules */
	struct calendar_line seen[CALENDAR_PROPERTIES]; /* where it is set */
};

struct name {
	const char *text;
	size_t line;
	const char *first; /* of zones: first onset, first time that refers to it; NULL: none */
};

struct lint {
	struct calendar_lines lines;
	enum whose whose;
	const char *method; /* NULL: none */
	struct open open[DEPTH_MAX];
	size_t depth;
	bool ended; /* the VCALENDAR is over */
	struct name zones[CALENDAR_ZONES_MAX],
		used[CALENDAR_ZONES_MAX]; /* TZIDs defined, TZIDs referred to */
	size_t n_zones, n_used;
	struct name *uids;
	size_t n_uids, cap_uids;
	struct err *err;
};

static enum rc bad(const struct lint *l, size_t line, const char *what, const char *rule)
{
	return err_set(l->err, RC_INPUT, "calendar line %zu: %.40s: %s", line, what, rule);
}

/* Index of the rule for a property of that name, CALENDAR_PROPERTIES: none. */
static size_t rule_index(const struct calendar_component *kind, const char *name)
{
	size_t i = 0;
	while (i < CALENDAR_PROPERTIES && kind->rules[i].name &&
		(kind->rules[i].name[0] != name[0] || strcmp(kind->rules[i].name, name) != 0))
		i++;
	return i < CALENDAR_PROPERTIES && kind->rules[i].name ? i : CALENDAR_PROPERTIES;
}

static bool has(const struct open *o, size_t i)
{
	return (o->has >> i & 1) != 0;
}

/* The property of that name in the component, NULL: not there. */
static const struct calendar_line *seen(const struct open *o, const char *name)
{
	size_t i = rule_index(o->kind, name);
	return i < CALENDAR_PROPERTIES && has(o, i) ? &o->seen[i] : NULL;
}

static struct name *find(struct name *names, size_t n, const char *text)
{
	for (size_t i = 0; i < n; i++)
		if (strcmp(names[i].text, text) == 0)
			return &names[i];
	return NULL;
}

static enum rc add_name(
	struct lint *l, struct name *names, size_t *n, const char *text, size_t line)
{
	if (*n == CALENDAR_ZONES_MAX)
		return bad(l, line, text, "more than 32 time zones");
	names[(*n)++] = (struct name){ text, line, NULL };
	return RC_OK;
}

/* Local times of one form sort as text. */
static void keep_first(struct name *name, const char *time)
{
	if (name && (!name->first || strcmp(time, name->first) < 0))
		name->first = time;
}

static enum rc use_zone(struct lint *l, const struct calendar_line *line)
{
	enum rc rc = RC_OK;
	if (!find(l->used, l->n_used, line->tzid))
		rc = add_name(l, l->used, &l->n_used, line->tzid, line->number);
	keep_first(find(l->used, l->n_used, line->tzid), line->value);
	return rc;
}

static enum rc make_zone(struct lint *l, const struct calendar_line *line)
{
	if (find(l->zones, l->n_zones, line->value))
		return bad(l, line->number, line->value, "time zone more than once");
	return add_name(l, l->zones, &l->n_zones, line->value, line->number);
}

static enum rc add_uid(struct lint *l, const struct calendar_line *line)
{
	if (l->n_uids == l->cap_uids) {
		size_t cap = l->cap_uids ? 2 * l->cap_uids : 64;
		struct name *grown = mem_grow(l->uids, cap, sizeof *grown);
		if (!grown)
			return err_set(l->err, RC_MEM, "calendar: out of memory for %zu uids", cap);
		l->uids = grown;
		l->cap_uids = cap;
	}
	l->uids[l->n_uids++] = (struct name){ line->value, line->number, NULL };
	return RC_OK;
}

/* What other parts of the calendar may need of this property. */
static enum rc remember(
	struct lint *l, const struct calendar_rule *rule, const struct calendar_line *line)
{
	if (line->tzid)
		return use_zone(l, line);
	if (rule->form == FORM_UID)
		return add_uid(l, line);
	if (strcmp(rule->name, "TZID") == 0)
		return make_zone(l, line);
	return RC_OK;
}

static enum rc not_allowed(const struct lint *l, const struct calendar_line *line)
{
	return err_set(l->err, RC_INPUT, "calendar line %zu: %.40s: not allowed in %s",
		line->number, line->name, l->open[l->depth - 1].name);
}

/* METHOD and who is invited belong into messages alone (RFC 4791 4.1, RFC 5546 3.2). */
static bool of_messages(const char *name)
{
	return calendar_among("METHOD ORGANIZER ATTENDEE", name);
}

static enum rc value(struct lint *l, const struct open *o, const struct calendar_rule *rule,
	const struct calendar_line *line)
{
	bool foreign = l->whose == FOREIGN;
	const char *fault =
		foreign ? calendar_foreign_fault(rule, line) : calendar_form_fault(rule, line);
	if (fault)
		return err_set(l->err, RC_INPUT, "calendar line %zu: %s: %.40s: %s", line->number,
			line->name, line->value, fault);
	if (foreign)
		return RC_OK;
	if (o->holds)
		return bad(l, line->number, line->name, "behind a component");
	return remember(l, rule, line);
}

static enum rc property(struct lint *l, const struct calendar_line *line)
{
	struct open *o = &l->open[l->depth - 1];
	bool foreign = l->whose == FOREIGN;
	size_t i = o->kind ? rule_index(o->kind, line->name) : CALENDAR_PROPERTIES;
	bool allowed = foreign ? strcmp(line->name, "METHOD") != 0
			       : i < CALENDAR_PROPERTIES &&
					 (l->whose == MESSAGE || !of_messages(line->name));
	if (!allowed)
		return not_allowed(l, line);
	if (!o->kind || i == CALENDAR_PROPERTIES)
		return RC_OK;
	const struct calendar_rule *rule = &o->kind->rules[i];
	if (has(o, i) && rule->often != OFTEN_MANY)
		return bad(l, line->number, line->name, "more than once");
	o->seen[i] = *line;
	o->has |= UINT32_C(1) << i;
	if (strcmp(rule->name, "METHOD") == 0)
		l->method = line->value;
	return value(l, o, rule, line);
}

static const struct calendar_component *kind_of(const struct lint *l, const char *name)
{
	return l->whose == FOREIGN ? calendar_component_foreign(name)
				   : calendar_component_named(name);
}

static enum rc begin(struct lint *l, const struct calendar_line *line)
{
	const struct calendar_component *kind = kind_of(l, line->value);
	struct open *above = l->depth ? &l->open[l->depth - 1] : NULL;
	bool fits = !above ? kind && !kind->parents && !l->ended
		    : kind ? kind->parents && calendar_among(kind->parents, above->name)
			   : l->whose == FOREIGN;
	if (!fits)
		return bad(l, line->number, line->value, "component not allowed here");
	if (l->depth == DEPTH_MAX)
		return bad(l, line->number, line->value, "components nested too deep");
	if (above)
		above->holds = true;
	struct open *o = &l->open[l->depth++];
	o->kind = kind;
	o->name = line->value;
	o->line = line->number;
	o->holds = false;
	o->has = 0;
	return RC_OK;
}

/* Both of one form, and the later one later (RFC 5545 3.6.1, 3.8.2.3). Equal forms sort as text. */
static enum rc check_span(struct lint *l, const struct open *o, const char *last)
{
	const struct calendar_line *start = seen(o, "DTSTART");
	const struct calendar_line *end = seen(o, last);
	if (!start || !end)
		return RC_OK;
	bool zones = start->tzid && end->tzid ? strcmp(start->tzid, end->tzid) == 0
					      : start->tzid == end->tzid;
	if (!zones || strlen(start->value) != strlen(end->value))
		return bad(l, end->number, last, "not of the same type as DTSTART");
	if (strcmp(end->value, start->value) <= 0)
		return bad(l, end->number, last, "not later than DTSTART");
	return RC_OK;
}

static bool says(const struct open *o, const char *name, const char *value)
{
	const struct calendar_line *line = seen(o, name);
	return line && (!value || strcmp(line->value, value) == 0);
}

/* What goes with a recurrence rule (RFC 5545 3.3.10, 3.8.5.3). */
static enum rc check_rule(struct lint *l, const struct open *o)
{
	static const char *const days[] = { "TH", "FR", "SA", "SU", "MO", "TU", "WE" };
	const struct calendar_line *rule = seen(o, "RRULE");
	const struct calendar_line *start = seen(o, "DTSTART");
	if (!rule || !start)
		return RC_OK;
	const char *until = calendar_rule_part(rule->value, "UNTIL");
	bool dated = strlen(start->value) == 8;
	if (until && (strcspn(until, ";") == 8) != dated)
		return bad(l, rule->number, "UNTIL", "not of the type of DTSTART");
	int64_t day = civil_floor(calendar_digits_s(start->value), DAY_S);
	const char *weekday = days[day - 7 * civil_floor(day, 7)];
	const char *said = calendar_rule_part(rule->value, "BYDAY");
	if (!said || strncmp(said, weekday, 2) != 0)
		return bad(l, rule->number, "BYDAY", "not the weekday of DTSTART");
	return RC_OK;
}

static enum rc check_event(struct lint *l, const struct open *o)
{
	const struct calendar_line *length = seen(o, "DURATION");
	if (length && seen(o, "DTEND"))
		return bad(l, length->number, "DURATION", "not together with DTEND");
	const struct calendar_line *start = seen(o, "DTSTART");
	if (length && start && strlen(start->value) == 8 && strchr(length->value, 'T'))
		return bad(l, length->number, "DURATION", "not of whole days, as DTSTART is");
	return check_rule(l, o);
}

static enum rc without(const struct lint *l, const struct open *o, const char *name)
{
	return err_set(
		l->err, RC_INPUT, "calendar line %zu: %s: without %s", o->line, o->name, name);
}

/* RFC 5546 3.2.2 and 3.2.5; RFC 6047 2.3 wants an organizer. */
static enum rc check_message(const struct lint *l, const struct open *o)
{
	static const char *const needed[] = { "ORGANIZER", "ATTENDEE", "SEQUENCE", "SUMMARY" };
	if (!l->method)
		return RC_OK; /* told when all is read */
	bool cancel = strcmp(l->method, "CANCEL") == 0;
	for (size_t i = 0; i < sizeof needed / sizeof needed[0]; i++)
		if (!seen(o, needed[i]))
			return without(l, o, needed[i]);
	if (cancel && !says(o, "STATUS", "CANCELLED"))
		return bad(l, o->line, o->name, "METHOD:CANCEL without STATUS:CANCELLED");
	if (!cancel && says(o, "STATUS", "CANCELLED"))
		return bad(l, o->line, o->name, "METHOD:REQUEST with STATUS:CANCELLED");
	if (cancel && o->holds)
		return bad(l, o->line, o->name, "METHOD:CANCEL with an alarm");
	return RC_OK;
}

static enum rc check_item(struct lint *l, const struct open *o)
{
	const struct calendar_line *stamp = seen(o, "DTSTAMP");
	if (seen(o, "LAST-MODIFIED") && !says(o, "LAST-MODIFIED", stamp->value))
		return bad(l, stamp->number, "DTSTAMP", "not the same as LAST-MODIFIED");
	bool done = says(o, "STATUS", "COMPLETED");
	if (done != says(o, "COMPLETED", NULL) || done != says(o, "PERCENT-COMPLETE", "100"))
		return bad(l, o->line, o->name,
			"STATUS:COMPLETED, COMPLETED and PERCENT-COMPLETE:100 go together");
	enum rc rc = l->whose == MESSAGE ? check_message(l, o) : RC_OK;
	if (rc == RC_OK)
		rc = check_span(l, o, "DTEND");
	if (rc == RC_OK)
		rc = check_span(l, o, "DUE");
	return rc == RC_OK && strcmp(o->name, "VEVENT") == 0 ? check_event(l, o) : rc;
}

/* An instant rings once; what comes every week has its alarm before each (RFC 5545 3.8.6.3). */
static enum rc check_alarm(const struct lint *l, const struct open *o, const struct open *item)
{
	const struct calendar_line *trigger = seen(o, "TRIGGER");
	if (trigger && seen(item, "RRULE") && trigger->type)
		return bad(l, trigger->number, "TRIGGER", "an instant for what comes every week");
	if (trigger && !seen(item, "RRULE") && !trigger->type)
		return bad(l, trigger->number, "TRIGGER", "not a UTC instant");
	return RC_OK;
}

static enum rc check_component(struct lint *l, const struct open *o)
{
	if (seen(o, "DTSTAMP"))
		return check_item(l, o);
	if (strcmp(o->name, "VALARM") == 0)
		return check_alarm(l, o, o - 1);
	const struct calendar_line *onset = seen(o, "DTSTART");
	const struct calendar_line *zone = onset ? seen(o - 1, "TZID") : NULL;
	if (zone)
		keep_first(find(l->zones, l->n_zones, zone->value), onset->value);
	return RC_OK;
}

static enum rc end(struct lint *l, const struct calendar_line *line)
{
	const struct open *o = &l->open[l->depth - 1];
	if (strcmp(o->name, line->value) != 0)
		return bad(l, line->number, line->value, "END without its BEGIN");
	l->depth--;
	l->ended = l->depth == 0;
	if (!o->kind)
		return RC_OK;
	for (size_t i = 0; i < CALENDAR_PROPERTIES && o->kind->rules[i].name; i++)
		if (o->kind->rules[i].often == OFTEN_ONCE && !has(o, i))
			return without(l, o, o->kind->rules[i].name);
	if (o->kind->holds && !o->holds)
		return bad(l, o->line, o->name, "holds no component");
	return l->whose != FOREIGN ? check_component(l, o) : RC_OK;
}

static enum rc judge(struct lint *l, const struct calendar_line *line)
{
	bool edge = strcmp(line->name, "BEGIN") == 0 || strcmp(line->name, "END") == 0;
	if (edge && line->n_params > 0)
		return bad(l, line->number, line->name, "takes no parameter");
	if (edge && l->whose == FOREIGN) /* names of components in capitals */
		for (char *p = l->lines.text + (line->value - l->lines.text); *p; p++)
			*p = *p >= 'a' && *p <= 'z' ? (char)(*p - 'a' + 'A') : *p;
	if (edge && line->name[0] == 'B')
		return begin(l, line);
	if (l->depth == 0)
		return bad(l, line->number, line->name, "outside VCALENDAR");
	return edge ? end(l, line) : property(l, line);
}

static int by_text(const void *a, const void *b)
{
	const struct name *x = a;
	const struct name *y = b;
	int d = strcmp(x->text, y->text);
	return d ? d : (x->line > y->line) - (x->line < y->line);
}

/* What can be said only when all lines were read. */
static enum rc check_whole(struct lint *l)
{
	if (l->depth > 0)
		return bad(l, l->open[l->depth - 1].line, l->open[l->depth - 1].name,
			"BEGIN without its END");
	if (!l->ended)
		return bad(l, l->lines.number, "VCALENDAR", "not there");
	if (l->whose == MESSAGE && !l->method)
		return bad(l, l->lines.number, "METHOD", "not there");
	for (size_t i = 0; i < l->n_used; i++) {
		const struct name *used = &l->used[i];
		const struct name *zone = find(l->zones, l->n_zones, used->text);
		if (!zone)
			return bad(l, used->line, used->text, "TZID without its VTIMEZONE");
		if (!zone->first || strcmp(zone->first, used->first) > 0)
			return bad(
				l, zone->line, zone->text, "begins after a time that refers to it");
	}
	if (l->whose == MESSAGE && l->n_uids > 1)
		return bad(l, l->uids[1].line, "UID", "a message is about one event");
	if (l->n_uids > 0)
		qsort(l->uids, l->n_uids, sizeof *l->uids, by_text);
	for (size_t i = 1; i < l->n_uids; i++)
		if (strcmp(l->uids[i - 1].text, l->uids[i].text) == 0)
			return bad(l, l->uids[i].line, l->uids[i].text, "UID more than once");
	return RC_OK;
}

static enum rc lint(enum whose whose, const char *bytes, size_t len, struct err *err)
{
	struct lint l = { .whose = whose, .err = err };
	l.lines = (struct calendar_lines){ .bytes = bytes,
		.len = len,
		.manner = whose == FOREIGN ? MANNER_FOREIGN : MANNER_OURS,
		.text = mem_new(len + 1, 1) };
	if (!l.lines.text)
		return err_set(err, RC_MEM, "calendar: out of memory for %zu bytes", len);
	enum rc rc = RC_OK;
	while (rc == RC_OK && l.lines.at < len) {
		struct calendar_line line;
		rc = calendar_line_next(&l.lines, &line, err);
		if (rc == RC_OK)
			rc = judge(&l, &line);
	}
	if (rc == RC_OK)
		rc = check_whole(&l);
	mem_free(l.uids);
	mem_free(l.lines.text);
	return rc;
}

enum rc calendar_lint(const char *bytes, size_t len, struct err *err)
{
	return lint(OURS, bytes, len, err);
}

enum rc calendar_lint_message(const char *bytes, size_t len, struct err *err)
{
	return lint(MESSAGE, bytes, len, err);
}

enum rc calendar_lint_foreign(const char *bytes, size_t len, struct err *err)
{
	return lint(FOREIGN, bytes, len, err);
}
