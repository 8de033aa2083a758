#include "tests/unit/support.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "core/mem.h"
#include "daemon/state.h"
#include "daemon/store_int.h"
#include "daemon/store_share.h"

#define NONE QUALITY_NO_TEMP
#define LATER INT64_C(4000000000)

enum { BATCH = 500 };

static int make_folder(void **state)
{
	*state = support_folder();
	return 0;
}

static int remove_folder(void **state)
{
	support_folder_remove(*state);
	return 0;
}

static struct store *opened(const char *path, enum store_mode mode)
{
	struct store *s = NULL;
	struct err err = { 0 };
	OK(store_open(path, mode, &s, &err), &err);
	return s;
}

static void refused(const char *path, enum store_mode mode, enum rc want, const char *says)
{
	struct store *s = NULL;
	struct err err = { 0 };
	enum rc rc = store_open_waiting(path, mode, 20, &s, &err);
	assert_null(s);
	if (rc != want || !strstr(err.text, says) || !strstr(err.text, path))
		fail_msg("rc %d, \"%s\", wanted rc %d, \"%s\"", (int)rc, err.text, (int)want, says);
}

/* Batch i of a sensor: BATCH readings, a minute apart. */
static enum rc put_batch(struct store *s, int64_t sensor, int64_t i, struct err *err)
{
	struct quality_reading r[BATCH];
	struct store_count count = { 0 };
	for (int k = 0; k < BATCH; k++)
		r[k] = (struct quality_reading){ (i * BATCH + k) * 60, 4000 + k, 2000, 0 };
	return store_readings(s, sensor, r, BATCH, LATER, NULL, NULL, &count, err);
}

static enum rc commit_batch(struct store *s, int64_t sensor, int64_t i, struct err *err)
{
	enum rc rc = store_begin(s, err);
	if (rc == RC_OK)
		rc = put_batch(s, sensor, i, err);
	if (rc == RC_OK)
		return store_commit(s, err);
	store_rollback(s);
	return rc;
}

static int64_t new_sensor(struct store *s)
{
	struct zone *zone = NULL;
	struct err err = { 0 };
	int64_t id = 0;
	OK(zone_new("UTC", &zone, &err), &err);
	OK(store_sensor(s, "bench", zone, &id, &err), &err);
	zone_free(zone);
	return id;
}

static int64_t number(const char *path, const char *sql)
{
	sqlite3 *db = NULL;
	sqlite3_stmt *q = NULL;
	assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
	assert_int_equal(sqlite3_prepare_v2(db, sql, -1, &q, NULL), SQLITE_OK);
	assert_int_equal(sqlite3_step(q), SQLITE_ROW);
	int64_t value = sqlite3_column_int64(q, 0);
	(void)sqlite3_finalize(q);
	(void)sqlite3_close(db);
	return value;
}

static void execute(const char *path, const char *sql)
{
	sqlite3 *db = NULL;
	assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
	assert_int_equal(sqlite3_exec(db, sql, NULL, NULL, NULL), SQLITE_OK);
	assert_int_equal(sqlite3_close(db), SQLITE_OK);
}

static const char *filled(const char *folder, int64_t batches)
{
	const char *path = support_path(folder, "s.db");
	struct store *s = opened(path, STORE_WRITE);
	struct err err = { 0 };
	int64_t sensor = new_sensor(s);
	for (int64_t i = 0; i < batches; i++)
		OK(commit_batch(s, sensor, i, &err), &err);
	store_close(s);
	return path;
}

/* What body returns in a process of its own; 255 when that was killed. */
static int in_child(int body(const char *path), const char *path)
{
	pid_t child = fork();
	if (child == 0)
		_exit(body(path));
	int status = 0;
	assert_int_equal(waitpid(child, &status, 0), child);
	return WIFEXITED(status) ? WEXITSTATUS(status) : 255;
}

