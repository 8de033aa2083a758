#include "tests/unit/support.h"

#include <unistd.h>

#include "daemon/bell.h"

static int rings;

static void rung(void *arg, int64_t now_s)
{
	(void)arg, (void)now_s;
	rings++;
}

static void run(struct loop *l, int64_t until_s)
{
	struct err err = { 0 };
	OK(loop_run(l, until_s, &err), &err);
}

static void a_ring_is_heard_once_also_after_the_file_was_removed(void **state)
{
	(void)state;
	char *folder = support_folder();
	const char *store = support_path(folder, "seasond.db");
	const char *file = support_path(folder, "seasond.db.bell");
	struct clock clock = clock_virtual(0);
	struct loop *l = NULL;
	struct bell b = { .rung = rung };
	struct err err = { 0 };
	OK(loop_new(&clock, &l, &err), &err);
	OK(bell_start(&b, l, store, &err), &err);
	rings = 0;
	run(l, 1);
	assert_int_equal(rings, 0);
	bell_ring(store);
	bell_ring(store);
	run(l, 2);
	assert_int_equal(rings, 1);
	assert_int_equal(unlink(file), 0);
	run(l, 3); /* hung anew */
	assert_int_equal(access(file, F_OK), 0);
	rings = 0;
	bell_ring(store);
	run(l, 4);
	assert_int_equal(rings, 1);
	bell_stop(&b);
	bell_stop(&b);
	loop_free(l);
	support_folder_remove(folder);
}

static void without_a_folder_ringing_is_harmless_and_listening_an_error(void **state)
{
	(void)state;
	struct clock clock = clock_virtual(0);
	struct loop *l = NULL;
	struct bell b = { .rung = rung };
	struct err err = { 0 };
	OK(loop_new(&clock, &l, &err), &err);
	bell_ring("/nonexistent/seasond.db");
	assert_int_equal(bell_start(&b, l, "/nonexistent/seasond.db", &err), RC_IO);
	bell_stop(&b);
	loop_free(l);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_ring_is_heard_once_also_after_the_file_was_removed),
		cmocka_unit_test(without_a_folder_ringing_is_harmless_and_listening_an_error),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
