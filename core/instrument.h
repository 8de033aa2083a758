/* One instrument followed through time: the fold of the air round it and of what people did to it.
 *
 * Method: each hour of air advances the moisture of every member (moisture.h) and every clamped
 * fastening (clamp.h). Bending is computed when asked: the neck as a strip whose layers are the cells
 * of fingerboard and shaft, the top as a strip of plate over brace (strip.h). Movement is told as the
 * change since the last finding of that quantity, so constant offsets (rod, strings, geometry) cancel.
 * A trend of the moisture in the wood that carries the hardware tells the driest and the dampest point
 * of the year, each once it has been left by TREND_SWING_PCT.
 *
 * The state is plain data without pointers: copied, stored and compared as bytes. */
#ifndef CORE_INSTRUMENT_H
#define CORE_INSTRUMENT_H

#include <stdbool.h>
#include <stdint.h>

#include "build.h"
#include "clamp.h"
#include "err.h"
#include "finding.h"
#include "moisture.h"

/* Constants of one build, ready to step. Owned by the caller: instrument_model_free. */
struct instrument_model;
MUST_USE enum rc instrument_model_new(
	const struct build *b, struct instrument_model **out, struct err *err);
void instrument_model_free(struct instrument_model *m);
const struct build *instrument_model_build(const struct instrument_model *m);
/* Index of the member whose moisture the trend follows: what carries the first fastening. */
size_t instrument_carrier(const struct instrument_model *m);

/* The turning points of a slow moisture curve. */
struct trend {
	double slow_pct; /* moving mean with a time constant of TREND_SMOOTH_H */
	double extreme_pct; /* of slow_pct since the last turn */
	int64_t extreme_hour;
	int64_t direction; /* +1 wetter, -1 drier, 0 not known yet */
	int64_t dry_hour,
		dry_seen_hour; /* the last driest point and when it was sure; TIME_NEVER */
	int64_t damp_hour, damp_seen_hour; /* the last dampest point likewise */
};
#define TREND_SMOOTH_H 168.0 /* hours, a week: weather passes, seasons stay; judgement, no source */
#define TREND_SWING_PCT 0.6 /* % MC, about 4 % RH: what counts as a turn; judgement, no source */

struct instrument_state {
	int64_t hour; /* the last hour that was followed */
	int64_t begun; /* the first */
	double mc_pct[BUILD_MEMBERS][MOISTURE_CELLS];
	struct clamp clamps[BUILD_FASTENINGS];
	int64_t snug_hour[BUILD_FASTENINGS]; /* of the last snug; begun when only assumed */
	double least_hold; /* of all hardware since the last snug, see clamp.h */
	double widest_gap_m; /* since then */
	int64_t widest_hour;
	double relief_ref_m, action_ref_m, fret_ref_pct; /* model values at the last finding */
	double relief_found_m, action_found_m; /* what was measured; NAN: never */
	int64_t relief_hour, action_hour, fret_hour; /* of the references; begun: assumed */
	struct trend trend;
	int64_t bridged_h; /* hours without readings that were bridged, in all */
};

/* The air of one hour as the wood feels it. */
struct instrument_air {
	double eq_mc_pct; /* sorption_mc_pct of that air */
	double t_degc;
	bool bridged; /* no reading: filled in between neighbours */
};

/* Starts at hour (exclusive: the first step is hour + 1) in equilibrium with eq_mc_pct; hardware counts
 * as snug and every reference as taken then. */
void instrument_begin(const struct instrument_model *m, struct instrument_state *s, int64_t hour,
	double eq_mc_pct);

/* Follows the hour s->hour + 1. */
void instrument_step(const struct instrument_model *m, struct instrument_state *s,
	const struct instrument_air *air);

/* A finding made during the hour s->hour. value: metres or turns by its unit, 0 for events. */
void instrument_finding(const struct instrument_model *m, struct instrument_state *s,
	enum finding_kind kind, double value);

/* What the wood has done, from a state. Lengths in metres, positive: relief grows, action rises. */
struct condition {
	double mc_pct[BUILD_MEMBERS]; /* mean of each member */
	struct clamp_state hardware[BUILD_FASTENINGS];
	size_t slackest; /* fastening with the least preload; n_fastenings when none */
	double relief_m, relief_sd_m; /* change since the last finding and its standard deviation */
	double action_m, action_sd_m;
	double fret_end_m; /* stand-out per side since the last dressing, >= 0 */
};
void instrument_condition(
	const struct instrument_model *m, const struct instrument_state *s, struct condition *c);

/* Spread of a predicted change: half of it (no finding has corrected the build's coefficients yet) and
 * the reading error of the tool. Judgement, no source. */
double instrument_spread_m(double change_m, double tool_m);

#endif
