/* Lines for the operator on standard error: with `<N>` priorities when that is the journal, else as
 * `seasond: warning: ...`. Only the programs log; library layers return struct err.
 * Nothing secret is ever passed here: no passwords, tokens, or addresses with them in.
 *
 * Cap: per key at most LOG_BURST lines in LOG_WINDOW_MS, and LOG_LINE_MAX bytes a line. What was
 * held back is counted and told with the key's first line after the window. */
#ifndef DAEMON_LOG_H
#define DAEMON_LOG_H

#include <stdbool.h>
#include <stdint.h>

#include "core/err.h"
#include "daemon/clock.h"

enum { LOG_BURST = 5, LOG_WINDOW_MS = 600000, LOG_LINE_MAX = 1024, LOG_KEYS = 64 };

enum log_level { LEVEL_ERROR, LEVEL_WARNING, LEVEL_NOTICE, LEVEL_INFO };

struct log {
	int fd;
	bool journal;
	const struct clock *clock;
	struct log_key {
		uint64_t hash; /* 0: free */
		int64_t since_ms;
		int64_t lines; /* in this window, shown or not */
	} keys[LOG_KEYS];
};

/* fd and clock are borrowed. */
void log_init(struct log *l, int fd, const struct clock *clock);

/* key tells apart what is capped by itself, such as a source's name; with the same fmt it is one
 * site. NULL: the fmt alone. Control characters in the text become '?'. */
void log_line(struct log *l, enum log_level level, const char *key, const char *fmt, ...)
	PRINTF_LIKE(4, 5);

#endif
