/* A program run beside us and heard to its end, through the event loop.
 *
 * No shell. It gets its arguments, PATH=/usr/local/bin:/usr/bin:/bin, LANG=C.UTF-8 and TZ=UTC and no more of an
 * environment; standard input is /dev/null, no other descriptor of ours is open in it, its folder is /, it leads a
 * process group of its own, leaves no core file and gains no rights by running others (no_new_privs).
 * When its time is over or it prints more than it may, the group gets SIGTERM and CHILD_PATIENCE_S later SIGKILL. When it
 * ends, what is left of its group is killed: nobody it started outlives it to hold the pipe. It dies with us, too. */
#ifndef DAEMON_CHILD_H
#define DAEMON_CHILD_H

#include <stddef.h>
#include <stdint.h>

#include "core/err.h"
#include "daemon/loop.h"

enum { CHILD_ARGUMENTS_MAX = 16, CHILD_PATIENCE_S = 2, CHILD_WORDS_SIZE = 200 };

struct child;

struct child_how {
	const char *program; /* an absolute path */
	const char *arguments[CHILD_ARGUMENTS_MAX]; /* up to the first NULL */
	int64_t time_limit_s;
	size_t size_limit; /* bytes of standard output */
};

/* How it went. rc is RC_OK when it ended with exit status 0 within its limits, else RC_IO, and why then tells it in
 * words, with the last line it wrote to standard error. */
struct child_end {
	enum rc rc;
	struct err why;
	const char *bytes; /* standard output */
	size_t n;
};

/* Starts it. ended is called once, from the loop, when it is gone and waited for; what it is given lasts for the call,
 * and the child is freed after it. A program that can't be executed is told by ended. */
MUST_USE enum rc child_start(struct loop *l, const struct child_how *how,
	void (*ended)(void *arg, const struct child_end *end, int64_t now_s), void *arg,
	struct child **out, struct err *err);

/* Kills it and its group, waits for it and frees it; ended is not called. NULL is allowed. */
void child_kill(struct child *c);

#endif