static void a_new_store_is_made_with_its_pragmas_and_opens_again(void **state)
{
	const char *path = support_path(*state, "s.db");
	for (int round = 0; round < 2; round++) {
		struct store *s = opened(path, round ? STORE_REPLAY : STORE_WRITE);
		struct err err = { 0 };
		OK(store_check(s, &err), &err);
		sqlite3_stmt *q = store_statement(s, "PRAGMA synchronous", &err);
		assert_int_equal(sqlite3_step(q), SQLITE_ROW);
		assert_int_equal(sqlite3_column_int(q, 0), round ? 1 : 2); /* NORMAL, FULL */
		q = store_statement(s, "PRAGMA foreign_keys", &err);
		assert_int_equal(sqlite3_step(q), SQLITE_ROW);
		assert_int_equal(sqlite3_column_int(q, 0), 1);
		store_close(s);
	}
	assert_int_equal(number(path, "PRAGMA user_version"), 3);
	assert_int_equal(number(path, "SELECT count(*) FROM pragma_table_list"
				      " WHERE type = 'table' AND schema = 'main' AND name NOT LIKE "
				      "'sqlite%' AND NOT strict"),
		0);
	store_close(opened(path, STORE_READ));
	store_close(NULL);
}

static void what_is_not_a_store_is_refused_and_left_alone(void **state)
{
	const char *text = support_path(*state, "text.db");
	char words[4096];
	memset(words, 'x', sizeof words);
	support_write(text, words, sizeof words);
	refused(text, STORE_WRITE, RC_STORE, "not a database");
	refused(text, STORE_READ, RC_STORE, "not a database");

	const char *other = support_path(*state, "other.db");
	execute(other, "CREATE TABLE music(tune TEXT)");
	refused(other, STORE_WRITE, RC_STORE, "another program");
	assert_int_equal(number(other, "SELECT count(*) FROM sqlite_schema"), 1);
	assert_int_equal(
		number(other, "SELECT journal_mode = 'delete' FROM pragma_journal_mode"), 1);

	refused(support_path(*state, "absent.db"), STORE_READ, RC_IO, "unable to open");
	refused(support_path(*state, "absent/s.db"), STORE_WRITE, RC_IO, "folder");
	refused(*state, STORE_WRITE, RC_IO, "unable to open");
	const char *empty = support_path(*state, "empty.db");
	support_write(empty, "", 0);
	refused(empty, STORE_READ, RC_STORE, "start seasond");
	store_close(opened(empty, STORE_WRITE));
}

static void a_store_of_a_newer_version_is_refused(void **state)
{
	const char *path = filled(*state, 1);
	execute(path, "PRAGMA user_version = 4");
	refused(path, STORE_WRITE, RC_STORE, "newer");
	refused(path, STORE_READ, RC_STORE, "newer");
	assert_int_equal(number(path, "SELECT count(*) FROM reading"), BATCH);
}

/* What migration 3 added taken away again: a store as version 2 left it. */
static void go_back_to_version_2(const char *path)
{
	execute(path,
		"DROP TABLE collection; DROP TABLE resource; DROP TABLE noted;"
		"DROP TABLE letter; DROP TABLE invitation; DROP TABLE heard;"
		"ALTER TABLE client DROP COLUMN email; ALTER TABLE client DROP COLUMN agreed;"
		"ALTER TABLE visit DROP COLUMN at; ALTER TABLE visit DROP COLUMN length;"
		"ALTER TABLE visit DROP COLUMN answer; ALTER TABLE visit DROP COLUMN answered;"
		"ALTER TABLE visit DROP COLUMN moved; ALTER TABLE item DROP COLUMN moved;"
		"ALTER TABLE item DROP COLUMN moved_value; PRAGMA user_version = 2;");
}

