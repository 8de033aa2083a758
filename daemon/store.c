#include "daemon/store_int.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"

#define APPLICATION_ID "1936024947" /* "seas" in bytes: tells our file from other SQLite files */

/* Forward only: text i brings a store of version i to i + 1. Never edit one that was released.
 * Times are seconds UTC, hours are t / 3600. Sensors of readings and sums carry no REFERENCES:
 * their numbers come from this store's own sensor table, and each row would be one look-up more. */
static const char *const migrations[] = {
	"CREATE TABLE sensor("
	" id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, zone TEXT, dirty_hour INTEGER) STRICT;"
	/* centi-percent, centi-degC, enum quality_flag */
	"CREATE TABLE reading("
	" sensor INTEGER NOT NULL, t INTEGER NOT NULL, rh INTEGER NOT NULL, temp INTEGER,"
	" flags INTEGER NOT NULL, PRIMARY KEY(sensor, t)) STRICT, WITHOUT ROWID;"
	/* of unflagged readings; the temp_ of no temperature are 0 and NULL */
	"CREATE TABLE hour("
	" sensor INTEGER NOT NULL, hour INTEGER NOT NULL, n INTEGER NOT NULL,"
	" rh_sum INTEGER NOT NULL, rh_min INTEGER NOT NULL, rh_max INTEGER NOT NULL,"
	" temp_n INTEGER NOT NULL, temp_sum INTEGER NOT NULL, temp_min INTEGER, temp_max INTEGER,"
	" PRIMARY KEY(sensor, hour)) STRICT, WITHOUT ROWID;"
	/* days since 1970-01-01 on the calendar of the sensor's zone */
	"CREATE TABLE day("
	" sensor INTEGER NOT NULL, day INTEGER NOT NULL, n INTEGER NOT NULL,"
	" rh_sum INTEGER NOT NULL, rh_min INTEGER NOT NULL, rh_max INTEGER NOT NULL,"
	" temp_n INTEGER NOT NULL, temp_sum INTEGER NOT NULL, temp_min INTEGER, temp_max INTEGER,"
	" PRIMARY KEY(sensor, day)) STRICT, WITHOUT ROWID;"
	"CREATE TABLE client("
	" id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, title TEXT NOT NULL DEFAULT '',"
	" address TEXT NOT NULL DEFAULT '', note TEXT NOT NULL DEFAULT '') STRICT;"
	"CREATE TABLE instrument("
	" id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, title TEXT NOT NULL DEFAULT '',"
	" client INTEGER REFERENCES client, build TEXT NOT NULL,"
	" overrides TEXT NOT NULL DEFAULT '', since INTEGER NOT NULL, until INTEGER,"
	" note TEXT NOT NULL DEFAULT '', dirty_hour INTEGER) STRICT;"
	"CREATE INDEX instrument_by_client ON instrument(client);"
	"CREATE TABLE stay("
	" instrument INTEGER NOT NULL REFERENCES instrument ON DELETE CASCADE, t INTEGER NOT NULL,"
	" place TEXT NOT NULL, PRIMARY KEY(instrument, t)) STRICT, WITHOUT ROWID;"
	"CREATE TABLE finding("
	" id INTEGER PRIMARY KEY, kind INTEGER NOT NULL, subject TEXT NOT NULL, t INTEGER NOT NULL,"
	" quantity TEXT NOT NULL, value REAL, text TEXT NOT NULL DEFAULT '',"
	" UNIQUE(kind, subject, t, quantity)) STRICT;"
	"CREATE INDEX finding_by_subject ON finding(subject, t);"
	"CREATE TABLE snapshot("
	" instrument INTEGER NOT NULL REFERENCES instrument ON DELETE CASCADE,"
	" hour INTEGER NOT NULL, state BLOB NOT NULL,"
	" PRIMARY KEY(instrument, hour)) STRICT, WITHOUT ROWID;"
	"CREATE TABLE condition("
	" instrument INTEGER NOT NULL REFERENCES instrument ON DELETE CASCADE,"
	" hour INTEGER NOT NULL, quantity INTEGER NOT NULL, value REAL NOT NULL,"
	" PRIMARY KEY(instrument, hour, quantity)) STRICT, WITHOUT ROWID;"
	"CREATE TABLE visit("
	" id INTEGER PRIMARY KEY, uid TEXT NOT NULL UNIQUE,"
	" client INTEGER NOT NULL REFERENCES client, state INTEGER NOT NULL,"
	" due_from INTEGER NOT NULL, due_by INTEGER NOT NULL, opened INTEGER NOT NULL,"
	" closed INTEGER) STRICT;"
	"CREATE INDEX visit_by_state ON visit(state);"
	"CREATE INDEX visit_by_client ON visit(client);"
	"CREATE TABLE item("
	" id INTEGER PRIMARY KEY, uid TEXT NOT NULL UNIQUE, rule TEXT NOT NULL,"
	" kind INTEGER NOT NULL, subject TEXT NOT NULL, state INTEGER NOT NULL,"
	" weight INTEGER NOT NULL, opened INTEGER NOT NULL, due_from INTEGER NOT NULL,"
	" due_by INTEGER NOT NULL, value REAL, reasons TEXT NOT NULL, closed INTEGER,"
	" visit INTEGER REFERENCES visit ON DELETE SET NULL) STRICT;"
	"CREATE INDEX item_by_state ON item(state);"
	"CREATE INDEX item_by_subject ON item(subject, rule);"
	"CREATE INDEX item_by_visit ON item(visit);"
	"CREATE TABLE published("
	" output TEXT NOT NULL, uid TEXT NOT NULL, hash INTEGER NOT NULL,"
	" sequence INTEGER NOT NULL, modified INTEGER NOT NULL, PRIMARY KEY(output, uid)) STRICT, "
	"WITHOUT ROWID;"
	"CREATE TABLE meta(name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID;"
	"PRAGMA application_id = " APPLICATION_ID ";"
	"PRAGMA user_version = 1;",
	/* what a source did last, and in all */
	"CREATE TABLE source("
	" name TEXT PRIMARY KEY, tried INTEGER NOT NULL, worked INTEGER, readings INTEGER NOT NULL,"
	" failures INTEGER NOT NULL, error TEXT NOT NULL DEFAULT '') STRICT, WITHOUT ROWID;"
	/* what a sensor says of itself: percent; seconds its clock is ahead */
	"CREATE TABLE health("
	" sensor INTEGER PRIMARY KEY, battery INTEGER, battery_t INTEGER, ahead_s INTEGER,"
	" ahead_t INTEGER) STRICT;"
	/* checks of hygrometers: true = gain * shown + offset from t on; u: standard deviation then, % RH */
	"CREATE TABLE correction("
	" sensor INTEGER NOT NULL, t INTEGER NOT NULL, gain REAL NOT NULL, offset REAL NOT NULL,"
	" u REAL NOT NULL, text TEXT NOT NULL DEFAULT '',"
	" PRIMARY KEY(sensor, t)) STRICT, WITHOUT ROWID;"
	/* the accuracy by which its readings were last weighed; NULL: never */
	"ALTER TABLE sensor ADD COLUMN accuracy REAL;"
	"PRAGMA user_version = 2;",
	/* agreed: when the client agreed to be written to by mail; NULL: did not */
	"ALTER TABLE client ADD COLUMN email TEXT NOT NULL DEFAULT '';"
	"ALTER TABLE client ADD COLUMN agreed INTEGER;"
	/* an appointment; answer: enum visit_answer; moved: the day a person moved it to */
	"ALTER TABLE visit ADD COLUMN at INTEGER;"
	"ALTER TABLE visit ADD COLUMN length INTEGER NOT NULL DEFAULT 0;"
	"ALTER TABLE visit ADD COLUMN answer INTEGER NOT NULL DEFAULT 0;"
	"ALTER TABLE visit ADD COLUMN answered INTEGER;"
	"ALTER TABLE visit ADD COLUMN moved INTEGER;"
	/* where a person moved the last day, and value and weight of the reason then */
	"ALTER TABLE item ADD COLUMN moved INTEGER;"
	"ALTER TABLE item ADD COLUMN moved_value REAL;"
	/* a calendar on a server: todos or events (enum calendar_kind) of one edition */
	"CREATE TABLE collection("
	" edition TEXT NOT NULL, kind INTEGER NOT NULL, server TEXT NOT NULL DEFAULT '',"
	" url TEXT NOT NULL DEFAULT '', token TEXT NOT NULL DEFAULT '', tried INTEGER, worked "
	"INTEGER,"
	" failures INTEGER NOT NULL DEFAULT 0, error TEXT NOT NULL DEFAULT '',"
	" PRIMARY KEY(edition, kind)) STRICT, WITHOUT ROWID;"
	/* one entry there. sent: our own text as last put; trying: as is being put; seen: the server's as last read */
	"CREATE TABLE resource("
	" edition TEXT NOT NULL, kind INTEGER NOT NULL, uid TEXT NOT NULL,"
	" href TEXT NOT NULL DEFAULT '', etag TEXT NOT NULL DEFAULT '',"
	" sent TEXT NOT NULL DEFAULT '', trying TEXT NOT NULL DEFAULT '',"
	" seen TEXT NOT NULL DEFAULT '',"
	" state INTEGER NOT NULL DEFAULT 0, outcome TEXT NOT NULL DEFAULT '', t INTEGER,"
	" PRIMARY KEY(edition, kind, uid)) STRICT, WITHOUT ROWID;"
	/* lines that people wrote into an entry, and what was made of them */
	"CREATE TABLE noted("
	" uid TEXT NOT NULL, line TEXT NOT NULL, t INTEGER NOT NULL, answer TEXT NOT NULL,"
	" PRIMARY KEY(uid, line)) STRICT, WITHOUT ROWID;"
	/* outgoing mail, whole as it goes out; kind and state: enum letter_kind, letter_state;
	 * client: NULL the bench itself */
	"CREATE TABLE letter("
	" id INTEGER PRIMARY KEY, kind INTEGER NOT NULL, client INTEGER, visit INTEGER,"
	" message_id TEXT NOT NULL UNIQUE, recipient TEXT NOT NULL,"
	" subject TEXT NOT NULL, body TEXT NOT NULL, made INTEGER NOT NULL,"
	" state INTEGER NOT NULL, tries INTEGER NOT NULL DEFAULT 0, next INTEGER NOT NULL,"
	" sent INTEGER, error TEXT NOT NULL DEFAULT '') STRICT;"
	"CREATE INDEX letter_by_state ON letter(state);"
	/* what a client was last told of a visit by mail, and of which telling their answer is */
	"CREATE TABLE invitation("
	" visit INTEGER PRIMARY KEY REFERENCES visit ON DELETE CASCADE, recipient TEXT NOT NULL,"
	" sequence INTEGER NOT NULL, start INTEGER NOT NULL, length INTEGER NOT NULL,"
	" state INTEGER NOT NULL, answered_stamp INTEGER) STRICT;"
	/* mail that was read */
	"CREATE TABLE heard(id TEXT PRIMARY KEY, t INTEGER NOT NULL) STRICT, WITHOUT ROWID;"
	"PRAGMA user_version = 3;",
};

