#include "daemon/state.h"

#include "daemon/store_row.h"

static const char item_insert[] =
	"INSERT INTO item(uid, rule, kind, subject, state, weight, opened, due_from, due_by, "
	"value, reasons, closed, visit, moved, moved_value) "
	"VALUES(?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, nullif(?14, 0), ?15, ?16)";
static const char item_update[] =
	"UPDATE item SET uid = ?2, rule = ?3, kind = ?4, subject = ?5, "
	"state = ?6, weight = ?7, opened = ?8, "
	"due_from = ?9, due_by = ?10, value = ?11, reasons = ?12, closed "
	"= ?13, visit = nullif(?14, 0), moved = ?15, moved_value = ?16 WHERE id = ?1";

enum rc state_item_put(struct store *s, struct item *i, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, i->id ? item_update : item_insert, err);
	if (!q)
		return store_fail(s, "prepare", err);
	if (i->id)
		(void)sqlite3_bind_int64(q, 1, i->id);
	row_bind_text(q, 2, i->uid);
	row_bind_text(q, 3, i->rule);
	(void)sqlite3_bind_int(q, 4, i->subject_kind);
	row_bind_text(q, 5, i->subject);
	(void)sqlite3_bind_int(q, 6, i->state);
	(void)sqlite3_bind_int(q, 7, i->weight);
	row_bind_time(q, 8, i->opened_s);
	row_bind_time(q, 9, i->from_s);
	row_bind_time(q, 10, i->by_s);
	row_bind_real(q, 11, i->value);
	row_bind_text(q, 12, i->reasons);
	row_bind_time(q, 13, i->closed_s);
	(void)sqlite3_bind_int64(q, 14, i->visit);
	row_bind_time(q, 15, i->moved_s);
	row_bind_real(q, 16, i->moved_value);
	enum rc rc = store_run(s, q, err);
	if (rc == RC_OK && !i->id)
		i->id = sqlite3_last_insert_rowid(s->db);
	return rc;
}

static void read_item(sqlite3_stmt *q, void *out)
{
	struct item *i = out;
	i->id = sqlite3_column_int64(q, 0);
	row_text(q, 1, i->uid, sizeof i->uid);
	row_text(q, 2, i->rule, sizeof i->rule);
	i->subject_kind = sqlite3_column_int(q, 3);
	row_text(q, 4, i->subject, sizeof i->subject);
	i->state = sqlite3_column_int(q, 5);
	i->weight = sqlite3_column_int(q, 6);
	i->opened_s = row_time(q, 7);
	i->from_s = row_time(q, 8);
	i->by_s = row_time(q, 9);
	i->value = row_real(q, 10);
	row_text(q, 11, i->reasons, sizeof i->reasons);
	i->closed_s = row_time(q, 12);
	i->visit = sqlite3_column_int64(q, 13);
	i->moved_s = row_time(q, 14);
	i->moved_value = row_real(q, 15);
}

#define ITEM_COLUMNS                                                                               \
	"SELECT id, uid, rule, kind, subject, state, weight, opened, due_from, due_by, value, "    \
	"reasons, closed, visit, moved, moved_value FROM item "

/* The row of that uid. */
static enum rc by_uid(struct store *s, const char *sql, const char *uid,
	void (*read)(sqlite3_stmt *q, void *out), void *out, bool *found, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, sql, err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, uid);
	int step = sqlite3_step(q);
	enum rc rc =
		step == SQLITE_ROW || step == SQLITE_DONE ? RC_OK : store_fail(s, "agenda", err);
	if (step == SQLITE_ROW)
		read(q, out);
	if (rc == RC_OK)
		*found = step == SQLITE_ROW;
	row_end(q);
	return rc;
}

enum rc state_item_by_uid(
	struct store *s, const char *uid, struct item *out, bool *found, struct err *err)
{
	return by_uid(s, ITEM_COLUMNS "WHERE uid = ?1", uid, read_item, out, found, err);
}

enum rc state_items(
	struct store *s, int64_t closed_since_s, struct item **out, size_t *n, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		ITEM_COLUMNS "WHERE state = 0 OR closed >= ?1 ORDER BY coalesce(moved, due_by), id",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, closed_since_s);
	void *rows = NULL;
	enum rc rc = row_gather(s, q, sizeof **out, read_item, &rows, n, err);
	if (rc == RC_OK)
		*out = rows;
	return rc;
}

enum rc state_last_closed(struct store *s, const char *rule, int subject_kind, const char *subject,
	int64_t *closed_s, int64_t *done_s, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT max(closed), max(iif(state = 1, closed, NULL)) FROM item WHERE rule = ?1 "
		"AND kind = ?2 AND subject = ?3 AND "
		"state IN (1, 3)",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, rule);
	(void)sqlite3_bind_int(q, 2, subject_kind);
	row_bind_text(q, 3, subject);
	int step = sqlite3_step(q);
	enum rc rc = step == SQLITE_ROW ? RC_OK : store_fail(s, "agenda", err);
	if (rc == RC_OK) {
		*closed_s = row_time(q, 0);
		*done_s = row_time(q, 1);
	}
	row_end(q);
	return rc;
}

