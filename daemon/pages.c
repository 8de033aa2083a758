#include "daemon/pages.h"

#include <stdio.h>
#include <string.h>

#include "core/hash.h"
#include "core/mem.h"
#include "daemon/agenda.h"
#include "daemon/pages_round.h"
#include "daemon/phrase.h"
#include "daemon/text.h"

#define ALARM_HOUR_S (9 * HOUR_S)
#define REFRESH_S HOUR_S
#define ROUND_LENGTH_S (HOUR_S / 2)

struct pages_source {
	struct store *store;
	const struct engine *engine;
	const struct settings *set;
	const struct library *lib;
	int64_t now_s;
	struct item *items;
	size_t n_items;
	struct visit *visits;
	size_t n_visits;
	struct client *clients;
	size_t n_clients;
};

/* An edition while it is made. */
struct press {
	const struct pages_source *from;
	const struct edition *edition;
	const struct output *output;
	const struct zone *zone;
	int64_t client; /* number of the edition's client; 0: all */
	struct pages *out;
};

static const char *subject_title(
	const struct engine *engine, const struct settings *set, const struct item *it)
{
	const struct followed *f;
	const struct place *p;
	const struct sensor *x;
	switch ((enum care_subject)it->subject_kind) {
	case CARE_OF_INSTRUMENT:
		f = engine_find(engine, it->subject);
		return f ? text_or(f->record.title, f->record.name) : it->subject;
	case CARE_OF_PLACE:
		p = settings_place(set, it->subject);
		return p ? text_or(p->title, p->name) : it->subject;
	case CARE_OF_SENSOR:
		x = settings_sensor(set, it->subject);
		return x ? text_or(x->title, x->name) : it->subject;
	}
	return it->subject;
}

void pages_title(const struct engine *engine, const struct settings *set, const struct library *lib,
	const struct item *it, char *buf, size_t size)
{
	const struct care_rule *rule = library_rule(lib, it->rule);
	(void)snprintf(
		buf, size, "%s: %s", subject_title(engine, set, it), rule ? rule->title : it->rule);
}

static const char *place_of(const struct pages_source *from, const struct item *it)
{
	const struct followed *f;
	const struct sensor *x;
	switch ((enum care_subject)it->subject_kind) {
	case CARE_OF_INSTRUMENT:
		f = engine_find(from->engine, it->subject);
		return f ? f->place : "";
	case CARE_OF_PLACE:
		return it->subject;
	case CARE_OF_SENSOR:
		x = settings_sensor(from->set, it->subject);
		return x ? x->place : "";
	}
	return "";
}

/* ---- what belongs to an edition ---- */

static int64_t client_number(const struct pages_source *from, const char *name)
{
	for (size_t i = 0; name[0] && i < from->n_clients; i++)
		if (strcmp(from->clients[i].name, name) == 0)
			return from->clients[i].id;
	return 0;
}

static bool is_of_client(const struct press *p, const struct item *it)
{
	const struct followed *f = it->subject_kind == CARE_OF_INSTRUMENT
					   ? engine_find(p->from->engine, it->subject)
					   : NULL;
	return f && strcmp(f->record.client, p->edition->client) == 0;
}

static bool is_fresh(const struct press *p, int state, int64_t closed_s)
{
	return state == ITEM_OPEN ||
	       (state == ITEM_DONE && closed_s > p->from->now_s - p->output->keep_done_s);
}

/* A visit goes from place to place, so in the calendar of one place its items stand alone. */
static bool has_visits(const struct press *p)
{
	return !p->edition->place[0];
}

static bool shows_item(const struct press *p, const struct item *it)
{
	const struct edition *e = p->edition;
	return is_fresh(p, it->state, it->closed_s) && (it->visit == 0 || !has_visits(p)) &&
	       (!e->client[0] || is_of_client(p, it)) &&
	       (!e->place[0] || strcmp(place_of(p->from, it), e->place) == 0);
}

/* An instrument may have gone to another client since. */
static bool belongs(const struct press *p, const struct item *it, const struct visit *v)
{
	return it->visit == v->id &&
	       (v->state == ITEM_OPEN ? it->state == ITEM_OPEN : it->state == ITEM_DONE) &&
	       (!p->edition->client[0] || is_of_client(p, it));
}

