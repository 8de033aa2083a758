#include "daemon/publish.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/hash.h"
#include "core/mem.h"
#include "daemon/calendar.h"
#include "daemon/outfile.h"
#include "daemon/text.h"

enum { SUMMARY_SIZE = 256, DESCRIPTION_SIZE = 6000, ENTRIES_MAX = 10000 };
#define ALARM_HOUR_S (9 * HOUR_S)
#define REFRESH_S HOUR_S

/* One entry with the texts it points to. */
struct page {
	struct calendar_entry entry;
	char summary[SUMMARY_SIZE];
	char location[TITLE_SIZE + NOTE_SIZE];
	char contact[TITLE_SIZE + NOTE_SIZE];
	char description[DESCRIPTION_SIZE];
};

struct press {
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
	struct page *pages;
	size_t n_pages;
};

static const char *or_name(const char *title, const char *name)
{
	return title[0] ? title : name;
}

static const char *subject_title(
	const struct engine *engine, const struct settings *set, const struct item *it)
{
	const struct followed *f;
	const struct place *p;
	const struct sensor *x;
	switch ((enum care_subject)it->subject_kind) {
	case CARE_OF_INSTRUMENT:
		f = engine_find(engine, it->subject);
		return f ? or_name(f->record.title, f->record.name) : it->subject;
	case CARE_OF_PLACE:
		p = settings_place(set, it->subject);
		return p ? or_name(p->title, p->name) : it->subject;
	case CARE_OF_SENSOR:
		x = settings_sensor(set, it->subject);
		return x ? or_name(x->title, x->name) : it->subject;
	}
	return it->subject;
}

void publish_title(const struct engine *engine, const struct settings *set,
	const struct library *lib, const struct item *it, char *buf, size_t size)
{
	const struct care_rule *rule = library_rule(lib, it->rule);
	(void)snprintf(
		buf, size, "%s: %s", subject_title(engine, set, it), rule ? rule->title : it->rule);
}

static const char *place_of(const struct press *p, const struct item *it)
{
	const struct followed *f;
	const struct sensor *x;
	switch ((enum care_subject)it->subject_kind) {
	case CARE_OF_INSTRUMENT:
		f = engine_find(p->engine, it->subject);
		return f ? f->place : "";
	case CARE_OF_PLACE:
		return it->subject;
	case CARE_OF_SENSOR:
		x = settings_sensor(p->set, it->subject);
		return x ? x->place : "";
	}
	return "";
}

