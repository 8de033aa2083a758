/* Workings of what moves: relief, action, fret ends. */
#include "daemon/ctl_workings.h"

#include <math.h>

#include "core/strain.h"
#include "core/strip.h"

#define MM 1e3

static double mean_pct(const struct instrument_state *s, size_t member)
{
	return moisture_mean(s->mc_pct[member], MOISTURE_CELLS);
}

/* As printed with four digits, and never -0. */
static double rounded_mm(double m)
{
	return round(m * MM * 1e4) / 1e4 + 0.0;
}

/* Two glued pieces that bend each other. across: the first lies with its width along the strip. */
struct pair {
	size_t member[2];
	bool across;
	double width_m; /* of the first, in the strip */
	double from_pct[2]; /* moisture it is counted from */
};

/* Prints one piece and makes it a layer: as if it held its mean moisture all through. */
static struct strip_layer print_piece(struct workings *w, const struct pair *p, size_t i)
{
	const struct member *m = &w->b->members[p->member[i]];
	bool across = p->across && i == 0, tangential = m->ring_deg >= 45;
	double now = mean_pct(&w->f->state, p->member[i]);
	double c = across ? member_c_width_per_pct(m) : m->wood.c_l_per_pct;
	struct strip_layer l = {
		.thickness_m = m->thickness_m,
		.width_m = i == 0 ? p->width_m : m->width_m,
		.modulus_pa = across ? member_e_width_pa(m) : m->wood.e_l_pa,
		.free_strain = strain_linear(c, p->from_pct[i], now),
	};
	workings_member(w, p->member[i]);
	if (l.width_m != m->width_m)
		(void)printf(", of these %.1f mm", l.width_m * MM);
	(void)printf("; %s %.3f GPa, %s %.7f\n", across ? tangential ? "E_T" : "E_R" : "E_L",
		l.modulus_pa / 1e9, across ? "C across" : "C_L", c);
	(void)printf("      moisture %.3f -> %.3f %%: free strain %+.5f %%\n", p->from_pct[i], now,
		100 * l.free_strain);
	return l;
}

/* The sagitta by mean moisture over that span, times factor. */
static double print_bend(struct workings *w, const struct pair *p, double span_m, double factor)
{
	struct strip_layer layers[2];
	layers[0] = print_piece(w, p, 0);
	layers[1] = print_piece(w, p, 1);
	double kappa = strip_curvature_per_m(layers, 2);
	double rise_m = strip_sagitta_m(kappa, span_m) * factor;
	w->formulas[FORMULA_SWELLING] = w->formulas[FORMULA_BENDING] = true;
	(void)printf("    balance of layers: kappa %+.4e /m; sagitta kappa L^2/8 over %.1f mm "
		     "x share %+.2f = %+.4f mm\n",
		kappa, span_m * MM, factor, rise_m * MM);
	return rise_m;
}

static bool has(const struct workings *w, enum member_role role)
{
	return build_member(w->b, role) < w->b->n_members;
}

/* A neck that bends up with a dry board is hollow: the sagitta counts the other way. */
void workings_relief(struct workings *w)
{
	const struct reference *ref = &w->f->state.refs[LINE_RELIEF];
	if (!has(w, MEMBER_FINGERBOARD) || !has(w, MEMBER_NECK))
		return;
	size_t board = build_member(w->b, MEMBER_FINGERBOARD);
	const struct pair p = {
		.member = { board, build_member(w->b, MEMBER_NECK) },
		.width_m = w->b->members[board].width_m,
		.from_pct = { ref->mc_pct[0], ref->mc_pct[1] },
	};
	double model_m = instrument_says(w->f->model, &w->f->state, LINE_RELIEF) - ref->model;
	(void)puts("  relief, since the last finding");
	double means_m = print_bend(w, &p, w->b->relief_span_m, -w->b->relief_share);
	(void)printf("    model: by mean moistures %+.4f, by what differs inside "
		     "%+.4f: in all %+.4f mm\n",
		means_m * MM, (model_m - means_m) * MM, model_m * MM);
	workings_gain(w, LEARN_RELIEF);
	workings_line(w, LINE_RELIEF);
}

/* ---- action ---- */

static double print_rise(struct workings *w)
{
	double rise_m = w->f->condition.shape.rise_m, start = w->start.fret_ref_pct;
	if (!has(w, MEMBER_TOP) || !has(w, MEMBER_TOP_BRACE) || !(w->b->top_span_m > 0))
		return 0;
	const struct pair p = {
		.member = { build_member(w->b, MEMBER_TOP), build_member(w->b, MEMBER_TOP_BRACE) },
		.across = true,
		.width_m = w->b->brace_pitch_m,
		.from_pct = { start, start },
	};
	double means_m = print_bend(w, &p, w->b->top_span_m, w->b->top_share);
	(void)printf("    top: by mean moistures %+.4f, by what differs inside %+.4f: "
		     "in all %+.4f mm; half %+.4f mm\n",
		means_m * MM, (rise_m - means_m) * MM, rise_m * MM, rise_m / 2 * MM);
	return rise_m / 2;
}

