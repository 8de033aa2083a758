#include "daemon/agenda.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "core/visits.h"
#include "daemon/calendar.h"
#include "daemon/measure.h"
#include "daemon/text.h"

/* What may free a visit of the day it was moved to: something to be done by by_s. */
struct call {
	int64_t visit, by_s;
};
struct calls {
	struct call *at;
	size_t n;
};

/* One judging round. */
struct round {
	struct measure_context at;
	const struct library *lib;
	struct item *open; /* items open at its start */
	size_t n_open;
	bool *seen; /* open[i] was judged: its rule and subject are still there */
	const struct agenda_news *news;
	struct calls *calls;
};

const char *agenda_answer_words(int answer)
{
	switch ((enum visit_answer)answer) {
	case ANSWER_ACCEPTED:
		return "accepted";
	case ANSWER_DECLINED:
		return "declined";
	case ANSWER_TENTATIVE:
		return "tentative";
	case ANSWER_NONE:
		break;
	}
	return "no answer yet";
}

void agenda_window(int64_t from_s, int64_t by_s, int64_t moved_s, int64_t *from, int64_t *by)
{
	*by = moved_s == TIME_NEVER ? by_s : moved_s;
	*from = from_s < *by ? from_s : *by;
}

static enum rc call_visit(const struct round *r, int64_t visit, int64_t by_s, struct err *err)
{
	if (visit == 0)
		return RC_OK;
	struct call *grown = mem_grow(r->calls->at, r->calls->n + 1, sizeof *grown);
	if (!grown)
		return err_set(err, RC_MEM, "agenda: out of memory");
	r->calls->at = grown;
	grown[r->calls->n++] = (struct call){ visit, by_s };
	return RC_OK;
}

static enum rc keep(const struct round *r, struct item *it, struct err *err)
{
	enum rc rc = state_item_put(r->at.store, it, err);
	if (rc == RC_OK && r->news)
		r->news->item(r->news->arg, it, r->at.now_s);
	return rc;
}

static struct item *find_open(
	const struct round *r, const char *rule, const struct subject *s, size_t *index)
{
	for (size_t i = 0; i < r->n_open; i++) {
		struct item *it = &r->open[i];
		if (it->state == ITEM_OPEN && it->subject_kind == (int)s->kind &&
			strcmp(it->subject, s->name) == 0 && strcmp(it->rule, rule) == 0) {
			*index = i;
			return it;
		}
	}
	return NULL;
}

static bool settles(const struct care_rule *rule, const struct finding *f)
{
	for (size_t i = 0; i < CARE_SETTLERS && rule->settled_by[i][0]; i++)
		if (strcmp(rule->settled_by[i], finding_words()[f->kind].name) == 0)
			return true;
	return false;
}

/* The first settling finding made at or after the item opened. */
static enum rc settled_at(const struct round *r, const struct care_rule *rule,
	const struct subject *s, const struct item *it, int64_t *at_s, struct err *err)
{
	struct finding *list = NULL;
	size_t n = 0;
	enum rc rc = record_findings(r->at.store, (int)s->kind, s->name, &list, &n, err);
	*at_s = TIME_NEVER;
	for (size_t i = n; rc == RC_OK && i-- > 0;)
		if (list[i].t_s >= it->opened_s && list[i].t_s <= r->at.now_s &&
			settles(rule, &list[i]))
			*at_s = list[i].t_s;
	mem_free(list);
	return rc;
}

static enum rc close_item(
	const struct round *r, struct item *it, enum item_state how, int64_t at_s, struct err *err)
{
	it->state = (int)how;
	it->closed_s = at_s;
	return keep(r, it, err);
}

