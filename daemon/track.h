/* The hourly air of one place out of its sensors' hourly means: corrected, brought together, gaps bridged.
 *
 * Method: an hour is known when any of the place's sensors has a believed reading in it. Each sensor's mean RH is
 * corrected by its checks as they hold at the start of the hour (core/salt.h; linear, so the mean of corrected readings
 * is the corrected mean) and kept within 0..100. Several sensors weigh 1/u^2, u being the accuracy of the settings or
 * what the checks leave; their air is that of mean vapour pressure and mean temperature (core/agree.h). Where none has a
 * temperature, a case borrows the one that its room has in that hour; else TRACK_ASSUMED_DEGC. Hours between two known
 * ones are bridged by a straight line and marked. Nothing is invented before the first known hour; after the last one the
 * air is held and marked, and `last` tells the engine where to stop. What a track holds is a function of the hourly
 * table and the checks alone, so a track loaded in parts equals one loaded whole.
 * Units: RH percent, degC. */
#ifndef DAEMON_TRACK_H
#define DAEMON_TRACK_H

#include "core/agree.h"
#include "daemon/store.h"

#define TRACK_ASSUMED_DEGC                                                                         \
	20.0 /* room air when no sensor tells; a few K change EMC by 0.1-0.2 % MC */

enum { TRACK_SENSORS_MAX = 32 }; /* of one place */

struct track_sensor {
	int64_t id; /* in the store */
	double accuracy_pct; /* above 0 */
};

/* Whose readings make the air of a place, each list in order of id. */
struct track_source {
	struct track_sensor at[TRACK_SENSORS_MAX];
	size_t n;
	struct track_sensor
		room[TRACK_SENSORS_MAX]; /* of a case with sensors of its own: those of its room */
	size_t n_room;
};

enum track_mark { TRACK_NONE, TRACK_KNOWN, TRACK_BRIDGED, TRACK_HELD };

struct track_hour {
	double rh_pct, t_degc;
	double eq_mc_pct; /* equilibrium moisture content of wood in that air */
	enum track_mark mark;
	bool t_assumed;
};

struct track {
	int64_t from; /* hour of at[0] */
	size_t n;
	struct track_hour *at; /* owned */
	int64_t last; /* last known hour of the place up to the end of the track, TIME_NEVER: none */
};

/* Loads hours from <= hour < to. track_done releases it. */
MUST_USE enum rc track_load(struct store *s, const struct track_source *source, int64_t from,
	int64_t to, struct track *out, struct err *err);
void track_done(struct track *t);

/* What one sensor says of hours from <= hour < to, into said[hour - from]; raw: without its checks. */
MUST_USE enum rc track_said(struct store *s, const struct track_sensor *sensor, bool raw,
	int64_t from, int64_t to, struct agree_said *said, struct err *err);

/* Whether a change of its room's temperatures from `hour` on reaches the air of a case: the last known hour of the case
 * before the first one that borrows (INT64_MIN: none before it), TIME_NEVER: no hour borrows. */
MUST_USE enum rc track_borrows_from(struct store *s, const struct track_source *source,
	int64_t hour, int64_t *known, struct err *err);

#endif
