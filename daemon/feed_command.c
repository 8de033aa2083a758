/* A program that prints readings, run at its interval. */
#include "daemon/feed_int.h"

#include <inttypes.h>
#include <stdlib.h>

#include "core/mem.h"
#include "daemon/child.h"

struct runner {
	struct feed *feed;
	struct pick *pick;
	struct timer timer;
	struct child *child; /* NULL: not running */
	int failures; /* in a row */
	struct feed_held held;
};

/* A run to its end, in a loop of its own. */
struct one_run {
	struct runner *runner;
	struct loop *loop;
	enum rc rc;
	struct err why;
};

static enum rc launch(struct runner *r, struct loop *l,
	void (*ended)(void *arg, const struct child_end *end, int64_t now_s), void *arg,
	struct child **out, struct err *err)
{
	const struct source *source = r->feed->source;
	struct child_how how = {
		.program = source->program,
		.time_limit_s = source->time_limit_s,
		.size_limit = (size_t)source->size_limit,
	};
	for (size_t i = 0; i < ARGUMENTS_MAX && source->arguments[i][0]; i++)
		how.arguments[i] = source->arguments[i];
	return child_start(l, &how, ended, arg, out, err);
}

static enum rc take(struct runner *r, const struct child_end *end, int64_t now_s, struct err *err)
{
	if (end->rc != RC_OK)
		return err_set(err, end->rc, "%s", end->why.text);
	struct pick_result found;
	const char *name = r->feed->source->name;
	enum rc rc = feed_payload(r->feed, r->pick, NULL, end->bytes ? end->bytes : "", end->n,
		now_s, &r->held, &found, err);
	if (rc == RC_OK && found.absent)
		log_line(r->feed->owner.app->log, LEVEL_NOTICE, name,
			"source \"%s\": %zu values are missing: %s", name, found.absent,
			found.example);
	return rc;
}

/* While readings wait for the store the program is well: its rhythm stays. */
static void failed(struct runner *r, const char *why, int64_t now_s)
{
	const struct source *source = r->feed->source;
	r->failures = r->held.n > 0 ? 1 : r->failures + 1;
	int64_t delay_s = feed_delay_s(source->interval_s, r->failures);
	feed_failed(r->feed, why, now_s);
	log_line(r->feed->owner.app->log, LEVEL_WARNING, source->name,
		"source \"%s\": %s, running it again in %" PRId64 " s", source->name, why, delay_s);
	loop_after(r->feed->owner.loop, &r->timer, delay_s * 1000);
}

static void ended(void *arg, const struct child_end *end, int64_t now_s)
{
	struct runner *r = arg;
	struct err err = { 0 };
	r->child = NULL;
	if (take(r, end, now_s, &err) != RC_OK) {
		failed(r, err.text, now_s);
		return;
	}
	if (r->failures)
		log_line(r->feed->owner.app->log, LEVEL_NOTICE, r->feed->source->name,
			"source \"%s\": works again", r->feed->source->name);
	r->failures = 0;
}

/* The next run is planned at the beginning of this one, so that the rhythm does not depend on how long it takes. */
static void due(void *arg, int64_t now_s)
{
	struct runner *r = arg;
	const struct source *source = r->feed->source;
	struct err err = { 0 };
	int64_t jitter_ms = arc4random_uniform((uint32_t)source->jitter_s * 1000 + 1);
	loop_after(r->feed->owner.loop, &r->timer, source->interval_s * 1000 + jitter_ms);
	if (r->child)
		return; /* it may take longer than the interval */
	if (launch(r, r->feed->owner.loop, ended, r, &r->child, &err) != RC_OK)
		failed(r, err.text, now_s);
}

static enum rc start(struct feed *f, void **work, struct err *err)
{
	if (f->source->program[0] != '/')
		return err_set(err, RC_CONFIG,
			"program: \"%s\" starts from the current folder: an absolute path",
			f->source->program);
	struct runner *r = mem_new(1, sizeof *r);
	if (!r)
		return err_set(err, RC_MEM, "out of memory");
	*r = (struct runner){ .feed = f, .timer = { .fire = due, .arg = r } };
	enum rc rc = pick_new(f->owner.app->desk.set, f->source, &r->pick, err);
	if (rc != RC_OK) {
		mem_free(r);
		return rc;
	}
	if (!f->owner.app->replay)
		loop_after(f->owner.loop, &r->timer, 0);
	*work = r;
	return RC_OK;
}

static void stop(struct feed *f, void *work)
{
	struct runner *r = work;
	loop_unset(&r->timer);
	child_kill(r->child);
	feed_end_held(f, &r->held);
	pick_free(r->pick);
	mem_free(r);
}

static void ended_now(void *arg, const struct child_end *end, int64_t now_s)
{
	struct one_run *one = arg;
	one->rc = take(one->runner, end, now_s, &one->why);
	loop_stop(one->loop);
}

static enum rc run_once(struct runner *r, struct one_run *one, struct err *err)
{
	struct child *child = NULL;
	enum rc rc = loop_new(r->feed->owner.app->clock, &one->loop, err);
	if (rc == RC_OK)
		rc = launch(r, one->loop, ended_now, one, &child, err);
	if (rc == RC_OK)
		rc = loop_run(one->loop, 0, err);
	if (rc == RC_OK && one->rc != RC_OK)
		rc = err_set(err, one->rc, "%s", one->why.text);
	loop_free(one->loop);
	return rc;
}

static enum rc now(struct feed *f, void *work, int64_t now_s, struct err *err)
{
	struct one_run one = { .runner = work };
	struct err why = { 0 };
	enum rc rc = f->owner.app->replay ? RC_OK : run_once(work, &one, &why);
	if (rc == RC_OK)
		return RC_OK;
	feed_failed(f, why.text, now_s);
	log_line(f->owner.app->log, LEVEL_WARNING, f->source->name, "source \"%s\": %s",
		f->source->name, why.text);
	return err_set(err, rc, "source \"%s\": %s", f->source->name, why.text);
}

const struct feed_kind feed_command = { start, stop, now };
