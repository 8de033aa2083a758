/* What is known of a sensor: its dates, how it stands to the others of its place, what it says of itself. */
#include "daemon/measure_int.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/air.h"
#include "core/mem.h"
#include "daemon/text.h"

/* Days and limits below: what sensors do, general metrology, from memory; the rest of the levels stands in care.conf. */
#define WEEK_H 168
#define MONTH_S (30 * DAY_S)
#define WET_RH_PCT 95.0
#define WET_TOLD_PCT 85.0 /* what others make of it is damp as well: judgement, no source */
#define WET_BACK_H 96
#define WET_STALE_H 24
#define LATE_S                                                                                     \
	1800 /* so late is delivery, not a clock; later, and a zone may be wrong: judgement, no source */

/* ---- checks ---- */

enum rc measure_correction(const struct measure_context *c, const struct sensor *sensor, char *buf,
	size_t size, struct err *err)
{
	struct salt_check *checks = NULL;
	size_t n = 0, i = 0;
	int64_t id = 0;
	buf[0] = '\0';
	enum rc rc = store_sensor_find(c->store, sensor->name, &id, err);
	if (rc == RC_OK)
		rc = store_checks(c->store, id, &checks, &n, err);
	while (i < n && checks[i].t_s <= c->now_s)
		i++;
	if (rc == RC_OK && i > 0) {
		struct salt_correction now = salt_at(checks, n, c->now_s, sensor->accuracy_pct);
		text_add(buf, size,
			"corrected since {day %lld}: {n %.3f} x shown {n %+.2f}, +- {pct %.1f} RH",
			(long long)checks[i - 1].t_s, now.gain, now.offset_pct, now.u_pct);
	}
	mem_free(checks);
	return rc;
}

/* ---- dates ---- */

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

static enum rc of_dates(const struct measure_context *c, const struct care_rule *rule, int64_t id,
	const struct subject *s, struct care_measure *m, struct words w, struct err *err)
{
	int64_t first = TIME_NEVER, last = TIME_NEVER, checked = TIME_NEVER;
	enum rc rc = store_span(c->store, id, c->now_s, &first, &last, err);
	if (rc == RC_OK && rule->kind == CARE_CHECK)
		rc = measure_last_finding(c, s, FINDING_CHECKED, &checked, err);
	if (rc != RC_OK || first == TIME_NEVER)
		return rc;
	bool silent = rule->kind == CARE_SILENT;
	m->since_s = silent ? last : checked != TIME_NEVER ? checked : first;
	m->every_s = silent ? s->sensor->silent_after_s : rule->every_s;
	text_add(w.buf, w.size,
		silent                  ? "last reading {minute %lld}"
		: checked != TIME_NEVER ? "last checked {minute %lld}"
					: "never checked, in use since {minute %lld}",
		(long long)m->since_s);
	text_add(w.buf, w.size, "; it watches %s", s->sensor->place);
	if (silent)
		return set_aside_since(c, id, last, w, err);
	char correction[MEASURE_CORRECTION];
	rc = measure_correction(c, s->sensor, correction, sizeof correction, err);
	if (correction[0])
		text_add(w.buf, w.size, "; %s", correction);
	return rc;
}

/* ---- against the others ---- */

/* Everything that the sensors of a place say of some hours, one behind the other. */
static enum rc all_said(const struct measure_context *c, const struct track_sensor *at, size_t n,
	bool raw, int64_t from, int64_t to, struct agree_said **out, struct err *err)
{
	size_t hours = (size_t)(to - from);
	struct agree_said *said = mem_new(n * hours, sizeof *said);
	enum rc rc = said ? RC_OK : err_set(err, RC_MEM, "sensors of a place: out of memory");
	for (size_t k = 0; rc == RC_OK && k < n; k++)
		rc = track_said(c->store, &at[k], raw, from, to, said + k * hours, err);
	if (rc == RC_OK)
		*out = said;
	else
		mem_free(said);
	return rc;
}

/* How each of them stands to the others in the week up to to_s. */
static enum rc week_off(const struct measure_context *c, const struct track_source *source,
	bool raw, int64_t to_s, struct agree_off *off, struct err *err)
{
	int64_t to = civil_floor(to_s, HOUR_S);
	struct agree_said *said = NULL;
	enum rc rc = all_said(c, source->at, source->n, raw, to - WEEK_H, to, &said, err);
	for (size_t k = 0; rc == RC_OK && k < source->n; k++)
		off[k] = agree_off(said, source->n, WEEK_H, k);
	mem_free(said);
	return rc;
}

