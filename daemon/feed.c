#include "daemon/feed.h"

#include <inttypes.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/kernel.h"
#include "daemon/spool.h"

enum { LONGEST_DELAY_S = 3600 };

struct feed {
	struct feed_owner owner;
	const struct source *source;
	struct spool *spool; /* spool only */
	struct timer timer; /* kernel only */
	int64_t delay_s; /* kernel: to the next reading after a failure; 0: all is well */
	struct err spool_err; /* spool: the last pass's first failure */
	size_t n_held;
	struct quality_reading *held; /* kernel only */
};

/* ---- kernel ---- */

static void hold(struct feed *f, const struct quality_reading *r)
{
	if (f->n_held == FEED_HELD_MAX) {
		memmove(f->held, f->held + 1, (FEED_HELD_MAX - 1) * sizeof *f->held);
		f->n_held--;
		log_line(f->owner.app->log, LEVEL_ERROR, f->source->name,
			"source \"%s\": the store took nothing for long: the oldest reading held "
			"is lost",
			f->source->name);
	}
	f->held[f->n_held++] = *r;
}

static enum rc store_held(struct feed *f, int64_t now_s, struct err *err)
{
	if (f->n_held == 0)
		return RC_OK;
	enum rc rc = app_take_readings(f->owner.app, f->source, f->held, f->n_held, now_s, err);
	if (rc == RC_OK) {
		f->n_held = 0;
		f->owner.fed(f->owner.arg);
	}
	return rc;
}

static enum rc read_kernel(struct feed *f, int64_t now_s, struct err *err)
{
	const struct kernel_at where = {
		.root = f->source->path,
		.chip = f->source->chip,
		.label = f->source->label,
		.unit = f->source->unit,
	};
	struct quality_reading r;
	enum rc rc = kernel_read(&where, now_s, &r, err);
	if (rc == RC_OK)
		hold(f, &r);
	return rc == RC_OK ? store_held(f, now_s, err) : rc;
}

static void plan(struct feed *f, enum rc rc)
{
	int64_t every_s = f->source->interval_s;
	int64_t most_s = every_s > LONGEST_DELAY_S ? every_s : LONGEST_DELAY_S;
	f->delay_s = rc == RC_OK ? 0 : f->delay_s ? f->delay_s * 2 : every_s;
	if (f->n_held > 0) /* the chip is well: its rhythm stays */
		f->delay_s = every_s;
	if (f->delay_s > most_s)
		f->delay_s = most_s;
	loop_every(f->owner.loop, &f->timer, (f->delay_s ? f->delay_s : every_s) * 1000,
		every_s * 1000);
}

static void poll(void *arg, int64_t now_s)
{
	struct feed *f = arg;
	struct err err = { 0 };
	int64_t was_s = f->delay_s;
	enum rc rc = read_kernel(f, now_s, &err);
	if (rc == RC_OK && !was_s)
		return; /* the timer goes on by itself */
	plan(f, rc);
	if (rc == RC_OK)
		log_line(f->owner.app->log, LEVEL_NOTICE, f->source->name,
			"source \"%s\": reads again", f->source->name);
	else
		log_line(f->owner.app->log, LEVEL_WARNING, f->source->name,
			"source \"%s\": %s, retrying in %" PRId64 " s", f->source->name, err.text,
			f->delay_s);
}

/* ---- spool ---- */

static enum rc take(void *arg, const char *path, char *summary, size_t n, struct err *err)
{
	struct feed *f = arg;
	int64_t now_s = clock_now_s(f->owner.app->clock);
	enum rc rc = app_take_file(f->owner.app, f->source, path, now_s, summary, n, err);
	if (rc == RC_OK)
		f->owner.fed(f->owner.arg);
	return rc;
}

static void news(void *arg, enum spool_news what, const char *name, const char *text)
{
	struct feed *f = arg;
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
	(void)err_set(&f->spool_err,
		what == SPOOL_FAILED  ? RC_INPUT
		: what == SPOOL_LATER ? RC_BUSY
				      : RC_IO,
		"source \"%s\": %s", source, text);
}

