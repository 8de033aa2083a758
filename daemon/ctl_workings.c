#include "daemon/ctl_workings.h"

#include <math.h>

#include "core/mem.h"
#include "daemon/ctl_wood.h"
#include "daemon/measure.h"

#define MM 1e3

/* An instrument begins in equilibrium, which its fingerboard's reference still tells: so its start can be made again. */
enum rc workings_new(
	const struct ctl *c, const struct followed *f, struct workings *w, struct err *err)
{
	*w = (struct workings){ .ctl = c, .f = f, .b = instrument_model_build(f->model) };
	instrument_begin(f->model, &w->start, f->state.begun, f->state.fret_ref_pct);
	enum rc rc = record_findings(c->desk.store, CARE_OF_INSTRUMENT, f->record.name,
		&w->findings, &w->n_findings, err);
	while (rc == RC_OK && w->n_findings &&
		civil_floor(w->findings[w->n_findings - 1].t_s, HOUR_S) >
			civil_floor(c->now_s, HOUR_S))
		w->n_findings--;
	return rc;
}

void workings_done(struct workings *w)
{
	mem_free(w->findings);
	w->findings = NULL;
}

void workings_day(const struct workings *w, int64_t t_s, char *buf, size_t n)
{
	zone_print_day(engine_zone(w->ctl->desk.engine, w->f->place), t_s, buf, n);
}

void workings_member(struct workings *w, size_t member)
{
	const struct member *m = &w->b->members[member];
	char cut[16];
	ctl_wood_cut(cut, sizeof cut, m->ring_deg);
	(void)printf("    %-12s %s, %s, %.2f x %.1f mm", library_role(m->role), m->wood.name, cut,
		m->thickness_m * MM, m->width_m * MM);
	w->used[member] = true;
}

/* ---- findings ---- */

static void print_noted(const struct workings *w, const struct finding *x)
{
	const struct finding_word *word = &finding_words()[x->kind];
	const enum bench_units units = w->ctl->desk.set->units;
	char day[24], gap[32];
	workings_day(w, x->t_s, day, sizeof day);
	(void)printf("      %s %s", day, word->name);
	if (word->unit == FINDING_LENGTH)
		(void)printf(" %.3f mm", x->value * MM);
	if (word->unit == FINDING_LENGTH && units == BENCH_INCH) {
		units_print_gap(gap, sizeof gap, x->value, units);
		(void)printf(" (%s)", gap);
	}
	if (word->unit == FINDING_TURNS)
		(void)printf(" %.4f turn", x->value);
	(void)puts("");
}

void workings_noted(const struct workings *w, enum finding_kind kind)
{
	for (size_t i = 0; i < w->n_findings; i++)
		if (w->findings[i].kind == (int)kind)
			print_noted(w, &w->findings[i]);
}

static enum finding_kind kind_of(enum line line)
{
	static const enum finding_kind kinds[LINES] = {
		[LINE_RELIEF] = FINDING_RELIEF,
		[LINE_ACTION_BASS] = FINDING_ACTION_BASS,
		[LINE_ACTION_TREBLE] = FINDING_ACTION_TREBLE,
		[LINE_FRET_ENDS] = FINDING_FRET_ENDS,
		[LINE_TUNER_TURN] = FINDING_TUNER_TURN,
	};
	return kinds[line];
}

/* Whether a finding of that kind begins a segment of the line by what it changes. */
static bool begins(enum line line, int kind)
{
	bool action = line == LINE_ACTION_BASS || line == LINE_ACTION_TREBLE;
	bool cut = kind == FINDING_SADDLE || kind == FINDING_NUT;
	return (kind == FINDING_TRUSS_TURN && (action || line == LINE_RELIEF)) || (action && cut);
}

/* It was the last that did not fit. */
static bool is_surprise(const struct workings *w, enum line line, const struct finding *x)
{
	const struct surprise *s = &w->f->state.surprises[line];
	return x->kind == (int)kind_of(line) && s->hour == civil_floor(x->t_s, HOUR_S) &&
	       s->found == x->value;
}

/* The last n findings of a line, with or without the one that did not fit. */
struct segment {
	size_t first; /* n_findings when there is none */
	bool slip_left_out;
	double mean;
};

static struct segment segment_of(
	const struct workings *w, enum line line, int64_t n, bool slip_left_out)
{
	struct segment s = { w->n_findings, slip_left_out, 0 };
	int64_t left = n;
	for (size_t k = w->n_findings; left > 0 && k-- > 0;) {
		const struct finding *x = &w->findings[k];
		if (x->kind != (int)kind_of(line) || (slip_left_out && is_surprise(w, line, x)))
			continue;
		s.first = k;
		s.mean += x->value / (double)n;
		left--;
	}
	return s;
}

/* What did not fit has begun a segment, or was a slip and is left out: the mean tells. */
static struct segment segment(const struct workings *w, enum line line)
{
	const struct learn_line *l = &w->f->state.lines[line];
	struct segment with = segment_of(w, line, l->n, false);
	struct segment without = segment_of(w, line, l->n, true);
	return fabs(with.mean - l->mean_y) <= fabs(without.mean - l->mean_y) ? with : without;
}

/* Why the segment that begins with finding first has begun. */
static void print_begun(const struct workings *w, enum line line, size_t first)
{
	char day[24];
	if (is_surprise(w, line, &w->findings[first])) {
		(void)puts("begun by a surprise");
		return;
	}
	if (line == LINE_FRET_ENDS && w->findings[first].value == 0) {
		(void)puts("begun by dressing");
		return;
	}
	for (size_t i = first; i-- > 0;) {
		if (w->findings[i].kind == (int)kind_of(line))
			break;
		if (!begins(line, w->findings[i].kind))
			continue;
		workings_day(w, w->findings[i].t_s, day, sizeof day);
		(void)printf("begun by %s of %s\n", finding_words()[w->findings[i].kind].name, day);
		return;
	}
	(void)puts("begun by the first finding");
}