static enum rc open_item(const struct round *r, const struct care_rule *rule,
	const struct subject *s, const struct care_measure *m, enum care_weight w,
	const char *reasons, struct err *err)
{
	struct item it = {
		.subject_kind = (int)s->kind,
		.state = ITEM_OPEN,
		.weight = (int)w,
		.opened_s = r->at.now_s,
		.value = m->value,
		.closed_s = TIME_NEVER,
		.moved_s = TIME_NEVER,
		.moved_value = (double)NAN,
	};
	(void)snprintf(it.rule, sizeof it.rule, "%s", rule->name);
	(void)snprintf(it.subject, sizeof it.subject, "%s", s->name);
	(void)snprintf(it.reasons, sizeof it.reasons, "%s", reasons);
	care_window(rule, m, w, r->at.now_s, &it.from_s, &it.by_s);
	enum rc rc = calendar_uuid(it.uid, err);
	return rc == RC_OK ? keep(r, &it, err) : rc;
}

/* True when the numbers have moved enough since they were `was` to be told anew. */
static bool has_moved(const struct care_rule *rule, double was, const struct care_measure *m)
{
	double step = fabs(rule->pressing - rule->open) / 4;
	if (isnan(m->value))
		return false;
	return isnan(was) || (step > 0 && fabs(m->value - was) >= step);
}

static void widen(const struct round *r, const struct care_rule *rule, struct item *it,
	const struct care_measure *m, enum care_weight w)
{
	int64_t from = 0, by = 0;
	care_window(rule, m, w, r->at.now_s, &from, &by);
	it->weight = (int)w;
	it->from_s = from < it->from_s ? from : it->from_s;
	it->by_s = by < it->by_s ? by : it->by_s;
}

/* A moved day goes with the reason that it was moved for; *changed: something was written to the item. */
static bool is_freed(const struct care_rule *rule, struct item *it, const struct care_measure *m,
	bool heavier, bool *changed)
{
	if (it->moved_s == TIME_NEVER)
		return false;
	bool freed = heavier || (!isnan(it->moved_value) && has_moved(rule, it->moved_value, m));
	*changed = freed || (isnan(it->moved_value) && !isnan(m->value));
	if (freed)
		it->moved_s = TIME_NEVER;
	if (*changed) /* not known when it was moved: it holds for what it is now */
		it->moved_value = freed ? (double)NAN : m->value;
	return freed;
}

static enum rc keep_item(const struct round *r, const struct care_rule *rule, struct item *it,
	const struct care_measure *m, enum care_weight w, const char *reasons, struct err *err)
{
	bool heavier = (int)w > it->weight, changed = false;
	bool freed = is_freed(rule, it, m, heavier, &changed);
	bool news = heavier || has_moved(rule, it->value, m);
	if (!news && !changed)
		return RC_OK;
	if (heavier)
		widen(r, rule, it, m, w);
	if (news) {
		it->value = m->value;
		(void)snprintf(it->reasons, sizeof it->reasons, "%s", reasons);
	}
	enum rc rc = heavier ? keep(r, it, err) : state_item_put(r->at.store, it, err);
	return rc == RC_OK && (heavier || freed) ? call_visit(r, it->visit, INT64_MIN, err) : rc;
}

/* The after-winter round takes over what is loose already. */
static bool is_taken_over(
	const struct round *r, const struct care_rule *rule, const struct subject *s)
{
	size_t index = 0;
	if (rule->kind != CARE_PRELOAD)
		return false;
	for (size_t i = 0; i < r->lib->n_rules; i++)
		if (r->lib->rules[i].kind == CARE_AFTER_DRY &&
			find_open(r, r->lib->rules[i].name, s, &index))
			return true;
	return false;
}

static void count_done(const struct round *r, const struct care_rule *rule, const struct subject *s,
	struct care_measure *m, int64_t done_s, char reasons[REASONS_SIZE])
{
	char day[24];
	const char *place = s->followed ? s->followed->place : s->place ? s->place->name : NULL;
	int64_t since_s = m->since_s;
	care_count_done(rule, m, done_s);
	if (m->since_s == since_s || m->since_s == TIME_NEVER)
		return;
	zone_print_day(engine_zone(r->at.engine, place), done_s, day, sizeof day);
	text_add(reasons, REASONS_SIZE, "; ticked off %s, no finding entered", day);
}