enum rc measure_week(const struct measure_context *c, const struct track_source *source,
	struct agree_off *off, struct err *err)
{
	return week_off(c, source, false, c->now_s, off, err);
}

/* Which of them to look at first: the one furthest off; of two, which are equally far off each other, the one that is known
 * less well. NAN never is. */
static enum rc first_suspect(const struct measure_context *c, const struct track_source *source,
	const double *far, size_t *which, struct err *err)
{
	double most = -1;
	enum rc rc = RC_OK;
	for (size_t k = 0; rc == RC_OK && k < source->n; k++) {
		struct salt_check *checks = NULL;
		size_t n = 0;
		double score = far[k];
		if (source->n == 2) {
			rc = store_checks(c->store, source->at[k].id, &checks, &n, err);
			score = salt_at(checks, n, c->now_s, source->at[k].accuracy_pct).u_pct;
			mem_free(checks);
		}
		if (score >= most) {
			most = score;
			*which = k;
		}
	}
	return rc;
}

static void tell_off(const struct agree_off *off, struct words w)
{
	text_add(w.buf, w.size,
		"over 7 days {pct %+.1f} RH beside the others of its place, give or take {n %.1f}; "
		"vapour pressure {pa %.0f} at {degc %.1f}, theirs {pa %.0f} at {degc %.1f}",
		off->rh_pct, off->sd_pct, off->others_pa + off->pa, off->t_degc, off->others_pa,
		off->others_t_degc);
}

/* Half of both weeks has to be shared. */
static bool is_shared(const struct agree_off *off)
{
	return 2 * off->hours >= WEEK_H;
}

static enum rc of_others(const struct measure_context *c, enum care_kind kind, size_t mine,
	const struct track_source *source, struct care_measure *m, struct words w, struct err *err)
{
	struct agree_off now[TRACK_SENSORS_MAX], then[TRACK_SENSORS_MAX];
	double far[TRACK_SENSORS_MAX];
	size_t suspect = mine;
	bool drift = kind == CARE_DRIFT;
	enum rc rc = week_off(c, source, drift, c->now_s, now, err);
	if (rc == RC_OK && drift)
		rc = week_off(c, source, true, c->now_s - MONTH_S, then, err);
	for (size_t k = 0; rc == RC_OK && k < source->n; k++) {
		bool known = is_shared(&now[k]) && (!drift || is_shared(&then[k]));
		far[k] = !known  ? (double)NAN
			 : drift ? fabs(now[k].rh_pct - then[k].rh_pct)
				 : fabs(now[k].rh_pct) / now[k].sd_pct;
	}
	if (rc == RC_OK)
		rc = first_suspect(c, source, far, &suspect, err);
	if (rc != RC_OK || isnan(far[mine]))
		return rc;
	m->value = suspect == mine ? far[mine] : 0;
	tell_off(&now[mine], w);
	if (drift)
		text_add(w.buf, w.size, "; 30 days before {pct %+.1f} RH", then[mine].rh_pct);
	if (source->n == 2)
		text_add(w.buf, w.size, "; which of the two it is, salt tells");
	return RC_OK;
}

/* What the others make of the hour at the temperature of the wet one; NAN: nothing. */
static double told_rh_pct(const struct agree_said *said, size_t n, size_t hours, size_t h)
{
	struct agree_sum others = { 0 };
	for (size_t k = 1; k < n; k++)
		agree_add(&others, &said[k * hours + h]);
	double t_degc = isnan(said[h].t_degc) ? agree_t_degc(&others) : said[h].t_degc;
	if (others.n == 0 || isnan(t_degc) || others.n_t == 0)
		return agree_rh_pct(&others, AGREE_ASSUMED_DEGC);
	double theirs_degc = agree_t_degc(&others);
	double pa = air_vapour_pa(theirs_degc, agree_rh_pct(&others, theirs_degc) / 100);
	return 100 * pa / air_vapour_pa(t_degc, 1);
}

