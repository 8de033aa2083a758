#include "tests/unit/support.h"

#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/edition.h"

/* What outputs come to; no outside source. */

static struct bench {
	char *folder;
	struct store *store;
} b;

static int begin(void **state)
{
	struct err err = { 0 };
	(void)state;
	b.folder = support_folder();
	OK(store_open(support_path(b.folder, "b.db"), STORE_WRITE, &b.store, &err), &err);
	return 0;
}

static int end(void **state)
{
	(void)state;
	store_close(b.store);
	support_folder_remove(b.folder);
	return 0;
}

static struct settings *load(const char *outputs)
{
	char text[2048];
	struct settings *s = NULL;
	struct faults f = { 0 };
	struct err err = { 0 };
	(void)snprintf(text, sizeof text,
		"zone = \"Europe/Vienna\"; units = \"inch\";\n"
		"places = ( { name = \"room\"; title = \"The room\"; }, { name = \"attic\"; } );\n"
		"sensors = ( { name = \"room\"; place = \"room\"; } );\noutputs = ( %s );\n",
		outputs);
	support_write(support_path(b.folder, "s.conf"), text, strlen(text));
	if (settings_load(support_path(b.folder, "s.conf"), &s, &f) != RC_OK)
		OK(faults_result(&f, &err), &err);
	return s;
}

static void put_client(const char *name, const char *title)
{
	struct err err = { 0 };
	struct client c = { 0 };
	(void)snprintf(c.name, sizeof c.name, "%s", name);
	(void)snprintf(c.title, sizeof c.title, "%s", title);
	OK(store_begin(b.store, &err), &err);
	OK(record_put_client(b.store, &c, NULL, &err), &err);
	OK(store_commit(b.store, &err), &err);
}

static struct edition *made(const struct settings *s, size_t want)
{
	struct edition *list = NULL;
	struct err err = { 0 };
	size_t n = 0;
	OK(editions(b.store, s, &list, &n, &err), &err);
	assert_int_equal(n, want);
	return list;
}

static void an_output_is_one_and_takes_what_the_settings_say(void **state)
{
	(void)state;
	struct settings *s = load("{ name = \"one\"; folder = \"f\"; },"
				  "{ name = \"two\"; folder = \"f\"; title = \"Two\"; units = "
				  "\"mm\"; zone = \"UTC\"; "
				  "place = \"attic\"; show = \"events\"; }");
	struct edition *e = made(s, 2);
	assert_string_equal(e[0].name, "one");
	assert_string_equal(e[0].title, "Instrument care");
	assert_string_equal(e[0].zone, "Europe/Vienna");
	assert_string_equal(e[0].client, "");
	assert_string_equal(e[0].place, "");
	assert_int_equal(e[0].units, BENCH_INCH);
	assert_true(edition_shows(&e[0], CALENDAR_TODOS) && edition_shows(&e[0], CALENDAR_EVENTS));
	assert_string_equal(e[1].title, "Two");
	assert_string_equal(e[1].zone, "UTC");
	assert_string_equal(e[1].place, "attic");
	assert_int_equal(e[1].units, BENCH_MM);
	assert_true(edition_shows(&e[1], CALENDAR_EVENTS));
	assert_false(edition_shows(&e[1], CALENDAR_TODOS));
	mem_free(e);
	settings_free(s);
}

static void each_comes_in_order_of_name_with_its_title(void **state)
{
	(void)state;
	struct settings *s = load("{ name = \"rooms\"; folder = \"f\"; each = \"place\"; },"
				  "{ name = \"c\"; folder = \"f\"; each = \"client\"; place = "
				  "\"room\"; show = \"todos\"; }");
	put_client("zither", "");
	put_client("anna", "Anna of the ferry");
	struct edition *e = made(s, 4);
	assert_string_equal(e[0].name, "rooms-attic");
	assert_string_equal(e[0].title, "Instrument care: attic");
	assert_string_equal(e[0].place, "attic");
	assert_string_equal(e[1].name, "rooms-room");
	assert_string_equal(e[1].title, "Instrument care: The room");
	assert_string_equal(e[2].name, "c-anna");
	assert_string_equal(e[2].title, "Instrument care: Anna of the ferry");
	assert_string_equal(e[2].client, "anna");
	assert_string_equal(e[2].place, "room");
	assert_string_equal(e[3].name, "c-zither");
	assert_string_equal(e[3].title, "Instrument care: zither");
	assert_true(edition_shows(&e[3], CALENDAR_TODOS));
	assert_false(edition_shows(&e[3], CALENDAR_EVENTS));
	mem_free(e);
	settings_free(s);
}

static void a_client_nobody_entered_has_none(void **state)
{
	(void)state;
	struct settings *s = load("{ name = \"one\"; folder = \"f\"; client = \"school\"; },"
				  "{ name = \"all\"; folder = \"f\"; each = \"client\"; },"
				  "{ name = \"rooms\"; folder = \"f\"; each = \"place\"; client = "
				  "\"school\"; }");
	mem_free(made(s, 0));
	put_client("school", "School");
	struct edition *e = made(s, 4);
	assert_string_equal(e[0].name, "one");
	assert_string_equal(e[0].client, "school");
	assert_string_equal(e[1].name, "all-school");
	assert_string_equal(e[3].name, "rooms-room");
	assert_string_equal(e[3].client, "school");
	mem_free(e);
	settings_free(s);
}

static void there_is_a_cap(void **state)
{
	(void)state;
	struct settings *s = load("{ name = \"one\"; folder = \"f\"; each = \"client\"; }");
	struct edition *list = NULL;
	struct err err = { 0 };
	size_t n = 0;
	OK(store_begin(b.store, &err), &err);
	for (int i = 0; i <= EDITIONS_MAX; i++) {
		struct client c = { 0 };
		(void)snprintf(c.name, sizeof c.name, "client-%d", i);
		OK(record_put_client(b.store, &c, NULL, &err), &err);
	}
	OK(store_commit(b.store, &err), &err);
	assert_int_equal(editions(b.store, s, &list, &n, &err), RC_CONFIG);
	assert_non_null(strstr(err.text, "more than 1024 calendars"));
	assert_null(list);
	OK(store_begin(b.store, NULL), NULL);
	OK(record_remove_client(b.store, "client-7", NULL), NULL);
	OK(store_commit(b.store, NULL), NULL);
	mem_free(made(s, EDITIONS_MAX));
	settings_free(s);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, begin, end)

int main(void)
{
	const struct CMUnitTest tests[] = {
		TEST(an_output_is_one_and_takes_what_the_settings_say),
		TEST(each_comes_in_order_of_name_with_its_title),
		TEST(a_client_nobody_entered_has_none),
		TEST(there_is_a_cap),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
