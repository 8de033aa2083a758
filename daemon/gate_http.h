/* The HTTP door of the local intake: POST /readings with a bearer token (RFC 6750), nothing else.
 *
 * 200 `ok N` once the N readings of the body are durable; 400 the body is at fault, in words; 401 no token or a wrong one;
 * 404, 405; 413 over the source's size_limit; 415 an encoded body; 429 over its rate_limit; 503 the store takes nothing
 * now; the last two with Retry-After. Answers are plain text in printable ASCII. The token is read anew for each request
 * and compared in constant time. A request without it counts for no limit but that of clients.
 * More than GATE_CLIENTS_MAX clients wait to be let in; one that takes longer than the source's time_limit for a request,
 * or between two, is cut off. */
#ifndef DAEMON_GATE_HTTP_H
#define DAEMON_GATE_HTTP_H

#include "daemon/gate.h"

struct gate_http;

/* Listens at `listen` of the source. An address that other machines reach is told in the log. Borrows g. */
MUST_USE enum rc gate_http_new(struct gate *g, struct gate_http **out, struct err *err);

/* Cuts its clients off. NULL is allowed. */
void gate_http_free(struct gate_http *h);

#endif