/* said: the sensor first, then those it is compared with. */
static void count_wet(
	const struct agree_said *said, size_t n, struct care_measure *m, struct words w)
{
	size_t h = WET_BACK_H;
	while (h > 0 && isnan(said[h - 1].rh_pct))
		h--;
	if (WET_BACK_H - h >= WET_STALE_H)
		return;
	double told = (double)NAN;
	const struct agree_said *last = &said[h - 1];
	for (m->value = 0; h > 0; h--) {
		if (isnan(said[h - 1].rh_pct))
			continue;
		double others = told_rh_pct(said, n, WET_BACK_H, h - 1);
		if (said[h - 1].rh_pct <= WET_RH_PCT || others >= WET_TOLD_PCT)
			break;
		told = isnan(told) ? others : told;
		m->value++;
	}
	text_add(w.buf, w.size, "above {pct %.0f} RH for the last {h %.0f}, now {pct %.1f}",
		WET_RH_PCT, m->value, last->rh_pct);
	if (!isnan(last->t_degc))
		text_add(w.buf, w.size, " at {degc %.1f}", last->t_degc);
	if (isnan(told))
		text_add(w.buf, w.size, "; no other sensor to compare with");
	else
		text_add(w.buf, w.size, "; the water in the air round it would make {pct %.0f}",
			told);
}

/* Beside the others of its place, or alone in a case beside the room's. */
static enum rc of_wet(const struct measure_context *c, size_t mine,
	const struct track_source *source, struct care_measure *m, struct words w, struct err *err)
{
	struct track_sensor list[TRACK_SENSORS_MAX + 1] = { source->at[mine] };
	size_t n = 1;
	int64_t to = civil_floor(c->now_s, HOUR_S);
	struct agree_said *said = NULL;
	for (size_t k = 0; k < source->n; k++)
		if (k != mine)
			list[n++] = source->at[k];
	for (size_t k = 0; source->n == 1 && k < source->n_room; k++)
		list[n++] = source->room[k];
	enum rc rc = all_said(c, list, n, false, to - WET_BACK_H, to, &said, err);
	if (rc == RC_OK)
		count_wet(said, n, m, w);
	mem_free(said);
	return rc;
}

static enum rc of_place(const struct measure_context *c, enum care_kind kind, int64_t id,
	const struct subject *s, struct care_measure *m, struct words w, struct err *err)
{
	const struct track_source *source = engine_source(c->engine, s->sensor->place);
	size_t mine = 0;
	while (source && mine < source->n && source->at[mine].id != id)
		mine++;
	if (!source || mine == source->n)
		return RC_OK;
	if (kind == CARE_WET)
		return of_wet(c, mine, source, m, w, err);
	if (source->n == 1) {
		m->value = 0; /* nobody is there to disagree with */
		return RC_OK;
	}
	return of_others(c, kind, mine, source, m, w, err);
}

/* ---- what it says of itself ---- */

static enum rc of_health(const struct measure_context *c, enum care_kind kind, int64_t id,
	const struct subject *s, struct care_measure *m, struct words w, struct err *err)
{
	struct store_health h;
	bool found = false, battery = kind == CARE_BATTERY;
	int64_t seen = TIME_NEVER;
	enum rc rc = store_health(c->store, id, &h, &found, err);
	if (rc == RC_OK)
		rc = measure_last_finding(
			c, s, battery ? FINDING_BATTERY : FINDING_CHECKED, &seen, err);
	if (rc != RC_OK || !found || (battery ? h.battery_pct < 0 : !h.has_ahead))
		return rc;
	int64_t said_s = battery ? h.battery_s : h.ahead_at_s;
	if (seen != TIME_NEVER && seen >= said_s)
		return RC_OK; /* it has not spoken since */
	double off_s = fabs((double)h.ahead_s);
	m->value = battery ? h.battery_pct : h.ahead_s < 0 && off_s < LATE_S ? 0 : off_s;
	if (battery)
		text_add(w.buf, w.size, "battery {pct %d}, said {minute %lld}", h.battery_pct,
			(long long)said_s);
	else
		text_add(w.buf, w.size, "%s by {min %.1f}, seen {minute %lld}",
			h.ahead_s > 0 ? "its clock is ahead"
				      : "its clock is behind, or what it sends comes late,",
			off_s / 60, (long long)said_s);
	text_add(w.buf, w.size, "; it watches %s", s->sensor->place);
	return RC_OK;
}

enum rc measure_sensor(const struct measure_context *c, const struct care_rule *rule,
	const struct subject *s, struct care_measure *m, struct words w, struct err *err)
{
	enum care_kind kind = (enum care_kind)rule->kind;
	int64_t id = 0;
	enum rc rc = store_sensor_find(c->store, s->name, &id, err);
	if (rc != RC_OK)
		return rc;
	if (kind == CARE_CHECK || kind == CARE_SILENT)
		return of_dates(c, rule, id, s, m, w, err);
	return kind == CARE_BATTERY || kind == CARE_CLOCK ? of_health(c, kind, id, s, m, w, err)
							  : of_place(c, kind, id, s, m, w, err);
}
