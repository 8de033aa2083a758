/* Exit statuses of both programs, as in sysexits.h. */
#ifndef DAEMON_EXITCODE_H
#define DAEMON_EXITCODE_H

#include "core/err.h"

/* RC_OK 0, RC_USAGE 64, RC_INPUT and RC_ASK 65 (the data), RC_UNKNOWN 66 (a name that is not
 * there), RC_STORE 70, RC_MEM 71, RC_FULL 73, RC_IO 74, RC_BUSY 75 (try again), RC_CONFIG 78. */
int exitcode_of(enum rc rc);

#endif
