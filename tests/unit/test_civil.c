#include "tests/unit/support.h"

#include "core/civil.h"
#include "core/number.h"

static void days_match_known_dates(void **state)
{
	(void)state;
	static const struct {
		const char *src;
		int y, m, d;
		int64_t days;
	} rows[] = {
		{ "POSIX epoch", 1970, 1, 1, 0 },
		{ "POSIX.1 4.16: 2000-03-01 follows a leap day", 2000, 3, 1, 11017 },
		{ "day before the epoch", 1969, 12, 31, -1 },
		{ "Unix billennium 2001-09-09 (1e9 s / 86400)", 2001, 9, 9, 11574 },
		{ "end of 32-bit time 2038-01-19 (2^31 s / 86400)", 2038, 1, 19, 24855 },
	};
	for (size_t i = 0; i < COUNT(rows); i++)
		assert_int_equal(civil_days(rows[i].y, rows[i].m, rows[i].d), rows[i].days);
}

static void every_day_of_800_years_goes_there_and_back(void **state)
{
	(void)state;
	int64_t day = civil_days(1700, 1, 1);
	int64_t last = civil_days(2500, 1, 1);
	for (; day < last; day++) {
		struct civil c = civil_at(day * DAY_S + 3661);
		assert_true(civil_valid(&c));
		assert_int_equal(civil_seconds(&c), day * DAY_S + 3661);
	}
}

static void impossible_dates_are_refused(void **state)
{
	(void)state;
	static const struct civil bad[] = {
		{ 2023, 2, 29, 0, 0, 0 },
		{ 1900, 2, 29, 0, 0, 0 },
		{ 2024, 13, 1, 0, 0, 0 },
		{ 2024, 4, 31, 0, 0, 0 },
		{ 2024, 1, 1, 24, 0, 0 },
		{ 2024, 1, 1, 0, 60, 0 },
	};
	for (size_t i = 0; i < COUNT(bad); i++)
		assert_false(civil_valid(&bad[i]));
}

static void numbers_are_whole_or_refused(void **state)
{
	(void)state;
	double v = 0;
	int64_t n = 0;
	assert_true(number_real(" 4.5e1 ", &v));
	CLOSE(v, 45, 0, "4.5e1");
	assert_true(number_real("-.5", &v));
	static const char *const bad[] = { "", " ", "nan", "inf", "0x10", "1,5", "1 2", "1e999",
		"-", "." };
	for (size_t i = 0; i < COUNT(bad); i++)
		assert_false(number_real(bad[i], &v));
	assert_true(number_int("-12", &n));
	assert_int_equal(n, -12);
	assert_false(number_int("12.0", &n));
	assert_false(number_int("99999999999999999999", &n));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(days_match_known_dates),
		cmocka_unit_test(every_day_of_800_years_goes_there_and_back),
		cmocka_unit_test(impossible_dates_are_refused),
		cmocka_unit_test(numbers_are_whole_or_refused),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
