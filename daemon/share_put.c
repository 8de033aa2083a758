/* The second half of a turn: from the agenda to the server. */
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/share_int.h"

enum { REFUSALS_MAX = 3 }; /* with nothing taken, before the server is believed to refuse all */

static void job_next(struct turn *t, int64_t now_s);
static void job_begin(struct turn *t, int64_t now_s);

static struct store *store_of(const struct turn *t)
{
	return t->account->share->owner.app->desk.store;
}

static struct job *job_of(const struct turn *t)
{
	return &t->plan.job[t->job];
}

static struct resource *resource_of(const struct turn *t)
{
	return &t->known.r[job_of(t)->resource];
}

/* ---- what a job came to ---- */

/* The resource as it is now, or without it. */
static enum rc store_it(const struct turn *t, bool remove, struct err *err)
{
	const struct resource *r = resource_of(t);
	struct store *store = store_of(t);
	enum rc rc = store_begin(store, err);
	if (rc != RC_OK)
		return rc;
	rc = remove ? store_resource_remove(store, t->edition.name, t->kind, r->uid, err)
		    : store_resource_put(store, t->edition.name, t->kind, r, err);
	if (rc == RC_OK)
		return store_commit(store, err);
	store_rollback(store);
	return rc;
}

static void end_job(struct turn *t, bool remove, int64_t now_s)
{
	struct err err = { 0 };
	mem_free(t->text);
	t->text = NULL;
	if (store_it(t, remove, &err) != RC_OK) {
		share_broke(t, &err, now_s);
		return;
	}
	t->job++;
	job_next(t, now_s);
}

/* The server has ours: text as it was put (taken over), NULL: what was there had it already. */
static void has_it(struct turn *t, const char *etag, int64_t now_s)
{
	struct job *j = job_of(t);
	struct resource *r = resource_of(t);
	mem_free(r->sent);
	r->sent = j->ours;
	j->ours = NULL;
	(void)share_keep_text(&r->trying, NULL);
	if (t->text) {
		mem_free(r->seen);
		r->seen = t->text;
		t->text = NULL;
		(void)snprintf(r->etag, sizeof r->etag, "%s", etag);
	}
	if (r->state == RESOURCE_ELSEWHERE) {
		share_tell(r, SHARE_AWAY, now_s);
	} else {
		r->state = RESOURCE_KEPT;
		share_tell(r, NULL, now_s);
	}
	end_job(t, false, now_s);
}

static void stuck(struct turn *t, const char *why, int64_t now_s)
{
	struct resource *r = resource_of(t);
	if (!r->outcome[0])
		log_line(t->account->share->owner.app->log, LEVEL_WARNING, t->edition.name,
			"calendar \"%s\": %s: %s", t->edition.name, r->uid, why);
	if (r->state == RESOURCE_KEPT)
		r->state = RESOURCE_STUCK;
	share_tell(r, why, now_s);
	end_job(t, false, now_s);
}

/* ---- when others were faster ---- */

static void was_read(struct turn *t, const struct dav_result *r, int64_t now_s)
{
	struct err err = { 0 };
	struct taken taken = { 0 };
	struct hearing h = share_hearing(t, now_s);
	struct resource *x = resource_of(t);
	struct job *j = job_of(t);
	(void)snprintf(x->href, sizeof x->href, "%s", r->entries[0].href);
	j->kind = j->kind == JOB_CREATE ? JOB_CHANGE : j->kind;
	enum rc rc = store_begin(store_of(t), &err);
	if (rc == RC_OK) {
		rc = share_take_in(&h, x, r->entries[0].text ? r->entries[0].text : "",
			r->entries[0].n, r->entries[0].etag, &taken, &err);
		if (rc == RC_OK)
			rc = store_commit(store_of(t), &err);
		else
			store_rollback(store_of(t));
	}
	if (rc != RC_OK) {
		share_broke(t, &err, now_s);
		return;
	}
	t->moved = t->moved || taken.moved;
	t->heard = t->heard || taken.heard;
	if (x->state == RESOURCE_STUCK)
		end_job(t, false, now_s);
	else
		job_begin(t, now_s);
}

static void on_read(void *arg, const struct dav_result *r, int64_t now_s)
{
	struct turn *t = arg;
	struct job *j = job_of(t);
	if (r->verdict == DAV_UNREACHED || r->verdict == DAV_REFUSED) {
		share_failed(t, r, now_s);
	} else if (r->verdict == DAV_OK && r->n > 0) {
		was_read(t, r, now_s);
	} else if (j->kind == JOB_DELETE) {
		end_job(t, true, now_s);
	} else if (j->kind == JOB_CREATE) {
		stuck(t, "the server says it is there already, and does not show it", now_s);
	} else {
		end_job(t, false, now_s); /* gone: the next look says where to */
	}
}

static void read_again(struct turn *t, int64_t now_s)
{
	if (++job_of(t)->tries >= SHARE_TRIES) {
		stuck(t, "others change it again and again", now_s);
		return;
	}
	t->asked[0] = t->href;
	share_parent(t->href, t->parent);
	dav_get(t->account->dav, t->parent, t->asked, 1, on_read, t);
}

/* After a hunt for an entry whose UID is taken. */
static void hunted(struct turn *t, int64_t now_s)
{
	struct resource *r = resource_of(t);
	bool found = t->mark[job_of(t)->resource] != MARK_GONE;
	t->mark[job_of(t)->resource] = MARK_SAME;
	if (found && r->state != RESOURCE_STUCK) {
		job_of(t)->kind = JOB_CHANGE;
		job_begin(t, now_s);
	} else {
		stuck(t, "the server says that another entry has its UID, and shows none", now_s);
	}
}

