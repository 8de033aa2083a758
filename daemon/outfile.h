/* Files that readers never see half: temporary in the same folder, every write checked, fsync,
 * rename, fsync of the folder. Equal bytes leave the old file and its time alone. One writer at a
 * time for each path: the temporary is .NAME.part, and one that a crash left behind is replaced. */
#ifndef DAEMON_OUTFILE_H
#define DAEMON_OUTFILE_H

#include <stdbool.h>
#include <stddef.h>

#include "core/err.h"

/* The system calls a replacement uses, so that tests can make each of them fail. NULL means the
 * real ones. */
struct outfile_ops {
	int (*open)(const char *path, int flags, unsigned mode);
	long (*write)(int fd, const void *buf, size_t n);
	int (*fchmod)(int fd, unsigned mode);
	int (*fsync)(int fd);
	int (*close)(int fd);
	int (*rename)(const char *from, const char *to);
	int (*unlink)(const char *path);
};

/* Puts bytes at path, mode 0644. *changed tells whether the file was replaced. RC_IO (folder
 * missing, denied), RC_FULL; on failure the old file is untouched and no temporary stays. Only when
 * the last step fails, fsync of the folder after the rename, the new bytes stand, whole; the disk
 * may still lose them. */
MUST_USE enum rc outfile_put(const char *path, const char *bytes, size_t n,
	const struct outfile_ops *ops, bool *changed, struct err *err);

/* The whole of a regular file of at most max bytes, NUL added; the caller's (mem_free). RC_IO when
 * it is missing, unreadable or not a regular file, RC_INPUT when it is longer. */
MUST_USE enum rc outfile_read(
	const char *path, size_t max, char **bytes, size_t *n, struct err *err);

#endif
