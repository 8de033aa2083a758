/* The hourly air of one place: its sensors' hourly means averaged, gaps bridged.
 *
 * Method: an hour is known when any of the place's sensors has a believed reading in it. Hours between two
 * known ones are bridged by a straight line and marked. Nothing is invented before the first known hour; after
 * the last one the air is held and marked, and `last` tells the engine where to stop. What a track holds is a
 * function of the hourly table alone, so a track loaded in parts equals one loaded whole.
 * Units: RH percent, degC; without any temperature TRACK_ASSUMED_DEGC. */
#ifndef DAEMON_TRACK_H
#define DAEMON_TRACK_H

#include "daemon/store.h"

#define TRACK_ASSUMED_DEGC                                                                         \
	20.0 /* room air when no sensor tells; a few K change EMC by 0.1-0.2 % MC */

enum track_mark { TRACK_NONE, TRACK_KNOWN, TRACK_BRIDGED, TRACK_HELD };

struct track_hour {
	double rh_pct, t_degc;
	double eq_mc_pct; /* equilibrium moisture content of wood in that air */
	enum track_mark mark;
};

struct track {
	int64_t from; /* hour of at[0] */
	size_t n;
	struct track_hour *at; /* owned */
	int64_t last; /* last known hour of the place up to the end of the track, TIME_NEVER: none */
};

/* Loads hours from <= hour < to of the given sensors (store numbers). track_done releases it. */
MUST_USE enum rc track_load(struct store *s, const int64_t *sensors, size_t n_sensors, int64_t from,
	int64_t to, struct track *out, struct err *err);
void track_done(struct track *t);

#endif
