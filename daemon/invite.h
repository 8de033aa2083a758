/* Which clients are to be told of a visit by mail, and when they were told (RFC 5546 3.2.2, 3.2.5).
 *
 * Told are the clients who agreed and have an address, of a visit that is open: its appointment, or while there is none the
 * first day that suits, with the wish to name a time. A letter follows only what changes where to be when: the appointment
 * moved, the proposed day left the window, the address is another; never mere words. Each raises SEQUENCE by one (2.1.4) and
 * a client's answer counts for what it answered. A visit that closes before its time is called off, unless the client was
 * never told of it. Who does not agree any more gets nothing, not even that. */
#ifndef DAEMON_INVITE_H
#define DAEMON_INVITE_H

#include "daemon/desk.h"
#include "daemon/store_post.h"

/* Within the caller's transaction: writes the letters that are called for at now_s into the outbox. *written is added to. */
MUST_USE enum rc invite_all(struct desk *d, int64_t now_s, size_t *written, struct err *err);

/* Within the caller's transaction: whether a letter may go out as records and settings stand now; *why NULL, or why not. An
 * invitation that may not is untold. */
MUST_USE enum rc invite_allowed(
	struct desk *d, const struct letter *l, const char **why, struct err *err);

#endif
