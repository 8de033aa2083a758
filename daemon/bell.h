/* The doorbell between the programs: seasonctl writes to the same store as the service, and rings a
 * file beside it, STORE.bell, so that the service need not poll for what has changed. Its content
 * means nothing; ringing is closing it after opening it for writing. */
#ifndef DAEMON_BELL_H
#define DAEMON_BELL_H

#include <stdint.h>

#include "core/err.h"
#include "daemon/loop.h"

/* After a commit. Failing is no harm: the service notices at its next full hour. */
void bell_ring(const char *store_path);

struct bell {
	/* the owner's */
	void (*rung)(void *arg, int64_t now_s);
	void *arg;
	/* the module's */
	struct loop *loop;
	int inotify_fd, watch;
	char path[512];
};

/* Makes the file when it is not there and calls rung from the loop, once for rings close together.
 */
MUST_USE enum rc bell_start(
	struct bell *b, struct loop *l, const char *store_path, struct err *err);
void bell_stop(struct bell *b); /* harmless when not started */

#endif