/* How many different instruments the items of a visit name. */
static size_t count_instruments(const struct press *p, const struct visit *v)
{
	const struct item *items = p->from->items;
	size_t n = 0;
	for (size_t i = 0; i < p->from->n_items; i++) {
		bool first = belongs(p, &items[i], v);
		for (size_t j = 0; first && j < i; j++)
			first = !(belongs(p, &items[j], v) &&
				  strcmp(items[j].subject, items[i].subject) == 0);
		n += first;
	}
	return n;
}

static bool shows_visit(const struct press *p, const struct visit *v)
{
	return has_visits(p) && is_fresh(p, v->state, v->closed_s) &&
	       (!p->edition->client[0] || (v->client == p->client && count_instruments(p, v) > 0));
}

/* ---- the words of an entry ---- */

static int64_t usual_hour(const struct press *p, int64_t day)
{
	return zone_from_wall(p->zone, day * DAY_S + ALARM_HOUR_S).first_s;
}

/* By the clock on the wall: a day before 09:00 is 09:00 also where the clocks change in between. */
static int64_t alarm_of(const struct press *p, int64_t day)
{
	const struct output *o = p->output;
	return o->alarms ? zone_from_wall(p->zone, day * DAY_S + ALARM_HOUR_S - o->alarm_before_s)
				   .first_s
			 : TIME_NEVER;
}

/* From when to when something is due by itself, and the day that a person moved it to; TIME_NEVER: none did. */
struct window {
	int64_t from_s, by_s, moved_s;
};

/* Whole days: what was moved is due on its day and no other, also as an event. */
static void set_days(const struct press *p, struct page *page, struct window w)
{
	bool moved = w.moved_s != TIME_NEVER;
	page->entry.start_day = zone_day(p->zone, moved ? w.moved_s : w.from_s);
	page->entry.due_day = zone_day(p->zone, moved ? w.moved_s : w.by_s);
	page->entry.alarm_s = alarm_of(p, page->entry.start_day);
}

static void window_words(const struct press *p, struct window w, char *buf, size_t size)
{
	const char *language = p->output->language;
	char from[PHRASE_DATE], by[PHRASE_DATE], moved[PHRASE_DATE];
	phrase_day(language, p->zone, w.from_s, from, sizeof from);
	phrase_day(language, p->zone, w.by_s, by, sizeof by);
	if (w.moved_s == TIME_NEVER) {
		text_add(buf, size, "Between %s and %s", from, by);
		return;
	}
	phrase_day(language, p->zone, w.moved_s, moved, sizeof moved);
	text_add(buf, size, "On %s (moved there by hand, foreseen between %s and %s)", moved, from,
		by);
}

static void reasons_of(const struct press *p, const struct item *it, char reasons[PHRASE_SIZE])
{
	phrase_show(
		it->reasons, p->edition->units, p->output->language, p->zone, reasons, PHRASE_SIZE);
}

/* Appends each text once. */
static void add_once(char *buf, size_t size, const char *text)
{
	if (text[0] && !strstr(buf, text))
		text_add(buf, size, "%s%s", buf[0] ? " " : "", text);
}

static void add_caution(char *buf, size_t size, const char *caution)
{
	if (caution[0])
		text_add(buf, size, "\nCaution: %s", caution);
}

static int priority_of(enum care_weight w)
{
	switch (w) {
	case CARE_LEISURE:
		return 8;
	case CARE_SOON:
		return 5;
	case CARE_PRESSING:
		return 2;
	}
	return 0;
}

static enum entry_status status_of(int state)
{
	return state == ITEM_OPEN ? ENTRY_OPEN : state == ITEM_DONE ? ENTRY_DONE : ENTRY_CANCELLED;
}

static enum calendar_class class_of(const struct output *o)
{
	switch ((enum output_privacy)o->privacy) {
	case PRIVACY_PRIVATE:
		return CLASS_PRIVATE;
	case PRIVACY_CONFIDENTIAL:
		return CLASS_CONFIDENTIAL;
	case PRIVACY_PUBLIC:
		break;
	}
	return CLASS_PUBLIC;
}

static struct page *new_page(struct press *p, const char *uid)
{
	struct page *page = &p->out->at[p->out->n++];
	memset(page, 0, sizeof *page);
	(void)snprintf(page->uid, sizeof page->uid, "%s", uid);
	page->entry = (struct calendar_entry){
		.uid = page->uid,
		.summary = page->summary,
		.description = page->description,
		.location = page->location,
		.contact = page->contact,
		.categories = "seasonal care",
		.class = class_of(p->output),
	};
	return page;
}

