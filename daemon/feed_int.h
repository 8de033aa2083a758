/* Inside of feeds, for feed*.c only: what each kind of source brings to the common part. */
#ifndef DAEMON_FEED_INT_H
#define DAEMON_FEED_INT_H

#include "daemon/feed.h"
#include "daemon/pick.h"

/* A kind of source at work. */
struct feed_kind {
	/* Starts it; *work is the kind's own. What is watched and timed starts at the loop's next wake. In a replay
	 * (owner.app->replay) nothing outside is asked. */
	enum rc (*start)(struct feed *f, void **work, struct err *err);
	void (*stop)(struct feed *f, void *work); /* frees it; what is held is tried once more */
	enum rc (*now)(struct feed *f, void *work, int64_t now_s, struct err *err);
};
extern const struct feed_kind feed_bluetooth, feed_command, feed_http, feed_kernel, feed_mqtt,
	feed_socket, feed_spool;

struct feed {
	struct feed_owner owner;
	const struct source *source;
	const struct feed_kind *kind;
	void *work;
};

/* Makes what the source brought durable and rings `fed`. */
MUST_USE enum rc feed_take(struct feed *f, const struct intake_sample *samples, size_t n,
	int64_t now_s, struct err *err);

/* Readings that wait for the store; they come once, so that asking again would not bring them. */
struct feed_held {
	size_t n;
	struct intake_sample sample[FEED_HELD_MAX];
};

/* One more; when it is full the oldest is lost, which the log tells. */
void feed_hold(struct feed *f, struct feed_held *h, const struct intake_sample *s);
/* All of them by feed_take; on failure they go on waiting. */
MUST_USE enum rc feed_store_held(
	struct feed *f, struct feed_held *h, int64_t now_s, struct err *err);
/* The last try of a source that stops; the log tells what is lost. */
void feed_end_held(struct feed *f, struct feed_held *h);

/* Picks readings out of a payload and takes them, those of held (NULL: none is) first; held then keeps what the store does
 * not take. found (NULL allowed) as in pick.h, and so is topic. RC_INPUT, RC_ASK: not of its format, or no usable value at
 * all; other errors are the store's. */
MUST_USE enum rc feed_payload(struct feed *f, const struct pick *pick, const char *topic,
	const void *bytes, size_t n, int64_t now_s, struct feed_held *held,
	struct pick_result *found, struct err *err);

/* Remembers for `seasonctl sources` that a try failed; the log is the caller's. */
void feed_failed(struct feed *f, const char *why, int64_t now_s);

/* When to try again after `failures` failures in a row: every_s doubled each time up to an hour, or every_s when
 * that is longer. */
int64_t feed_delay_s(int64_t every_s, int failures);

#endif
