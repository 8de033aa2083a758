#include "tests/unit/support.h"

#include <stdio.h>
#include <string.h>

#include "daemon/timeform.h"
#include "daemon/when.h"

static const char *print(bool ok, const struct when *w, char *buf, size_t n)
{
	if (!ok)
		return "refused";
	struct civil c = civil_at(when_wall_s(w));
	size_t at = 0;
	buf[0] = '\0';
	if (w->has_date)
		at += (size_t)snprintf(buf, n, "%04d-%02d-%02d", c.year, c.month, c.day);
	if (w->has_clock)
		at += (size_t)snprintf(
			buf + at, n - at, "T%02d:%02d:%02d", c.hour, c.minute, c.second);
	if (w->has_offset)
		(void)snprintf(buf + at, n - at, "%+d", w->offset_s / 60);
	return buf;
}

static void dates_and_times_are_read_as_written(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		enum layout_order order;
		const char *want; /* offset in minutes */
	} rows[] = {
		{ "2024-03-12 15:05:30", ORDER_GUESS, "2024-03-12T15:05:30" },
		{ "2024-03-12T15:05", ORDER_GUESS, "2024-03-12T15:05:00" },
		{ "2024-03-12t15:05", ORDER_GUESS, "2024-03-12T15:05:00" },
		{ "2024-03-12", ORDER_GUESS, "2024-03-12" },
		{ "2024-03-12 15:05:30.999", ORDER_GUESS, "2024-03-12T15:05:30" },
		{ "2024-03-12 15:05:30,999", ORDER_GUESS, "2024-03-12T15:05:30" },
		{ "2024-03-12T15:05:30Z", ORDER_GUESS, "2024-03-12T15:05:30+0" },
		{ "2024-03-12T15:05:30.5+02:00", ORDER_GUESS, "2024-03-12T15:05:30+120" },
		{ "2024-03-12 15:05:30 -0330", ORDER_GUESS, "2024-03-12T15:05:30-210" },
		{ "2024-03-12 15:05+05", ORDER_GUESS, "2024-03-12T15:05:00+300" },
		{ "2024-03-12 15:05 UTC", ORDER_GUESS, "2024-03-12T15:05:00+0" },
		{ "2024-03-12 15:05 UTC+2", ORDER_GUESS, "2024-03-12T15:05:00+120" },
		{ "2024-03-12 15:05 GMT+01:00", ORDER_GUESS, "2024-03-12T15:05:00+60" },
		{ "2024/3/2 5:05", ORDER_GUESS, "2024-03-02T05:05:00" },
		{ "2024.03.12 15:05", ORDER_GUESS, "2024-03-12T15:05:00" },
		{ "20240312T150530Z", ORDER_GUESS, "2024-03-12T15:05:30+0" },
		{ "20240312", ORDER_GUESS, "2024-03-12" },
		{ "12.03.2024 15:05", ORDER_DMY, "2024-03-12T15:05:00" },
		{ "12. 3. 2024 15:05", ORDER_DMY, "2024-03-12T15:05:00" },
		{ "12.3.2024 15.05.30", ORDER_DMY, "2024-03-12T15:05:30" },
		{ "12/03/24", ORDER_DMY, "2024-03-12" },
		{ "12/03/24", ORDER_MDY, "2024-12-03" },
		{ "12/03/24", ORDER_YMD, "2012-03-24" },
		{ "12/03/99", ORDER_DMY, "1999-03-12" },
		{ "12/03/69", ORDER_DMY, "2069-03-12" },
		{ "3/12/2024 3:05 PM", ORDER_MDY, "2024-03-12T15:05:00" },
		{ "3/12/2024, 3:05:06 pm", ORDER_MDY, "2024-03-12T15:05:06" },
		{ "3/12/2024 12:00 AM", ORDER_MDY, "2024-03-12T00:00:00" },
		{ "3/12/2024 12:00PM", ORDER_MDY, "2024-03-12T12:00:00" },
		{ "2024-03-12 11:59 p.m.", ORDER_GUESS, "2024-03-12T23:59:00" },
		{ "12-Mar-2024", ORDER_GUESS, "2024-03-12" },
		{ "12-MAR-24 15:05", ORDER_GUESS, "2024-03-12T15:05:00" },
		{ "12 March 2024 15:05", ORDER_GUESS, "2024-03-12T15:05:00" },
		{ "2024-Mar-12", ORDER_GUESS, "2024-03-12" },
		{ "12Mar2024", ORDER_GUESS, "2024-03-12" },
		{ "Mar 12, 2024 3:05 PM", ORDER_GUESS, "2024-03-12T15:05:00" },
		{ "March 12 2024", ORDER_GUESS, "2024-03-12" },
		{ "Sept. 1, 2024", ORDER_GUESS, "2024-09-01" },
		{ "Tue, 12 Mar 2024 15:05:30 +0100", ORDER_GUESS, "2024-03-12T15:05:30+60" },
		{ "15:05", ORDER_GUESS, "T15:05:00" },
		{ "3:05 PM", ORDER_GUESS, "T15:05:00" },
		{ "29.02.2024", ORDER_DMY, "2024-02-29" },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct when w = { 0 };
		char buf[64];
		bool ok = when_text(rows[i].text, strlen(rows[i].text), rows[i].order, &w);
		const char *got = print(ok, &w, buf, sizeof buf);
		if (strcmp(got, rows[i].want) != 0)
			fail_msg("\"%s\": got %s, want %s", rows[i].text, got, rows[i].want);
	}
}

