/* Dates and times of day as people and programs write them. */
#ifndef DAEMON_WHEN_H
#define DAEMON_WHEN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "core/err.h"
#include "daemon/layout.h"
#include "daemon/zone.h"

struct when {
	bool has_date, has_clock, has_offset;
	int64_t day; /* since 1970-01-01 */
	int32_t clock_s; /* into the day */
	int32_t offset_s; /* east of UTC, when has_offset */
};

/* Reads p[0..n) as a date, a time of day or both. Dates: 2024-03-12 (also / and .), 20240312,
 * all-digit dates in the order given, 12-Mar-2024, Mar 12, 2024, a weekday before them. Times:
 * 15:05, 15:05:30.5, 3:05 PM. Then Z, UTC, +02:00, GMT+1. ORDER_GUESS: all-digit dates only with a
 * four-digit year first. Two-digit years: 70..99 are 19xx, others 20xx (POSIX). Parts of a second
 * are cut off. */
bool when_text(const char *p, size_t n, enum layout_order order, struct when *out);

/* Under which orders p[0..n) is a date: bits 1 << ORDER_YMD and so on; all three when the order
 * does not matter; 0 when it is no date. */
unsigned when_orders(const char *p, size_t n);

/* Seconds of the wall clock, for one that has a date. */
int64_t when_wall_s(const struct when *w);

/* Reads by a pattern as of strptime(3), the whole of p[0..n). */
bool when_pattern(const char *p, size_t n, const char *pattern, struct when *out);

/* An offset named in text after UTC or GMT: `t_UTC+2`, `Time (GMT+01:00)`, `Timestamp UTC`,
 * `UTC-03:30`. */
bool when_named_offset(const char *text, int32_t *offset_s);

/* A person's time argument: `now`, `2011-10-01` (12:00 there), `2011-10-01 14:30`, ISO with an
 * offset. Errors: RC_USAGE (no time, or one the clock never showed), RC_ASK (shown twice). */
MUST_USE enum rc when_parse(
	const char *text, const struct zone *z, int64_t now_s, int64_t *out, struct err *err);

/* A time of the week, `Mon 09:00` (first three letters of the English day, any case): weekday 0 is Monday, clock_s
 * seconds into its day. False: not read. */
bool when_weekly(const char *text, int *weekday, int32_t *clock_s);

#endif
