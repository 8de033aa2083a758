/* Days and seconds of the proleptic Gregorian calendar, no time zones.
 * Days count from 1970-01-01; seconds are int64 since 1970-01-01T00:00:00 (UTC when nothing else is
 * said). Valid for years -9999..9999. Method: days-from-civil by shifted years of 400-year eras. */
#ifndef CORE_CIVIL_H
#define CORE_CIVIL_H

#include <stdbool.h>
#include <stdint.h>

#define TIME_NEVER INT64_MAX /* no such time; later than every other */
#define HOUR_S INT64_C(3600)
#define DAY_S INT64_C(86400)

struct civil {
	int year, month, day; /* month 1..12, day 1..31 */
	int hour, minute, second; /* 0..23, 0..59, 0..59 */
};

/* True when the six fields name a real date and time of day. */
bool civil_valid(const struct civil *c);

/* Day number of a valid date. */
int64_t civil_days(int year, int month, int day);

/* Seconds of a valid date and time. */
int64_t civil_seconds(const struct civil *c);

/* The date and time at those seconds. */
struct civil civil_at(int64_t seconds);

/* floor(a / b) for b > 0, also for negative a. */
int64_t civil_floor(int64_t a, int64_t b);

#endif
