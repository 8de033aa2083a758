#include "instrument_int.h"

#include <math.h>
#include <string.h>

#include "civil.h"
#include "mem.h"
#include "sorption.h"

/* Surface emission of bare wood in indoor air, S = FILM_M_S * exp(FILM_EXP * MC / 100): Toratti 1992,
 * Hanhijarvi 1995; from memory. */
#define FILM_M_S 3.2e-8
#define FILM_EXP 4.0
#define MADE_DEGC 20.0 /* of the workshop; judgement, no source */
#define SEALED_FROM 1e29 /* s/m: the face of a piece that is glued on another */

/* ---- the model ---- */

/* Glued pairs. The part of a plate under what is glued on it is a piece of its own: it dries through one face. */
struct pair {
	enum member_role upper, lower;
	enum member_role on; /* which of them is glued on the other */
	enum member_role
		plate; /* what the other is a part of; MEMBER_ROLES: a member of the build */
};
static const struct pair pairs[] = {
	{ MEMBER_FINGERBOARD, MEMBER_NECK, MEMBER_FINGERBOARD, MEMBER_ROLES },
	{ MEMBER_BRIDGE, MEMBER_UNDER_BRIDGE, MEMBER_BRIDGE, MEMBER_TOP },
	{ MEMBER_UNDER_TOP_BRACE, MEMBER_TOP_BRACE, MEMBER_TOP_BRACE, MEMBER_TOP },
	{ MEMBER_UNDER_BACK_BRACE, MEMBER_BACK_BRACE, MEMBER_BACK_BRACE, MEMBER_BACK },
};
enum { PAIRS = sizeof pairs / sizeof pairs[0] };

/* Faces on the inside of a body: the inner ones of its plates, all of what is glued inside. */
static bool is_inside(enum member_role role, bool outer)
{
	bool plate = role == MEMBER_TOP || role == MEMBER_BACK || role == MEMBER_UNDER_BRIDGE;
	return role == MEMBER_TOP_BRACE || role == MEMBER_BACK_BRACE || (plate && !outer);
}

static bool is_glued(const struct instrument_model *m, enum member_role role)
{
	size_t i = build_member(&m->build, role);
	return i < m->build.n_members && m->build.members[i].finish_s_m[1] >= SEALED_FROM;
}

/* Adds the part of the plate that is covered, where the thing that covers it is there and glued. */
static void make_covered(struct instrument_model *m, const struct pair *p)
{
	struct build *b = &m->build;
	size_t plate = build_member(b, p->plate);
	if (plate == b->n_members || !is_glued(m, p->on))
		return;
	b->members[b->n_members] = b->members[plate];
	b->members[b->n_members++].role = p->on == p->upper ? p->lower : p->upper;
}

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

static void add_single(struct instrument_model *m, size_t i)
{
	enum member_role role = m->build.members[i].role;
	m->columns[m->n_columns++] = (struct column){
		.moisture = { .piece = { m->slabs[i] }, .n_pieces = 1 },
		.member = { i, i },
		.inside = { is_inside(role, true), is_inside(role, false) },
	};
}

/* The upper piece shows its outer face; the lower one lies the other way up, glue first, and shows what is not
 * glued: its outer face, or of a plate's part its inner one. */
static void add_pair(struct instrument_model *m, const struct pair *p, size_t upper, size_t lower)
{
	bool part = p->on == p->upper && p->plate != MEMBER_ROLES;
	struct moisture_slab under = m->slabs[lower];
	under.finish_s_m[1] = under.finish_s_m[part ? 1 : 0];
	m->slabs[lower] = under;
	m->columns[m->n_columns++] = (struct column){
		.moisture = { .piece = { m->slabs[upper], under }, .n_pieces = 2 },
		.member = { upper, lower },
		.inside = { is_inside(p->upper, true), is_inside(p->lower, !part) },
	};
}

static void add_columns(struct instrument_model *m)
{
	const struct build *b = &m->build;
	bool taken[BUILD_MEMBERS] = { false };
	for (size_t i = 0; i < PAIRS; i++) {
		const struct pair *p = &pairs[i];
		size_t upper = build_member(b, p->upper), lower = build_member(b, p->lower);
		if (upper == b->n_members || lower == b->n_members || !is_glued(m, p->on))
			continue;
		add_pair(m, p, upper, lower);
		taken[upper] = taken[lower] = true;
	}
	for (size_t i = 0; i < b->n_members; i++)
		if (!taken[i])
			add_single(m, i);
}

bool fastening_is_clamped(const struct fastening *f)
{
	return f->kind != FASTENING_PEG && f->kind != FASTENING_BRIDGE_PIN;
}

