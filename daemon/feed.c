#include "daemon/feed_int.h"

#include <string.h>

#include "core/mem.h"

enum { LONGEST_DELAY_S = 3600 };

static const struct feed_kind *kind_of(enum source_kind kind)
{
	switch (kind) {
	case SOURCE_KERNEL:
		return &feed_kernel;
	case SOURCE_SPOOL:
		return &feed_spool;
	case SOURCE_HTTP:
		return &feed_http;
	case SOURCE_MQTT:
		return &feed_mqtt;
	case SOURCE_BLUETOOTH:
		return &feed_bluetooth;
	case SOURCE_COMMAND:
		return &feed_command;
	case SOURCE_SOCKET:
		break;
	}
	return &feed_socket;
}

enum rc feed_new(const struct feed_owner *owner, const struct source *source, struct feed **out,
	struct err *err)
{
	struct feed *f = mem_new(1, sizeof *f);
	if (!f)
		return err_set(err, RC_MEM, "source \"%s\": out of memory", source->name);
	*f = (struct feed){ .owner = *owner, .source = source, .kind = kind_of(source->kind) };
	enum rc rc = f->kind->start(f, &f->work, err);
	if (rc == RC_OK)
		*out = f;
	else
		mem_free(f);
	return rc;
}

void feed_free(struct feed *f)
{
	if (!f)
		return;
	f->kind->stop(f, f->work);
	mem_free(f);
}

enum rc feed_now(struct feed *f, int64_t now_s, struct err *err)
{
	return f->kind->now(f, f->work, now_s, err);
}

enum rc feed_take(struct feed *f, const struct intake_sample *samples, size_t n, int64_t now_s,
	struct err *err)
{
	if (f->owner.show) {
		f->owner.show(f->owner.arg, samples, n);
		return RC_OK;
	}
	enum rc rc = app_take_samples(f->owner.app, f->source, samples, n, now_s, err);
	if (rc == RC_OK)
		f->owner.fed(f->owner.arg);
	return rc;
}

void feed_hold(struct feed *f, struct feed_held *h, const struct intake_sample *s)
{
	if (h->n == FEED_HELD_MAX) {
		memmove(h->sample, h->sample + 1, (FEED_HELD_MAX - 1) * sizeof *h->sample);
		h->n--;
		log_line(f->owner.app->log, LEVEL_ERROR, f->source->name,
			"source \"%s\": the store took nothing for long: the oldest reading held "
			"is lost",
			f->source->name);
	}
	h->sample[h->n++] = *s;
}

enum rc feed_store_held(struct feed *f, struct feed_held *h, int64_t now_s, struct err *err)
{
	if (h->n == 0)
		return RC_OK;
	enum rc rc = feed_take(f, h->sample, h->n, now_s, err);
	if (rc == RC_OK)
		h->n = 0;
	return rc;
}

void feed_end_held(struct feed *f, struct feed_held *h)
{
	struct err err = { 0 };
	if (feed_store_held(f, h, clock_now_s(f->owner.app->clock), &err) != RC_OK)
		log_line(f->owner.app->log, LEVEL_ERROR, f->source->name,
			"source \"%s\": %s, %zu readings are lost", f->source->name, err.text,
			h->n);
}

static enum rc take_or_hold(struct feed *f, struct feed_held *h,
	const struct intake_sample *samples, size_t n, int64_t now_s, struct err *err)
{
	enum rc rc = h ? feed_store_held(f, h, now_s, err) : RC_OK;
	if (rc == RC_OK)
		rc = feed_take(f, samples, n, now_s, err);
	for (size_t i = 0; rc != RC_OK && h && i < n; i++)
		feed_hold(f, h, &samples[i]);
	return rc;
}

enum rc feed_payload(struct feed *f, const struct pick *pick, const char *topic, const void *bytes,
	size_t n, int64_t now_s, struct feed_held *held, struct pick_result *found, struct err *err)
{
	struct pick_result result = { 0 };
	struct intake_sample *samples = mem_new(PICK_SAMPLES_MAX, sizeof *samples);
	if (!samples)
		return err_set(err, RC_MEM, "out of memory");
	enum rc rc =
		pick_payload(pick, topic, bytes, n, now_s, samples, PICK_SAMPLES_MAX, &result, err);
	if (rc == RC_OK && result.n == 0)
		rc = err_set(err, RC_INPUT, "no usable value%s%s", result.example[0] ? ": " : "",
			result.example);
	if (rc == RC_OK)
		rc = take_or_hold(f, held, samples, result.n, now_s, err);
	if (found)
		*found = result;
	mem_free(samples);
	return rc;
}

void feed_failed(struct feed *f, const char *why, int64_t now_s)
{
	struct err err = { 0 };
	if (f->owner.show)
		return;
	if (store_source_failed(f->owner.app->desk.store, f->source->name, why, now_s, &err) !=
		RC_OK)
		log_line(f->owner.app->log, LEVEL_WARNING, f->source->name, "source \"%s\": %s",
			f->source->name, err.text);
}

int64_t feed_delay_s(int64_t every_s, int failures)
{
	return timer_doubled_s(
		every_s, failures, every_s > LONGEST_DELAY_S ? every_s : LONGEST_DELAY_S);
}
