#include "tests/unit/support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/mem.h"
#include "daemon/desk.h"
#include "daemon/state.h"

/* Readings in, items and calendars out, through the desk that both programs work at. The rules are the shipped ones;
 * no outside source. */

#define START_S (civil_days(2025, 1, 1) * DAY_S)
enum { DAY_H = 24 };

static struct bench {
	char *folder;
	struct desk desk;
	int64_t now_s;
	int news;
} b;

static int begin(void **state)
{
	(void)state;
	char text[1024], here[512];
	struct err err = { 0 };
	struct faults f = { 0 };
	b = (struct bench){ .folder = support_folder(), .now_s = START_S };
	assert_non_null(getcwd(here, sizeof here));
	(void)snprintf(text, sizeof text,
		"store = \"b.db\"; zone = \"Europe/Berlin\"; library = [ \"%s/conf\" ];\n"
		"places = ( { name = \"room\"; }, { name = \"box\"; room = \"room\"; } );\n"
		"sensors = ( { name = \"room\"; place = \"room\"; silent_after = \"2 d\"; } );\n"
		"outputs = ( { name = \"bench\"; folder = \"cal\"; } );\n",
		here);
	support_write(support_path(b.folder, "s.conf"), text, strlen(text));
	assert_int_equal(mkdir(support_path(b.folder, "cal"), 0700), 0);
	OK(desk_read(support_path(b.folder, "s.conf"), &b.desk, &f, &err), &err);
	OK(desk_open(&b.desk, STORE_REPLAY, &err), &err);
	return 0;
}

static int end(void **state)
{
	(void)state;
	desk_close(&b.desk);
	support_folder_remove(b.folder);
	return 0;
}

static void count_news(void *arg, const struct item *it, int64_t now_s)
{
	(void)it, (void)now_s;
	++*(int *)arg;
}

static size_t settle(void)
{
	struct err err = { 0 };
	size_t changed = 0;
	const struct agenda_news news = { &b.news, count_news };
	OK(desk_settle(&b.desk, b.now_s, &news, &changed, &err), &err);
	return changed;
}

/* Days of that humidity, read every hour with a little life in it, settled once a day. */
static void live(int days, double rh_pct)
{
	static struct quality_reading r[DAY_H];
	struct err err = { 0 };
	for (int d = 0; d < days; d++) {
		for (int h = 0; h < DAY_H; h++)
			r[h] = (struct quality_reading){ b.now_s + h * HOUR_S,
				(int32_t)lround(100 * rh_pct) + (h % 2) * 10, 2050, 0 };
		b.now_s += DAY_S;
		OK(intake_readings(b.desk.intake, "room", r, DAY_H, b.now_s, NULL, &err), &err);
		(void)settle();
	}
}

static void put_instrument(const char *name, const char *client)
{
	struct err err = { 0 };
	struct instrument x = { .build = "flat-top", .since_s = START_S, .until_s = TIME_NEVER };
	const struct stay stay = { START_S, "room" };
	(void)snprintf(x.name, sizeof x.name, "%s", name);
	(void)snprintf(x.client, sizeof x.client, "%s", client);
	OK(store_begin(b.desk.store, &err), &err);
	OK(record_put_instrument(b.desk.store, &x, NULL, &err), &err);
	OK(record_put_stay(b.desk.store, name, &stay, NULL, &err), &err);
	OK(store_commit(b.desk.store, &err), &err);
}

static void put_client(const char *name)
{
	struct err err = { 0 };
	struct client c = { 0 };
	(void)snprintf(c.name, sizeof c.name, "%s", name);
	OK(store_begin(b.desk.store, &err), &err);
	OK(record_put_client(b.desk.store, &c, NULL, &err), &err);
	OK(store_commit(b.desk.store, &err), &err);
}

static void find_out(const char *name, enum finding_kind kind)
{
	struct err err = { 0 };
	struct finding f = { .t_s = b.now_s, .kind = (int)kind, .value = (double)NAN };
	(void)snprintf(f.subject, sizeof f.subject, "%s", name);
	OK(store_begin(b.desk.store, &err), &err);
	OK(record_put_finding(b.desk.store, &f, NULL, &err), &err);
	OK(store_commit(b.desk.store, &err), &err);
}

/* The open (or since the start closed) item of that rule and subject; id 0 when there is none. */
static struct item item_of(const char *rule, const char *subject)
{
	struct item *list = NULL, found = { 0 };
	size_t n = 0;
	struct err err = { 0 };
	OK(state_items(b.desk.store, START_S, &list, &n, &err), &err);
	for (size_t i = 0; i < n; i++)
		if (strcmp(list[i].rule, rule) == 0 && strcmp(list[i].subject, subject) == 0 &&
			list[i].id > found.id)
			found = list[i];
	mem_free(list);
	return found;
}

static size_t open_visits(struct visit *first)
{
	struct visit *list = NULL;
	size_t n = 0;
	struct err err = { 0 };
	OK(state_visits(b.desk.store, TIME_NEVER, &list, &n, &err), &err);
	if (n)
		*first = list[0];
	mem_free(list);
	return n;
}

