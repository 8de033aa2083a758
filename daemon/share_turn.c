/* How a turn ends. */
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/share_int.h"
#include "daemon/text.h"

struct hearing share_hearing(const struct turn *t, int64_t now_s)
{
	return (struct hearing){ .app = t->account->share->owner.app,
		.edition = &t->edition,
		.kind = t->kind,
		.zone = t->account->zone,
		.now_s = now_s };
}

void share_forget(struct turn *t)
{
	store_resources_free(t->known.r, t->known.n);
	mem_free(t->mark);
	mem_free(t->listed);
	mem_free(t->asked);
	mem_free(t->all);
	mem_free(t->but);
	mem_free(t->text);
	share_plan_free(&t->plan);
	t->known = (struct known){ 0 };
	t->mark = NULL;
	t->listed = NULL;
	t->n_listed = 0;
	t->asked = NULL;
	t->all = NULL;
	t->but = NULL;
	t->n_but = 0;
	t->text = NULL;
}

/* Of a store that cannot be written nothing more can be told than the log does. */
static void put_collection(struct turn *t, int64_t now_s)
{
	struct store *store = t->account->share->owner.app->desk.store;
	struct err err = { 0 };
	t->c.tried_s = now_s;
	enum rc rc = store_begin(store, &err);
	if (rc == RC_OK) {
		rc = store_collection_put(store, &t->c, &err);
		if (rc == RC_OK)
			rc = store_commit(store, &err);
		else
			store_rollback(store);
	}
	if (rc != RC_OK)
		log_line(t->account->share->owner.app->log, LEVEL_ERROR, t->edition.name,
			"calendar \"%s\": %s", t->edition.name, err.text);
}

static void end(struct turn *t, enum dav_verdict verdict, int64_t retry_after_s, int64_t now_s)
{
	struct account *a = t->account;
	if (a->verdict == DAV_OK) {
		a->verdict = verdict;
		(void)snprintf(a->why, sizeof a->why, "%s", t->c.error);
	}
	if (retry_after_s > a->retry_after_s)
		a->retry_after_s = retry_after_s;
	put_collection(t, now_s);
	account_turn_over(a, now_s);
}

void share_failed(struct turn *t, const struct dav_result *r, int64_t now_s)
{
	t->c.failures++;
	(void)snprintf(t->c.error, sizeof t->c.error, "%s", r->why ? r->why : "failed");
	end(t, r->verdict, r->retry_after_s, now_s);
}

void share_broke(struct turn *t, const struct err *err, int64_t now_s)
{
	t->c.failures++;
	t->c.error[0] = '\0';
	text_add(t->c.error, sizeof t->c.error, "%s", err->text);
	end(t, DAV_ODD, 0, now_s);
}

void share_over(struct turn *t, int64_t now_s)
{
	t->c.failures = 0;
	t->c.error[0] = '\0';
	t->c.worked_s = now_s;
	account_printed(t->account, t);
	if (t->heard)
		account_heard(t->account);
	end(t, DAV_OK, 0, now_s);
}