static void set_course(struct page *page, int state, int64_t opened_s, int64_t closed_s)
{
	page->entry.status = status_of(state);
	page->entry.created_s = opened_s;
	page->entry.done_s = closed_s;
}

static void item_page(struct press *p, const struct item *it)
{
	struct page *page = new_page(p, it->uid);
	const struct pages_source *from = p->from;
	const struct care_rule *rule = library_rule(from->lib, it->rule);
	const struct place *place = settings_place(from->set, place_of(from, it));
	const struct window w = { it->from_s, it->by_s, it->moved_s };
	char reasons[PHRASE_SIZE];
	page->item = it->id;
	reasons_of(p, it, reasons);
	set_days(p, page, w);
	set_course(page, it->state, it->opened_s, it->closed_s);
	page->entry.priority = priority_of((enum care_weight)it->weight);
	pages_title(from->engine, from->set, from->lib, it, page->summary, sizeof page->summary);
	if (place && !p->edition->client[0]) /* a place may be called after another client */
		text_add(page->location, sizeof page->location, "%s",
			text_or(place->title, place->name));
	text_add(page->description, sizeof page->description, "%s.\n", reasons);
	window_words(p, w, page->description, sizeof page->description);
	text_add(page->description, sizeof page->description, ", %s.",
		care_weight_words((enum care_weight)it->weight));
	if (rule && rule->advice[0])
		text_add(page->description, sizeof page->description, "\n%s", rule->advice);
	if (rule)
		add_caution(page->description, sizeof page->description, rule->caution);
}

/* ---- visits ---- */

/* Whom a visit is with: to the bench its client, to the client the bench. */
static void visit_with(
	const struct press *p, const struct visit *v, const struct client *c, struct page *page)
{
	bool own = p->edition->client[0];
	const char *who = own ? p->from->set->bench_name
			  : c ? text_or(c->title, c->name)
			      : "client";
	size_t many = count_instruments(p, v);
	text_add(page->summary, sizeof page->summary, "Seasonal visit: %s%s%zu instrument%s", who,
		who[0] ? ", " : "", many, many == 1 ? "" : "s");
	if (!c)
		return;
	text_add(page->location, sizeof page->location, "%s", c->address);
	if (own)
		text_add(page->contact, sizeof page->contact, "%s", who);
	else
		text_add(page->contact, sizeof page->contact, "%s%s%s", who,
			c->address[0] ? ", " : "", c->address);
}

/* The day is the appointment's; an alarm comes at the usual hour of that day, or at the appointment when that is earlier. */
static void set_appointment(struct press *p, struct page *page, const struct visit *v)
{
	struct calendar_entry *e = &page->entry;
	char when[PHRASE_DATE];
	e->at_s = v->at_s;
	e->length_s = v->length_s;
	e->start_day = e->due_day = zone_day(p->zone, v->at_s);
	e->alarm_s = alarm_of(p, e->start_day);
	if (e->alarm_s != TIME_NEVER && v->at_s < usual_hour(p, e->start_day))
		e->alarm_s = v->at_s - p->output->alarm_before_s;
	phrase_minute(p->output->language, p->zone, v->at_s, when, sizeof when);
	text_add(page->description, sizeof page->description, "Appointment %s", when);
	if (v->answer != ANSWER_NONE)
		text_add(page->description, sizeof page->description, ", %s",
			agenda_answer_words(v->answer));
	text_add(page->description, sizeof page->description, ".\n");
}

static void visit_page(struct press *p, const struct visit *v)
{
	struct page *page = new_page(p, v->uid);
	const struct pages_source *from = p->from;
	const struct window w = { v->from_s, v->by_s, v->moved_s };
	char cautions[2 * CARE_LONG] = "", advice[2 * CARE_LONG] = "", title[SUMMARY_SIZE];
	char reasons[PHRASE_SIZE];
	char *text = page->description;
	enum { N = sizeof page->description };
	int weight = CARE_LEISURE;
	page->visit = v->id;
	set_days(p, page, w);
	set_course(page, v->state, v->opened_s, v->closed_s);
	visit_with(p, v, record_client_by_id(from->clients, from->n_clients, v->client), page);
	if (v->at_s != TIME_NEVER && v->length_s > 0)
		set_appointment(p, page, v);
	window_words(p, w, text, N);
	text_add(text, N, ":");
	for (size_t i = 0; i < from->n_items; i++) {
		const struct item *it = &from->items[i];
		if (!belongs(p, it, v))
			continue;
		const struct care_rule *rule = library_rule(from->lib, it->rule);
		pages_title(from->engine, from->set, from->lib, it, title, sizeof title);
		reasons_of(p, it, reasons);
		text_add(text, N, "\n- %s (%s): %s.", title,
			care_weight_words((enum care_weight)it->weight), reasons);
		weight = it->weight > weight ? it->weight : weight;
		if (rule) {
			add_once(advice, sizeof advice, rule->advice);
			add_once(cautions, sizeof cautions, rule->caution);
		}
	}
	if (advice[0])
		text_add(text, N, "\n%s", advice);
	add_caution(text, N, cautions);
	page->entry.priority = priority_of((enum care_weight)weight);
}

