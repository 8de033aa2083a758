/* The first half of a turn: from the server into the agenda. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/share_int.h"

static void ask_changes(struct turn *t, int64_t now_s);
static enum rc load(struct turn *t, struct err *err);

/* ---- the store ---- */

static struct store *store_of(const struct turn *t)
{
	return t->account->share->owner.app->desk.store;
}

static enum rc put_row(const struct turn *t, const struct resource *r, struct err *err)
{
	return store_resource_put(store_of(t), t->edition.name, t->kind, r, err);
}

static enum rc commit_or_not(const struct turn *t, enum rc rc, struct err *err)
{
	if (rc == RC_OK)
		return store_commit(store_of(t), err);
	store_rollback(store_of(t));
	return rc;
}

/* All that was in the collection is to be put there again. */
static enum rc forget_all(struct turn *t, struct err *err)
{
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < t->known.n; i++) {
		struct resource *r = &t->known.r[i];
		if (r->state == RESOURCE_ELSEWHERE || r->state == RESOURCE_UNWANTED || !r->href[0])
			continue;
		r->href[0] = r->etag[0] = '\0';
		t->mark[i] = MARK_SAME;
		rc = put_row(t, r, err);
	}
	return rc;
}

/* ---- finding the collection ---- */

static enum rc take_found(struct turn *t, const struct dav_result *r, bool anew, struct err *err)
{
	const char *server = t->account->output->server;
	if (strlen(r->url) >= sizeof t->c.url)
		return err_set(err, RC_INPUT, "%.100s...: longer than %d octets", r->url, DAV_HREF);
	enum rc rc = store_begin(store_of(t), err);
	if (rc != RC_OK)
		return rc;
	(void)snprintf(t->c.url, sizeof t->c.url, "%s", r->url);
	(void)snprintf(t->c.server, sizeof t->c.server, "%s", server);
	t->c.token[0] = '\0';
	if (anew)
		rc = forget_all(t, err);
	if (rc == RC_OK)
		rc = store_collection_put(store_of(t), &t->c, err);
	return commit_or_not(t, rc, err);
}

static void on_found(void *arg, const struct dav_result *r, int64_t now_s)
{
	struct turn *t = arg;
	struct err err = { 0 };
	char other[EDITION_NAME] = "";
	if (r->verdict != DAV_OK) {
		share_failed(t, r, now_s);
		return;
	}
	bool anew = r->made || strcmp(t->c.server, t->account->output->server) != 0 ||
		    (t->c.url[0] && !dav_href_same(t->c.url, r->url));
	enum rc rc = account_other(t, r->url, other, &err);
	if (rc == RC_OK && other[0])
		rc = err_set(&err, RC_CONFIG,
			"%s is one calendar, and \"%s\" is kept there: give the account's address, "
			"so that each has one of its own, or show only to-dos or events",
			r->url, other);
	if (rc == RC_OK)
		rc = take_found(t, r, anew, &err);
	if (rc == RC_OK)
		ask_changes(t, now_s);
	else
		share_broke(t, &err, now_s);
}

static void ask_find(struct turn *t)
{
	const struct output *o = t->account->output;
	t->head = (struct calendar_head){ .title = t->edition.title,
		.zone = t->edition.zone,
		.colour = settings_colour(o->colour) };
	t->found = true;
	dav_find(t->account->dav, t->kind, t->name, &t->head, on_found, t);
}

bool share_find_again(struct turn *t, int64_t now_s)
{
	struct err err = { 0 };
	if (t->found)
		return false;
	share_plan_free(&t->plan);
	share_forget(t);
	if (load(t, &err) == RC_OK)
		ask_find(t);
	else
		share_broke(t, &err, now_s);
	return true;
}

/* ---- what changed ---- */

static int by_hash(const void *a, const void *b)
{
	uint64_t x = ((const struct listed *)a)->hash, y = ((const struct listed *)b)->hash;
	return x < y ? -1 : x > y;
}