/* A client, an open item and a visit as version 2 wrote them are there, with nothing said of mail, moves or answers. */
static void a_store_of_version_2_is_brought_up_to_date(void **state)
{
	const char *path = filled(*state, 1);
	go_back_to_version_2(path);
	execute(path,
		"INSERT INTO client(id, name, title, address, note) VALUES(1, 'ash', 'Ash', '', "
		"'');"
		"INSERT INTO visit(id, uid, client, state, due_from, due_by, opened, closed)"
		" VALUES(1, 'v', 1, 0, 100, 200, 50, NULL);"
		"INSERT INTO item(id, uid, rule, kind, subject, state, weight, opened,"
		" due_from, due_by, value, reasons, closed, visit)"
		" VALUES(1, 'i', 'snug', 0, 'cedar', 0, 1, 50, 100, 200, 0.5, 'slack', NULL, 1);");
	refused(path, STORE_READ, RC_STORE, "start seasond");
	struct store *s = opened(path, STORE_WRITE);
	struct err err = { 0 };
	struct client *clients = NULL;
	struct visit *visits = NULL;
	struct item *items = NULL;
	struct collection *collections = NULL;
	size_t n = 0;
	OK(record_clients(s, &clients, &n, &err), &err);
	assert_int_equal(n, 1);
	assert_string_equal(clients[0].title, "Ash");
	assert_string_equal(clients[0].email, "");
	assert_int_equal(clients[0].agreed_s, 0);
	OK(state_visits(s, 0, &visits, &n, &err), &err);
	assert_int_equal(n, 1);
	assert_int_equal(visits[0].by_s, 200);
	assert_int_equal(visits[0].at_s, TIME_NEVER);
	assert_int_equal(visits[0].answer, ANSWER_NONE);
	assert_int_equal(visits[0].moved_s, TIME_NEVER);
	OK(state_items(s, 0, &items, &n, &err), &err);
	assert_int_equal(n, 1);
	assert_string_equal(items[0].reasons, "slack");
	assert_int_equal(items[0].moved_s, TIME_NEVER);
	assert_true(isnan(items[0].moved_value));
	OK(store_collections(s, &collections, &n, &err), &err);
	assert_int_equal(n, 0);
	mem_free(clients);
	mem_free(visits);
	mem_free(items);
	mem_free(collections);
	store_close(s);
	assert_int_equal(number(path, "PRAGMA user_version"), 3);
	assert_int_equal(number(path, "SELECT count(*) FROM reading"), BATCH);
}

/* What migration 2 added taken away too: a store as version 1 left it. */
static void a_store_of_version_1_is_brought_up_to_date(void **state)
{
	const char *path = filled(*state, 3);
	go_back_to_version_2(path);
	execute(path, "DROP TABLE source; DROP TABLE health; DROP TABLE correction;"
		      "ALTER TABLE sensor DROP COLUMN accuracy; PRAGMA user_version = 1;");
	refused(path, STORE_READ, RC_STORE, "start seasond");
	struct store *s = opened(path, STORE_WRITE);
	struct err err = { 0 };
	struct store_correction c = { .check = { 7200, { 1.02, -1, 0.5 } } }, *back = NULL;
	size_t n = 0;
	bool changed = false;
	int64_t sensor = new_sensor(s), dirty = 0;
	OK(store_begin(s, &err), &err);
	OK(store_clear_dirty(s, sensor, &err), &err);
	OK(store_weighed_by(s, sensor, 2, &err), &err);
	OK(store_dirty_hour(s, sensor, &dirty, &err), &err);
	assert_int_equal(dirty, TIME_NEVER); /* never weighed before: nothing is another */
	OK(store_correction_put(s, sensor, &c, &changed, &err), &err);
	assert_true(changed);
	OK(store_dirty_hour(s, sensor, &dirty, &err), &err);
	assert_int_equal(dirty, 2);
	OK(store_clear_dirty(s, sensor, &err), &err);
	OK(store_correction_put(s, sensor, &c, &changed, &err), &err);
	assert_false(changed);
	OK(store_dirty_hour(s, sensor, &dirty, &err), &err);
	assert_int_equal(dirty, TIME_NEVER);
	OK(store_commit(s, &err), &err);
	OK(store_corrections(s, sensor, &back, &n, &err), &err);
	assert_int_equal(n, 1);
	assert_string_equal(back[0].sensor, "bench");
	assert_true(back[0].check.c.gain == 1.02 && back[0].check.t_s == 7200);
	mem_free(back);
	store_close(s);
	assert_int_equal(number(path, "PRAGMA user_version"), 3);
	assert_int_equal(number(path, "SELECT count(*) FROM reading"), 3 * BATCH);
}

