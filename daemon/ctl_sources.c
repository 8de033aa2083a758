/* What sources did, and what one of them would bring. */
#include "daemon/ctl.h"

#include <string.h>

#include "core/mem.h"
#include "daemon/feed.h"
#include "daemon/settings_rows.h"
#include "daemon/text.h"

/* Where it reads; a query in a URL may hold a token and is left out. */
static void print_where(const struct source *s)
{
	switch (s->kind) {
	case SOURCE_KERNEL:
		(void)printf("%s%s%s", s->chip, s->label[0] ? " " : "", s->label);
		break;
	case SOURCE_HTTP:
		(void)printf("%.*s", (int)strcspn(s->url, "?"), s->url);
		break;
	case SOURCE_MQTT:
		(void)printf("%s", s->host);
		break;
	case SOURCE_BLUETOOTH:
		(void)printf("%s", s->adapter);
		break;
	case SOURCE_COMMAND:
		(void)printf("%s", s->program);
		break;
	case SOURCE_SPOOL:
	case SOURCE_SOCKET:
		(void)printf("%s", s->path[0] ? s->path : s->listen);
		break;
	}
}

static enum rc print_source(struct ctl *c, const struct source *s)
{
	struct store_source did;
	bool found = false;
	char tried[24], worked[24];
	const struct zone *z = engine_zone(c->desk.engine, NULL);
	enum rc rc = store_source(c->desk.store, s->name, &did, &found, c->err);
	if (rc != RC_OK)
		return rc;
	(void)printf("%-16s %s, ", s->name, settings_kinds[s->kind]);
	print_where(s);
	(void)puts("");
	if (!found) {
		(void)puts("    nothing heard of it yet");
		return RC_OK;
	}
	zone_print_minute(z, did.tried_s, tried, sizeof tried);
	(void)printf("    last try %s", tried);
	if (did.worked_s == TIME_NEVER) {
		(void)printf(", never worked");
	} else {
		zone_print_minute(z, did.worked_s, worked, sizeof worked);
		(void)printf(", last worked %s", worked);
	}
	(void)printf("; readings %lld, failures %lld\n", (long long)did.readings,
		(long long)did.failures);
	if (did.error[0])
		(void)printf("    %s\n", did.error);
	return RC_OK;
}

enum rc ctl_sources(struct ctl *c)
{
	const struct settings *set = c->desk.set;
	enum rc rc = ctl_arguments(c, "sources", 0, 0);
	for (size_t i = 0; rc == RC_OK && i < set->n_sources; i++)
		rc = print_source(c, &set->sources[i]);
	if (rc == RC_OK && set->n_sources == 0)
		(void)puts("no sources in the settings: readings come by import and log");
	return rc;
}

/* ---- trying ---- */

struct trial {
	const struct zone *zone;
	size_t shown;
};

static void print_sample(struct trial *t, const struct intake_sample *s)
{
	char when[24];
	zone_print_minute(t->zone, s->r.t_s, when, sizeof when);
	(void)printf("  %-16s %s  %6.2f %% RH", s->sensor, when, s->r.rh_cpct / 100.0);
	if (s->r.temp_cdegc != QUALITY_NO_TEMP)
		(void)printf("  %6.2f degC", s->r.temp_cdegc / 100.0);
	if (s->battery_pct >= 0)
		(void)printf("  battery %d %%", s->battery_pct);
	(void)puts(s->sent ? "  (its own time)" : "");
}

enum { SHOWN_MAX = 20 };

static void show(void *arg, const struct intake_sample *samples, size_t n)
{
	struct trial *t = arg;
	for (size_t i = 0; i < n; i++, t->shown++)
		if (t->shown < SHOWN_MAX)
			print_sample(t, &samples[i]);
}

static void no_fed(void *arg)
{
	(void)arg;
}

static enum rc try_feed(struct ctl *c, const struct source *source)
{
	struct clock clock = clock_real();
	struct log log;
	struct loop *loop = NULL;
	struct feed *feed = NULL;
	struct trial trial = { engine_zone(c->desk.engine, NULL), 0 };
	log_init(&log, 2, &clock);
	struct app app = { .clock = &clock, .log = &log, .desk = c->desk };
	enum rc rc = loop_new(&clock, &loop, c->err);
	const struct feed_owner owner = {
		.app = &app, .loop = loop, .fed = no_fed, .show = show, .arg = &trial
	};
	if (rc == RC_OK)
		rc = feed_new(&owner, source, &feed, c->err);
	if (rc == RC_OK)
		rc = feed_now(feed, c->now_s, c->err);
	if (trial.shown > SHOWN_MAX)
		(void)printf("  ... and %zu more\n", trial.shown - SHOWN_MAX);
	if (rc == RC_OK)
		(void)printf("%zu reading%s would be stored; nothing was\n", trial.shown,
			trial.shown == 1 ? "" : "s");
	feed_free(feed);
	loop_free(loop);
	return rc;
}

static enum rc no_such_source(struct ctl *c, const char *name)
{
	const struct settings *set = c->desk.set;
	const char *names[SOURCES_MAX];
	for (size_t i = 0; i < set->n_sources; i++)
		names[i] = set->sources[i].name;
	const char *near = faults_nearest(name, names, set->n_sources);
	return err_set(c->err, RC_UNKNOWN, "source \"%.40s\": not in the settings%s%s%s", name,
		near ? ": did you mean " : "", near ? near : "", near ? "?" : "");
}

enum rc ctl_try(struct ctl *c)
{
	enum rc rc = ctl_arguments(c, "try SOURCE", 1, 1);
	const struct source *source = rc == RC_OK ? settings_source(c->desk.set, c->argv[0]) : NULL;
	if (rc != RC_OK)
		return rc;
	if (!source)
		return no_such_source(c, c->argv[0]);
	if (source->kind == SOURCE_SPOOL || source->kind == SOURCE_SOCKET)
		return err_set(c->err, RC_USAGE,
			"source \"%s\": a %s waits for what others bring: %s", source->name,
			settings_kinds[source->kind],
			source->kind == SOURCE_SPOOL ? "try a file with `seasonctl import`"
						     : "hand it a reading");
	return try_feed(c, source);
}
