/* What the wood's moisture does to the measures of an instrument, by geometry. */
#include "instrument_int.h"

#include <math.h>

#include "strain.h"
#include "strip.h"

double member_mc_pct(
	const struct instrument_model *m, const struct instrument_state *s, size_t member)
{
	return member < m->build.n_members ? moisture_mean(s->mc_pct[member], MOISTURE_CELLS) : 0;
}

/* The cells of one member as layers of a strip that bends lengthwise to its grain, or across it. */
static void lay(const struct instrument_model *m, const struct instrument_state *s, size_t member,
	double width_m, bool across, struct strip_layer *layers)
{
	const struct member *w = &m->build.members[member];
	double c = across ? member_c_width_per_pct(w) : w->wood.c_l_per_pct;
	for (size_t i = 0; i < MOISTURE_CELLS; i++)
		layers[i] = (struct strip_layer){
			.thickness_m = m->slabs[member].dx_m,
			.width_m = width_m,
			.modulus_pa = across ? member_e_width_pa(w) : w->wood.e_l_pa,
			.free_strain = c * s->mc_pct[member][i],
		};
}

/* Neck as fingerboard over shaft: hollow is positive. */
double movement_relief_m(const struct instrument_model *m, const struct instrument_state *s)
{
	const struct build *b = &m->build;
	size_t board = build_member(b, MEMBER_FINGERBOARD), shaft = build_member(b, MEMBER_NECK);
	if (board == b->n_members || shaft == b->n_members)
		return 0;
	struct strip_layer layers[2 * MOISTURE_CELLS];
	lay(m, s, board, b->members[board].width_m, false, layers);
	lay(m, s, shaft, b->members[shaft].width_m, false, layers + MOISTURE_CELLS);
	double kappa = strip_curvature_per_m(layers, 2 * MOISTURE_CELLS);
	return -strip_sagitta_m(kappa, b->relief_span_m) * b->relief_share;
}

/* A plate across its grain over the length of a brace: outwards is positive. */
static double plate_rise_m(const struct instrument_model *m, const struct instrument_state *s,
	enum member_role plate, enum member_role brace, double pitch_m, double span_m)
{
	const struct build *b = &m->build;
	size_t p = build_member(b, plate), r = build_member(b, brace);
	if (p == b->n_members || r == b->n_members || !(span_m > 0))
		return 0;
	struct strip_layer layers[2 * MOISTURE_CELLS];
	lay(m, s, p, pitch_m, true, layers);
	lay(m, s, r, b->members[r].width_m, false, layers + MOISTURE_CELLS);
	return strip_sagitta_m(strip_curvature_per_m(layers, 2 * MOISTURE_CELLS), span_m);
}

double movement_rise_m(const struct instrument_model *m, const struct instrument_state *s)
{
	const struct build *b = &m->build;
	return b->top_share *
	       plate_rise_m(m, s, MEMBER_TOP, MEMBER_TOP_BRACE, b->brace_pitch_m, b->top_span_m);
}

double movement_back_m(const struct instrument_model *m, const struct instrument_state *s)
{
	const struct build *b = &m->build;
	return b->back_share * plate_rise_m(m, s, MEMBER_BACK, MEMBER_BACK_BRACE,
				       b->back_brace_pitch_m, b->back_span_m);
}

/* The body as a thin-walled box, top and back equally stiff along the grain: where the back grows longer than the
 * top it bends, and from bridge to joint that turns the neck towards the strings. */
double movement_neck_rad(const struct instrument_model *m, const struct instrument_state *s)
{
	const struct build *b = &m->build;
	size_t top = build_member(b, MEMBER_TOP), back = build_member(b, MEMBER_BACK);
	if (top == b->n_members || back == b->n_members || !(b->body_depth_m > 0))
		return 0;
	double longer = b->members[back].wood.c_l_per_pct * member_mc_pct(m, s, back) -
			b->members[top].wood.c_l_per_pct * member_mc_pct(m, s, top);
	return longer / b->body_depth_m * (b->scale_m - b->joint_m);
}

/* Over the 12th fret, half-way along the string. The string turns about the nut, so half of what the bridge rises
 * arrives there (similar triangles). A neck that turns forwards about its joint lifts the nut end of the string
 * more than it lifts the fret, by half the length between joint and bridge. Relief sinks the frets in the middle:
 * half of it counts (common practice, no source). */
double movement_action_m(const struct instrument_model *m, const struct instrument_state *s)
{
	const struct build *b = &m->build;
	double lever_m = b->scale_m - b->joint_m;
	return movement_rise_m(m, s) / 2 + movement_neck_rad(m, s) * lever_m / 2 +
	       movement_relief_m(m, s) / 2;
}

/* The board shrinks by its width, metal does not. */
double movement_fret_end_m(const struct instrument_model *m, const struct instrument_state *s)
{
	size_t board = build_member(&m->build, MEMBER_FINGERBOARD);
	if (board == m->build.n_members)
		return 0;
	const struct member *w = &m->build.members[board];
	return -strain_linear(
		       member_c_width_per_pct(w), s->fret_ref_pct, member_mc_pct(m, s, board)) *
	       w->width_m / 2;
}

static double turns(const struct instrument_model *m, const struct instrument_state *s)
{
	size_t i = instrument_turned(m);
	if (i == m->build.n_fastenings)
		return 0;
	double mc_pct = member_mc_pct(m, s, m->build.fastenings[i].member);
	return clamp_state(&m->grips[i], &s->clamps[i], mc_pct).snug_turns;
}

double instrument_says(
	const struct instrument_model *m, const struct instrument_state *s, enum line line)
{
	switch (line) {
	case LINE_RELIEF:
		return movement_relief_m(m, s);
	case LINE_ACTION_BASS:
	case LINE_ACTION_TREBLE:
		return movement_action_m(m, s);
	case LINE_FRET_ENDS:
		return movement_fret_end_m(m, s);
	case LINE_TUNER_TURN:
		return turns(m, s);
	case LINES:
		break;
	}
	return 0;
}

/* Free strain across the grain of one member, 0 when it is not there. */
static double across(
	const struct instrument_model *m, const struct instrument_state *s, size_t member)
{
	if (member == m->build.n_members)
		return 0;
	return member_c_width_per_pct(&m->build.members[member]) * member_mc_pct(m, s, member);
}

/* Free strain that is held: of a plate its own, of a glue line what one side gains on the other. The bridge is long
 * across the top's grain, along its own. */
double movement_free_strain(
	const struct instrument_model *m, const struct instrument_state *s, enum held_part part)
{
	const struct build *b = &m->build;
	size_t bridge = build_member(b, MEMBER_BRIDGE),
	       under = build_member(b, MEMBER_UNDER_BRIDGE);
	switch (part) {
	case HELD_TOP:
		return across(m, s, build_member(b, MEMBER_TOP));
	case HELD_BACK:
		return across(m, s, build_member(b, MEMBER_BACK));
	case HELD_BRIDGE:
		if (under == b->n_members)
			return 0;
		return across(m, s, under) -
		       b->members[bridge].wood.c_l_per_pct * member_mc_pct(m, s, bridge);
	case HELD_PARTS:
		break;
	}
	return 0;
}
