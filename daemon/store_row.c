#include "daemon/store_row.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"

enum { ROWS_MAX = 100000 };

void row_bind_text(sqlite3_stmt *q, int at, const char *text)
{
	(void)sqlite3_bind_text(q, at, text, -1, SQLITE_STATIC);
}

void row_bind_time(sqlite3_stmt *q, int at, int64_t t_s)
{
	if (t_s == TIME_NEVER)
		(void)sqlite3_bind_null(q, at);
	else
		(void)sqlite3_bind_int64(q, at, t_s);
}

int64_t row_time(sqlite3_stmt *q, int at)
{
	return sqlite3_column_type(q, at) == SQLITE_NULL ? TIME_NEVER : sqlite3_column_int64(q, at);
}

void row_bind_real(sqlite3_stmt *q, int at, double v)
{
	if (isnan(v))
		(void)sqlite3_bind_null(q, at);
	else
		(void)sqlite3_bind_double(q, at, v);
}

double row_real(sqlite3_stmt *q, int at)
{
	return sqlite3_column_type(q, at) == SQLITE_NULL ? (double)NAN
							 : sqlite3_column_double(q, at);
}

void row_text(sqlite3_stmt *q, int at, char *buf, size_t n)
{
	const unsigned char *text = sqlite3_column_text(q, at);
	(void)snprintf(buf, n, "%s", text ? (const char *)text : "");
}

void row_end(sqlite3_stmt *q)
{
	(void)sqlite3_reset(q);
	(void)sqlite3_clear_bindings(q);
}

static bool grow(char **rows, size_t *cap, size_t size)
{
	size_t wanted = *cap ? 2 * *cap : 16;
	char *more = mem_grow(*rows, wanted, size);
	if (more) {
		*rows = more;
		*cap = wanted;
	}
	return more;
}

enum rc row_gather(struct store *s, sqlite3_stmt *q, size_t size,
	void (*row)(sqlite3_stmt *q, void *out), void **out, size_t *n, struct err *err)
{
	char *rows = NULL;
	size_t used = 0, cap = 0;
	enum rc rc = RC_OK;
	int step = SQLITE_DONE;
	while (rc == RC_OK && (step = sqlite3_step(q)) == SQLITE_ROW) {
		if (used == ROWS_MAX)
			rc = err_set(
				err, RC_STORE, "store: more than %d rows of one kind", ROWS_MAX);
		else if (used == cap && !grow(&rows, &cap, size))
			rc = err_set(err, RC_MEM, "store: out of memory");
		if (rc == RC_OK) {
			memset(rows + used * size, 0, size);
			row(q, rows + used++ * size);
		}
	}
	if (rc == RC_OK && step != SQLITE_DONE)
		rc = store_fail(s, "reading rows", err);
	row_end(q);
	if (rc != RC_OK) {
		mem_free(rows);
		return rc;
	}
	*out = rows;
	*n = used;
	return RC_OK;
}