static enum rc judge_one(
	struct round *r, const struct care_rule *rule, const struct subject *s, struct err *err)
{
	char reasons[REASONS_SIZE];
	struct care_measure m;
	size_t index = 0;
	int64_t closed = TIME_NEVER, done = TIME_NEVER, settled = TIME_NEVER;
	struct item *it = find_open(r, rule->name, s, &index);
	enum rc rc = measure(&r->at, rule, s, &m, reasons, sizeof reasons, err);
	if (it)
		r->seen[index] = true;
	if (rc == RC_OK && it)
		rc = settled_at(r, rule, s, it, &settled, err);
	if (rc == RC_OK && settled != TIME_NEVER)
		return close_item(r, it, ITEM_DONE, settled, err);
	if (rc == RC_OK && is_taken_over(r, rule, s))
		return it ? close_item(r, it, ITEM_WITHDRAWN, r->at.now_s, err) : RC_OK;
	if (rc != RC_OK)
		return rc;
	struct care_judgement j = care_judge(rule, &m, it != NULL, TIME_NEVER, r->at.now_s);
	if (j.verdict == CARE_OPEN) { /* only then it matters when the last one was closed */
		rc = state_last_closed(
			r->at.store, rule->name, (int)s->kind, s->name, &closed, &done, err);
		count_done(r, rule, s, &m, done, reasons);
		j = care_judge(rule, &m, false, closed, r->at.now_s);
	}
	if (rc != RC_OK)
		return rc;
	switch (j.verdict) {
	case CARE_NOTHING:
		return RC_OK;
	case CARE_OPEN:
		return open_item(r, rule, s, &m, j.weight, reasons, err);
	case CARE_KEEP:
		return keep_item(r, rule, it, &m, j.weight, reasons, err);
	case CARE_WITHDRAW:
		return close_item(r, it, ITEM_WITHDRAWN, r->at.now_s, err);
	}
	return RC_OK;
}

static enum rc judge_rules(struct round *r, const struct subject *s, struct err *err)
{
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < r->lib->n_rules; i++)
		if (care_subject_of((enum care_kind)r->lib->rules[i].kind) == s->kind)
			rc = judge_one(r, &r->lib->rules[i], s, err);
	return rc;
}

static enum rc judge_subjects(struct round *r, struct err *err)
{
	size_t n = 0;
	const struct followed *list = engine_followed(r->at.engine, &n);
	const struct settings *set = r->at.set;
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < n; i++) {
		struct subject s = { CARE_OF_INSTRUMENT, list[i].record.name, &list[i], NULL,
			NULL };
		if (list[i].record.until_s > r->at.now_s && list[i].record.since_s <= r->at.now_s)
			rc = judge_rules(r, &s, err);
	}
	for (size_t i = 0; rc == RC_OK && i < set->n_places; i++) {
		struct subject s = { CARE_OF_PLACE, set->places[i].name, NULL, &set->places[i],
			NULL };
		rc = judge_rules(r, &s, err);
	}
	for (size_t i = 0; rc == RC_OK && i < set->n_sensors; i++) {
		struct subject s = { CARE_OF_SENSOR, set->sensors[i].name, NULL,
			settings_place(set, set->sensors[i].place), &set->sensors[i] };
		rc = judge_rules(r, &s, err);
	}
	return rc;
}

/* Items whose rule or subject is gone. */
static enum rc drop_orphans(struct round *r, struct err *err)
{
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < r->n_open; i++)
		if (!r->seen[i])
			rc = close_item(r, &r->open[i], ITEM_WITHDRAWN, r->at.now_s, err);
	return rc;
}

/* ---- visits ---- */