static void dry_air_opens_once_and_goes_when_the_air_is_back(void **state)
{
	(void)state;
	put_instrument("one", "");
	live(10, 45);
	assert_int_equal(item_of("air_dry", "room").id, 0);
	live(4, 36);
	struct item it = item_of("air_dry", "room");
	assert_int_equal(it.state, ITEM_OPEN);
	assert_non_null(strstr(it.reasons, "band 40-55 %"));
	assert_non_null(strstr(it.reasons, "there: one"));
	live(3, 40.5); /* between the limits: it stays */
	assert_int_equal(item_of("air_dry", "room").state, ITEM_OPEN);
	assert_int_equal(item_of("air_dry", "room").id, it.id);
	live(4, 45);
	assert_int_equal(item_of("air_dry", "room").state, ITEM_WITHDRAWN);
}

static void a_slack_nut_calls_and_a_snug_one_closes(void **state)
{
	(void)state;
	put_instrument("one", "");
	live(20, 60);
	find_out("one", FINDING_SNUG);
	live(75, 30);
	struct item it = item_of("hardware", "one");
	assert_int_equal(it.state, ITEM_OPEN);
	assert_non_null(strstr(it.reasons, "M10x0.75"));
	assert_non_null(strstr(it.reasons, "turn"));
	find_out("one", FINDING_SNUG);
	(void)settle();
	it = item_of("hardware", "one");
	assert_int_equal(it.state, ITEM_DONE);
	assert_int_equal(it.closed_s, b.now_s);
	live(30, 30);
	assert_int_equal(item_of("hardware", "one").id, it.id);
}

static void what_is_put_aside_rests(void **state)
{
	(void)state;
	struct err err = { 0 };
	put_instrument("one", "");
	live(20, 60);
	live(75, 30);
	struct item it = item_of("hardware", "one");
	assert_int_equal(it.state, ITEM_OPEN);
	OK(store_begin(b.desk.store, &err), &err);
	OK(agenda_close(b.desk.store, it.id, ITEM_PUT_ASIDE, b.now_s, &err), &err);
	assert_int_equal(agenda_close(b.desk.store, it.id, ITEM_DONE, b.now_s, NULL), RC_UNKNOWN);
	OK(store_commit(b.desk.store, &err), &err);
	live(59, 30);
	assert_int_equal(item_of("hardware", "one").id, it.id);
	live(3, 30);
	assert_true(item_of("hardware", "one").id > it.id);
}

static void one_client_gets_one_visit_that_closes_with_its_items(void **state)
{
	(void)state;
	struct visit v = { 0 };
	put_client("school");
	put_instrument("one", "school");
	put_instrument("two", "school");
	put_instrument("three", "");
	live(3, 45);
	find_out("one", FINDING_RESTRUNG);
	find_out("two", FINDING_RESTRUNG);
	find_out("three", FINDING_RESTRUNG);
	(void)settle();
	assert_int_equal(open_visits(&v), 1);
	assert_int_equal(item_of("settle", "one").visit, v.id);
	assert_int_equal(item_of("settle", "two").visit, v.id);
	assert_int_equal(item_of("settle", "three").visit, 0);
	live(1, 45);
	find_out("one", FINDING_SETTLED);
	(void)settle();
	assert_int_equal(open_visits(&v), 1);
	find_out("two", FINDING_SETTLED);
	(void)settle();
	assert_int_equal(open_visits(&v), 0);
}

static void a_silent_sensor_is_told_and_forgiven(void **state)
{
	(void)state;
	live(5, 45);
	b.now_s += 3 * DAY_S;
	(void)settle();
	assert_int_equal(item_of("silent", "room").state, ITEM_OPEN);
	live(1, 45);
	assert_int_equal(item_of("silent", "room").state, ITEM_WITHDRAWN);
}

static void nothing_new_writes_nothing_and_says_nothing(void **state)
{
	(void)state;
	put_instrument("one", "");
	live(10, 45);
	live(4, 36);
	b.news = 0;
	assert_int_equal(settle(), 0);
	b.desk.printed = (struct publish_memory){ 0 }; /* also when nothing is remembered */
	assert_int_equal(settle(), 0);
	assert_int_equal(b.news, 0);
	assert_int_equal(unlink(support_path(b.folder, "cal/bench-todos.ics")), 0);
	assert_int_equal(settle(), 1); /* only what is gone is made again */
}

static void an_instrument_that_left_takes_its_items_along(void **state)
{
	(void)state;
	struct err err = { 0 };
	struct instrument x = { 0 };
	put_instrument("one", "");
	live(3, 45);
	find_out("one", FINDING_RESTRUNG);
	(void)settle();
	assert_int_equal(item_of("settle", "one").state, ITEM_OPEN);
	OK(record_instrument(b.desk.store, "one", &x, &err), &err);
	x.until_s = b.now_s;
	OK(store_begin(b.desk.store, &err), &err);
	OK(record_put_instrument(b.desk.store, &x, NULL, &err), &err);
	OK(store_commit(b.desk.store, &err), &err);
	(void)settle();
	assert_int_equal(item_of("settle", "one").state, ITEM_WITHDRAWN);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, begin, end)

int main(void)
{
	const struct CMUnitTest tests[] = {
		TEST(dry_air_opens_once_and_goes_when_the_air_is_back),
		TEST(a_slack_nut_calls_and_a_snug_one_closes),
		TEST(what_is_put_aside_rests),
		TEST(one_client_gets_one_visit_that_closes_with_its_items),
		TEST(a_silent_sensor_is_told_and_forgiven),
		TEST(nothing_new_writes_nothing_and_says_nothing),
		TEST(an_instrument_that_left_takes_its_items_along),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