static void a_sensor_has_a_limit_of_checks(void **state)
{
	struct store *s = opened(support_path(*state, "s.db"), STORE_WRITE);
	struct err err = { 0 };
	struct store_correction c = { .check = { 0, { 1, 0, 0.5 } } };
	int64_t sensor = new_sensor(s);
	OK(store_begin(s, &err), &err);
	for (int i = 0; i < STORE_CORRECTIONS_MAX; i++) {
		c.check.t_s = i;
		OK(store_correction_put(s, sensor, &c, NULL, &err), &err);
	}
	c.check.t_s = STORE_CORRECTIONS_MAX;
	assert_int_equal(store_correction_put(s, sensor, &c, NULL, &err), RC_INPUT);
	assert_non_null(strstr(err.text, "remove old ones"));
	c.check.t_s = 1;
	c.text[0] = '\n';
	assert_int_equal(store_correction_put(s, sensor, &c, NULL, NULL), RC_INPUT);
	assert_int_equal(store_correction_remove(s, sensor, 5000, NULL), RC_UNKNOWN);
	store_rollback(s);
	store_close(s);
}

static int open_as_nobody(const char *path)
{
	struct store *s = NULL;
	struct err err = { 0 };
	if (geteuid() == 0 && setresuid(65534, 65534, 65534))
		return 254;
	enum rc rc = store_open(path, STORE_WRITE, &s, &err);
	store_close(s);
	return (int)rc;
}

static void read_only_files_and_folders_are_told(void **state)
{
	const char *path = filled(*state, 1);
	assert_int_equal(chmod(*state, 0555), 0);
	assert_int_equal(chmod(path, 0444), 0);
	assert_int_equal(in_child(open_as_nobody, path), RC_IO);
	assert_int_equal(in_child(open_as_nobody, support_path(*state, "new.db")), RC_IO);
	assert_int_equal(chmod(path, 0666), 0);
	assert_int_equal(in_child(open_as_nobody, path), RC_IO); /* no room for the log */
	assert_int_equal(chmod(*state, 0777), 0);
	assert_int_equal(in_child(open_as_nobody, path), RC_OK);
}

static void a_store_held_by_another_is_busy(void **state)
{
	const char *path = filled(*state, 1);
	struct store *a = opened(path, STORE_WRITE), *b = NULL;
	struct err err = { 0 };
	OK(store_begin(a, &err), &err);
	OK(store_open_waiting(path, STORE_WRITE, 20, &b, &err), &err);
	assert_int_equal(store_begin(b, &err), RC_BUSY);
	assert_non_null(strstr(err.text, "try again"));
	store_rollback(a);
	struct err again = { 0 };
	OK(commit_batch(b, 1, 1, &again), &again);
	store_close(a);
	store_close(b);

	/* A whole-file lock, as a copying tool may hold. */
	sqlite3 *db = NULL;
	assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
	assert_int_equal(sqlite3_exec(db,
				 "PRAGMA locking_mode = EXCLUSIVE; BEGIN EXCLUSIVE;"
				 "UPDATE sensor SET zone = zone",
				 NULL, NULL, NULL),
		SQLITE_OK);
	refused(path, STORE_WRITE, RC_BUSY, "try again");
	assert_int_equal(sqlite3_close(db), SQLITE_OK);
}

static void readers_see_the_last_commit_while_one_writes(void **state)
{
	const char *path = filled(*state, 1);
	struct store *w = opened(path, STORE_WRITE), *r = opened(path, STORE_READ);
	struct err err = { 0 };
	OK(store_begin(w, &err), &err);
	OK(put_batch(w, 1, 1, &err), &err);
	struct quality_reading rows[3 * BATCH];
	size_t n = 0;
	OK(store_raw(r, 1, 0, LATER, rows, COUNT(rows), &n, &err), &err);
	assert_int_equal(n, BATCH);
	OK(store_commit(w, &err), &err);
	OK(store_raw(r, 1, 0, LATER, rows, COUNT(rows), &n, &err), &err);
	assert_int_equal(n, 2 * BATCH);
	assert_int_not_equal(commit_batch(r, 1, 3, &err), RC_OK);
	store_close(w);
	store_close(r);
}

