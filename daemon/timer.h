/* Timers in a binary heap by due time, first set first among equals. The timers are their owners'
 * memory; the heap only points at them, so setting one can't fail.
 * Times are plain int64: the loop keeps one heap in monotonic and one in wall milliseconds. */
#ifndef DAEMON_TIMER_H
#define DAEMON_TIMER_H

#include <stddef.h>
#include <stdint.h>

enum {
	TIMERS_MAX = 4352
}; /* waiting at once in one heap, two a source and more; beyond is a programmer's fault */

struct timer_heap;

/* Set fire and arg, leave the rest to the loop. A waiting timer must stay where it is in memory. */
struct timer {
	void (*fire)(void *arg, int64_t now_s);
	void *arg;
	int64_t due_ms;
	int64_t every_ms; /* 0: once */
	uint64_t order; /* when it was set, counted */
	struct timer_heap *heap; /* NULL: not waiting */
	size_t slot;
};

struct timer_heap {
	size_t n;
	uint64_t order;
	struct timer *item[TIMERS_MAX];
};

/* Puts t, which is not waiting, into the heap for due_ms. */
void timer_put(struct timer_heap *h, struct timer *t, int64_t due_ms);

/* Takes t out of whichever heap it waits in; harmless when in none. */
void timer_take(struct timer *t);

/* What to wait after so many failures in a row: first_s, doubled with each more, up to most_s. */
int64_t timer_doubled_s(int64_t first_s, int failures, int64_t most_s);

/* The one due first, NULL when none waits. Borrowed. */
struct timer *timer_first_ref(const struct timer_heap *h);

#endif