enum rc share_take_list(struct turn *t, const struct dav_result *r, struct err *err)
{
	mem_free(t->listed);
	t->n_listed = 0;
	t->listed = mem_new(r->n, sizeof *t->listed);
	if (!t->listed)
		return err_set(err, RC_MEM, "calendars: out of memory");
	for (size_t i = 0; i < r->n; i++) {
		struct listed *l = &t->listed[i];
		(void)snprintf(l->href, sizeof l->href, "%s", r->entries[i].href);
		(void)snprintf(l->etag, sizeof l->etag, "%s", r->entries[i].etag);
		l->gone = r->entries[i].gone;
		l->hash = share_href_hash(l->href);
	}
	t->n_listed = r->n;
	t->whole = r->whole;
	qsort(t->listed, t->n_listed, sizeof *t->listed, by_hash);
	return RC_OK;
}

struct listed *share_listed(const struct turn *t, const char *href)
{
	uint64_t hash = share_href_hash(href);
	size_t low = 0, high = t->n_listed;
	while (low < high) {
		size_t mid = low + (high - low) / 2;
		if (t->listed[mid].hash < hash)
			low = mid + 1;
		else
			high = mid;
	}
	for (; low < t->n_listed && t->listed[low].hash == hash; low++)
		if (dav_href_same(t->listed[low].href, href))
			return &t->listed[low];
	return NULL;
}

/* One that is being put for the first time may have arrived without our hearing so. */
static enum mark mark_new(struct turn *t, struct resource *r)
{
	char href[DAV_HREF];
	struct listed *l = share_new_href(t->c.url, r->uid, href) ? share_listed(t, href) : NULL;
	if (!l || l->gone)
		return MARK_SAME;
	l->known = true;
	(void)snprintf(r->href, sizeof r->href, "%s", l->href);
	return MARK_CHANGED;
}

static enum mark mark_old(struct turn *t, const struct resource *r)
{
	struct listed *l = share_listed(t, r->href);
	if (l)
		l->known = true;
	if (!l)
		return t->whole ? MARK_GONE : r->seen ? MARK_SAME : MARK_CHANGED;
	if (l->gone)
		return MARK_GONE;
	bool same = r->seen && l->etag[0] && strcmp(l->etag, r->etag) == 0;
	return same ? MARK_SAME : MARK_CHANGED;
}

/* True: all of two or more are gone. */
static bool mark_all(struct turn *t)
{
	size_t there = 0, gone = 0;
	for (size_t i = 0; i < t->known.n; i++) {
		struct resource *r = &t->known.r[i];
		t->mark[i] = MARK_SAME;
		if (r->state == RESOURCE_ELSEWHERE || r->state == RESOURCE_UNWANTED)
			continue;
		bool old = r->href[0];
		t->mark[i] = (unsigned char)(old ? mark_old(t, r) : mark_new(t, r));
		there += old;
		gone += t->mark[i] == MARK_GONE;
	}
	return there >= 2 && gone == there;
}

/* ---- taking in ---- */

/* The known by their addresses, in order of hash. */
struct standing {
	uint64_t hash;
	size_t i;
};

static int by_standing(const void *a, const void *b)
{
	const struct standing *x = a, *y = b;
	return x->hash < y->hash ? -1 : x->hash > y->hash;
}

static struct standing *standing_of(const struct turn *t)
{
	struct standing *p = mem_new(t->known.n, sizeof *p);
	for (size_t i = 0; p && i < t->known.n; i++)
		p[i] = (struct standing){ share_href_hash(t->known.r[i].href), i };
	if (p)
		qsort(p, t->known.n, sizeof *p, by_standing);
	return p;
}

/* SIZE_MAX: of others. */
static size_t find_known(const struct turn *t, const struct standing *all, const char *href)
{
	uint64_t hash = share_href_hash(href);
	size_t low = 0, high = t->known.n;
	while (low < high) {
		size_t mid = low + (high - low) / 2;
		if (all[mid].hash < hash)
			low = mid + 1;
		else
			high = mid;
	}
	for (; low < t->known.n && all[low].hash == hash; low++)
		if (dav_href_same(t->known.r[all[low].i].href, href))
			return all[low].i;
	return SIZE_MAX;
}

