/* The span of a replay as people write it: FROM..TO. */
#ifndef DAEMON_REPLAY_H
#define DAEMON_REPLAY_H

#include <stdint.h>

#include "core/err.h"

/* Each end is `2025-11-01`, or `2025-11-01T06:00` with optional seconds and Z; all UTC. A bare date
 * as TO means its end. RC_USAGE when it can't be read or FROM is not before TO. */
MUST_USE enum rc replay_span(const char *text, int64_t *from_s, int64_t *to_s, struct err *err);

#endif
