#include "daemon/state.h"

#include <math.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/store_int.h"
#include "daemon/store_row.h"

enum rc state_snapshot_before(struct store *s, int64_t instrument, int64_t hour, void *buf,
	size_t size, int64_t *found_hour, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT hour, state FROM snapshot WHERE instrument = ?1 AND hour < ?2 AND "
		"length(state) = ?3 "
		"ORDER BY hour DESC LIMIT 1",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, instrument);
	(void)sqlite3_bind_int64(q, 2, hour);
	(void)sqlite3_bind_int64(q, 3, (int64_t)size);
	int step = sqlite3_step(q);
	enum rc rc =
		step == SQLITE_ROW || step == SQLITE_DONE ? RC_OK : store_fail(s, "snapshot", err);
	if (rc == RC_OK) {
		*found_hour = step == SQLITE_ROW ? sqlite3_column_int64(q, 0) : TIME_NEVER;
		if (step == SQLITE_ROW)
			memcpy(buf, sqlite3_column_blob(q, 1), size);
	}
	row_end(q);
	return rc;
}

enum rc state_snapshot_put(struct store *s, int64_t instrument, int64_t hour, const void *buf,
	size_t size, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"INSERT OR REPLACE INTO snapshot(instrument, hour, state) VALUES(?1, ?2, ?3)", err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, instrument);
	(void)sqlite3_bind_int64(q, 2, hour);
	(void)sqlite3_bind_blob64(q, 3, buf, size, SQLITE_STATIC);
	return store_run(s, q, err);
}

static enum rc run_two(struct store *s, const char *sql, int64_t a, int64_t b, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, sql, err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, a);
	(void)sqlite3_bind_int64(q, 2, b);
	return store_run(s, q, err);
}

enum rc state_snapshot_cut(struct store *s, int64_t instrument, int64_t from, struct err *err)
{
	return run_two(s, "DELETE FROM snapshot WHERE instrument = ?1 AND hour >= ?2", instrument,
		from, err);
}

enum rc state_snapshot_drop(struct store *s, int64_t instrument, int64_t hour, struct err *err)
{
	return run_two(s, "DELETE FROM snapshot WHERE instrument = ?1 AND hour = ?2", instrument,
		hour, err);
}

enum rc state_condition_cut(struct store *s, int64_t instrument, int64_t from, struct err *err)
{
	return run_two(s, "DELETE FROM condition WHERE instrument = ?1 AND hour >= ?2", instrument,
		from, err);
}

enum rc state_condition_put(struct store *s, int64_t instrument, int64_t hour,
	enum state_quantity quantity, double value, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"INSERT OR REPLACE INTO condition(instrument, hour, quantity, value) VALUES(?1, "
		"?2, ?3, ?4)",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, instrument);
	(void)sqlite3_bind_int64(q, 2, hour);
	(void)sqlite3_bind_int(q, 3, (int)quantity);
	(void)sqlite3_bind_double(q, 4, value);
	return store_run(s, q, err);
}

static void read_point(sqlite3_stmt *q, void *out)
{
	struct state_point *p = out;
	p->hour = sqlite3_column_int64(q, 0);
	p->value = sqlite3_column_double(q, 1);
}

enum rc state_condition(struct store *s, int64_t instrument, enum state_quantity quantity,
	int64_t from, int64_t to, struct state_point **out, size_t *n, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT hour, value FROM condition WHERE instrument = ?1 AND quantity = ?2 AND "
		"hour >= ?3 AND hour < ?4 "
		"ORDER BY hour",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, instrument);
	(void)sqlite3_bind_int(q, 2, (int)quantity);
	(void)sqlite3_bind_int64(q, 3, from);
	(void)sqlite3_bind_int64(q, 4, to);
	void *rows = NULL;
	enum rc rc = row_gather(s, q, sizeof **out, read_point, &rows, n, err);
	if (rc == RC_OK)
		*out = rows;
	return rc;
}

static enum rc known_hour(struct store *s, const char *sql, int64_t sensor, int64_t hour,
	int64_t *out, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, sql, err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, sensor);
	(void)sqlite3_bind_int64(q, 2, hour);
	int step = sqlite3_step(q);
	enum rc rc =
		step == SQLITE_ROW || step == SQLITE_DONE ? RC_OK : store_fail(s, "hours", err);
	if (rc == RC_OK)
		*out = step == SQLITE_ROW ? sqlite3_column_int64(q, 0) : TIME_NEVER;
	row_end(q);
	return rc;
}

enum rc state_known_hour_before(
	struct store *s, int64_t sensor, int64_t hour, int64_t *out, struct err *err)
{
	return known_hour(s,
		"SELECT hour FROM hour WHERE sensor = ?1 AND hour < ?2 AND n > 0 ORDER BY hour "
		"DESC LIMIT 1",
		sensor, hour, out, err);
}

enum rc state_known_hour_from(
	struct store *s, int64_t sensor, int64_t hour, int64_t *out, struct err *err)
{
	return known_hour(s,
		"SELECT hour FROM hour WHERE sensor = ?1 AND hour >= ?2 AND n > 0 ORDER BY hour "
		"LIMIT 1",
		sensor, hour, out, err);
}

enum rc state_bare_hour_from(
	struct store *s, int64_t sensor, int64_t hour, int64_t *out, struct err *err)
{
	return known_hour(s,
		"SELECT hour FROM hour WHERE sensor = ?1 AND hour >= ?2 AND n > 0 AND temp_n = 0 "
		"ORDER BY hour LIMIT 1",
		sensor, hour, out, err);
}
