#include "tests/unit/support.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/civil.h"
#include "daemon/spool.h"

#define START_S                                                                                    \
	INT64_C(1767225600) /* 2026-01-01: before the files' own times, so only the scans count */

/* One spool in a folder of its own, a virtual clock, and what was taken and told. */
static struct fixture {
	char *folder;
	struct clock clock;
	struct loop *loop;
	struct spool spool;
	char taken[1024]; /* names, blank between */
	char news[1024]; /* letter and name of each news, blank between */
	char last_text[640];
	enum rc answer;
	void (*meanwhile)(void);
} fx;

static void append(char *text, size_t n, const char *more)
{
	size_t used = strlen(text);
	(void)snprintf(text + used, n - used, "%s%s", used ? " " : "", more);
}

static enum rc take(void *arg, const char *path, char *summary, size_t n, struct err *err)
{
	(void)arg;
	append(fx.taken, sizeof fx.taken, strrchr(path, '/') + 1);
	(void)snprintf(summary, n, "7 readings");
	if (fx.meanwhile)
		fx.meanwhile();
	return fx.answer == RC_OK ? RC_OK : err_set(err, fx.answer, "line 3: no humidity column");
}

static void news(void *arg, enum spool_news what, const char *name, const char *text)
{
	(void)arg;
	char line[300];
	(void)snprintf(line, sizeof line, "%c:%s", "DFLS"[what], name);
	append(fx.news, sizeof fx.news, line);
	(void)snprintf(fx.last_text, sizeof fx.last_text, "%s", text);
}

static int begin(void **state)
{
	(void)state;
	fx = (struct fixture){ .folder = support_folder(), .clock = clock_virtual(START_S) };
	fx.spool = (struct spool){
		.folder = fx.folder,
		.interval_s = 3600,
		.quiet_s = SPOOL_QUIET_S,
		.take = take,
		.news = news,
	};
	struct err err = { 0 };
	OK(loop_new(&fx.clock, &fx.loop, &err), &err);
	return 0;
}

static int end(void **state)
{
	(void)state;
	spool_stop(&fx.spool);
	loop_free(fx.loop);
	support_folder_remove(fx.folder);
	return 0;
}

static void start(void)
{
	struct err err = { 0 };
	OK(spool_start(&fx.spool, fx.loop, &err), &err);
}

static void run_to(int64_t after_start_s)
{
	struct err err = { 0 };
	OK(loop_run(fx.loop, START_S + after_start_s, &err), &err);
}

static void drop(const char *name)
{
	support_write(support_path(fx.folder, name), "x\n", 2);
}

static bool exists(const char *name)
{
	return access(support_path(fx.folder, name), F_OK) == 0;
}

static void a_file_found_by_a_scan_waits_until_it_is_quiet(void **state)
{
	(void)state;
	drop("a.csv");
	start();
	run_to(SPOOL_QUIET_S - 1);
	assert_string_equal(fx.taken, "");
	run_to(SPOOL_QUIET_S);
	assert_string_equal(fx.taken, "a.csv");
	assert_string_equal(fx.news, "D:a.csv");
	assert_string_equal(fx.last_text, "7 readings");
	assert_true(exists("done/a.csv"));
	assert_false(exists("a.csv"));
}

static void a_growing_file_is_not_taken_before_it_stops(void **state)
{
	(void)state;
	int fd = open(support_path(fx.folder, "a.csv"), O_WRONLY | O_CREAT | O_APPEND, 0600);
	start();
	for (int64_t s = 5; s <= 60; s += 5) {
		assert_int_equal(write(fd, "x\n", 2), 2);
		spool_pass(&fx.spool, START_S + s);
	}
	assert_string_equal(fx.taken, "");
	spool_pass(&fx.spool, START_S + 60 + SPOOL_QUIET_S);
	assert_string_equal(fx.taken, "a.csv");
	(void)close(fd);
}

static void a_closed_file_and_a_moved_in_one_are_taken_at_once(void **state)
{
	(void)state;
	start();
	run_to(0);
	drop("closed.csv");
	drop("moved.tmp");
	assert_int_equal(
		rename(support_path(fx.folder, "moved.tmp"), support_path(fx.folder, "moved.csv")),
		0);
	int fd = open(support_path(fx.folder, "open.csv"), O_WRONLY | O_CREAT, 0600);
	run_to(1);
	assert_string_equal(fx.taken, "closed.csv moved.csv");
	assert_true(exists("open.csv"));
	(void)close(fd);
	run_to(2);
	assert_string_equal(fx.taken, "closed.csv moved.csv open.csv");
}

