/* Method: a closed world. calendar_rules.c lists each component, the properties it may hold, how
 * often, and the form of their values; anything else, METHOD, RRULE and X-LIC-ERROR among it, is
 * refused. What concerns several properties is looked at when their component ends. */
#include "daemon/calendar.h"

#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/calendar_int.h"

enum { DEPTH_MAX = 3, ZONES_MAX = 32 };

/* A component that has begun and not ended. */
struct open {
	const struct calendar_component *kind;
	size_t line;
	bool holds;
	struct calendar_line seen[CALENDAR_PROPERTIES]; /* as kind->rules; name NULL: not yet */
};

struct name {
	const char *text;
	size_t line;
};

struct lint {
	struct calendar_lines lines;
	struct open open[DEPTH_MAX];
	size_t depth;
	bool ended; /* the VCALENDAR is over */
	struct name zones[ZONES_MAX], used[ZONES_MAX]; /* TZIDs defined, TZIDs referred to */
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

/* The property of that name in the component, NULL: not there. */
static const struct calendar_line *seen(const struct open *o, const char *name)
{
	size_t i = rule_index(o->kind, name);
	return i < CALENDAR_PROPERTIES && o->seen[i].name ? &o->seen[i] : NULL;
}

static enum rc add_name(
	struct lint *l, struct name *names, size_t *n, const char *text, size_t line)
{
	for (size_t i = 0; i < *n; i++)
		if (strcmp(names[i].text, text) == 0)
			return RC_OK;
	if (*n == ZONES_MAX)
		return bad(l, line, text, "more than 32 time zones");
	names[(*n)++] = (struct name){ text, line };
	return RC_OK;
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
	l->uids[l->n_uids++] = (struct name){ line->value, line->number };
	return RC_OK;
}

/* What other parts of the calendar may need of this property. */
static enum rc remember(
	struct lint *l, const struct calendar_rule *rule, const struct calendar_line *line)
{
	if (line->tzid)
		return add_name(l, l->used, &l->n_used, line->tzid, line->number);
	if (rule->form == FORM_UID)
		return add_uid(l, line);
	if (strcmp(rule->name, "TZID") == 0)
		return add_name(l, l->zones, &l->n_zones, line->value, line->number);
	return RC_OK;
}

static enum rc property(struct lint *l, const struct calendar_line *line)
{
	struct open *o = &l->open[l->depth - 1];
	size_t i = rule_index(o->kind, line->name);
	if (i == CALENDAR_PROPERTIES)
		return err_set(l->err, RC_INPUT, "calendar line %zu: %.40s: not allowed in %s",
			line->number, line->name, o->kind->name);
	const struct calendar_rule *rule = &o->kind->rules[i];
	if (o->seen[i].name && rule->often != OFTEN_MANY)
		return bad(l, line->number, line->name, "more than once");
	o->seen[i] = *line;
	const char *fault = calendar_form_fault(rule, line);
	if (fault)
		return err_set(l->err, RC_INPUT, "calendar line %zu: %s: %.40s: %s", line->number,
			line->name, line->value, fault);
	return remember(l, rule, line);
}

static enum rc begin(struct lint *l, const struct calendar_line *line)
{
	const struct calendar_component *kind = calendar_component_named(line->value);
	struct open *above = l->depth ? &l->open[l->depth - 1] : NULL;
	bool fits =
		kind && (above ? kind->parents && calendar_among(kind->parents, above->kind->name)
			       : !kind->parents && !l->ended);
	if (!fits)
		return bad(l, line->number, line->value, "component not allowed here");
	if (above)
		above->holds = true;
	l->open[l->depth++] = (struct open){ .kind = kind, .line = line->number };
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

static enum rc check_item(struct lint *l, const struct open *o)
{
	const struct calendar_line *stamp = seen(o, "DTSTAMP");
	if (seen(o, "LAST-MODIFIED") && !says(o, "LAST-MODIFIED", stamp->value))
		return bad(l, stamp->number, "DTSTAMP", "not the same as LAST-MODIFIED");
	bool done = says(o, "STATUS", "COMPLETED");
	if (done != says(o, "COMPLETED", NULL) || done != says(o, "PERCENT-COMPLETE", "100"))
		return bad(l, o->line, o->kind->name,
			"STATUS:COMPLETED, COMPLETED and PERCENT-COMPLETE:100 go together");
	enum rc rc = check_span(l, o, "DTEND");
	return rc == RC_OK ? check_span(l, o, "DUE") : rc;
}

static enum rc end(struct lint *l, const struct calendar_line *line)
{
	const struct open *o = &l->open[l->depth - 1];
	if (strcmp(o->kind->name, line->value) != 0)
		return bad(l, line->number, line->value, "END without its BEGIN");
	for (size_t i = 0; i < CALENDAR_PROPERTIES && o->kind->rules[i].name; i++)
		if (o->kind->rules[i].often == OFTEN_ONCE && !o->seen[i].name)
			return err_set(l->err, RC_INPUT, "calendar line %zu: %s: without %s",
				o->line, o->kind->name, o->kind->rules[i].name);
	if (o->kind->holds && !o->holds)
		return bad(l, o->line, o->kind->name, "holds no component");
	l->depth--;
	l->ended = l->depth == 0;
	return seen(o, "DTSTAMP") ? check_item(l, o) : RC_OK;
}

static enum rc judge(struct lint *l, const struct calendar_line *line)
{
	bool edge = strcmp(line->name, "BEGIN") == 0 || strcmp(line->name, "END") == 0;
	if (edge && (line->type || line->tzid))
		return bad(l, line->number, line->name, "takes no parameter");
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
		return bad(l, l->open[l->depth - 1].line, l->open[l->depth - 1].kind->name,
			"BEGIN without its END");
	if (!l->ended)
		return bad(l, l->lines.number, "VCALENDAR", "not there");
	for (size_t i = 0; i < l->n_used; i++) {
		size_t at = 0;
		while (at < l->n_zones && strcmp(l->zones[at].text, l->used[i].text) != 0)
			at++;
		if (at == l->n_zones)
			return bad(
				l, l->used[i].line, l->used[i].text, "TZID without its VTIMEZONE");
	}
	if (l->n_uids > 0)
		qsort(l->uids, l->n_uids, sizeof *l->uids, by_text);
	for (size_t i = 1; i < l->n_uids; i++)
		if (strcmp(l->uids[i - 1].text, l->uids[i].text) == 0)
			return bad(l, l->uids[i].line, l->uids[i].text, "UID more than once");
	return RC_OK;
}

enum rc calendar_lint(const char *bytes, size_t len, struct err *err)
{
	struct lint l = { .lines = { .bytes = bytes, .len = len }, .err = err };
	l.lines.text = mem_new(len + 1, 1);
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
