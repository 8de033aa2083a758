#include "tests/unit/agenda_bench.h"

/* Readings in, items and calendars out, through the desk that both programs work at. The rules are the shipped ones;
 * no outside source. */

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
	publish_forget(&b.desk.printed); /* also when nothing is remembered */
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
