/* Inside of the store, for the store_*.c files only. */
#ifndef DAEMON_STORE_INT_H
#define DAEMON_STORE_INT_H

#include <sqlite3.h>

#include "daemon/store.h"

/* Statements are prepared once, when first used, and kept until the store closes. */
enum { STORE_STATEMENTS_MAX = 96 };

struct store {
	sqlite3 *db;
	char path[512];
	bool in_transaction;
	struct {
		const char *sql; /* the literal's address is the key */
		sqlite3_stmt *q;
	} statements[STORE_STATEMENTS_MAX];
};

/* The prepared statement of that literal, reset and without bindings; NULL sets err. */
sqlite3_stmt *store_statement(struct store *s, const char *sql, struct err *err);

/* Steps a statement that gives no row, resets and clears it. */
MUST_USE enum rc store_run(struct store *s, sqlite3_stmt *q, struct err *err);

/* The SQLite error of the last call as rc (busy, full, damaged, other) with text `store PATH: what: why`. */
enum rc store_fail(struct store *s, const char *what, struct err *err);

#endif
