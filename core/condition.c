/* What an instrument's state means to people. */
#include "instrument_int.h"

#include <math.h>
#include <string.h>

static void hardware(
	const struct instrument_model *m, const struct instrument_state *s, struct condition *c)
{
	const struct build *b = &m->build;
	c->slackest = b->n_fastenings;
	for (size_t i = 0; i < b->n_fastenings; i++) {
		const struct fastening *f = &b->fastenings[i];
		if (!fastening_is_clamped(f))
			continue;
		c->hardware[i] = clamp_state(&m->grips[i], &s->clamps[i], c->mc_pct[f->member]);
		if (c->slackest == b->n_fastenings ||
			c->hardware[i].hold < c->hardware[c->slackest].hold)
			c->slackest = i;
	}
}

/* A peg stands across the cheeks of its box, a pin through bridge and top: the hole's plane has the grain and one
 * direction across it. The peg is taken to hold the moisture of the wood round it; judgement. */
static struct taper_fit fit_of(
	const struct instrument_model *m, const struct instrument_state *s, size_t i, double mc_pct)
{
	const struct fastening *f = &m->build.fastenings[i];
	const struct member *w = &m->build.members[f->member];
	double gained = mc_pct - s->seat_mc_pct[i];
	double c_across = f->kind == FASTENING_PEG ? member_c_thickness_per_pct(w)
						   : member_c_width_per_pct(w);
	const struct taper_strain peg = { f->wood.c_r_per_pct * gained,
		f->wood.c_t_per_pct * gained };
	const struct taper_strain hole = { w->wood.c_l_per_pct * gained, c_across * gained };
	return taper_fit(f->diameter_m, f->taper, &peg, &hole);
}

static void tapers(
	const struct instrument_model *m, const struct instrument_state *s, struct condition *c)
{
	const struct build *b = &m->build;
	c->loosest_peg = b->n_fastenings;
	for (size_t i = 0; i < b->n_fastenings; i++) {
		const struct fastening *f = &b->fastenings[i];
		if (fastening_is_clamped(f))
			continue;
		c->fits[i] = fit_of(m, s, i, c->mc_pct[f->member]);
		if (f->kind == FASTENING_PEG &&
			(c->loosest_peg == b->n_fastenings ||
				fabs(c->fits[i].fit_m) > fabs(c->fits[c->loosest_peg].fit_m)))
			c->loosest_peg = i;
	}
}

/* Since the last finding: the learnt change, and with the spread of its truth the reading it starts from. */
static void change(const struct instrument_model *m, const struct instrument_state *s,
	enum line line, double *change_m, double *sd_m)
{
	const struct learn_prior *p = &m->priors[line_quantity(line)];
	struct learn_estimate e = learn_change(p, &s->gains[line_quantity(line)],
		s->refs[line].model, instrument_says(m, s, line));
	*change_m = e.value;
	*sd_m = hypot(e.sd, hypot(p->reading_sd, p->scatter_sd));
}

static struct learn_estimate level(
	const struct instrument_model *m, const struct instrument_state *s, enum line line)
{
	return learn_predict(&m->priors[line_quantity(line)], &s->gains[line_quantity(line)],
		line == LINE_TUNER_TURN ? NULL : &s->lines[line], instrument_says(m, s, line));
}

/* Before a first finding the ends are taken as flush when first followed. */
static void fret_ends(
	const struct instrument_model *m, const struct instrument_state *s, struct condition *c)
{
	struct learn_estimate e = level(m, s, LINE_FRET_ENDS);
	if (isnan(e.value))
		change(m, s, LINE_FRET_ENDS, &e.value, &e.sd);
	c->fret_end_m = fmax(e.value, 0);
	c->fret_end_sd_m = e.sd;
}

static void held(
	const struct instrument_model *m, const struct instrument_state *s, struct condition *c)
{
	for (size_t i = 0; i < HELD_PARTS; i++) {
		double free_strain = movement_free_strain(m, s, (enum held_part)i);
		c->strain[i] = restraint_strain(&s->held[i], free_strain);
	}
	c->crack = fmax(0, fmax(c->strain[HELD_TOP], c->strain[HELD_BACK])) / RESTRAINT_YIELD;
	c->peel = fabs(c->strain[HELD_BRIDGE]) / RESTRAINT_YIELD;
}

void instrument_condition(
	const struct instrument_model *m, const struct instrument_state *s, struct condition *c)
{
	memset(c, 0, sizeof *c);
	for (size_t i = 0; i < m->build.n_members; i++)
		c->mc_pct[i] = member_mc_pct(m, s, i);
	hardware(m, s, c);
	tapers(m, s, c);
	c->action_line = s->refs[LINE_ACTION_TREBLE].hour > s->refs[LINE_ACTION_BASS].hour
				 ? LINE_ACTION_TREBLE
				 : LINE_ACTION_BASS;
	change(m, s, LINE_RELIEF, &c->relief_m, &c->relief_sd_m);
	change(m, s, c->action_line, &c->action_m, &c->action_sd_m);
	c->relief_now = level(m, s, LINE_RELIEF);
	c->action_now[0] = level(m, s, LINE_ACTION_BASS);
	c->action_now[1] = level(m, s, LINE_ACTION_TREBLE);
	c->turn = level(m, s, LINE_TUNER_TURN);
	fret_ends(m, s, c);
	held(m, s, c);
	c->shape = (struct shape){
		movement_rise_m(m, s) - s->shape_ref.rise_m,
		movement_back_m(m, s) - s->shape_ref.back_m,
		movement_neck_rad(m, s) - s->shape_ref.neck_rad,
	};
}
