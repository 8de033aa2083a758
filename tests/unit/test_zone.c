#include "tests/unit/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "core/mem.h"
#include "daemon/outfile.h"
#include "daemon/zone.h"
#include "daemon/zone_file.h"

static int64_t at(int y, int mo, int d, int h, int mi)
{
	return civil_seconds(&(struct civil){ y, mo, d, h, mi, 0 });
}

static struct zone *zone(const char *name)
{
	struct zone *z = NULL;
	struct err err = { 0 };
	OK(zone_new(name, &z, &err), &err);
	return z;
}

/* Offsets as published in the tz database (zdump -v), release 2024a and later. */
static void offsets_change_at_the_published_instants(void **state)
{
	(void)state;
	static const struct {
		const char *zone;
		int y, mo, d, h, mi; /* UTC, first minute of the new offset */
		int before_s, after_s;
	} rows[] = {
		{ "Europe/Berlin", 2026, 3, 29, 1, 0, 3600, 7200 },
		{ "Europe/Berlin", 2026, 10, 25, 1, 0, 7200, 3600 },
		{ "America/New_York", 2026, 3, 8, 7, 0, -18000, -14400 },
		{ "America/New_York", 2026, 11, 1, 6, 0, -14400, -18000 },
		{ "Australia/Lord_Howe", 2026, 4, 4, 15, 0, 39600, 37800 },
		{ "Australia/Lord_Howe", 2026, 10, 3, 15, 30, 37800, 39600 },
		{ "Africa/Casablanca", 2024, 3, 10, 2, 0, 3600, 0 },
		{ "Africa/Casablanca", 2024, 4, 14, 2, 0, 0, 3600 },
		{ "Pacific/Apia", 2011, 12, 30, 10, 0, -36000, 50400 },
		{ "Asia/Kolkata", 2026, 1, 1, 0, 0, 19800, 19800 },
		{ "Europe/Berlin", 2069, 3, 31, 1, 0, 3600, 7200 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct zone *z = zone(rows[i].zone);
		int64_t t = at(rows[i].y, rows[i].mo, rows[i].d, rows[i].h, rows[i].mi);
		assert_int_equal(zone_offset_s(z, t - 1), rows[i].before_s);
		assert_int_equal(zone_offset_s(z, t), rows[i].after_s);
		assert_string_equal(zone_name_ref(z), rows[i].zone);
		zone_free(z);
	}
}

static void fixed_offsets_are_read_in_every_spelling(void **state)
{
	(void)state;
	static const struct {
		const char *name;
		int want_s;
	} rows[] = {
		{ "UTC", 0 },
		{ "Z", 0 },
		{ "GMT", 0 },
		{ "+02:00", 7200 },
		{ "-0330", -12600 },
		{ "+2", 7200 },
		{ "-05", -18000 },
		{ "UTC+2", 7200 },
		{ "GMT+01:00", 3600 },
		{ "UTC-0930", -34200 },
		{ "+14:00", 50400 },
		{ "Etc/GMT+5", -18000 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct zone *z = zone(rows[i].name);
		assert_int_equal(zone_offset_s(z, at(2026, 7, 1, 0, 0)), rows[i].want_s);
		zone_free(z);
	}
}

static void unknown_names_are_refused(void **state)
{
	(void)state;
	static const char *const rows[] = { "", "Europe/Berln", "../zoneinfo/Europe/Berlin",
		"/usr/share/zoneinfo/Europe/Berlin", "Europe", "tzdata.zi", "zone.tab", "+15:00",
		"+2:5", "UTC+", "+123", "+02:60", "UTC+2x", "right/Europe/Berlin",
		"Europe/../Europe/Berlin", "CEST",
		"Europe/Berlin/Europe/Berlin/Europe/Berlin/Europe/Berlin", "MEZ-1MESZ" };
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct zone *z = NULL;
		struct err err = { 0 };
		assert_int_equal(zone_new(rows[i], &z, &err), RC_UNKNOWN);
		assert_null(z);
		assert_non_null(strstr(err.text, "time zone"));
	}
}

static void the_environment_is_as_before(void **state)
{
	(void)state;
	assert_int_equal(setenv("TZ", "Asia/Tokyo", 1), 0);
	zone_free(zone("Europe/Berlin"));
	assert_string_equal(getenv("TZ"), "Asia/Tokyo");
	time_t t = 0;
	struct tm tm;
	assert_non_null(localtime_r(&t, &tm));
	assert_int_equal(tm.tm_gmtoff, 32400);
	assert_int_equal(unsetenv("TZ"), 0);
	zone_free(zone("Europe/Berlin"));
	assert_null(getenv("TZ"));
}

static void wall_clocks_shown_twice_or_never_are_told(void **state)
{
	(void)state;
	struct zone *z = zone("Europe/Berlin");
	struct zone_instants in = zone_from_wall(z, at(2026, 10, 25, 2, 30));
	assert_int_equal(in.fit, ZONE_TWICE);
	assert_int_equal(in.first_s, at(2026, 10, 25, 0, 30));
	assert_int_equal(in.second_s, at(2026, 10, 25, 1, 30));
	assert_int_equal(zone_from_wall(z, at(2026, 10, 25, 2, 0)).fit, ZONE_TWICE);
	assert_int_equal(zone_from_wall(z, at(2026, 10, 25, 2, 0) - 1).fit, ZONE_UNIQUE);
	assert_int_equal(zone_from_wall(z, at(2026, 10, 25, 3, 0)).fit, ZONE_UNIQUE);
	in = zone_from_wall(z, at(2026, 3, 29, 2, 30));
	assert_int_equal(in.fit, ZONE_GAP);
	assert_int_equal(in.first_s, at(2026, 3, 29, 1, 30));
	assert_int_equal(zone_from_wall(z, at(2026, 3, 29, 2, 0)).fit, ZONE_GAP);
	assert_int_equal(zone_from_wall(z, at(2026, 3, 29, 3, 0)).fit, ZONE_UNIQUE);
	zone_free(z);
}

static void days_begin_at_the_first_instant_even_in_a_gap(void **state)
{
	(void)state;
	static const struct {
		const char *zone;
		int y, mo, d;
		int64_t hour_utc; /* of that same date, may be negative */
	} rows[] = {
		{ "Europe/Berlin", 2026, 3, 30, -2 },
		{ "Europe/Berlin", 2026, 10, 26, -1 },
		{ "UTC", 2026, 1, 1, 0 },
		/* tz database: America/Sao_Paulo went from 00:00 to 01:00 on 2018-11-04 */
		{ "America/Sao_Paulo", 2018, 11, 4, 3 },
		/* and America/Havana from 01:00 back to 00:00 on 2026-11-01 */
		{ "America/Havana", 2026, 11, 1, 4 },
		/* Pacific/Apia had no 2011-12-30: its first instant is that of the 31st */
		{ "Pacific/Apia", 2011, 12, 30, 10 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct zone *z = zone(rows[i].zone);
		int64_t day = civil_days(rows[i].y, rows[i].mo, rows[i].d);
		int64_t start = zone_day_start_s(z, day);
		assert_int_equal(start, day * DAY_S + rows[i].hour_utc * 3600);
		assert_true(zone_day(z, start - 1) < day);
		assert_true(zone_day(z, start) >= day);
		zone_free(z);
	}
}

static const char *const twelve[] = { "Europe/Berlin", "Europe/London", "Europe/Dublin",
	"America/New_York", "America/Santiago", "America/St_Johns", "Africa/Casablanca",
	"Australia/Lord_Howe", "Australia/Sydney", "Pacific/Auckland", "Asia/Tehran",
	"Asia/Kathmandu" };

/* The definition: a reading means every instant whose clock shows it. */
static void check_by_definition(const struct zone *z, int64_t wall)
{
	int64_t found[2] = { 0, 0 };
	size_t n = 0;
	int32_t seen[8];
	size_t n_seen = 0;
	for (int64_t probe = wall - 30 * HOUR_S; probe <= wall + 30 * HOUR_S; probe += 1800) {
		int32_t off = zone_offset_s(z, probe);
		bool known = false;
		for (size_t i = 0; i < n_seen; i++)
			known = known || seen[i] == off;
		if (known || n_seen == COUNT(seen))
			continue;
		seen[n_seen++] = off;
		if (zone_offset_s(z, wall - off) == off && n < 2)
			found[n++] = wall - off;
	}
	struct zone_instants in = zone_from_wall(z, wall);
	assert_int_equal(in.fit, n == 0 ? ZONE_GAP : n == 1 ? ZONE_UNIQUE : ZONE_TWICE);
	if (n == 2 && found[0] > found[1]) {
		int64_t swap = found[0];
		found[0] = found[1];
		found[1] = swap;
	}
	if (n > 0)
		assert_int_equal(in.first_s, found[0]);
	if (n == 2)
		assert_int_equal(in.second_s, found[1]);
	struct zone_stretch s = zone_plain_stretch(z, wall);
	assert_true((s.from_s <= wall && wall < s.to_s) == (n == 1));
	if (n == 1)
		assert_int_equal(wall - s.offset_s, in.first_s);
}

static void instants_go_to_the_wall_and_back_in_twelve_zones(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	for (size_t i = 0; i < COUNT(twelve); i++) {
		struct zone *z = zone(twelve[i]);
		for (int k = 0; k < 20000; k++) {
			int64_t t = (int64_t)(support_random(&seed) % 4102444800U);
			int64_t wall = t + zone_offset_s(z, t);
			struct zone_instants in = zone_from_wall(z, wall);
			assert_int_not_equal(in.fit, ZONE_GAP);
			assert_true(in.first_s == t || (in.fit == ZONE_TWICE && in.second_s == t));
			assert_int_equal(zone_day(z, t), civil_floor(wall, DAY_S));
		}
		zone_free(z);
	}
}

static void gaps_and_doubles_agree_with_their_definition(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(twelve); i++) {
		struct zone *z = zone(twelve[i]);
		for (int64_t t = at(2005, 1, 1, 0, 0); t < at(2027, 1, 1, 0, 0); t += HOUR_S) {
			if (zone_offset_s(z, t) == zone_offset_s(z, t + HOUR_S))
				continue;
			int64_t wall = t + zone_offset_s(z, t);
			for (int64_t w = wall - 3 * HOUR_S; w <= wall + 3 * HOUR_S; w += 300)
				check_by_definition(z, w);
		}
		zone_free(z);
	}
}

/* Lists to 2037 and to 2087, rules behind them: of an hour, half an hour, two, backwards, at midnight. */
static void tables_agree_with_the_c_library_hour_by_hour(void **state)
{
	(void)state;
	static const char *const zones[] = { "Africa/Casablanca", "Asia/Gaza", "Africa/Cairo",
		"America/Argentina/San_Luis", "Europe/Moscow", "Europe/Dublin", "America/Santiago",
		"Australia/Lord_Howe", "Antarctica/Troll", "America/Nuuk", "Asia/Jerusalem",
		"America/St_Johns", "Pacific/Chatham", "Etc/GMT-14" };
	for (size_t i = 0; i < COUNT(zones); i++) {
		struct zone *z = zone(zones[i]);
		assert_int_equal(setenv("TZ", zones[i], 1), 0);
		tzset();
		for (time_t t = 0; t < at(2099, 12, 31, 0, 0); t += 3600 * 6) {
			struct tm tm;
			assert_non_null(localtime_r(&t, &tm));
			assert_int_equal(zone_offset_s(z, t), tm.tm_gmtoff);
		}
		assert_int_equal(unsetenv("TZ"), 0);
		tzset();
		zone_free(z);
	}
}

static void days_and_minutes_are_printed_in_the_zone(void **state)
{
	(void)state;
	struct zone *z = zone("Europe/Berlin");
	char buf[24];
	zone_print_minute(z, at(2026, 3, 29, 1, 0), buf, sizeof buf);
	assert_string_equal(buf, "2026-03-29 03:00");
	zone_print_day(z, at(2026, 3, 29, 22, 30), buf, sizeof buf);
	assert_string_equal(buf, "2026-03-30");
	zone_free(z);
}

/* Offsets as published in the tz database (zdump -v). */
static void changes_come_one_after_the_other(void **state)
{
	(void)state;
	struct zone *z = zone("Europe/Berlin");
	struct zone_change c;
	assert_true(zone_next_change(z, at(2026, 1, 1, 0, 0), &c));
	assert_int_equal(c.at_s, at(2026, 3, 29, 1, 0));
	assert_int_equal(c.from_s, 3600);
	assert_int_equal(c.to_s, 7200);
	assert_true(zone_next_change(z, c.at_s, &c)); /* later than that instant */
	assert_int_equal(c.at_s, at(2026, 10, 25, 1, 0));
	assert_true(zone_next_change(z, at(2026, 10, 25, 0, 59), &c));
	assert_int_equal(c.at_s, at(2026, 10, 25, 1, 0));
	assert_false(zone_next_change(z, at(2099, 12, 31, 0, 0), &c));
	zone_free(z);
	z = zone("+05:30");
	assert_false(zone_next_change(z, 0, &c));
	zone_free(z);
}

struct heard {
	int64_t at_s;
	size_t n;
};

static bool hear(void *arg, int64_t at_s, int32_t offset_s)
{
	struct heard *h = arg;
	(void)offset_s;
	h->at_s = at_s;
	h->n++;
	return h->n < 100000;
}

/* RFC 8536: cut short anywhere a file is none; with one octet changed it does no harm, the sanitizers watch. */
static void broken_files_are_no_zones(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	char *bytes = NULL;
	size_t n = 0;
	struct err err = { 0 };
	OK(outfile_read("/usr/share/zoneinfo/Europe/Berlin", 1 << 16, &bytes, &n, &err), &err);
	struct heard h = { 0 };
	assert_true(zone_file_read(bytes, n, at(2100, 1, 1, 0, 0), hear, &h));
	assert_int_equal(h.at_s, at(2099, 10, 25, 1, 0)); /* the last Sunday */
	for (size_t i = 0; i < n; i++) {
		char *copy = mem_new(n, 1); /* no NUL behind it */
		assert_non_null(copy);
		memcpy(copy, bytes, n);
		h = (struct heard){ 0 };
		assert_false(zone_file_read(copy, i, at(2100, 1, 1, 0, 0), hear, &h));
		copy[i] = (char)support_random(&seed);
		h = (struct heard){ 0 };
		(void)zone_file_read(copy, n, at(2100, 1, 1, 0, 0), hear, &h);
		mem_free(copy);
	}
	mem_free(bytes);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(offsets_change_at_the_published_instants),
		cmocka_unit_test(fixed_offsets_are_read_in_every_spelling),
		cmocka_unit_test(unknown_names_are_refused),
		cmocka_unit_test(the_environment_is_as_before),
		cmocka_unit_test(wall_clocks_shown_twice_or_never_are_told),
		cmocka_unit_test(days_begin_at_the_first_instant_even_in_a_gap),
		cmocka_unit_test(instants_go_to_the_wall_and_back_in_twelve_zones),
		cmocka_unit_test(gaps_and_doubles_agree_with_their_definition),
		cmocka_unit_test(tables_agree_with_the_c_library_hour_by_hour),
		cmocka_unit_test(days_and_minutes_are_printed_in_the_zone),
		cmocka_unit_test(changes_come_one_after_the_other),
		cmocka_unit_test(broken_files_are_no_zones),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
