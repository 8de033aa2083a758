#include "daemon/measure_int.h"

#include <math.h>
#include <string.h>

#include "core/air.h"
#include "core/mem.h"
#include "daemon/phrase.h"
#include "daemon/text.h"

#define AIR_MEAN_H 48 /* two days: the wood of a top answers in that time */
#define STALE_S (14 * DAY_S) /* without readings for so long nothing new is said of the wood */

enum rc measure_last_finding(const struct measure_context *c, const struct subject *s,
	enum finding_kind kind, int64_t *t_s, struct err *err)
{
	struct finding *list = NULL;
	size_t n = 0;
	enum rc rc = record_findings(c->store, (int)s->kind, s->name, &list, &n, err);
	*t_s = TIME_NEVER;
	for (size_t i = 0; i < n; i++)
		if (list[i].kind == (int)kind && list[i].t_s <= c->now_s)
			*t_s = list[i].t_s;
	mem_free(list);
	return rc;
}

/* ---- strings ---- */

static enum rc of_strings(const struct measure_context *c, const struct care_rule *rule,
	const struct subject *s, struct care_measure *m, struct words w, struct err *err)
{
	int64_t restrung = TIME_NEVER, seen = TIME_NEVER;
	enum rc rc = measure_last_finding(c, s, FINDING_RESTRUNG, &restrung, err);
	if (rc == RC_OK && rule->kind == CARE_SETTLE)
		rc = measure_last_finding(c, s, FINDING_SETTLED, &seen, err);
	if (rc != RC_OK || restrung == TIME_NEVER || (seen != TIME_NEVER && seen >= restrung))
		return rc;
	m->since_s = restrung;
	m->every_s = rule->every_s;
	if (rule->kind == CARE_STRINGS)
		m->every_s = (int64_t)instrument_model_build(s->followed->model)->string_life_s;
	if (rule->kind == CARE_SETTLE)
		text_add(w.buf, w.size, "restrung {minute %lld}; the neck settles within {h %lld}",
			(long long)restrung, (long long)(m->every_s / HOUR_S));
	else
		text_add(w.buf, w.size,
			"strings on since {minute %lld}; a set lasts about {days %lld} on this "
			"build",
			(long long)restrung, (long long)(m->every_s / DAY_S));
	return RC_OK;
}

/* ---- places ---- */

bool measure_band(
	const struct measure_context *c, const struct place *p, double *low_pct, double *high_pct)
{
	if (p->rh_high_pct > 0) {
		*low_pct = p->rh_low_pct;
		*high_pct = p->rh_high_pct;
		return true;
	}
	size_t n = 0;
	bool any = false;
	const struct followed *list = engine_followed(c->engine, &n);
	for (size_t i = 0; i < n; i++) {
		if (!list[i].model || strcmp(list[i].place, p->name) != 0 ||
			list[i].record.until_s <= c->now_s)
			continue;
		const struct build *b = instrument_model_build(list[i].model);
		*low_pct = any && *low_pct > b->rh_low_pct ? *low_pct : b->rh_low_pct;
		*high_pct = any && *high_pct < b->rh_high_pct ? *high_pct : b->rh_high_pct;
		any = true;
	}
	return any;
}

enum rc measure_air(const struct measure_context *c, const char *place, int64_t hours,
	struct measure_air *out, bool *known, struct err *err)
{
	const struct track_source *source = engine_source(c->engine, place);
	int64_t to = civil_floor(c->now_s, HOUR_S), n_t = 0;
	double rh = 0, t = 0;
	struct track track = { 0 };
	*known = false;
	*out = (struct measure_air){ .least_rh_pct = (double)INFINITY,
		.most_rh_pct = -(double)INFINITY,
		.rh_pct = (double)NAN,
		.t_degc = (double)NAN };
	if (!source)
		return RC_OK;
	enum rc rc = track_load(c->store, source, to - hours, to, &track, err);
	for (size_t i = 0; rc == RC_OK && i < track.n; i++) {
		const struct track_hour *at = &track.at[i];
		if (at->mark != TRACK_KNOWN)
			continue;
		out->hours++;
		rh += at->rh_pct;
		out->least_rh_pct = fmin(out->least_rh_pct, at->rh_pct);
		out->most_rh_pct = fmax(out->most_rh_pct, at->rh_pct);
		t += at->t_assumed ? 0 : at->t_degc;
		n_t += !at->t_assumed;
	}
	track_done(&track);
	if (out->hours)
		out->rh_pct = rh / (double)out->hours;
	if (n_t)
		out->t_degc = t / (double)n_t;
	*known = out->hours > 0 && 2 * out->hours >= hours;
	return rc;
}

