/* Pages fetched over HTTP and HTTPS, in the one event loop (see transfer.h).
 *
 * A page is fetched with GET, again and again, over connections that are kept; any other request can be made of the same
 * server. Certificates are checked, nothing is
 * compressed, no proxy is used and neither the environment nor .netrc is asked. Redirects are followed here and not by
 * libcurl: at most FETCH_REDIRECTS_MAX, to http and https only, from https never to http, and the credential is shown to
 * no scheme, host or port but that of the page's own address. Names are resolved in short-lived threads of libcurl's.
 *
 * Caps: TRANSFERS_MAX fetches at once, others wait in the order they came and their time limit with them; size_limit bytes of a body, FETCH_HEADERS_MAX of headers; limit_s for all of a fetch, redirects included;
 * FETCH_CONNECT_S to connect; fewer than FETCH_SLOW_BYTES a second for FETCH_SLOW_S end it. */
#ifndef DAEMON_FETCH_H
#define DAEMON_FETCH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "daemon/settings.h"
#include "daemon/transfer.h"

enum {
	FETCH_REDIRECTS_MAX = 3,
	FETCH_HEADERS_MAX = 65536,
	FETCH_CONNECT_S = 10,
	FETCH_SLOW_BYTES = 16,
	FETCH_SLOW_S = 30,
	FETCH_ETAG_SIZE = 256, /* longer ones are not kept */
	FETCH_OWN_HEADERS_MAX = 6
};

/* All that is fetched in one loop. transfers is borrowed. RC_MEM. */
struct fetch;
MUST_USE enum rc fetch_new(struct transfers *transfers, struct fetch **out, struct err *err);
/* After its pages. */
void fetch_free(struct fetch *f);

struct fetch_answer {
	enum rc rc; /* RC_OK: whole, status 200 or 304, of fetch_page_ask any. RC_CONFIG: address, certificates' file or credential;
		     * RC_IO: not reached, or broken off; RC_INPUT: another status, too large, a redirect not
		     * followed; RC_MEM */
	const char *
		why; /* what is wrong and what would help, when not RC_OK; never an address's path, nor secrets */
	int status; /* 0: none came */
	bool unchanged; /* 304 */
	const char *url; /* of what answered, after redirects */
	size_t n;
	const void *body; /* NULL when n is 0 */
	const char *etag; /* "" : none */
	int64_t retry_after_s; /* 0: not said */
};

/* Borrowed for the page's life. */
struct fetch_at {
	const char *url;
	const char *ca_file; /* "" : the system's */
	enum source_auth auth;
	const char *user, *header, *credential; /* see struct source */
	int64_t limit_s;
	size_t size_limit;
	const char *key; /* the setting url stands in, for words of faults; NULL: url */
	bool fixed_limits; /* limits are no settings: words do not name them */
	void (*done)(void *arg, const struct fetch_answer *answer, int64_t now_s);
	void *arg;
};

struct fetch_page;

/* done is called once for each fetch_page_get, from the loop and never from within a function here; it may get the
 * page again, but not free it. RC_CONFIG: what cannot be an address, a header's name or a user's. */
MUST_USE enum rc fetch_page_new(
	struct fetch *f, const struct fetch_at *at, struct fetch_page **out, struct err *err);
/* A fetch under way is dropped, done is not called. */
void fetch_page_free(struct fetch_page *p);

/* etag ("" : none) of what is known already. Does nothing while the page waits or is under way. */
void fetch_page_get(struct fetch_page *p, const char *etag);

/* A request to the page's server. All is borrowed until done. */
struct fetch_request {
	const char *method; /* PROPFIND */
	const char *url; /* scheme, host and port as those of the page */
	char *headers[FETCH_OWN_HEADERS_MAX]; /* "Depth: 1"; up to the first NULL */
	const char *body; /* NULL: none */
	size_t n;
};

/* Any status comes as an answer, with its body. Redirects keep method and body; one to another scheme, host or port, where
 * neither credential nor body belongs, is RC_INPUT, as is 303, which asks for another method. Does nothing while the page
 * waits or is under way. */
void fetch_page_ask(struct fetch_page *p, const struct fetch_request *r);

#endif
