/* Topics of a broker. Readings of one wake go into the store in one transaction, and only then is the broker told that
 * they arrived (mqtt.h).
 *
 * A value without a time of its own gets the time it came in. That would be wrong for one that a broker retained, or
 * kept while we were away: such a value is left out and counted. With a time of its own it is taken like any other, and
 * the store knows it when it comes twice.
 *
 * A topic that the settings name no more stays in the session at the broker; what comes on it is passed over. */
#include "daemon/feed_int.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/mqtt.h"
#include "daemon/pick.h"
#include "daemon/secret.h"

/* A transaction is closed early when a payload more might not fit. */
enum { ROOM = PICK_SAMPLES_MAX + MQTT_BATCH };

/* Judgement: a broker that was started anew is found soon; one that is gone costs little. */
enum { FIRST_DELAY_S = 2, LONGEST_DELAY_S = 300, AWAIT_MS = 30000 };

struct session {
	struct feed *feed;
	struct mqtt *mqtt;
	struct pick *pick;
	struct timer retry;
	int failures; /* in a row */
	char why[256]; /* the last */
	size_t timeless; /* left out since the connection was made */
	char client_id[NAME_SIZE + sizeof "seasond-"];
	size_t n_filters;
	char **filters; /* each once, borrowed from the settings */
	size_t n;
	struct intake_sample held[ROOM]; /* not kept yet */
};

static const struct source *source_of(const struct session *s)
{
	return s->feed->source;
}

static struct log *log_of(const struct session *s)
{
	return s->feed->owner.app->log;
}

/* ---- what the broker brings ---- */

static bool keep(void *arg, int64_t now_s)
{
	struct session *s = arg;
	struct err err = { 0 };
	if (s->n > 0 && feed_take(s->feed, s->held, s->n, now_s, &err) != RC_OK) {
		log_line(log_of(s), LEVEL_WARNING, source_of(s)->name,
			"source \"%s\": %s: the broker keeps %zu readings", source_of(s)->name,
			err.text, s->n);
		return false;
	}
	s->failures = s->n > 0 ? 0 : s->failures;
	s->n = 0;
	return true;
}

/* Of n samples those that say when they were. */
static size_t with_time(struct session *s, struct intake_sample *x, size_t n)
{
	size_t kept = 0;
	for (size_t i = 0; i < n; i++)
		if (x[i].sent)
			x[kept++] = x[i];
	s->timeless += n - kept;
	return kept;
}

/* One of these says nothing of the source: the broker is well. */
static bool too_long(const struct session *s, const struct mqtt_message *m)
{
	if (m->n <= (size_t)source_of(s)->size_limit)
		return false;
	log_line(log_of(s), LEVEL_WARNING, source_of(s)->name,
		"source \"%s\": topic \"%.128s\": %zu bytes are more than size_limit %d: left out",
		source_of(s)->name, m->topic, m->n, source_of(s)->size_limit);
	return true;
}

static void tell_absent(
	const struct session *s, const struct mqtt_message *m, const struct pick_result *result)
{
	if (result->absent)
		log_line(log_of(s), LEVEL_WARNING, source_of(s)->name,
			"source \"%s\": topic \"%.128s\": %s", source_of(s)->name, m->topic,
			result->example);
}

static bool message(void *arg, const struct mqtt_message *m, int64_t now_s)
{
	struct session *s = arg;
	struct pick_result result = { 0 };
	struct err err = { 0 };
	if (too_long(s, m))
		return true;
	if (s->n + PICK_SAMPLES_MAX > ROOM && !keep(s, now_s))
		return false;
	struct intake_sample *x = s->held + s->n;
	enum rc rc = pick_payload(s->pick, m->topic, m->n ? m->bytes : "", m->n, now_s, x,
		PICK_SAMPLES_MAX, &result, &err);
	if (rc == RC_MEM)
		return false;
	if (rc != RC_OK) {
		log_line(log_of(s), LEVEL_WARNING, source_of(s)->name,
			"source \"%s\": topic \"%.128s\": %s: left out", source_of(s)->name,
			m->topic, err.text);
		return true;
	}
	tell_absent(s, m, &result);
	s->n += m->retained || m->waited ? with_time(s, x, result.n) : result.n;
	return true;
}

/* ---- the connection ---- */

static void told(void *arg, const char *text)
{
	struct session *s = arg;
	log_line(log_of(s), LEVEL_WARNING, source_of(s)->name, "source \"%s\": %s",
		source_of(s)->name, text);
}

static void up(void *arg, int64_t now_s)
{
	struct session *s = arg;
	struct err err = { 0 };
	s->failures = 0;
	log_line(log_of(s), LEVEL_NOTICE, source_of(s)->name, "source \"%s\": connected to %s",
		source_of(s)->name, source_of(s)->host);
	if (s->timeless)
		log_line(log_of(s), LEVEL_NOTICE, source_of(s)->name,
			"source \"%s\": %zu values without a time of their own had waited at the "
			"broker and were left out",
			source_of(s)->name, s->timeless);
	s->timeless = 0;
	if (feed_take(s->feed, NULL, 0, now_s, &err) != RC_OK)
		told(s, err.text); /* only that it worked was not noted */
}

