#include "tests/unit/support.h"

#include "daemon/digest.h"

/* Instants by Python's zoneinfo, fold 0, which is what RFC 5545 3.3.5 says of times that the clock skips or shows twice. */
static const struct {
	const char *zone, *digest;
	int64_t due_s, next_s;
	const char *what;
} rows[] = {
	{ "Europe/Vienna", "Mon 07:00", 1774245600, 1774846800, "spring: a week of 167 hours" },
	{ "Europe/Vienna", "mon 7:00", 1792386000, 1792994400, "autumn: a week of 169 hours" },
	{ "Europe/Vienna", "Sun 02:30", 1774747800, 1774747800 + 7 * 86400 - 3600,
		"02:30 is skipped: by the offset before" },
	{ "Europe/Vienna", "Sun 02:30", 1792888200, 1792888200 + 7 * 86400 + 3600,
		"02:30 is shown twice: the first" },
	{ "America/New_York", "Sat 23:59", 1794113940, 1794113940 + 7 * 86400,
		"the last minute of a week" },
	{ "UTC", "Thu 00:00", 0, 7 * 86400, "1970-01-01 was a Thursday" },
};

static void a_digest_is_due_at_its_wall_clock_time(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct zone *z = NULL;
		struct err err = { 0 };
		OK(zone_new(rows[i].zone, &z, &err), &err);
		const char *d = rows[i].digest;
		int64_t due = rows[i].due_s, next = rows[i].next_s;
		if (digest_due_s(d, z, due) != due || digest_due_s(d, z, next - 1) != due ||
			digest_next_s(d, z, due) != next || digest_next_s(d, z, next - 1) != next ||
			digest_next_s(d, z, due - 1) != due || digest_due_s(d, z, due - 1) >= due)
			fail_msg("%s: %lld, then %lld", rows[i].what,
				(long long)digest_due_s(d, z, next - 1),
				(long long)digest_next_s(d, z, due));
		zone_free(z);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_digest_is_due_at_its_wall_clock_time),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
