/* What the engine and the agenda keep in the store. All writes happen inside an open transaction. */
#ifndef DAEMON_STATE_H
#define DAEMON_STATE_H

#include "core/care.h"
#include "daemon/record.h"

/* ---- the engine's snapshots: opaque bytes per instrument and hour ---- */

/* The latest snapshot before hour (exclusive): its bytes go into buf when they are exactly size long.
 * *found_hour is TIME_NEVER when there is none of that size. */
MUST_USE enum rc state_snapshot_before(struct store *s, int64_t instrument, int64_t hour, void *buf,
	size_t size, int64_t *found_hour, struct err *err);
MUST_USE enum rc state_snapshot_put(struct store *s, int64_t instrument, int64_t hour,
	const void *buf, size_t size, struct err *err);
/* Removes snapshots with hour >= from. */
MUST_USE enum rc state_snapshot_cut(
	struct store *s, int64_t instrument, int64_t from, struct err *err);
/* Removes the snapshot of exactly that hour, when it is there. */
MUST_USE enum rc state_snapshot_drop(
	struct store *s, int64_t instrument, int64_t hour, struct err *err);

/* ---- the course of conditions, one row per day and quantity ---- */

enum state_quantity {
	STATE_PRELOAD, /* least of all hardware, 0..1 */
	STATE_GAP_M, /* widest */
	STATE_TURNS, /* largest take-up turn */
	STATE_RELIEF_M, /* change since the last finding */
	STATE_ACTION_M,
	STATE_FRET_END_M,
	STATE_MC_PCT, /* of the member that carries the hardware */
	STATE_QUANTITIES
};

MUST_USE enum rc state_condition_put(struct store *s, int64_t instrument, int64_t hour,
	enum state_quantity q, double value, struct err *err);
/* Removes rows with hour >= from. */
MUST_USE enum rc state_condition_cut(
	struct store *s, int64_t instrument, int64_t from, struct err *err);

struct state_point {
	int64_t hour;
	double value;
};
/* Rows with from <= hour < to in order of time; the caller's (mem_free). */
MUST_USE enum rc state_condition(struct store *s, int64_t instrument, enum state_quantity q,
	int64_t from, int64_t to, struct state_point **out, size_t *n, struct err *err);

/* The last hour before `hour`, or the first at or after it, with believed readings of a sensor; TIME_NEVER when
 * there is none. */
MUST_USE enum rc state_known_hour_before(
	struct store *s, int64_t sensor, int64_t hour, int64_t *out, struct err *err);
MUST_USE enum rc state_known_hour_from(
	struct store *s, int64_t sensor, int64_t hour, int64_t *out, struct err *err);
/* The first hour at or after it with believed readings but no temperature. */
MUST_USE enum rc state_bare_hour_from(
	struct store *s, int64_t sensor, int64_t hour, int64_t *out, struct err *err);

/* ---- the agenda ---- */

enum item_state { ITEM_OPEN, ITEM_DONE, ITEM_WITHDRAWN, ITEM_PUT_ASIDE };

enum { REASONS_SIZE = 960 };

struct item {
	int64_t id;
	char uid[40];
	char rule[CARE_NAME];
	int subject_kind; /* enum care_subject */
	char subject[NAME_SIZE];
	int state; /* enum item_state */
	int weight; /* enum care_weight */
	int64_t opened_s, from_s, by_s;
	double value; /* of the measure when the reasons were written; NAN: none */
	char reasons[REASONS_SIZE]; /* a phrase, see phrase.h */
	int64_t closed_s; /* TIME_NEVER while open */
	int64_t visit; /* 0: none */
	int64_t moved_s; /* where a person moved the last day; TIME_NEVER: nowhere */
	double moved_value; /* of the measure then */
};

/* id 0 adds and sets id; else replaces. */
MUST_USE enum rc state_item_put(struct store *s, struct item *i, struct err *err);

/* Open items, and those closed at or after closed_since_s, in order of their last day as it holds (moved_s,
 * else by_s) and id. The caller's (mem_free). */
MUST_USE enum rc state_items(
	struct store *s, int64_t closed_since_s, struct item **out, size_t *n, struct err *err);

/* The one of that uid, open or not; *found false: there is none. */
MUST_USE enum rc state_item_by_uid(
	struct store *s, const char *uid, struct item *out, bool *found, struct err *err);

/* When the last item of that rule and subject was done or put aside, and when the last one was done; TIME_NEVER: never. */
MUST_USE enum rc state_last_closed(struct store *s, const char *rule, int subject_kind,
	const char *subject, int64_t *closed_s, int64_t *done_s, struct err *err);

enum visit_answer { ANSWER_NONE, ANSWER_ACCEPTED, ANSWER_DECLINED, ANSWER_TENTATIVE };

struct visit {
	int64_t id;
	char uid[40];
	int64_t client;
	int state; /* enum item_state */
	int64_t from_s, by_s;
	int64_t opened_s, closed_s;
	int64_t at_s, length_s; /* the appointment; TIME_NEVER: none yet */
	int answer; /* enum visit_answer, of the client to the appointment */
	int64_t answered_s; /* TIME_NEVER: not */
	int64_t moved_s; /* where a person moved the last day; TIME_NEVER: nowhere */
};
MUST_USE enum rc state_visit_put(struct store *s, struct visit *v, struct err *err);
MUST_USE enum rc state_visits(
	struct store *s, int64_t closed_since_s, struct visit **out, size_t *n, struct err *err);

MUST_USE enum rc state_visit_by_uid(
	struct store *s, const char *uid, struct visit *out, bool *found, struct err *err);

/* Removes items and visits opened at or after from_s and opens again those closed at or after it. */
MUST_USE enum rc state_forget(struct store *s, int64_t from_s, struct err *err);

/* ---- what each output last said of an entry ---- */

struct publication {
	uint64_t hash; /* of the entry's meaning */
	int sequence;
	int64_t modified_s;
};
/* *found false: never published there. */
MUST_USE enum rc state_publication(struct store *s, const char *output, const char *uid,
	struct publication *p, bool *found, struct err *err);
MUST_USE enum rc state_publication_put(struct store *s, const char *output, const char *uid,
	const struct publication *p, struct err *err);

#endif
