/* A page that is fetched at its interval. */
#include "daemon/feed_int.h"

#include <inttypes.h>
#include <string.h>

#include "core/hash.h"
#include "core/mem.h"
#include "daemon/pick.h"

enum {
	FIRST_SPREAD_S = 60, /* after a start, so that not all come at once and none has to wait for
			      * a long interval */
	RETRY_MOST_S = 3600 /* that a server can ask for, or the interval when that is longer */
};

struct site {
	struct feed *feed;
	struct timer timer;
	struct pick *pick;
	struct fetch_page *page; /* NULL in a replay, and when only tried */
	bool bears_times; /* the page says when its readings were made */
	int64_t due_ms; /* of the rhythm, monotonic; jitter comes on top and does not add up */
	uint64_t tries;
	int failures; /* in a row, while the server gives no page that can be read */
	bool ill; /* failed, and told so */
	bool lacking; /* some stream found no value, and told so */
	char etag[FETCH_ETAG_SIZE]; /* of the last page whose readings are stored */
	size_t n_held;
	struct intake_sample *held; /* readings the store did not take; NULL: none */
};

/* ---- readings ---- */

/* Keeps the newest FEED_HELD_MAX. */
static void hold(struct site *s, const struct intake_sample *samples, size_t n)
{
	if (!s->held)
		s->held = mem_new(FEED_HELD_MAX, sizeof *s->held);
	size_t lost = s->n_held + n > FEED_HELD_MAX ? s->n_held + n - FEED_HELD_MAX : 0;
	size_t old = lost < s->n_held ? lost : s->n_held, skip = lost - old;
	if (!s->held)
		lost = n;
	if (lost)
		log_line(s->feed->owner.app->log, LEVEL_ERROR, s->feed->source->name,
			"source \"%s\": the store takes nothing: the oldest %zu readings held are "
			"lost",
			s->feed->source->name, lost);
	if (!s->held)
		return;
	memmove(s->held, s->held + old, (s->n_held - old) * sizeof *s->held);
	s->n_held -= old;
	memcpy(s->held + s->n_held, samples + skip, (n - skip) * sizeof *s->held);
	s->n_held += n - skip;
}

static enum rc store_held(struct site *s, int64_t now_s, struct err *err)
{
	if (s->n_held == 0)
		return RC_OK;
	enum rc rc = feed_take(s->feed, s->held, s->n_held, now_s, err);
	if (rc != RC_OK)
		return rc;
	mem_free(s->held);
	s->held = NULL;
	s->n_held = 0;
	return RC_OK;
}

static enum rc put_away(struct site *s, const struct intake_sample *samples, size_t n,
	int64_t now_s, struct err *err)
{
	enum rc rc = store_held(s, now_s, err);
	if (rc == RC_OK)
		rc = feed_take(s->feed, samples, n, now_s, err);
	if (rc != RC_OK && n)
		hold(s, samples, n);
	return rc;
}

static void tell_lacking(struct site *s, const struct pick_result *r)
{
	struct log *log = s->feed->owner.app->log;
	const char *name = s->feed->source->name;
	if (r->absent && !s->lacking)
		log_line(log, LEVEL_WARNING, name,
			"source \"%s\": %zu values are not there or no values: %s", name, r->absent,
			r->example);
	else if (!r->absent && s->lacking)
		log_line(log, LEVEL_NOTICE, name, "source \"%s\": all its values are there again",
			name);
	s->lacking = r->absent > 0;
}

static enum rc take_body(
	struct site *s, const struct fetch_answer *a, int64_t now_s, struct err *err)
{
	struct pick_result result = { 0 };
	struct intake_sample *samples = mem_new(PICK_SAMPLES_MAX, sizeof *samples);
	if (!samples)
		return err_set(err, RC_MEM, "out of memory");
	enum rc rc = pick_payload(s->pick, NULL, a->n ? a->body : "", a->n, now_s, samples,
		PICK_SAMPLES_MAX, &result, err);
	s->failures = rc == RC_OK ? 0 : s->failures + 1;
	if (rc == RC_OK && result.n == 0)
		rc = err_set(err, RC_INPUT, "the page holds no reading: %s", result.example);
	else if (rc == RC_OK) {
		tell_lacking(s, &result);
		rc = put_away(s, samples, result.n, now_s, err);
	}
	mem_free(samples);
	return rc;
}

