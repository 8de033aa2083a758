#include "daemon/measure_int.h"

#include <math.h>
#include <string.h>

#include "core/air.h"
#include "core/mem.h"
#include "daemon/text.h"

enum { AIR_HOURS_MAX = 64, PLACE_SENSORS = 32 };
#define AIR_MEAN_H 48 /* two days: the wood of a top answers in that time */
#define STALE_S (14 * DAY_S) /* without readings for so long nothing new is said of the wood */

/* ---- strings ---- */

/* The last finding of that kind, TIME_NEVER when there is none. */
static enum rc last_finding(const struct measure_context *c, const struct subject *s,
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

static enum rc of_strings(const struct measure_context *c, const struct care_rule *rule,
	const struct subject *s, struct care_measure *m, struct words w, struct err *err)
{
	int64_t restrung = TIME_NEVER, seen = TIME_NEVER;
	enum rc rc = last_finding(c, s, FINDING_RESTRUNG, &restrung, err);
	if (rc == RC_OK && rule->kind == CARE_SETTLE)
		rc = last_finding(c, s, FINDING_SETTLED, &seen, err);
	if (rc != RC_OK || restrung == TIME_NEVER || (seen != TIME_NEVER && seen >= restrung))
		return rc;
	char when[24];
	m->since_s = restrung;
	m->every_s = rule->every_s;
	if (rule->kind == CARE_STRINGS)
		m->every_s = (int64_t)instrument_model_build(s->followed->model)->string_life_s;
	zone_print_minute(engine_zone(c->engine, s->followed->place), restrung, when, sizeof when);
	if (rule->kind == CARE_SETTLE)
		text_add(w.buf, w.size, "restrung %s; the neck settles within %lld h", when,
			(long long)(m->every_s / HOUR_S));
	else
		text_add(w.buf, w.size,
			"strings on since %s; a set lasts about %lld days on this build", when,
			(long long)(m->every_s / DAY_S));
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
	int64_t ids[PLACE_SENSORS];
	size_t n_ids = engine_sensors_of(c->engine, place, ids, PLACE_SENSORS);
	int64_t to = civil_floor(c->now_s, HOUR_S);
	int64_t n = 0, n_t = 0;
	double rh = 0, t = 0;
	*out = (struct measure_air){ .least_rh_pct = (double)INFINITY,
		.most_rh_pct = -(double)INFINITY,
		.t_degc = (double)NAN };
	for (size_t k = 0; k < n_ids; k++) {
		struct store_sum rows[AIR_HOURS_MAX];
		size_t got = 0;
		enum rc rc = store_hours(
			c->store, ids[k], to - hours, to, rows, AIR_HOURS_MAX, &got, err);
		if (rc != RC_OK)
			return rc;
		for (size_t i = 0; i < got; i++) {
			if (rows[i].n == 0)
				continue;
			double mean = (double)rows[i].rh_sum / (double)rows[i].n / 100;
			rh += mean;
			n++;
			out->least_rh_pct = fmin(out->least_rh_pct, mean);
			out->most_rh_pct = fmax(out->most_rh_pct, mean);
			if (rows[i].temp_n > 0) {
				t += (double)rows[i].temp_sum / (double)rows[i].temp_n / 100;
				n_t++;
			}
		}
	}
	out->hours = n_ids ? n / (int64_t)n_ids : 0;
	out->rh_pct = n ? rh / (double)n : (double)NAN;
	out->t_degc = n_t ? t / (double)n_t : (double)NAN;
	*known = n > 0 && 2 * out->hours >= hours;
	return RC_OK;
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

static enum rc of_air(const struct measure_context *c, enum care_kind kind, const struct subject *s,
	struct care_measure *m, struct words w, struct err *err)
{
	double low = 0, high = 0;
	bool known = false;
	struct measure_air air;
	if (!settings_has_sensor(c->set, s->name) || !measure_band(c, s->place, &low, &high))
		return RC_OK;
	enum rc rc = measure_air(c, s->name, AIR_MEAN_H, &air, &known, err);
	if (rc != RC_OK || !known)
		return rc;
	m->value = kind == CARE_AIR_DRY ? low - air.rh_pct : air.rh_pct - high;
	text_add(w.buf, w.size, "two-day mean %.1f %% RH", air.rh_pct);
	if (!isnan(air.t_degc))
		text_add(w.buf, w.size, " at %.1f degC (dew point %.1f degC)", air.t_degc,
			air_dew_point_degc(air.t_degc, air.rh_pct / 100));
	text_add(w.buf, w.size, ", band %.0f-%.0f %%; hourly %.0f to %.0f %%", low, high,
		air.least_rh_pct, air.most_rh_pct);
	const struct place *room =
		s->place->room[0] ? settings_place(c->set, s->place->room) : NULL;
	if (room) {
		rc = measure_air(c, s->place->room, AIR_MEAN_H, &air, &known, err);
		if (rc == RC_OK && known)
			text_add(w.buf, w.size, "; %s round it: %.1f %%",
				room->title[0] ? room->title : room->name, air.rh_pct);
	}
	who_is_there(c, s->place, w);
	return rc;
}

/* ---- sensors ---- */

/* A sensor can be silent because what it says is not believed. */
static enum rc set_aside_since(const struct measure_context *c, int64_t id, int64_t last_s,
	struct words w, struct err *err)
{
	enum { ROWS = 256 };
	struct quality_reading rows[ROWS];
	char why[64];
	size_t n = 0;
	enum rc rc = store_raw(c->store, id, last_s + 1, c->now_s + 1, rows, ROWS, &n, err);
	uint32_t flags = 0;
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		flags |= rows[i].flags;
	quality_words(why, sizeof why, flags);
	if (flags)
		text_add(w.buf, w.size, "; %zu%s readings since then were set aside: %s", n,
			n == ROWS ? " or more" : "", why);
	return rc;
}

static enum rc of_sensor(const struct measure_context *c, const struct care_rule *rule,
	const struct subject *s, struct care_measure *m, struct words w, struct err *err)
{
	int64_t id = 0, first = TIME_NEVER, last = TIME_NEVER, checked = TIME_NEVER;
	enum rc rc = store_sensor_find(c->store, s->name, &id, err);
	if (rc == RC_OK)
		rc = store_span(c->store, id, c->now_s, &first, &last, err);
	if (rc == RC_OK && rule->kind == CARE_CHECK)
		rc = last_finding(c, s, FINDING_CHECKED, &checked, err);
	if (rc != RC_OK || first == TIME_NEVER)
		return rc;
	char when[24];
	bool silent = rule->kind == CARE_SILENT;
	m->since_s = silent ? last : checked != TIME_NEVER ? checked : first;
	m->every_s = silent ? s->sensor->silent_after_s : rule->every_s;
	zone_print_minute(engine_zone(c->engine, s->sensor->place), m->since_s, when, sizeof when);
	text_add(w.buf, w.size,
		silent                  ? "last reading %s"
		: checked != TIME_NEVER ? "last checked %s"
					: "never checked, in use since %s",
		when);
	text_add(w.buf, w.size, "; it watches %s", s->sensor->place);
	return silent ? set_aside_since(c, id, last, w, err) : RC_OK;
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
		measure_wood(c, kind, s->followed, m, w);
		return RC_OK;
	case CARE_STRINGS:
	case CARE_SETTLE:
		return of_strings(c, rule, s, m, w, err);
	case CARE_AIR_DRY:
	case CARE_AIR_DAMP:
		return of_air(c, kind, s, m, w, err);
	case CARE_CHECK:
	case CARE_SILENT:
		return of_sensor(c, rule, s, m, w, err);
	}
	return RC_OK;
}
