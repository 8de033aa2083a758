/* seasonctl explain: a figure walked back to readings, formulas, values of species and sources. */
#include "daemon/ctl_show.h"

#include <math.h>
#include <string.h>

#include "core/mem.h"
#include "core/number.h"
#include "core/sorption.h"
#include "daemon/ctl_course.h"
#include "daemon/ctl_wood.h"
#include "daemon/ctl_workings.h"
#include "daemon/measure.h"
#include "daemon/phrase.h"
#include "daemon/track.h"

/* ---- air ---- */

enum { SENSORS = 32, DAY_ROWS = 4096 };

/* A sensor of the settings, NULL when they have it no more. */
static enum rc find_sensor(struct ctl *c, int64_t id, const struct sensor **sensor)
{
	enum rc rc = RC_OK;
	*sensor = NULL;
	for (size_t i = 0; rc == RC_OK && i < c->desk.set->n_sensors; i++) {
		int64_t known = 0;
		rc = store_sensor_find(c->desk.store, c->desk.set->sensors[i].name, &known, c->err);
		if (rc == RC_OK && known == id)
			*sensor = &c->desk.set->sensors[i];
	}
	return rc;
}

static enum rc print_correction(struct ctl *c, const struct sensor *sensor)
{
	const struct measure_context at = { c->desk.store, c->desk.engine, c->desk.set, c->now_s };
	char text[MEASURE_CORRECTION] = "", shown[MEASURE_CORRECTION];
	enum rc rc = sensor ? measure_correction(&at, sensor, text, sizeof text, c->err) : RC_OK;
	if (rc != RC_OK || !text[0])
		return rc;
	phrase_show(text, c->desk.set->units, "", engine_zone(c->desk.engine, sensor->place), shown,
		sizeof shown);
	(void)printf("    %s %s; readings stay as they came\n", sensor->name, shown);
	return rc;
}

static enum rc print_readings(struct ctl *c, const char *place, int64_t sensor)
{
	struct quality_reading *rows = NULL;
	size_t got = 0, flagged = 0;
	int64_t first = TIME_NEVER, last = TIME_NEVER;
	char from[24], to[24];
	const struct zone *z = engine_zone(c->desk.engine, place);
	enum rc rc = store_span(c->desk.store, sensor, c->now_s, &first, &last, c->err);
	const struct sensor *set = NULL;
	if (rc == RC_OK)
		rc = find_sensor(c, sensor, &set);
	if (rc != RC_OK || last == TIME_NEVER)
		return rc;
	rows = mem_new(DAY_ROWS, sizeof *rows);
	rc = rows ? store_raw(c->desk.store, sensor, last - DAY_S, last + 1, rows, DAY_ROWS, &got,
			    c->err)
		  : err_set(c->err, RC_MEM, "readings: out of memory");
	for (size_t k = 0; rc == RC_OK && k < got; k++)
		flagged += rows[k].flags != 0;
	zone_print_minute(z, first, from, sizeof from);
	zone_print_minute(z, last, to, sizeof to);
	if (rc == RC_OK)
		(void)printf("    readings of %s from %s to %s; in the last day %zu%s, "
			     "questionable %zu\n",
			set ? set->name : "", from, to, got, got == DAY_ROWS ? " or more" : "",
			flagged);
	mem_free(rows);
	return rc == RC_OK ? print_correction(c, set) : rc;
}

/* The sensors of a place beside each other, for a pocket calculator. */
static enum rc explain_week(struct ctl *c, const char *place)
{
	const struct measure_context at = { c->desk.store, c->desk.engine, c->desk.set, c->now_s };
	const struct track_source *source = engine_source(c->desk.engine, place);
	struct agree_off off[TRACK_SENSORS_MAX];
	if (!source || source->n < 2)
		return RC_OK;
	enum rc rc = measure_week(&at, source, off, c->err);
	if (rc == RC_OK)
		(void)puts("  in the last 7 days, each beside the mean of the others, in vapour "
			   "pressure");
	for (size_t i = 0; rc == RC_OK && i < source->n; i++) {
		const struct sensor *sensor = NULL;
		rc = find_sensor(c, source->at[i].id, &sensor);
		if (rc != RC_OK || !sensor || off[i].hours == 0)
			continue;
		(void)printf("    %-16s %.1f Pa at %.2f degC, the others %.1f Pa at %.2f degC;\n"
			     "        %+.2f %% RH, expected +- %.2f; %lld h\n",
			sensor->name, off[i].others_pa + off[i].pa, off[i].t_degc, off[i].others_pa,
			off[i].others_t_degc, off[i].rh_pct, off[i].sd_pct,
			(long long)off[i].hours);
	}
	if (rc == RC_OK)
		ctl_wood_wrapped("% RH: 100 x difference / saturation pressure at its own "
				 "temperature (ASHRAE Fundamentals 2017 ch. 1 eq. 6); expected: "
				 "sqrt(u^2 + u^2 of the others + 2 x (0.06 x RH x 0.3 K)^2), u the "
				 "accuracy of the settings or what checks over salt leave",
			4);
	return rc;
}

