/* Wall-clock readings that an autumn clock showed twice: which pass does each row belong to?
 *
 * Method: an export runs forward in time, so in a run of such rows the wall clock falls back just
 * once, where the second pass begins. Without a fall both passes are not there and nothing tells,
 * except when a clock that ticks evenly shows the same reading twice. */
#ifndef DAEMON_PASSES_H
#define DAEMON_PASSES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* A row as its wall clock and the two instants it can mean. */
struct pass_row {
	int64_t wall_s, first_s, second_s;
};

/* Writes the instant of each of rows[0..n), in file order. newest_first: the file runs backwards.
 * before_s and after_s: the instants of the plain rows next to the run in file order, TIME_NEVER
 * when there is none. False: nothing tells, out_s is not set. */
bool passes_settle(const struct pass_row *rows, size_t n, bool newest_first, int64_t before_s,
	int64_t after_s, int64_t *out_s);

#endif
