#include "tests/unit/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/intake.h"
#include "daemon/store_int.h"

#define JAN_1_2026_S INT64_C(1767225600) /* date -u -d 2026-01-01 +%s */

static const char settings_text[] =
	"zone = \"Europe/Vienna\";\n"
	"places = ( { name = \"shop\"; }, { name = \"attic\"; zone = \"America/Denver\"; } );\n"
	"sensors = ( { name = \"bench\"; place = \"shop\"; }, { name = \"roof\"; place = "
	"\"attic\"; } );\n";

static struct fixture {
	char *folder;
	struct settings *set;
	struct store *store;
	struct intake *in;
} fx;

static int begin(void **state)
{
	(void)state;
	struct faults faults = { 0 };
	struct err err = { 0 };
	fx = (struct fixture){ .folder = support_folder() };
	const char *path = support_path(fx.folder, "seasond.conf");
	support_write(path, settings_text, sizeof settings_text - 1);
	if (settings_load(path, &fx.set, &faults) != RC_OK)
		fail_msg("%s", faults.text[0]);
	OK(store_open_waiting(support_path(fx.folder, "s.db"), STORE_REPLAY, 50, &fx.store, &err),
		&err);
	OK(intake_new(fx.store, fx.set, &fx.in, &err), &err);
	return 0;
}

static int end(void **state)
{
	(void)state;
	intake_free(fx.in);
	store_close(fx.store);
	settings_free(fx.set);
	support_folder_remove(fx.folder);
	return 0;
}

static const char *file(const char *text)
{
	const char *path = support_path(fx.folder, "export.csv");
	support_write(path, text, strlen(text));
	return path;
}

static enum rc take(
	const char *text, const char *sensor, struct intake_result *result, struct err *err)
{
	const struct intake_file what = {
		.path = file(text),
		.sensor = sensor,
		.now_s = JAN_1_2026_S + DAY_S,
	};
	return intake_file(fx.in, &what, result, err);
}

static size_t stored(const char *sensor)
{
	struct quality_reading rows[64];
	int64_t id;
	size_t n = 0;
	struct err err = { 0 };
	OK(store_sensor_find(fx.store, sensor, &id, &err), &err);
	OK(store_raw(fx.store, id, 0, TIME_NEVER, rows, COUNT(rows), &n, &err), &err);
	return n;
}

static const char two_rows[] = "time,humidity,temperature\n"
			       "2026-01-01T00:00:00Z,45.2,20.1\n"
			       "2026-01-01T00:05:00Z,45.3,20.2\n";
static const char two_sensors[] = "time,humidity,temperature,sensor\n"
				  "2026-01-01T00:00:00Z,45.2,20.1,bench\n"
				  "2026-01-01T00:00:00Z,31.0,12.0,roof\n"
				  "2026-01-01T00:05:00Z,45.3,20.2,bench\n"
				  "2026-01-01T00:05:00Z,50.0,12.0,cellar\n";

static void a_file_counts_once_however_often_it_comes(void **state)
{
	(void)state;
	struct intake_result r;
	struct err err = { 0 };
	OK(take(two_rows, "bench", &r, &err), &err);
	assert_int_equal(r.store.stored, 2);
	OK(take(two_rows, "bench", &r, &err), &err);
	assert_int_equal(r.store.stored, 0);
	assert_int_equal(r.store.known, 2);
	assert_int_equal(stored("bench"), 2);
}

static void rows_of_several_sensors_go_to_each_and_unknown_ones_are_told(void **state)
{
	(void)state;
	struct intake_result r;
	struct err err = { 0 };
	char text[256];
	OK(take(two_sensors, "", &r, &err), &err);
	assert_int_equal(stored("bench"), 2);
	assert_int_equal(stored("roof"), 1);
	assert_int_equal(r.unknown, 1);
	intake_summary(&r, text, sizeof text);
	print_message("%s\n", text);
	assert_non_null(strstr(text, "3 readings, 3 new"));
	assert_non_null(strstr(text, "\"cellar\""));
}

static void a_file_of_no_known_sensor_says_what_to_set(void **state)
{
	(void)state;
	struct intake_result r;
	struct err err = { 0 };
	assert_int_equal(take(two_rows, "", &r, &err), RC_ASK);
	assert_non_null(strstr(err.text, "set sensor"));
	err = (struct err){ 0 };
	assert_int_equal(
		take("time,humidity,temperature,sensor\n2026-01-01T00:00:00Z,45.2,20.1,cellar\n",
			"", &r, &err),
		RC_UNKNOWN);
	assert_non_null(strstr(err.text, "\"cellar\""));
}

static void readings_need_a_sensor_of_the_settings(void **state)
{
	(void)state;
	const struct quality_reading r = { JAN_1_2026_S, 4500, 2000, 0 };
	struct store_count count = { 0 };
	struct err err = { 0 };
	OK(intake_readings(fx.in, "roof", &r, 1, JAN_1_2026_S, &count, &err), &err);
	assert_int_equal(count.stored, 1);
	assert_int_equal(
		intake_readings(fx.in, "cellar", &r, 1, JAN_1_2026_S, NULL, &err), RC_UNKNOWN);
}

static void a_busy_store_leaves_nothing_behind(void **state)
{
	(void)state;
	struct store *other = NULL;
	struct intake_result r;
	struct err err = { 0 };
	OK(store_open(support_path(fx.folder, "s.db"), STORE_WRITE, &other, &err), &err);
	OK(store_begin(other, &err), &err);
	assert_int_equal(take(two_rows, "bench", &r, &err), RC_BUSY);
	store_rollback(other);
	store_close(other);
	assert_int_equal(stored("bench"), 0);
	err = (struct err){ 0 };
	OK(take(two_rows, "bench", &r, &err), &err);
}

/* More than one batch, so that the runs are handed over midway. */
static void a_long_file_is_stored_whole(void **state)
{
	(void)state;
	enum { ROWS = (1 << 17) + 1000 };
	size_t room = (size_t)ROWS * 48, used = 0;
	char *text = malloc(room);
	assert_non_null(text);
	used += (size_t)snprintf(text, room, "time,humidity,temperature\n");
	for (int64_t i = 0; i < ROWS; i++) {
		struct civil c = civil_at(JAN_1_2026_S - 2 * 365 * DAY_S + i * 300);
		used += (size_t)snprintf(text + used, room - used,
			"%04d-%02d-%02dT%02d:%02d:%02dZ,%d.%d,20.1\n", c.year, c.month, c.day,
			c.hour, c.minute, c.second, 40 + (int)(i % 7), (int)(i % 10));
	}
	struct intake_result r;
	struct err err = { 0 };
	OK(take(text, "bench", &r, &err), &err);
	assert_int_equal(r.store.stored, ROWS);
	free(text);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define WITH_STORE(f) cmocka_unit_test_setup_teardown(f, begin, end)
		WITH_STORE(a_file_counts_once_however_often_it_comes),
		WITH_STORE(rows_of_several_sensors_go_to_each_and_unknown_ones_are_told),
		WITH_STORE(a_file_of_no_known_sensor_says_what_to_set),
		WITH_STORE(readings_need_a_sensor_of_the_settings),
		WITH_STORE(a_busy_store_leaves_nothing_behind),
		WITH_STORE(a_long_file_is_stored_whole),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
