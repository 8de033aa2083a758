#include "daemon/hear.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "core/notation.h"
#include "daemon/text.h"

/* ---- closing and moving ---- */

/* The open entry of that uid: its items, and the visit when it is one. */
struct entry {
	struct item *items; /* all open ones of the agenda */
	size_t n;
	const struct item *item; /* NULL: it is a visit, or not there */
	struct visit visit; /* id 0: it is none */
};

static bool is_of(const struct entry *e, const struct item *it)
{
	return e->visit.id ? it->visit == e->visit.id : it == e->item;
}

/* mem_free its items in any case. */
static enum rc find_open(
	struct store *s, const char *uid, struct entry *e, bool *found, struct err *err)
{
	*e = (struct entry){ .n = 0 };
	enum rc rc = state_items(s, TIME_NEVER, &e->items, &e->n, err);
	for (size_t i = 0; rc == RC_OK && i < e->n; i++)
		if (strcmp(e->items[i].uid, uid) == 0)
			e->item = &e->items[i];
	*found = e->item;
	if (rc == RC_OK && !e->item)
		rc = state_visit_by_uid(s, uid, &e->visit, found, err);
	if (*found && !e->item && e->visit.state != ITEM_OPEN) {
		e->visit = (struct visit){ .id = 0 };
		*found = false;
	}
	return rc;
}

static enum rc close_entry(struct store *s, const char *uid, enum item_state how, int64_t at_s,
	bool *heard, struct err *err)
{
	struct entry e;
	bool any = false, found = false;
	enum rc rc = find_open(s, uid, &e, &found, err);
	for (size_t i = 0; rc == RC_OK && found && i < e.n; i++) {
		struct item *it = &e.items[i];
		if (!is_of(&e, it))
			continue;
		it->state = (int)how;
		it->closed_s = at_s > it->opened_s ? at_s : it->opened_s;
		rc = state_item_put(s, it, err);
		any = true;
	}
	mem_free(e.items);
	if (rc == RC_OK)
		*heard = any;
	return rc;
}

enum rc hear_done(struct store *s, const char *uid, int64_t at_s, bool *heard, struct err *err)
{
	return close_entry(s, uid, ITEM_DONE, at_s, heard, err);
}

enum rc hear_unwanted(struct store *s, const char *uid, int64_t at_s, bool *heard, struct err *err)
{
	return close_entry(s, uid, ITEM_PUT_ASIDE, at_s, heard, err);
}

enum rc hear_moved(struct store *s, const char *uid, int64_t by_s, bool *heard, struct err *err)
{
	struct entry e;
	bool found = false;
	enum rc rc = find_open(s, uid, &e, &found, err);
	if (rc == RC_OK && e.visit.id) {
		e.visit.moved_s = by_s;
		rc = state_visit_put(s, &e.visit, err);
	} else if (rc == RC_OK && found) {
		struct item it = *e.item;
		it.moved_s = by_s;
		it.moved_value = it.value;
		rc = state_item_put(s, &it, err);
	}
	mem_free(e.items);
	if (rc == RC_OK)
		*heard = found;
	return rc;
}

/* ---- lines ---- */

enum { SUBJECTS_MAX = 256 }; /* of one visit */

struct heard {
	struct store *store;
	const struct engine *engine;
	const struct settings *set;
	enum bench_units units;
	int64_t at_s;
	char *answer;
	struct err *err;
	struct {
		int kind; /* enum care_subject */
		char name[NAME_SIZE];
	} subjects[SUBJECTS_MAX];
	size_t n;
};

static void add_subject(struct heard *l, const struct item *it)
{
	for (size_t i = 0; i < l->n; i++)
		if (l->subjects[i].kind == it->subject_kind &&
			strcmp(l->subjects[i].name, it->subject) == 0)
			return;
	if (l->n == SUBJECTS_MAX)
		return;
	l->subjects[l->n].kind = it->subject_kind;
	(void)snprintf(l->subjects[l->n].name, NAME_SIZE, "%s", it->subject);
	l->n++;
}

/* Of what the entry is, open or not. */
static enum rc find_subjects(struct heard *l, const char *uid)
{
	struct item it = { .id = 0 };
	struct visit v = { .id = 0 };
	struct item *items = NULL;
	size_t n = 0;
	bool found = false;
	enum rc rc = state_item_by_uid(l->store, uid, &it, &found, l->err);
	if (rc != RC_OK)
		return rc;
	if (found) {
		add_subject(l, &it);
		return RC_OK;
	}
	rc = state_visit_by_uid(l->store, uid, &v, &found, l->err);
	if (rc == RC_OK && found)
		rc = state_items(l->store, v.opened_s, &items, &n, l->err);
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		if (items[i].visit == v.id)
			add_subject(l, &items[i]);
	mem_free(items);
	return rc;
}

