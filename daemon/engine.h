/* The engine: follows every instrument's wood through the air of the places it stays in.
 *
 * Method: an instrument's state (core/instrument.h) is a fold over hours. The store keeps a snapshot at the head
 * and one every SNAPSHOT_H hours. What changed - readings, findings, stays, builds - leaves a mark with the first
 * hour concerned; following drops every snapshot from there on, starts from the last one before it and goes
 * forward again, so late and shuffled intake give the same bits as one rebuild. The first BEGIN_H hours decide
 * the starting moisture: until they have passed, an instrument is followed from its beginning each time.
 * The head never passes the last hour with readings: silence is a care item, not an assumption. */
#ifndef DAEMON_ENGINE_H
#define DAEMON_ENGINE_H

#include "core/instrument.h"
#include "daemon/library.h"
#include "daemon/record.h"
#include "daemon/settings.h"
#include "daemon/store.h"
#include "daemon/track.h"

enum { SNAPSHOT_H = 240, BEGIN_H = 720 };

/* One instrument as followed. */
struct followed {
	struct instrument record;
	struct instrument_model *model; /* NULL: its build cannot be used, see trouble */
	struct instrument_state state; /* at the head, with younger findings already applied */
	struct condition condition; /* of that state, once known */
	bool known; /* false: no air has reached it yet */
	char place[NAME_SIZE]; /* where it is now; "" : nowhere */
	char trouble[256]; /* why it is not followed; "" : all well */
};

struct engine;

/* Borrows all three for its life. The store has to know the sensors of the settings: intake_new sees to that. */
MUST_USE enum rc engine_new(struct store *store, const struct settings *set,
	const struct library *lib, struct engine **out, struct err *err);
void engine_free(struct engine *e);

/* Brings every instrument forward to the last full hour before now_s, in one transaction. */
MUST_USE enum rc engine_follow(struct engine *e, int64_t now_s, struct err *err);

/* The same in the caller's transaction. */
MUST_USE enum rc engine_follow_within(struct engine *e, int64_t now_s, struct err *err);

/* After engine_follow, in order of name; borrowed until the next call. */
const struct followed *engine_followed(const struct engine *e, size_t *n);

/* The one of that name, NULL when there is none; borrowed likewise. */
const struct followed *engine_find(const struct engine *e, const char *name);

/* The sensors whose air counts for a place: its own, or its room's when it has none. Writes at most max store
 * numbers, returns how many. */
size_t engine_sensors_of(const struct engine *e, const char *place, int64_t *ids, size_t max);

/* The same with what they weigh by, and for a case those of its room; NULL for a place that the settings do not have.
 * Borrowed. */
const struct track_source *engine_source(const struct engine *e, const char *place);

/* The zone object of a place (of the settings when place is NULL or unknown). Borrowed. */
const struct zone *engine_zone(const struct engine *e, const char *place);

/* The zone object of an output of the settings; the settings' own when it names none. Borrowed. */
const struct zone *engine_output_zone(const struct engine *e, const struct output *o);

#endif
