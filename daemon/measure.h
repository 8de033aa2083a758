/* What is known about one subject for one care rule, and the words that justify an item. */
#ifndef DAEMON_MEASURE_H
#define DAEMON_MEASURE_H

#include "core/care.h"
#include "daemon/engine.h"
#include "daemon/state.h"

/* A subject a rule can be about. */
struct subject {
	enum care_subject kind;
	const char *name;
	const struct followed *followed; /* of an instrument, else NULL */
	const struct place *place; /* of a place, or where a sensor is */
	const struct sensor *sensor;
};

struct measure_context {
	struct store *store;
	const struct engine *engine;
	const struct settings *set;
	int64_t now_s;
};

/* Fills *m for the rule, and the reasons: a phrase, whose numbers and days are shown by phrase.h. */
MUST_USE enum rc measure(const struct measure_context *c, const struct care_rule *rule,
	const struct subject *s, struct care_measure *m, char *reasons, size_t size,
	struct err *err);

/* The band that holds for a place: its own, or the strictest of the instruments there; false: none. */
bool measure_band(
	const struct measure_context *c, const struct place *p, double *low_pct, double *high_pct);

/* `tuner nuts`, `strap button` ... */
const char *measure_hardware(enum fastening_kind kind);

/* What is held, in words: `glue under the bridge` ... */
const char *measure_held(enum held_part part);

/* What findings have taught about a line, a phrase, appended to buf. */
void measure_learnt(const struct followed *f, enum line line, char *buf, size_t size);

/* `relief .012 in differs from the expected .007 +- 0.002 in: ...?`; the line must have had a surprise. */
void measure_surprise(
	const struct followed *f, enum line line, enum bench_units units, char *buf, size_t size);

/* `corrected since 2025-12-01: 0.985 x shown + 1.2, +- 0.8 % RH`, a phrase; "" when the sensor was never checked. */
enum { MEASURE_CORRECTION = 160 };
MUST_USE enum rc measure_correction(const struct measure_context *c, const struct sensor *sensor,
	char *buf, size_t size, struct err *err);

/* How each sensor of a place stands to the others in the week before now, corrected; in the order of engine_source, room for
 * TRACK_SENSORS_MAX. */
MUST_USE enum rc measure_week(const struct measure_context *c, const struct track_source *source,
	struct agree_off *off, struct err *err);

/* Mean air of a place over the hours before now, as the wood there is followed through it (track.h); false when fewer than
 * half of them are known. */
struct measure_air {
	double rh_pct, t_degc; /* t_degc NAN: no temperature */
	double least_rh_pct, most_rh_pct; /* of hourly means */
	int64_t hours;
};
MUST_USE enum rc measure_air(const struct measure_context *c, const char *place, int64_t hours,
	struct measure_air *out, bool *known, struct err *err);

#endif
