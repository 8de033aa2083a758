/* The store: one SQLite file, WAL, forward-only migrations (user_version), STRICT tables.
 * It holds readings with their hourly and daily sums (store_reading.c), records of people and
 * instruments (store_record.c), and what the engine and the agenda keep (store_state.c).
 *
 * Law: what a call acknowledged is durable (synchronous=FULL) and counted once. A batch is one
 * transaction: store_begin .. store_commit; nothing else commits. */
#ifndef DAEMON_STORE_H
#define DAEMON_STORE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "core/civil.h"
#include "core/err.h"
#include "core/quality.h"
#include "core/salt.h"
#include "daemon/zone.h"

struct store;

enum store_mode {
	STORE_READ, /* must exist; nothing is written */
	STORE_WRITE, /* made and migrated when needed */
	STORE_REPLAY /* like STORE_WRITE with synchronous=NORMAL: what is replayed can be replayed again */
};

/* RC_IO: cannot be opened, folder missing, read-only. RC_STORE: damaged, or made by a newer version
 * (the text says so and what to do). RC_BUSY: locked longer than the busy time (5 s). */
MUST_USE enum rc store_open(
	const char *path, enum store_mode mode, struct store **out, struct err *err);
void store_close(struct store *s);

/* One write transaction (BEGIN IMMEDIATE). Nesting is a programmer's fault. */
MUST_USE enum rc store_begin(struct store *s, struct err *err);
/* Rolls back when it fails. */
MUST_USE enum rc store_commit(struct store *s, struct err *err);
void store_rollback(struct store *s); /* harmless when none is open */

/* PRAGMA quick_check; RC_STORE with its first complaint. */
MUST_USE enum rc store_check(struct store *s, struct err *err);

/* ---- readings (store_reading.c) ---- */

/* The number of a sensor by name, made when absent. zone: of its place, for daily sums; when it differs
 * from the one last used for this sensor its daily rows are made again. In a transaction of its own
 * when none is open. */
MUST_USE enum rc store_sensor(
	struct store *s, const char *name, const struct zone *zone, int64_t *id, struct err *err);

/* The number, or RC_UNKNOWN. */
MUST_USE enum rc store_sensor_find(struct store *s, const char *name, int64_t *id, struct err *err);

struct store_count {
	int64_t stored; /* new */
	int64_t known; /* already there with the same values */
	int64_t differs; /* the second is taken by other values: the first kept, this one not stored */
	int64_t flagged; /* of the stored ones, how many carry a quality flag now */
};

enum { STORE_BATCH_MAX = 1 << 22 }; /* readings in one call */

/* Adds readings of one sensor inside an open transaction, in any order, and brings flags, hourly and
 * daily sums of every touched stretch up to date. now_s: the clock, later readings than now_s + 300 get
 * QUALITY_FUTURE. differs_t (NULL allowed) is called with each time whose values differ. count is added to.
 * After a failure the transaction is to be rolled back. */
MUST_USE enum rc store_readings(struct store *s, int64_t sensor, const struct quality_reading *r,
	size_t n, int64_t now_s, void (*differs)(void *arg, int64_t t_s), void *arg,
	struct store_count *count, struct err *err);

/* Sums of the unflagged readings of one hour or one local day. Means are sum / n in centi-units. */
struct store_sum {
	int64_t at; /* hour number (t / 3600) or local day number */
	int64_t n, rh_sum;
	int32_t rh_min, rh_max;
	int64_t temp_n, temp_sum;
	int32_t temp_min, temp_max;
};

/* Rows of a sensor in time order with from <= at < to, at most max; *n is how many. */
MUST_USE enum rc store_hours(struct store *s, int64_t sensor, int64_t from, int64_t to,
	struct store_sum *rows, size_t max, size_t *n, struct err *err);
MUST_USE enum rc store_days(struct store *s, int64_t sensor, int64_t from, int64_t to,
	struct store_sum *rows, size_t max, size_t *n, struct err *err);