static enum rc explain_readings(struct ctl *c, const char *place)
{
	int64_t ids[SENSORS];
	size_t n = engine_sensors_of(c->desk.engine, place, ids, SENSORS);
	enum rc rc = RC_OK;
	(void)printf("  air of %s, %zu sensor%s\n", place, n, n == 1 ? "" : "s");
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		rc = print_readings(c, place, ids[i]);
	return rc;
}

/* The last hour that was followed, from readings to equilibrium moisture. */
static enum rc explain_hour(struct ctl *c, const struct followed *f)
{
	const struct measure_context at = { c->desk.store, c->desk.engine, c->desk.set,
		(f->state.hour + 1) * HOUR_S };
	struct measure_air air;
	bool known = false;
	char hour[24];
	enum rc rc = measure_air(&at, f->place, 1, &air, &known, c->err);
	if (rc != RC_OK)
		return rc;
	zone_print_minute(
		engine_zone(c->desk.engine, f->place), f->state.hour * HOUR_S, hour, sizeof hour);
	if (!known) {
		(void)printf(
			"    hour from %s: no reading, bridged between its neighbours\n", hour);
		return RC_OK;
	}
	double t_degc = isnan(air.t_degc) ? TRACK_ASSUMED_DEGC : air.t_degc;
	(void)printf("    hour from %s: %.2f %% RH, %.2f degC%s; equilibrium moisture by eq. 4-5: "
		     "%.3f %%\n",
		hour, air.rh_pct, t_degc, isnan(air.t_degc) ? " (assumed)" : "",
		sorption_mc_pct(t_degc, air.rh_pct / 100));
	return RC_OK;
}

static enum rc explain_air(struct ctl *c, struct workings *w)
{
	const struct instrument_state *s = &w->f->state;
	char begun[24];
	enum rc rc = explain_readings(c, w->f->place);
	if (rc == RC_OK)
		rc = explain_hour(c, w->f);
	zone_print_minute(
		engine_zone(c->desk.engine, w->f->place), s->begun * HOUR_S, begun, sizeof begun);
	(void)printf("    followed from %s, in equilibrium with the mean air of the first 30 days: "
		     "%.3f %%\n",
		begun, s->fret_ref_pct);
	(void)printf("    hours followed %lld, of these bridged %lld\n",
		(long long)(s->hour - s->begun), (long long)s->bridged_h);
	if (w->b->cavity_lag_s > 0)
		(void)printf(
			"    air inside the body: each hour 1 - exp(-1 h/%.1f h) = %.3f of the "
			"way to the room's; now %.3f %%\n",
			w->b->cavity_lag_s / HOUR_S, -expm1(-(double)HOUR_S / w->b->cavity_lag_s),
			s->inside_mc_pct);
	if (w->b->sorption_ratio < 1)
		(void)printf("    two curves: wood takes up water below %.3f, gives it off above "
			     "%.3f times that moisture\n",
			2 * w->b->sorption_ratio / (1 + w->b->sorption_ratio),
			2 / (1 + w->b->sorption_ratio));
	w->formulas[FORMULA_SORPTION] = w->formulas[FORMULA_TRANSPORT] = true;
	return rc;
}

/* ---- the command ---- */

static void explain_figure(struct workings *w, enum care_kind kind)
{
	switch (kind) {
	case CARE_AFTER_DRY:
		workings_season(w);
		workings_hardware(w);
		break;
	case CARE_PRELOAD:
		workings_hardware(w);
		break;
	case CARE_BEFORE_DRY:
		workings_season(w);
		break;
	case CARE_RELIEF:
		workings_relief(w);
		break;
	case CARE_ACTION:
		workings_action(w);
		break;
	case CARE_FRET_END:
		workings_fret_ends(w);
		break;
	case CARE_CRACK:
		workings_stretched(w);
		break;
	case CARE_GLUE:
		workings_glue(w);
		break;
	case CARE_PEGS:
		workings_tapers(w);
		break;
	case CARE_STRINGS:
	case CARE_SETTLE:
		workings_strings(w);
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
		break;
	}
}