enum { VERSION_NOW = sizeof migrations / sizeof migrations[0] };

enum rc store_fail(struct store *s, const char *what, struct err *err)
{
	enum rc rc = RC_STORE;
	const char *hint = "";
	int code = sqlite3_errcode(s->db) & 0xff;
	if (code == SQLITE_BUSY || code == SQLITE_LOCKED) {
		rc = RC_BUSY;
		hint = ": another process is writing, try again";
	} else if (code == SQLITE_FULL) {
		rc = RC_FULL;
		hint = ": make room on the disk, nothing of this was stored";
	} else if (code == SQLITE_CANTOPEN) {
		rc = RC_IO;
		hint = ": does the folder exist, and may this user write there?";
	} else if (code == SQLITE_READONLY || code == SQLITE_PERM) {
		rc = RC_IO;
		hint = ": give this user the right to write the file and its folder";
	} else if (code == SQLITE_IOERR) {
		rc = RC_IO;
		hint = ": is the disk failing, or over a quota?";
	} else if (code == SQLITE_NOMEM) {
		rc = RC_MEM;
	} else if (code == SQLITE_CORRUPT) {
		hint = ": damaged, bring back a copy or try `sqlite3 FILE .recover`";
	} else if (code == SQLITE_NOTADB) {
		hint = ": name another file";
	}
	return err_set(err, rc, "store %s: %s: %s%s", s->path, what, sqlite3_errmsg(s->db), hint);
}

