#include "daemon/ctl.h"

#include <math.h>
#include <stddef.h>
#include <string.h>
#include <unistd.h>

#include "core/number.h"

enum { REFUSALS_SHOWN = 50, ALIASES_MAX = 64 };

/* Options that fix a field of the layout; texts are copied, words of a field without size become their index. */
static const struct layout_option {
	const char *name;
	size_t offset, size;
	const char *words[5]; /* none: any text */
} layout_options[] = {
	{ "encoding", offsetof(struct layout, encoding), 0,
		{ "guess", "utf-8", "utf-16", "latin-1" } },
	{ "delimiter", offsetof(struct layout, delimiter), sizeof((struct layout *)0)->delimiter,
		{ "guess", "comma", "semicolon", "tab" } },
	{ "decimal", offsetof(struct layout, decimal), sizeof((struct layout *)0)->decimal,
		{ "guess", "point", "comma" } },
	{ "time", offsetof(struct layout, time), sizeof((struct layout *)0)->time, { 0 } },
	{ "clock", offsetof(struct layout, clock), sizeof((struct layout *)0)->clock, { 0 } },
	{ "format", offsetof(struct layout, format), sizeof((struct layout *)0)->format, { 0 } },
	{ "order", offsetof(struct layout, order), 0, { "guess", "ymd", "dmy", "mdy" } },
	{ "zone", offsetof(struct layout, zone), sizeof((struct layout *)0)->zone, { 0 } },
	{ "rh", offsetof(struct layout, rh), sizeof((struct layout *)0)->rh, { 0 } },
	{ "temp", offsetof(struct layout, temp), sizeof((struct layout *)0)->temp, { 0 } },
	{ "rh-unit", offsetof(struct layout, rh_unit), 0, { "guess", "percent", "fraction" } },
	{ "temp-unit", offsetof(struct layout, temp_unit), 0,
		{ "guess", "celsius", "fahrenheit" } },
	{ "sensor-column", offsetof(struct layout, sensor_column),
		sizeof((struct layout *)0)->sensor_column, { 0 } },
	{ "sensor", offsetof(struct layout, sensor), sizeof((struct layout *)0)->sensor, { 0 } },
};

static enum rc set_text(
	const struct layout_option *o, const char *value, struct layout *l, struct err *err)
{
	if (strlen(value) >= o->size)
		return err_set(err, RC_USAGE, "--%s: longer than %zu bytes", o->name, o->size - 1);
	memcpy((char *)l + o->offset, value, strlen(value) + 1);
	return RC_OK;
}

/* "guess" is 0, or no text. */
static enum rc set_word(
	const struct layout_option *o, const char *value, struct layout *l, struct err *err)
{
	for (int i = 0; o->words[i]; i++)
		if (strcmp(o->words[i], value) == 0) {
			if (o->size > 0)
				return set_text(o, i ? value : "", l, err);
			memcpy((char *)l + o->offset, &i, sizeof i);
			return RC_OK;
		}
	return err_set(err, RC_USAGE, "--%s %.40s: one of %s, %s%s%s", o->name, value, o->words[1],
		o->words[2], o->words[3] ? ", " : "", o->words[3] ? o->words[3] : "");
}

static enum rc read_options(struct ctl *c, struct layout *l)
{
	const char *name = ctl_option(c, "layout");
	if (name) {
		const struct layout *kept = settings_layout(c->desk.set, name);
		if (!kept)
			return err_set(
				c->err, RC_UNKNOWN, "layout \"%.40s\": not in the settings", name);
		*l = *kept;
	}
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < sizeof layout_options / sizeof layout_options[0];
		i++) {
		const struct layout_option *o = &layout_options[i];
		const char *value = ctl_option(c, o->name);
		if (value)
			rc = o->words[0] ? set_word(o, value, l, c->err)
					 : set_text(o, value, l, c->err);
	}
	const char *rows = ctl_option(c, "header-rows");
	int64_t n = -1;
	if (rc == RC_OK && rows && (!number_int(rows, &n) || n < 1 || n > 1000))
		rc = err_set(c->err, RC_USAGE, "--header-rows %.20s: 1..1000", rows);
	if (rows)
		l->header_rows = (int)n;
	if (rc == RC_OK && l->sensor[0] && l->sensor_column[0])
		rc = err_set(c->err, RC_USAGE,
			"sensor and sensor-column are both given: one of the two");
	if (rc == RC_OK && l->sensor[0] && !settings_sensor(c->desk.set, l->sensor))
		rc = err_set(c->err, RC_UNKNOWN, "sensor \"%s\": not in the settings", l->sensor);
	return rc;
}

static enum rc read_aliases(struct ctl *c, struct intake_alias *aliases, size_t *n)
{
	for (const char *pair; (pair = ctl_option(c, "as")) != NULL;) {
		/* argv belongs to us: split it where it stands */
		char *word = NULL;
		memcpy(&word, &pair, sizeof word);
		char *sensor = ctl_split(word);
		if (!sensor || !settings_sensor(c->desk.set, sensor))
			return err_set(c->err, RC_USAGE,
				"--as %.60s: write \"NAME IN THE FILE=SENSOR\" with a sensor of "
				"the settings",
				word);
		if (*n == ALIASES_MAX)
			return err_set(c->err, RC_USAGE, "more than %d --as", ALIASES_MAX);
		aliases[(*n)++] = (struct intake_alias){ word, sensor };
	}
	return RC_OK;
}

struct report {
	const char *path;
	int64_t refusals;
	bool progress, shown;
};

static void on_guess(void *arg, const char *text)
{
	(void)arg;
	(void)printf("  taken as  %s\n", text);
}

