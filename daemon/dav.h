/* A CalDAV server (RFC 4791, 4918, 6578, 6764) as its client sees it, over fetch: one request at a time, answers through
 * callbacks from the loop. Nothing here knows of the agenda.
 *
 * Redirects keep method and body and stay with scheme, host and port of the address in the settings: what leads elsewhere
 * is DAV_ODD, and told where to. Answers are limited to DAV_ANSWER_MAX and DAV_ENTRIES_MAX; XML is read by libxml2 with a
 * document type, and so entities, refused. hrefs are compared decoded and without host. */
#ifndef DAEMON_DAV_H
#define DAEMON_DAV_H

#include "daemon/calendar.h"
#include "daemon/fetch.h"

enum {
	DAV_ANSWER_MAX = 16 * 1024 * 1024,
	DAV_ENTRIES_MAX = 20000, /* of one answer, and of all the answers to one dav_changes */
	DAV_HREF = 1024, /* longer ones are left out */
	DAV_ETAG = FETCH_ETAG_SIZE, /* longer ones count as none */
	DAV_TOKEN = 1024 /* longer ones count as none */
};

struct dav;

/* Borrowed for its life. */
struct dav_at {
	const char *url, *ca_file;
	enum source_auth auth;
	const char *user, *credential;
	int64_t limit_s; /* of one request */
};

/* What an answer comes to. */
enum dav_verdict {
	DAV_OK,
	DAV_UNREACHED, /* not reached, broken off, 5xx, 429, out of memory: later again */
	DAV_REFUSED, /* 401, 403: the credential or the rights */
	DAV_GONE, /* 404, 410 of what was asked for; 409: of the collection it belongs to */
	DAV_CHANGED, /* 412: others changed it, or it is there already */
	DAV_TAKEN, /* another resource of the collection has that UID (no-uid-conflict) */
	DAV_FULL, /* 413, 507: too large, or no room */
	DAV_ODD /* an answer that is none: HTML, broken XML, too large, an address that is no calendar */
};

struct dav_entry {
	char href
		[DAV_HREF]; /* path, percent-encoded as the server gave it; of dav_get, dav_put: as it was asked for */
	char etag[DAV_ETAG]; /* with its quotes; "" : none, or a weak one, which is of no use */
	bool gone; /* of dav_changes */
	const char *text; /* of dav_get and dav_elsewhere: with LF; NULL else */
	size_t n;
};

/* Borrowed until done returns. */
struct dav_result {
	enum dav_verdict verdict;
	const char *why; /* what is wrong and what would help, when not DAV_OK; never secrets */
	int64_t retry_after_s; /* 0: not said */
	const char *url; /* dav_find: of the collection; else of what was asked, after redirects */
	bool made; /* dav_find: it was not there and has been made */
	bool whole; /* dav_changes: all that is there is listed, what is not listed is not there */
	const char *token; /* dav_changes: for the next time, "" : none */
	const struct dav_entry *entries;
	size_t n;
};

/* RC_CONFIG: what cannot be an address or a user's name; RC_MEM. */
MUST_USE enum rc dav_new(
	struct fetch *f, const struct dav_at *at, struct dav **out, struct err *err);
void dav_free(struct dav *d); /* what is under way is dropped */

/* Gives back what libxml2 keeps between calls; XML may be read again afterwards. */
void dav_end(void);

/* Each call below calls done once, from the loop and never from within; only one may be under way. done may begin the next,
 * not free. Texts and lists given are borrowed until then; collections and hrefs are paths or addresses of the server. */
typedef void dav_done(void *arg, const struct dav_result *r, int64_t now_s);

/* The calendar for entries of that kind: the address itself when it is one, or the one called `name` in the folder of
 * calendars that the address is, or in the account's calendar home (.well-known/caldav, current-user-principal,
 * calendar-home-set), made with MKCALENDAR when it is not there. `name` is the last part of its address, not what people
 * see. A calendar that does not take the kind is DAV_ODD. */
void dav_find(struct dav *d, enum calendar_kind kind, const char *name,
	const struct calendar_head *head, dav_done *done, void *arg);

/* What changed since token by sync-collection; "" and any trouble with the token: a listing of all. Resources only, not
 * collections within. */
void dav_changes(
	struct dav *d, const char *collection, const char *token, dav_done *done, void *arg);

/* The texts of 1 to DAV_GET_MAX hrefs by multiget, or one by one where the server has none or leaves some out; what is not
 * there any more is not among the entries. */
enum { DAV_GET_MAX = 200 };
void dav_get(struct dav *d, const char *collection, const char *const *hrefs, size_t n,
	dav_done *done, void *arg);

/* Puts a text; etag NULL: it must not be there yet, "" : whatever is there. entries[0].etag is the new one, asked for when
 * the answer has none; what others put in that moment then counts as seen. */
void dav_put(struct dav *d, const char *href, const char *etag, const char *text, dav_done *done,
	void *arg);

/* etag "" : whatever is there. */
void dav_delete(struct dav *d, const char *href, const char *etag, dav_done *done, void *arg);

/* The resource with that UID in any collection of the account's home but those: none (n == 0) or the first found. */
void dav_elsewhere(struct dav *d, const char *const *but, size_t n_but, const char *uid,
	dav_done *done, void *arg);

/* Whether both lead to the same: decoded, without host and without a slash at the end. */
bool dav_href_same(const char *a, const char *b);

#endif