static double print_length(struct workings *w, size_t member)
{
	const struct member *m = &w->b->members[member];
	double start = w->start.fret_ref_pct, now = mean_pct(&w->f->state, member);
	double strain = strain_linear(m->wood.c_l_per_pct, start, now);
	w->used[member] = w->formulas[FORMULA_SWELLING] = true;
	(void)printf("    %-12s %s, C_L %.7f x (%.3f - %.3f) = %+.5f %%\n", library_role(m->role),
		m->wood.name, m->wood.c_l_per_pct, now, start, 100 * strain);
	return strain;
}

static double print_neck(struct workings *w)
{
	double lever_m = w->b->scale_m - w->b->joint_m, turn = w->f->condition.shape.neck_rad;
	if (!has(w, MEMBER_TOP) || !has(w, MEMBER_BACK) || !(w->b->body_depth_m > 0))
		return 0;
	double back = print_length(w, build_member(w->b, MEMBER_BACK));
	double top = print_length(w, build_member(w->b, MEMBER_TOP));
	(void)printf("    neck: (back %+.5f %% - top %+.5f %%)/depth %.1f mm x (scale %.1f - joint "
		     "%.1f mm) = %+.5f mrad\n"
		     "      x (scale - joint)/2 = %+.4f mm\n",
		100 * back, 100 * top, w->b->body_depth_m * MM, w->b->scale_m * MM,
		w->b->joint_m * MM, 1e3 * turn, rounded_mm(turn * lever_m / 2));
	return turn * lever_m / 2;
}

static double print_relief_part(struct workings *w)
{
	double relief_m = instrument_says(w->f->model, &w->f->state, LINE_RELIEF) -
			  instrument_says(w->f->model, &w->start, LINE_RELIEF);
	if (!has(w, MEMBER_FINGERBOARD) || !has(w, MEMBER_NECK))
		return 0;
	w->used[build_member(w->b, MEMBER_FINGERBOARD)] = true;
	w->used[build_member(w->b, MEMBER_NECK)] = w->formulas[FORMULA_BENDING] = true;
	(void)printf(
		"    relief: in all %+.4f mm; half %+.4f mm\n", relief_m * MM, relief_m / 2 * MM);
	return relief_m / 2;
}

void workings_action(struct workings *w)
{
	const enum line last = w->f->condition.action_line;
	char day[24];
	if (!has(w, MEMBER_FINGERBOARD) && !has(w, MEMBER_TOP))
		return;
	workings_day(w, w->f->state.begun * HOUR_S, day, sizeof day);
	(void)printf("  action at the 12th fret, since it was first followed, %s\n", day);
	double parts_m = print_rise(w);
	parts_m += print_neck(w);
	parts_m += print_relief_part(w);
	double then_m =
		w->f->state.refs[last].model - instrument_says(w->f->model, &w->start, last);
	w->formulas[FORMULA_ACTION] = true;
	(void)printf("    model: parts together %+.4f mm, at the last finding %+.4f mm: change "
		     "%+.4f mm\n",
		parts_m * MM, then_m * MM, (parts_m - then_m) * MM);
	workings_gain(w, LEARN_ACTION);
	for (enum line l = LINE_ACTION_BASS; l <= LINE_ACTION_TREBLE; l++)
		if (l == last || w->f->state.lines[l].n > 0) {
			(void)printf("   %s side\n", l == LINE_ACTION_BASS ? "bass" : "treble");
			workings_line(w, l);
		}
}

/* ---- fret ends ---- */

void workings_fret_ends(struct workings *w)
{
	size_t board = build_member(w->b, MEMBER_FINGERBOARD);
	if (board == w->b->n_members)
		return;
	const struct member *m = &w->b->members[board];
	const struct reference *ref = &w->f->state.refs[LINE_FRET_ENDS];
	double start = w->start.fret_ref_pct, now = mean_pct(&w->f->state, board);
	double model_m = instrument_says(w->f->model, &w->f->state, LINE_FRET_ENDS);
	(void)puts("  fret ends");
	workings_member(w, board);
	w->formulas[FORMULA_SWELLING] = true;
	(void)printf("; C across %.7f\n", member_c_width_per_pct(m));
	(void)printf("      moisture when first followed %.3f, at the last finding %.3f, now %.3f "
		     "%%\n",
		start, ref->mc_pct[0], now);
	(void)printf("    model, a side: C x (%.3f - %.3f) x %.1f mm/2 = %+.4f mm, at the last "
		     "finding %+.4f mm\n",
		start, now, m->width_m * MM, model_m * MM, rounded_mm(ref->model));
	workings_gain(w, LEARN_FRET_ENDS);
	workings_line(w, LINE_FRET_ENDS);
	(void)printf("    stand-out: the %s, at least 0: %.4f +- %.4f mm\n",
		w->f->state.lines[LINE_FRET_ENDS].n > 0 ? "level" : "change",
		w->f->condition.fret_end_m * MM, w->f->condition.fret_end_sd_m * MM);
}
