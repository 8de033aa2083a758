#include "daemon/store_meta.h"

#include "daemon/store_row.h"

static void read_meta(sqlite3_stmt *q, void *out)
{
	struct meta *m = out;
	row_text(q, 0, m->name, sizeof m->name);
	row_text(q, 1, m->value, sizeof m->value);
}

enum rc store_meta(struct store *s, const char *name, struct meta *m, bool *found, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, "SELECT name, value FROM meta WHERE name = ?1", err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, name);
	int step = sqlite3_step(q);
	enum rc rc = step == SQLITE_ROW || step == SQLITE_DONE ? RC_OK : store_fail(s, "meta", err);
	if (rc == RC_OK)
		*found = step == SQLITE_ROW;
	if (rc == RC_OK && step == SQLITE_ROW)
		read_meta(q, m);
	row_end(q);
	return rc;
}

enum rc store_meta_put(struct store *s, const struct meta *m, struct err *err)
{
	sqlite3_stmt *q =
		store_statement(s, "INSERT OR REPLACE INTO meta(name, value) VALUES(?1, ?2)", err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, m->name);
	row_bind_text(q, 2, m->value);
	return store_run(s, q, err);
}

enum rc store_meta_remove(struct store *s, const char *name, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, "DELETE FROM meta WHERE name = ?1", err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, name);
	return store_run(s, q, err);
}

enum rc store_meta_of(
	struct store *s, const char *word, struct meta **out, size_t *n, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT name, value FROM meta WHERE substr(name, 1, length(?1) + 1) = ?1 || ' ' "
		"ORDER BY name",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, word);
	void *rows = NULL;
	enum rc rc = row_gather(s, q, sizeof **out, read_meta, &rows, n, err);
	if (rc == RC_OK)
		*out = rows;
	return rc;
}
