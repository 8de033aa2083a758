/* seasonctl salt: a hygrometer checked over saturated salts becomes a dated correction. */
#include "daemon/ctl_change.h"

#include <math.h>
#include <string.h>

#include "core/mem.h"
#include "core/number.h"
#include "daemon/state.h"

#define USAGE "salt SENSOR [SALT SHOWN [SALT SHOWN] --temp TEMPERATURE] [--at TIME] [--dry-run]"

enum { POINTS = 2 };

struct salt_entry {
	int64_t sensor;
	struct salt_reading at[POINTS];
	size_t n;
	double t_degc;
	struct store_correction correction;
};

static enum rc find_sensor(struct ctl *c, int64_t *id)
{
	const char *names[SENSORS_MAX];
	const struct settings *set = c->desk.set;
	if (settings_sensor(set, c->argv[0]))
		return store_sensor_find(c->desk.store, c->argv[0], id, c->err);
	for (size_t i = 0; i < set->n_sensors; i++)
		names[i] = set->sensors[i].name;
	const char *near = faults_nearest(c->argv[0], names, set->n_sensors);
	return err_set(c->err, RC_UNKNOWN, "sensor \"%.40s\": not in the settings%s%s%s",
		c->argv[0], near ? ": did you mean " : "", near ? near : "", near ? "?" : "");
}

static enum rc read_salt(struct ctl *c, const char *word, enum salt *salt)
{
	const char *names[SALTS];
	for (size_t i = 0; i < SALTS; i++)
		names[i] = salt_words()[i].name;
	*salt = salt_by_name(word);
	if (*salt != SALTS)
		return RC_OK;
	const char *near = faults_nearest(word, names, SALTS);
	return err_set(c->err, RC_UNKNOWN,
		"salt \"%.20s\": not known%s%s%s: licl, mgcl2, k2co3, mgno3, nabr, nacl, kcl, "
		"k2so4",
		word, near ? ": did you mean " : "", near ? near : "", near ? "?" : "");
}

/* Half a step of the last digit given, evenly spread: step / sqrt 12. */
static double rounding_u_pct(const char *text)
{
	const char *point = strchr(text, '.');
	return pow(10, point ? -(double)strspn(point + 1, "0123456789") : 0) / sqrt(12);
}

static enum rc read_shown(struct ctl *c, char *text, struct salt_reading *r)
{
	size_t n = strlen(text);
	if (n > 1 && text[n - 1] == '%')
		text[n - 1] = '\0';
	if (!number_real(text, &r->shown_pct) || r->shown_pct < 0 || r->shown_pct > 103)
		return err_set(
			c->err, RC_INPUT, "\"%.20s\": what it shows over the salt, in %% RH", text);
	r->u_pct = rounding_u_pct(text);
	return RC_OK;
}

static enum rc read_entry(struct ctl *c, const char *temp, struct salt_entry *e)
{
	enum rc rc = RC_OK;
	if (c->argc % 2 == 0)
		return err_set(c->err, RC_USAGE, "usage: seasonctl " USAGE);
	if (!temp || !ctl_temperature(temp, &e->t_degc))
		return err_set(c->err, RC_USAGE,
			"--temp: the temperature of salt and sensor, such as --temp 22 or --temp "
			"72F");
	for (int i = 1; rc == RC_OK && i + 1 < c->argc; i += 2) {
		struct salt_reading *r = &e->at[e->n++];
		rc = read_salt(c, c->argv[i], &r->salt);
		if (rc == RC_OK)
			rc = read_shown(c, c->argv[i + 1], r);
	}
	return rc;
}

static enum rc refusal(struct ctl *c, enum salt_verdict verdict, const struct salt_entry *e)
{
	switch (verdict) {
	case SALT_GOOD:
		return RC_OK;
	case SALT_NO_POINT:
		return err_set(c->err, RC_INPUT,
			"--temp %g: the salts are known from 0 to 40 degC, k2co3 to 30, nabr from "
			"5",
			e->t_degc);
	case SALT_TOO_NEAR:
		return err_set(c->err, RC_INPUT,
			"the two salts are less than %.0f %% RH apart, or the readings stand the "
			"other way round: take nacl and mgcl2, or enter one of them",
			SALT_APART_PCT);
	case SALT_BAD_GAIN:
		return err_set(c->err, RC_INPUT,
			"gain %.3f lies outside %.2f to %.2f: wait longer and look again, or "
			"replace "
			"the sensor; nothing was stored",
			e->correction.check.c.gain, SALT_GAIN_LOW, SALT_GAIN_HIGH);
	case SALT_BAD_CHANGE:
		return err_set(c->err, RC_INPUT,
			"more than %.0f %% RH off: wait longer and look again, or replace the "
			"sensor; nothing was stored",
			SALT_CHANGE_MAX_PCT);
	}
	return RC_OK;
}

/* ---- words ---- */

static void print_point(const struct salt_reading *r, double t_degc)
{
	const struct salt_word *w = &salt_words()[r->salt];
	struct salt_point p = salt_point(r->salt, t_degc);
	double off = r->shown_pct - p.rh_pct, u = salt_reading_u_pct(r, t_degc);
	(void)printf("%s at %.1f degC: %.2f +- %.2f %% RH (Greenspan 1977); it shows %.2f, %+.2f "
		     "+- %.2f%s\n",
		w->title, t_degc, p.rh_pct, p.u_pct, r->shown_pct, off, u,
		fabs(off) < 2 * u ? ", no more than the check can tell" : "");
	(void)printf("  caution: %s\n", w->caution);
}

