/* The one event loop: file descriptors, timers and signals, in one thread and one order.
 *
 * Per wake the loop samples its clock once and then calls, in this order: the step handler when the
 * wall clock was set, ready descriptors in the order they were added, timers on monotonic time,
 * timers on wall time (each by due time, first set first). What a handler sets runs at the next
 * wake at the earliest. Under a virtual clock the loop never sleeps: it jumps to the next timer. */
#ifndef DAEMON_LOOP_H
#define DAEMON_LOOP_H

#include <stdint.h>

#include "core/err.h"
#include "daemon/clock.h"
#include "daemon/timer.h"

enum { LOOP_FDS_MAX = 512 }; /* fetches at once take up to two each */

struct loop;

/* clock is borrowed. RC_IO, RC_MEM. loop_free closes what the loop opened, not what it watches. */
MUST_USE enum rc loop_new(struct clock *clock, struct loop **out, struct err *err);
void loop_free(struct loop *l);

/* Calls ready with the EPOLL* bits whenever fd has one of events. Take it off before closing it. */
MUST_USE enum rc loop_watch(struct loop *l, int fd, uint32_t events,
	void (*ready)(void *arg, uint32_t events, int64_t now_s), void *arg, struct err *err);
void loop_unwatch(struct loop *l, int fd); /* harmless when not watched */

/* Each of these replaces what the timer waited for before. A periodic timer that was late keeps its
 * rhythm and fires once for all the periods missed. */
void loop_after(struct loop *l, struct timer *t, int64_t delay_ms);
void loop_every(struct loop *l, struct timer *t, int64_t first_ms, int64_t every_ms);
void loop_at(
	struct loop *l, struct timer *t, int64_t at_s); /* a UTC second, however the clock is set */
void loop_unset(struct timer *t);

/* SIGTERM, SIGINT and SIGHUP are blocked and arrive here from now on; SIGPIPE is ignored. */
MUST_USE enum rc loop_signals(struct loop *l, void (*got)(void *arg, int signal, int64_t now_s),
	void *arg, struct err *err);

/* The wall clock was set by step_s (or the machine slept); at least LOOP_STEP_MS either way. */
enum { LOOP_STEP_MS = 1000 };
void loop_on_step(
	struct loop *l, void (*stepped)(void *arg, int64_t step_s, int64_t now_s), void *arg);

/* Runs until loop_stop, or with a virtual clock until every timer due up to until_s has fired; the
 * clock then shows until_s. until_s means nothing to a real clock. RC_IO when waiting fails. */
MUST_USE enum rc loop_run(struct loop *l, int64_t until_s, struct err *err);
void loop_stop(struct loop *l); /* nothing more is called in this run */

/* Samples the clock again: after any call that may have taken long. Returns now_s. */
int64_t loop_resample(struct loop *l);

#endif
