#include "daemon/service.h"

#include <inttypes.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/bell.h"
#include "daemon/feed.h"
#include "daemon/loop.h"
#include "daemon/notify.h"
#include "daemon/post.h"
#include "daemon/share.h"
#include "daemon/text.h"

/* After the full hour: readings of its last minutes have mostly arrived by then. */
enum { AFTER_HOUR_S = 120, FIRST_DELAY_S = 60, LONGEST_DELAY_S = 3600 };

/* Readings come by the second; what they mean changes by the hour. */
enum { REST_MS = 2000 };

struct service {
	struct app *app;
	struct loop *loop;
	struct transfers *transfers;
	struct fetch *fetch; /* of all feeds and calendars on servers */
	struct share *share; /* NULL: none */
	struct timer settle, hour, watchdog, rest;
	bool once; /* what fails is not tried again */
	bool resting, fed; /* just settled on what feeds brought; they brought more since */
	int64_t delay_s; /* to the next try at settling; 0: the last one went well */
	struct err settle_err; /* of the last one */
	struct bell bell;
	struct post *post; /* NULL: could not be started */
	size_t n_feeds;
	struct feed **feeds;
};

static void status_words(const struct service *s, char *buf, size_t n)
{
	(void)snprintf(buf, n, "%zu sensors, %zu of %zu sources", s->app->desk.set->n_sensors,
		s->n_feeds, s->app->desk.set->n_sources);
}

static void tell_ready(const struct service *s)
{
	char status[128];
	status_words(s, status, sizeof status);
	notify_ready(status);
}

static void tell_settled(const struct service *s, int64_t now_s)
{
	char status[128], when[24];
	if (s->app->replay)
		return;
	status_words(s, status, sizeof status);
	zone_print_minute(engine_zone(s->app->desk.engine, NULL), now_s, when, sizeof when);
	text_add(status, sizeof status, ", settled %s", when);
	notify_status(status);
}

/* ---- settling ---- */

/* Soon, once for all that came in one wake. Also while a retry is planned: one output that can't be
 * written keeps no news from the others. */
static void want_settle(void *arg)
{
	struct service *s = arg;
	loop_after(s->loop, &s->settle, 0);
}

/* What feeds bring is settled at once, and then again after a rest. */
static void was_fed(void *arg)
{
	struct service *s = arg;
	s->fed = true;
	if (!s->resting)
		want_settle(s);
}

static void rest_over(void *arg, int64_t now_s)
{
	struct service *s = arg;
	(void)now_s;
	s->resting = false;
	if (s->fed)
		want_settle(s);
}

static void rest(struct service *s)
{
	if (!s->fed || s->app->replay)
		return;
	s->fed = false;
	s->resting = true;
	loop_after(s->loop, &s->rest, REST_MS);
}

static enum rc settle_now(struct service *s, int64_t now_s)
{
	struct err err = { 0 };
	enum rc rc = app_settle(s->app, now_s, &err);
	s->settle_err = err;
	s->settle_err.code = rc;
	now_s = loop_resample(s->loop);
	if (rc == RC_OK && s->share)
		share_settled(s->share, now_s);
	return rc;
}

static void settle_fired(void *arg, int64_t now_s)
{
	struct service *s = arg;
	rest(s);
	if (settle_now(s, now_s) == RC_OK) {
		if (s->delay_s)
			log_line(s->app->log, LEVEL_NOTICE, NULL, "settled again");
		tell_settled(s, now_s);
		s->delay_s = 0;
		if (s->post)
			post_settled(s->post, now_s);
		return;
	}
	if (s->once) {
		loop_stop(s->loop);
		return;
	}
	s->delay_s = s->delay_s ? s->delay_s * 2 : FIRST_DELAY_S;
	if (s->delay_s > LONGEST_DELAY_S)
		s->delay_s = LONGEST_DELAY_S;
	log_line(s->app->log, LEVEL_ERROR, NULL, "%s, retrying in %" PRId64 " s",
		s->settle_err.text, s->delay_s);
	loop_after(s->loop, &s->settle, s->delay_s * 1000);
}

