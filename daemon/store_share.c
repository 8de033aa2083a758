#include "daemon/store_share.h"

#include <stdio.h>
#include <string.h>

#include "core/civil.h"
#include "core/mem.h"
#include "daemon/store_row.h"

/* ---- collections ---- */

#define COLLECTION_COLUMNS "edition, kind, server, url, token, tried, worked, failures, error"

static void read_collection(sqlite3_stmt *q, void *out)
{
	struct collection *c = out;
	row_text(q, 0, c->edition, sizeof c->edition);
	c->kind = sqlite3_column_int(q, 1);
	row_text(q, 2, c->server, sizeof c->server);
	row_text(q, 3, c->url, sizeof c->url);
	row_text(q, 4, c->token, sizeof c->token);
	c->tried_s = row_time(q, 5);
	c->worked_s = row_time(q, 6);
	c->failures = sqlite3_column_int(q, 7);
	row_text(q, 8, c->error, sizeof c->error);
}

enum rc store_collections(struct store *s, struct collection **out, size_t *n, struct err *err)
{
	sqlite3_stmt *q = store_statement(
		s, "SELECT " COLLECTION_COLUMNS " FROM collection ORDER BY edition, kind", err);
	if (!q)
		return store_fail(s, "prepare", err);
	void *rows = NULL;
	enum rc rc = row_gather(s, q, sizeof **out, read_collection, &rows, n, err);
	if (rc == RC_OK)
		*out = rows;
	return rc;
}

enum rc store_collection(struct store *s, const char *edition, enum calendar_kind kind,
	struct collection *c, bool *found, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT " COLLECTION_COLUMNS " FROM collection WHERE edition = ?1 AND kind = ?2",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, edition);
	(void)sqlite3_bind_int(q, 2, (int)kind);
	int step = sqlite3_step(q);
	*found = step == SQLITE_ROW;
	if (*found)
		read_collection(q, c);
	enum rc rc = *found || step == SQLITE_DONE ? RC_OK : store_fail(s, "read", err);
	row_end(q);
	return rc;
}

enum rc store_collection_put(struct store *s, const struct collection *c, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"INSERT OR REPLACE INTO collection(" COLLECTION_COLUMNS
		") VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, c->edition);
	(void)sqlite3_bind_int(q, 2, c->kind);
	row_bind_text(q, 3, c->server);
	row_bind_text(q, 4, c->url);
	row_bind_text(q, 5, c->token);
	row_bind_time(q, 6, c->tried_s);
	row_bind_time(q, 7, c->worked_s);
	(void)sqlite3_bind_int(q, 8, c->failures);
	row_bind_text(q, 9, c->error);
	return store_run(s, q, err);
}

/* ---- resources ---- */

static char *own_text(sqlite3_stmt *q, int at, bool *short_of)
{
	const char *text = (const char *)sqlite3_column_text(q, at);
	if (!text || !text[0])
		return NULL;
	char *copy = mem_text(text);
	*short_of = *short_of || !copy;
	return copy;
}

/* False: out of memory; what could be copied is there. */
static bool read_resource(sqlite3_stmt *q, struct resource *r)
{
	bool short_of = false;
	*r = (struct resource){ .state = sqlite3_column_int(q, 1), .t_s = row_time(q, 8) };
	row_text(q, 0, r->uid, sizeof r->uid);
	row_text(q, 2, r->href, sizeof r->href);
	row_text(q, 3, r->etag, sizeof r->etag);
	r->sent = own_text(q, 4, &short_of);
	r->trying = own_text(q, 5, &short_of);
	r->seen = own_text(q, 6, &short_of);
	row_text(q, 7, r->outcome, sizeof r->outcome);
	return !short_of;
}

void store_resources_free(struct resource *r, size_t n)
{
	for (size_t i = 0; r && i < n; i++) {
		mem_free(r[i].sent);
		mem_free(r[i].trying);
		mem_free(r[i].seen);
	}
	mem_free(r);
}

struct resources {
	struct resource *at;
	size_t n, cap;
};

static bool add_row(struct resources *all, sqlite3_stmt *q)
{
	if (all->n == all->cap) {
		size_t cap = all->cap ? 2 * all->cap : 16;
		struct resource *more = mem_grow(all->at, cap, sizeof *more);
		if (!more)
			return false;
		all->at = more;
		all->cap = cap;
	}
	return read_resource(q, &all->at[all->n++]);
}

