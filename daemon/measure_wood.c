/* What a followed instrument's wood says, and the words of it. */
#include "daemon/measure_int.h"

#include <math.h>

#include "daemon/text.h"

#define GAP_SEEN_M 5e-6 /* what rounds to 0.01 mm */
#define TURN_FRESH_H (60 * 24) /* a turn of the season calls for its round this long */

static void day_of(
	const struct measure_context *c, const char *place, int64_t t_s, char *buf, size_t n)
{
	zone_print_day(engine_zone(c->engine, place), t_s, buf, n);
}

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
	char turn[32];
	units_print_turns(turn, sizeof turn, gap_m / x->pitch_m);
	if (gap_m < GAP_SEEN_M)
		text_add(w.buf, w.size, "no gap yet on %s", x->thread);
	else
		text_add(
			w.buf, w.size, "gap %.2f mm, about %s on %s", gap_m * 1e3, turn, x->thread);
}

static void since_snug_words(
	const struct measure_context *c, const struct followed *f, size_t i, struct words w)
{
	char day[24];
	int64_t hour = f->state.snug_hour[i];
	day_of(c, f->place, hour * HOUR_S, day, sizeof day);
	text_add(w.buf, w.size,
		hour == f->state.begun ? "; taken as snug when first followed, %s"
				       : "; snug since %s",
		day);
	text_add(w.buf, w.size, "; the wood there holds %.1f %% moisture now",
		moisture_mean(f->state.mc_pct[fastening_of(f, i)->member], MOISTURE_CELLS));
}

/* A wrench's turn has been learnt; what other hardware needs is the model's word. */
static void turn_words(const struct followed *f, size_t i, struct words w)
{
	char turn[32], sd[32];
	if (i != instrument_turned(f->model) || f->condition.hardware[i].hold >= 1)
		return;
	units_print_turns(turn, sizeof turn, fmax(f->condition.turn.value, 0));
	units_print_turns(sd, sizeof sd, f->condition.turn.sd);
	text_add(w.buf, w.size, "; to make it snug again about %s +- %s", turn, sd);
	if (f->condition.turn.findings > 0)
		text_add(w.buf, w.size, ", after %lld turns noted",
			(long long)f->condition.turn.findings);
}

static void of_preload(const struct measure_context *c, const struct followed *f,
	struct care_measure *m, struct words w)
{
	size_t i = f->condition.slackest;
	if (i == instrument_model_build(f->model)->n_fastenings)
		return;
	const struct fastening *x = fastening_of(f, i);
	m->value = f->condition.hardware[i].hold;
	text_add(w.buf, w.size, "%s: %.0f %% of the preload left, ", measure_hardware(x->kind),
		100 * f->condition.hardware[i].preload);
	slack_words(x, f->condition.hardware[i].gap_m, w);
	turn_words(f, i, w);
	since_snug_words(c, f, i, w);
}

static void of_after_dry(const struct measure_context *c, const struct followed *f,
	struct care_measure *m, struct words w)
{
	const struct instrument_state *s = &f->state;
	size_t i = f->condition.slackest;
	if (i == instrument_model_build(f->model)->n_fastenings ||
		s->trend.dry_seen_hour == TIME_NEVER)
		return;
	const struct fastening *x = fastening_of(f, i);
	char day[24];
	m->event = s->hour - s->trend.dry_seen_hour < TURN_FRESH_H &&
		   s->snug_hour[i] < s->trend.dry_seen_hour;
	m->value = s->least_hold;
	day_of(c, f->place, s->trend.dry_hour * HOUR_S, day, sizeof day);
	text_add(w.buf, w.size,
		"driest about %s; %s at their loosest since snug: %.0f %% of the preload left, ",
		day, measure_hardware(x->kind), 100 * fmax(s->least_hold, 0));
	slack_words(x, s->widest_gap_m, w);
	text_add(w.buf, w.size, "; now %.0f %% and %.2f mm", 100 * f->condition.hardware[i].preload,
		f->condition.hardware[i].gap_m * 1e3);
	turn_words(f, i, w);
	since_snug_words(c, f, i, w);
}

static void of_before_dry(const struct measure_context *c, const struct followed *f,
	struct care_measure *m, struct words w)
{
	const struct instrument_state *s = &f->state;
	const struct reference *relief = &s->refs[LINE_RELIEF];
	if (s->trend.damp_seen_hour == TIME_NEVER)
		return;
	char day[24];
	m->event = s->hour - s->trend.damp_seen_hour < TURN_FRESH_H &&
		   (relief->hour == s->begun || relief->hour < s->trend.damp_hour);
	day_of(c, f->place, s->trend.damp_hour * HOUR_S, day, sizeof day);
	text_add(w.buf, w.size,
		"dampest about %s; the wood under the tuners holds %.1f %% moisture and is drying",
		day, f->condition.mc_pct[instrument_carrier(f->model)]);
	if (relief->hour == s->begun)
		text_add(w.buf, w.size, "; relief was never measured here");
	else {
		day_of(c, f->place, relief->hour * HOUR_S, day, sizeof day);
		text_add(w.buf, w.size, "; last relief finding %s", day);
	}
}

