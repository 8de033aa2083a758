/* One source of the settings at work, whatever its kind: feed_int.h says what a kind brings, feed_KIND.c is one. A feed
 * puts readings into the app's store, reports to its log, and rings `fed` when something came.
 */
#ifndef DAEMON_FEED_H
#define DAEMON_FEED_H

#include "daemon/app.h"
#include "daemon/fetch.h"
#include "daemon/loop.h"

/* Readings of one chip kept while the store can't take them; older ones go first. */
enum { FEED_HELD_MAX = 300 };

struct feed;

struct feed_owner {
	struct app *app;
	struct loop *loop;
	struct fetch *fetch; /* of the loop; NULL: only feed_now is called */
	void (*fed)(void *arg);
	/* NULL, or: nothing is stored, what a source brought goes here */
	void (*show)(void *arg, const struct intake_sample *samples, size_t n);
	void *arg;
};

/* Borrows source (of the app's settings) and copies owner. The first reading comes at the loop's
 * next wake. */
MUST_USE enum rc feed_new(const struct feed_owner *owner, const struct source *source,
	struct feed **out, struct err *err);
/* Tries once more to store what is held. */
void feed_free(struct feed *f);

/* Reads or looks now. RC_OK, or why not (logged already). */
MUST_USE enum rc feed_now(struct feed *f, int64_t now_s, struct err *err);

#endif
