/* Inside of an instrument, for instrument.c, movement.c and condition.c only. */
#ifndef CORE_INSTRUMENT_INT_H
#define CORE_INSTRUMENT_INT_H

#include "instrument.h"

/* What exchanges water as one: a piece, or two glued face to face. Cell 0 of a member lies at the outer face,
 * of one that is glued under another at the glue. */
struct column {
	struct moisture_column moisture;
	size_t member[2];
	bool inside[2]; /* that face sees the air inside the body */
};

struct instrument_model {
	struct build
		build; /* with the plates under what is glued on them as members of their own */
	struct moisture_diffusivity
		*diffusivity[BUILD_MEMBERS]; /* NULL: shared with an earlier member */
	struct moisture_slab slabs[BUILD_MEMBERS];
	size_t n_columns;
	struct column columns[BUILD_MEMBERS];
	struct clamp_wood grips[BUILD_FASTENINGS];
	struct learn_prior priors[LEARN_QUANTITIES];
	double cavity_share; /* of the way to the room's air that the air inside goes in an hour */
	size_t carrier; /* the member whose moisture the trend follows */
};

/* ---- movement.c: what the model says, absolute; only differences mean something ---- */

double movement_relief_m(const struct instrument_model *m, const struct instrument_state *s);
double movement_rise_m(const struct instrument_model *m, const struct instrument_state *s);
double movement_back_m(const struct instrument_model *m, const struct instrument_state *s);
double movement_neck_rad(const struct instrument_model *m, const struct instrument_state *s);
double movement_action_m(const struct instrument_model *m, const struct instrument_state *s);
double movement_fret_end_m(const struct instrument_model *m, const struct instrument_state *s);
double movement_free_strain(
	const struct instrument_model *m, const struct instrument_state *s, enum held_part part);

/* Mean moisture of a member, 0 when the build has none of that index. */
double member_mc_pct(
	const struct instrument_model *m, const struct instrument_state *s, size_t member);

#endif
