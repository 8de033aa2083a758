/* A humidity chip of the kernel, read at its interval. */
#include "daemon/feed_int.h"

#include <inttypes.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/kernel.h"

struct chip {
	struct feed *feed;
	struct timer timer;
	int failures; /* in a row */
	struct feed_held held;
};

static enum rc read_chip(struct chip *c, int64_t now_s, struct err *err)
{
	const struct source *source = c->feed->source;
	const struct kernel_at where = {
		.root = source->path,
		.chip = source->chip,
		.label = source->label,
		.unit = source->unit,
	};
	struct intake_sample s = { .battery_pct = -1 };
	enum rc rc = kernel_read(&where, now_s, &s.r, err);
	if (rc != RC_OK) {
		feed_failed(c->feed, err->text, now_s);
		return rc;
	}
	memcpy(s.sensor, source->sensor, sizeof s.sensor);
	feed_hold(c->feed, &c->held, &s);
	return feed_store_held(c->feed, &c->held, now_s, err);
}

/* While readings wait for the store the chip is well: its rhythm stays. */
static int64_t plan(struct chip *c, enum rc rc)
{
	int64_t every_s = c->feed->source->interval_s;
	c->failures = rc == RC_OK ? 0 : c->held.n > 0 ? 1 : c->failures + 1;
	int64_t delay_s = c->failures ? feed_delay_s(every_s, c->failures) : every_s;
	loop_every(c->feed->owner.loop, &c->timer, delay_s * 1000, every_s * 1000);
	return delay_s;
}

static void poll(void *arg, int64_t now_s)
{
	struct chip *c = arg;
	const char *name = c->feed->source->name;
	struct log *log = c->feed->owner.app->log;
	struct err err = { 0 };
	bool was_well = c->failures == 0;
	enum rc rc = read_chip(c, now_s, &err);
	if (rc == RC_OK && was_well)
		return; /* the timer goes on by itself */
	int64_t delay_s = plan(c, rc);
	if (rc == RC_OK)
		log_line(log, LEVEL_NOTICE, name, "source \"%s\": reads again", name);
	else
		log_line(log, LEVEL_WARNING, name, "source \"%s\": %s, retrying in %" PRId64 " s",
			name, err.text, delay_s);
}

static enum rc start(struct feed *f, void **work, struct err *err)
{
	struct chip *c = mem_new(1, sizeof *c);
	if (!c)
		return err_set(err, RC_MEM, "source \"%s\": out of memory", f->source->name);
	*c = (struct chip){ .feed = f, .timer = { .fire = poll, .arg = c } };
	if (!f->owner.app->replay) /* a replay has its readings; the chip shows today's */
		loop_every(f->owner.loop, &c->timer, 0, f->source->interval_s * 1000);
	*work = c;
	return RC_OK;
}

static void stop(struct feed *f, void *work)
{
	struct chip *c = work;
	feed_end_held(f, &c->held);
	loop_unset(&c->timer);
	mem_free(c);
}

static enum rc now(struct feed *f, void *work, int64_t now_s, struct err *err)
{
	struct err why = { 0 };
	enum rc rc = f->owner.app->replay ? RC_OK : read_chip(work, now_s, &why);
	if (rc == RC_OK)
		return RC_OK;
	log_line(f->owner.app->log, LEVEL_WARNING, f->source->name, "source \"%s\": %s",
		f->source->name, why.text);
	return err_set(err, rc, "source \"%s\": %s", f->source->name, why.text);
}

const struct feed_kind feed_kernel = { start, stop, now };
