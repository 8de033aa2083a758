#include "instrument.h"

#include <math.h>
#include <string.h>

#include "civil.h"
#include "mem.h"
#include "strain.h"
#include "strip.h"

/* Surface emission of bare wood in indoor air, S = FILM_M_S * exp(FILM_EXP * MC / 100): Toratti 1992,
 * Hanhijarvi 1995; from memory. */
#define FILM_M_S 3.2e-8
#define FILM_EXP 4.0
#define FEELER_M 0.03e-3 /* reading error of a feeler gauge; common practice, no source */
#define RULER_M 0.2e-3 /* half of 1/64 in; common practice, no source */

struct instrument_model {
	struct build build;
	struct moisture_diffusivity
		*diffusivity[BUILD_MEMBERS]; /* NULL: shared with an earlier member */
	struct moisture_slab slabs[BUILD_MEMBERS];
	struct clamp_wood grips[BUILD_FASTENINGS];
	size_t carrier; /* the member whose moisture the trend follows */
};

static const struct moisture_diffusivity *shared_diffusivity(
	const struct instrument_model *m, size_t member)
{
	const struct build *b = &m->build;
	for (size_t i = 0; i < member; i++)
		if (b->members[i].wood.specific_gravity == b->members[member].wood.specific_gravity)
			return m->slabs[i].d_ref;
	return NULL;
}

static enum rc slab_init(struct instrument_model *m, size_t i, struct err *err)
{
	const struct member *w = &m->build.members[i];
	const struct moisture_diffusivity *d = shared_diffusivity(m, i);
	if (!d) {
		m->diffusivity[i] = moisture_diffusivity_new(w->wood.specific_gravity);
		if (!m->diffusivity[i])
			return err_set(err, RC_MEM, "build %s: out of memory", m->build.name);
		d = m->diffusivity[i];
	}
	m->slabs[i] = (struct moisture_slab){
		.d_ref = d,
		.n = MOISTURE_CELLS,
		.dx_m = w->thickness_m / MOISTURE_CELLS,
		.finish_s_m = { w->finish_s_m[0], w->finish_s_m[1] },
		.film_m_s = FILM_M_S,
		.film_exp = FILM_EXP,
	};
	return RC_OK;
}

/* Swelling through the thickness: growth rings stand at 90 - ring_deg to it. */
static double thickness_coefficient(const struct member *w)
{
	return strain_at_angle(w->wood.c_r_per_pct, w->wood.c_t_per_pct, 90 - w->ring_deg);
}

static double width_coefficient(const struct member *w)
{
	return strain_at_angle(w->wood.c_r_per_pct, w->wood.c_t_per_pct, w->ring_deg);
}

enum rc instrument_model_new(const struct build *b, struct instrument_model **out, struct err *err)
{
	struct instrument_model *m = mem_new(1, sizeof *m);
	if (!m)
		return err_set(err, RC_MEM, "build %s: out of memory", b->name);
	m->build = *b;
	enum rc rc = RC_OK;
	for (size_t i = 0; i < b->n_members && rc == RC_OK; i++)
		rc = slab_init(m, i, err);
	for (size_t i = 0; i < b->n_fastenings; i++) {
		const struct fastening *f = &b->fastenings[i];
		m->grips[i] = (struct clamp_wood){
			.c_per_pct = thickness_coefficient(&b->members[f->member]),
			.grip_m = f->grip_m,
			.snug_strain = f->snug_strain,
			.yield_strain = f->yield_strain,
			.relax_s = f->relax_s,
			.pitch_m = f->pitch_m,
		};
	}
	m->carrier = b->n_fastenings ? b->fastenings[0].member : 0;
	if (rc == RC_OK)
		*out = m;
	else
		instrument_model_free(m);
	return rc;
}

void instrument_model_free(struct instrument_model *m)
{
	if (!m)
		return;
	for (size_t i = 0; i < BUILD_MEMBERS; i++)
		moisture_diffusivity_free(m->diffusivity[i]);
	mem_free(m);
}

const struct build *instrument_model_build(const struct instrument_model *m)
{
	return &m->build;
}

size_t instrument_carrier(const struct instrument_model *m)
{
	return m->carrier;
}

/* Relief the strip of fingerboard over shaft would take by its moisture alone: hollow is positive. */
static double neck_relief_m(const struct instrument_model *m, const struct instrument_state *s)
{
	const struct build *b = &m->build;
	size_t board = build_member(b, MEMBER_FINGERBOARD);
	size_t shaft = build_member(b, MEMBER_NECK);
	if (board == b->n_members || shaft == b->n_members)
		return 0;
	struct strip_layer layers[2 * MOISTURE_CELLS];
	for (size_t i = 0; i < 2 * MOISTURE_CELLS; i++) {
		size_t which = i < MOISTURE_CELLS ? board : shaft;
		const struct member *w = &b->members[which];
		layers[i] = (struct strip_layer){
			.thickness_m = m->slabs[which].dx_m,
			.width_m = w->width_m,
			.modulus_pa = w->wood.e_l_pa,
			.free_strain = w->wood.c_l_per_pct * s->mc_pct[which][i % MOISTURE_CELLS],
		};
	}
	double kappa = strip_curvature_per_m(layers, 2 * MOISTURE_CELLS);
	return -strip_sagitta_m(kappa, b->relief_span_m) * b->relief_share;
}