static void what_is_no_date_is_refused(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		enum layout_order order;
	} rows[] = {
		{ "", ORDER_DMY },
		{ "12", ORDER_DMY },
		{ "20.5", ORDER_DMY },
		{ "12.03", ORDER_DMY },
		{ "1.2.3", ORDER_DMY },
		{ "12/03/2024", ORDER_GUESS },
		{ "13/13/2024", ORDER_DMY },
		{ "13/12/2024", ORDER_MDY },
		{ "29.02.2023", ORDER_DMY },
		{ "2024-02-30 10:00", ORDER_GUESS },
		{ "2024-03-12 24:00", ORDER_GUESS },
		{ "2024-03-12 10:60", ORDER_GUESS },
		{ "2024-03-12 10:00:60", ORDER_GUESS },
		{ "2024-03-12 15:05 PM", ORDER_GUESS },
		{ "2024-03-12 0:05 AM", ORDER_GUESS },
		{ "2024-03-12 10", ORDER_GUESS },
		{ "2024-03-12 10:00 CET", ORDER_GUESS },
		{ "2024-03-12 10:00 +15:00", ORDER_GUESS },
		{ "2024-03-12 10:00 +1:5", ORDER_GUESS },
		{ "2024-03-12x10:00", ORDER_GUESS },
		{ "2024-03-12 10:00 or so", ORDER_GUESS },
		{ "2024-03", ORDER_GUESS },
		{ "202403121", ORDER_GUESS },
		{ "12-03/2024", ORDER_DMY },
		{ "Ma 12, 2024", ORDER_GUESS },
		{ "Marching 12, 2024", ORDER_GUESS },
		{ "12 Mar", ORDER_GUESS },
		{ "12-Mar-024", ORDER_GUESS },
		{ "1505", ORDER_GUESS },
		{ "15.05", ORDER_GUESS },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct when w;
		char buf[64];
		if (when_text(rows[i].text, strlen(rows[i].text), rows[i].order, &w))
			fail_msg("\"%s\" was read as %s", rows[i].text,
				print(true, &w, buf, sizeof buf));
	}
}

static void possible_orders_are_told(void **state)
{
	(void)state;
	const unsigned y = 1U << ORDER_YMD, d = 1U << ORDER_DMY, m = 1U << ORDER_MDY;
	const struct {
		const char *text;
		unsigned want;
	} rows[] = {
		{ "13/02/2024", d },
		{ "02/13/2024", m },
		{ "02/03/2024", d | m },
		{ "24-03-05", y | d },
		{ "05/03/24", y | d | m },
		{ "30/11/24", y | d },
		{ "2024-03-05", y | d | m },
		{ "5 Mar 2024", y | d | m },
		{ "45.2", 0 },
		{ "10:00", 0 },
		{ "13/13/2024", 0 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		if (when_orders(rows[i].text, strlen(rows[i].text)) != rows[i].want)
			fail_msg("\"%s\"", rows[i].text);
	}
}

static void offsets_named_in_headings_are_found(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		int want_min; /* -1000: none */
	} rows[] = {
		{ "t_UTC+2", 120 },
		{ "Time (GMT+01:00)", 60 },
		{ "Timestamp UTC", 0 },
		{ "UTC-03:30", -210 },
		{ "time_utc", 0 },
		{ "Time, GMT -0500", -300 },
		{ "Time (UTC)", 0 },
		{ "outcome", -1000 },
		{ "Date/Time", -1000 },
		{ "Time (UTC+15)", 0 },
		{ "gmtime", -1000 },
		{ "Zeit [UTC +1]", 60 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		int32_t got = -60000;
		bool ok = when_named_offset(rows[i].text, &got);
		if ((ok ? got / 60 : -1000) != rows[i].want_min)
			fail_msg("\"%s\": %d", rows[i].text, ok ? got / 60 : -1000);
	}
}

static void numbers_are_times_by_their_size(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		enum time_kind kind;
		const char *want;
	} rows[] = {
		/* OpenDocument 1.2 part 2, 4.3.3: serial 0 is 1899-12-30, so 25569 is 1970-01-01 */
		{ "25569", TIME_SERIAL, "1970-01-01T00:00:00" },
		{ "45363.5", TIME_SERIAL, "2024-03-12T12:00:00" },
		{ "45363,50694444", TIME_SERIAL, "2024-03-12T12:10:00" },
		/* POSIX.1 4.16: 1e9 s is 2001-09-09 01:46:40 UTC */
		{ "1000000000", TIME_EPOCH, "2001-09-09T01:46:40+0" },
		{ "1000000000.9", TIME_EPOCH, "2001-09-09T01:46:40+0" },
		{ "1000000000999", TIME_EPOCH_MS, "2001-09-09T01:46:40+0" },
		{ "45", TIME_SERIAL, "refused" },
		{ "1000000000", TIME_EPOCH_MS, "refused" },
		{ "2024-03-12", TIME_EPOCH, "refused" },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		const struct time_form form = { .kind = rows[i].kind };
		struct when w = { 0 };
		char buf[64];
		bool ok = time_read(
			&form, (struct cell){ rows[i].text, strlen(rows[i].text) }, NULL, &w);
		assert_string_equal(print(ok, &w, buf, sizeof buf), rows[i].want);
	}
}