/* ---- the weekly round ---- */

/* An alarm has one time in a calendar, so what comes every week has none. */
static enum rc round_page(struct press *p, struct err *err)
{
	struct round round;
	const struct place *place = settings_place(p->from->set, p->edition->place);
	enum rc rc = pages_round(p->from->store, p->edition, p->zone, p->from->now_s, &round, err);
	if (rc != RC_OK)
		return rc;
	struct page *page = new_page(p, round.uid);
	struct calendar_entry *e = &page->entry;
	set_course(page, ITEM_OPEN, round.made_s, TIME_NEVER);
	e->start_day = e->due_day = zone_day(p->zone, round.first_s);
	e->alarm_s = TIME_NEVER;
	e->at_s = round.first_s;
	e->length_s = ROUND_LENGTH_S;
	e->weekly_zone = p->out->zone;
	e->event_only = true;
	text_add(page->summary, sizeof page->summary, "Humidity round%s%s", place ? ": " : "",
		place ? text_or(place->title, place->name) : "");
	if (place)
		text_add(page->location, sizeof page->location, "%s",
			text_or(place->title, place->name));
	pages_round_words(p->from->set, p->edition, page->description, sizeof page->description);
	return RC_OK;
}

/* ---- sequence and last change ---- */

/* What came later than the first calendars counts only where it is used, so that those keep their hashes. */
static uint64_t hash_of(const struct page *page)
{
	const struct calendar_entry *e = &page->entry;
	uint64_t h = HASH_START;
	const int64_t numbers[] = { e->start_day, e->due_day, e->alarm_s, e->priority,
		(int64_t)e->status };
	const int64_t later[] = { (int64_t)e->class, e->at_s, e->length_s, e->event_only };
	h = hash_on(h, numbers, sizeof numbers);
	h = hash_text(h, page->summary);
	h = hash_text(h, page->location);
	h = hash_text(h, page->contact);
	h = hash_text(h, page->description);
	if (e->class != CLASS_PUBLIC || e->length_s > 0)
		h = hash_on(h, later, sizeof later);
	return e->weekly_zone ? hash_text(h, e->weekly_zone) : h;
}

static enum rc stamp(struct press *p, struct page *page, struct err *err)
{
	struct publication was = { 0 };
	bool found = false;
	uint64_t hash = hash_of(page);
	struct store *store = p->from->store;
	const char *name = p->edition->name;
	enum rc rc = state_publication(store, name, page->uid, &was, &found, err);
	if (rc == RC_OK && (!found || was.hash != hash)) {
		was = (struct publication){ hash, found ? was.sequence + 1 : 0, p->from->now_s };
		rc = state_publication_put(store, name, page->uid, &was, err);
	}
	page->entry.sequence = was.sequence;
	page->entry.modified_s = was.modified_s;
	return rc;
}

uint64_t pages_digest(const struct pages *p)
{
	uint64_t h = hash_text(HASH_START, p->title);
	for (size_t i = 0; i < p->n; i++) {
		const struct calendar_entry *e = &p->at[i].entry;
		const int64_t numbers[] = { (int64_t)hash_of(&p->at[i]), e->sequence, e->modified_s,
			e->created_s, e->done_s };
		h = hash_on(h, numbers, sizeof numbers);
		h = hash_text(h, e->uid);
	}
	return h | 1;
}

/* ---- the whole ---- */

static size_t count(const struct press *p)
{
	size_t n = 0;
	for (size_t i = 0; i < p->from->n_visits; i++)
		n += shows_visit(p, &p->from->visits[i]);
	for (size_t i = 0; i < p->from->n_items; i++)
		n += shows_item(p, &p->from->items[i]);
	n += pages_has_round(p->edition);
	return n < PAGES_MAX ? n : PAGES_MAX;
}

