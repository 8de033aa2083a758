/* The workings of an instrument's figures, for seasonctl explain: every number a figure is made of, in metric units
 * and with digits enough to make it again by hand. A working tells which members and formulas it has used. */
#ifndef DAEMON_CTL_WORKINGS_H
#define DAEMON_CTL_WORKINGS_H

#include "daemon/ctl.h"

enum formula {
	FORMULA_SORPTION,
	FORMULA_TRANSPORT,
	FORMULA_SWELLING,
	FORMULA_BENDING,
	FORMULA_ACTION,
	FORMULA_LEARNING,
	FORMULA_CLAMP,
	FORMULA_HELD,
	FORMULA_TAPER,
	FORMULA_SEASON,
	FORMULAS
};

struct workings {
	const struct ctl *ctl;
	const struct followed *f;
	const struct build *b; /* of its model */
	struct instrument_state start; /* as it was first followed */
	struct finding *findings; /* all of it up to now, in order of time */
	size_t n_findings;
	bool used[BUILD_MEMBERS];
	bool formulas[FORMULAS];
};

/* f has been followed. workings_done releases it, also after an error. */
MUST_USE enum rc workings_new(
	const struct ctl *c, const struct followed *f, struct workings *w, struct err *err);
void workings_done(struct workings *w);

/* The day in the zone of the instrument's place. */
void workings_day(const struct workings *w, int64_t t_s, char *buf, size_t n);

/* A figure that the build has not got prints nothing. */
void workings_relief(struct workings *w);
void workings_action(struct workings *w);
void workings_fret_ends(struct workings *w);
void workings_hardware(struct workings *w); /* what is clamped */
void workings_tapers(struct workings *w); /* pegs and pins */
void workings_stretched(struct workings *w); /* plates */
void workings_glue(struct workings *w); /* under the bridge */
void workings_season(struct workings *w); /* the turns of the year */
void workings_strings(struct workings *w);

/* What findings have taught of a quantity. */
void workings_gain(struct workings *w, enum learn_quantity q);

/* Change and level of a line, the findings that hold there, the last that did not fit. Not of LINE_TUNER_TURN. */
void workings_line(struct workings *w, enum line line);

/* The turn that makes the tuner nuts snug, and the turns that were noted. */
void workings_turn(struct workings *w);

/* What the members that were used hold, and what has been used with its sources. */
void workings_wood(const struct workings *w);
void workings_sources(const struct workings *w);

/* The findings of a kind. */
void workings_noted(const struct workings *w, enum finding_kind kind);

/* Role, species, cut and size of a member without the end of the line; marks it as used. */
void workings_member(struct workings *w, size_t member);

#endif
