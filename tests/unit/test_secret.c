#include "tests/unit/support.h"

#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "daemon/secret.h"

static char *folder;

static int make_folder(void **state)
{
	(void)state;
	folder = support_folder();
	(void)unsetenv("CREDENTIALS_DIRECTORY");
	return 0;
}

static int remove_folder(void **state)
{
	(void)state;
	support_folder_remove(folder);
	return 0;
}

static const char *put(const char *name, const void *bytes, size_t n, mode_t mode)
{
	const char *path = support_path(folder, name);
	support_write(path, bytes, n);
	assert_int_equal(chmod(path, mode), 0);
	return path;
}

/* Refused with these words, and not a byte of it stays behind. */
static void refused(const char *credential, const char *words)
{
	struct secret s, nothing = { 0 };
	struct err err = { 0 };
	memset(&s, 'x', sizeof s);
	assert_int_equal(secret_read(credential, &s, &err), RC_CONFIG);
	if (!strstr(err.text, words))
		fail_msg("\"%s\" lacks \"%s\"", err.text, words);
	assert_null(strstr(err.text, "hunter"));
	assert_memory_equal(&s, &nothing, sizeof s);
}

static void text_is_what_the_file_holds_without_its_line_end(void **state)
{
	(void)state;
	static const struct {
		const char *file, *want;
	} rows[] = {
		{ "hunter2", "hunter2" },
		{ "hunter2\n", "hunter2" },
		{ "hunter2\r\n", "hunter2" },
		{ " with blanks and \xc3\xa4 \n", " with blanks and \xc3\xa4 " },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct secret s;
		struct err err = { 0 };
		const char *path = put("token", rows[i].file, strlen(rows[i].file), 0600);
		OK(secret_read(path, &s, &err), &err);
		assert_string_equal(s.text, rows[i].want);
		assert_int_equal(s.n, strlen(rows[i].want));
		secret_wipe(&s);
		assert_int_equal(s.n, 0);
		assert_int_equal(s.text[0], 0);
	}
}

static void files_that_others_may_touch_are_refused(void **state)
{
	(void)state;
	struct secret s;
	struct err err = { 0 };
	OK(secret_read(put("token", "hunter2", 7, 0400), &s, &err), &err);
	static const mode_t open_to_others[] = { 0644, 0640, 0604, 0620, 0602, 0610, 0601 };
	for (size_t i = 0; i < COUNT(open_to_others); i++) {
		char words[64];
		(void)snprintf(words, sizeof words, "mode %04o lets others at it: chmod 600",
			(unsigned)open_to_others[i]);
		refused(put("token", "hunter2", 7, open_to_others[i]), words);
	}
	if (geteuid() == 0) {
		const char *path = put("token", "hunter2", 7, 0600);
		assert_int_equal(chown(path, 12345, 0), 0);
		refused(path, "belongs to user 12345: has to be ours (0) or root's");
	}
}

static void only_regular_files_with_one_line_count(void **state)
{
	(void)state;
	static char long_text[SECRET_MAX + 2];
	struct secret s;
	struct err err = { 0 };
	memset(long_text, 'h', sizeof long_text);
	long_text[SECRET_MAX] = '\n';
	OK(secret_read(put("token", long_text, SECRET_MAX + 1, 0600), &s, &err), &err);
	assert_int_equal(s.n, SECRET_MAX);
	long_text[SECRET_MAX] = 'h';
	refused(put("token", long_text, SECRET_MAX + 1, 0600), "more than 4096 bytes");
	refused(put("token", long_text, SECRET_MAX + 2, 0600), "more than 4096 bytes");
	refused(put("token", "", 0, 0600), "empty");
	refused(put("token", "\n", 1, 0600), "empty");
	refused(put("token", "hunter2\nX: y", 12, 0600), "control character");
	refused(put("token", "hunter2\0more", 12, 0600), "control character");
	refused(folder, "not a regular file");
	refused(support_path(folder, "none"), "No such file");
	const char *pipe_path = support_path(folder, "pipe");
	assert_int_equal(mkfifo(pipe_path, 0600), 0);
	refused(pipe_path, "not a regular file");
}