static void plan_hour(struct service *s, int64_t now_s)
{
	int64_t hour = civil_floor(now_s - AFTER_HOUR_S, HOUR_S) + 1;
	loop_at(s->loop, &s->hour, hour * HOUR_S + AFTER_HOUR_S);
}

static void hour_fired(void *arg, int64_t now_s)
{
	struct service *s = arg;
	plan_hour(s, now_s);
	want_settle(s);
}

static void clock_stepped(void *arg, int64_t step_s, int64_t now_s)
{
	struct service *s = arg;
	log_line(s->app->log, LEVEL_NOTICE, NULL, "the clock moved by %" PRId64 " s, planning anew",
		step_s);
	plan_hour(s, now_s);
	want_settle(s);
}

static void bell_rung(void *arg, int64_t now_s)
{
	(void)now_s;
	want_settle(arg);
}

/* ---- sources ---- */

static void stop_feeds(struct service *s)
{
	for (size_t i = 0; i < s->n_feeds; i++)
		feed_free(s->feeds[i]);
	mem_free(s->feeds);
	s->feeds = NULL;
	s->n_feeds = 0;
}

/* A source that can't start loses itself only. */
static enum rc start_feeds(struct service *s, struct err *err)
{
	const struct settings *set = s->app->desk.set;
	const struct feed_owner owner = {
		.app = s->app, .loop = s->loop, .fetch = s->fetch, .fed = was_fed, .arg = s
	};
	s->feeds = mem_new(set->n_sources, sizeof(struct feed *));
	if (!s->feeds)
		return err_set(err, RC_MEM, "sources: out of memory");
	for (size_t i = 0; i < set->n_sources; i++) {
		struct err why = { 0 };
		if (feed_new(&owner, &set->sources[i], &s->feeds[s->n_feeds], &why) == RC_OK)
			s->n_feeds++;
		else
			log_line(s->app->log, LEVEL_ERROR, set->sources[i].name,
				"source \"%s\": %s, it is left out until the next reload",
				set->sources[i].name, why.text);
	}
	return RC_OK;
}

/* ---- calendars on servers ---- */

static void start_share(struct service *s)
{
	struct err err = { 0 };
	const struct share_owner owner = {
		.app = s->app, .loop = s->loop, .fetch = s->fetch, .heard = want_settle, .arg = s
	};
	if (share_new(&owner, &s->share, &err) != RC_OK)
		log_line(s->app->log, LEVEL_ERROR, NULL, "%s, calendars on servers are left alone",
			err.text);
}

static void stop_share(struct service *s)
{
	share_free(s->share);
	s->share = NULL;
}

/* ---- mail ---- */

static void stop_post(struct service *s)
{
	post_free(s->post);
	s->post = NULL;
}

/* Mail that cannot be started is told, and keeps nothing else from running. */
static void start_post(struct service *s)
{
	struct err err = { 0 };
	const struct post_owner owner = { .app = s->app,
		.loop = s->loop,
		.transfers = s->transfers,
		.heard = want_settle,
		.arg = s };
	if (post_new(&owner, &s->post, &err) != RC_OK)
		log_line(s->app->log, LEVEL_ERROR, NULL,
			"%s, there is no mail until the next reload", err.text);
}

/* ---- signals ---- */

static void reload(struct service *s)
{
	struct err err = { 0 };
	notify_reloading();
	stop_feeds(s); /* they borrow from the settings */
	stop_share(s);
	stop_post(s);
	if (app_reload(s->app, &err) == RC_OK)
		log_line(s->app->log, LEVEL_NOTICE, NULL, "settings read again");
	else
		log_line(s->app->log, LEVEL_ERROR, NULL, "%s, keeping the settings in force",
			err.text);
	err = (struct err){ 0 };
	if (start_feeds(s, &err) != RC_OK)
		log_line(s->app->log, LEVEL_ERROR, NULL, "%s, no source is read", err.text);
	start_share(s);
	start_post(s);
	want_settle(s);
	tell_ready(s);
}

