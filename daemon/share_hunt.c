/* Entries that are not where they were: under another name in the same calendar, or in another calendar of the account. */
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/share_int.h"

static void away_next(struct turn *t, int64_t now_s);

/* ---- the rest of the calendar ---- */

static void on_candidates(void *arg, const struct dav_result *r, int64_t now_s);

/* The calendars that we keep hold the same UIDs: to-dos and events, all and one client's. */
static enum rc list_ours(struct turn *t, struct err *err)
{
	mem_free(t->all);
	mem_free(t->but);
	t->all = NULL;
	t->but = NULL;
	t->n_but = 0;
	enum rc rc = store_collections(
		t->account->share->owner.app->desk.store, &t->all, &t->n_but, err);
	t->but = rc == RC_OK ? mem_new(t->n_but, sizeof *t->but) : NULL;
	if (rc == RC_OK && !t->but)
		rc = err_set(err, RC_MEM, "calendars: out of memory");
	for (size_t i = 0; rc == RC_OK && i < t->n_but; i++)
		t->but[i] = t->all[i].url;
	return rc;
}

/* Up to DAV_GET_MAX entries that are not known. */
static void candidates_next(struct turn *t, int64_t now_s)
{
	struct err err = { 0 };
	t->n_asked = 0;
	for (; t->at < t->n_listed && t->at < SHARE_HUNT_MAX && t->n_asked < DAV_GET_MAX; t->at++)
		if (!t->listed[t->at].known && !t->listed[t->at].gone)
			t->asked[t->n_asked++] = t->listed[t->at].href;
	if (t->n_asked) {
		dav_get(t->account->dav, t->c.url, t->asked, t->n_asked, on_candidates, t);
		return;
	}
	if (list_ours(t, &err) != RC_OK) {
		share_broke(t, &err, now_s);
		return;
	}
	t->at = 0;
	away_next(t, now_s);
}

static void match(struct turn *t, const struct dav_entry *e)
{
	char uid[CALENDAR_UID_SIZE];
	if (!e->text || !share_uid(e->text, e->n, t->account->zone, uid))
		return;
	for (size_t i = 0; i < t->known.n; i++) {
		struct resource *r = &t->known.r[i];
		if (t->mark[i] != MARK_GONE || strcmp(r->uid, uid) != 0)
			continue;
		(void)snprintf(r->href, sizeof r->href, "%s", e->href);
		r->state = RESOURCE_KEPT;
		share_tell(r, NULL, 0);
		t->mark[i] = MARK_CHANGED;
	}
}

static void on_candidates(void *arg, const struct dav_result *r, int64_t now_s)
{
	struct turn *t = arg;
	struct err err = { 0 };
	if (r->verdict != DAV_OK) {
		share_failed(t, r, now_s);
		return;
	}
	for (size_t i = 0; i < r->n; i++)
		match(t, &r->entries[i]);
	if (share_take_entries(t, r, now_s, &err) != RC_OK)
		share_broke(t, &err, now_s);
	else
		candidates_next(t, now_s);
}

/* ---- other calendars ---- */

static void on_away_read(void *arg, const struct dav_result *r, int64_t now_s)
{
	struct turn *t = arg;
	struct err err = { 0 };
	if (r->verdict == DAV_UNREACHED) {
		share_failed(t, r, now_s);
		return;
	}
	if (r->verdict == DAV_OK && share_take_entries(t, r, now_s, &err) != RC_OK) {
		share_broke(t, &err, now_s);
		return;
	}
	t->at++;
	away_next(t, now_s);
}

static void on_away(void *arg, const struct dav_result *r, int64_t now_s)
{
	struct turn *t = arg;
	struct resource *x = &t->known.r[t->at];
	if (r->verdict == DAV_UNREACHED) {
		share_failed(t, r, now_s);
		return;
	}
	if (r->verdict != DAV_OK || r->n == 0) {
		t->at++;
		away_next(t, now_s);
		return;
	}
	x->state = RESOURCE_ELSEWHERE;
	t->mark[t->at] = MARK_SAME;
	share_tell(x, SHARE_AWAY, now_s);
	(void)snprintf(x->href, sizeof x->href, "%s", r->entries[0].href);
	t->asked[0] = x->href;
	share_parent(x->href, t->parent);
	dav_get(t->account->dav, t->parent, t->asked, 1, on_away_read, t);
}

static void away_next(struct turn *t, int64_t now_s)
{
	while (t->at < t->known.n && t->mark[t->at] != MARK_GONE)
		t->at++;
	if (t->at == t->known.n)
		t->then(t, now_s);
	else
		dav_elsewhere(t->account->dav, t->but, t->n_but, t->known.r[t->at].uid, on_away, t);
}

/* ---- the beginning ---- */

static void on_list(void *arg, const struct dav_result *r, int64_t now_s)
{
	struct turn *t = arg;
	struct err err = { 0 };
	if (r->verdict != DAV_OK) {
		share_failed(t, r, now_s);
		return;
	}
	if (share_take_list(t, r, &err) != RC_OK) {
		share_broke(t, &err, now_s);
		return;
	}
	for (size_t i = 0; i < t->known.n; i++) {
		struct listed *l = t->known.r[i].href[0] && t->mark[i] != MARK_GONE
					   ? share_listed(t, t->known.r[i].href)
					   : NULL;
		if (l)
			l->known = true;
	}
	candidates_next(t, now_s);
}

void share_hunt(struct turn *t, void (*then)(struct turn *t, int64_t now_s), int64_t now_s)
{
	t->then = then;
	t->at = 0;
	if (t->whole)
		candidates_next(t, now_s);
	else
		dav_changes(t->account->dav, t->c.url, "", on_list, t);
}
