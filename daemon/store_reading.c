#include "daemon/store_int.h"

#include <string.h>

/* Steps a query of one number at most; NULL is TIME_NEVER. */
static enum rc one_number(
	struct store *s, sqlite3_stmt *q, bool *found, int64_t *value, struct err *err)
{
	int step = sqlite3_step(q);
	enum rc rc = step == SQLITE_ROW || step == SQLITE_DONE ? RC_OK : store_fail(s, "read", err);
	*found = step == SQLITE_ROW;
	if (*found) {
		bool null = sqlite3_column_type(q, 0) == SQLITE_NULL;
		*value = null ? TIME_NEVER : sqlite3_column_int64(q, 0);
	}
	(void)sqlite3_reset(q);
	(void)sqlite3_clear_bindings(q);
	return rc;
}

/* A query whose parameter 1 is the sensor; NULL sets err. */
static sqlite3_stmt *of_sensor(struct store *s, const char *sql, int64_t sensor, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, sql, err);
	if (q)
		sqlite3_bind_int64(q, 1, sensor);
	return q;
}

static enum rc find(struct store *s, const char *name, bool *found, int64_t *id, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, "SELECT id FROM sensor WHERE name = ?1", err);
	if (!q)
		return store_fail(s, "prepare", err);
	sqlite3_bind_text(q, 1, name, -1, SQLITE_STATIC);
	return one_number(s, q, found, id, err);
}

enum rc store_sensor_find(struct store *s, const char *name, int64_t *id, struct err *err)
{
	bool found = false;
	int64_t number = 0;
	enum rc rc = find(s, name, &found, &number, err);
	if (rc != RC_OK)
		return rc;
	if (!found)
		return err_set(err, RC_UNKNOWN, "store %s: no sensor \"%.80s\"", s->path, name);
	*id = number;
	return RC_OK;
}

static enum rc sensor_new(
	struct store *s, const char *name, const char *zone, int64_t *id, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, "INSERT INTO sensor(name, zone) VALUES(?1, ?2)", err);
	if (!q)
		return store_fail(s, "prepare", err);
	sqlite3_bind_text(q, 1, name, -1, SQLITE_STATIC);
	sqlite3_bind_text(q, 2, zone, -1, SQLITE_STATIC);
	enum rc rc = store_run(s, q, err);
	*id = sqlite3_last_insert_rowid(s->db);
	return rc;
}

/* Daily sums are made again when the zone is another one. */
static enum rc sensor_zone(struct store *s, int64_t id, const char *zone, struct err *err)
{
	sqlite3_stmt *q = of_sensor(
		s, "UPDATE sensor SET zone = ?2 WHERE id = ?1 AND zone IS NOT ?2", id, err);
	if (!q)
		return store_fail(s, "prepare", err);
	sqlite3_bind_text(q, 2, zone, -1, SQLITE_STATIC);
	enum rc rc = store_run(s, q, err);
	if (rc == RC_OK && sqlite3_changes(s->db) > 0)
		rc = store_sums_days(s, id, err);
	return rc;
}

enum rc store_sensor(
	struct store *s, const char *name, const struct zone *zone, int64_t *id, struct err *err)
{
	bool found = false, own = !s->in_transaction;
	int64_t number = 0;
	enum rc rc = own ? store_begin(s, err) : RC_OK;
	if (rc != RC_OK)
		return rc;
	rc = find(s, name, &found, &number, err);
	if (rc == RC_OK && !found)
		rc = sensor_new(s, name, zone_name_ref(zone), &number, err);
	else if (rc == RC_OK)
		rc = sensor_zone(s, number, zone_name_ref(zone), err);
	if (own && rc == RC_OK)
		rc = store_commit(s, err);
	else if (own)
		store_rollback(s);
	if (rc == RC_OK)
		*id = number;
	return rc;
}

static enum rc zone_by_name(
	struct store *s, const char *name, const struct zone **zone, struct err *err)
{
	for (size_t i = 0; i < s->zones_n; i++) {
		if (strcmp(zone_name_ref(s->zones[i]), name) == 0) {
			*zone = s->zones[i];
			return RC_OK;
		}
	}
	if (s->zones_n == STORE_ZONES_MAX)
		return err_set(err, RC_STORE, "store %s: more than %d time zones", s->path,
			(int)STORE_ZONES_MAX);
	enum rc rc = zone_new(name, &s->zones[s->zones_n], err);
	if (rc == RC_OK)
		*zone = s->zones[s->zones_n++];
	return rc;
}

