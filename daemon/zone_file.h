/* Time zone files (TZif, RFC 8536): when an offset changes. The C library would tell through TZ in the
 * environment, which another thread may be reading. */
#ifndef DAEMON_ZONE_FILE_H
#define DAEMON_ZONE_FILE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Takes one offset, seconds east of UTC, in force from at_s on, in order of time; the first one from
 * INT64_MIN. false: stop. */
typedef bool zone_file_take(void *arg, int64_t at_s, int32_t offset_s);

/* All offsets until last_s; by the file's list of changes, then by its rule. false: not such a file, or
 * take said so. Equal offsets may follow each other. */
bool zone_file_read(const char *bytes, size_t n, int64_t last_s, zone_file_take *take, void *arg);

#endif
