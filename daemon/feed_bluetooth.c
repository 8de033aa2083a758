/* Sensors that advertise over Bluetooth in the open BTHome format, each named by a stream. */
#include "daemon/feed_int.h"

#include <inttypes.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/beacon.h"
#include "daemon/bluez.h"

/* RETRY_S: BlueZ, adapter and power are noticed when they come back; this is for all else.
 * COMPLAIN_S: advertisements come every few seconds and anyone can forge them; one word about each device an hour.
 * ROUND_S: sensors of air advertise every 1 to 10 s (common practice, no source): three chances; those that sleep longer
 * are not waited for. */
enum { RETRY_S = 10, COMPLAIN_S = 3600, ROUND_S = 30 };

struct device {
	struct beacon beacon;
	const struct stream *stream;
	int battery_pct; /* last one heard, which may come by itself; < 0: none yet */
	bool kept; /* kept_at holds */
	struct mono kept_at;
	bool complained; /* complained_at holds */
	struct mono complained_at;
};

struct ear {
	struct feed *feed;
	struct bluez *bluez; /* NULL in a replay */
	struct timer retry;
	int failures; /* in a row */
	struct err *round; /* of the round that is waited for; NULL: none is */
	struct feed_held held;
	size_t n;
	struct device device[];
};

static struct mono mono_now(const struct ear *e)
{
	const struct clock *clock = e->feed->owner.app->clock;
	return clock->mono(clock);
}

static struct log *log_of(const struct ear *e)
{
	return e->feed->owner.app->log;
}

/* ---- devices ---- */

static void complain(struct ear *e, struct device *d, const char *why, int64_t now_s)
{
	struct mono now = mono_now(e);
	if (d->complained && now.ms - d->complained_at.ms < COMPLAIN_S * 1000)
		return;
	d->complained = true;
	d->complained_at = now;
	struct err text = { 0 };
	(void)err_set(&text, RC_INPUT, "stream \"%s\": %s", d->stream->name, why);
	log_line(log_of(e), LEVEL_WARNING, d->stream->name, "source \"%s\": %s",
		e->feed->source->name, text.text);
	feed_failed(e->feed, text.text, now_s);
}

static void keep(struct ear *e, struct device *d, const struct bthome_said *said, int64_t now_s)
{
	struct err err = { 0 };
	struct intake_sample s = {
		.r = { .t_s = now_s,
			.rh_cpct = said->rh_cpct,
			.temp_cdegc = said->temp_cdegc == BTHOME_NONE ? QUALITY_NO_TEMP
								      : said->temp_cdegc },
		.battery_pct = d->battery_pct,
	};
	memcpy(s.sensor, d->stream->sensor, sizeof s.sensor);
	feed_hold(e->feed, &e->held, &s);
	if (feed_store_held(e->feed, &e->held, now_s, &err) != RC_OK)
		log_line(log_of(e), LEVEL_WARNING, e->feed->source->name,
			"source \"%s\": %s, retrying with the next reading", e->feed->source->name,
			err.text);
	d->kept = true;
	d->kept_at = mono_now(e);
	d->complained = false;
}

static void hear_device(
	struct ear *e, struct device *d, const struct bthome_frame *frame, int64_t now_s)
{
	struct bthome_said said;
	struct err err = { 0 };
	struct mono now = mono_now(e);
	bool repeat;
	if (beacon_hear(&d->beacon, frame, now, &said, &repeat, &err) != RC_OK) {
		complain(e, d, err.text, now_s);
		return;
	}
	if (repeat)
		return;
	if (said.battery_pct >= 0)
		d->battery_pct = said.battery_pct;
	if (said.faults)
		complain(e, d, "a value that no air sensor can mean", now_s);
	if (said.rh_cpct == BTHOME_NONE)
		return;
	if (!d->kept || now.ms - d->kept_at.ms >= e->feed->source->interval_s * 1000)
		keep(e, d, &said, now_s);
}

/* A device that changes its address for privacy says its own in the payload; that one counts. */
static void heard(void *arg, const uint8_t address[BTHOME_ADDRESS], const uint8_t *bytes, size_t n,
	int64_t now_s)
{
	struct ear *e = arg;
	struct err err = { 0 };
	struct bthome_frame frame;
	enum rc rc = bthome_frame(bytes, n, &frame, &err);
	if (rc == RC_OK && frame.has_address)
		address = frame.address;
	for (size_t i = 0; i < e->n; i++) {
		struct device *d = &e->device[i];
		if (memcmp(d->beacon.address, address, BTHOME_ADDRESS) != 0)
			continue;
		if (rc == RC_OK)
			hear_device(e, d, &frame, now_s);
		else
			complain(e, d, err.text, now_s);
	}
}

/* ---- discovery ---- */

static void well(void *arg)
{
	struct ear *e = arg;
	if (e->failures)
		log_line(log_of(e), LEVEL_NOTICE, e->feed->source->name,
			"source \"%s\": listens again", e->feed->source->name);
	e->failures = 0;
	loop_unset(&e->retry);
}