static void try_later(struct session *s, const char *why, int64_t now_s)
{
	s->n = 0; /* not acknowledged: they come again */
	s->timeless = 0;
	(void)snprintf(s->why, sizeof s->why, "%s", why);
	int64_t delay_s = feed_delay_s(FIRST_DELAY_S, ++s->failures);
	if (delay_s > LONGEST_DELAY_S)
		delay_s = LONGEST_DELAY_S;
	log_line(log_of(s), LEVEL_WARNING, source_of(s)->name,
		"source \"%s\": %s, retrying in %" PRId64 " s", source_of(s)->name, why, delay_s);
	feed_failed(s->feed, why, now_s);
	loop_after(s->feed->owner.loop, &s->retry, delay_s * 1000);
}

static void down(void *arg, const char *why, int64_t now_s)
{
	const struct session *s = arg;
	char where[sizeof s->why];
	(void)snprintf(where, sizeof where, "broker %s: %s", source_of(s)->host, why);
	try_later(arg, where, now_s);
}

static enum rc connect_now(struct session *s, struct err *err)
{
	const struct source *source = source_of(s);
	struct secret secret = { 0 };
	struct mqtt_at at = {
		.host = source->host,
		.port = source->port,
		.client_id = s->client_id,
		.tls = source->tls,
		.ca_file = source->ca_file,
		.filters = s->filters,
		.n_filters = s->n_filters,
	};
	enum rc rc = RC_OK;
	if (source->auth == AUTH_BASIC) {
		rc = secret_read(source->credential, &secret, err);
		at.user = source->user;
		at.password = secret.text;
	}
	if (rc == RC_OK)
		rc = mqtt_connect(s->mqtt, &at, err);
	secret_wipe(&secret);
	return rc;
}

static void retry(void *arg, int64_t now_s)
{
	struct session *s = arg;
	struct err err = { 0 };
	if (connect_now(s, &err) != RC_OK)
		try_later(s, err.text, now_s);
}

/* ---- the feed ---- */

/* Streams of one topic share a subscription. */
static enum rc gather_filters(struct session *s, struct err *err)
{
	const struct settings *set = s->feed->owner.app->desk.set;
	s->filters = mem_new(set->n_streams, sizeof s->filters[0]);
	if (!s->filters)
		return err_set(err, RC_MEM, "source \"%s\": out of memory", source_of(s)->name);
	for (size_t i = 0; i < set->n_streams; i++) {
		struct stream *x = &set->streams[i];
		size_t k = 0;
		if (strcmp(x->source, source_of(s)->name) != 0)
			continue;
		while (k < s->n_filters && strcmp(s->filters[k], x->topic) != 0)
			k++;
		if (k == s->n_filters)
			s->filters[s->n_filters++] = x->topic;
	}
	return RC_OK;
}

static enum rc open_session(struct session *s, struct err *err)
{
	const struct mqtt_news news = { s, message, keep, up, told, down };
	struct feed *f = s->feed;
	if (f->source->client_id[0])
		(void)snprintf(s->client_id, sizeof s->client_id, "%s", f->source->client_id);
	else
		(void)snprintf(s->client_id, sizeof s->client_id, "seasond-%s", f->source->name);
	enum rc rc = pick_new(f->owner.app->desk.set, f->source, &s->pick, err);
	if (rc == RC_OK)
		rc = gather_filters(s, err);
	if (rc == RC_OK)
		rc = mqtt_new(f->owner.loop, f->owner.app->clock, &news, &s->mqtt, err);
	return rc;
}

static void stop(struct feed *f, void *work)
{
	struct session *s = work;
	(void)f;
	loop_unset(&s->retry);
	mqtt_free(s->mqtt);
	pick_free(s->pick);
	mem_free(s->filters);
	mem_free(s);
}

static enum rc start(struct feed *f, void **work, struct err *err)
{
	struct session *s = mem_new(1, sizeof *s);
	if (!s)
		return err_set(err, RC_MEM, "source \"%s\": out of memory", f->source->name);
	s->feed = f;
	s->retry = (struct timer){ .fire = retry, .arg = s };
	enum rc rc = open_session(s, err);
	if (rc != RC_OK) {
		stop(f, s);
		return rc;
	}
	if (!f->owner.app->replay)
		loop_after(f->owner.loop, &s->retry, 0);
	*work = s;
	return RC_OK;
}

/* What the broker has kept for us and what comes meanwhile. */
static enum rc now(struct feed *f, void *work, int64_t now_s, struct err *err)
{
	struct session *s = work;
	struct err why = { 0 };
	if (f->owner.app->replay)
		return RC_OK;
	enum rc rc = connect_now(s, &why);
	if (rc != RC_OK)
		try_later(s, why.text, now_s);
	else if (!mqtt_await_up(s->mqtt, AWAIT_MS))
		rc = RC_IO;
	if (rc == RC_OK)
		return RC_OK;
	return err_set(err, rc, "source \"%s\": %s", f->source->name, s->why);
}

const struct feed_kind feed_mqtt = { start, stop, now };