static const char visit_insert[] = "INSERT INTO visit(uid, client, state, due_from, due_by, "
				   "opened, closed, at, length, answer, answered, moved) "
				   "VALUES(?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)";
static const char visit_update[] = "UPDATE visit SET uid = ?2, client = ?3, state = ?4, due_from = "
				   "?5, due_by = ?6, opened = ?7, closed = ?8, at = ?9, length = "
				   "?10, answer = ?11, answered = ?12, moved = ?13 WHERE id = ?1";

enum rc state_visit_put(struct store *s, struct visit *v, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, v->id ? visit_update : visit_insert, err);
	if (!q)
		return store_fail(s, "prepare", err);
	if (v->id)
		(void)sqlite3_bind_int64(q, 1, v->id);
	row_bind_text(q, 2, v->uid);
	(void)sqlite3_bind_int64(q, 3, v->client);
	(void)sqlite3_bind_int(q, 4, v->state);
	row_bind_time(q, 5, v->from_s);
	row_bind_time(q, 6, v->by_s);
	row_bind_time(q, 7, v->opened_s);
	row_bind_time(q, 8, v->closed_s);
	row_bind_time(q, 9, v->at_s);
	(void)sqlite3_bind_int64(q, 10, v->length_s);
	(void)sqlite3_bind_int(q, 11, v->answer);
	row_bind_time(q, 12, v->answered_s);
	row_bind_time(q, 13, v->moved_s);
	enum rc rc = store_run(s, q, err);
	if (rc == RC_OK && !v->id)
		v->id = sqlite3_last_insert_rowid(s->db);
	return rc;
}

static void read_visit(sqlite3_stmt *q, void *out)
{
	struct visit *v = out;
	v->id = sqlite3_column_int64(q, 0);
	row_text(q, 1, v->uid, sizeof v->uid);
	v->client = sqlite3_column_int64(q, 2);
	v->state = sqlite3_column_int(q, 3);
	v->from_s = row_time(q, 4);
	v->by_s = row_time(q, 5);
	v->opened_s = row_time(q, 6);
	v->closed_s = row_time(q, 7);
	v->at_s = row_time(q, 8);
	v->length_s = sqlite3_column_int64(q, 9);
	v->answer = sqlite3_column_int(q, 10);
	v->answered_s = row_time(q, 11);
	v->moved_s = row_time(q, 12);
}

#define VISIT_COLUMNS                                                                              \
	"SELECT id, uid, client, state, due_from, due_by, opened, closed, at, length, answer, "    \
	"answered, moved FROM visit "

enum rc state_visit_by_uid(
	struct store *s, const char *uid, struct visit *out, bool *found, struct err *err)
{
	return by_uid(s, VISIT_COLUMNS "WHERE uid = ?1", uid, read_visit, out, found, err);
}

enum rc state_visits(
	struct store *s, int64_t closed_since_s, struct visit **out, size_t *n, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		VISIT_COLUMNS
		"WHERE state = 0 OR closed >= ?1 ORDER BY coalesce(moved, due_by), id",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, closed_since_s);
	void *rows = NULL;
	enum rc rc = row_gather(s, q, sizeof **out, read_visit, &rows, n, err);
	if (rc == RC_OK)
		*out = rows;
	return rc;
}

enum rc state_forget(struct store *s, int64_t from_s, struct err *err)
{
	static const char *const steps[] = {
		"DELETE FROM item WHERE opened >= ?1",
		"DELETE FROM visit WHERE opened >= ?1",
		"UPDATE item SET state = 0, closed = NULL WHERE closed >= ?1",
		"UPDATE visit SET state = 0, closed = NULL WHERE closed >= ?1",
	};
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < sizeof steps / sizeof steps[0]; i++) {
		sqlite3_stmt *q = store_statement(s, steps[i], err);
		if (!q)
			return store_fail(s, "prepare", err);
		(void)sqlite3_bind_int64(q, 1, from_s);
		rc = store_run(s, q, err);
	}
	return rc;
}

enum rc state_publication(struct store *s, const char *output, const char *uid,
	struct publication *p, bool *found, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT hash, sequence, modified FROM published WHERE output = ?1 AND uid = ?2",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, output);
	row_bind_text(q, 2, uid);
	int step = sqlite3_step(q);
	enum rc rc =
		step == SQLITE_ROW || step == SQLITE_DONE ? RC_OK : store_fail(s, "published", err);
	if (rc == RC_OK)
		*found = step == SQLITE_ROW;
	if (rc == RC_OK && step == SQLITE_ROW)
		*p = (struct publication){ (uint64_t)sqlite3_column_int64(q, 0),
			sqlite3_column_int(q, 1), sqlite3_column_int64(q, 2) };
	row_end(q);
	return rc;
}

enum rc state_publication_put(struct store *s, const char *output, const char *uid,
	const struct publication *p, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"INSERT OR REPLACE INTO published(output, uid, hash, sequence, modified) "
		"VALUES(?1, ?2, ?3, ?4, ?5)",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, output);
	row_bind_text(q, 2, uid);
	(void)sqlite3_bind_int64(q, 3, (int64_t)p->hash);
	(void)sqlite3_bind_int(q, 4, p->sequence);
	(void)sqlite3_bind_int64(q, 5, p->modified_s);
	return store_run(s, q, err);
}