static bool is_of_store(enum rc rc)
{
	return rc == RC_STORE || rc == RC_BUSY || rc == RC_FULL;
}

/* An unchanged page counts as one that worked. Its readings are stored already. */
static enum rc take(struct site *s, const struct fetch_answer *a, int64_t now_s, struct err *err)
{
	enum rc rc;
	if (a->rc != RC_OK) {
		s->failures++;
		rc = err_set(err, a->rc, "%s", a->why);
	} else if (a->unchanged) {
		s->failures = 0;
		rc = put_away(s, NULL, 0, now_s, err);
	} else {
		rc = take_body(s, a, now_s, err);
		(void)snprintf(s->etag, sizeof s->etag, "%s", rc == RC_OK ? a->etag : "");
	}
	if (rc != RC_OK && !is_of_store(rc))
		feed_failed(s->feed, err->text, now_s);
	return rc;
}

/* ---- when ---- */

/* Evenly over 0..span_ms-1, another for each try, and for each name. */
static int64_t spread_ms(const struct site *s, int64_t span_ms)
{
	uint64_t h = hash_text(HASH_START, s->feed->source->name);
	h = hash_on(h, &s->tries, sizeof s->tries);
	return span_ms > 0 ? (int64_t)((h >> 16) % (uint64_t)span_ms) : 0;
}

static int64_t mono_ms(const struct site *s)
{
	const struct clock *clock = s->feed->owner.app->clock;
	return clock->mono(clock).ms;
}

static void set_timer(struct site *s)
{
	(void)loop_resample(s->feed->owner.loop); /* of which the timer counts */
	int64_t wait_ms = s->due_ms - mono_ms(s) + spread_ms(s, s->feed->source->jitter_s * 1000);
	loop_after(s->feed->owner.loop, &s->timer, wait_ms > 0 ? wait_ms : 0);
}

static void plan_first(struct site *s)
{
	int64_t every_s = s->feed->source->interval_s;
	int64_t spread_s = every_s < FIRST_SPREAD_S ? every_s : FIRST_SPREAD_S;
	s->due_ms = mono_ms(s) + spread_ms(s, spread_s * 1000);
	set_timer(s);
}

/* Seconds until the next try. */
static int64_t plan(struct site *s, int64_t asked_s)
{
	int64_t every_s = s->feed->source->interval_s, now_ms = mono_ms(s);
	if (s->failures) {
		int64_t delay_s = feed_delay_s(every_s, s->failures);
		int64_t most_s = every_s > RETRY_MOST_S ? every_s : RETRY_MOST_S;
		asked_s = asked_s < most_s ? asked_s : most_s;
		s->due_ms = now_ms + (asked_s > delay_s ? asked_s : delay_s) * 1000;
	} else {
		int64_t late_ms = now_ms > s->due_ms ? now_ms - s->due_ms : 0;
		s->due_ms += (late_ms / (every_s * 1000) + 1) * every_s * 1000;
	}
	s->tries++;
	set_timer(s);
	return (s->due_ms - now_ms + 500) / 1000;
}

static void answered(void *arg, const struct fetch_answer *a, int64_t now_s)
{
	struct site *s = arg;
	const char *name = s->feed->source->name;
	struct log *log = s->feed->owner.app->log;
	struct err err = { 0 };
	enum rc rc = take(s, a, now_s, &err);
	int64_t delay_s = plan(s, a->retry_after_s);
	if (rc == RC_OK && s->ill)
		log_line(log, LEVEL_NOTICE, name, "source \"%s\": works again", name);
	else if (rc != RC_OK && !s->ill)
		log_line(log, LEVEL_WARNING, name, "source \"%s\": %s, retrying in %" PRId64 " s",
			name, err.text, delay_s);
	s->ill = rc != RC_OK;
}

/* A page that stays as it is says what the air is now, unless it bears the time of its readings: only then is it asked
 * for in case of change, else steady air would look like a silent sensor. */
static bool bears_times(const struct feed *f)
{
	const struct settings *set = f->owner.app->desk.set;
	if (f->source->format == FORMAT_DELIMITED)
		return true;
	for (size_t i = 0; i < set->n_streams; i++)
		if (strcmp(set->streams[i].source, f->source->name) == 0 &&
			!set->streams[i].time[0])
			return false;
	return true;
}