/* How a line of findings is told. */
struct line_words {
	const char *what, *up, *down;
	void (*print)(char *, size_t, double, enum bench_units); /* a level */
	void (*print_change)(char *, size_t, double, enum bench_units);
};
static const struct line_words relief_words = { "relief", "grown", "fallen", units_print_gap,
	units_print_change };
static const struct line_words action_words = { "action at the 12th fret", "risen", "fallen",
	units_print_height, units_print_rise };

void measure_learnt(const struct followed *f, enum line line, char *buf, size_t size)
{
	enum learn_quantity q = line_quantity(line);
	const struct learn_prior *p = instrument_prior(f->model, q);
	const struct learn_gain *g = &f->state.gains[q];
	if (g->findings == 0)
		text_add(buf, size, "this prediction has never been checked on this instrument");
	else
		text_add(buf, size,
			"%lld finding%s taught that it moves %.1f +- %.1f times what its build "
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

static void level_words(const struct measure_context *c, const struct line_words *l,
	const struct reference *ref, const struct learn_estimate *now, struct words w)
{
	char then[32], level[32], sd[32];
	if (isnan(ref->found))
		return;
	l->print(then, sizeof then, ref->found, c->set->units);
	l->print(level, sizeof level, now->value, c->set->units);
	l->print_change(sd, sizeof sd, now->sd, c->set->units);
	text_add(w.buf, w.size, "; found %s, now about %s +- %s", then, level, sd);
}

/* `relief has likely grown by 4 +- 2 thou since ...; found .010, now about .014 +- 1 thou; ...` */
static void of_movement(const struct measure_context *c, enum care_kind kind,
	const struct followed *f, struct care_measure *m, struct words w)
{
	const struct condition *now = &f->condition;
	bool relief = kind == CARE_RELIEF;
	enum line line = relief ? LINE_RELIEF : now->action_line;
	const struct line_words *l = relief ? &relief_words : &action_words;
	const struct learn_estimate *level =
		relief ? &now->relief_now : &now->action_now[line - LINE_ACTION_BASS];
	const struct reference *ref = &f->state.refs[line];
	double change_m = relief ? now->relief_m : now->action_m;
	char change[32], sd[32], day[24];
	m->value = fabs(change_m);
	l->print_change(change, sizeof change, m->value, c->set->units);
	l->print_change(sd, sizeof sd, relief ? now->relief_sd_m : now->action_sd_m, c->set->units);
	day_of(c, f->place, ref->hour * HOUR_S, day, sizeof day);
	text_add(w.buf, w.size, "%s has likely %s by %s +- %s since %s", l->what,
		change_m > 0 ? l->up : l->down, change, sd, day);
	level_words(c, l, ref, level, w);
	text_add(w.buf, w.size, "; ");
	measure_learnt(f, line, w.buf, w.size);
}

static void of_fret_ends(const struct measure_context *c, const struct followed *f,
	struct care_measure *m, struct words w)
{
	char gap[32], sd[32], day[24];
	m->value = f->condition.fret_end_m;
	units_print_change(gap, sizeof gap, f->condition.fret_end_m, c->set->units);
	units_print_change(sd, sizeof sd, f->condition.fret_end_sd_m, c->set->units);
	day_of(c, f->place, f->state.refs[LINE_FRET_ENDS].hour * HOUR_S, day, sizeof day);
	text_add(w.buf, w.size,
		"fingerboard has shrunk: fret ends stand out by about %s +- %s a side; %s %s", gap,
		sd,
		isnan(f->state.refs[LINE_FRET_ENDS].found) ? "taken as flush when first followed,"
							   : "last felt",
		day);
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
	text_add(w.buf, w.size, "%s: %s by %.2f %%, wood gives from about %.1f %%",
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
		" and fails from about 0.9 %%; edges and glue hold the wood while the dry air "
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
		"pegs have %s %.3f mm on their holes since they last fitted: they %s; out of round "
		"by %.3f mm; pushed home they would stand %.1f mm further %s",
		fit->fit_m < 0 ? "lost" : "gained", 1e3 * fabs(fit->fit_m),
		fit->fit_m < 0 ? "slip" : "stick", 1e3 * fit->oval_m, 1e3 * fabs(fit->seat_m),
		fit->seat_m < 0 ? "in" : "out");
}

void measure_wood(const struct measure_context *c, enum care_kind kind, const struct followed *f,
	struct care_measure *m, struct words w)
{
	switch (kind) {
	case CARE_PRELOAD:
		of_preload(c, f, m, w);
		break;
	case CARE_AFTER_DRY:
		of_after_dry(c, f, m, w);
		break;
	case CARE_BEFORE_DRY:
		of_before_dry(c, f, m, w);
		break;
	case CARE_RELIEF:
	case CARE_ACTION:
		of_movement(c, kind, f, m, w);
		break;
	case CARE_FRET_END:
		of_fret_ends(c, f, m, w);
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
