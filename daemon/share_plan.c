/* The agenda's pages against what was last sent. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/calendar_seen.h"
#include "daemon/share_int.h"
#include "daemon/text.h"

enum {
	RENDITION_SIZE = CALENDAR_TEXT_MAX,
	STUCK_AGAIN_S = 86400,
	UNWANTED_KEPT_S = 30 * 86400, /* for people to see what became of an entry */
	NOTED_KEPT_S = 2 * 366 * 86400 /* lines of entries that are long done */
};

struct planning {
	const struct hearing *h;
	struct known *known;
	size_t n_sorted; /* of known, in order of uid */
	bool *shown; /* of each of those */
	struct plan *plan;
	char *words; /* RENDITION_SIZE, for a description with its answers */
	struct err *err;
};

static enum rc no_memory(struct err *err)
{
	return err_set(err, RC_MEM, "calendars: out of memory");
}

/* ---- our text ---- */

struct answers {
	const struct zone *zone;
	char *words;
	int64_t last_s;
};

static void add_answer(void *arg, const char *line, const char *answer, int64_t t_s)
{
	struct answers *a = arg;
	(void)line;
	if (!answer[0])
		return;
	char day[24];
	zone_print_day(a->zone, t_s, day, sizeof day);
	text_add(a->words, RENDITION_SIZE, "\n%s: %s", day, answer);
	a->last_s = t_s > a->last_s ? t_s : a->last_s;
}

/* The page as it is put: with what was answered to people's lines below its description. */
static enum rc rendition(const struct planning *p, const struct page *page, char **ours)
{
	struct calendar_entry entry = page->entry;
	struct answers a = { .zone = p->h->zone, .words = p->words, .last_s = entry.modified_s };
	size_t len = 0;
	(void)snprintf(p->words, RENDITION_SIZE, "%s", entry.description ? entry.description : "");
	enum rc rc = store_noted_each(p->h->app->desk.store, entry.uid, add_answer, &a, p->err);
	if (rc != RC_OK)
		return rc;
	entry.description = p->words;
	entry.modified_s = a.last_s;
	return calendar_resource(p->h->kind, &entry, ours, &len, p->err);
}

/* ---- jobs ---- */

static enum rc add_job(const struct planning *p, const struct job *job)
{
	struct plan *plan = p->plan;
	if (plan->n == plan->cap) {
		size_t cap = plan->cap ? 2 * plan->cap : 16;
		struct job *more = mem_grow(plan->job, cap, sizeof *more);
		if (!more)
			return no_memory(p->err);
		plan->job = more;
		plan->cap = cap;
	}
	plan->job[plan->n++] = *job;
	return RC_OK;
}

static enum rc put_row(const struct planning *p, const struct resource *r)
{
	return store_resource_put(
		p->h->app->desk.store, p->h->edition->name, p->h->kind, r, p->err);
}

/* The server did not take it not long ago. */
static bool is_resting(const struct planning *p, const struct resource *r, const char *ours)
{
	bool away = r->state == RESOURCE_ELSEWHERE && strcmp(r->outcome, SHARE_AWAY) != 0;
	return (r->state == RESOURCE_STUCK || away) && r->outcome[0] && r->trying &&
	       strcmp(r->trying, ours) == 0 && p->h->now_s < r->t_s + STUCK_AGAIN_S;
}

/* Sends ours unless the server has it; ours is the plan's or released. */
static enum rc plan_page(const struct planning *p, size_t i, char *ours)
{
	struct resource *r = &p->known->r[i];
	bool there = r->href[0], unread = there && !(r->sent && r->seen);
	enum rc rc = RC_OK;
	if (r->state == RESOURCE_UNWANTED || unread || is_resting(p, r, ours) ||
		(there && r->sent && strcmp(r->sent, ours) == 0)) {
		mem_free(ours);
		return RC_OK;
	}
	if (!share_keep_text(&r->trying, ours))
		rc = no_memory(p->err);
	if (rc == RC_OK)
		rc = put_row(p, r);
	if (rc == RC_OK)
		rc = add_job(p, &(struct job){ .kind = there ? JOB_CHANGE : JOB_CREATE,
					.resource = i,
					.ours = ours });
	if (rc != RC_OK)
		mem_free(ours);
	return rc;
}

static int by_uid(const void *key, const void *item)
{
	return strcmp(key, ((const struct resource *)item)->uid);
}

/* SIZE_MAX: not known. */
static size_t find(const struct planning *p, const char *uid)
{
	const struct resource *r =
		p->n_sorted ? bsearch(uid, p->known->r, p->n_sorted, sizeof *r, by_uid) : NULL;
	return r ? (size_t)(r - p->known->r) : SIZE_MAX;
}

static enum rc add_known(const struct planning *p, const char *uid, size_t *index)
{
	struct known *k = p->known;
	if (k->n == k->cap) {
		size_t cap = k->n ? 2 * k->n : 16;
		struct resource *more = mem_grow(k->r, cap, sizeof *more);
		if (!more)
			return no_memory(p->err);
		k->r = more;
		k->cap = cap;
	}
	struct resource *r = &k->r[k->n];
	*r = (struct resource){ .state = RESOURCE_KEPT, .t_s = TIME_NEVER };
	(void)snprintf(r->uid, sizeof r->uid, "%s", uid);
	*index = k->n++;
	return RC_OK;
}

static bool is_shown(const struct hearing *h, const struct calendar_entry *e)
{
	return h->kind == CALENDAR_EVENTS ? e->status == ENTRY_OPEN : !e->event_only;
}