/* ---- one job ---- */

static void refused(struct turn *t, const struct dav_result *r, int64_t now_s)
{
	bool ours = resource_of(t)->state != RESOURCE_ELSEWHERE;
	bool all = ours && t->put == 0 && (++t->refused == REFUSALS_MAX || t->job + 1 == t->plan.n);
	if (all)
		share_failed(t, r, now_s);
	else
		stuck(t, r->why, now_s);
}

static void on_put(void *arg, const struct dav_result *r, int64_t now_s)
{
	struct turn *t = arg;
	mem_free(r->verdict == DAV_OK ? NULL : t->text);
	t->text = r->verdict == DAV_OK ? t->text : NULL;
	switch (r->verdict) {
	case DAV_OK:
		t->put++;
		(void)snprintf(resource_of(t)->href, DAV_HREF, "%s", t->href);
		has_it(t, r->n ? r->entries[0].etag : "", now_s);
		return;
	case DAV_CHANGED:
		read_again(t, now_s);
		return;
	case DAV_GONE:
		if (job_of(t)->kind == JOB_CHANGE)
			end_job(t, false, now_s); /* the next look says where to */
		else if (!share_find_again(t, now_s))
			share_failed(t, r, now_s);
		return;
	case DAV_TAKEN:
		if (++job_of(t)->tries >= SHARE_TRIES) {
			stuck(t, r->why, now_s);
			return;
		}
		t->mark[job_of(t)->resource] = MARK_GONE;
		t->whole = false;
		share_hunt(t, hunted, now_s);
		return;
	case DAV_FULL:
	case DAV_ODD:
		stuck(t, r->why, now_s);
		return;
	case DAV_REFUSED:
		refused(t, r, now_s);
		return;
	case DAV_UNREACHED:
		share_failed(t, r, now_s);
		return;
	}
}

static void on_deleted(void *arg, const struct dav_result *r, int64_t now_s)
{
	struct turn *t = arg;
	switch (r->verdict) {
	case DAV_OK:
		t->put++;
		end_job(t, true, now_s);
		return;
	case DAV_GONE:
		end_job(t, true, now_s);
		return;
	case DAV_CHANGED:
		read_again(t, now_s);
		return;
	case DAV_REFUSED:
		refused(t, r, now_s);
		return;
	case DAV_UNREACHED:
		share_failed(t, r, now_s);
		return;
	case DAV_TAKEN:
	case DAV_FULL:
	case DAV_ODD:
		stuck(t, r->why, now_s);
		return;
	}
}

static void job_begin(struct turn *t, int64_t now_s)
{
	const struct job *j = job_of(t);
	const struct resource *r = resource_of(t);
	struct hearing h = share_hearing(t, now_s);
	struct err err = { 0 };
	if (j->kind == JOB_CREATE && !share_new_href(t->c.url, r->uid, t->href)) {
		stuck(t, "its address would be too long", now_s);
		return;
	}
	if (j->kind != JOB_CREATE)
		(void)snprintf(t->href, sizeof t->href, "%s", r->href);
	if (j->kind == JOB_DELETE) {
		dav_delete(t->account->dav, t->href, r->etag, on_deleted, t);
		return;
	}
	enum rc rc = share_text(&h, r, j->ours, t->moved, &t->text, &err);
	if (rc == RC_INPUT)
		stuck(t, err.text, now_s);
	else if (rc != RC_OK)
		share_broke(t, &err, now_s);
	else if (!t->text)
		has_it(t, "", now_s);
	else
		dav_put(t->account->dav, t->href, j->kind == JOB_CREATE ? NULL : r->etag, t->text,
			on_put, t);
}

static void job_next(struct turn *t, int64_t now_s)
{
	t->moved = false;
	if (t->job == t->plan.n)
		share_over(t, now_s);
	else
		job_begin(t, now_s);
}

/* ---- the beginning ---- */

static bool mark_more(struct turn *t)
{
	unsigned char *more = mem_grow(t->mark, t->known.n + 1, sizeof *more);
	if (!more)
		return false;
	t->mark = more;
	memset(more, MARK_SAME, t->known.n);
	return true;
}

/* A token is of before what is put now: what came after it and is gone again the server need not tell (RFC 6578 3.5). So the
 * next look is at all of it. */
static enum rc drop_token(struct turn *t, struct err *err)
{
	struct store *store = store_of(t);
	if (t->plan.n == 0 || !t->c.token[0])
		return RC_OK;
	t->c.token[0] = '\0';
	enum rc rc = store_begin(store, err);
	if (rc != RC_OK)
		return rc;
	rc = store_collection_put(store, &t->c, err);
	if (rc == RC_OK)
		return store_commit(store, err);
	store_rollback(store);
	return rc;
}

void share_put(struct turn *t, int64_t now_s)
{
	struct hearing h = share_hearing(t, now_s);
	struct err err = { 0 };
	enum rc rc = share_plan(&h, &t->known, &t->plan, &err);
	if (rc == RC_OK)
		rc = drop_token(t, &err);
	if (rc == RC_OK && !mark_more(t))
		rc = err_set(&err, RC_MEM, "calendars: out of memory");
	if (rc != RC_OK) {
		share_broke(t, &err, now_s);
		return;
	}
	t->job = t->put = t->refused = 0;
	t->heard = false;
	job_next(t, now_s);
}
