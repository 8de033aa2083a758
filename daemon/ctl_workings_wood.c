/* Workings of what wood does to what is clamped on it, sticks in it or holds it. */
#include "daemon/ctl_workings.h"

#include <math.h>

#include "daemon/measure.h"

#define MM 1e3

static double now_pct(const struct workings *w, size_t member)
{
	return w->f->condition.mc_pct[member];
}

/* Moisture of a fastening's wood when it was last snugged; NAN: the state keeps it of the carrier only. */
static double snug_pct(const struct workings *w, size_t i)
{
	const struct instrument_state *s = &w->f->state;
	if (s->snug_hour[i] == s->begun)
		return s->fret_ref_pct;
	return w->b->fastenings[i].member == instrument_carrier(w->f->model)
		       ? s->refs[LINE_TUNER_TURN].mc_pct[0]
		       : (double)NAN;
}

static void print_snug(const struct workings *w, size_t i, double c)
{
	const struct instrument_state *s = &w->f->state;
	const struct fastening *x = &w->b->fastenings[i];
	double then = snug_pct(w, i), now = now_pct(w, x->member);
	char day[24];
	workings_day(w, s->snug_hour[i] * HOUR_S, day, sizeof day);
	(void)printf(
		"      %s %s", s->snug_hour[i] == s->begun ? "taken as snug" : "snug since", day);
	if (isnan(then)) {
		(void)printf(", its moisture then is not kept; now %.3f %%\n", now);
		return;
	}
	double touch = c * then - x->snug_strain;
	(void)printf(" at %.3f %%, now %.3f %%: free strain C x change %+.5f %%\n"
		     "      touch strain then C x %.3f - snug = %+.5f %%, moved since by crushing "
		     "and relaxing %+.5f %%\n",
		then, now, 100 * c * (now - then), then, 100 * touch,
		100 * (s->clamps[i].touch - touch));
}

static void print_clamped(struct workings *w, size_t i)
{
	const struct fastening *x = &w->b->fastenings[i];
	const struct member *m = &w->b->members[x->member];
	const struct clamp_state *h = &w->f->condition.hardware[i];
	double c = member_c_thickness_per_pct(m), now = now_pct(w, x->member);
	double touch = w->f->state.clamps[i].touch, contact = c * now - touch;
	(void)printf("   %s, %d: %s, pitch %.3f mm, grip %.2f mm of\n", measure_hardware(x->kind),
		x->count, x->thread[0] ? x->thread : "thread not said", x->pitch_m * MM,
		x->grip_m * MM);
	workings_member(w, x->member);
	(void)printf("; C through the thickness %.7f\n", c);
	(void)printf("      snug strain %.3f %%, crushed beyond %.3f %%, relaxes with %.0f d\n",
		100 * x->snug_strain, 100 * x->yield_strain, x->relax_s / DAY_S);
	print_snug(w, i, c);
	(void)printf("      contact strain C x %.3f - touch %.5f %% = %+.5f %%; over snug, at most "
		     "1: hold %.3f\n",
		now, 100 * touch, 100 * contact, h->hold);
	(void)printf("      gap %.4f mm / pitch %.3f mm = %.4f turn; to snug (1 - hold) x snug x "
		     "grip/pitch = %.4f turn\n",
		h->gap_m * MM, x->pitch_m * MM, h->turns, h->snug_turns);
}

void workings_hardware(struct workings *w)
{
	bool any = false;
	for (size_t i = 0; i < w->b->n_fastenings; i++) {
		if (!fastening_is_clamped(&w->b->fastenings[i]))
			continue;
		if (!any)
			(void)puts("  hardware");
		any = true;
		print_clamped(w, i);
	}
	if (!any)
		return;
	w->formulas[FORMULA_CLAMP] = w->formulas[FORMULA_SWELLING] = true;
	(void)printf("   turn of the %s\n",
		measure_hardware(w->b->fastenings[instrument_turned(w->f->model)].kind));
	workings_gain(w, LEARN_TUNER_TURN);
	workings_turn(w);
}

/* ---- pegs and pins ---- */

static void print_taper(struct workings *w, size_t i)
{
	const struct fastening *x = &w->b->fastenings[i];
	const struct member *m = &w->b->members[x->member];
	const struct taper_fit *fit = &w->f->condition.fits[i];
	bool peg = x->kind == FASTENING_PEG;
	double c = peg ? member_c_thickness_per_pct(m) : member_c_width_per_pct(m);
	double then = w->f->state.seat_mc_pct[i], now = now_pct(w, x->member);
	double gained = now - then;
	(void)printf("   %s, %d of %s, %.2f mm thick, tapered 1:%.1f, in\n",
		measure_hardware(x->kind), x->count,
		x->wood.name[0] ? x->wood.name : "what does not swell", x->diameter_m * MM,
		1 / x->taper);
	workings_member(w, x->member);
	(void)printf("\n      moisture when they last fitted %.3f, now %.3f %%\n", then, now);
	(void)printf("      peg C_R %.7f: %+.5f %%, C_T %.7f: %+.5f %%\n      hole C_L %.7f: "
		     "%+.5f %%, C %s %.7f: %+.5f %%\n",
		x->wood.c_r_per_pct, 100 * gained * x->wood.c_r_per_pct + 0.0, x->wood.c_t_per_pct,
		100 * gained * x->wood.c_t_per_pct + 0.0, m->wood.c_l_per_pct,
		100 * gained * m->wood.c_l_per_pct, peg ? "through" : "across", c,
		100 * gained * c);
	(void)printf(
		"      fit: thickness x (mean of the peg's - mean of the hole's) = %+.5f mm; x "
		"%.1f = %+.4f mm further out\n",
		fit->fit_m * MM, 1 / x->taper, fit->seat_m * MM);
	(void)printf("      out of round: thickness x (difference in the peg + in the hole) = %.5f "
		     "mm\n",
		fit->oval_m * MM);
}

