/* One instrument followed through time: the fold of the air round it and of what people did to it.
 *
 * Method: each hour of air advances the moisture of every member (moisture.h; what is glued together exchanges
 * water), every clamped fastening (clamp.h) and what is held while it would shrink (restraint.h). The air inside a
 * body trails the room's. Movement is computed when asked: neck, top and back as strips whose layers are the cells
 * of the wood (strip.h). The model's own values are absolute and mean nothing alone: strings, rod and geometry add a
 * constant. Findings set that constant and teach the instrument's gain on the model (learn.h).
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
#include "learn.h"
#include "moisture.h"
#include "restraint.h"
#include "taper.h"

/* Constants of one build, ready to step. priors: one for each quantity. Owned by the caller: instrument_model_free. */
struct instrument_model;
struct instrument_state;
MUST_USE enum rc instrument_model_new(const struct build *b,
	const struct learn_prior priors[LEARN_QUANTITIES], struct instrument_model **out,
	struct err *err);
void instrument_model_free(struct instrument_model *m);

/* The build as modelled: its members, then the plates under what is glued on them (MEMBER_UNDER_*). */
const struct build *instrument_model_build(const struct instrument_model *m);
const struct learn_prior *instrument_prior(
	const struct instrument_model *m, enum learn_quantity quantity);
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

/* What is held across the grain while it would move. */
enum held_part {
	HELD_TOP, /* by rims and braces */
	HELD_BACK,
	HELD_BRIDGE, /* glue line: the top's width against the bridge's length */
	HELD_PARTS
};

/* What findings are compared with the model. */
enum line {
	LINE_RELIEF,
	LINE_ACTION_BASS,
	LINE_ACTION_TREBLE,
	LINE_FRET_ENDS,
	LINE_TUNER_TURN, /* counted from the last snug: has no level of its own */
	LINES
};
enum learn_quantity line_quantity(enum line line);

/* The members whose moisture moves a line most; MEMBER_ROLES where there is no second. */
void line_members(const struct instrument_model *m, enum line line, enum member_role role[2]);

/* What the model says of a line in that state: only differences mean something. */
double instrument_says(
	const struct instrument_model *m, const struct instrument_state *s, enum line line);

/* A finding that did not fit what earlier ones had taught. */
struct surprise {
	int64_t hour; /* TIME_NEVER: none yet */
	double found, expected, sd; /* of prediction and reading together */
};

struct reference {
	int64_t hour; /* of the last finding; begun: assumed */
	double model; /* what the model said then */
	double found; /* what was measured; NAN: never in this segment */
	double mc_pct[2]; /* of the wood it comes from, see line_members */
};

/* What is told beside the lines of findings. */
struct shape {
	double rise_m; /* of the top under the bridge: a part of the action */
	double back_m; /* of the back's arch, outwards */
	double neck_rad; /* turn of the neck towards the strings: a part of the action */
};

struct instrument_state {
	int64_t hour; /* the last hour that was followed */
	int64_t begun; /* the first */
	double mc_pct[BUILD_MEMBERS][MOISTURE_CELLS];
	double inside_mc_pct; /* equilibrium moisture of the air inside the body */
	struct clamp clamps[BUILD_FASTENINGS];
	int64_t snug_hour[BUILD_FASTENINGS]; /* of the last snug; begun when only assumed */
	double seat_mc_pct
		[BUILD_FASTENINGS]; /* of the wood round pegs and pins when they last fitted */
	struct restraint held[HELD_PARTS];
	double least_hold; /* of all clamped hardware since the last snug, see clamp.h */
	double widest_gap_m; /* since then */
	int64_t widest_hour;
	double fret_ref_pct; /* moisture of the fingerboard when first followed */
	struct shape shape_ref; /* what the model said then */
	struct learn_gain gains[LEARN_QUANTITIES];
	struct learn_line lines[LINES];
	struct learn_line
		aside[LINES]; /* as it was before the last surprise, which may have been a slip */
	struct reference refs[LINES];
	struct surprise surprises[LINES];
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
 * as snug, what is held as free of stress in the middle of the build's band, and every reference as taken then. */
void instrument_begin(const struct instrument_model *m, struct instrument_state *s, int64_t hour,
	double eq_mc_pct);

/* Follows the hour s->hour + 1. */
void instrument_step(const struct instrument_model *m, struct instrument_state *s,
	const struct instrument_air *air);

/* The same for many at once, each with its own hour and air: the same bits, sooner. */
struct instrument_stepping {
	const struct instrument_model *model;
	struct instrument_state *state;
	struct instrument_air air;
};
void instrument_step_many(const struct instrument_stepping *list, size_t n);

/* A finding made during that hour, s->hour or a later one that has not been followed yet: the wood is taken as it
 * stands. value: metres or turns by its unit, 0 for events. */
void instrument_finding(const struct instrument_model *m, struct instrument_state *s, int64_t hour,
	enum finding_kind kind, double value);

/* What the wood has done, from a state. Lengths in metres, positive: grows, rises. Changes count from the last
 * finding, their sd is of the true change and the reading together; levels have the sd of the true value and are NAN
 * before a finding. */
struct condition {
	double mc_pct[BUILD_MEMBERS]; /* mean of each member */
	struct clamp_state hardware[BUILD_FASTENINGS]; /* of clamped ones */
	struct taper_fit fits[BUILD_FASTENINGS]; /* of pegs and pins, since they last fitted */
	size_t slackest; /* clamped fastening with the least hold; n_fastenings when none */
	size_t loosest_peg; /* peg whose fit has changed most; n_fastenings when none */
	double relief_m, relief_sd_m;
	double action_m, action_sd_m; /* at the 12th fret, of action_line */
	enum line action_line; /* the side that was measured last */
	struct learn_estimate relief_now, action_now[2]; /* levels: bass, treble */
	double fret_end_m, fret_end_sd_m; /* stand-out per side, >= 0 */
	struct learn_estimate turn; /* that makes the tuner nuts snug again, see turned_fastening */
	struct shape shape; /* change since first followed */
	double strain[HELD_PARTS]; /* forced on it, tension positive */
	double crack; /* largest tension of top and back, and so of their seams, over RESTRAINT_YIELD; >= 0 */
	double peel; /* mismatch under the bridge likewise, either way; >= 0 */
};
void instrument_condition(
	const struct instrument_model *m, const struct instrument_state *s, struct condition *c);

/* The hardware a tuner's turn is about: the first tuner nut, else the first that is clamped; n_fastenings of the
 * build when none. */
size_t instrument_turned(const struct instrument_model *m);

bool fastening_is_clamped(const struct fastening *f);

#endif