static void explain_all(struct workings *w)
{
	ctl_show_condition(w->ctl, w->f);
	workings_relief(w);
	workings_action(w);
	workings_fret_ends(w);
	workings_hardware(w);
	workings_season(w);
	workings_tapers(w);
	workings_stretched(w);
	workings_glue(w);
	workings_strings(w);
	for (size_t i = 0; i < w->b->n_members; i++)
		w->used[i] = true;
}

/* kind: of the item's rule, NULL: every figure. */
static enum rc explain_instrument(
	struct ctl *c, const struct followed *f, const enum care_kind *kind)
{
	struct workings w = { 0 };
	bool dated = kind && (*kind == CARE_STRINGS || *kind == CARE_SETTLE);
	if (!ctl_show_followed(c, f))
		return RC_OK;
	enum rc rc = workings_new(c, f, &w, c->err);
	if (rc == RC_OK && kind)
		explain_figure(&w, *kind);
	else if (rc == RC_OK)
		explain_all(&w);
	if (rc == RC_OK && !dated) {
		rc = explain_air(c, &w);
		workings_wood(&w);
		if (rc == RC_OK && !kind)
			rc = ctl_course_months(c, f);
		workings_sources(&w);
	}
	workings_done(&w);
	return rc;
}

static enum rc explain_item(struct ctl *c, const struct item *it)
{
	const struct care_rule *rule = library_rule(c->desk.lib, it->rule);
	char opened[24];
	ctl_show_item(c, it, "");
	zone_print_minute(engine_zone(c->desk.engine, NULL), it->opened_s, opened, sizeof opened);
	(void)printf("  rule %s, opened %s\n", it->rule, opened);
	if (rule && !isnan(it->value))
		(void)printf("  value %.6g; opens beyond %.6g, taken back inside %.6g, pressing at "
			     "%.6g\n",
			it->value, rule->open, rule->close, rule->pressing);
	if (rule) {
		char caution[CARE_LONG + 16];
		(void)snprintf(caution, sizeof caution, "caution: %s", rule->caution);
		ctl_wood_wrapped(rule->advice, 2);
		ctl_wood_wrapped(caution, 2);
	}
	if (it->subject_kind == CARE_OF_PLACE)
		return explain_readings(c, it->subject);
	const struct sensor *sensor = it->subject_kind == CARE_OF_SENSOR
					      ? settings_sensor(c->desk.set, it->subject)
					      : NULL;
	if (sensor) {
		enum rc rc = explain_readings(c, sensor->place);
		return rc == RC_OK ? explain_week(c, sensor->place) : rc;
	}
	const struct followed *f = it->subject_kind == CARE_OF_INSTRUMENT
					   ? engine_find(c->desk.engine, it->subject)
					   : NULL;
	enum care_kind kind = rule ? (enum care_kind)rule->kind : CARE_STRINGS;
	return f ? explain_instrument(c, f, rule ? &kind : NULL) : RC_OK;
}

enum rc ctl_explain(struct ctl *c)
{
	struct item *items = NULL;
	size_t n = 0;
	int64_t number = -1;
	enum rc rc = ctl_show_refresh(c, "explain NUMBER|INSTRUMENT", 1);
	if (rc == RC_OK && c->argc != 1)
		return err_set(c->err, RC_USAGE, "usage: seasonctl explain NUMBER|INSTRUMENT");
	if (rc == RC_OK)
		rc = state_items(c->desk.store, TIME_NEVER, &items, &n, c->err);
	const char *what = c->argv ? c->argv[0] : "";
	bool found = false;
	if (rc == RC_OK && number_int(what[0] == '#' ? what + 1 : what, &number))
		for (size_t i = 0; rc == RC_OK && i < n; i++)
			if (items[i].id == number) {
				rc = explain_item(c, &items[i]);
				found = true;
			}
	mem_free(items);
	const struct followed *f = rc == RC_OK && !found ? engine_find(c->desk.engine, what) : NULL;
	if (f) {
		rc = explain_instrument(c, f, NULL);
		found = true;
	}
	if (rc == RC_OK && !found)
		rc = err_set(c->err, RC_UNKNOWN,
			"\"%.40s\": no open item or instrument of that name", what);
	return rc;
}