sqlite3_stmt *store_statement(struct store *s, const char *sql, struct err *err)
{
	size_t i = 0;
	while (i < STORE_STATEMENTS_MAX && s->statements[i].sql && s->statements[i].sql != sql)
		i++;
	assert(i < STORE_STATEMENTS_MAX);
	sqlite3_stmt *q = s->statements[i].q;
	if (!q) {
		if (sqlite3_prepare_v3(s->db, sql, -1, SQLITE_PREPARE_PERSISTENT, &q, NULL)) {
			(void)store_fail(s, "prepare", err);
			return NULL;
		}
		s->statements[i].sql = sql;
		s->statements[i].q = q;
	}
	(void)sqlite3_reset(q);
	(void)sqlite3_clear_bindings(q);
	return q;
}

enum rc store_run(struct store *s, sqlite3_stmt *q, struct err *err)
{
	int step = sqlite3_step(q);
	enum rc rc = step == SQLITE_DONE ? RC_OK : store_fail(s, "write", err);
	(void)sqlite3_reset(q);
	(void)sqlite3_clear_bindings(q);
	return rc;
}

static enum rc execute(struct store *s, const char *sql, const char *what, struct err *err)
{
	return sqlite3_exec(s->db, sql, NULL, NULL, NULL) ? store_fail(s, what, err) : RC_OK;
}