static double modulus_across_pa(const struct member *w)
{
	return w->ring_deg < 45 ? w->wood.e_r_pa : w->wood.e_t_pa;
}

/* Height of the strings over the 12th fret that the braced top adds by its moisture: the bridge rises by
 * the arc, the strings turn about the nut, so half of it arrives half-way (similar triangles). */
static double top_action_m(const struct instrument_model *m, const struct instrument_state *s)
{
	const struct build *b = &m->build;
	size_t top = build_member(b, MEMBER_TOP);
	if (top == b->n_members || !(b->top_span_m > 0))
		return 0;
	const struct member *w = &b->members[top];
	double mc_pct = moisture_mean(s->mc_pct[top], MOISTURE_CELLS);
	const struct strip_layer layers[2] = {
		{ w->thickness_m, b->brace_pitch_m, modulus_across_pa(w),
			width_coefficient(w) * mc_pct },
		{ b->brace_height_m, b->brace_width_m, b->brace_e_pa,
			w->wood.c_l_per_pct * mc_pct },
	};
	double rise =
		strip_sagitta_m(strip_curvature_per_m(layers, 2), b->top_span_m) * b->top_share;
	return rise / 2;
}

static double board_mc_pct(const struct instrument_model *m, const struct instrument_state *s)
{
	size_t board = build_member(&m->build, MEMBER_FINGERBOARD);
	return board < m->build.n_members ? moisture_mean(s->mc_pct[board], MOISTURE_CELLS) : 0;
}

static double grip_mc_pct(
	const struct instrument_model *m, const struct instrument_state *s, size_t i)
{
	return moisture_mean(s->mc_pct[m->build.fastenings[i].member], MOISTURE_CELLS);
}

static void snug(const struct instrument_model *m, struct instrument_state *s)
{
	for (size_t i = 0; i < m->build.n_fastenings; i++) {
		clamp_snug(&m->grips[i], &s->clamps[i], grip_mc_pct(m, s, i));
		s->snug_hour[i] = s->hour;
	}
	s->least_hold = 1;
	s->widest_gap_m = 0;
	s->widest_hour = s->hour;
}

static void trend_begin(struct trend *t, double mc_pct, int64_t hour)
{
	*t = (struct trend){
		.slow_pct = mc_pct,
		.extreme_pct = mc_pct,
		.extreme_hour = hour,
		.dry_hour = TIME_NEVER,
		.dry_seen_hour = TIME_NEVER,
		.damp_hour = TIME_NEVER,
		.damp_seen_hour = TIME_NEVER,
	};
}

/* Before the first turn both sides of the start are watched through the one extreme: the direction is
 * that of the first full swing. */
static void trend_step(struct trend *t, double mc_pct, int64_t hour)
{
	t->slow_pct += (mc_pct - t->slow_pct) / TREND_SMOOTH_H;
	double off = t->slow_pct - t->extreme_pct;
	if (t->direction == 0) {
		if (fabs(off) >= TREND_SWING_PCT)
			t->direction = off > 0 ? 1 : -1;
		else
			return;
	}
	if (off * (double)t->direction > 0) {
		t->extreme_pct = t->slow_pct;
		t->extreme_hour = hour;
	} else if (fabs(off) >= TREND_SWING_PCT) {
		bool was_wetter = t->direction > 0;
		*(was_wetter ? &t->damp_hour : &t->dry_hour) = t->extreme_hour;
		*(was_wetter ? &t->damp_seen_hour : &t->dry_seen_hour) = hour;
		t->direction = -t->direction;
		t->extreme_pct = t->slow_pct;
		t->extreme_hour = hour;
	}
}

void instrument_begin(const struct instrument_model *m, struct instrument_state *s, int64_t hour,
	double eq_mc_pct)
{
	memset(s, 0, sizeof *s);
	s->hour = hour;
	s->begun = hour;
	for (size_t i = 0; i < m->build.n_members; i++)
		moisture_fill(s->mc_pct[i], MOISTURE_CELLS, eq_mc_pct);
	snug(m, s);
	s->relief_found_m = (double)NAN;
	s->action_found_m = (double)NAN;
	s->relief_ref_m = neck_relief_m(m, s);
	s->action_ref_m = top_action_m(m, s);
	s->fret_ref_pct = board_mc_pct(m, s);
	s->relief_hour = s->action_hour = s->fret_hour = hour;
	trend_begin(&s->trend, eq_mc_pct, hour);
}

