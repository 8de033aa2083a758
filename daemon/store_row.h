/* Binding and reading single values and whole results; for the store_*.c files only. */
#ifndef DAEMON_STORE_ROW_H
#define DAEMON_STORE_ROW_H

#include "daemon/store_int.h"

/* text must stay until the statement has run. */
void row_bind_text(sqlite3_stmt *q, int at, const char *text);
/* TIME_NEVER is NULL in the store. */
void row_bind_time(sqlite3_stmt *q, int at, int64_t t_s);
int64_t row_time(sqlite3_stmt *q, int at);
/* NAN is NULL in the store. */
void row_bind_real(sqlite3_stmt *q, int at, double v);
double row_real(sqlite3_stmt *q, int at);
void row_text(sqlite3_stmt *q, int at, char *buf, size_t n);
void row_end(sqlite3_stmt *q);

/* Reads every row of q into a growing array of size-byte records (at most 100000, then RC_STORE), zeroed before
 * `row` fills each. The array is the caller's (mem_free). Ends q. */
MUST_USE enum rc row_gather(struct store *s, sqlite3_stmt *q, size_t size,
	void (*row)(sqlite3_stmt *q, void *out), void **out, size_t *n, struct err *err);

#endif
