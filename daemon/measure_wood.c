/* What a followed instrument's wood says, and the words of it. */
#include "daemon/measure_int.h"

#include <math.h>

#include "daemon/phrase.h"
#include "daemon/text.h"

#define GAP_SEEN_M 5e-6 /* what rounds to 0.01 mm */
#define TURN_FRESH_H (60 * 24) /* a turn of the season calls for its round this long */

const char *measure_hardware(enum fastening_kind kind)
{
	switch (kind) {
	case FASTENING_TUNER_NUT:
		return "tuner nuts";
	case FASTENING_BUSHING:
		return "tuner bushings";
	case FASTENING_STRAP_BUTTON:
		return "strap button";
	case FASTENING_SCREW:
		return "screws";
	case FASTENING_TUNING_PIN:
		return "tuning pins";
	case FASTENING_PEG:
		return "pegs";
	case FASTENING_BRIDGE_PIN:
		return "bridge pins";
	case FASTENING_KINDS:
		break;
	}
	return "";
}

static const struct fastening *fastening_of(const struct followed *f, size_t i)
{
	return &instrument_model_build(f->model)->fastenings[i];
}

static void slack_words(const struct fastening *x, double gap_m, struct words w)
{
	char thread[2 * sizeof x->thread];
	phrase_quote(x->thread, thread, sizeof thread);
	if (gap_m < GAP_SEEN_M)
		text_add(w.buf, w.size, "no gap yet on %s", thread);
	else
		text_add(w.buf, w.size, "gap {mm %.2f}, about {turns %.9g} on %s", gap_m * 1e3,
			gap_m / x->pitch_m, thread);
}

static void since_snug_words(const struct followed *f, size_t i, struct words w)
{
	int64_t hour = f->state.snug_hour[i];
	text_add(w.buf, w.size,
		hour == f->state.begun ? "; taken as snug when first followed, {day %lld}"
				       : "; snug since {day %lld}",
		(long long)(hour * HOUR_S));
	text_add(w.buf, w.size, "; the wood there holds {pct %.1f} moisture now",
		moisture_mean(f->state.mc_pct[fastening_of(f, i)->member], MOISTURE_CELLS));
}

/* A wrench's turn has been learnt; what other hardware needs is the model's word. */
static void turn_words(const struct followed *f, size_t i, struct words w)
{
	if (i != instrument_turned(f->model) || f->condition.hardware[i].hold >= 1)
		return;
	text_add(w.buf, w.size, "; to make it snug again about {turns %.9g} +- {turns %.9g}",
		fmax(f->condition.turn.value, 0), f->condition.turn.sd);
	if (f->condition.turn.findings > 0)
		text_add(w.buf, w.size, ", after %lld turns noted",
			(long long)f->condition.turn.findings);
}

static void of_preload(const struct followed *f, struct care_measure *m, struct words w)
{
	size_t i = f->condition.slackest;
	if (i == instrument_model_build(f->model)->n_fastenings)
		return;
	const struct fastening *x = fastening_of(f, i);
	m->value = f->condition.hardware[i].hold;
	text_add(w.buf, w.size, "%s: {pct %.0f} of the preload left, ", measure_hardware(x->kind),
		100 * f->condition.hardware[i].preload);
	slack_words(x, f->condition.hardware[i].gap_m, w);
	turn_words(f, i, w);
	since_snug_words(f, i, w);
}

static void of_after_dry(const struct followed *f, struct care_measure *m, struct words w)
{
	const struct instrument_state *s = &f->state;
	size_t i = f->condition.slackest;
	if (i == instrument_model_build(f->model)->n_fastenings ||
		s->trend.dry_seen_hour == TIME_NEVER)
		return;
	const struct fastening *x = fastening_of(f, i);
	m->event = s->hour - s->trend.dry_seen_hour < TURN_FRESH_H &&
		   s->snug_hour[i] < s->trend.dry_seen_hour;
	m->value = s->least_hold;
	text_add(w.buf, w.size,
		"driest about {day %lld}; %s at their loosest since snug: {pct %.0f} of the "
		"preload left, ",
		(long long)(s->trend.dry_hour * HOUR_S), measure_hardware(x->kind),
		100 * fmax(s->least_hold, 0));
	slack_words(x, s->widest_gap_m, w);
	text_add(w.buf, w.size, "; now {pct %.0f} and {mm %.2f}",
		100 * f->condition.hardware[i].preload, f->condition.hardware[i].gap_m * 1e3);
	turn_words(f, i, w);
	since_snug_words(f, i, w);
}