static void no_room_for_pages_stores_nothing_of_the_batch(void **state)
{
	const char *path = filled(*state, 2);
	struct store *s = opened(path, STORE_WRITE);
	struct err err = { 0 };
	char sql[64];
	(void)snprintf(sql, sizeof sql, "PRAGMA max_page_count = %lld",
		(long long)number(path, "PRAGMA page_count"));
	assert_int_equal(sqlite3_exec(s->db, sql, NULL, NULL, NULL), SQLITE_OK);
	int64_t i = 2;
	enum rc rc = RC_OK;
	while (rc == RC_OK && i < 1000)
		rc = commit_batch(s, 1, i++, &err);
	assert_int_equal(rc, RC_FULL);
	assert_int_equal(number(path, "SELECT count(*) FROM reading"), (i - 1) * BATCH);
	assert_int_equal(number(path, "SELECT sum(n) FROM hour"), (i - 1) * BATCH);
	assert_int_equal(number(path, "SELECT sum(n) FROM day"), (i - 1) * BATCH);
	(void)sqlite3_exec(s->db, "PRAGMA max_page_count = 1000000", NULL, NULL, NULL);
	struct err later = { 0 };
	OK(commit_batch(s, 1, i - 1, &later), &later);
	store_close(s);
	assert_int_equal(number(path, "SELECT count(*) FROM reading"), i * BATCH);
}

/* The system calls of SQLite that fail from the countdown's end on. */
static struct {
	int64_t calls; /* left that go well */
	int error;
} broken;

static bool breaks(void)
{
	if (broken.calls-- > 0)
		return false;
	errno = broken.error;
	return true;
}

static ssize_t breaking_pwrite(int fd, const void *buf, size_t n, off_t at)
{
	return breaks() ? -1 : pwrite(fd, buf, n, at);
}

static void replace(const char *name, sqlite3_syscall_ptr call)
{
	sqlite3_vfs *vfs = sqlite3_vfs_find(NULL);
	(void)vfs->xSetSystemCall(vfs, name, call);
}

/* Breaks call 1, 2, 3... until a batch goes through untouched; each failure must be told as want and
 * leave the store as it was, also for who opens it next. */
static void each_call_in_turn(const char *folder, const char *const names[2],
	sqlite3_syscall_ptr call, int error, enum rc want)
{
	const char *path = filled(folder, 1);
	enum rc rc = RC_STORE;
	int64_t n = 0, batches = 1;
	for (; rc != RC_OK && n < 1000; n++) {
		struct store *s = opened(path, STORE_WRITE);
		struct err err = { 0 };
		broken.calls = n;
		broken.error = error;
		replace(names[0], call);
		replace(names[1], call);
		rc = commit_batch(s, 1, 1, &err);
		replace(names[0], NULL);
		replace(names[1], NULL);
		assert_true(rc == RC_OK || rc == want);
		struct err after = { 0 };
		OK(store_check(s, &after), &after);
		store_close(s);
		batches += rc == RC_OK;
		assert_int_equal(number(path, "SELECT count(*) FROM reading"), batches * BATCH);
		assert_int_equal(number(path, "SELECT sum(n) FROM day"), batches * BATCH);
	}
	assert_int_equal(rc, RC_OK);
	assert_true(n > 1); /* it did break something */
}

static void a_full_disk_is_told_and_nothing_is_half_stored(void **state)
{
	static const char *const names[] = { "pwrite", "pwrite64" };
	each_call_in_turn(*state, names, (sqlite3_syscall_ptr)breaking_pwrite, ENOSPC, RC_FULL);
}

static void a_failing_write_is_told_and_nothing_is_half_stored(void **state)
{
	static const char *const names[] = { "pwrite", "pwrite64" };
	each_call_in_turn(*state, names, (sqlite3_syscall_ptr)breaking_pwrite, EIO, RC_IO);
}

static void damage_is_told_with_what_to_do(void **state)
{
	const char *path = filled(*state, 20);
	int64_t page = number(path, "PRAGMA page_size");
	int64_t root = number(path, "SELECT rootpage FROM sqlite_schema WHERE name = 'reading'");
	char junk[8192];
	memset(junk, 0xa5, sizeof junk);
	int fd = open(path, O_WRONLY);
	assert_int_equal(pwrite(fd, junk, (size_t)page, (root - 1) * page), page);
	assert_int_equal(close(fd), 0);
	struct store *s = opened(path, STORE_WRITE);
	struct err err = { 0 }, check = { 0 };
	assert_int_equal(commit_batch(s, 1, 20, &err), RC_STORE);
	assert_non_null(strstr(err.text, "bring back a copy"));
	assert_int_equal(store_check(s, &check), RC_STORE);
	assert_non_null(strstr(check.text, "bring back a copy"));
	store_close(s);

	support_write(support_path(*state, "s.db-wal"), "", 0);
	fd = open(path, O_WRONLY);
	assert_int_equal(pwrite(fd, junk, 4096, 100), 4096); /* the schema */
	assert_int_equal(close(fd), 0);
	refused(path, STORE_WRITE, RC_STORE, "bring back a copy");
}