static char lower(char c)
{
	return (char)(c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : c);
}

/* What follows `name` and a colon or a blank at the beginning of the line; NULL: it does not begin so. */
static const char *behind_name(const char *line, const char *name)
{
	size_t n = strlen(name);
	for (size_t i = 0; i < n; i++)
		if (lower(line[i]) != lower(name[i]))
			return NULL;
	const char *rest = line + n + strspn(line + n, " \t");
	bool colon = *rest == ':';
	if (n == 0 || (!colon && rest == line + n))
		return NULL;
	rest += colon;
	return rest + strspn(rest, " \t");
}

static const char *title_of(const struct heard *l, size_t i)
{
	const struct followed *f = engine_find(l->engine, l->subjects[i].name);
	return l->subjects[i].kind == CARE_OF_INSTRUMENT && f ? f->record.title : "";
}

/* Which subject the line names, and the rest of it; the only one when it names none. l->n: not said. */
static size_t pick(const struct heard *l, const char **text)
{
	size_t best = l->n == 1 ? 0 : l->n, most = 0;
	const char *rest = *text;
	for (size_t i = 0; i < l->n; i++) {
		const char *names[] = { l->subjects[i].name, title_of(l, i) };
		for (size_t k = 0; k < 2; k++) {
			const char *behind = behind_name(*text, names[k]);
			if (!behind || strlen(names[k]) <= most)
				continue;
			most = strlen(names[k]);
			best = i;
			rest = behind;
		}
	}
	*text = rest;
	return best;
}

static void answer(struct heard *l, const char *fmt, ...) PRINTF_LIKE(2, 3);
static void answer(struct heard *l, const char *fmt, ...)
{
	va_list ap;
	va_start(ap, fmt);
	(void)vsnprintf(l->answer, HEAR_ANSWER, fmt, ap);
	va_end(ap);
}

/* As noted, not as a gauge would round it. */
static void print_length(char *buf, size_t n, double m, bool high, enum bench_units units)
{
	double in = m / METRE_PER_INCH;
	if (units == BENCH_MM)
		(void)snprintf(buf, n, "%.4g mm", m * 1e3);
	else if (high)
		(void)snprintf(buf, n, "%.4g/64 in", in * 64);
	else
		(void)snprintf(buf, n,
			fabs(in * 1e3 - round(in * 1e3)) < 1e-3 ? "%.3f in" : "%.4f in", in);
}

static void print_turns(char *buf, size_t n, double turns)
{
	double back = 0;
	units_print_turns(buf, n, turns);
	if (!units_turns(buf, &back) || fabs(back - turns) > 1e-9)
		(void)snprintf(buf, n, "%.4g turn", turns);
}

static void print_value(char *buf, size_t n, const struct notation *f, enum bench_units units)
{
	const struct finding_word *w = &finding_words()[f->kind];
	char value[48] = "";
	bool high = f->kind == FINDING_ACTION_BASS || f->kind == FINDING_ACTION_TREBLE;
	if (w->unit == FINDING_TURNS)
		print_turns(value, sizeof value, f->value);
	else if (w->unit == FINDING_LENGTH)
		print_length(value, sizeof value, f->value, high, units);
	(void)snprintf(buf, n, "%s%s%s", w->name, value[0] ? " " : "", value);
	for (char *p = buf; *p; p++)
		*p = (char)(*p == '_' ? ' ' : *p);
}

static enum rc put(struct heard *l, size_t subject, const struct notation *found, size_t n)
{
	char text[96];
	answer(l, "Noted%s%s:", l->n > 1 ? " of " : "", l->n > 1 ? l->subjects[subject].name : "");
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < n; i++) {
		struct finding f = { .subject_kind = l->subjects[subject].kind,
			.t_s = l->at_s,
			.kind = (int)found[i].kind,
			.value = found[i].value,
			.text = "from the calendar" };
		(void)snprintf(f.subject, sizeof f.subject, "%s", l->subjects[subject].name);
		rc = record_put_finding(l->store, &f, NULL, l->err);
		print_value(text, sizeof text, &found[i], l->units);
		text_add(l->answer, HEAR_ANSWER, "%s %s", i ? "," : "", text);
	}
	return rc;
}