static void fire(void *arg, int64_t now_s)
{
	struct site *s = arg;
	(void)now_s;
	fetch_page_get(s->page, s->bears_times ? s->etag : "");
}

/* ---- the kind ---- */

static enum rc new_page(const struct feed *f, struct fetch *fetch,
	void (*done)(void *arg, const struct fetch_answer *a, int64_t now_s), void *arg,
	struct fetch_page **out, struct err *err)
{
	const struct source *x = f->source;
	const struct fetch_at at = {
		.url = x->url,
		.ca_file = x->ca_file,
		.auth = (enum source_auth)x->auth,
		.user = x->user,
		.header = x->header,
		.credential = x->credential,
		.limit_s = x->time_limit_s,
		.size_limit = (size_t)x->size_limit,
		.done = done,
		.arg = arg,
	};
	return fetch_page_new(fetch, &at, out, err);
}

static void stop(struct feed *f, void *work)
{
	struct site *s = work;
	struct err err = { 0 };
	if (store_held(s, clock_now_s(f->owner.app->clock), &err) != RC_OK)
		log_line(f->owner.app->log, LEVEL_ERROR, f->source->name,
			"source \"%s\": %s, %zu readings are lost", f->source->name, err.text,
			s->n_held);
	loop_unset(&s->timer);
	fetch_page_free(s->page);
	pick_free(s->pick);
	mem_free(s->held);
	mem_free(s);
}

static enum rc start(struct feed *f, void **work, struct err *err)
{
	struct site *s = mem_new(1, sizeof *s);
	if (!s)
		return err_set(err, RC_MEM, "out of memory");
	*s = (struct site){ .feed = f, .timer = { .fire = fire, .arg = s } };
	s->bears_times = bears_times(f);
	enum rc rc = pick_new(f->owner.app->desk.set, f->source, &s->pick, err);
	if (rc == RC_OK && f->owner.fetch && !f->owner.app->replay)
		rc = new_page(f, f->owner.fetch, answered, s, &s->page, err);
	if (rc != RC_OK) {
		stop(f, s);
		return rc;
	}
	if (s->page)
		plan_first(s);
	*work = s;
	return RC_OK;
}

/* ---- at once ---- */

struct once {
	struct site *site;
	struct loop *loop;
	enum rc rc;
	struct err why;
};

static void answered_once(void *arg, const struct fetch_answer *a, int64_t now_s)
{
	struct once *o = arg;
	o->rc = take(o->site, a, now_s, &o->why);
	loop_stop(o->loop);
}

/* A loop of its own runs until the answer is there. */
static enum rc fetch_once(struct site *s, struct err *err)
{
	struct feed *f = s->feed;
	struct once o = { .site = s };
	struct transfers *transfers = NULL;
	struct fetch *fetch = NULL;
	struct fetch_page *page = NULL;
	enum rc rc = loop_new(f->owner.app->clock, &o.loop, err);
	if (rc == RC_OK)
		rc = transfers_new(o.loop, &transfers, err);
	if (rc == RC_OK)
		rc = fetch_new(transfers, &fetch, err);
	if (rc == RC_OK)
		rc = new_page(f, fetch, answered_once, &o, &page, err);
	if (rc == RC_OK) {
		fetch_page_get(page, "");
		rc = loop_run(o.loop, 0, err);
	}
	if (rc == RC_OK && o.rc != RC_OK)
		rc = err_set(err, o.rc, "%s", o.why.text);
	fetch_page_free(page);
	fetch_free(fetch);
	transfers_free(transfers);
	loop_free(o.loop);
	return rc;
}

static enum rc now(struct feed *f, void *work, int64_t now_s, struct err *err)
{
	struct err why = { 0 };
	(void)now_s;
	enum rc rc = f->owner.app->replay ? RC_OK : fetch_once(work, &why);
	if (rc == RC_OK)
		return RC_OK;
	log_line(f->owner.app->log, LEVEL_WARNING, f->source->name, "source \"%s\": %s",
		f->source->name, why.text);
	return err_set(err, rc, "source \"%s\": %s", f->source->name, why.text);
}

const struct feed_kind feed_http = { start, stop, now };