static enum rc take_one(struct turn *t, const struct hearing *h, size_t i,
	const struct dav_entry *e, struct err *err)
{
	struct taken taken = { 0 };
	t->mark[i] = MARK_SAME;
	enum rc rc = share_take_in(
		h, &t->known.r[i], e->text ? e->text : "", e->n, e->etag, &taken, err);
	t->heard = t->heard || taken.heard;
	return rc;
}

/* All entries of an answer in one transaction. */
enum rc share_take_entries(
	struct turn *t, const struct dav_result *r, int64_t now_s, struct err *err)
{
	struct hearing h = share_hearing(t, now_s);
	struct standing *all = standing_of(t);
	enum rc rc = all ? store_begin(store_of(t), err)
			 : err_set(err, RC_MEM, "calendars: out of memory");
	if (rc == RC_OK) {
		for (size_t i = 0; rc == RC_OK && i < r->n; i++) {
			size_t at = find_known(t, all, r->entries[i].href);
			if (at != SIZE_MAX)
				rc = take_one(t, &h, at, &r->entries[i], err);
		}
		rc = commit_or_not(t, rc, err);
	}
	mem_free(all);
	return rc;
}

/* What is gone is not wanted; from here on the next look begins at the new token. */
static enum rc conclude_within(struct turn *t, int64_t now_s, struct err *err)
{
	struct hearing h = share_hearing(t, now_s);
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < t->known.n; i++) {
		struct taken taken = { 0 };
		if (t->mark[i] != MARK_GONE)
			continue;
		t->mark[i] = MARK_SAME;
		rc = share_take_gone(&h, &t->known.r[i], &taken, err);
		t->heard = t->heard || taken.heard;
	}
	(void)snprintf(t->c.token, sizeof t->c.token, "%s", t->token);
	return rc == RC_OK ? store_collection_put(store_of(t), &t->c, err) : rc;
}

static void conclude(struct turn *t, int64_t now_s)
{
	struct err err = { 0 };
	enum rc rc = store_begin(store_of(t), &err);
	if (rc == RC_OK)
		rc = commit_or_not(t, conclude_within(t, now_s, &err), &err);
	if (rc != RC_OK)
		share_broke(t, &err, now_s);
	else if (t->heard)
		account_settle(t->account);
	else
		share_put(t, now_s);
}

/* ---- reading what changed ---- */

static void on_read(void *arg, const struct dav_result *r, int64_t now_s);

static void read_next(struct turn *t, int64_t now_s)
{
	t->n_asked = 0;
	for (; t->at < t->known.n && t->n_asked < DAV_GET_MAX; t->at++)
		if (t->mark[t->at] == MARK_CHANGED)
			t->asked[t->n_asked++] = t->known.r[t->at].href;
	if (t->n_asked)
		dav_get(t->account->dav, t->c.url, t->asked, t->n_asked, on_read, t);
	else
		conclude(t, now_s);
}

static void on_read(void *arg, const struct dav_result *r, int64_t now_s)
{
	struct turn *t = arg;
	struct err err = { 0 };
	if (r->verdict == DAV_GONE && share_find_again(t, now_s))
		return;
	if (r->verdict != DAV_OK)
		share_failed(t, r, now_s);
	else if (share_take_entries(t, r, now_s, &err) != RC_OK)
		share_broke(t, &err, now_s);
	else
		read_next(t, now_s);
}

static void read_changed(struct turn *t, int64_t now_s)
{
	t->at = 0;
	read_next(t, now_s);
}

/* ---- what persons moved to other calendars ---- */

static void hunt_or_read(struct turn *t, int64_t now_s)
{
	for (size_t i = 0; i < t->known.n; i++)
		if (t->mark[i] == MARK_GONE) {
			share_hunt(t, read_changed, now_s);
			return;
		}
	read_changed(t, now_s);
}

static void on_elsewhere(void *arg, const struct dav_result *r, int64_t now_s);