enum rc store_zone(struct store *s, int64_t sensor, const struct zone **zone, struct err *err)
{
	sqlite3_stmt *q =
		of_sensor(s, "SELECT coalesce(zone, 'UTC') FROM sensor WHERE id = ?1", sensor, err);
	if (!q)
		return store_fail(s, "prepare", err);
	enum rc rc = RC_OK;
	int step = sqlite3_step(q);
	if (step == SQLITE_ROW)
		rc = zone_by_name(s, (const char *)sqlite3_column_text(q, 0), zone, err);
	else if (step == SQLITE_DONE)
		rc = err_set(
			err, RC_UNKNOWN, "store %s: no sensor %lld", s->path, (long long)sensor);
	else
		rc = store_fail(s, "read", err);
	(void)sqlite3_reset(q);
	return rc;
}

struct quality_reading store_reading_row(sqlite3_stmt *q)
{
	bool no_temp = sqlite3_column_type(q, 2) == SQLITE_NULL;
	return (struct quality_reading){
		.t_s = sqlite3_column_int64(q, 0),
		.rh_cpct = sqlite3_column_int(q, 1),
		.temp_cdegc = no_temp ? QUALITY_NO_TEMP : sqlite3_column_int(q, 2),
		.flags = (uint32_t)sqlite3_column_int(q, 3),
	};
}

static struct store_sum sum_row(sqlite3_stmt *q)
{
	return (struct store_sum){
		.at = sqlite3_column_int64(q, 0),
		.n = sqlite3_column_int64(q, 1),
		.rh_sum = sqlite3_column_int64(q, 2),
		.rh_min = sqlite3_column_int(q, 3),
		.rh_max = sqlite3_column_int(q, 4),
		.temp_n = sqlite3_column_int64(q, 5),
		.temp_sum = sqlite3_column_int64(q, 6),
		.temp_min = sqlite3_column_int(q, 7),
		.temp_max = sqlite3_column_int(q, 8),
	};
}

static sqlite3_stmt *range(struct store *s, const char *sql, int64_t sensor, int64_t from,
	int64_t to, size_t max, struct err *err)
{
	sqlite3_stmt *q = of_sensor(s, sql, sensor, err);
	if (q) {
		sqlite3_bind_int64(q, 2, from);
		sqlite3_bind_int64(q, 3, to);
		sqlite3_bind_int64(q, 4, (sqlite3_int64)max);
	}
	return q;
}

static enum rc range_done(struct store *s, sqlite3_stmt *q, int step, struct err *err)
{
	enum rc rc = step == SQLITE_DONE ? RC_OK : store_fail(s, "read", err);
	(void)sqlite3_reset(q);
	return rc;
}

static enum rc sums(struct store *s, const char *sql, int64_t sensor, int64_t from, int64_t to,
	struct store_sum *rows, size_t max, size_t *n, struct err *err)
{
	sqlite3_stmt *q = range(s, sql, sensor, from, to, max, err);
	if (!q)
		return store_fail(s, "prepare", err);
	size_t count = 0;
	int step;
	while ((step = sqlite3_step(q)) == SQLITE_ROW)
		rows[count++] = sum_row(q);
	enum rc rc = range_done(s, q, step, err);
	if (rc == RC_OK)
		*n = count;
	return rc;
}

enum rc store_hours(struct store *s, int64_t sensor, int64_t from, int64_t to,
	struct store_sum *rows, size_t max, size_t *n, struct err *err)
{
	return sums(s,
		"SELECT hour, n, rh_sum, rh_min, rh_max, temp_n, temp_sum, temp_min, temp_max FROM "
		"hour"
		" WHERE sensor = ?1 AND hour >= ?2 AND hour < ?3 ORDER BY hour LIMIT ?4",
		sensor, from, to, rows, max, n, err);
}

enum rc store_days(struct store *s, int64_t sensor, int64_t from, int64_t to,
	struct store_sum *rows, size_t max, size_t *n, struct err *err)
{
	return sums(s,
		"SELECT day, n, rh_sum, rh_min, rh_max, temp_n, temp_sum, temp_min, temp_max FROM "
		"day"
		" WHERE sensor = ?1 AND day >= ?2 AND day < ?3 ORDER BY day LIMIT ?4",
		sensor, from, to, rows, max, n, err);
}