static void rollback_is_harmless_and_takes_back(void **state)
{
	const char *path = support_path(*state, "s.db");
	struct store *s = opened(path, STORE_WRITE);
	struct err err = { 0 };
	store_rollback(s);
	OK(store_begin(s, &err), &err);
	(void)new_sensor(s);
	store_rollback(s);
	store_rollback(s);
	int64_t id = 0;
	assert_int_equal(store_sensor_find(s, "bench", &id, NULL), RC_UNKNOWN);
	OK(store_begin(s, &err), &err);
	OK(store_commit(s, &err), &err);
	store_close(s);
}

/* Writes batches and tells each through the pipe once it is committed, until killed. */
static void write_until_killed(const char *path, int told)
{
	struct store *s = opened(path, STORE_WRITE);
	struct err err = { 0 };
	for (int64_t i = 1; commit_batch(s, 1, i, &err) == RC_OK; i++) {
		if (write(told, "x", 1) != 1)
			break;
	}
	_exit(1);
}

static void killed_writers_lose_nothing_told_and_double_nothing(void **state)
{
	uint64_t seed = support_seed();
	const char *path = filled(*state, 1);
	for (int round = 0; round < 10; round++) {
		int64_t before = number(path, "SELECT count(*) FROM reading") / BATCH;
		int ends[2];
		assert_int_equal(pipe(ends), 0);
		pid_t child = fork();
		if (child == 0)
			write_until_killed(path, ends[1]);
		assert_int_equal(close(ends[1]), 0);
		char byte;
		int64_t wait = (int64_t)(support_random(&seed) % 20), told = 0;
		while (told < before + wait && read(ends[0], &byte, 1) == 1)
			told++;
		(void)usleep(
			(useconds_t)(support_random(&seed) % 2000)); /* into some later batch */
		assert_int_equal(kill(child, SIGKILL), 0);
		while (read(ends[0], &byte, 1) == 1)
			told++;
		assert_int_equal(close(ends[0]), 0);
		assert_int_equal(waitpid(child, NULL, 0), child);
		int64_t rows = number(path, "SELECT count(*) FROM reading");
		assert_int_equal(rows % BATCH, 0);
		assert_true(rows >= (told + 1) * BATCH); /* and the one filled() wrote */
		assert_int_equal(number(path, "SELECT sum(n) FROM hour"), rows);
		assert_int_equal(number(path, "SELECT sum(n) FROM day"), rows);
		assert_int_equal(number(path, "SELECT count(*) FROM pragma_integrity_check"
					      " WHERE integrity_check = 'ok'"),
			1);
	}
}

#define EACH(test) cmocka_unit_test_setup_teardown(test, make_folder, remove_folder)

int main(void)
{
	const struct CMUnitTest tests[] = {
		EACH(a_new_store_is_made_with_its_pragmas_and_opens_again),
		EACH(what_is_not_a_store_is_refused_and_left_alone),
		EACH(a_store_of_a_newer_version_is_refused),
		EACH(a_store_of_version_1_is_brought_up_to_date),
		EACH(a_store_of_version_2_is_brought_up_to_date),
		EACH(a_sensor_has_a_limit_of_checks),
		EACH(read_only_files_and_folders_are_told),
		EACH(a_store_held_by_another_is_busy),
		EACH(readers_see_the_last_commit_while_one_writes),
		EACH(no_room_for_pages_stores_nothing_of_the_batch),
		EACH(a_full_disk_is_told_and_nothing_is_half_stored),
		EACH(a_failing_write_is_told_and_nothing_is_half_stored),
		EACH(damage_is_told_with_what_to_do),
		EACH(rollback_is_harmless_and_takes_back),
		EACH(killed_writers_lose_nothing_told_and_double_nothing),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