static void of_before_dry(const struct followed *f, struct care_measure *m, struct words w)
{
	const struct instrument_state *s = &f->state;
	const struct reference *relief = &s->refs[LINE_RELIEF];
	if (s->trend.damp_seen_hour == TIME_NEVER)
		return;
	m->event = s->hour - s->trend.damp_seen_hour < TURN_FRESH_H &&
		   (relief->hour == s->begun || relief->hour < s->trend.damp_hour);
	text_add(w.buf, w.size,
		"dampest about {day %lld}; the wood under the tuners holds {pct %.1f} moisture and "
		"is drying",
		(long long)(s->trend.damp_hour * HOUR_S),
		f->condition.mc_pct[instrument_carrier(f->model)]);
	if (relief->hour == s->begun)
		text_add(w.buf, w.size, "; relief was never measured here");
	else
		text_add(w.buf, w.size, "; last relief finding {day %lld}",
			(long long)(relief->hour * HOUR_S));
}

/* How a line of findings is told. */
struct line_words {
	const char *what, *up, *down;
	const char *level, *change; /* kinds of tokens, see phrase.h */
};
static const struct line_words relief_words = { "relief", "grown", "fallen", "gap", "change" };
static const struct line_words action_words = { "action at the 12th fret", "risen", "fallen",
	"height", "rise" };

void measure_learnt(const struct followed *f, enum line line, char *buf, size_t size)
{
	enum learn_quantity q = line_quantity(line);
	const struct learn_prior *p = instrument_prior(f->model, q);
	const struct learn_gain *g = &f->state.gains[q];
	if (g->findings == 0)
		text_add(buf, size, "this prediction has never been checked on this instrument");
	else
		text_add(buf, size,
			"%lld finding%s taught that it moves {n %.1f} +- {n %.1f} times what its "
			"build "
			"says",
			(long long)g->findings, g->findings == 1 ? " has" : "s have",
			learn_gain_mean(p, g), learn_gain_sd(p, g));
}

static enum finding_kind line_finding(enum line line)
{
	switch (line) {
	case LINE_RELIEF:
		return FINDING_RELIEF;
	case LINE_ACTION_BASS:
		return FINDING_ACTION_BASS;
	case LINE_ACTION_TREBLE:
		return FINDING_ACTION_TREBLE;
	case LINE_FRET_ENDS:
		return FINDING_FRET_ENDS;
	case LINE_TUNER_TURN:
	case LINES:
		break;
	}
	return FINDING_TUNER_TURN;
}

static void print_turns_as(char *buf, size_t n, double turns, enum bench_units u)
{
	(void)u;
	units_print_turns(buf, n, turns);
}

void measure_surprise(
	const struct followed *f, enum line line, enum bench_units units, char *buf, size_t size)
{
	const struct surprise *x = &f->state.surprises[line];
	const struct finding_word *w = &finding_words()[line_finding(line)];
	bool height = line == LINE_ACTION_BASS || line == LINE_ACTION_TREBLE;
	bool turn = line == LINE_TUNER_TURN;
	void (*print)(char *, size_t, double, enum bench_units) = turn     ? print_turns_as
								  : height ? units_print_rise
									   : units_print_change;
	char found[32], expected[32], sd[32];
	print(found, sizeof found, x->found, units);
	print(expected, sizeof expected, x->expected, units);
	print(sd, sizeof sd, x->sd, units);
	buf[0] = '\0';
	text_add(buf, size,
		"%s: %s differs from the expected %s +- %s: %s? It is kept as it was entered, but "
		"predictions do not learn from it; remove it if it was a slip",
		w->name, found, expected, sd, w->doubt);
}

static void level_words(const struct line_words *l, const struct reference *ref,
	const struct learn_estimate *now, struct words w)
{
	if (isnan(ref->found))
		return;
	text_add(w.buf, w.size, "; found {%s %.9g}, now about {%s %.9g} +- {%s %.9g}", l->level,
		ref->found, l->level, now->value, l->change, now->sd);
}

/* `relief has likely grown by 4 +- 2 thou since ...; found .010, now about .014 +- 1 thou; ...` */
static void of_movement(
	enum care_kind kind, const struct followed *f, struct care_measure *m, struct words w)
{
	const struct condition *now = &f->condition;
	bool relief = kind == CARE_RELIEF;
	enum line line = relief ? LINE_RELIEF : now->action_line;
	const struct line_words *l = relief ? &relief_words : &action_words;
	const struct learn_estimate *level =
		relief ? &now->relief_now : &now->action_now[line - LINE_ACTION_BASS];
	const struct reference *ref = &f->state.refs[line];
	double change_m = relief ? now->relief_m : now->action_m;
	m->value = fabs(change_m);
	text_add(w.buf, w.size, "%s has likely %s by {%s %.9g} +- {%s %.9g} since {day %lld}",
		l->what, change_m > 0 ? l->up : l->down, l->change, m->value, l->change,
		relief ? now->relief_sd_m : now->action_sd_m, (long long)(ref->hour * HOUR_S));
	level_words(l, ref, level, w);
	text_add(w.buf, w.size, "; ");
	measure_learnt(f, line, w.buf, w.size);
}

