#include "daemon/store_post.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/store_row.h"

/* The one number of a statement; *found false: no row. Ends q. */
static enum rc one_number(
	struct store *s, sqlite3_stmt *q, int64_t *value, bool *found, struct err *err)
{
	int step = sqlite3_step(q);
	enum rc rc = step == SQLITE_ROW || step == SQLITE_DONE ? RC_OK : store_fail(s, "mail", err);
	*found = rc == RC_OK && step == SQLITE_ROW;
	if (*found)
		*value = row_time(q, 0);
	row_end(q);
	return rc;
}

/* ---- letters ---- */

#define LETTER_COLUMNS                                                                             \
	"id, kind, client, visit, message_id, recipient, subject, made, state, tries, next, "      \
	"sent, "                                                                                   \
	"error FROM letter "

static void read_letter(sqlite3_stmt *q, void *out)
{
	struct letter *l = out;
	l->id = sqlite3_column_int64(q, 0);
	l->kind = sqlite3_column_int(q, 1);
	l->client = sqlite3_column_int64(q, 2);
	l->visit = sqlite3_column_int64(q, 3);
	row_text(q, 4, l->message_id, sizeof l->message_id);
	row_text(q, 5, l->recipient, sizeof l->recipient);
	row_text(q, 6, l->subject, sizeof l->subject);
	l->made_s = sqlite3_column_int64(q, 7);
	l->state = sqlite3_column_int(q, 8);
	l->tries = sqlite3_column_int(q, 9);
	l->next_s = sqlite3_column_int64(q, 10);
	l->sent_s = row_time(q, 11);
	row_text(q, 12, l->error, sizeof l->error);
}

static enum rc check_room(struct store *s, struct err *err)
{
	int64_t n = 0;
	bool found = false;
	sqlite3_stmt *q = store_statement(s, "SELECT count(*) FROM letter WHERE state < 2", err);
	enum rc rc = q ? one_number(s, q, &n, &found, err) : store_fail(s, "prepare", err);
	if (rc == RC_OK && n >= LETTERS_WAITING_MAX)
		rc = err_set(err, RC_FULL,
			"mail: %" PRId64 " letters wait already: see `seasonctl mail`", n);
	return rc;
}

enum rc store_letter_add(struct store *s, struct letter *l, const char *body, struct err *err)
{
	enum rc rc = check_room(s, err);
	if (rc != RC_OK)
		return rc;
	sqlite3_stmt *q = store_statement(s,
		"INSERT INTO letter(kind, client, visit, message_id, recipient, subject, body, "
		"made, state, next) VALUES(?1, nullif(?2, 0), nullif(?3, 0), ?4, ?5, ?6, ?7, ?8, "
		"?9, ?10)",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int(q, 1, l->kind);
	(void)sqlite3_bind_int64(q, 2, l->client);
	(void)sqlite3_bind_int64(q, 3, l->visit);
	row_bind_text(q, 4, l->message_id);
	row_bind_text(q, 5, l->recipient);
	row_bind_text(q, 6, l->subject);
	row_bind_text(q, 7, body);
	(void)sqlite3_bind_int64(q, 8, l->made_s);
	(void)sqlite3_bind_int(q, 9, l->state);
	(void)sqlite3_bind_int64(q, 10, l->next_s);
	rc = store_run(s, q, err);
	if (rc == RC_OK)
		l->id = sqlite3_last_insert_rowid(s->db);
	return rc;
}

enum rc store_letter_put(struct store *s, const struct letter *l, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"UPDATE letter SET state = ?2, tries = ?3, next = ?4, sent = ?5, error = ?6 "
		"WHERE id = ?1",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, l->id);
	(void)sqlite3_bind_int(q, 2, l->state);
	(void)sqlite3_bind_int(q, 3, l->tries);
	(void)sqlite3_bind_int64(q, 4, l->next_s);
	row_bind_time(q, 5, l->sent_s);
	row_bind_text(q, 6, l->error);
	return store_run(s, q, err);
}

