#include "tests/unit/support.h"

#include "core/civil.h"
#include "core/visits.h"

/* No outside source: the rule is the project's own (one client, three weeks, one visit). */

static void items_of_one_client_within_three_weeks_share_a_visit(void **state)
{
	(void)state;
	struct visit_item it[] = {
		{ 7, 0, 30 * DAY_S, 0 },
		{ 7, 0, 10 * DAY_S, 0 },
		{ 7, 0, 32 * DAY_S, 0 },
		{ 8, 0, 10 * DAY_S, 0 },
		{ 0, 0, 10 * DAY_S, 0 },
	};
	size_t order[COUNT(it)];
	assert_int_equal(visits_gather(it, COUNT(it), order), 3);
	assert_int_equal(it[0].visit, it[1].visit);
	assert_int_not_equal(it[2].visit, it[0].visit);
	assert_int_not_equal(it[3].visit, it[1].visit);
	assert_int_equal(it[4].visit, 0);
}

static void an_open_visit_takes_the_late_comer(void **state)
{
	(void)state;
	struct visit_item it[] = { { 7, 0, 20 * DAY_S, 41 }, { 7, 0, 41 * DAY_S, 0 },
		{ 7, 0, 42 * DAY_S, 0 } };
	size_t order[COUNT(it)];
	assert_int_equal(visits_gather(it, COUNT(it), order), 1);
	assert_int_equal(it[1].visit, 41);
	assert_int_equal(it[2].visit, -1);
}

static void no_visit_spans_more_than_three_weeks(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	for (int round = 0; round < 500; round++) {
		struct visit_item it[40];
		size_t order[COUNT(it)];
		for (size_t i = 0; i < COUNT(it); i++)
			it[i] = (struct visit_item){ (int64_t)(support_random(&seed) % 4), 0,
				(int64_t)(support_random(&seed) % 120) * DAY_S, 0 };
		(void)visits_gather(it, COUNT(it), order);
		for (size_t i = 0; i < COUNT(it); i++)
			for (size_t j = 0; j < COUNT(it); j++)
				if (it[i].visit && it[i].visit == it[j].visit) {
					assert_int_equal(it[i].client, it[j].client);
					assert_true(it[i].by_s - it[j].by_s <= VISIT_SPAN_S);
				}
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(items_of_one_client_within_three_weeks_share_a_visit),
		cmocka_unit_test(an_open_visit_takes_the_late_comer),
		cmocka_unit_test(no_visit_spans_more_than_three_weeks),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