static void failed(void *arg, const char *why, int64_t now_s)
{
	struct ear *e = arg;
	const char *name = e->feed->source->name;
	feed_failed(e->feed, why, now_s);
	if (e->round) {
		(void)err_set(e->round, RC_IO, "%s", why);
		return;
	}
	int64_t delay_s = feed_delay_s(RETRY_S, ++e->failures);
	log_line(log_of(e), LEVEL_WARNING, name, "source \"%s\": %s, retrying in %" PRId64 " s",
		name, why, delay_s);
	loop_after(e->feed->owner.loop, &e->retry, delay_s * 1000);
}

static void listen_now(void *arg, int64_t now_s)
{
	struct ear *e = arg;
	(void)now_s;
	bluez_listen(e->bluez);
}

/* ---- the feed ---- */

static size_t count_streams(const struct feed *f)
{
	const struct settings *set = f->owner.app->desk.set;
	size_t n = 0;
	for (size_t i = 0; i < set->n_streams; i++)
		n += strcmp(set->streams[i].source, f->source->name) == 0;
	return n;
}

static void add_devices(struct ear *e)
{
	const struct settings *set = e->feed->owner.app->desk.set;
	for (size_t i = 0; i < set->n_streams; i++) {
		const struct stream *stream = &set->streams[i];
		uint8_t address[BTHOME_ADDRESS];
		if (strcmp(stream->source, e->feed->source->name) != 0 ||
			!bthome_address(stream->address, address))
			continue; /* the settings have checked the address */
		struct device *d = &e->device[e->n++];
		*d = (struct device){ .stream = stream, .battery_pct = -1 };
		beacon_init(&d->beacon, address, stream->key);
	}
}

static enum rc start_bluez(struct ear *e, struct err *err)
{
	const struct bluez_owner owner = {
		.loop = e->feed->owner.loop,
		.clock = e->feed->owner.app->clock,
		.adapter = e->feed->source->adapter,
		.heard = heard,
		.well = well,
		.failed = failed,
		.arg = e,
	};
	enum rc rc = bluez_new(&owner, &e->bluez, err);
	if (rc == RC_OK)
		loop_after(e->feed->owner.loop, &e->retry, 0);
	return rc;
}

static enum rc start(struct feed *f, void **work, struct err *err)
{
	struct ear *e = mem_new(1, sizeof *e + count_streams(f) * sizeof *e->device);
	if (!e)
		return err_set(err, RC_MEM, "source \"%s\": out of memory", f->source->name);
	*e = (struct ear){ .feed = f, .retry = { .fire = listen_now, .arg = e } };
	add_devices(e);
	enum rc rc = f->owner.app->replay ? RC_OK : start_bluez(e, err);
	if (rc == RC_OK)
		*work = e;
	else
		mem_free(e);
	return rc;
}

static void stop(struct feed *f, void *work)
{
	struct ear *e = work;
	loop_unset(&e->retry);
	bluez_free(e->bluez);
	feed_end_held(f, &e->held);
	for (size_t i = 0; i < e->n; i++)
		beacon_done(&e->device[i].beacon);
	mem_free(e);
}

static const struct device *first_unheard(const struct ear *e)
{
	for (size_t i = 0; i < e->n; i++)
		if (!e->device[i].kept)
			return &e->device[i];
	return NULL;
}

/* Until each device was heard, the adapter fails, or ROUND_S have passed. */
static enum rc hear_round(struct ear *e, struct err *err)
{
	int64_t end_ms = mono_now(e).ms + ROUND_S * 1000, left_ms = ROUND_S * 1000;
	e->round = err;
	bluez_listen(e->bluez);
	while (err->code == RC_OK && left_ms > 0 && first_unheard(e)) {
		bluez_wait(e->bluez, left_ms);
		left_ms = end_ms - mono_now(e).ms;
	}
	e->round = NULL;
	const struct device *d = first_unheard(e);
	if (err->code == RC_OK && d)
		(void)err_set(err, RC_IO, "stream \"%s\": nothing of %s in %d s", d->stream->name,
			d->stream->address, ROUND_S);
	if (err->code == RC_OK)
		return feed_store_held(
			e->feed, &e->held, clock_now_s(e->feed->owner.app->clock), err);
	return err->code;
}

static enum rc now(struct feed *f, void *work, int64_t now_s, struct err *err)
{
	struct err why = { 0 };
	(void)now_s;
	enum rc rc = f->owner.app->replay ? RC_OK : hear_round(work, &why);
	if (rc == RC_OK)
		return RC_OK;
	log_line(f->owner.app->log, LEVEL_WARNING, f->source->name, "source \"%s\": %s",
		f->source->name, why.text);
	return err_set(err, rc, "source \"%s\": %s", f->source->name, why.text);
}

const struct feed_kind feed_bluetooth = { start, stop, now };