enum rc store_letter_next(
	struct store *s, int64_t now_s, struct letter *out, bool *found, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT " LETTER_COLUMNS "WHERE state = 0 AND next <= ?1 ORDER BY id LIMIT 1", err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, now_s);
	int step = sqlite3_step(q);
	enum rc rc = step == SQLITE_ROW || step == SQLITE_DONE ? RC_OK : store_fail(s, "mail", err);
	*found = rc == RC_OK && step == SQLITE_ROW;
	if (*found)
		read_letter(q, out);
	row_end(q);
	return rc;
}

enum rc store_letter_due(struct store *s, int64_t *at_s, struct err *err)
{
	bool found = false;
	sqlite3_stmt *q = store_statement(s, "SELECT min(next) FROM letter WHERE state = 0", err);
	*at_s = TIME_NEVER;
	return q ? one_number(s, q, at_s, &found, err) : store_fail(s, "prepare", err);
}

enum rc store_letter_body(struct store *s, int64_t id, char **body, size_t *n, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, "SELECT body FROM letter WHERE id = ?1", err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, id);
	int step = sqlite3_step(q);
	enum rc rc = step == SQLITE_ROW ? RC_OK
		     : step == SQLITE_DONE
			     ? err_set(err, RC_UNKNOWN, "letter %" PRId64 ": there is none", id)
			     : store_fail(s, "mail", err);
	if (rc == RC_OK) {
		*body = mem_text((const char *)sqlite3_column_text(q, 0));
		*n = *body ? strlen(*body) : 0;
		if (!*body)
			rc = err_set(err, RC_MEM, "mail: out of memory");
	}
	row_end(q);
	return rc;
}

enum rc store_letters(
	struct store *s, int64_t since_s, struct letter **out, size_t *n, struct err *err)
{
	sqlite3_stmt *q = store_statement(
		s, "SELECT " LETTER_COLUMNS "WHERE state < 2 OR made >= ?1 ORDER BY id", err);
	void *rows = NULL;
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, since_s);
	enum rc rc = row_gather(s, q, sizeof **out, read_letter, &rows, n, err);
	if (rc == RC_OK)
		*out = rows;
	return rc;
}

enum rc store_letters_resume(struct store *s, int64_t *n, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, "UPDATE letter SET state = 0 WHERE state = 1", err);
	enum rc rc = q ? store_run(s, q, err) : store_fail(s, "prepare", err);
	if (rc == RC_OK)
		*n = sqlite3_changes(s->db);
	return rc;
}

enum rc store_letters_drop(struct store *s, enum letter_kind kind, int64_t visit, const char *why,
	int64_t *n, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"UPDATE letter SET state = 5, error = ?3 WHERE state = 0 AND kind = ?1 "
		"AND visit IS nullif(?2, 0)",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int(q, 1, (int)kind);
	(void)sqlite3_bind_int64(q, 2, visit);
	row_bind_text(q, 3, why);
	enum rc rc = store_run(s, q, err);
	if (rc == RC_OK)
		*n = sqlite3_changes(s->db);
	return rc;
}

enum rc store_letters_reached(struct store *s, int64_t visit, bool *reached, struct err *err)
{
	int64_t n = 0;
	bool found = false;
	sqlite3_stmt *q = store_statement(
		s, "SELECT EXISTS(SELECT 1 FROM letter WHERE visit = ?1 AND state IN (1, 2))", err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, visit);
	enum rc rc = one_number(s, q, &n, &found, err);
	*reached = n != 0;
	return rc;
}

enum rc store_post_tidy(struct store *s, int64_t now_s, struct err *err)
{
	static const char *const steps[] = {
		"DELETE FROM letter WHERE state >= 2 AND made < ?1",
		"DELETE FROM heard WHERE t < ?1",
	};
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < sizeof steps / sizeof steps[0]; i++) {
		sqlite3_stmt *q = store_statement(s, steps[i], err);
		if (!q)
			return store_fail(s, "prepare", err);
		(void)sqlite3_bind_int64(q, 1, now_s - LETTERS_KEPT_S);
		rc = store_run(s, q, err);
	}
	return rc;
}