static int64_t client_of(const struct round *r, const struct item *it)
{
	const struct care_rule *rule = library_rule(r->lib, it->rule);
	if (!rule || !rule->visit || it->subject_kind != CARE_OF_INSTRUMENT)
		return 0;
	const struct followed *f = engine_find(r->at.engine, it->subject);
	return f ? f->record.client_id : 0;
}

static enum rc new_visit(const struct round *r, int64_t client, struct visit *v, struct err *err)
{
	*v = (struct visit){ .client = client,
		.state = ITEM_OPEN,
		.opened_s = r->at.now_s,
		.closed_s = TIME_NEVER,
		.at_s = TIME_NEVER,
		.answered_s = TIME_NEVER,
		.moved_s = TIME_NEVER };
	enum rc rc = calendar_uuid(v->uid, err);
	return rc == RC_OK ? state_visit_put(r->at.store, v, err) : rc;
}

/* Puts items[i] into the visit that slots[i] found for it; new visits are made as they are met. */
static enum rc assign(const struct round *r, struct item *items, const struct visit_item *slots,
	size_t n, int64_t *fresh, struct err *err)
{
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < n; i++) {
		int64_t to = slots[i].visit;
		if (to == 0 || to == items[i].visit)
			continue;
		struct visit v = { .id = to > 0 ? to : fresh[-to - 1] };
		if (v.id == 0)
			rc = new_visit(r, slots[i].client, &v, err);
		if (rc == RC_OK && to < 0)
			fresh[-to - 1] = v.id;
		items[i].visit = v.id;
		if (rc == RC_OK)
			rc = state_item_put(r->at.store, &items[i], err);
		if (rc == RC_OK)
			rc = call_visit(r, v.id, slots[i].by_s, err);
	}
	return rc;
}

#define VISIT_LEAST_S (7 * DAY_S) /* a client needs some days to come */

/* True when something came up that cannot wait for the day it was moved to. */
static bool is_called(const struct round *r, const struct visit *v)
{
	bool called = false;
	for (size_t i = 0; i < r->calls->n && v->moved_s != TIME_NEVER; i++)
		called = called ||
			 (r->calls->at[i].visit == v->id && r->calls->at[i].by_s < v->moved_s);
	return called;
}

/* A visit ends with the earliest last day of its open items. It begins when all of them are sensible, but leaves
 * VISIT_LEAST_S where the first of them allows it. */
static enum rc settle_visit(
	const struct round *r, struct visit *v, const struct item *items, size_t n, struct err *err)
{
	int64_t first = TIME_NEVER, from = INT64_MIN, by = TIME_NEVER;
	bool done = false, open = false;
	for (size_t i = 0; i < n; i++) {
		if (items[i].visit != v->id)
			continue;
		done = done || items[i].state == ITEM_DONE;
		if (items[i].state != ITEM_OPEN)
			continue;
		open = true;
		int64_t own_from, own_by;
		agenda_window(items[i].from_s, items[i].by_s, items[i].moved_s, &own_from, &own_by);
		first = own_from < first ? own_from : first;
		from = own_from > from ? own_from : from;
		by = own_by < by ? own_by : by;
	}
	struct visit was = *v;
	if (is_called(r, v))
		v->moved_s = TIME_NEVER;
	if (open) {
		int64_t latest = by - VISIT_LEAST_S > first ? by - VISIT_LEAST_S : first;
		v->by_s = by;
		v->from_s = from < latest ? from : latest;
	} else {
		v->state = done ? ITEM_DONE : ITEM_WITHDRAWN;
		v->closed_s = r->at.now_s;
	}
	bool same = was.from_s == v->from_s && was.by_s == v->by_s && was.state == v->state &&
		    was.moved_s == v->moved_s;
	return same ? RC_OK : state_visit_put(r->at.store, v, err);
}

