/* The two clocks, as two types the compiler keeps apart: wall time UTC for readings, schedules and
 * calendars; monotonic time for time-outs and retries, which is never stored and never printed.
 * A clock is a value with two functions, so that a replay runs the same code on invented time. */
#ifndef DAEMON_CLOCK_H
#define DAEMON_CLOCK_H

#include <stdbool.h>
#include <stdint.h>

struct mono {
	int64_t ms;
};

struct clock {
	int64_t (*wall_ms)(const struct clock *c); /* UTC since 1970 */
	struct mono (*mono)(const struct clock *c);
	bool jumps; /* virtual: time stands still between clock_jump calls */
	int64_t gone_ms; /* virtual: time since the start */
	int64_t offset_ms; /* virtual: wall time less monotonic time; a test steps the clock by it
			    */
};

struct clock clock_real(void);
struct clock clock_virtual(int64_t start_s);

/* Virtual only: both times go on by ms >= 0. */
void clock_jump(struct clock *c, int64_t ms);

/* Wall time in whole seconds UTC, rounded down. */
int64_t clock_now_s(const struct clock *c);

#endif