/* ---- invitations ---- */

enum rc store_invitation(
	struct store *s, int64_t visit, struct invitation *out, bool *found, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT recipient, sequence, start, length, state, answered_stamp FROM invitation "
		"WHERE visit = ?1",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, visit);
	int step = sqlite3_step(q);
	enum rc rc = step == SQLITE_ROW || step == SQLITE_DONE ? RC_OK : store_fail(s, "mail", err);
	*found = rc == RC_OK && step == SQLITE_ROW;
	*out = (struct invitation){ .visit = visit, .answered_stamp_s = TIME_NEVER };
	if (*found) {
		row_text(q, 0, out->recipient, sizeof out->recipient);
		out->sequence = sqlite3_column_int(q, 1);
		out->start_s = sqlite3_column_int64(q, 2);
		out->length_s = sqlite3_column_int64(q, 3);
		out->state = sqlite3_column_int(q, 4);
		out->answered_stamp_s = row_time(q, 5);
	}
	row_end(q);
	return rc;
}

enum rc store_invitation_put(struct store *s, const struct invitation *i, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"INSERT OR REPLACE INTO invitation(visit, recipient, sequence, start, length, "
		"state, answered_stamp) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7)",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, i->visit);
	row_bind_text(q, 2, i->recipient);
	(void)sqlite3_bind_int(q, 3, i->sequence);
	(void)sqlite3_bind_int64(q, 4, i->start_s);
	(void)sqlite3_bind_int64(q, 5, i->length_s);
	(void)sqlite3_bind_int(q, 6, i->state);
	row_bind_time(q, 7, i->answered_stamp_s);
	return store_run(s, q, err);
}

/* ---- what was read ---- */

enum rc store_heard(struct store *s, const char *id, bool *found, struct err *err)
{
	int64_t t = 0;
	sqlite3_stmt *q = store_statement(s, "SELECT t FROM heard WHERE id = ?1", err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, id);
	return one_number(s, q, &t, found, err);
}

enum rc store_heard_put(struct store *s, const char *id, int64_t t_s, struct err *err)
{
	sqlite3_stmt *q =
		store_statement(s, "INSERT OR IGNORE INTO heard(id, t) VALUES(?1, ?2)", err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, id);
	(void)sqlite3_bind_int64(q, 2, t_s);
	return store_run(s, q, err);
}

/* ---- digests ---- */

enum rc store_digest_due(struct store *s, int64_t *due_s, struct err *err)
{
	sqlite3_stmt *q = store_statement(
		s, "SELECT CAST(value AS INTEGER) FROM meta WHERE name = 'digest'", err);
	bool found = false;
	*due_s = TIME_NEVER;
	return q ? one_number(s, q, due_s, &found, err) : store_fail(s, "prepare", err);
}

enum rc store_digest_due_put(struct store *s, int64_t due_s, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"INSERT OR REPLACE INTO meta(name, value) VALUES('digest', CAST(?1 AS TEXT))", err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, due_s);
	return store_run(s, q, err);
}

enum rc store_complaints(struct store *s, void (*each)(void *arg, const char *who, const char *why),
	void *arg, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT 'source ' || name, error FROM source WHERE error <> '' "
		"UNION ALL SELECT DISTINCT 'calendar ' || edition, error FROM collection WHERE "
		"error <> '' ORDER BY 1, 2",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	int step;
	while ((step = sqlite3_step(q)) == SQLITE_ROW)
		each(arg, (const char *)sqlite3_column_text(q, 0),
			(const char *)sqlite3_column_text(q, 1));
	enum rc rc = step == SQLITE_DONE ? RC_OK : store_fail(s, "mail", err);
	row_end(q);
	return rc;
}