enum rc store_resources(struct store *s, const char *edition, enum calendar_kind kind,
	struct resource **out, size_t *n, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT uid, state, href, etag, sent, trying, seen, outcome, t FROM resource"
		" WHERE edition = ?1 AND kind = ?2 ORDER BY uid",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, edition);
	(void)sqlite3_bind_int(q, 2, (int)kind);
	struct resources all = { 0 };
	enum rc rc = RC_OK;
	int step = SQLITE_DONE;
	while (rc == RC_OK && (step = sqlite3_step(q)) == SQLITE_ROW)
		if (!add_row(&all, q))
			rc = err_set(err, RC_MEM, "store: entries on servers: out of memory");
	if (rc == RC_OK && step != SQLITE_DONE)
		rc = store_fail(s, "reading rows", err);
	row_end(q);
	if (rc != RC_OK) {
		store_resources_free(all.at, all.n);
		return rc;
	}
	*out = all.at;
	*n = all.n;
	return RC_OK;
}

enum rc store_resource_put(struct store *s, const char *edition, enum calendar_kind kind,
	const struct resource *r, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"INSERT OR REPLACE INTO resource"
		"(edition, kind, uid, state, href, etag, sent, trying, seen, outcome, t)"
		" VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, edition);
	(void)sqlite3_bind_int(q, 2, (int)kind);
	row_bind_text(q, 3, r->uid);
	(void)sqlite3_bind_int(q, 4, r->state);
	row_bind_text(q, 5, r->href);
	row_bind_text(q, 6, r->etag);
	row_bind_text(q, 7, r->sent ? r->sent : "");
	row_bind_text(q, 8, r->trying ? r->trying : "");
	row_bind_text(q, 9, r->seen ? r->seen : "");
	row_bind_text(q, 10, r->outcome);
	row_bind_time(q, 11, r->t_s);
	return store_run(s, q, err);
}

enum rc store_resource_remove(struct store *s, const char *edition, enum calendar_kind kind,
	const char *uid, struct err *err)
{
	sqlite3_stmt *q = store_statement(
		s, "DELETE FROM resource WHERE edition = ?1 AND kind = ?2 AND uid = ?3", err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, edition);
	(void)sqlite3_bind_int(q, 2, (int)kind);
	row_bind_text(q, 3, uid);
	return store_run(s, q, err);
}

/* ---- lines that were answered ---- */

enum rc store_noted(struct store *s, const char *uid, const char *line, char *answer, size_t size,
	bool *found, struct err *err)
{
	sqlite3_stmt *q =
		store_statement(s, "SELECT answer FROM noted WHERE uid = ?1 AND line = ?2", err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, uid);
	row_bind_text(q, 2, line);
	int step = sqlite3_step(q);
	*found = step == SQLITE_ROW;
	if (*found)
		row_text(q, 0, answer, size);
	enum rc rc = *found || step == SQLITE_DONE ? RC_OK : store_fail(s, "read", err);
	row_end(q);
	return rc;
}

enum rc store_noted_put(struct store *s, const char *uid, const char *line, int64_t t_s,
	const char *answer, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"INSERT OR REPLACE INTO noted(uid, line, t, answer) VALUES(?1, ?2, ?3, ?4)", err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, uid);
	row_bind_text(q, 2, line);
	(void)sqlite3_bind_int64(q, 3, t_s);
	row_bind_text(q, 4, answer);
	return store_run(s, q, err);
}

enum rc store_noted_forget(struct store *s, int64_t before_s, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, "DELETE FROM noted WHERE t < ?1", err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, before_s);
	return store_run(s, q, err);
}

enum rc store_noted_each(struct store *s, const char *uid,
	void (*each)(void *arg, const char *line, const char *answer, int64_t t_s), void *arg,
	struct err *err)
{
	sqlite3_stmt *q = store_statement(
		s, "SELECT line, answer, t FROM noted WHERE uid = ?1 ORDER BY t, line", err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, uid);
	int step;
	while ((step = sqlite3_step(q)) == SQLITE_ROW)
		each(arg, (const char *)sqlite3_column_text(q, 0),
			(const char *)sqlite3_column_text(q, 1), sqlite3_column_int64(q, 2));
	enum rc rc = step == SQLITE_DONE ? RC_OK : store_fail(s, "read", err);
	row_end(q);
	return rc;
}