static void of_fret_ends(const struct followed *f, struct care_measure *m, struct words w)
{
	m->value = f->condition.fret_end_m;
	text_add(w.buf, w.size,
		"fingerboard has shrunk: fret ends stand out by about {change %.9g} +- "
		"{change %.9g} a side; %s {day %lld}",
		f->condition.fret_end_m, f->condition.fret_end_sd_m,
		isnan(f->state.refs[LINE_FRET_ENDS].found) ? "taken as flush when first followed,"
							   : "last felt",
		(long long)(f->state.refs[LINE_FRET_ENDS].hour * HOUR_S));
}

static const char *const held_words[] = {
	[HELD_TOP] = "top and its seams",
	[HELD_BACK] = "back and its seams",
	[HELD_BRIDGE] = "glue under the bridge",
};

const char *measure_held(enum held_part part)
{
	return held_words[part];
}

static void strain_words(const struct followed *f, enum held_part part, struct words w)
{
	double strain = f->condition.strain[part];
	text_add(w.buf, w.size, "%s: %s by {pct %.2f}, wood gives from about {pct %.1f}",
		held_words[part],
		part == HELD_BRIDGE ? "sides moved apart"
		: strain > 0        ? "stretched"
				    : "squeezed",
		100 * fabs(strain), 100 * RESTRAINT_YIELD);
}

static void of_crack(const struct followed *f, struct care_measure *m, struct words w)
{
	const double *strain = f->condition.strain;
	m->value = f->condition.crack;
	strain_words(f, strain[HELD_TOP] >= strain[HELD_BACK] ? HELD_TOP : HELD_BACK, w);
	text_add(w.buf, w.size,
		" and fails from about {pct 0.9}; edges and glue hold the wood while the dry air "
		"shrinks it");
}

static void of_glue(const struct followed *f, struct care_measure *m, struct words w)
{
	m->value = f->condition.peel;
	strain_words(f, HELD_BRIDGE, w);
}

static void of_pegs(const struct followed *f, struct care_measure *m, struct words w)
{
	size_t i = f->condition.loosest_peg;
	if (i == instrument_model_build(f->model)->n_fastenings)
		return;
	const struct taper_fit *fit = &f->condition.fits[i];
	m->value = fabs(fit->fit_m);
	text_add(w.buf, w.size,
		"pegs have %s {mm %.3f} on their holes since they last fitted: they %s; out of "
		"round by {mm %.3f}; pushed home they would stand {mm %.1f} further %s",
		fit->fit_m < 0 ? "lost" : "gained", 1e3 * fabs(fit->fit_m),
		fit->fit_m < 0 ? "slip" : "stick", 1e3 * fit->oval_m, 1e3 * fabs(fit->seat_m),
		fit->seat_m < 0 ? "in" : "out");
}

void measure_wood(
	enum care_kind kind, const struct followed *f, struct care_measure *m, struct words w)
{
	switch (kind) {
	case CARE_PRELOAD:
		of_preload(f, m, w);
		break;
	case CARE_AFTER_DRY:
		of_after_dry(f, m, w);
		break;
	case CARE_BEFORE_DRY:
		of_before_dry(f, m, w);
		break;
	case CARE_RELIEF:
	case CARE_ACTION:
		of_movement(kind, f, m, w);
		break;
	case CARE_FRET_END:
		of_fret_ends(f, m, w);
		break;
	case CARE_CRACK:
		of_crack(f, m, w);
		break;
	case CARE_GLUE:
		of_glue(f, m, w);
		break;
	case CARE_PEGS:
		of_pegs(f, m, w);
		break;
	case CARE_AIR_DRY:
	case CARE_AIR_DAMP:
	case CARE_CHECK:
	case CARE_SILENT:
	case CARE_DISAGREE:
	case CARE_DRIFT:
	case CARE_WET:
	case CARE_BATTERY:
	case CARE_CLOCK:
	case CARE_STRINGS:
	case CARE_SETTLE:
		break;
	}
}
