/* The local intake: readings that programs hand in. */
#include "daemon/feed_int.h"

#include <inttypes.h>

#include "core/mem.h"
#include "daemon/gate_http.h"
#include "daemon/gate_unix.h"

enum { FIRST_DELAY_S = 10 };

struct intake_doors {
	struct feed *feed;
	struct gate gate;
	struct gate_unix *local; /* NULL: closed */
	struct gate_http *http;
	struct timer timer; /* opening, and trying again */
	int failures; /* in a row */
};

/* Each door that is asked for and not open yet. The first error is told. */
static enum rc open_doors(struct intake_doors *d, struct err *err)
{
	const struct source *source = d->feed->source;
	enum rc rc = RC_OK, other = RC_OK;
	if (source->path[0] && !d->local)
		rc = gate_unix_new(&d->gate, &d->local, err);
	if (source->listen[0] && !d->http)
		other = gate_http_new(&d->gate, &d->http, err);
	return rc != RC_OK ? rc : other;
}

static void due(void *arg, int64_t now_s)
{
	struct intake_doors *d = arg;
	const char *name = d->feed->source->name;
	struct log *log = d->feed->owner.app->log;
	struct err err = { 0 };
	if (open_doors(d, &err) == RC_OK) {
		if (d->failures)
			log_line(log, LEVEL_NOTICE, name, "source \"%s\": open again", name);
		d->failures = 0;
		return;
	}
	int64_t delay_s = feed_delay_s(FIRST_DELAY_S, ++d->failures);
	feed_failed(d->feed, err.text, now_s);
	log_line(log, LEVEL_WARNING, name, "source \"%s\": %s, retrying in %" PRId64 " s", name,
		err.text, delay_s);
	loop_after(d->feed->owner.loop, &d->timer, delay_s * 1000);
}

static enum rc start(struct feed *f, void **work, struct err *err)
{
	struct intake_doors *d = mem_new(1, sizeof *d);
	if (!d)
		return err_set(err, RC_MEM, "out of memory");
	*d = (struct intake_doors){
		.feed = f, .gate = { .feed = f }, .timer = { .fire = due, .arg = d }
	};
	enum rc rc = pick_new(f->owner.app->desk.set, f->source, &d->gate.pick, err);
	if (rc != RC_OK) {
		mem_free(d);
		return rc;
	}
	if (!f->owner.app->replay) /* a replay has its readings */
		loop_after(f->owner.loop, &d->timer, 0);
	*work = d;
	return RC_OK;
}

static void stop(struct feed *f, void *work)
{
	struct intake_doors *d = work;
	(void)f;
	loop_unset(&d->timer);
	gate_unix_free(d->local);
	gate_http_free(d->http);
	pick_free(d->gate.pick);
	mem_free(d);
}

/* Nothing can be asked for: it comes when others bring it. */
static enum rc now(struct feed *f, void *work, int64_t now_s, struct err *err)
{
	(void)f, (void)work, (void)now_s, (void)err;
	return RC_OK;
}

const struct feed_kind feed_socket = { start, stop, now };