static enum rc plan_pages(const struct planning *p, const struct pages *pages)
{
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < pages->n; i++) {
		const struct page *page = &pages->at[i];
		char *ours = NULL;
		if (!is_shown(p->h, &page->entry))
			continue;
		size_t at = find(p, page->entry.uid);
		rc = rendition(p, page, &ours);
		if (rc == RC_OK && at == SIZE_MAX)
			rc = add_known(p, page->entry.uid, &at);
		if (rc == RC_OK)
			rc = plan_page(p, at, ours);
		else
			mem_free(ours);
	}
	return rc;
}

/* What is shown no more goes first, as it makes room. */
static enum rc plan_deletes(const struct planning *p, const struct pages *pages)
{
	const struct hearing *h = p->h;
	enum rc rc = RC_OK;
	for (size_t i = 0; i < pages->n; i++) {
		size_t at = is_shown(h, &pages->at[i].entry) ? find(p, pages->at[i].entry.uid)
							     : SIZE_MAX;
		if (at != SIZE_MAX)
			p->shown[at] = true;
	}
	for (size_t i = 0; rc == RC_OK && i < p->n_sorted; i++) {
		struct resource *r = &p->known->r[i];
		if (p->shown[i] ||
			(r->state == RESOURCE_UNWANTED && h->now_s < r->t_s + UNWANTED_KEPT_S))
			continue;
		if (r->href[0])
			rc = add_job(p, &(struct job){ .kind = JOB_DELETE, .resource = i });
		else
			rc = store_resource_remove(
				h->app->desk.store, h->edition->name, h->kind, r->uid, p->err);
	}
	return rc;
}

static enum rc plan_within(struct planning *p, struct pages **pages)
{
	const struct desk *d = &p->h->app->desk;
	enum rc rc = pages_make(
		d->store, d->engine, d->set, d->lib, p->h->edition, p->h->now_s, pages, p->err);
	if (rc == RC_OK)
		rc = store_noted_forget(d->store, p->h->now_s - NOTED_KEPT_S, p->err);
	if (rc == RC_OK)
		rc = plan_deletes(p, *pages);
	if (rc == RC_OK)
		rc = plan_pages(p, *pages);
	if (rc == RC_OK)
		p->plan->digest = pages_digest(*pages);
	return rc;
}

enum rc share_plan(const struct hearing *h, struct known *known, struct plan *out, struct err *err)
{
	struct store *store = h->app->desk.store;
	struct pages *pages = NULL;
	struct planning p = {
		.h = h, .known = known, .n_sorted = known->n, .plan = out, .err = err
	};
	*out = (struct plan){ 0 };
	p.shown = mem_new(known->n, sizeof *p.shown);
	p.words = mem_new(RENDITION_SIZE, 1);
	enum rc rc = p.shown && p.words ? store_begin(store, err) : no_memory(err);
	if (rc == RC_OK) {
		rc = plan_within(&p, &pages);
		if (rc == RC_OK)
			rc = store_commit(store, err);
		else
			store_rollback(store);
	}
	pages_free(pages);
	mem_free(p.shown);
	mem_free(p.words);
	if (rc != RC_OK)
		share_plan_free(out);
	return rc;
}

void share_plan_free(struct plan *p)
{
	for (size_t i = 0; i < p->n; i++)
		mem_free(p->job[i].ours);
	mem_free(p->job);
	*p = (struct plan){ 0 };
}

/* ---- the text to be put ---- */

/* Our day is news, and it is not theirs. */
static bool day_is_ours(const struct hearing *h, const struct resource *r, const char *ours)
{
	struct err ignored = { 0 };
	struct seen *s = mem_new(3, sizeof *s);
	const char *const texts[] = { r->sent, r->seen, ours };
	bool good = s;
	for (size_t i = 0; good && i < 3; i++)
		good = calendar_seen(texts[i], strlen(texts[i]), h->zone, &s[i], &ignored) ==
			       RC_OK &&
		       s[i].has_day;
	bool is = good && s[2].day != s[0].day && s[2].day != s[1].day;
	mem_free(s);
	return is;
}

/* With CRLF at line ends, which XML makes LF. */
static char *with_crlf(const char *text)
{
	size_t n = strlen(text), at = 0;
	char *out = mem_new(2 * n + 1, 1);
	for (size_t i = 0; out && i < n; i++) {
		if (text[i] == '\n' && (i == 0 || text[i - 1] != '\r'))
			out[at++] = '\r';
		out[at++] = text[i];
	}
	return out;
}

/* Not there: as it last stood there, with what people made of it, and our news laid in. */
static enum rc text_anew(const struct hearing *h, const struct resource *r, const char *ours,
	char **text, struct err *err)
{
	struct err ignored = { 0 };
	bool changed = false, known = r->seen && r->sent;
	if (known && calendar_merge(r->sent, r->seen, ours, day_is_ours(h, r, ours), text, &changed,
			     &ignored) != RC_OK)
		known = false;
	if (!changed)
		*text = with_crlf(known ? r->seen : ours);
	return *text ? RC_OK : no_memory(err);
}

enum rc share_text(const struct hearing *h, const struct resource *r, const char *ours, bool moved,
	char **text, struct err *err)
{
	bool changed = false;
	*text = NULL;
	if (!r->href[0])
		return text_anew(h, r, ours, text, err);
	if (!r->sent || !r->seen)
		return err_set(err, RC_INPUT, "not read yet");
	return calendar_merge(
		r->sent, r->seen, ours, !moved && day_is_ours(h, r, ours), text, &changed, err);
}