static enum rc settle_visits(const struct round *r, struct err *err)
{
	struct visit *visits = NULL;
	struct item *items = NULL;
	size_t n_visits = 0, n = 0;
	enum rc rc = state_visits(r->at.store, TIME_NEVER, &visits, &n_visits, err);
	int64_t oldest = r->at.now_s;
	for (size_t i = 0; i < n_visits; i++)
		oldest = visits[i].opened_s < oldest ? visits[i].opened_s : oldest;
	if (rc == RC_OK)
		rc = state_items(r->at.store, oldest, &items, &n, err);
	for (size_t i = 0; rc == RC_OK && i < n_visits; i++)
		rc = settle_visit(r, &visits[i], items, n, err);
	mem_free(visits);
	mem_free(items);
	return rc;
}

static enum rc gather_visits(const struct round *r, struct err *err)
{
	struct item *items = NULL;
	size_t n = 0;
	enum rc rc = state_items(r->at.store, TIME_NEVER, &items, &n, err);
	struct visit_item *slots = mem_new(n, sizeof *slots);
	size_t *order = mem_new(n, sizeof *order);
	int64_t *fresh = mem_new(n, sizeof *fresh);
	if (rc == RC_OK && (!slots || !order || !fresh))
		rc = err_set(err, RC_MEM, "agenda: out of memory");
	for (size_t i = 0; rc == RC_OK && i < n; i++) {
		slots[i] = (struct visit_item){ .client = client_of(r, &items[i]),
			.visit = items[i].visit };
		agenda_window(items[i].from_s, items[i].by_s, items[i].moved_s, &slots[i].from_s,
			&slots[i].by_s);
	}
	if (rc == RC_OK) {
		(void)visits_gather(slots, n, order);
		rc = assign(r, items, slots, n, fresh, err);
	}
	mem_free(items);
	mem_free(slots);
	mem_free(order);
	mem_free(fresh);
	return rc == RC_OK ? settle_visits(r, err) : rc;
}

enum rc agenda_judge(struct store *store, const struct engine *engine, const struct settings *set,
	const struct library *lib, int64_t now_s, const struct agenda_news *news, struct err *err)
{
	struct calls calls = { .n = 0 };
	struct round r = {
		.at = { store, engine, set, now_s }, .lib = lib, .news = news, .calls = &calls
	};
	enum rc rc = state_items(store, TIME_NEVER, &r.open, &r.n_open, err);
	r.seen = mem_new(r.n_open, sizeof *r.seen);
	if (rc == RC_OK && !r.seen)
		rc = err_set(err, RC_MEM, "agenda: out of memory");
	if (rc == RC_OK)
		rc = judge_subjects(&r, err);
	if (rc == RC_OK)
		rc = drop_orphans(&r, err);
	if (rc == RC_OK)
		rc = gather_visits(&r, err);
	mem_free(r.open);
	mem_free(r.seen);
	mem_free(calls.at);
	return rc;
}

enum rc agenda_forget(struct store *store, int64_t from_s, struct err *err)
{
	enum rc rc = store_begin(store, err);
	if (rc != RC_OK)
		return rc;
	rc = state_forget(store, from_s, err);
	if (rc == RC_OK)
		return store_commit(store, err);
	store_rollback(store);
	return rc;
}

enum rc agenda_close(
	struct store *store, int64_t item, enum item_state how, int64_t at_s, struct err *err)
{
	struct item *items = NULL;
	size_t n = 0;
	enum rc rc = state_items(store, TIME_NEVER, &items, &n, err);
	size_t i = 0;
	while (i < n && (items[i].id != item || items[i].state != ITEM_OPEN))
		i++;
	if (rc == RC_OK && i == n)
		rc = err_set(err, RC_UNKNOWN, "item %lld: not open: see `seasonctl agenda`",
			(long long)item);
	if (rc == RC_OK) {
		items[i].state = (int)how;
		items[i].closed_s = at_s;
		rc = state_item_put(store, &items[i], err);
	}
	mem_free(items);
	return rc;
}