static void print_segment(const struct workings *w, enum line line)
{
	struct segment s = segment(w, line);
	if (s.first == w->n_findings) {
		(void)puts("    findings that hold: none, the level is unknown");
		return;
	}
	(void)printf("    findings that hold: %lld, ", (long long)w->f->state.lines[line].n);
	print_begun(w, line, s.first);
	for (size_t i = s.first; i < w->n_findings; i++)
		if (w->findings[i].kind == (int)kind_of(line) &&
			!(s.slip_left_out && is_surprise(w, line, &w->findings[i])))
			print_noted(w, &w->findings[i]);
}

static void print_surprise(const struct workings *w, enum line line)
{
	char text[400], day[24];
	const struct surprise *x = &w->f->state.surprises[line];
	if (x->hour == TIME_NEVER)
		return;
	workings_day(w, x->hour * HOUR_S, day, sizeof day);
	measure_surprise(w->f, line, w->ctl->desk.set->units, text, sizeof text);
	(void)printf("    surprise of %s:\n", day);
	ctl_wood_wrapped(text, 6);
}

/* ---- what they teach ---- */

void workings_gain(struct workings *w, enum learn_quantity q)
{
	const struct learn_prior *p = instrument_prior(w->f->model, q);
	const struct learn_gain *g = &w->f->state.gains[q];
	const char *unit = q == LEARN_TUNER_TURN ? "turn" : "mm";
	double per = q == LEARN_TUNER_TURN ? 1 : MM;
	double k = (p->reading_sd * p->reading_sd + p->scatter_sd * p->scatter_sd) /
		   (p->gain_sd * p->gain_sd);
	w->formulas[FORMULA_LEARNING] = true;
	(void)printf(
		"    prior (care.conf): gain 1 +- %.2f, reading %.4f, scatter %.4f %s: k %.4e\n",
		p->gain_sd, p->reading_sd * per, p->scatter_sd * per, unit, k * per * per);
	(void)printf("    gain (k + Sxy)/(k + Sxx) = %.3f +- %.3f; Sxx %.4e, Sxy %.4e of ",
		learn_gain_mean(p, g), learn_gain_sd(p, g), g->sxx * per * per, g->sxy * per * per);
	if (g->findings)
		(void)printf(
			"%lld finding%s\n", (long long)g->findings, g->findings == 1 ? "" : "s");
	else
		(void)puts("no finding: unchecked");
}

static void print_change(const struct workings *w, enum line line, double model)
{
	const struct learn_prior *p = instrument_prior(w->f->model, line_quantity(line));
	const struct learn_gain *g = &w->f->state.gains[line_quantity(line)];
	const struct reference *ref = &w->f->state.refs[line];
	struct learn_estimate e = learn_change(p, g, ref->model, model);
	char day[24];
	workings_day(w, ref->hour * HOUR_S, day, sizeof day);
	(void)printf("    change since %s: gain %.3f x %+.4f = %+.4f mm\n"
		     "      +- root of (%.3f x %.4f)^2 + reading %.4f^2 + 3 x scatter %.4f^2 = "
		     "%.4f mm\n",
		day, learn_gain_mean(p, g), (model - ref->model) * MM, e.value * MM,
		learn_gain_sd(p, g), (model - ref->model) * MM, p->reading_sd * MM,
		p->scatter_sd * MM, hypot(e.sd, hypot(p->reading_sd, p->scatter_sd)) * MM);
}

static void print_level(const struct workings *w, enum line line, double model)
{
	const struct learn_prior *p = instrument_prior(w->f->model, line_quantity(line));
	const struct learn_gain *g = &w->f->state.gains[line_quantity(line)];
	const struct learn_line *l = &w->f->state.lines[line];
	struct learn_estimate e = learn_predict(p, g, l, model);
	if (isnan(e.value))
		return;
	(void)printf("    level: mean found %.4f + gain %.3f x %+.4f (model now less its mean "
		     "then) = %.4f mm\n"
		     "      +- root of (%.3f x %.4f)^2 + (reading %.4f^2 + scatter %.4f^2)/%lld + "
		     "scatter^2 = %.4f mm\n",
		l->mean_y * MM, learn_gain_mean(p, g), (model - l->mean_x) * MM, e.value * MM,
		learn_gain_sd(p, g), (model - l->mean_x) * MM, p->reading_sd * MM,
		p->scatter_sd * MM, (long long)l->n, e.sd * MM);
}

void workings_line(struct workings *w, enum line line)
{
	double model = instrument_says(w->f->model, &w->f->state, line);
	print_change(w, line, model);
	print_level(w, line, model);
	print_segment(w, line);
	print_surprise(w, line);
}

void workings_turn(struct workings *w)
{
	const struct learn_prior *p = instrument_prior(w->f->model, LEARN_TUNER_TURN);
	const struct learn_gain *g = &w->f->state.gains[LEARN_TUNER_TURN];
	const struct learn_estimate *turn = &w->f->condition.turn;
	double model = instrument_says(w->f->model, &w->f->state, LINE_TUNER_TURN);
	(void)printf("    to make it snug: gain %.3f x %.4f = %.4f turn\n"
		     "      +- root of (%.3f x %.4f)^2 + scatter %.4f^2 = %.4f turn\n",
		learn_gain_mean(p, g), model, turn->value, learn_gain_sd(p, g), model,
		p->scatter_sd, turn->sd);
	workings_noted(w, FINDING_TUNER_TURN);
	workings_noted(w, FINDING_SNUG);
	print_surprise(w, LINE_TUNER_TURN);
}
