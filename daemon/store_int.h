/* Inside of the store, for the store_*.c files only. */
#ifndef DAEMON_STORE_INT_H
#define DAEMON_STORE_INT_H

#include <sqlite3.h>

#include "daemon/store.h"

/* Statements are prepared once, when first used, and kept until the store closes. */
enum { STORE_STATEMENTS_MAX = 160 };
enum { STORE_ZONES_MAX = 64 }; /* different zones of all sensors */
enum { STORE_BUSY_MS = 5000 };

#define STORE_ABSENT UINT32_MAX /* flags of a reading that was not there */
#define STORE_NEW 0x100U /* in reading.flags inside one transaction: the sums lack it */

struct store {
	sqlite3 *db;
	char path[512];
	bool in_transaction;
	size_t zones_n;
	struct zone *zones[STORE_ZONES_MAX]; /* own; see store_zone */
	struct {
		const char *sql; /* the literal's address is the key */
		sqlite3_stmt *q;
	} statements[STORE_STATEMENTS_MAX];
};

/* store_open with another busy time, for tests. */
MUST_USE enum rc store_open_waiting(
	const char *path, enum store_mode mode, int busy_ms, struct store **out, struct err *err);

/* The prepared statement of that literal, reset and without bindings; NULL sets err, and
 * store_fail gives the code again. */
sqlite3_stmt *store_statement(struct store *s, const char *sql, struct err *err);

/* Steps a statement that gives no row, resets and clears it. */
MUST_USE enum rc store_run(struct store *s, sqlite3_stmt *q, struct err *err);

/* The SQLite error of the last call as rc (busy, full, damaged, other) with text
 * `store PATH: what: why`. */
enum rc store_fail(struct store *s, const char *what, struct err *err);

/* ---- between store_reading.c, store_intake.c, store_stretch.c and store_sums.c ---- */

/* The row of a statement that reads t, rh, temp, flags. */
struct quality_reading store_reading_row(sqlite3_stmt *q);

/* Readings of one sensor in time order, to be judged together. mem_free r and was at the end. */
struct stretch {
	struct quality_reading *r;
	uint32_t *was; /* flags before, STORE_ABSENT for new rows */
	size_t n, max;
	size_t from, to; /* the part whose flags come out right: [from, to) */
};

/* Makes room for that many more, 2^24 in all. */
MUST_USE enum rc store_stretch_room(
	struct store *s, struct stretch *x, size_t more, struct err *err);

/* Begins the stretch with what lies before first_s and bears on readings from there on, or the
 * other way round; sets from. Rows marked STORE_NEW are taken for new. */
MUST_USE enum rc store_stretch_before(
	struct store *s, int64_t sensor, int64_t first_s, struct stretch *x, struct err *err);

/* Goes on with first_s..last_s and what lies after; sets to. */
MUST_USE enum rc store_stretch_rest(struct store *s, int64_t sensor, int64_t first_s,
	int64_t last_s, struct stretch *x, struct err *err);

/* The zone of a sensor's daily sums, kept by the store; UTC when none was ever named. */
MUST_USE enum rc store_zone(
	struct store *s, int64_t sensor, const struct zone **zone, struct err *err);

/* Brings hourly and daily sums up to date after the flags of r[0..n), in time order and already
 * stored, changed from was[i] (STORE_ABSENT: a new one). Marks the sensor dirty from the first hour
 * changed. */
MUST_USE enum rc store_sums_follow(struct store *s, int64_t sensor, const struct quality_reading *r,
	const uint32_t *was, size_t n, struct err *err);

/* Makes all daily sums of a sensor again. */
MUST_USE enum rc store_sums_days(struct store *s, int64_t sensor, struct err *err);

#endif