static void a_persons_time_is_read_in_the_zone(void **state)
{
	(void)state;
	struct zone *z = NULL;
	struct err err = { 0 };
	OK(zone_new("Europe/Berlin", &z, &err), &err);
	static const struct {
		const char *text, *want;
	} rows[] = {
		{ "now", "2024-05-01 10:00" },
		{ "2011-10-01", "2011-10-01 10:00" },
		{ "2011-12-01", "2011-12-01 11:00" },
		{ "2011-10-01 14:30", "2011-10-01 12:30" },
		{ "1 Oct 2011 14:30", "2011-10-01 12:30" },
		{ "2011-10-01T14:30Z", "2011-10-01 14:30" },
		{ "2011-10-01 14:30-05:00", "2011-10-01 19:30" },
	};
	int64_t now = civil_days(2024, 5, 1) * DAY_S + 10 * HOUR_S;
	for (size_t i = 0; i < COUNT(rows); i++) {
		int64_t t = 0;
		char buf[32];
		OK(when_parse(rows[i].text, z, now, &t, &err), &err);
		struct civil c = civil_at(t);
		(void)snprintf(buf, sizeof buf, "%04d-%02d-%02d %02d:%02d", c.year, c.month, c.day,
			c.hour, c.minute);
		assert_string_equal(buf, rows[i].want);
	}
	static const struct {
		const char *text;
		enum rc want;
		const char *part;
	} bad[] = {
		{ "01/10/2011", RC_USAGE, "2011-10-01T14:30+02:00" },
		{ "14:30", RC_USAGE, "not understood" },
		{ "", RC_USAGE, "not understood" },
		{ "2026-10-25 02:30", RC_ASK, "00:30Z or 01:30Z" },
		{ "2026-03-29 02:30", RC_USAGE, "never showed" },
	};
	for (size_t i = 0; i < COUNT(bad); i++) {
		int64_t t = 7;
		struct err e = { 0 };
		assert_int_equal(when_parse(bad[i].text, z, now, &t, &e), bad[i].want);
		assert_non_null(strstr(e.text, bad[i].part));
		assert_int_equal(t, 7);
	}
	zone_free(z);
}

static void random_text_is_read_or_refused_without_reading_beyond_it(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	static const char signs[] = "0123456789012345678901234567890-/.: ,TZ+ampMarUTC";
	for (int i = 0; i < 300000; i++) {
		size_t n = support_random(&seed) % 24;
		char *text = test_malloc(n + 1); /* its end is guarded */
		for (size_t k = 0; k < n; k++)
			text[k] = signs[support_random(&seed) % (sizeof signs - 1)];
		struct when w = { 0 };
		if (when_text(text, n, (enum layout_order)(i % 4), &w)) {
			assert_true(w.has_date || w.has_clock);
			assert_in_range(w.clock_s, 0, 86399);
		}
		test_free(text);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(dates_and_times_are_read_as_written),
		cmocka_unit_test(what_is_no_date_is_refused),
		cmocka_unit_test(possible_orders_are_told),
		cmocka_unit_test(offsets_named_in_headings_are_found),
		cmocka_unit_test(numbers_are_times_by_their_size),
		cmocka_unit_test(a_persons_time_is_read_in_the_zone),
		cmocka_unit_test(random_text_is_read_or_refused_without_reading_beyond_it),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