/* systemd.exec(5): CREDENTIALS_DIRECTORY; names are file names. */
static void names_are_looked_up_in_the_managers_folder(void **state)
{
	(void)state;
	struct secret s;
	struct err err = { 0 };
	(void)put(
		"token", "hunter2\n", 8, 0440); /* group bits: mask of the manager's access list */
	refused("token", "LoadCredential=token:FILE in the unit, or an absolute path");
	assert_int_equal(setenv("CREDENTIALS_DIRECTORY", folder, 1), 0);
	OK(secret_read("token", &s, &err), &err);
	assert_string_equal(s.text, "hunter2");
	refused("other", "No such file");
	refused("../token", "one without /, or an absolute path");
	refused("..", "one without /, or an absolute path");
	refused("a/token", "one without /, or an absolute path");
}

static void only_the_whole_secret_equals_it(void **state)
{
	(void)state;
	struct secret s = { .n = 7, .text = "hunter2" };
	static const char *const others[] = { "", "h", "hunter", "hunter22", "hunter3", "Hunter2",
		"xunter2", "hunter2 " };
	assert_true(secret_equal(&s, "hunter2", 7));
	for (size_t i = 0; i < COUNT(others); i++)
		assert_false(secret_equal(&s, others[i], strlen(others[i])));
	assert_false(secret_equal(&s, "hunter2", 8)); /* its NUL is no part of it */
	for (int bit = 1; bit < 256; bit <<= 1)
		for (size_t i = 0; i < 7; i++) {
			char text[] = "hunter2";
			text[i] = (char)(text[i] ^ bit);
			assert_false(secret_equal(&s, text, 7));
		}
	static char longest[SECRET_MAX + 100];
	memset(longest, 'x', sizeof longest);
	s.n = SECRET_MAX;
	memset(s.text, 'x', SECRET_MAX);
	assert_true(secret_equal(&s, longest, SECRET_MAX));
	assert_false(secret_equal(&s, longest, sizeof longest));
}

/* The shortest of many, in ns. */
static int64_t time_of(const struct secret *s, const char *text, size_t n)
{
	int64_t least = INT64_MAX;
	for (int i = 0; i < 400; i++) {
		struct timespec a, b;
		(void)clock_gettime(CLOCK_MONOTONIC, &a);
		bool equal = secret_equal(s, text, n);
		(void)clock_gettime(CLOCK_MONOTONIC, &b);
		int64_t ns = (b.tv_sec - a.tv_sec) * 1000000000 + b.tv_nsec - a.tv_nsec;
		least = ns < least && !equal ? ns : least;
	}
	return least;
}

/* One that stops at the first difference takes thousands of times less for one at the beginning. */
static void comparing_takes_as_long_wherever_the_difference_is(void **state)
{
	(void)state;
	static struct secret s = { .n = SECRET_MAX };
	static char first[SECRET_MAX], last[SECRET_MAX];
	memset(s.text, 'x', SECRET_MAX);
	memset(first, 'x', SECRET_MAX);
	memset(last, 'x', SECRET_MAX);
	first[0] = last[SECRET_MAX - 1] = 'y';
	int64_t a = time_of(&s, first, SECRET_MAX), b = time_of(&s, last, SECRET_MAX);
	int64_t other_length = (s.n = 8, time_of(&s, last, SECRET_MAX));
	if (a > 2 * b || b > 2 * a || other_length > 2 * b || b > 2 * other_length)
		fail_msg("%" PRId64 ", %" PRId64 " and %" PRId64 " ns", a, b, other_length);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_setup_teardown(text_is_what_the_file_holds_without_its_line_end,
			make_folder, remove_folder),
		cmocka_unit_test_setup_teardown(
			files_that_others_may_touch_are_refused, make_folder, remove_folder),
		cmocka_unit_test_setup_teardown(
			only_regular_files_with_one_line_count, make_folder, remove_folder),
		cmocka_unit_test_setup_teardown(
			names_are_looked_up_in_the_managers_folder, make_folder, remove_folder),
		cmocka_unit_test(only_the_whole_secret_equals_it),
		cmocka_unit_test(comparing_takes_as_long_wherever_the_difference_is),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