/* Why it cannot be noted of that subject; false: nothing speaks against it. */
static bool is_misplaced(struct heard *l, size_t subject, const struct notation *found, size_t n)
{
	int kind = l->subjects[subject].kind;
	for (size_t i = 0; i < n; i++) {
		const struct finding_word *w = &finding_words()[found[i].kind];
		if (kind != CARE_OF_PLACE && w->of_sensor == (kind == CARE_OF_SENSOR))
			continue;
		answer(l, "Not noted: %s is said of %s: please write it into an entry of one.",
			w->name, w->of_sensor ? "a sensor" : "an instrument");
		return true;
	}
	return false;
}

/* Two lines of one moment may say what cannot both be. */
static enum rc contradicts(
	struct heard *l, size_t subject, const struct notation *found, size_t n, bool *yes)
{
	struct finding *kept = NULL;
	size_t n_kept = 0;
	enum rc rc = record_findings(l->store, l->subjects[subject].kind, l->subjects[subject].name,
		&kept, &n_kept, l->err);
	for (size_t k = 0; rc == RC_OK && k < n_kept && !*yes; k++)
		for (size_t i = 0; i < n && !*yes; i++) {
			if (kept[k].t_s != l->at_s ||
				!finding_contradicts((enum finding_kind)kept[k].kind, kept[k].value,
					found[i].kind, found[i].value))
				continue;
			answer(l,
				"Not noted: %s does not go with the %s of another line: please "
				"write which of the two holds.",
				finding_words()[found[i].kind].name,
				finding_words()[kept[k].kind].name);
			*yes = true;
		}
	mem_free(kept);
	return rc;
}

/* Instruments and sensors that are gone, or were not there at that time. */
static enum rc is_away(struct heard *l, size_t subject, bool *yes)
{
	struct instrument x;
	struct err why = { 0 };
	const char *name = l->subjects[subject].name;
	if (l->subjects[subject].kind == CARE_OF_SENSOR) {
		*yes = !settings_sensor(l->set, name);
		if (*yes)
			answer(l, "Not noted: there is no sensor %s any more.", name);
		return RC_OK;
	}
	enum rc rc = record_instrument(l->store, name, &x, &why);
	if (rc != RC_OK && rc != RC_UNKNOWN)
		return err_set(l->err, rc, "%s", why.text);
	*yes = rc == RC_UNKNOWN || l->at_s < x.since_s || l->at_s > x.until_s;
	if (*yes)
		answer(l, "Not noted: %s is not followed any more.", name);
	return RC_OK;
}

static enum rc note(struct heard *l, size_t subject, const char *text)
{
	struct notation found[NOTATION_MAX];
	struct err why = { 0 };
	size_t n = 0;
	bool no = false;
	if (notation_read(text, l->units, found, &n, &why) != RC_OK) {
		answer(l, "Not noted: %.300s", why.text);
		return RC_OK;
	}
	if (is_misplaced(l, subject, found, n))
		return RC_OK;
	enum rc rc = is_away(l, subject, &no);
	if (rc == RC_OK && !no)
		rc = contradicts(l, subject, found, n, &no);
	return rc == RC_OK && !no ? put(l, subject, found, n) : rc;
}

enum rc hear_line(struct store *s, const struct engine *engine, const struct settings *set,
	const char *uid, const char *line, enum bench_units units, int64_t at_s,
	char answer_text[HEAR_ANSWER], struct err *err)
{
	struct heard l = { .store = s,
		.engine = engine,
		.set = set,
		.units = units,
		.at_s = at_s,
		.answer = answer_text,
		.err = err };
	answer_text[0] = '\0';
	enum rc rc = find_subjects(&l, uid);
	if (rc != RC_OK || l.n == 0)
		return rc;
	const char *text = line + strspn(line, " \t");
	size_t subject = pick(&l, &text);
	if (!notation_is(text)) {
		const char *colon = strchr(text, ':'); /* behind a name that is none of them? */
		if (!colon || !notation_is(colon + 1))
			return RC_OK;
		subject = l.n;
		text = colon + 1 + strspn(colon + 1, " \t");
	}
	if (subject < l.n)
		return note(&l, subject, text);
	answer(&l, "Not noted: of which one? `%.40s: %.100s` would do.", l.subjects[0].name, text);
	return RC_OK;
}
