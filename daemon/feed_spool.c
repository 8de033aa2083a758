/* A watched folder of exports. */
#include "daemon/feed_int.h"

#include <string.h>

#include "core/mem.h"
#include "daemon/spool.h"

struct folder {
	struct feed *feed;
	struct spool spool;
	struct err why; /* the last pass's first failure */
};

static enum rc take(void *arg, const char *path, char *summary, size_t n, struct err *err)
{
	struct folder *o = arg;
	struct feed *f = o->feed;
	int64_t now_s = clock_now_s(f->owner.app->clock);
	enum rc rc = app_take_file(f->owner.app, f->source, path, now_s, summary, n, err);
	if (rc == RC_OK)
		f->owner.fed(f->owner.arg);
	return rc;
}

static void news(void *arg, enum spool_news what, const char *name, const char *text)
{
	struct folder *o = arg;
	struct feed *f = o->feed;
	struct log *log = f->owner.app->log;
	const char *source = f->source->name;
	switch (what) {
	case SPOOL_DONE:
		log_line(log, LEVEL_INFO, source, "source \"%s\": %s: %s", source, name, text);
		return;
	case SPOOL_FAILED:
		log_line(log, LEVEL_WARNING, source, "source \"%s\": %s, moved to failed/", source,
			text);
		break;
	case SPOOL_LATER:
		log_line(log, LEVEL_WARNING, source, "source \"%s\": %s: %s, trying again soon",
			source, name, text);
		break;
	case SPOOL_STUCK:
		log_line(log, LEVEL_WARNING, source,
			"source \"%s\": %s, trying again at the next look", source, text);
		break;
	}
	(void)err_set(&o->why,
		what == SPOOL_FAILED  ? RC_INPUT
		: what == SPOOL_LATER ? RC_BUSY
				      : RC_IO,
		"source \"%s\": %s", source, text);
}

static enum rc start(struct feed *f, void **work, struct err *err)
{
	struct folder *o = mem_new(1, sizeof *o);
	if (!o)
		return err_set(err, RC_MEM, "source \"%s\": out of memory", f->source->name);
	*o = (struct folder){ .feed = f };
	o->spool.folder = f->source->path;
	/* a replay takes what lies there at its start; later looks are for whoever adds to it */
	o->spool.interval_s = f->owner.app->replay ? DAY_S : f->source->interval_s;
	o->spool.quiet_s = f->owner.app->replay ? 0 : SPOOL_QUIET_S;
	o->spool.take = take;
	o->spool.news = news;
	o->spool.arg = o;
	enum rc rc = spool_start(&o->spool, f->owner.loop, err);
	if (rc == RC_OK)
		*work = o;
	else
		mem_free(o);
	return rc;
}

static void stop(struct feed *f, void *work)
{
	struct folder *o = work;
	(void)f;
	spool_stop(&o->spool);
	mem_free(o);
}

static enum rc now(struct feed *f, void *work, int64_t now_s, struct err *err)
{
	struct folder *o = work;
	o->why = (struct err){ 0 };
	do
		spool_pass(&o->spool, now_s);
	while (o->spool.more && o->why.code != RC_BUSY);
	if (o->spool.waiting)
		log_line(f->owner.app->log, LEVEL_NOTICE, f->source->name,
			"source \"%s\": %zu files changed under %d s ago and are left for the next "
			"time",
			f->source->name, o->spool.waiting, SPOOL_QUIET_S);
	if (o->why.code != RC_OK)
		return err_set(err, o->why.code, "%s", o->why.text);
	return RC_OK;
}

const struct feed_kind feed_spool = { start, stop, now };
