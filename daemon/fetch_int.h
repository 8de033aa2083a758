/* Inside of fetching, for fetch*.c only: a page, where an address leads, how a credential is shown, faults in words. */
#ifndef DAEMON_FETCH_INT_H
#define DAEMON_FETCH_INT_H

#include <curl/curl.h>

#include "daemon/fetch.h"
#include "daemon/secret.h"

/* Whom one talks to. */
struct fetch_origin {
	char scheme[8], host[256], port[8];
};

/* False when url is no http or https address with a host; scheme then holds what it is, cut, or "". */
bool fetch_origin_of(const char *url, struct fetch_origin *out);
bool fetch_origin_same(const struct fetch_origin *a, const struct fetch_origin *b);

/* The setting that holds the address. */
const char *fetch_key(const struct fetch_at *at);

/* Room for a name, "Basic " and the four thirds of user and secret. */
enum { FETCH_SHOWN_SIZE = TITLE_SIZE + (SECRET_MAX + TITLE_SIZE) * 4 / 3 + 16 };

struct fetch_page {
	struct fetch_at at;
	struct fetch_origin home; /* of at.url: who may see the credential */
	struct transfer *transfer;
	CURL *easy; /* the transfer's */
	char known[FETCH_ETAG_SIZE]; /* etag to ask with */
	struct fetch_request request; /* method NULL: the page itself is got */
	/* of the fetch under way */
	struct fetch_origin here;
	int redirects;
	int64_t left_ms; /* of the time limit */
	bool shown; /* the credential is sent */
	char *shown_line; /* FETCH_SHOWN_SIZE; wiped when done */
	char asked_line[FETCH_ETAG_SIZE + 24];
	struct curl_slist headers[FETCH_OWN_HEADERS_MAX + 3]; /* libcurl borrows them */
	size_t header_bytes;
	char etag[FETCH_ETAG_SIZE];
	size_t n, room;
	char *body;
	bool no_memory; /* for more of the body */
};

/* Headers and method of the request for the handle; the credential's line is wiped by fetch_unsend. */
MUST_USE enum rc fetch_send_head(struct fetch_page *p, struct err *err);
/* Without the credential from now on. */
void fetch_send_bare(struct fetch_page *p);
/* Address and limits; libcurl copies url. */
MUST_USE enum rc fetch_send_to(struct fetch_page *p, const char *url, struct err *err);
void fetch_unsend(struct fetch_page *p);

/* The header line that shows the credential; "" for AUTH_NONE. The caller wipes it. */
MUST_USE enum rc fetch_show(const struct fetch_at *at, char *line, size_t size, struct err *err);
/* Whether the settings can be shown at all. */
MUST_USE enum rc fetch_check(const struct fetch_at *at, struct err *err);

/* What libcurl's verdict means and what would help. took_ms: since the fetch began; got: bytes of the body. */
MUST_USE enum rc fetch_fault(CURL *easy, CURLcode verdict, const struct fetch_at *at,
	const struct fetch_origin *at_host, int64_t took_ms, size_t got, struct err *err);
/* Of a status that brings no page. shown: the credential was sent. */
MUST_USE enum rc fetch_status(long status, const struct fetch_at *at,
	const struct fetch_origin *at_host, bool shown, struct err *err);

#endif