/* The one number a query gives; not kept prepared. */
static enum rc number(struct store *s, const char *sql, int64_t *value, struct err *err)
{
	sqlite3_stmt *q = NULL;
	enum rc rc = RC_OK;
	if (sqlite3_prepare_v2(s->db, sql, -1, &q, NULL) || sqlite3_step(q) != SQLITE_ROW)
		rc = store_fail(s, "open", err);
	else
		*value = sqlite3_column_int64(q, 0);
	(void)sqlite3_finalize(q);
	return rc;
}

/* Looks before anything is changed: ours, or an empty file? */
static enum rc identify(struct store *s, int64_t *version, struct err *err)
{
	int64_t application = 0, tables = 0;
	enum rc rc = number(s, "PRAGMA user_version", version, err);
	if (rc == RC_OK)
		rc = number(s, "PRAGMA application_id", &application, err);
	if (rc == RC_OK)
		rc = number(s, "SELECT count(*) FROM sqlite_schema", &tables, err);
	if (rc != RC_OK)
		return rc;
	bool empty = application == 0 && *version == 0 && tables == 0;
	if (!empty && application != strtoll(APPLICATION_ID, NULL, 10))
		return err_set(err, RC_STORE,
			"store %s: a database of another program: name another file", s->path);
	if (*version > VERSION_NOW)
		return err_set(err, RC_STORE,
			"store %s: version %lld, made by a newer seasond (this one knows %d): "
			"use that one, or a copy of the store from before",
			s->path, (long long)*version, (int)VERSION_NOW);
	return RC_OK;
}

/* Each step in its own transaction; another process may have been first. */
static enum rc migrate(struct store *s, struct err *err)
{
	for (int64_t version = 0; version < VERSION_NOW; version++) {
		enum rc rc = execute(s, "BEGIN IMMEDIATE", "migrate", err);
		if (rc != RC_OK)
			return rc;
		int64_t found = 0;
		rc = number(s, "PRAGMA user_version", &found, err);
		if (rc == RC_OK && found == version)
			rc = execute(s, migrations[version], "migrate", err);
		if (rc == RC_OK)
			rc = execute(s, "COMMIT", "migrate", err);
		if (rc != RC_OK) {
			(void)sqlite3_exec(s->db, "ROLLBACK", NULL, NULL, NULL);
			return rc;
		}
	}
	return RC_OK;
}

static enum rc open_to_write(
	struct store *s, enum store_mode mode, int64_t version, struct err *err)
{
	if (sqlite3_db_readonly(s->db, "main"))
		return err_set(err, RC_IO,
			"store %s: read-only: give this user the right to write it", s->path);
	enum rc rc = execute(s, "PRAGMA journal_mode = WAL", "open", err);
	if (rc == RC_OK)
		rc = execute(s,
			mode == STORE_REPLAY ? "PRAGMA synchronous = NORMAL"
					     : "PRAGMA synchronous = FULL",
			"open", err);
	if (rc == RC_OK && version < VERSION_NOW)
		rc = migrate(s, err);
	return rc;
}