static void who_is_there(const struct measure_context *c, const struct place *p, struct words w)
{
	size_t n = 0;
	const struct followed *list = engine_followed(c->engine, &n);
	const char *before = "; there: ";
	for (size_t i = 0; i < n; i++)
		if (strcmp(list[i].place, p->name) == 0 && list[i].record.until_s > c->now_s) {
			text_add(w.buf, w.size, "%s%s", before, list[i].record.name);
			before = ", ";
		}
}

static enum rc corrected_there(
	const struct measure_context *c, const struct place *p, struct words w, struct err *err)
{
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < c->set->n_sensors; i++) {
		char text[MEASURE_CORRECTION];
		if (strcmp(c->set->sensors[i].place, p->name) != 0)
			continue;
		rc = measure_correction(c, &c->set->sensors[i], text, sizeof text, err);
		if (text[0])
			text_add(w.buf, w.size, "; %s %s", c->set->sensors[i].name, text);
	}
	return rc;
}

static enum rc of_air(const struct measure_context *c, enum care_kind kind, const struct subject *s,
	struct care_measure *m, struct words w, struct err *err)
{
	double low = 0, high = 0;
	bool known = false;
	char who[2 * TITLE_SIZE];
	struct measure_air air;
	if (!settings_has_sensor(c->set, s->name) || !measure_band(c, s->place, &low, &high))
		return RC_OK;
	enum rc rc = measure_air(c, s->name, AIR_MEAN_H, &air, &known, err);
	if (rc != RC_OK || !known)
		return rc;
	m->value = kind == CARE_AIR_DRY ? low - air.rh_pct : air.rh_pct - high;
	text_add(w.buf, w.size, "two-day mean {pct %.1f} RH", air.rh_pct);
	if (!isnan(air.t_degc))
		text_add(w.buf, w.size, " at {degc %.1f} (dew point {degc %.1f})", air.t_degc,
			air_dew_point_degc(air.t_degc, air.rh_pct / 100));
	text_add(w.buf, w.size, ", band {n %.0f}-{pct %.0f}; hourly {n %.0f} to {pct %.0f}", low,
		high, air.least_rh_pct, air.most_rh_pct);
	rc = corrected_there(c, s->place, w, err);
	const struct place *room =
		s->place->room[0] ? settings_place(c->set, s->place->room) : NULL;
	if (rc == RC_OK && room) {
		rc = measure_air(c, s->place->room, AIR_MEAN_H, &air, &known, err);
		phrase_quote(text_or(room->title, room->name), who, sizeof who);
		if (rc == RC_OK && known)
			text_add(w.buf, w.size, "; %s round it: {pct %.1f}", who, air.rh_pct);
	}
	who_is_there(c, s->place, w);
	return rc;
}

/* Strings age without air; the rest needs wood that has been followed up to lately. */
static bool is_usable(
	const struct measure_context *c, const struct care_rule *rule, const struct followed *f)
{
	bool dated = rule->kind == CARE_STRINGS || rule->kind == CARE_SETTLE;
	return f->model && (dated || (f->known && c->now_s - f->state.hour * HOUR_S < STALE_S));
}

enum rc measure(const struct measure_context *c, const struct care_rule *rule,
	const struct subject *s, struct care_measure *m, char *reasons, size_t size,
	struct err *err)
{
	struct words w = { reasons, size };
	enum care_kind kind = (enum care_kind)rule->kind;
	*m = (struct care_measure){ .value = (double)NAN, .since_s = TIME_NEVER };
	reasons[0] = '\0';
	if (s->kind == CARE_OF_INSTRUMENT && !is_usable(c, rule, s->followed))
		return RC_OK;
	switch (kind) {
	case CARE_PRELOAD:
	case CARE_AFTER_DRY:
	case CARE_BEFORE_DRY:
	case CARE_RELIEF:
	case CARE_ACTION:
	case CARE_FRET_END:
	case CARE_CRACK:
	case CARE_GLUE:
	case CARE_PEGS:
		measure_wood(kind, s->followed, m, w);
		return RC_OK;
	case CARE_STRINGS:
	case CARE_SETTLE:
		return of_strings(c, rule, s, m, w, err);
	case CARE_AIR_DRY:
	case CARE_AIR_DAMP:
		return of_air(c, kind, s, m, w, err);
	case CARE_CHECK:
	case CARE_SILENT:
	case CARE_DISAGREE:
	case CARE_DRIFT:
	case CARE_WET:
	case CARE_BATTERY:
	case CARE_CLOCK:
		return measure_sensor(c, rule, s, m, w, err);
	}
	return RC_OK;
}