static void add_grips(struct instrument_model *m)
{
	const struct build *b = &m->build;
	for (size_t i = 0; i < b->n_fastenings; i++) {
		const struct fastening *f = &b->fastenings[i];
		m->grips[i] = (struct clamp_wood){
			.c_per_pct = member_c_thickness_per_pct(&b->members[f->member]),
			.grip_m = f->grip_m,
			.snug_strain = f->snug_strain,
			.yield_strain = f->yield_strain,
			.relax_s = f->relax_s,
			.pitch_m = f->pitch_m,
		};
	}
	size_t turned = instrument_turned(m);
	size_t carries = turned < b->n_fastenings ? turned : 0;
	m->carrier = b->n_fastenings ? b->fastenings[carries].member : 0;
}

enum rc instrument_model_new(const struct build *b,
	const struct learn_prior priors[LEARN_QUANTITIES], struct instrument_model **out,
	struct err *err)
{
	struct instrument_model *m = mem_new(1, sizeof *m);
	if (!m)
		return err_set(err, RC_MEM, "build %s: out of memory", b->name);
	m->build = *b;
	memcpy(m->priors, priors, sizeof m->priors);
	m->cavity_share = b->cavity_lag_s > 0 ? -expm1(-(double)HOUR_S / b->cavity_lag_s) : 1;
	for (size_t i = 0; i < PAIRS; i++)
		make_covered(m, &pairs[i]);
	enum rc rc = RC_OK;
	for (size_t i = 0; i < m->build.n_members && rc == RC_OK; i++)
		rc = slab_init(m, i, err);
	add_columns(m);
	add_grips(m);
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

const struct learn_prior *instrument_prior(
	const struct instrument_model *m, enum learn_quantity quantity)
{
	return &m->priors[quantity];
}

size_t instrument_carrier(const struct instrument_model *m)
{
	return m->carrier;
}

size_t instrument_turned(const struct instrument_model *m)
{
	const struct build *b = &m->build;
	size_t turned = b->n_fastenings;
	for (size_t i = b->n_fastenings; i-- > 0;)
		if (b->fastenings[i].kind == FASTENING_TUNER_NUT ||
			(fastening_is_clamped(&b->fastenings[i]) &&
				(turned == b->n_fastenings ||
					b->fastenings[turned].kind != FASTENING_TUNER_NUT)))
			turned = i;
	return turned;
}

enum learn_quantity line_quantity(enum line line)
{
	switch (line) {
	case LINE_RELIEF:
		return LEARN_RELIEF;
	case LINE_ACTION_BASS:
	case LINE_ACTION_TREBLE:
		return LEARN_ACTION;
	case LINE_FRET_ENDS:
		return LEARN_FRET_ENDS;
	case LINE_TUNER_TURN:
	case LINES:
		break;
	}
	return LEARN_TUNER_TURN;
}

void line_members(const struct instrument_model *m, enum line line, enum member_role role[2])
{
	static const enum member_role roles[LINES][2] = {
		[LINE_RELIEF] = { MEMBER_FINGERBOARD, MEMBER_NECK },
		[LINE_ACTION_BASS] = { MEMBER_TOP, MEMBER_TOP_BRACE },
		[LINE_ACTION_TREBLE] = { MEMBER_TOP, MEMBER_TOP_BRACE },
		[LINE_FRET_ENDS] = { MEMBER_FINGERBOARD, MEMBER_ROLES },
		[LINE_TUNER_TURN] = { MEMBER_ROLES, MEMBER_ROLES },
	};
	role[0] = roles[line][0];
	role[1] = roles[line][1];
	if (line == LINE_TUNER_TURN && m->carrier < m->build.n_members)
		role[0] = m->build.members[m->carrier].role;
}

/* ---- hours ---- */

static void snug(const struct instrument_model *m, struct instrument_state *s, int64_t hour)
{
	for (size_t i = 0; i < m->build.n_fastenings; i++) {
		clamp_snug(&m->grips[i], &s->clamps[i],
			member_mc_pct(m, s, m->build.fastenings[i].member));
		s->snug_hour[i] = hour;
	}
	s->least_hold = 1;
	s->widest_gap_m = 0;
	s->widest_hour = hour;
}

/* Pegs and pins fit as they stand. */
static void seat(const struct instrument_model *m, struct instrument_state *s)
{
	for (size_t i = 0; i < m->build.n_fastenings; i++)
		s->seat_mc_pct[i] = member_mc_pct(m, s, m->build.fastenings[i].member);
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

static void take_reference(const struct instrument_model *m, struct instrument_state *s,
	int64_t hour, enum line line, double found)
{
	enum member_role role[2];
	line_members(m, line, role);
	s->refs[line] = (struct reference){ hour, instrument_says(m, s, line), found, { 0, 0 } };
	for (size_t i = 0; i < 2; i++)
		s->refs[line].mc_pct[i] = member_mc_pct(m, s, build_member(&m->build, role[i]));
}

static void fill(const struct instrument_model *m, struct instrument_state *s, double mc_pct)
{
	for (size_t i = 0; i < m->build.n_members; i++)
		moisture_fill(s->mc_pct[i], MOISTURE_CELLS, mc_pct);
}

/* Makers glue in the middle of the band they ask for; common practice, no source. */
static void hold_as_made(const struct instrument_model *m, struct instrument_state *s)
{
	const struct build *b = &m->build;
	fill(m, s, sorption_mc_pct(MADE_DEGC, (b->rh_low_pct + b->rh_high_pct) / 200));
	for (size_t i = 0; i < HELD_PARTS; i++)
		restraint_begin(&s->held[i], movement_free_strain(m, s, (enum held_part)i));
}

void instrument_begin(const struct instrument_model *m, struct instrument_state *s, int64_t hour,
	double eq_mc_pct)
{
	memset(s, 0, sizeof *s);
	s->hour = hour;
	s->begun = hour;
	s->inside_mc_pct = eq_mc_pct;
	hold_as_made(m, s);
	fill(m, s, eq_mc_pct);
	s->fret_ref_pct = eq_mc_pct;
	s->shape_ref = (struct shape){ movement_rise_m(m, s), movement_back_m(m, s),
		movement_neck_rad(m, s) };
	snug(m, s, hour);
	seat(m, s);
	for (size_t i = 0; i < LINES; i++) {
		take_reference(m, s, hour, (enum line)i, (double)NAN);
		s->surprises[i].hour = TIME_NEVER;
	}
	trend_begin(&s->trend, eq_mc_pct, hour);
}

/* With two curves (sorption_ratio < 1) the air asks nothing of wood whose surface lies between them. */
static double asked_pct(const struct build *b, double eq_mc_pct, double surface_pct)
{
	double taking_up = eq_mc_pct * 2 * b->sorption_ratio / (1 + b->sorption_ratio);
	double giving_off = eq_mc_pct * 2 / (1 + b->sorption_ratio);
	if (surface_pct < taking_up)
		return taking_up;
	return surface_pct > giving_off ? giving_off : surface_pct;
}

static void set_lane(const struct instrument_model *m, struct instrument_state *s,
	const struct column *c, const struct instrument_air *air, struct moisture_lane *lane)
{
	bool one_curve = m->build.sorption_ratio >= 1;
	*lane = (struct moisture_lane){
		.column_ref = &c->moisture,
		.mc_pct = { s->mc_pct[c->member[0]], s->mc_pct[c->member[1]] },
		.t_degc = air->t_degc,
	};
	const double surface[2] = { lane->mc_pct[0][0], lane->mc_pct[1][MOISTURE_CELLS - 1] };
	for (size_t i = 0; i < 2; i++) {
		double eq = c->inside[i] ? s->inside_mc_pct : air->eq_mc_pct;
		lane->eq_mc_pct[i] = one_curve ? eq : asked_pct(&m->build, eq, surface[i]);
	}
}

static void clamps_step(const struct instrument_model *m, struct instrument_state *s)
{
	for (size_t i = 0; i < m->build.n_fastenings; i++) {
		if (!fastening_is_clamped(&m->build.fastenings[i]))
			continue;
		double mc_pct = member_mc_pct(m, s, m->build.fastenings[i].member);
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

static void after_step(const struct instrument_model *m, struct instrument_state *s,
	const struct instrument_air *air)
{
	clamps_step(m, s);
	for (size_t i = 0; i < HELD_PARTS; i++)
		restraint_step(
			&s->held[i], movement_free_strain(m, s, (enum held_part)i), (double)HOUR_S);
	trend_step(&s->trend, member_mc_pct(m, s, m->carrier), s->hour);
	s->bridged_h += air->bridged;
}

enum { TOGETHER = 8 }; /* instruments whose lanes are filled at once */

static void step_some(const struct instrument_stepping *list, size_t n)
{
	struct moisture_lane lanes[TOGETHER * BUILD_MEMBERS];
	size_t filled = 0;
	for (size_t i = 0; i < n; i++) {
		const struct instrument_model *m = list[i].model;
		struct instrument_state *s = list[i].state;
		s->hour++;
		s->inside_mc_pct += m->cavity_share * (list[i].air.eq_mc_pct - s->inside_mc_pct);
		for (size_t k = 0; k < m->n_columns; k++)
			set_lane(m, s, &m->columns[k], &list[i].air, &lanes[filled++]);
	}
	moisture_step_lanes(lanes, filled, (double)HOUR_S);
	for (size_t i = 0; i < n; i++)
		after_step(list[i].model, list[i].state, &list[i].air);
}

void instrument_step_many(const struct instrument_stepping *list, size_t n)
{
	for (size_t i = 0; i < n; i += TOGETHER)
		step_some(list + i, n - i < TOGETHER ? n - i : TOGETHER);
}

void instrument_step(const struct instrument_model *m, struct instrument_state *s,
	const struct instrument_air *air)
{
	const struct instrument_stepping one = { m, s, *air };
	step_some(&one, 1);
}

/* ---- findings ---- */

/* A finding while it is taken in. */
struct taking {
	const struct instrument_model *model;
	struct instrument_state *state;
	int64_t hour;
};

static void refer(const struct taking *t, enum line line, double found)
{
	take_reference(t->model, t->state, t->hour, line, found);
}

static void new_segment(const struct taking *t, enum line line)
{
	learn_new_segment(&t->state->lines[line]);
	learn_new_segment(&t->state->aside[line]);
	refer(t, line, (double)NAN);
}

/* What does not fit is kept as a surprise. It begins a segment of its own, since something may have happened that
 * nobody told; should the next finding fit what was before, it was a slip and that goes on. */
static void observe(const struct taking *t, enum line line, double found)
{
	struct instrument_state *s = t->state;
	const struct learn_prior *p = &t->model->priors[line_quantity(line)];
	struct learn_gain *g = &s->gains[line_quantity(line)];
	struct learn_line *l = line == LINE_TUNER_TURN ? NULL : &s->lines[line];
	struct learn_line *aside = &s->aside[line];
	double model = instrument_says(t->model, s, line);
	bool off = fabs(learn_surprise(p, g, l, model, found)) > LEARN_OUTLIER;
	if (off && aside->n > 0 &&
		fabs(learn_surprise(p, g, aside, model, found)) <= LEARN_OUTLIER) {
		*l = *aside;
		off = false;
	}
	learn_new_segment(aside);
	if (off) {
		struct learn_estimate e = learn_predict(p, g, l, model);
		s->surprises[line] = (struct surprise){ t->hour, found, e.value,
			hypot(e.sd, hypot(p->reading_sd, p->scatter_sd)) };
		if (!l)
			return;
		*aside = *l;
		learn_new_segment(l);
	}
	(void)learn_add(g, l, model, found);
}

static void measured(const struct taking *t, enum line line, double found)
{
	observe(t, line, found);
	refer(t, line, found);
}

static void made_snug(const struct taking *t, double turns)
{
	snug(t->model, t->state, t->hour);
	refer(t, LINE_TUNER_TURN, turns);
}

/* Hardware that was only taken as snug teaches nothing. */
static void turned(const struct taking *t, double turns)
{
	size_t i = instrument_turned(t->model);
	if (i < t->model->build.n_fastenings && t->state->snug_hour[i] != t->state->begun)
		observe(t, LINE_TUNER_TURN, turns);
	made_snug(t, turns);
}

static void action_starts_anew(const struct taking *t)
{
	new_segment(t, LINE_ACTION_BASS);
	new_segment(t, LINE_ACTION_TREBLE);
}

void instrument_finding(const struct instrument_model *m, struct instrument_state *s, int64_t hour,
	enum finding_kind kind, double value)
{
	const struct taking t = { m, s, hour };
	switch (kind) {
	case FINDING_RELIEF:
		measured(&t, LINE_RELIEF, value);
		break;
	case FINDING_ACTION_BASS:
		measured(&t, LINE_ACTION_BASS, value);
		break;
	case FINDING_ACTION_TREBLE:
		measured(&t, LINE_ACTION_TREBLE, value);
		break;
	case FINDING_FRET_ENDS:
		if (value == 0)
			new_segment(&t, LINE_FRET_ENDS);
		measured(&t, LINE_FRET_ENDS, value);
		break;
	case FINDING_TRUSS_TURN:
		new_segment(&t, LINE_RELIEF);
		action_starts_anew(&t);
		break;
	case FINDING_SADDLE:
	case FINDING_NUT:
		action_starts_anew(&t);
		break;
	case FINDING_TUNER_TURN:
		turned(&t, value);
		break;
	case FINDING_SNUG:
		made_snug(&t, (double)NAN);
		break;
	case FINDING_PEGS:
	case FINDING_RESTRUNG:
		seat(m, s);
		break;
	case FINDING_FIRST_FRET_BASS:
	case FINDING_FIRST_FRET_TREBLE:
	case FINDING_SETTLED:
	case FINDING_INSPECTED:
	case FINDING_CHECKED:
	case FINDING_BATTERY:
	case FINDING_KINDS:
		break;
	}
}