static void print_limits(const struct salt_entry *e)
{
	double low = 100, high = 0;
	for (size_t i = 0; i < e->n; i++) {
		double rh_pct = salt_point(e->at[i].salt, e->t_degc).rh_pct;
		low = fmin(low, rh_pct);
		high = fmax(high, rh_pct);
	}
	if (e->n == 1)
		(void)puts("  one salt tells nothing of the gain: with a second one, on the other "
			   "side of 50 % RH, more is known");
	else if (low > SALT_WHERE_PCT || high < SALT_WHERE_PCT)
		(void)printf("  both salts lie on one side of %.0f %% RH, where instruments live: "
			     "what holds there is extended from %.0f to %.0f %%\n",
			SALT_WHERE_PCT, low, high);
}

static void print_correction(struct ctl *c, const struct salt_entry *e)
{
	char when[24];
	const struct salt_correction *k = &e->correction.check.c;
	const struct sensor *sensor = settings_sensor(c->desk.set, c->argv[0]);
	zone_print_minute(engine_zone(c->desk.engine, sensor->place), e->correction.check.t_s, when,
		sizeof when);
	(void)printf("from %s: true = %.4f x shown %+.2f, +- %.2f %% RH at %.0f %%; 40 shown is "
		     "%.1f, 50 is %.1f, 60 is %.1f\n",
		when, k->gain, k->offset_pct, k->u_pct, SALT_WHERE_PCT, salt_apply(k, 40),
		salt_apply(k, 50), salt_apply(k, 60));
	print_limits(e);
	(void)puts("  between two checks the correction goes over evenly from one to the other; "
		   "after the last it is held and trusted less each year");
	(void)puts("  it counts when nothing moved any more: the last two readings, half an hour "
		   "apart, within 0.2 % RH and 0.2 K. A small sensor takes 20 minutes, a bulky "
		   "instrument an hour, a closed housing several");
	(void)puts("  caution: no wet salt may touch the sensor, metal or an instrument; away from "
		   "children and food; wash your hands");
}

/* The corrections there are. */
static enum rc list(struct ctl *c, int64_t id)
{
	struct store_correction *all = NULL;
	size_t n = 0;
	const struct sensor *sensor = settings_sensor(c->desk.set, c->argv[0]);
	enum rc rc = store_corrections(c->desk.store, id, &all, &n, c->err);
	for (size_t i = 0; i < n; i++) {
		char when[24];
		const struct salt_check *k = &all[i].check;
		zone_print_minute(
			engine_zone(c->desk.engine, sensor->place), k->t_s, when, sizeof when);
		(void)printf("%s  %.4f x shown %+.2f, +- %.2f %% RH; %s\n", when, k->c.gain,
			k->c.offset_pct, k->c.u_pct, all[i].text);
	}
	if (rc == RC_OK && n == 0)
		(void)printf("%s was never checked over salt\n", c->argv[0]);
	mem_free(all);
	return rc;
}

/* ---- the command ---- */

static enum rc put(struct ctl *c, void *arg)
{
	struct salt_entry *e = arg;
	struct finding f = { .subject_kind = CARE_OF_SENSOR,
		.t_s = e->correction.check.t_s,
		.kind = FINDING_CHECKED,
		.value = (double)NAN };
	(void)snprintf(f.subject, sizeof f.subject, "%s", c->argv[0]);
	(void)snprintf(f.text, sizeof f.text, "%s", e->correction.text);
	enum rc rc = store_correction_put(c->desk.store, e->sensor, &e->correction, NULL, c->err);
	return rc == RC_OK ? record_put_finding(c->desk.store, &f, NULL, c->err) : rc;
}

static void describe(struct salt_entry *e)
{
	char *text = e->correction.text;
	size_t size = sizeof e->correction.text, used = 0;
	for (size_t i = 0; i < e->n; i++) {
		const struct salt_reading *r = &e->at[i];
		used += (size_t)snprintf(text + used, size - used, "%s%s %.2f %% showed %.2f",
			i ? ", " : "", salt_words()[r->salt].name,
			salt_point(r->salt, e->t_degc).rh_pct, r->shown_pct);
	}
	(void)snprintf(text + used, size - used, " at %.1f degC", e->t_degc);
}

enum rc ctl_salt(struct ctl *c)
{
	struct salt_entry e = { .n = 0 };
	bool dry = ctl_flag(c, "dry-run");
	const char *temp = ctl_option(c, "temp");
	enum rc rc = ctl_arguments(c, USAGE, 1, 1 + 2 * POINTS);
	if (rc == RC_OK)
		rc = find_sensor(c, &e.sensor);
	if (rc == RC_OK && c->argc == 1)
		return list(c, e.sensor);
	if (rc == RC_OK)
		rc = read_entry(c, temp, &e);
	if (rc == RC_OK)
		rc = ctl_check_past(c, "--at", c->at_s);
	if (rc != RC_OK)
		return rc;
	e.correction.check.t_s = c->at_s;
	enum salt_verdict verdict = salt_correct(e.at, e.n, e.t_degc, &e.correction.check.c);
	for (size_t i = 0; verdict != SALT_NO_POINT && i < e.n; i++)
		print_point(&e.at[i], e.t_degc);
	rc = refusal(c, verdict, &e);
	if (rc != RC_OK)
		return rc;
	describe(&e);
	print_correction(c, &e);
	if (dry)
		(void)puts("nothing was stored");
	return dry ? RC_OK : ctl_transaction(c, put, &e);
}