static void a_replay_takes_files_at_once_in_name_order(void **state)
{
	(void)state;
	fx.spool.quiet_s = 0;
	drop("b.csv");
	drop("c.csv");
	drop("a.csv");
	start();
	run_to(0);
	assert_string_equal(fx.taken, "a.csv b.csv c.csv");
}

static void hidden_and_part_files_folders_and_links_are_left(void **state)
{
	(void)state;
	static const char *const names[] = { ".hidden", "a.tmp", "b.csv.part" };
	fx.spool.quiet_s = 0;
	for (size_t i = 0; i < COUNT(names); i++)
		drop(names[i]);
	assert_int_equal(mkdir(support_path(fx.folder, "sub"), 0700), 0);
	assert_int_equal(symlink("/etc/hostname", support_path(fx.folder, "link.csv")), 0);
	start();
	run_to(2 * HOUR_S);
	assert_string_equal(fx.taken, "");
	assert_string_equal(fx.news, "");
	for (size_t i = 0; i < COUNT(names); i++)
		assert_true(exists(names[i]));
}

static void each_answer_has_its_fate(void **state)
{
	(void)state;
	static const struct {
		enum rc answer;
		const char *news;
	} rows[] = {
		{ RC_OK, "D:a.csv" },
		{ RC_USAGE, "F:a.csv" },
		{ RC_CONFIG, "F:a.csv" },
		{ RC_INPUT, "F:a.csv" },
		{ RC_ASK, "F:a.csv" },
		{ RC_UNKNOWN, "F:a.csv" },
		{ RC_IO, "F:a.csv" },
		{ RC_STORE, "L:a.csv" },
		{ RC_BUSY, "L:a.csv" },
		{ RC_FULL, "L:a.csv" },
		{ RC_MEM, "L:a.csv" },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		fx.answer = rows[i].answer;
		fx.news[0] = '\0';
		fx.spool.quiet_s = 0;
		drop("a.csv");
		start();
		run_to((int64_t)i);
		assert_string_equal(fx.news, rows[i].news);
		assert_int_equal(exists("a.csv"), rows[i].news[0] == 'L');
		spool_stop(&fx.spool);
	}
}

static void a_refused_file_lies_in_failed_with_its_reason(void **state)
{
	(void)state;
	fx.answer = RC_INPUT;
	fx.spool.quiet_s = 0;
	drop("a.csv");
	start();
	run_to(0);
	assert_true(exists("failed/a.csv"));
	FILE *f = fopen(support_path(fx.folder, "failed/a.csv.reason"), "r");
	assert_non_null(f);
	char text[128] = "";
	assert_non_null(fgets(text, sizeof text, f));
	(void)fclose(f);
	assert_string_equal(text, "line 3: no humidity column\n");
}

static void a_name_that_is_taken_gets_a_number(void **state)
{
	(void)state;
	fx.spool.quiet_s = 0;
	start();
	for (int i = 0; i < 3; i++) {
		drop("log.2026.csv");
		run_to(i);
	}
	assert_true(exists("done/log.2026.csv"));
	assert_true(exists("done/log.2026-2.csv"));
	assert_true(exists("done/log.2026-3.csv"));
}

static void a_busy_store_is_tried_again_with_growing_delay(void **state)
{
	(void)state;
	fx.answer = RC_BUSY;
	fx.spool.quiet_s = 0;
	drop("a.csv");
	drop("b.csv");
	start();
	run_to(69); /* at 0, 10, 30; the next is at 70 */
	assert_string_equal(fx.taken, "a.csv a.csv a.csv");
	fx.answer = RC_OK;
	run_to(70);
	assert_string_equal(fx.taken, "a.csv a.csv a.csv a.csv b.csv");
	drop("c.csv");
	run_to(71); /* without delay again */
	assert_true(exists("done/c.csv"));
}

static void replace_with_other(void)
{
	support_write(support_path(fx.folder, "a.csv"), "other bytes\n", 12);
	fx.meanwhile = NULL;
}