enum rc store_raw(struct store *s, int64_t sensor, int64_t from_s, int64_t to_s,
	struct quality_reading *rows, size_t max, size_t *n, struct err *err)
{
	sqlite3_stmt *q = range(s,
		"SELECT t, rh, temp, flags FROM reading WHERE sensor = ?1 AND t >= ?2 AND t < ?3"
		" ORDER BY t LIMIT ?4",
		sensor, from_s, to_s, max, err);
	if (!q)
		return store_fail(s, "prepare", err);
	size_t count = 0;
	int step;
	while ((step = sqlite3_step(q)) == SQLITE_ROW)
		rows[count++] = store_reading_row(q);
	enum rc rc = range_done(s, q, step, err);
	if (rc == RC_OK)
		*n = count;
	return rc;
}

/* The last believed reading of the hours up to and with `hour`, not after upto_s. The table of
 * hours knows where believed readings are, so that long flagged stretches are jumped over. */
static enum rc last_believed(struct store *s, int64_t sensor, int64_t hour, int64_t upto_s,
	int64_t *last_s, struct err *err)
{
	sqlite3_stmt *q = of_sensor(s,
		"SELECT max(t) FROM reading WHERE sensor = ?1 AND flags = 0 AND t <= ?3"
		" AND t >= 3600 * (SELECT max(hour) FROM hour WHERE sensor = ?1 AND hour <= ?2)"
		" AND t < 3600 * (SELECT max(hour) + 1 FROM hour WHERE sensor = ?1 AND hour <= ?2)",
		sensor, err);
	if (!q)
		return store_fail(s, "prepare", err);
	bool found = false;
	sqlite3_bind_int64(q, 2, hour);
	sqlite3_bind_int64(q, 3, upto_s);
	return one_number(s, q, &found, last_s, err);
}

static enum rc first_believed(struct store *s, int64_t sensor, int64_t *first_s, struct err *err)
{
	sqlite3_stmt *q = of_sensor(s,
		"SELECT min(t) FROM reading WHERE sensor = ?1 AND flags = 0"
		" AND t >= 3600 * (SELECT min(hour) FROM hour WHERE sensor = ?1)"
		" AND t < 3600 * (SELECT min(hour) + 1 FROM hour WHERE sensor = ?1)",
		sensor, err);
	if (!q)
		return store_fail(s, "prepare", err);
	bool found = false;
	return one_number(s, q, &found, first_s, err);
}

enum rc store_span(struct store *s, int64_t sensor, int64_t upto_s, int64_t *first_s,
	int64_t *last_s, struct err *err)
{
	int64_t first = TIME_NEVER, last = TIME_NEVER;
	int64_t hour = civil_floor(upto_s, HOUR_S);
	enum rc rc = first_believed(s, sensor, &first, err);
	if (rc == RC_OK)
		rc = last_believed(s, sensor, hour, upto_s, &last, err);
	/* The hour of upto_s may hold later ones only. */
	if (rc == RC_OK && last == TIME_NEVER)
		rc = last_believed(s, sensor, hour - 1, upto_s, &last, err);
	if (rc != RC_OK)
		return rc;
	*first_s = last == TIME_NEVER ? TIME_NEVER : first;
	*last_s = last;
	return RC_OK;
}

enum rc store_dirty_hour(struct store *s, int64_t sensor, int64_t *hour, struct err *err)
{
	sqlite3_stmt *q = of_sensor(s, "SELECT dirty_hour FROM sensor WHERE id = ?1", sensor, err);
	if (!q)
		return store_fail(s, "prepare", err);
	bool found = false;
	int64_t first = TIME_NEVER;
	enum rc rc = one_number(s, q, &found, &first, err);
	if (rc == RC_OK)
		*hour = first;
	return rc;
}

enum rc store_clear_dirty(struct store *s, int64_t sensor, struct err *err)
{
	sqlite3_stmt *q = of_sensor(s,
		"UPDATE sensor SET dirty_hour = NULL WHERE id = ?1 AND dirty_hour IS NOT NULL",
		sensor, err);
	return q ? store_run(s, q, err) : store_fail(s, "prepare", err);
}
