#include "tests/unit/support.h"

#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/bell.h"
#include "daemon/service.h"
#include "daemon/store_int.h"

#define START_S INT64_C(1767225600) /* 2026-01-01T00:00:00Z */

/* The service on a virtual clock: a made kernel tree, a store, a log in a file, and a settling of
 * our own. */
static struct fixture {
	char *folder;
	struct clock clock;
	struct log log;
	int log_fd;
	struct app app;
	struct service *service;
	int64_t settled_s[64];
	size_t n_settled;
	int failures; /* how often settling fails before it works */
	bool ring; /* somebody rings during the first settling */
} fx;

enum rc app_settle(struct app *app, int64_t now_s, struct err *err)
{
	if (fx.ring)
		bell_ring(app->desk.set->store);
	fx.ring = false;
	if (fx.n_settled < COUNT(fx.settled_s))
		fx.settled_s[fx.n_settled++] = now_s - START_S;
	return fx.failures-- > 0 ? err_set(err, RC_FULL, "calendar \"shop\": no room left") : RC_OK;
}

static void put(const char *name, const char *text)
{
	support_write(support_path(fx.folder, name), text, strlen(text));
}

static void put_settings(const char *interval, const char *more)
{
	char text[2048], here[512];
	assert_non_null(getcwd(here, sizeof here));
	(void)snprintf(text, sizeof text,
		"library = [ \"%s/conf\" ];\nstore = \"s.db\";\nzone = \"Europe/Vienna\";\nplaces "
		"= ( { name = \"shop\"; } );\n"
		"sensors = ( { name = \"bench\"; place = \"shop\"; } );\n"
		"sources = ( { name = \"chip\"; kind = \"kernel\"; sensor = \"bench\"; chip = "
		"\"sht3x\"; path = \"sys\"; "
		"interval = \"%s\"; } );\n%s",
		here, interval, more);
	put("seasond.conf", text);
}

static void start(void)
{
	struct err err = { 0 };
	OK(app_open(&fx.app, &err), &err);
	/* a busy store is told at once, not after seconds */
	struct desk *d = &fx.app.desk;
	engine_free(d->engine);
	intake_free(d->intake);
	store_close(d->store);
	d->engine = NULL;
	OK(store_open_waiting(d->set->store, STORE_REPLAY, 1, &d->store, &err), &err);
	OK(intake_new(d->store, d->set, &d->intake, &err), &err);
	OK(engine_new(d->store, d->set, d->lib, &d->engine, &err), &err);
	OK(service_new(&fx.app, &fx.service, &err), &err);
}

