/* What sources and sensors say of themselves. */
#include "daemon/store_row.h"

#include <stdio.h>
#include <string.h>

#include "core/civil.h"

static void bind_or_null(sqlite3_stmt *q, int column, bool is_there, int64_t value)
{
	if (is_there)
		(void)sqlite3_bind_int64(q, column, value);
}

enum rc store_health_put(struct store *s, int64_t sensor, const struct store_health *h,
	int64_t now_s, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"INSERT INTO health(sensor, battery, battery_t, ahead_s, ahead_t)"
		" VALUES(?1, ?2, ?3, ?4, ?5) ON CONFLICT(sensor) DO UPDATE SET"
		" battery = coalesce(?2, battery), battery_t = coalesce(?3, battery_t),"
		" ahead_s = coalesce(?4, ahead_s), ahead_t = coalesce(?5, ahead_t)",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, sensor);
	bind_or_null(q, 2, h->battery_pct >= 0, h->battery_pct);
	bind_or_null(q, 3, h->battery_pct >= 0, now_s);
	bind_or_null(q, 4, h->has_ahead, h->ahead_s);
	bind_or_null(q, 5, h->has_ahead, now_s);
	return store_run(s, q, err);
}

enum rc store_health(
	struct store *s, int64_t sensor, struct store_health *h, bool *found, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT battery, battery_t, ahead_s, ahead_t FROM health WHERE sensor = ?1", err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, sensor);
	int step = sqlite3_step(q);
	*found = step == SQLITE_ROW;
	if (*found) {
		bool battery = sqlite3_column_type(q, 0) != SQLITE_NULL;
		*h = (struct store_health){
			.battery_pct = battery ? sqlite3_column_int(q, 0) : -1,
			.battery_s = battery ? sqlite3_column_int64(q, 1) : TIME_NEVER,
			.has_ahead = sqlite3_column_type(q, 2) != SQLITE_NULL,
			.ahead_s = sqlite3_column_int64(q, 2),
			.ahead_at_s = sqlite3_column_int64(q, 3),
		};
	}
	enum rc rc = *found || step == SQLITE_DONE ? RC_OK : store_fail(s, "read", err);
	(void)sqlite3_reset(q);
	return rc;
}

enum rc store_source_worked(
	struct store *s, const char *name, int64_t readings, int64_t now_s, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"INSERT INTO source(name, tried, worked, readings, failures) VALUES(?1, ?2, ?2, "
		"?3, 0)"
		" ON CONFLICT(name) DO UPDATE SET tried = ?2, worked = ?2, readings = readings + "
		"?3,"
		" error = ''",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, name);
	(void)sqlite3_bind_int64(q, 2, now_s);
	(void)sqlite3_bind_int64(q, 3, readings);
	return store_run(s, q, err);
}

enum rc store_source_failed(
	struct store *s, const char *name, const char *why, int64_t now_s, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"INSERT INTO source(name, tried, readings, failures, error) VALUES(?1, ?2, 0, 1, "
		"?3)"
		" ON CONFLICT(name) DO UPDATE SET tried = ?2, failures = failures + 1, error = ?3",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, name);
	(void)sqlite3_bind_int64(q, 2, now_s);
	row_bind_text(q, 3, why);
	return store_run(s, q, err);
}

enum rc store_source(
	struct store *s, const char *name, struct store_source *out, bool *found, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT tried, worked, readings, failures, error FROM source WHERE name = ?1", err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, name);
	int step = sqlite3_step(q);
	*found = step == SQLITE_ROW;
	if (*found) {
		*out = (struct store_source){
			.tried_s = sqlite3_column_int64(q, 0),
			.worked_s = sqlite3_column_type(q, 1) == SQLITE_NULL
					    ? TIME_NEVER
					    : sqlite3_column_int64(q, 1),
			.readings = sqlite3_column_int64(q, 2),
			.failures = sqlite3_column_int64(q, 3),
		};
		(void)snprintf(out->name, sizeof out->name, "%s", name);
		row_text(q, 4, out->error, sizeof out->error);
	}
	enum rc rc = *found || step == SQLITE_DONE ? RC_OK : store_fail(s, "read", err);
	(void)sqlite3_reset(q);
	return rc;
}
