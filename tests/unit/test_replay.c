#include "tests/unit/support.h"

#include "core/civil.h"
#include "daemon/replay.h"

#define JAN_1_2026_S INT64_C(1767225600) /* date -u -d 2026-01-01 +%s */

static void spans_are_read_and_a_bare_end_date_is_whole(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		enum rc want;
		int64_t from_s, to_s;
	} rows[] = {
		{ "2026-01-01..2026-01-01", RC_OK, JAN_1_2026_S, JAN_1_2026_S + DAY_S },
		{ "2026-01-01..2026-12-31", RC_OK, JAN_1_2026_S, JAN_1_2026_S + 365 * DAY_S },
		{ "2026-01-01T06:00..2026-01-01T06:00:01", RC_OK, JAN_1_2026_S + 21600,
			JAN_1_2026_S + 21601 },
		{ "2026-01-01T06:00Z..2026-01-02T00:00Z", RC_OK, JAN_1_2026_S + 21600,
			JAN_1_2026_S + DAY_S },
		{ "2026-01-02..2026-01-01", RC_USAGE, 0, 0 },
		{ "2026-01-01T06:00..2026-01-01T06:00", RC_USAGE, 0, 0 },
		{ "2026-02-29..2026-03-01", RC_USAGE, 0, 0 },
		{ "2026-01-01", RC_USAGE, 0, 0 },
		{ "2026-01-01..", RC_USAGE, 0, 0 },
		{ "..2026-01-01", RC_USAGE, 0, 0 },
		{ "2026-1-1..2026-2-1", RC_USAGE, 0, 0 },
		{ "2026-01-01..2026-01-02x", RC_USAGE, 0, 0 },
		{ "2026-01-01T25:00..2026-01-05", RC_USAGE, 0, 0 },
		{ "2026-01-01T06..2026-01-05", RC_USAGE, 0, 0 },
		{ "", RC_USAGE, 0, 0 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		int64_t from_s = 0, to_s = 0;
		struct err err = { 0 };
		print_message("%s\n", rows[i].text);
		assert_int_equal(replay_span(rows[i].text, &from_s, &to_s, &err), rows[i].want);
		assert_int_equal(from_s, rows[i].from_s);
		assert_int_equal(to_s, rows[i].to_s);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(spans_are_read_and_a_bare_end_date_is_whole),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