static void got_signal(void *arg, int signo, int64_t now_s)
{
	struct service *s = arg;
	if (signo == SIGHUP) {
		reload(s);
		return;
	}
	log_line(s->app->log, LEVEL_NOTICE, NULL, "stopping");
	notify_stopping();
	stop_feeds(s);
	stop_share(s);
	if (settle_now(s, now_s) != RC_OK)
		log_line(s->app->log, LEVEL_ERROR, NULL, "%s, left for the next start",
			s->settle_err.text);
	loop_stop(s->loop);
}

/* ---- making and running ---- */

static void start_bell(struct service *s)
{
	struct err err = { 0 };
	if (!s->app->replay &&
		bell_start(&s->bell, s->loop, s->app->desk.set->store, &err) != RC_OK)
		log_line(s->app->log, LEVEL_WARNING, NULL,
			"%s, what seasonctl changes is noticed at the next full hour", err.text);
}

static enum rc start(struct service *s, struct err *err)
{
	enum rc rc = loop_new(s->app->clock, &s->loop, err);
	if (rc == RC_OK)
		rc = loop_signals(s->loop, got_signal, s, err);
	if (rc == RC_OK)
		rc = transfers_new(s->loop, &s->transfers, err);
	if (rc == RC_OK)
		rc = fetch_new(s->transfers, &s->fetch, err);
	if (rc != RC_OK)
		return rc;
	start_bell(s);
	start_share(s);
	start_post(s);
	return start_feeds(s, err);
}

enum rc service_new(struct app *app, struct service **out, struct err *err)
{
	struct service *s = mem_new(1, sizeof *s);
	if (!s)
		return err_set(err, RC_MEM, "service: out of memory");
	*s = (struct service){
		.app = app,
		.settle = { .fire = settle_fired, .arg = s },
		.hour = { .fire = hour_fired, .arg = s },
		.rest = { .fire = rest_over, .arg = s },
		.bell = { .rung = bell_rung, .arg = s },
	};
	enum rc rc = start(s, err);
	if (rc != RC_OK)
		service_free(s);
	else
		*out = s;
	return rc;
}

void service_free(struct service *s)
{
	if (!s)
		return;
	stop_feeds(s);
	stop_share(s);
	stop_post(s);
	bell_stop(&s->bell);
	fetch_free(s->fetch);
	transfers_free(s->transfers);
	loop_free(s->loop);
	mem_free(s);
}

enum rc service_run(struct service *s, int64_t until_s, struct err *err)
{
	loop_on_step(s->loop, clock_stepped, s);
	plan_hour(s, clock_now_s(s->app->clock));
	want_settle(s);
	if (!s->app->replay) {
		notify_watchdog(s->loop, s->app->clock, &s->watchdog);
		tell_ready(s);
	}
	enum rc rc = loop_run(s->loop, until_s, err);
	if (rc == RC_OK && s->settle_err.code != RC_OK)
		rc = err_set(err, s->settle_err.code, "%s", s->settle_err.text);
	return rc;
}

enum rc service_once(struct service *s, struct err *err)
{
	enum rc first = RC_OK;
	for (size_t i = 0; i < s->n_feeds; i++) {
		enum rc rc = feed_now(s->feeds[i], loop_resample(s->loop), err);
		first = first == RC_OK ? rc : first;
	}
	loop_unset(&s->settle); /* what feeds brought is settled now */
	enum rc rc = settle_now(s, loop_resample(s->loop));
	if (rc != RC_OK && first == RC_OK)
		first = err_set(err, rc, "%s", s->settle_err.text);
	const struct mail *mail = &s->app->desk.set->mail;
	if (share_any(s->share) || mail->server[0] || mail->inbox[0])
		stop_feeds(s); /* while the loop runs for others */
	s->once = true;
	rc = s->share ? share_now(s->share, loop_resample(s->loop), err) : RC_OK;
	enum rc mailed = s->post ? post_now(s->post, loop_resample(s->loop), err) : RC_OK;
	rc = rc == RC_OK ? mailed : rc;
	if (s->settle.heap) { /* an answer wants it, and what it changed goes out */
		loop_unset(&s->settle);
		if (settle_now(s, loop_resample(s->loop)) == RC_OK && rc == RC_OK &&
			share_any(s->share))
			rc = share_now(s->share, loop_resample(s->loop), err);
	}
	return first == RC_OK ? rc : first;
}
