/* Every allocation of a settling fails once: the error is told, nothing is half done, the next settling is right. */
#include "tests/unit/support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "tests/unit/faulty_mem.h"
#include "daemon/calendar.h"
#include "daemon/desk.h"
#include "daemon/state.h"

#define START_S (civil_days(2025, 1, 1) * DAY_S)
enum { DAYS = 40 };

static void open_desk(struct desk *d, const char *folder)
{
	char text[1024], here[512];
	struct err err = { 0 };
	struct faults f = { 0 };
	assert_non_null(getcwd(here, sizeof here));
	(void)snprintf(text, sizeof text,
		"store = \"b.db\"; zone = \"Europe/Berlin\"; library = [ \"%s/conf\" ];\n"
		"places = ( { name = \"room\"; } );\n"
		"sensors = ( { name = \"room\"; place = \"room\"; },\n"
		"	{ name = \"other\"; place = \"room\"; } );\n"
		"outputs = ( { name = \"bench\"; folder = \"cal\"; round = \"Mon 09:00\"; },\n"
		"	{ name = \"clients\"; folder = \"cal\"; each = \"client\"; zone = \"UTC\"; "
		"},\n"
		"	{ name = \"rooms\"; folder = \"cal\"; each = \"place\"; show = \"todos\"; "
		"} );\n",
		here);
	support_write(support_path(folder, "s.conf"), text, strlen(text));
	assert_int_equal(mkdir(support_path(folder, "cal"), 0700), 0);
	OK(desk_read(support_path(folder, "s.conf"), d, &f, &err), &err);
	OK(desk_open(d, STORE_REPLAY, &err), &err);
}

/* A client's instrument, restrung, in air that turns too dry, with two sensors that disagree, one of them checked: items, a
 * visit and reasons to print. */
static void fill(struct desk *d)
{
	static struct quality_reading r[DAYS * 24];
	struct err err = { 0 };
	struct client c = { .name = "school" };
	struct instrument x = { .name = "one",
		.client = "school",
		.build = "flat-top",
		.since_s = START_S,
		.until_s = TIME_NEVER };
	struct finding f = { .subject = "one",
		.t_s = START_S + (DAYS - 1) * DAY_S,
		.kind = FINDING_RESTRUNG,
		.value = (double)NAN };
	const struct stay stay = { START_S, "room" };
	for (int h = 0; h < DAYS * 24; h++)
		r[h] = (struct quality_reading){ START_S + h * HOUR_S, 4500 - 2 * h + h % 2, 2050,
			0 };
	OK(store_begin(d->store, &err), &err);
	OK(record_put_client(d->store, &c, NULL, &err), &err);
	OK(record_put_instrument(d->store, &x, NULL, &err), &err);
	OK(record_put_stay(d->store, "one", &stay, NULL, &err), &err);
	OK(record_put_finding(d->store, &f, NULL, &err), &err);
	const struct store_correction check = { .check = { START_S + DAY_S, { 1.01, -1, 0.6 } } };
	int64_t id = 0;
	OK(store_sensor_find(d->store, "room", &id, &err), &err);
	OK(store_correction_put(d->store, id, &check, NULL, &err), &err);
	OK(store_commit(d->store, &err), &err);
	OK(intake_readings(d->intake, "room", r, DAYS * 24, START_S + DAYS * DAY_S, NULL, &err),
		&err);
	for (int h = 0; h < DAYS * 24; h++)
		r[h].rh_cpct += 1500;
	OK(intake_readings(d->intake, "other", r, DAYS * 24, START_S + DAYS * DAY_S, NULL, &err),
		&err);
}

static void a_settling_without_memory_ends_in_its_error_and_can_be_repeated(void **state)
{
	(void)state;
	char *folder = support_folder();
	struct desk d;
	int failures = 0;
	left = -1;
	open_desk(&d, folder);
	fill(&d);
	for (int n = 0;; n++) {
		struct err err = { 0 };
		publish_forget(&d.printed);
		left = n;
		enum rc rc = desk_settle(&d, START_S + DAYS * DAY_S, NULL, NULL, &err);
		bool met = left < 0;
		left = -1;
		if (!met) {
			OK(rc, &err);
			break;
		}
		failures += rc != RC_OK;
		if (rc != RC_OK)
			assert_int_equal(rc, RC_MEM);
	}
	assert_true(failures > 20);
	struct item *items = NULL;
	size_t n = 0;
	struct err err = { 0 };
	OK(state_items(d.store, TIME_NEVER, &items, &n, &err), &err);
	assert_true(n >= 2);
	mem_free(items);
	size_t count = 0;
	(void)engine_followed(d.engine, &count);
	assert_int_equal(count, 1);
	desk_close(&d);
	calendar_done();
	assert_int_equal(held, 0);
	support_folder_remove(folder);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_settling_without_memory_ends_in_its_error_and_can_be_repeated),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
