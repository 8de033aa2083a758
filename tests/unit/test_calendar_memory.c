/* Every allocation of a calendar fails once: the error is told, nothing is left behind. */
#include "tests/unit/support.h"

#include <stdio.h>
#include <string.h>

#include "tests/unit/faulty_mem.h"
#include "daemon/calendar.h"

static void each_failing_allocation_is_told(void **state)
{
	(void)state;
	static const struct calendar_head head = { .title = "a", .refresh_s = 3600 };
	const struct calendar_entry entries[] = {
		{ .uid = "a", .summary = "b", .alarm_s = 0 },
		{ .uid = "c",
			.summary = "d",
			.alarm_s = TIME_NEVER,
			.at_s = 1776664800,
			.length_s = 60,
			.weekly_zone = "+02" },
	};
	enum rc rc = RC_MEM;
	int n = 0;
	for (; rc != RC_OK; n++) {
		char *bytes = NULL;
		size_t len = 0;
		struct err err = { 0 };
		left = n;
		rc = calendar_build(
			CALENDAR_EVENTS, &head, entries, COUNT(entries), &bytes, &len, &err);
		assert_true(rc == RC_OK || (rc == RC_MEM && strstr(err.text, "out of memory")));
		assert_int_equal(bytes != NULL, rc == RC_OK);
		left = -1;
		mem_free(bytes);
		calendar_done();
		assert_int_equal(held, 0);
	}
	assert_true(n > 6);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(each_failing_allocation_is_told),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
