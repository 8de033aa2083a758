/* Calendars on servers in the store: what was put comes back, for one edition and kind alone, and each allocation may fail. */
#include "tests/unit/support.h"

#include <stdio.h>
#include <string.h>

#include "core/civil.h"
#include "daemon/store_share.h"
#include "tests/unit/faulty_mem.h"

static struct store *store;
static char *folder;

static int begin(void **state)
{
	struct err err = { 0 };
	folder = support_folder();
	*state = folder;
	if (store_open(support_path(folder, "s.db"), STORE_WRITE, &store, &err) != RC_OK)
		return -1;
	return store_begin(store, &err) == RC_OK ? 0 : -1;
}

static int end(void **state)
{
	store_rollback(store);
	store_close(store);
	support_folder_remove(*state);
	return 0;
}

static void put(const char *edition, enum calendar_kind kind, const char *uid, char *seen)
{
	struct err err = { 0 };
	struct resource r = {
		.state = RESOURCE_ELSEWHERE, .sent = (char[]){ "s" }, .seen = seen, .t_s = 7
	};
	(void)snprintf(r.uid, sizeof r.uid, "%s", uid);
	(void)snprintf(r.href, sizeof r.href, "/a/%s.ics", uid);
	(void)snprintf(r.etag, sizeof r.etag, "\"1\"");
	(void)snprintf(r.outcome, sizeof r.outcome, "moved");
	OK(store_resource_put(store, edition, kind, &r, &err), &err);
}

static void a_collection_comes_back_as_put(void **state)
{
	struct err err = { 0 };
	struct collection c = { .edition = "bench",
		.kind = CALENDAR_TODOS,
		.server = "https://cal.example",
		.url = "https://cal.example/u/bench/",
		.token = "t1",
		.tried_s = 5,
		.worked_s = TIME_NEVER,
		.failures = 2,
		.error = "not reached" };
	struct collection back = { 0 }, *all = NULL;
	bool found = true;
	size_t n = 0;
	(void)state;
	OK(store_collection(store, "bench", CALENDAR_TODOS, &back, &found, &err), &err);
	assert_false(found);
	OK(store_collection_put(store, &c, &err), &err);
	OK(store_collection(store, "bench", CALENDAR_EVENTS, &back, &found, &err), &err);
	assert_false(found);
	OK(store_collection(store, "bench", CALENDAR_TODOS, &back, &found, &err), &err);
	assert_true(found);
	assert_memory_equal(&back, &c, sizeof c);
	c.kind = CALENDAR_EVENTS;
	OK(store_collection_put(store, &c, &err), &err);
	OK(store_collections(store, &all, &n, &err), &err);
	assert_int_equal(n, 2);
	assert_int_equal(all[0].kind, CALENDAR_EVENTS);
	assert_memory_equal(&all[1], &back, sizeof back);
	mem_free(all);
}

static void resources_are_of_one_edition_and_kind(void **state)
{
	struct err err = { 0 };
	struct resource *r = NULL;
	size_t n = 0;
	(void)state;
	put("bench", CALENDAR_TODOS, "b", NULL);
	put("bench", CALENDAR_TODOS, "a", (char[]){ "BEGIN" });
	put("bench", CALENDAR_EVENTS, "a", NULL);
	put("ash", CALENDAR_TODOS, "c", NULL);
	OK(store_resources(store, "bench", CALENDAR_TODOS, &r, &n, &err), &err);
	assert_int_equal(n, 2);
	assert_string_equal(r[0].uid, "a");
	assert_string_equal(r[0].href, "/a/a.ics");
	assert_string_equal(r[0].etag, "\"1\"");
	assert_string_equal(r[0].sent, "s");
	assert_string_equal(r[0].seen, "BEGIN");
	assert_string_equal(r[0].outcome, "moved");
	assert_null(r[0].trying);
	assert_int_equal(r[0].state, RESOURCE_ELSEWHERE);
	assert_int_equal(r[0].t_s, 7);
	assert_null(r[1].seen);
	store_resources_free(r, n);
	OK(store_resource_remove(store, "bench", CALENDAR_TODOS, "a", &err), &err);
	OK(store_resources(store, "bench", CALENDAR_TODOS, &r, &n, &err), &err);
	assert_int_equal(n, 1);
	assert_string_equal(r[0].uid, "b");
	store_resources_free(r, n);
	OK(store_resources(store, "bench", CALENDAR_EVENTS, &r, &n, &err), &err);
	assert_int_equal(n, 1);
	store_resources_free(r, n);
}

static void each_allocation_may_fail(void **state)
{
	struct err err = { 0 };
	struct resource *r = NULL;
	size_t n = 0;
	(void)state;
	char uid[16];
	for (int i = 0; i < 20; i++) {
		(void)snprintf(uid, sizeof uid, "u%d", i);
		put("bench", CALENDAR_TODOS, uid, (char[]){ "BEGIN" });
	}
	int before = held, tries = 0;
	enum rc rc = RC_MEM;
	for (; rc != RC_OK; tries++) {
		left = tries;
		rc = store_resources(store, "bench", CALENDAR_TODOS, &r, &n, &err);
		left = -1;
		assert_true(rc == RC_OK || rc == RC_MEM);
		assert_true(rc == RC_OK || held == before);
	}
	assert_int_equal(n, 20);
	assert_int_equal(tries, 40 + 2 + 1);
	store_resources_free(r, n);
	assert_int_equal(held, before);
}

static void count_line(void *arg, const char *line, const char *answer, int64_t t_s)
{
	char *text = arg;
	size_t n = strlen(text);
	(void)snprintf(text + n, 100 - n, "%s=%s@%d;", line, answer, (int)t_s);
}

static void lines_are_noted_once_and_come_oldest_first(void **state)
{
	struct err err = { 0 };
	char answer[100] = "", all[100] = "";
	bool found = true;
	(void)state;
	OK(store_noted(store, "a", "relief .010", answer, sizeof answer, &found, &err), &err);
	assert_false(found);
	OK(store_noted_put(store, "a", "relief .010", 9, "noted", &err), &err);
	OK(store_noted_put(store, "a", "hello", 8, "", &err), &err);
	OK(store_noted_put(store, "b", "relief .010", 7, "other", &err), &err);
	OK(store_noted(store, "a", "relief .010", answer, sizeof answer, &found, &err), &err);
	assert_true(found);
	assert_string_equal(answer, "noted");
	OK(store_noted_each(store, "a", count_line, all, &err), &err);
	assert_string_equal(all, "hello=@8;relief .010=noted@9;");
	OK(store_noted_forget(store, 9, &err), &err);
	all[0] = '\0';
	OK(store_noted_each(store, "a", count_line, all, &err), &err);
	assert_string_equal(all, "relief .010=noted@9;");
}

#define EACH(t) cmocka_unit_test_setup_teardown(t, begin, end)

int main(void)
{
	const struct CMUnitTest tests[] = {
		EACH(a_collection_comes_back_as_put),
		EACH(resources_are_of_one_edition_and_kind),
		EACH(each_allocation_may_fail),
		EACH(lines_are_noted_once_and_come_oldest_first),
	};
	return cmocka_run_group_tests_name("store_share", tests, NULL, NULL);
}
