#include "tests/unit/support.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/wait.h>

#include "daemon/child.h"
#include "tests/unit/faulty_mem.h"

static struct fixture {
	struct clock clock;
	struct loop *loop;
	size_t ended;
	enum rc rc;
	char why[640], bytes[256];
	size_t n;
} fx;

static int begin(void **state)
{
	(void)state;
	struct err err = { 0 };
	fx = (struct fixture){ .clock = clock_real() };
	OK(loop_new(&fx.clock, &fx.loop, &err), &err);
	return 0;
}

static int end(void **state)
{
	(void)state;
	loop_free(fx.loop);
	return 0;
}

static void ended(void *arg, const struct child_end *e, int64_t now_s)
{
	(void)arg, (void)now_s;
	fx.ended++;
	fx.rc = e->rc;
	fx.n = e->n;
	(void)snprintf(fx.why, sizeof fx.why, "%s", e->why.text);
	(void)snprintf(fx.bytes, sizeof fx.bytes, "%.*s", (int)e->n, e->n ? e->bytes : "");
	loop_stop(fx.loop);
}

static struct child *start(const char *script, size_t size_limit)
{
	struct child *c = NULL;
	struct err err = { 0 };
	const struct child_how how = {
		.program = "/bin/sh",
		.arguments = { "-c", script },
		.time_limit_s = 60,
		.size_limit = size_limit,
	};
	OK(child_start(fx.loop, &how, ended, NULL, &c, &err), &err);
	return c;
}

static void run(const char *script, size_t size_limit)
{
	struct err err = { 0 };
	fx.ended = 0;
	(void)start(script, size_limit);
	OK(loop_run(fx.loop, 0, &err), &err);
	assert_int_equal(fx.ended, 1);
}

static size_t open_fds(void)
{
	size_t n = 0;
	DIR *d = opendir("/proc/self/fd");
	assert_non_null(d);
	while (readdir(d))
		n++;
	(void)closedir(d);
	return n;
}

static void assert_no_child(void)
{
	assert_int_equal(waitpid(-1, NULL, WNOHANG), -1);
	assert_int_equal(errno, ECHILD);
}

static void all_that_is_printed_comes_up_to_the_limit(void **state)
{
	(void)state;
	run("printf 12345678", 8);
	assert_int_equal(fx.rc, RC_OK);
	assert_string_equal(fx.bytes, "12345678");
	run("printf 123456789", 8);
	assert_int_equal(fx.rc, RC_IO);
	assert_non_null(strstr(fx.why, "printed more than 8 bytes"));
	run("head -c 1000000 /dev/zero", 1000000);
	assert_int_equal(fx.rc, RC_OK);
	assert_int_equal(fx.n, 1000000);
	run("exit 0", 8);
	assert_int_equal(fx.rc, RC_OK);
	assert_int_equal(fx.n, 0);
}

static void failure_is_told_with_the_last_line_of_standard_error(void **state)
{
	(void)state;
	run("printf 'one\\ntwo\\n\\n' >&2; exit 4", 8);
	assert_string_equal(fx.why, "/bin/sh: exit status 4: two");
	run("printf 'one\\nno line end' >&2; exit 4", 8);
	assert_string_equal(fx.why, "/bin/sh: exit status 4: no line end");
	run("exit 5", 8);
	assert_string_equal(fx.why, "/bin/sh: exit status 5");
	run("head -c 100000 /dev/zero | tr '\\0' x >&2; exit 4", 8);
	assert_true(strlen(fx.why) < CHILD_WORDS_SIZE + 40);
	run("echo fine >&2; printf 1", 8);
	assert_string_equal(fx.why, "");
	assert_string_equal(fx.bytes, "1");
}

static void hundred_runs_and_kills_leave_no_zombie_and_no_descriptor(void **state)
{
	(void)state;
	size_t fds = open_fds();
	for (int i = 0; i < 100; i++) {
		run(i % 3 == 0 ? "echo 45" : i % 3 == 1 ? "exit 3" : "sleep 1000 & echo 45", 8);
		assert_no_child();
		child_kill(start("sleep 1000", 8));
		assert_no_child();
	}
	assert_int_equal(open_fds(), fds);
	child_kill(NULL);
}

static void each_allocation_that_fails_ends_it_cleanly(void **state)
{
	(void)state;
	const int before = held;
	size_t fds = open_fds();
	const struct child_how how = {
		.program = "/bin/sh",
		.arguments = { "-c", "head -c 100000 /dev/zero" },
		.time_limit_s = 60,
		.size_limit = 100000,
	};
	bool failed = true;
	for (int nth = 0; failed; nth++) {
		struct child *c = NULL;
		struct err err = { 0 };
		left = nth;
		enum rc rc = child_start(fx.loop, &how, ended, NULL, &c, &err);
		if (rc == RC_OK) {
			OK(loop_run(fx.loop, 0, NULL), NULL);
			rc = fx.rc;
		}
		failed = left < 0;
		left = -1;
		assert_int_equal(rc, failed ? RC_MEM : RC_OK);
		assert_no_child();
		assert_int_equal(held, before);
		assert_int_equal(open_fds(), fds);
		assert_true(nth < 100);
	}
	assert_int_equal(fx.n, 100000);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_setup_teardown(
			all_that_is_printed_comes_up_to_the_limit, begin, end),
		cmocka_unit_test_setup_teardown(
			failure_is_told_with_the_last_line_of_standard_error, begin, end),
		cmocka_unit_test_setup_teardown(
			hundred_runs_and_kills_leave_no_zombie_and_no_descriptor, begin, end),
		cmocka_unit_test_setup_teardown(
			each_allocation_that_fails_ends_it_cleanly, begin, end),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
