/* Inside of the engine, for engine*.c only. */
#ifndef DAEMON_ENGINE_INT_H
#define DAEMON_ENGINE_INT_H

#include "daemon/engine.h"
#include "daemon/track.h"

#define ENGINE_VERSION 3 /* raise when the fold changes meaning: every state is then made anew */

/* What a snapshot stores. */
struct snapshot {
	uint64_t fingerprint; /* of build and fold */
	struct instrument_state state;
	uint64_t sum; /* SQLite does not see rotten bytes inside a row */
};

/* What sum has to be; else the snapshot is as good as none. */
uint64_t engine_snapshot_sum(const struct snapshot *x);

/* A followed instrument with what only the engine needs. */
struct follow {
	struct followed pub;
	uint64_t fingerprint;
	struct stay *stays;
	size_t n_stays;
	struct finding *findings;
	size_t n_findings;
	int64_t head; /* hour of the snapshot it starts from; TIME_NEVER: from the beginning */
	struct snapshot start;
	int64_t goal; /* the last hour it may be followed to */
	bool going; /* it has not reached its goal or the end of its air */
};

struct place_air {
	const struct place *place;
	struct zone *zone; /* owned */
	struct track_source source;
	int64_t dirty; /* first hour whose air may have changed; TIME_NEVER: none */
	int64_t needed; /* first hour some instrument asks for; TIME_NEVER: none */
	struct track track;
};

/* Instruments of one anatomy share its model. */
struct shared_model {
	uint64_t fingerprint;
	struct instrument_model *model;
};

struct engine {
	struct store *store;
	const struct settings *set;
	const struct library *lib;
	struct zone *zone;
	struct zone *zones[OUTPUTS_MAX]; /* of outputs that name one */
	struct place_air *places;
	size_t n_follows, n_list;
	struct follow *follows;
	struct followed *list; /* copies of follows[].pub for callers */
	size_t n_models;
	struct shared_model *models; /* owned; each is some follow's */
};

struct place_air *engine_place(const struct engine *e, const char *name);

/* The stay that rules at the start of that hour; the first one rules before itself. NULL without stays. */
const struct stay *engine_stay_at(const struct follow *f, int64_t hour);

/* Follows all of them from their chosen starts to target, hour by hour side by side; keeps the heads' snapshots
 * and drops those of the old heads. Needs the places' tracks. */
MUST_USE enum rc engine_follow_hours(struct engine *e, int64_t target, struct err *err);

/* What callers see: the head with findings made since, and where the instrument is at now_s. */
void engine_show(struct follow *f, int64_t now_s);

#endif