void workings_tapers(struct workings *w)
{
	for (size_t i = 0; i < w->b->n_fastenings; i++) {
		if (fastening_is_clamped(&w->b->fastenings[i]))
			continue;
		if (!w->formulas[FORMULA_TAPER])
			(void)puts("  pegs and pins");
		w->formulas[FORMULA_TAPER] = w->formulas[FORMULA_SWELLING] = true;
		print_taper(w, i);
	}
	if (w->formulas[FORMULA_TAPER]) {
		workings_noted(w, FINDING_PEGS);
		workings_noted(w, FINDING_RESTRUNG);
	}
}

/* ---- stretched ---- */

static void print_forced(const struct workings *w, enum held_part part)
{
	double strain = w->f->condition.strain[part];
	(void)printf("forced %+.5f %%, of the yield %.1f %%\n", 100 * strain,
		100 * fabs(strain) / RESTRAINT_YIELD);
}

static void print_plate(struct workings *w, enum held_part part, enum member_role role)
{
	size_t i = build_member(w->b, role);
	if (i == w->b->n_members)
		return;
	double c = member_c_width_per_pct(&w->b->members[i]), now = now_pct(w, i);
	double rest = w->f->state.held[part].rest;
	(void)printf("   %s\n", measure_held(part));
	workings_member(w, i);
	(void)printf("; C across %.7f\n      without stress at %.3f %%, now %.3f %%: C x "
		     "(%.3f - %.3f) = ",
		c, rest / c, now, rest / c, now);
	print_forced(w, part);
}

void workings_glue(struct workings *w)
{
	size_t bridge = build_member(w->b, MEMBER_BRIDGE);
	size_t under = build_member(w->b, MEMBER_UNDER_BRIDGE);
	if (bridge == w->b->n_members || under == w->b->n_members)
		return;
	double c = member_c_width_per_pct(&w->b->members[under]);
	double c_l = w->b->members[bridge].wood.c_l_per_pct;
	double free_strain = c * now_pct(w, under) - c_l * now_pct(w, bridge);
	(void)printf("  %s\n", measure_held(HELD_BRIDGE));
	workings_member(w, under);
	(void)printf("; C across %.7f, %.3f %%\n", c, now_pct(w, under));
	workings_member(w, bridge);
	(void)printf("; C_L %.7f, %.3f %%\n", c_l, now_pct(w, bridge));
	(void)printf("      C across x moisture - C_L x moisture = %+.5f %%, without stress at "
		     "%+.5f %%\n      ",
		100 * free_strain, 100 * w->f->state.held[HELD_BRIDGE].rest);
	print_forced(w, HELD_BRIDGE);
	w->formulas[FORMULA_HELD] = w->formulas[FORMULA_SWELLING] = true;
	workings_noted(w, FINDING_INSPECTED);
}

void workings_stretched(struct workings *w)
{
	if (build_member(w->b, MEMBER_TOP) == w->b->n_members &&
		build_member(w->b, MEMBER_BACK) == w->b->n_members)
		return;
	(void)puts("  stretched plates");
	print_plate(w, HELD_TOP, MEMBER_TOP);
	print_plate(w, HELD_BACK, MEMBER_BACK);
	w->formulas[FORMULA_HELD] = w->formulas[FORMULA_SWELLING] = true;
	(void)printf("    most tension %.1f %% of the yield\n", 100 * w->f->condition.crack);
	workings_noted(w, FINDING_INSPECTED);
}

/* ---- dates ---- */

static void print_turn(const struct workings *w, const char *what, int64_t hour, int64_t seen)
{
	char at[24], sure[24];
	if (hour == TIME_NEVER)
		return;
	workings_day(w, hour * HOUR_S, at, sizeof at);
	workings_day(w, seen * HOUR_S, sure, sizeof sure);
	(void)printf("    %s about %s, sure since %s\n", what, at, sure);
}

void workings_season(struct workings *w)
{
	const struct trend *t = &w->f->state.trend;
	size_t carrier = instrument_carrier(w->f->model);
	char at[24];
	workings_day(w, t->extreme_hour * HOUR_S, at, sizeof at);
	(void)puts("  turn of the year");
	workings_member(w, carrier);
	(void)printf("\n      moisture now %.3f %%, smoothed over %.0f h %.3f %%; %s since the "
		     "last turn: %.3f %%, %s\n",
		now_pct(w, carrier), TREND_SMOOTH_H, t->slow_pct,
		t->direction < 0   ? "driest"
		: t->direction > 0 ? "dampest"
				   : "none yet,",
		t->extreme_pct, at);
	print_turn(w, "driest", t->dry_hour, t->dry_seen_hour);
	print_turn(w, "dampest", t->damp_hour, t->damp_seen_hour);
	w->formulas[FORMULA_SEASON] = true;
}

void workings_strings(struct workings *w)
{
	bool any = false;
	for (size_t i = 0; i < w->n_findings; i++)
		any |= w->findings[i].kind == FINDING_RESTRUNG;
	if (!any)
		return;
	(void)puts("  strings: renewed, looked over");
	workings_noted(w, FINDING_RESTRUNG);
	workings_noted(w, FINDING_SETTLED);
}
