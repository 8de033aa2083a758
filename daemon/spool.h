/* A folder people and programs drop files into. Each file is handed to `take`; once that says its
 * content is durable the file moves to done/, when it can't be used to failed/ with NAME.reason
 * beside it. A crash in between hands the file over again, which must change nothing.
 *
 * Half-written files are left alone: a file is taken when its writer closed it or moved it here
 * (inotify), or when a scan finds it unchanged for quiet_s. Names that start with '.' or end in
 * .tmp or .part are never touched, nor is anything but regular files. Caps: SPOOL_PASS_MAX files
 * are taken in one go, SPOOL_NAMES_MAX looked at; the rest follows at the next wake. done/ and
 * failed/ are the operator's to empty. */
#ifndef DAEMON_SPOOL_H
#define DAEMON_SPOOL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

#include "core/err.h"
#include "daemon/loop.h"

enum { SPOOL_PASS_MAX = 16, SPOOL_NAMES_MAX = 512, SPOOL_QUIET_S = 10, SPOOL_SUMMARY_MAX = 256 };

enum spool_news {
	SPOOL_DONE, /* text: the summary of take */
	SPOOL_FAILED, /* text: why it lies in failed/ now */
	SPOOL_LATER, /* text: why it has to wait; it is tried again by itself */
	SPOOL_STUCK /* name "": the folder can't be read; else: taken, but can't be moved */
};

/* A file as a scan saw it. */
struct spool_file {
	ino_t inode; /* 0: free */
	off_t size;
	int64_t changed_ns; /* ctime */
	int64_t since_s; /* seen like this since */
	enum spool_state { SPOOL_WAITING, SPOOL_CLOSED, SPOOL_TO_DONE, SPOOL_TO_FAILED } state;
	bool present;
};

struct spool {
	/* the owner's; texts and arg are borrowed */
	const char *folder;
	int64_t interval_s; /* between scans when inotify has nothing to tell */
	int64_t quiet_s; /* SPOOL_QUIET_S; 0 in a replay */
	/* Reads path and makes its content durable. RC_BUSY, RC_FULL, RC_STORE, RC_MEM: not now,
	 * later. Any other error: the file is at fault. summary: one line for people. */
	enum rc (*take)(void *arg, const char *path, char *summary, size_t n, struct err *err);
	void (*news)(void *arg, enum spool_news what, const char *name, const char *text);
	void *arg;
	/* the module's */
	struct loop *loop;
	struct timer timer;
	int inotify_fd, watch;
	int64_t delay_ms; /* of the next try after SPOOL_LATER */
	bool more; /* the last pass left files it could have taken */
	size_t waiting; /* files the last pass left because they are not quiet yet */
	size_t n_files;
	struct spool_file files[SPOOL_NAMES_MAX];
};

/* Begins to watch; the first pass runs at the loop's next wake. A folder that is not there is news,
 * not an error: it is looked for again. RC_IO when the system has no inotify left. */
MUST_USE enum rc spool_start(struct spool *s, struct loop *l, struct err *err);
void spool_stop(struct spool *s); /* harmless when not started */

/* One scan of the folder, as the loop does it. */
void spool_pass(struct spool *s, int64_t now_s);

#endif