static enum rc start_spool(struct feed *f, struct err *err)
{
	f->spool = mem_new(1, sizeof *f->spool);
	if (!f->spool)
		return err_set(err, RC_MEM, "source \"%s\": out of memory", f->source->name);
	f->spool->folder = f->source->path;
	/* a replay takes what lies there at its start; later looks are for whoever adds to it */
	f->spool->interval_s = f->owner.app->replay ? DAY_S : f->source->interval_s;
	f->spool->quiet_s = f->owner.app->replay ? 0 : SPOOL_QUIET_S;
	f->spool->take = take;
	f->spool->news = news;
	f->spool->arg = f;
	return spool_start(f->spool, f->owner.loop, err);
}

/* ---- both ---- */

static enum rc start_kernel(struct feed *f, struct err *err)
{
	f->held = mem_new(FEED_HELD_MAX, sizeof *f->held);
	if (!f->held)
		return err_set(err, RC_MEM, "source \"%s\": out of memory", f->source->name);
	f->timer = (struct timer){ .fire = poll, .arg = f };
	if (!f->owner.app->replay) /* a replay has its readings; the chip shows today's */
		loop_every(f->owner.loop, &f->timer, 0, f->source->interval_s * 1000);
	return RC_OK;
}

enum rc feed_new(const struct feed_owner *owner, const struct source *source, struct feed **out,
	struct err *err)
{
	struct feed *f = mem_new(1, sizeof *f);
	if (!f)
		return err_set(err, RC_MEM, "source \"%s\": out of memory", source->name);
	f->owner = *owner;
	f->source = source;
	enum rc rc = source->kind == SOURCE_KERNEL ? start_kernel(f, err) : start_spool(f, err);
	if (rc != RC_OK)
		feed_free(f);
	else
		*out = f;
	return rc;
}

void feed_free(struct feed *f)
{
	if (!f)
		return;
	struct err err = { 0 };
	if (store_held(f, clock_now_s(f->owner.app->clock), &err) != RC_OK)
		log_line(f->owner.app->log, LEVEL_ERROR, f->source->name,
			"source \"%s\": %s, %zu readings are lost", f->source->name, err.text,
			f->n_held);
	loop_unset(&f->timer);
	if (f->spool)
		spool_stop(f->spool);
	mem_free(f->spool);
	mem_free(f->held);
	mem_free(f);
}

static enum rc kernel_now(struct feed *f, int64_t now_s, struct err *err)
{
	struct err why = { 0 };
	enum rc rc = f->owner.app->replay ? RC_OK : read_kernel(f, now_s, &why);
	if (rc == RC_OK)
		return RC_OK;
	log_line(f->owner.app->log, LEVEL_WARNING, f->source->name, "source \"%s\": %s",
		f->source->name, why.text);
	return err_set(err, rc, "source \"%s\": %s", f->source->name, why.text);
}

static enum rc spool_now(struct feed *f, int64_t now_s, struct err *err)
{
	f->spool_err = (struct err){ 0 };
	do
		spool_pass(f->spool, now_s);
	while (f->spool->more && f->spool_err.code != RC_BUSY);
	if (f->spool->waiting)
		log_line(f->owner.app->log, LEVEL_NOTICE, f->source->name,
			"source \"%s\": %zu files changed under %d s ago and are left for the next "
			"time",
			f->source->name, f->spool->waiting, SPOOL_QUIET_S);
	if (f->spool_err.code != RC_OK)
		return err_set(err, f->spool_err.code, "%s", f->spool_err.text);
	return RC_OK;
}

enum rc feed_now(struct feed *f, int64_t now_s, struct err *err)
{
	return f->source->kind == SOURCE_KERNEL ? kernel_now(f, now_s, err)
						: spool_now(f, now_s, err);
}
