/* The Unix door of the local intake: a stream socket of mode 0660; who may write to it needs no token.
 *
 * A client sends payloads, each ended by a line end (in json by one outside of brackets) or by the end of what it sends,
 * and reads one line for each, in their order: `ok N` once its N readings are durable, or `error: ...`. Blank lines are
 * skipped. A payload over the source's size_limit, or one that takes longer than its time_limit, ends the connection,
 * and so does silence of that length; over GATE_CLIENTS_MAX clients are sent away with a line. */
#ifndef DAEMON_GATE_UNIX_H
#define DAEMON_GATE_UNIX_H

#include "daemon/gate.h"

struct gate_unix;

/* Listens at path of the source. A socket that lies there is replaced when nobody listens to it; anything else is left
 * alone: RC_IO. Borrows g. */
MUST_USE enum rc gate_unix_new(struct gate *g, struct gate_unix **out, struct err *err);

/* Drops its clients and removes the socket, when it is still this one. NULL is allowed. */
void gate_unix_free(struct gate_unix *u);

#endif