static int begin(void **state)
{
	(void)state;
	static const char *const folders[] = { "sys", "sys/class", "sys/class/hwmon",
		"sys/class/hwmon/hwmon4" };
	fx = (struct fixture){ .folder = support_folder(), .clock = clock_virtual(START_S) };
	for (size_t i = 0; i < COUNT(folders); i++)
		assert_int_equal(mkdir(support_path(fx.folder, folders[i]), 0700), 0);
	put("sys/class/hwmon/hwmon4/name", "sht3x\n");
	put("sys/class/hwmon/hwmon4/humidity1_input", "45230\n");
	put_settings("1 h", "");
	fx.log_fd =
		open(support_path(fx.folder, "log"), O_RDWR | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
	log_init(&fx.log, fx.log_fd, &fx.clock);
	fx.app = (struct app){
		.settings_path = strdup(support_path(fx.folder, "seasond.conf")),
		.clock = &fx.clock,
		.log = &fx.log,
		.replay_to_s = TIME_NEVER,
	};
	start();
	return 0;
}

static int end(void **state)
{
	(void)state;
	service_free(fx.service);
	app_close(&fx.app);
	free((void *)(uintptr_t)fx.app.settings_path);
	(void)close(fx.log_fd);
	support_folder_remove(fx.folder);
	return 0;
}

static enum rc run_to(int64_t after_start_s)
{
	return service_run(fx.service, START_S + after_start_s, NULL);
}

static const char *logged(void)
{
	static char text[16384];
	ssize_t n = pread(fx.log_fd, text, sizeof text - 1, 0);
	text[n > 0 ? n : 0] = '\0';
	return text;
}

static size_t stored(void)
{
	static struct quality_reading rows[1000];
	int64_t id;
	size_t n = 0;
	struct err err = { 0 };
	OK(store_sensor_find(fx.app.desk.store, "bench", &id, &err), &err);
	OK(store_raw(fx.app.desk.store, id, 0, TIME_NEVER, rows, COUNT(rows), &n, &err), &err);
	return n;
}

static void it_settles_at_start_after_intake_and_after_each_full_hour(void **state)
{
	(void)state;
	assert_int_equal(run_to(2 * HOUR_S + 1800), RC_OK);
	/* at 0 once for the start and the reading that came in the same wake */
	static const int64_t want[] = { 0, 120, 3600, 3720, 7200, 7320 };
	assert_int_equal(fx.n_settled, COUNT(want));
	for (size_t i = 0; i < COUNT(want); i++)
		assert_int_equal(fx.settled_s[i], want[i]);
	assert_int_equal(stored(), 3);
}

static void a_failed_settling_is_tried_again_with_growing_delay(void **state)
{
	(void)state;
	fx.failures = 3;
	put("sys/class/hwmon/hwmon4/humidity1_input", "gone\n");
	assert_int_equal(run_to(59), RC_FULL);
	assert_int_equal(run_to(500), RC_OK);
	/* begun again at 59, news of the full hour at 120: neither waits for the retry */
	static const int64_t want[] = { 0, 59, 120, 360 };
	assert_int_equal(fx.n_settled, COUNT(want));
	for (size_t i = 0; i < COUNT(want); i++)
		assert_int_equal(fx.settled_s[i], want[i]);
	assert_non_null(
		strstr(logged(), "error: calendar \"shop\": no room left, retrying in 60 s\n"));
	assert_non_null(strstr(logged(), "retrying in 240 s\n"));
	assert_non_null(strstr(logged(), "settled again\n"));
}

static void a_failing_chip_is_read_less_often_until_it_is_well(void **state)
{
	(void)state;
	put_settings("10 min", "");
	assert_int_equal(raise(SIGHUP), 0);
	put("sys/class/hwmon/hwmon4/humidity1_input", "gone\n");
	(void)run_to(4 * HOUR_S); /* tries at 0, 10, 30, 70, 130, 190 min */
	assert_int_equal(stored(), 0);
	assert_non_null(strstr(logged(), "retrying in 600 s"));
	assert_non_null(strstr(logged(), "retrying in 3600 s"));
	put("sys/class/hwmon/hwmon4/humidity1_input", "45230\n");
	(void)run_to(5 * HOUR_S); /* well at 250 min, then each 10 */
	assert_non_null(strstr(logged(), "source \"chip\": reads again"));
	assert_int_equal(stored(), 6);
}

static void readings_wait_for_a_busy_store_and_none_is_lost(void **state)
{
	(void)state;
	struct store *other = NULL;
	struct err err = { 0 };
	OK(store_open(fx.app.desk.set->store, STORE_WRITE, &other, &err), &err);
	OK(store_begin(other, &err), &err);
	(void)run_to(5 * HOUR_S - 1);
	store_rollback(other);
	store_close(other);
	assert_int_equal(stored(), 0);
	(void)run_to(6 * HOUR_S - 1);
	assert_int_equal(stored(), 6);
}

static void wrong_settings_are_told_and_the_old_ones_stay(void **state)
{
	(void)state;
	put_settings("30 min", "nonsense = 1;\nmore_nonsense = 2;\n");
	assert_int_equal(raise(SIGHUP), 0);
	(void)run_to(1);
	assert_non_null(strstr(logged(), "nonsense"));
	assert_non_null(strstr(logged(), "more_nonsense"));
	assert_non_null(strstr(logged(), "keeping the settings in force"));
	assert_int_equal(fx.app.desk.set->sources[0].interval_s, HOUR_S);
	put_settings("30 min", "");
	assert_int_equal(raise(SIGHUP), 0);
	(void)run_to(2);
	assert_int_equal(fx.app.desk.set->sources[0].interval_s, HOUR_S / 2);
	(void)run_to(2 * HOUR_S);
	assert_true(stored() >= 4);
}

static void term_settles_once_more_and_stops(void **state)
{
	(void)state;
	assert_int_equal(raise(SIGTERM), 0);
	assert_int_equal(run_to(HOUR_S), RC_OK);
	assert_int_equal(fx.n_settled, 1);
	assert_int_equal(clock_now_s(&fx.clock), START_S);
	assert_non_null(strstr(logged(), "stopping"));
}

static void the_bell_makes_it_settle(void **state)
{
	(void)state;
	put("sys/class/hwmon/hwmon4/humidity1_input", "gone\n"); /* so nothing else asks for it */
	fx.ring = true; /* while it settles for the start */
	(void)run_to(100);
	assert_int_equal(fx.n_settled, 2);
}

static void once_reads_settles_and_tells_what_failed(void **state)
{
	(void)state;
	struct err err = { 0 };
	OK(service_once(fx.service, &err), &err);
	assert_int_equal(stored(), 1);
	assert_int_equal(fx.n_settled, 1);
	put("sys/class/hwmon/hwmon4/humidity1_input", "46\n");
	assert_int_equal(service_once(fx.service, &err), RC_ASK);
	assert_non_null(strstr(err.text, "unit = \"percent\""));
	assert_int_equal(fx.n_settled, 2);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define SERVED(f) cmocka_unit_test_setup_teardown(f, begin, end)
		SERVED(it_settles_at_start_after_intake_and_after_each_full_hour),
		SERVED(a_failed_settling_is_tried_again_with_growing_delay),
		SERVED(a_failing_chip_is_read_less_often_until_it_is_well),
		SERVED(readings_wait_for_a_busy_store_and_none_is_lost),
		SERVED(wrong_settings_are_told_and_the_old_ones_stay),
		SERVED(term_settles_once_more_and_stops),
		SERVED(the_bell_makes_it_settle),
		SERVED(once_reads_settles_and_tells_what_failed),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