static enum rc set_up(struct store *s, enum store_mode mode, struct err *err)
{
	/* page_size acts on a new file only. journal_size_limit cuts the log back after a large
	 * import. cell_size_check finds damaged pages before they are followed. */
	enum rc rc = execute(s,
		"PRAGMA page_size = 8192; PRAGMA foreign_keys = ON; PRAGMA trusted_schema = OFF;"
		"PRAGMA cell_size_check = ON; PRAGMA cache_size = -16000;"
		"PRAGMA journal_size_limit = 16777216",
		"open", err);
	int64_t version = 0;
	if (rc == RC_OK)
		rc = identify(s, &version, err);
	if (rc == RC_OK && mode != STORE_READ)
		return open_to_write(s, mode, version, err);
	if (rc == RC_OK && version < VERSION_NOW)
		return err_set(err, RC_STORE,
			"store %s: version %lld, this program reads %d: start seasond once to "
			"bring it up to date",
			s->path, (long long)version, (int)VERSION_NOW);
	return rc;
}

enum rc store_open_waiting(
	const char *path, enum store_mode mode, int busy_ms, struct store **out, struct err *err)
{
	struct store *s = mem_new(1, sizeof *s);
	if (!s)
		return err_set(err, RC_MEM, "store %s: out of memory", path);
	(void)snprintf(s->path, sizeof s->path, "%s", path);
	int how = mode == STORE_READ ? SQLITE_OPEN_READONLY
				     : SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE;
	enum rc rc = RC_OK;
	if (sqlite3_open_v2(path, &s->db, how | SQLITE_OPEN_NOMUTEX, NULL))
		rc = store_fail(s, "open", err);
	if (rc == RC_OK) {
		(void)sqlite3_busy_timeout(s->db, busy_ms);
		rc = set_up(s, mode, err);
	}
	if (rc == RC_OK)
		*out = s;
	else
		store_close(s);
	return rc;
}

enum rc store_open(const char *path, enum store_mode mode, struct store **out, struct err *err)
{
	return store_open_waiting(path, mode, STORE_BUSY_MS, out, err);
}

void store_close(struct store *s)
{
	if (!s)
		return;
	for (size_t i = 0; i < STORE_STATEMENTS_MAX && s->statements[i].sql; i++)
		(void)sqlite3_finalize(s->statements[i].q);
	for (size_t i = 0; i < s->zones_n; i++)
		zone_free(s->zones[i]);
	(void)sqlite3_close(s->db);
	mem_free(s);
}

enum rc store_begin(struct store *s, struct err *err)
{
	assert(!s->in_transaction);
	sqlite3_stmt *q = store_statement(s, "BEGIN IMMEDIATE", err);
	enum rc rc = q ? store_run(s, q, err) : store_fail(s, "prepare", err);
	s->in_transaction = rc == RC_OK;
	return rc;
}

enum rc store_commit(struct store *s, struct err *err)
{
	assert(s->in_transaction);
	sqlite3_stmt *q = store_statement(s, "COMMIT", err);
	enum rc rc = q ? store_run(s, q, err) : store_fail(s, "prepare", err);
	if (rc != RC_OK)
		store_rollback(s);
	s->in_transaction = false;
	return rc;
}

void store_rollback(struct store *s)
{
	/* SQLite may already have rolled back by itself, as when the disk is full. */
	if (!sqlite3_get_autocommit(s->db))
		(void)sqlite3_exec(s->db, "ROLLBACK", NULL, NULL, NULL);
	s->in_transaction = false;
}

enum rc store_check(struct store *s, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, "PRAGMA quick_check(1)", err);
	if (!q)
		return store_fail(s, "prepare", err);
	enum rc rc = RC_OK;
	if (sqlite3_step(q) != SQLITE_ROW) {
		rc = store_fail(s, "check", err);
	} else {
		const char *verdict = (const char *)sqlite3_column_text(q, 0);
		if (!verdict || strcmp(verdict, "ok") != 0)
			rc = err_set(err, RC_STORE,
				"store %s: check: %s: damaged, bring back a copy or try "
				"`sqlite3 FILE .recover`",
				s->path, verdict ? verdict : "no answer");
	}
	(void)sqlite3_reset(q);
	return rc;
}