static enum rc fill(struct press *p, size_t room, struct err *err)
{
	const struct pages_source *from = p->from;
	enum rc rc = pages_has_round(p->edition) ? round_page(p, err) : RC_OK;
	for (size_t i = 0; i < from->n_visits && p->out->n < room; i++)
		if (shows_visit(p, &from->visits[i]))
			visit_page(p, &from->visits[i]);
	for (size_t i = 0; i < from->n_items && p->out->n < room; i++)
		if (shows_item(p, &from->items[i]))
			item_page(p, &from->items[i]);
	return rc;
}

static void head(struct press *p)
{
	struct pages *out = p->out;
	const char *bench = p->from->set->bench_name;
	(void)snprintf(out->zone, sizeof out->zone, "%s", p->edition->zone);
	(void)snprintf(out->title, sizeof out->title, "%s", p->edition->title);
	(void)snprintf(out->description, sizeof out->description,
		"%s%sCare of stringed instruments, from the humidity round them", bench,
		bench[0] ? ": " : "");
	out->head = (struct calendar_head){
		.title = out->title,
		.description = out->description,
		.zone = out->zone,
		.colour = settings_colour(p->output->colour),
		.refresh_s = REFRESH_S,
	};
}

enum rc pages_of(struct pages_source *source, const struct edition *edition, struct pages **out,
	struct err *err)
{
	struct press p = { .from = source,
		.edition = edition,
		.output = edition->output,
		.zone = engine_output_zone(source->engine, edition->output),
		.client = client_number(source, edition->client),
		.out = mem_new(1, sizeof *p.out) };
	size_t room = count(&p);
	if (p.out)
		p.out->at = mem_new(room, sizeof *p.out->at);
	enum rc rc = p.out && p.out->at ? RC_OK
					: err_set(err, RC_MEM, "output \"%s\": out of memory",
						  edition->output->name);
	if (rc == RC_OK) {
		head(&p);
		rc = fill(&p, room, err);
	}
	for (size_t i = 0; rc == RC_OK && i < p.out->n; i++)
		rc = stamp(&p, &p.out->at[i], err);
	if (rc == RC_OK)
		*out = p.out;
	else
		pages_free(p.out);
	return rc;
}

void pages_free(struct pages *p)
{
	if (!p)
		return;
	mem_free(p->at);
	mem_free(p);
}

static enum rc load(struct pages_source *p, struct err *err)
{
	int64_t keep_s = 0, oldest = p->now_s;
	for (size_t i = 0; i < p->set->n_outputs; i++)
		keep_s = p->set->outputs[i].keep_done_s > keep_s ? p->set->outputs[i].keep_done_s
								 : keep_s;
	enum rc rc = state_visits(p->store, p->now_s - keep_s, &p->visits, &p->n_visits, err);
	for (size_t i = 0; i < p->n_visits; i++)
		oldest = p->visits[i].opened_s < oldest ? p->visits[i].opened_s : oldest;
	oldest = p->now_s - keep_s < oldest ? p->now_s - keep_s : oldest;
	if (rc == RC_OK)
		rc = state_items(p->store, oldest, &p->items, &p->n_items, err);
	if (rc == RC_OK)
		rc = record_clients(p->store, &p->clients, &p->n_clients, err);
	return rc;
}

enum rc pages_read(struct store *store, const struct engine *engine, const struct settings *set,
	const struct library *lib, int64_t now_s, struct pages_source **out, struct err *err)
{
	struct pages_source *p = mem_new(1, sizeof *p);
	if (!p)
		return err_set(err, RC_MEM, "calendars: out of memory");
	*p = (struct pages_source){
		.store = store, .engine = engine, .set = set, .lib = lib, .now_s = now_s
	};
	enum rc rc = load(p, err);
	if (rc == RC_OK)
		*out = p;
	else
		pages_source_free(p);
	return rc;
}

void pages_source_free(struct pages_source *p)
{
	if (!p)
		return;
	mem_free(p->items);
	mem_free(p->visits);
	mem_free(p->clients);
	mem_free(p);
}

enum rc pages_make(struct store *store, const struct engine *engine, const struct settings *set,
	const struct library *lib, const struct edition *edition, int64_t now_s, struct pages **out,
	struct err *err)
{
	struct pages_source *source = NULL;
	enum rc rc = pages_read(store, engine, set, lib, now_s, &source, err);
	if (rc == RC_OK)
		rc = pages_of(source, edition, out, err);
	pages_source_free(source);
	return rc;
}
