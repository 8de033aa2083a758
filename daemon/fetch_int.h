/* Inside of fetching, for fetch*.c only: where an address leads, how a credential is shown, faults in words. */
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

/* Room for a name, "Basic " and the four thirds of user and secret. */
enum { FETCH_SHOWN_SIZE = TITLE_SIZE + (SECRET_MAX + TITLE_SIZE) * 4 / 3 + 16 };

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