static void a_file_replaced_during_its_import_is_imported_again(void **state)
{
	(void)state;
	fx.spool.quiet_s = 0;
	fx.meanwhile = replace_with_other;
	drop("a.csv");
	start();
	run_to(0);
	run_to(1);
	assert_string_equal(fx.taken, "a.csv a.csv");
	assert_string_equal(fx.news, "D:a.csv");
	struct stat st;
	assert_int_equal(stat(support_path(fx.folder, "done/a.csv"), &st), 0);
	assert_int_equal(st.st_size, 12);
}

static void a_taken_file_that_can_not_be_moved_is_not_imported_again(void **state)
{
	(void)state;
	fx.spool.quiet_s = 0;
	drop("a.csv");
	drop("done"); /* a file where the folder should be */
	assert_int_equal(
		rename(support_path(fx.folder, "done"), support_path(fx.folder, "done.part")), 0);
	assert_int_equal(symlink("done.part", support_path(fx.folder, "done")), 0);
	start();
	run_to(3 * HOUR_S);
	assert_string_equal(fx.taken, "a.csv");
	assert_string_equal(fx.news, "D:a.csv S:a.csv S:a.csv S:a.csv S:a.csv");
	assert_int_equal(unlink(support_path(fx.folder, "done")), 0);
	run_to(4 * HOUR_S);
	assert_true(exists("done/a.csv"));
	assert_string_equal(fx.taken, "a.csv");
}

static void many_files_are_taken_in_passes_and_all_of_them(void **state)
{
	(void)state;
	fx.spool.quiet_s = 0;
	for (int i = 0; i < SPOOL_NAMES_MAX + 40; i++) {
		char name[32];
		(void)snprintf(name, sizeof name, "f%04d.csv", i);
		drop(name);
	}
	start();
	spool_pass(&fx.spool, START_S);
	assert_true(fx.spool.more);
	assert_int_equal(fx.spool.n_files, SPOOL_NAMES_MAX - SPOOL_PASS_MAX);
	run_to(1);
	assert_false(fx.spool.more);
	assert_int_equal(fx.spool.n_files, 0);
	assert_true(exists("done/f0000.csv"));
	char last[32];
	(void)snprintf(last, sizeof last, "done/f%04d.csv", SPOOL_NAMES_MAX + 39);
	assert_true(exists(last));
}

static void a_folder_that_comes_late_is_found_by_the_next_scan(void **state)
{
	(void)state;
	char *late = strdup(support_path(fx.folder, "late"));
	fx.spool.folder = late;
	fx.spool.quiet_s = 0;
	start();
	run_to(0);
	assert_string_equal(fx.news, "S:");
	assert_int_equal(mkdir(late, 0700), 0);
	drop("late/a.csv");
	run_to(HOUR_S);
	assert_string_equal(fx.taken, "a.csv");
	drop("late/b.csv"); /* watched by now */
	run_to(HOUR_S + 1);
	assert_string_equal(fx.taken, "a.csv b.csv");
	spool_stop(&fx.spool);
	free(late);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define IN_SPOOL(f) cmocka_unit_test_setup_teardown(f, begin, end)
		IN_SPOOL(a_file_found_by_a_scan_waits_until_it_is_quiet),
		IN_SPOOL(a_growing_file_is_not_taken_before_it_stops),
		IN_SPOOL(a_closed_file_and_a_moved_in_one_are_taken_at_once),
		IN_SPOOL(a_replay_takes_files_at_once_in_name_order),
		IN_SPOOL(hidden_and_part_files_folders_and_links_are_left),
		IN_SPOOL(each_answer_has_its_fate),
		IN_SPOOL(a_refused_file_lies_in_failed_with_its_reason),
		IN_SPOOL(a_name_that_is_taken_gets_a_number),
		IN_SPOOL(a_busy_store_is_tried_again_with_growing_delay),
		IN_SPOOL(a_file_replaced_during_its_import_is_imported_again),
		IN_SPOOL(a_taken_file_that_can_not_be_moved_is_not_imported_again),
		IN_SPOOL(many_files_are_taken_in_passes_and_all_of_them),
		IN_SPOOL(a_folder_that_comes_late_is_found_by_the_next_scan),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