static void clamps_step(const struct instrument_model *m, struct instrument_state *s)
{
	for (size_t i = 0; i < m->build.n_fastenings; i++) {
		double mc_pct = grip_mc_pct(m, s, i);
		clamp_step(&m->grips[i], &s->clamps[i], mc_pct, (double)HOUR_S);
		struct clamp_state now = clamp_state(&m->grips[i], &s->clamps[i], mc_pct);
		if (now.hold < s->least_hold)
			s->least_hold = now.hold;
		if (now.gap_m > s->widest_gap_m) {
			s->widest_gap_m = now.gap_m;
			s->widest_hour = s->hour;
		}
	}
}

void instrument_step(const struct instrument_model *m, struct instrument_state *s,
	const struct instrument_air *air)
{
	const double eq_mc_pct[2] = { air->eq_mc_pct, air->eq_mc_pct };
	s->hour++;
	for (size_t i = 0; i < m->build.n_members; i++)
		(void)moisture_step(
			&m->slabs[i], s->mc_pct[i], eq_mc_pct, air->t_degc, (double)HOUR_S);
	clamps_step(m, s);
	trend_step(&s->trend, moisture_mean(s->mc_pct[m->carrier], MOISTURE_CELLS), s->hour);
	s->bridged_h += air->bridged;
}

static void relief_reference(
	const struct instrument_model *m, struct instrument_state *s, double found_m)
{
	s->relief_ref_m = neck_relief_m(m, s);
	s->relief_found_m = found_m;
	s->relief_hour = s->hour;
}

static void action_reference(
	const struct instrument_model *m, struct instrument_state *s, double found_m)
{
	s->action_ref_m = top_action_m(m, s);
	s->action_found_m = found_m;
	s->action_hour = s->hour;
}

void instrument_finding(const struct instrument_model *m, struct instrument_state *s,
	enum finding_kind kind, double value)
{
	switch (kind) {
	case FINDING_RELIEF:
		relief_reference(m, s, value);
		break;
	case FINDING_TRUSS_TURN:
		relief_reference(m, s, (double)NAN);
		break;
	case FINDING_ACTION_BASS:
		action_reference(m, s, value);
		break;
	case FINDING_ACTION_TREBLE:
		s->action_ref_m = top_action_m(m, s);
		s->action_hour = s->hour;
		break;
	case FINDING_SADDLE:
		action_reference(m, s, (double)NAN);
		break;
	case FINDING_FRET_ENDS:
		s->fret_ref_pct = board_mc_pct(m, s);
		s->fret_hour = s->hour;
		break;
	case FINDING_TUNER_TURN:
	case FINDING_SNUG:
		snug(m, s);
		break;
	case FINDING_FIRST_FRET_BASS:
	case FINDING_FIRST_FRET_TREBLE:
	case FINDING_RESTRUNG:
	case FINDING_SETTLED:
	case FINDING_CHECKED:
	case FINDING_KINDS:
		break;
	}
}

double instrument_spread_m(double change_m, double tool_m)
{
	return hypot(0.5 * change_m, tool_m);
}

static double fret_end_m(const struct instrument_model *m, const struct instrument_state *s)
{
	size_t board = build_member(&m->build, MEMBER_FINGERBOARD);
	if (board == m->build.n_members)
		return 0;
	const struct member *w = &m->build.members[board];
	double shrunk = -strain_linear(width_coefficient(w), s->fret_ref_pct, board_mc_pct(m, s));
	return shrunk > 0 ? shrunk * w->width_m / 2 : 0;
}

void instrument_condition(
	const struct instrument_model *m, const struct instrument_state *s, struct condition *c)
{
	const struct build *b = &m->build;
	memset(c, 0, sizeof *c);
	for (size_t i = 0; i < b->n_members; i++)
		c->mc_pct[i] = moisture_mean(s->mc_pct[i], MOISTURE_CELLS);
	c->slackest = b->n_fastenings;
	for (size_t i = 0; i < b->n_fastenings; i++) {
		c->hardware[i] = clamp_state(&m->grips[i], &s->clamps[i], grip_mc_pct(m, s, i));
		if (c->slackest == b->n_fastenings ||
			c->hardware[i].hold < c->hardware[c->slackest].hold)
			c->slackest = i;
	}
	c->relief_m = neck_relief_m(m, s) - s->relief_ref_m;
	c->action_m = top_action_m(m, s) - s->action_ref_m;
	c->relief_sd_m = instrument_spread_m(c->relief_m, FEELER_M);
	c->action_sd_m = instrument_spread_m(c->action_m, RULER_M);
	c->fret_end_m = fret_end_m(m, s);
}