/* First and last believed reading at or before upto_s (TIME_NEVER each when there is none). */
MUST_USE enum rc store_span(struct store *s, int64_t sensor, int64_t upto_s, int64_t *first_s,
	int64_t *last_s, struct err *err);

/* The first hour whose sums changed since the mark was cleared (TIME_NEVER: none); the engine clears it
 * in the transaction in which it has followed the change. */
MUST_USE enum rc store_dirty_hour(struct store *s, int64_t sensor, int64_t *hour, struct err *err);
MUST_USE enum rc store_clear_dirty(struct store *s, int64_t sensor, struct err *err);

/* Raw readings from_s <= t < to_s in time order, also flagged ones, for explain and export. */
MUST_USE enum rc store_raw(struct store *s, int64_t sensor, int64_t from_s, int64_t to_s,
	struct quality_reading *rows, size_t max, size_t *n, struct err *err);

/* ---- what sources and sensors say of themselves ---- */

struct store_health {
	int battery_pct; /* < 0: not said */
	int64_t battery_s; /* when it was said */
	bool has_ahead;
	int64_t ahead_s; /* how far its clock is ahead of ours; below 0: how late the freshest reading came */
	int64_t ahead_at_s;
};
/* What h says replaces what was said before; the rest stays. Inside a transaction. */
MUST_USE enum rc store_health_put(struct store *s, int64_t sensor, const struct store_health *h,
	int64_t now_s, struct err *err);
/* *found false: it never said anything. */
MUST_USE enum rc store_health(
	struct store *s, int64_t sensor, struct store_health *h, bool *found, struct err *err);

/* ---- checked hygrometers (store_correction.c) ---- */

enum { STORE_CORRECTION_TEXT = 256, STORE_CORRECTIONS_MAX = 1000 }; /* of one sensor */

struct store_correction {
	char sensor[32]; /* its name, filled by reading */
	struct salt_check check;
	char text[STORE_CORRECTION_TEXT]; /* what was compared with what; one line */
};

/* The same time again replaces. Readings and sums stay as they are; when anything differs (*changed, NULL allowed) the
 * sensor is dirty from the check before it on, since what holds in between goes from one to the other. Inside a
 * transaction. RC_INPUT: too many, or a control character in the text. */
MUST_USE enum rc store_correction_put(struct store *s, int64_t sensor,
	const struct store_correction *c, bool *changed, struct err *err);

/* The one of exactly that time; RC_UNKNOWN: there is none. Inside a transaction; dirty likewise. */
MUST_USE enum rc store_correction_remove(
	struct store *s, int64_t sensor, int64_t t_s, struct err *err);

/* In order of time; the caller's (mem_free). Of sensor 0: of all sensors, in order of their names. */
MUST_USE enum rc store_corrections(
	struct store *s, int64_t sensor, struct store_correction **out, size_t *n, struct err *err);
MUST_USE enum rc store_checks(
	struct store *s, int64_t sensor, struct salt_check **out, size_t *n, struct err *err);

/* The accuracy by which a sensor is weighed from now on; when it differs from the one before, its hours are dirty from
 * its first on. Inside a transaction; writes nothing when it is the same. */
MUST_USE enum rc store_weighed_by(
	struct store *s, int64_t sensor, double accuracy_pct, struct err *err);

/* ---- sources ---- */

struct store_source {
	char name[32];
	int64_t tried_s; /* the last try */
	int64_t worked_s; /* the last that brought something, TIME_NEVER: none */
	int64_t readings, failures; /* in all */
	char error[256]; /* of the last try that failed; "" since the last that worked */
};
/* A try that worked brought so many readings, new or not. */
MUST_USE enum rc store_source_worked(
	struct store *s, const char *name, int64_t readings, int64_t now_s, struct err *err);
MUST_USE enum rc store_source_failed(
	struct store *s, const char *name, const char *why, int64_t now_s, struct err *err);
/* *found false: never tried. */
MUST_USE enum rc store_source(
	struct store *s, const char *name, struct store_source *out, bool *found, struct err *err);

#endif