static void window_words(
	const struct press *p, int64_t from_s, int64_t by_s, char *buf, size_t size)
{
	char from[24], by[24];
	const struct zone *z = engine_zone(p->engine, NULL);
	zone_print_day(z, from_s, from, sizeof from);
	zone_print_day(z, by_s, by, sizeof by);
	text_add(buf, size, "Between %s and %s", from, by);
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

static struct page *new_page(struct press *p, const struct output *o, const char *uid,
	int64_t from_s, int64_t by_s, int64_t opened_s, int64_t closed_s, int state)
{
	const struct zone *z = engine_zone(p->engine, NULL);
	struct page *page = &p->pages[p->n_pages++];
	memset(page, 0, sizeof *page);
	int64_t start = zone_day(z, from_s);
	page->entry = (struct calendar_entry){
		.uid = uid,
		.summary = page->summary,
		.description = page->description,
		.location = page->location,
		.contact = page->contact,
		.categories = "seasonal care",
		.start_day = start,
		.due_day = zone_day(z, by_s),
		.alarm_s = o->alarms ? zone_day_start_s(z, start) + ALARM_HOUR_S - o->alarm_before_s
				     : TIME_NEVER,
		.created_s = opened_s,
		.done_s = closed_s,
		.status = status_of(state),
	};
	return page;
}

static void item_page(struct press *p, const struct output *o, const struct item *it)
{
	struct page *page = new_page(
		p, o, it->uid, it->from_s, it->by_s, it->opened_s, it->closed_s, it->state);
	const struct care_rule *rule = library_rule(p->lib, it->rule);
	const struct place *place = settings_place(p->set, place_of(p, it));
	page->entry.priority = priority_of((enum care_weight)it->weight);
	publish_title(p->engine, p->set, p->lib, it, page->summary, sizeof page->summary);
	if (place)
		text_add(page->location, sizeof page->location, "%s",
			or_name(place->title, place->name));
	text_add(page->description, sizeof page->description, "%s.\n", it->reasons);
	window_words(p, it->from_s, it->by_s, page->description, sizeof page->description);
	text_add(page->description, sizeof page->description, ", %s.",
		care_weight_words((enum care_weight)it->weight));
	if (rule && rule->advice[0])
		text_add(page->description, sizeof page->description, "\n%s", rule->advice);
	if (rule)
		add_caution(page->description, sizeof page->description, rule->caution);
}

static const struct client *client_by_id(const struct press *p, int64_t id)
{
	for (size_t i = 0; i < p->n_clients; i++)
		if (p->clients[i].id == id)
			return &p->clients[i];
	return NULL;
}

static bool belongs(const struct item *it, const struct visit *v)
{
	return it->visit == v->id &&
	       (v->state == ITEM_OPEN ? it->state == ITEM_OPEN : it->state == ITEM_DONE);
}

/* How many different instruments the items of a visit name. */
static size_t count_instruments(const struct press *p, const struct visit *v)
{
	size_t n = 0;
	for (size_t i = 0; i < p->n_items; i++) {
		bool first = belongs(&p->items[i], v);
		for (size_t j = 0; first && j < i; j++)
			first = !(belongs(&p->items[j], v) &&
				  strcmp(p->items[j].subject, p->items[i].subject) == 0);
		n += first;
	}
	return n;
}

static void visit_page(struct press *p, const struct output *o, const struct visit *v)
{
	struct page *page =
		new_page(p, o, v->uid, v->from_s, v->by_s, v->opened_s, v->closed_s, v->state);
	const struct client *c = client_by_id(p, v->client);
	const char *who = c ? or_name(c->title, c->name) : "client";
	char cautions[2 * CARE_LONG] = "", advice[2 * CARE_LONG] = "", title[SUMMARY_SIZE];
	char *text = page->description;
	enum { N = sizeof page->description };
	int weight = CARE_LEISURE;
	size_t many = count_instruments(p, v);
	text_add(page->summary, sizeof page->summary, "Seasonal visit: %s, %zu instrument%s", who,
		many, many == 1 ? "" : "s");
	if (c) {
		text_add(page->contact, sizeof page->contact, "%s%s%s", who,
			c->address[0] ? ", " : "", c->address);
		text_add(page->location, sizeof page->location, "%s", c->address);
	}
	window_words(p, v->from_s, v->by_s, text, N);
	text_add(text, N, ":");
	for (size_t i = 0; i < p->n_items; i++) {
		const struct item *it = &p->items[i];
		if (!belongs(it, v))
			continue;
		const struct care_rule *rule = library_rule(p->lib, it->rule);
		publish_title(p->engine, p->set, p->lib, it, title, sizeof title);
		text_add(text, N, "\n- %s (%s): %s.", title,
			care_weight_words((enum care_weight)it->weight), it->reasons);
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

/* ---- sequence and last change ---- */

static uint64_t hash_of(const struct page *page)
{
	const struct calendar_entry *e = &page->entry;
	uint64_t h = HASH_START;
	const int64_t numbers[] = { e->start_day, e->due_day, e->alarm_s, e->priority,
		(int64_t)e->status };
	h = hash_on(h, numbers, sizeof numbers);
	h = hash_text(h, page->summary);
	h = hash_text(h, page->location);
	h = hash_text(h, page->contact);
	h = hash_text(h, page->description);
	return h;
}

static enum rc stamp(struct press *p, const struct output *o, struct page *page, struct err *err)
{
	struct publication was = { 0 };
	bool found = false;
	uint64_t hash = hash_of(page);
	enum rc rc = state_publication(p->store, o->name, page->entry.uid, &was, &found, err);
	if (rc == RC_OK && (!found || was.hash != hash)) {
		was = (struct publication){ hash, found ? was.sequence + 1 : 0, p->now_s };
		rc = state_publication_put(p->store, o->name, page->entry.uid, &was, err);
	}
	page->entry.sequence = was.sequence;
	page->entry.modified_s = was.modified_s;
	return rc;
}

static bool is_shown(const struct press *p, const struct output *o, int state, int64_t closed_s)
{
	return state == ITEM_OPEN || (state == ITEM_DONE && closed_s > p->now_s - o->keep_done_s);
}

static enum rc make_pages(struct press *p, const struct output *o, struct err *err)
{
	p->n_pages = 0;
	for (size_t i = 0; i < p->n_visits && p->n_pages < ENTRIES_MAX; i++)
		if (is_shown(p, o, p->visits[i].state, p->visits[i].closed_s))
			visit_page(p, o, &p->visits[i]);
	for (size_t i = 0; i < p->n_items && p->n_pages < ENTRIES_MAX; i++)
		if (p->items[i].visit == 0 &&
			is_shown(p, o, p->items[i].state, p->items[i].closed_s))
			item_page(p, o, &p->items[i]);
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < p->n_pages; i++)
		rc = stamp(p, o, &p->pages[i], err);
	return rc;
}

enum { FILE_PATH_SIZE = PATH_SIZE + NAME_SIZE + 16 };

static void file_path(const struct output *o, enum calendar_kind kind, char *path)
{
	(void)snprintf(path, FILE_PATH_SIZE, "%s/%s-%s.ics", o->folder, o->name,
		kind == CALENDAR_EVENTS ? "events" : "todos");
}

static enum rc write_file(struct press *p, const struct output *o, enum calendar_kind kind,
	const struct calendar_entry *entries, size_t *changed, struct err *err)
{
	char path[FILE_PATH_SIZE], about[TITLE_SIZE + 80];
	const char *bench = p->set->bench_name;
	file_path(o, kind, path);
	(void)snprintf(about, sizeof about,
		"%s%sCare of stringed instruments, from the humidity round them", bench,
		bench[0] ? ": " : "");
	const struct calendar_head head = {
		.title = or_name(o->title, o->name),
		.description = about,
		.zone = p->set->zone,
		.colour = settings_colour(o->colour),
		.refresh_s = REFRESH_S,
	};
	char *bytes = NULL;
	size_t len = 0;
	bool replaced = false;
	enum rc rc = calendar_build(kind, &head, entries, p->n_pages, &bytes, &len, err);
	if (rc == RC_OK)
		rc = outfile_put(path, bytes, len, NULL, &replaced, err);
	*changed += replaced;
	mem_free(bytes);
	return rc;
}

/* The service and seasonctl may publish at the same time: whoever holds the folder writes both files. */
static int hold_folder(const struct output *o, struct err *err)
{
	int fd = open(o->folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	if (fd < 0 || flock(fd, LOCK_EX) != 0) {
		(void)err_set(err, RC_IO,
			"output \"%s\": folder %s: %s: make it, or set another folder", o->name,
			o->folder, strerror(errno));
		if (fd >= 0)
			(void)close(fd);
		return -1;
	}
	return fd;
}

/* ---- remembering ---- */

static uint64_t digest_of(const struct press *p)
{
	uint64_t h = HASH_START;
	for (size_t i = 0; i < p->n_pages; i++) {
		const struct calendar_entry *e = &p->pages[i].entry;
		const int64_t numbers[] = { (int64_t)hash_of(&p->pages[i]), e->sequence,
			e->modified_s, e->created_s, e->done_s };
		h = hash_on(h, numbers, sizeof numbers);
		h = hash_text(h, e->uid);
	}
	return h | 1; /* never that of a zeroed memory */
}

static void file_mark(
	const struct output *o, enum calendar_kind kind, int64_t *mtime_ns, int64_t *size)
{
	char path[FILE_PATH_SIZE];
	struct stat st;
	file_path(o, kind, path);
	bool there = stat(path, &st) == 0;
	*mtime_ns = there ? (int64_t)st.st_mtim.tv_sec * 1000000000 + st.st_mtim.tv_nsec : 0;
	*size = there ? (int64_t)st.st_size : -1;
}

static bool is_remembered(
	const struct press *p, size_t output, uint64_t digest, const struct publish_memory *memory)
{
	if (!memory || memory->at[output].digest != digest)
		return false;
	for (int kind = CALENDAR_EVENTS; kind <= CALENDAR_TODOS; kind++) {
		int64_t mtime_ns, size;
		file_mark(&p->set->outputs[output], (enum calendar_kind)kind, &mtime_ns, &size);
		if (mtime_ns != memory->at[output].mtime_ns[kind] ||
			size != memory->at[output].size[kind])
			return false;
	}
	return true;
}

static void remember(
	const struct press *p, size_t output, uint64_t digest, struct publish_memory *memory)
{
	if (!memory)
		return;
	memory->at[output].digest = digest;
	for (int kind = CALENDAR_EVENTS; kind <= CALENDAR_TODOS; kind++)
		file_mark(&p->set->outputs[output], (enum calendar_kind)kind,
			&memory->at[output].mtime_ns[kind], &memory->at[output].size[kind]);
}

static enum rc load(struct press *p, struct err *err)
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
	size_t pages = p->n_items + p->n_visits;
	p->pages = rc == RC_OK
			   ? mem_new(pages < ENTRIES_MAX ? pages : ENTRIES_MAX, sizeof *p->pages)
			   : NULL;
	if (rc == RC_OK && !p->pages)
		rc = err_set(err, RC_MEM, "calendars: out of memory");
	return rc;
}

static void unload(struct press *p)
{
	mem_free(p->items);
	mem_free(p->visits);
	mem_free(p->clients);
	mem_free(p->pages);
	p->items = NULL;
	p->visits = NULL;
	p->clients = NULL;
	p->pages = NULL;
}

/* Sequence numbers are durable before the files show them. Read only now, when nobody else writes the
 * folder or the store, so that a newer agenda is never replaced by an older one. */
static enum rc take_pages(struct press *p, const struct output *o, struct err *err)
{
	enum rc rc = store_begin(p->store, err);
	if (rc != RC_OK)
		return rc;
	rc = load(p, err);
	if (rc == RC_OK)
		rc = make_pages(p, o, err);
	if (rc == RC_OK)
		return store_commit(p->store, err);
	store_rollback(p->store);
	return rc;
}

static enum rc print_one(struct press *p, size_t output, struct publish_memory *memory,
	size_t *changed, struct err *err)
{
	const struct output *o = &p->set->outputs[output];
	enum rc rc = take_pages(p, o, err);
	uint64_t digest = rc == RC_OK ? digest_of(p) : 0;
	if (rc == RC_OK && is_remembered(p, output, digest, memory))
		return RC_OK;
	struct calendar_entry *entries = rc == RC_OK ? mem_new(p->n_pages, sizeof *entries) : NULL;
	if (rc == RC_OK && !entries)
		rc = err_set(err, RC_MEM, "output \"%s\": out of memory", o->name);
	for (size_t i = 0; rc == RC_OK && i < p->n_pages; i++)
		entries[i] = p->pages[i].entry;
	if (rc == RC_OK)
		rc = write_file(p, o, CALENDAR_EVENTS, entries, changed, err);
	if (rc == RC_OK)
		rc = write_file(p, o, CALENDAR_TODOS, entries, changed, err);
	mem_free(entries);
	if (rc == RC_OK)
		remember(p, output, digest, memory);
	return rc;
}

static enum rc publish_one(struct press *p, size_t output, struct publish_memory *memory,
	size_t *changed, struct err *err)
{
	int folder = hold_folder(&p->set->outputs[output], err);
	if (folder < 0)
		return RC_IO;
	enum rc rc = print_one(p, output, memory, changed, err);
	unload(p);
	(void)close(folder);
	return rc;
}

enum rc publish_all(struct store *store, const struct engine *engine, const struct settings *set,
	const struct library *lib, int64_t now_s, struct publish_memory *memory, size_t *changed,
	struct err *err)
{
	struct press p = {
		.store = store, .engine = engine, .set = set, .lib = lib, .now_s = now_s
	};
	enum rc rc = RC_OK;
	*changed = 0;
	for (size_t i = 0; i < set->n_outputs; i++) {
		enum rc one = publish_one(&p, i, memory, changed, err);
		rc = rc == RC_OK ? one : rc;
	}
	return rc;
}
