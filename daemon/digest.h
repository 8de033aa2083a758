/* The week in one letter to the bench: what is open, visits and their answers, the air of every place, what was done, what
 * is out of order. One for each week; when none could be made for weeks, only the latest is. */
#ifndef DAEMON_DIGEST_H
#define DAEMON_DIGEST_H

#include "daemon/desk.h"

enum { DIGEST_SIZE = 1 << 16 }; /* bytes of text; the rest is cut off */

/* The last time at or before now_s, and the first after it, that the clock of the zone shows what `digest` says
 * ("Mon 07:00"): a time the clock skips counts by the offset before, of one it shows twice the first. */
int64_t digest_due_s(const char *digest, const struct zone *zone, int64_t now_s);
int64_t digest_next_s(const char *digest, const struct zone *zone, int64_t now_s);

/* Within the caller's transaction: when one is due and not written yet, it goes into the outbox, and one that still waits
 * there is dropped. The first one comes at the first time after mail was set up. *written is added to. */
MUST_USE enum rc digest_write(struct desk *d, int64_t now_s, size_t *written, struct err *err);

#endif
