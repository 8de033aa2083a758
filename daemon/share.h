/* Calendars on CalDAV servers, kept in step both ways (see dav.h, pages.h, hear.h).
 *
 * Each edition and kind has a collection of its own, as servers want one kind and each UID once in a collection: to-dos by
 * the edition's name, events as NAME-events beside them, or by the name alone.
 *
 * A round of an edition: find the collection, list what changed there since the last token, read what changed, take it
 * into the agenda, settle, then put what differs from what was last sent. A round runs at the output's interval, and for
 * what is new in the agenda at once. Nothing is queued: what is put is always the agenda of now, so days without the
 * server come to one put an entry. Failures double the wait up to an hour. Everything a round learns is stored before
 * the next request, so that it may be cut off anywhere. Outcomes, shown by `seasonctl calendars`:
 *
 *	412                       read again, merged, put again, three times at most in a round
 *	server not reached        later again, the agenda of then
 *	collection gone or empty  all of it put again, under the same UIDs
 *	one entry gone            looked for in the account's other collections: found, it is read there from now on; not
 *	                          found, the item is put aside
 *	no room, UID taken        told; tried again at the next change and once a day
 *	401, 403                  told; tried again every hour, or when the settings are read again */
#ifndef DAEMON_SHARE_H
#define DAEMON_SHARE_H

#include "daemon/app.h"
#include "daemon/fetch.h"

struct share;

struct share_owner {
	struct app *app;
	struct loop *loop;
	struct fetch *fetch;
	void (*heard)(void *arg); /* the agenda changed: settle soon */
	void *arg;
};

/* Nothing is asked in a replay. */
MUST_USE enum rc share_new(const struct share_owner *owner, struct share **out, struct err *err);
void share_free(struct share *s);

/* Whether there is any calendar on a server to keep. */
bool share_any(const struct share *s);

/* After each settling: what is new goes out. */
void share_settled(struct share *s, int64_t now_s);

/* One round of everything, for `seasond --once`: runs the loop until it is over. */
MUST_USE enum rc share_now(struct share *s, int64_t now_s, struct err *err);

#endif