static void on_refused(void *arg, int64_t line, const char *reason)
{
	struct report *r = arg;
	if (++r->refusals > REFUSALS_SHOWN)
		return;
	if (line > 0)
		(void)printf("  %s:%lld: refused: %s\n", r->path, (long long)line, reason);
	else
		(void)printf("  refused: %s\n", reason);
}

static void on_progress(void *arg, int64_t done, int64_t all)
{
	struct report *r = arg;
	if (!r->progress)
		return;
	r->shown = true;
	(void)fprintf(stderr, "\r  %3.0f %%", all > 0 ? 100.0 * (double)done / (double)all : 0.0);
}

static enum rc import_one(struct ctl *c, struct intake_file *what)
{
	struct report r = { .path = what->path, .progress = !c->quiet && isatty(STDERR_FILENO) };
	const struct import_sink hear = {
		.arg = &r, .guess = on_guess, .refused = on_refused, .progress = on_progress
	};
	struct intake_result got;
	what->hear = &hear;
	(void)printf("%s\n", what->path);
	enum rc rc = intake_file(c->desk.intake, what, &got, c->err);
	if (r.shown)
		(void)fputs("\r       \r", stderr);
	if (r.refusals > REFUSALS_SHOWN)
		(void)printf(
			"  ... and %lld more refused\n", (long long)(r.refusals - REFUSALS_SHOWN));
	if (rc != RC_OK) {
		(void)puts("  nothing stored");
		return rc;
	}
	(void)printf("  rows read %lld, stored %lld, already known %lld, refused %lld, "
		     "questionable %lld\n",
		(long long)got.file.rows, (long long)got.store.stored, (long long)got.store.known,
		(long long)(got.file.refused + got.store.differs), (long long)got.store.flagged);
	if (got.unknown)
		(void)printf("  %zu sensor%s not in the settings, left out: \"%s\"%s\n",
			got.unknown, got.unknown == 1 ? "" : "s", got.example,
			got.unknown > 1 ? " and others" : "");
	return RC_OK;
}

enum rc ctl_import(struct ctl *c)
{
	struct layout known = { .header_rows = -1 };
	struct intake_alias aliases[ALIASES_MAX];
	size_t n_aliases = 0;
	enum rc rc = read_options(c, &known);
	if (rc == RC_OK)
		rc = read_aliases(c, aliases, &n_aliases);
	if (rc == RC_OK)
		rc = ctl_arguments(c,
			"import FILE... [--sensor NAME] [--as \"NAME IN THE FILE=SENSOR\"] [--zone "
			"ZONE] "
			"[--order ymd|dmy|mdy] [--layout NAME] ...",
			1, -1);
	if (rc != RC_OK)
		return rc;
	for (int i = 0; rc == RC_OK && i < c->argc; i++) {
		struct intake_file what = { .path = c->argv[i],
			.known = &known,
			.sensor = "",
			.aliases = aliases,
			.n_aliases = n_aliases,
			.now_s = c->now_s };
		rc = import_one(c, &what);
	}
	enum rc settled = ctl_changed(c); /* what was stored before a failure is followed too */
	return rc == RC_OK ? settled : rc;
}

/* `45.5`, `45.5%`, `0.455` is refused: a fraction is not what a person reads off. */
static bool read_rh(const char *text, double *rh_pct)
{
	char buf[32];
	size_t n = strlen(text);
	if (n >= sizeof buf)
		return false;
	memcpy(buf, text, n + 1);
	if (n > 0 && buf[n - 1] == '%')
		buf[n - 1] = '\0';
	return number_real(buf, rh_pct) && *rh_pct > 1 && *rh_pct <= 100;
}

bool ctl_temperature(const char *text, double *t_degc)
{
	char buf[32];
	size_t n = strlen(text);
	if (n == 0 || n >= sizeof buf)
		return false;
	memcpy(buf, text, n + 1);
	char unit = buf[n - 1];
	if (unit == 'C' || unit == 'F')
		buf[n - 1] = '\0';
	if (!number_real(buf, t_degc))
		return false;
	if (unit == 'F')
		*t_degc = (*t_degc - 32) / 1.8; /* exact definition */
	return *t_degc >= -40 && *t_degc <= 60;
}

enum rc ctl_log(struct ctl *c)
{
	double rh_pct = 0, t_degc = 0;
	enum rc rc = ctl_arguments(c, "log SENSOR RH [TEMPERATURE] [--at TIME]", 2, 3);
	if (rc != RC_OK)
		return rc;
	if (!read_rh(c->argv[1], &rh_pct))
		return err_set(
			c->err, RC_USAGE, "humidity \"%.20s\": percent, over 1 to 100", c->argv[1]);
	if (c->argc == 3 && !ctl_temperature(c->argv[2], &t_degc))
		return err_set(c->err, RC_USAGE, "temperature \"%.20s\": -40..60 degC, or with F",
			c->argv[2]);
	if (c->at_s > c->now_s + 300)
		return err_set(
			c->err, RC_INPUT, "a reading cannot be made in the future: check --at");
	struct quality_reading r = {
		.t_s = c->at_s,
		.rh_cpct = (int32_t)lround(rh_pct * 100),
		.temp_cdegc = c->argc == 3 ? (int32_t)lround(t_degc * 100) : QUALITY_NO_TEMP,
	};
	struct store_count count = { 0 };
	rc = intake_readings(c->desk.intake, c->argv[0], &r, 1, c->now_s, &count, c->err);
	if (rc == RC_OK && count.differs)
		rc = err_set(c->err, RC_INPUT,
			"sensor \"%s\" has another reading at that second: the first is kept",
			c->argv[0]);
	return rc == RC_OK ? ctl_changed(c) : rc;
}