static void elsewhere_next(struct turn *t, int64_t now_s)
{
	while (t->at < t->known.n && t->known.r[t->at].state != RESOURCE_ELSEWHERE)
		t->at++;
	if (t->at == t->known.n) {
		hunt_or_read(t, now_s);
		return;
	}
	t->asked[0] = t->known.r[t->at].href;
	share_parent(t->asked[0], t->parent);
	dav_get(t->account->dav, t->parent, t->asked, 1, on_elsewhere, t);
}

static enum rc take_elsewhere(
	struct turn *t, const struct dav_result *r, int64_t now_s, struct err *err)
{
	struct resource *x = &t->known.r[t->at];
	bool there = r->verdict == DAV_OK && r->n > 0;
	if (r->verdict == DAV_GONE || (r->verdict == DAV_OK && r->n == 0))
		t->mark[t->at] = MARK_GONE;
	else if (there && !(r->entries[0].etag[0] && strcmp(r->entries[0].etag, x->etag) == 0))
		return share_take_entries(t, r, now_s, err);
	return RC_OK;
}

static void on_elsewhere(void *arg, const struct dav_result *r, int64_t now_s)
{
	struct turn *t = arg;
	struct err err = { 0 };
	if (r->verdict == DAV_UNREACHED) {
		share_failed(t, r, now_s);
		return;
	}
	if (take_elsewhere(t, r, now_s, &err) != RC_OK) {
		share_broke(t, &err, now_s);
		return;
	}
	t->at++;
	elsewhere_next(t, now_s);
}

/* ---- changes ---- */

static enum rc wipe(struct turn *t, struct err *err)
{
	log_line(t->account->share->owner.app->log, LEVEL_NOTICE, t->edition.name,
		"calendar \"%s\": all entries are gone from the server, putting them there again",
		t->edition.name);
	enum rc rc = store_begin(store_of(t), err);
	return rc == RC_OK ? commit_or_not(t, forget_all(t, err), err) : rc;
}

static void on_changes(void *arg, const struct dav_result *r, int64_t now_s)
{
	struct turn *t = arg;
	struct err err = { 0 };
	if (r->verdict == DAV_GONE && share_find_again(t, now_s))
		return;
	if (r->verdict != DAV_OK) {
		share_failed(t, r, now_s);
		return;
	}
	(void)snprintf(t->token, sizeof t->token, "%s", r->token ? r->token : "");
	enum rc rc = share_take_list(t, r, &err);
	if (rc == RC_OK && mark_all(t))
		rc = wipe(t, &err);
	if (rc != RC_OK) {
		share_broke(t, &err, now_s);
		return;
	}
	t->at = 0;
	elsewhere_next(t, now_s);
}

static void ask_changes(struct turn *t, int64_t now_s)
{
	(void)now_s;
	dav_changes(t->account->dav, t->c.url, t->c.token, on_changes, t);
}

/* ---- the beginning ---- */

static enum rc load(struct turn *t, struct err *err)
{
	bool found = false;
	struct known *k = &t->known;
	enum rc rc = store_collection(store_of(t), t->edition.name, t->kind, &t->c, &found, err);
	if (rc == RC_OK && !found) {
		t->c = (struct collection){
			.kind = (int)t->kind, .tried_s = TIME_NEVER, .worked_s = TIME_NEVER
		};
		(void)snprintf(t->c.edition, sizeof t->c.edition, "%s", t->edition.name);
	}
	if (rc == RC_OK)
		rc = store_resources(store_of(t), t->edition.name, t->kind, &k->r, &k->n, err);
	if (rc != RC_OK)
		return rc;
	k->cap = k->n;
	t->mark = mem_new(k->n, sizeof *t->mark);
	t->asked = mem_new(DAV_GET_MAX, sizeof *t->asked);
	return t->mark && t->asked ? RC_OK : err_set(err, RC_MEM, "calendars: out of memory");
}

void share_look(struct turn *t, int64_t now_s)
{
	struct err err = { 0 };
	if (load(t, &err) != RC_OK)
		share_broke(t, &err, now_s);
	else if (!t->c.url[0] || strcmp(t->c.server, t->account->output->server) != 0)
		ask_find(t);
	else
		ask_changes(t, now_s);
}
