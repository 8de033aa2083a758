#include "tests/unit/support.h"

#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/log.h"

/* The log's descriptor is the writing end of a pipe. */
static int ends[2];
static struct clock fake;
static struct log lines;

static int open_log(void **state)
{
	(void)state;
	assert_int_equal(pipe2(ends, O_NONBLOCK | O_CLOEXEC), 0);
	fake = clock_virtual(0);
	log_init(&lines, ends[1], &fake);
	return 0;
}

static int close_log(void **state)
{
	(void)state;
	(void)close(ends[0]);
	(void)close(ends[1]);
	(void)unsetenv("JOURNAL_STREAM");
	return 0;
}

/* What was written since, "" for nothing. */
static const char *written(void)
{
	static char text[8192];
	ssize_t n = read(ends[0], text, sizeof text - 1);
	text[n > 0 ? n : 0] = '\0';
	return text;
}

static void a_line_carries_program_and_level(void **state)
{
	(void)state;
	log_line(&lines, LEVEL_WARNING, NULL, "source \"%s\": silent", "shop");
	assert_string_equal(written(), "seasond: warning: source \"shop\": silent\n");
	log_line(&lines, LEVEL_INFO, NULL, "started");
	assert_string_equal(written(), "seasond: started\n");
}

static void the_journal_gets_priorities_only_when_it_is_our_standard_error(void **state)
{
	(void)state;
	struct stat st;
	assert_int_equal(fstat(ends[1], &st), 0);
	char stream[64];
	(void)snprintf(
		stream, sizeof stream, "%ju:%ju", (uintmax_t)st.st_dev, (uintmax_t)st.st_ino);
	assert_int_equal(setenv("JOURNAL_STREAM", stream, 1), 0);
	log_init(&lines, ends[1], &fake);
	log_line(&lines, LEVEL_ERROR, NULL, "disk full");
	assert_string_equal(written(), "<3>error: disk full\n");
	assert_int_equal(setenv("JOURNAL_STREAM", "1:1", 1), 0);
	log_init(&lines, ends[1], &fake);
	log_line(&lines, LEVEL_ERROR, NULL, "disk full");
	assert_string_equal(written(), "seasond: error: disk full\n");
}

static void lines_of_one_key_are_capped_and_the_rest_is_counted(void **state)
{
	(void)state;
	for (int i = 0; i < LOG_BURST + 7; i++)
		log_line(&lines, LEVEL_WARNING, "shop", "source \"%s\": fails", "shop");
	log_line(&lines, LEVEL_WARNING, "attic", "source \"%s\": fails", "attic");
	const char *text = written();
	int n = 0;
	for (const char *p = text; (p = strchr(p, '\n')); p++)
		n++;
	assert_int_equal(n, LOG_BURST + 1);
	assert_non_null(strstr(text, "attic"));
	clock_jump(&fake, LOG_WINDOW_MS);
	log_line(&lines, LEVEL_WARNING, "shop", "source \"%s\": fails", "shop");
	assert_string_equal(written(),
		"seasond: warning: source \"shop\": fails (7 lines like this were held back)\n");
}

static void more_keys_than_kept_still_log(void **state)
{
	(void)state;
	for (int i = 0; i < 3 * LOG_KEYS; i++) {
		char key[16];
		(void)snprintf(key, sizeof key, "k%d", i);
		clock_jump(&fake, 1);
		log_line(&lines, LEVEL_INFO, key, "line");
		assert_string_equal(written(), "seasond: line\n");
	}
}

static void long_and_odd_text_stays_one_short_line(void **state)
{
	(void)state;
	char text[3 * LOG_LINE_MAX];
	memset(text, 'x', sizeof text);
	text[sizeof text - 1] = '\0';
	memcpy(text, "a\nb\x1b[31m", 8);
	log_line(&lines, LEVEL_WARNING, NULL, "%s", text);
	const char *got = written();
	size_t n = strlen(got);
	assert_true(n <= LOG_LINE_MAX);
	assert_ptr_equal(strchr(got, '\n'), got + n - 1);
	assert_memory_equal(got, "seasond: warning: a?b?[31m", 26);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define WITH_LOG(f) cmocka_unit_test_setup_teardown(f, open_log, close_log)
		WITH_LOG(a_line_carries_program_and_level),
		WITH_LOG(the_journal_gets_priorities_only_when_it_is_our_standard_error),
		WITH_LOG(lines_of_one_key_are_capped_and_the_rest_is_counted),
		WITH_LOG(more_keys_than_kept_still_log),
		WITH_LOG(long_and_odd_text_stays_one_short_line),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
