#include "daemon/loop.h"

#include <assert.h>
#include <errno.h>
#include <limits.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/signalfd.h>
#include <sys/timerfd.h>
#include <unistd.h>

#include "core/civil.h"
#include "core/mem.h"

/* Method: two heaps of timers. The monotonic one bounds the wait of epoll; the wall one is a
 * timerfd that the kernel cancels when somebody sets the clock. Whether the clock was stepped is
 * told by wall time less monotonic time, which only a step (or a sleep of the machine) changes:
 * slewing moves both. The timerfd is armed far ahead when no wall timer waits, only to hear of
 * steps. */

enum { EVENTS_MAX = 32 };
#define FAR_AHEAD_MS                                                                               \
	INT64_C(7258118400000) /* 2200-01-01: no timer of ours, and the kernel takes it */

struct watch {
	int fd; /* -1: free */
	uint32_t generation; /* tells an event of this watch from one of its slot's former owner */
	void (*ready)(void *arg, uint32_t events, int64_t now_s);
	void *arg;
};

struct loop {
	struct clock *clock;
	int epoll_fd, wall_fd, signal_fd;
	bool stop;
	struct mono mono; /* as sampled at this wake */
	int64_t wall_ms;
	int64_t offset_ms; /* wall less monotonic time when last looked at */
	int64_t armed_ms; /* what wall_fd waits for; INT64_MIN: not armed */
	void (*stepped)(void *arg, int64_t step_s, int64_t now_s);
	void *stepped_arg;
	void (*got)(void *arg, int signal, int64_t now_s);
	void *got_arg;
	struct timer_heap on_mono, on_wall;
	uint32_t generation;
	size_t n_watches; /* slots in use up to the last */
	struct watch watches[LOOP_FDS_MAX];
};

static int64_t now_s(const struct loop *l)
{
	return civil_floor(l->wall_ms, 1000);
}

int64_t loop_resample(struct loop *l)
{
	l->mono = l->clock->mono(l->clock);
	l->wall_ms = l->clock->wall_ms(l->clock);
	return now_s(l);
}

/* Reading the expiry, or the news of a cancel, is all: sampling finds what has changed. */
static void wall_woke(void *arg, uint32_t events, int64_t at_s)
{
	struct loop *l = arg;
	(void)events, (void)at_s;
	uint64_t expiries;
	(void)!read(l->wall_fd, &expiries, sizeof expiries);
	l->armed_ms = INT64_MIN;
}

static void signal_came(void *arg, uint32_t events, int64_t at_s)
{
	struct loop *l = arg;
	(void)events;
	struct signalfd_siginfo info;
	while (read(l->signal_fd, &info, sizeof info) == (ssize_t)sizeof info)
		l->got(l->got_arg, (int)info.ssi_signo, at_s);
}

/* ---- descriptors ---- */

enum rc loop_watch(struct loop *l, int fd, uint32_t events,
	void (*ready)(void *arg, uint32_t events, int64_t now_s), void *arg, struct err *err)
{
	size_t slot = 0;
	while (slot < l->n_watches && l->watches[slot].fd >= 0)
		slot++;
	if (slot == LOOP_FDS_MAX)
		return err_set(err, RC_IO, "event loop: more than %d descriptors", LOOP_FDS_MAX);
	uint32_t generation = ++l->generation;
	struct epoll_event e = { .events = events, .data.u64 = (uint64_t)slot << 32 | generation };
	if (epoll_ctl(l->epoll_fd, EPOLL_CTL_ADD, fd, &e) != 0)
		return err_set(err, RC_IO, "event loop: watching: %s", strerror(errno));
	l->watches[slot] = (struct watch){ fd, generation, ready, arg };
	if (slot == l->n_watches)
		l->n_watches++;
	return RC_OK;
}

void loop_unwatch(struct loop *l, int fd)
{
	for (size_t i = 0; i < l->n_watches; i++) {
		if (l->watches[i].fd != fd || fd < 0)
			continue;
		(void)epoll_ctl(l->epoll_fd, EPOLL_CTL_DEL, fd, NULL);
		l->watches[i].fd = -1;
	}
}

static int by_slot(const void *a, const void *b)
{
	const struct epoll_event *x = a, *y = b;
	return (x->data.u64 > y->data.u64) - (x->data.u64 < y->data.u64);
}

static void dispatch_fds(struct loop *l, struct epoll_event *events, size_t n)
{
	qsort(events, n, sizeof *events, by_slot);
	for (size_t i = 0; i < n && !l->stop; i++) {
		const struct watch *w = &l->watches[events[i].data.u64 >> 32];
		if (w->fd >= 0 && w->generation == (uint32_t)events[i].data.u64)
			w->ready(w->arg, events[i].events, now_s(l));
	}
}

/* ---- timers ---- */

void loop_after(struct loop *l, struct timer *t, int64_t delay_ms)
{
	loop_every(l, t, delay_ms, 0);
}

void loop_every(struct loop *l, struct timer *t, int64_t first_ms, int64_t every_ms)
{
	assert(first_ms >= 0 && every_ms >= 0);
	timer_take(t);
	t->every_ms = every_ms;
	timer_put(&l->on_mono, t, l->mono.ms + first_ms);
}

void loop_at(struct loop *l, struct timer *t, int64_t at_s)
{
	timer_take(t);
	t->every_ms = 0;
	timer_put(&l->on_wall, t, at_s * 1000);
}

void loop_unset(struct timer *t)
{
	timer_take(t);
}

static void fire_due(struct loop *l, struct timer_heap *h, int64_t now_ms)
{
	uint64_t last = h->order; /* those set from here on wait for the next wake */
	struct timer *t;
	while (!l->stop && (t = timer_first_ref(h)) && t->due_ms <= now_ms && t->order <= last) {
		timer_take(t);
		if (t->every_ms)
			timer_put(h, t,
				t->due_ms + ((now_ms - t->due_ms) / t->every_ms + 1) * t->every_ms);
		t->fire(t->arg, now_s(l));
	}
}

/* Milliseconds until the heap's first timer; INT64_MAX when none waits. */
static int64_t wait_of(const struct timer_heap *h, int64_t now_ms)
{
	const struct timer *t = timer_first_ref(h);
	if (!t)
		return INT64_MAX;
	return t->due_ms > now_ms ? t->due_ms - now_ms : 0;
}

static enum rc arm_wall(struct loop *l, struct err *err)
{
	const struct timer *t = timer_first_ref(&l->on_wall);
	int64_t at_ms = t ? t->due_ms : FAR_AHEAD_MS;
	if (at_ms == l->armed_ms)
		return RC_OK;
	/* 0 would disarm */
	struct itimerspec spec = { .it_value.tv_sec = at_ms > 0 ? at_ms / 1000 : 0,
		.it_value.tv_nsec = 1 };
	if (timerfd_settime(l->wall_fd, TFD_TIMER_ABSTIME | TFD_TIMER_CANCEL_ON_SET, &spec, NULL) !=
			0 &&
		errno != ECANCELED)
		return err_set(err, RC_IO, "event loop: wall timer: %s", strerror(errno));
	l->armed_ms = at_ms;
	return RC_OK;
}

static void look_for_step(struct loop *l)
{
	int64_t step_ms = l->wall_ms - l->mono.ms - l->offset_ms;
	l->offset_ms += step_ms;
	if (l->stepped && llabs(step_ms) >= LOOP_STEP_MS)
		l->stepped(l->stepped_arg, step_ms / 1000, now_s(l));
}

/* ---- running ---- */

/* How long to sleep in epoll: -1 for ever. */
static int patience(const struct loop *l)
{
	int64_t ms = wait_of(&l->on_mono, l->mono.ms);
	if (l->clock->jumps)
		return 0;
	return ms == INT64_MAX ? -1 : ms > INT_MAX ? INT_MAX : (int)ms;
}

/* Virtual time goes on to the next timer, at most to until_s. False when nothing is left to do. */
static bool jump(struct loop *l, int64_t until_s)
{
	int64_t a = wait_of(&l->on_mono, l->mono.ms);
	int64_t b = wait_of(&l->on_wall, l->wall_ms);
	int64_t next = a < b ? a : b;
	if (until_s == TIME_NEVER) {
		if (next == INT64_MAX)
			return false;
		clock_jump(l->clock, next);
		return true;
	}
	int64_t left = until_s * 1000 - l->wall_ms;
	clock_jump(l->clock, next < left ? next : left > 0 ? left : 0);
	return next <= left;
}

static enum rc turn(struct loop *l, int64_t until_s, bool *more, struct err *err)
{
	struct epoll_event events[EVENTS_MAX];
	enum rc rc = l->clock->jumps ? RC_OK : arm_wall(l, err);
	if (rc != RC_OK)
		return rc;
	int n = epoll_wait(l->epoll_fd, events, EVENTS_MAX, patience(l));
	if (n < 0 && errno != EINTR)
		return err_set(err, RC_IO, "event loop: waiting: %s", strerror(errno));
	if (l->clock->jumps && n <= 0)
		*more = jump(l, until_s);
	(void)loop_resample(l);
	look_for_step(l);
	if (n > 0)
		dispatch_fds(l, events, (size_t)n);
	fire_due(l, &l->on_mono, l->mono.ms);
	fire_due(l, &l->on_wall, l->wall_ms);
	return RC_OK;
}

enum rc loop_run(struct loop *l, int64_t until_s, struct err *err)
{
	bool more = true;
	enum rc rc = RC_OK;
	l->stop = false;
	while (rc == RC_OK && more && !l->stop)
		rc = turn(l, until_s, &more, err);
	return rc;
}

void loop_stop(struct loop *l)
{
	l->stop = true;
}

/* ---- making ---- */

void loop_on_step(
	struct loop *l, void (*stepped)(void *arg, int64_t step_s, int64_t now_s), void *arg)
{
	l->stepped = stepped;
	l->stepped_arg = arg;
}

enum rc loop_signals(struct loop *l, void (*got)(void *arg, int signal, int64_t now_s), void *arg,
	struct err *err)
{
	sigset_t set;
	(void)sigemptyset(&set);
	(void)sigaddset(&set, SIGTERM);
	(void)sigaddset(&set, SIGINT);
	(void)sigaddset(&set, SIGHUP);
	(void)signal(SIGPIPE, SIG_IGN);
	l->got = got;
	l->got_arg = arg;
	if (sigprocmask(SIG_BLOCK, &set, NULL) != 0 ||
		(l->signal_fd = signalfd(-1, &set, SFD_CLOEXEC | SFD_NONBLOCK)) < 0)
		return err_set(err, RC_IO, "event loop: signals: %s", strerror(errno));
	return loop_watch(l, l->signal_fd, EPOLLIN, signal_came, l, err);
}

enum rc loop_new(struct clock *clock, struct loop **out, struct err *err)
{
	struct loop *l = mem_new(1, sizeof *l);
	if (!l)
		return err_set(err, RC_MEM, "event loop: out of memory");
	l->clock = clock;
	l->signal_fd = -1;
	l->armed_ms = INT64_MIN;
	l->epoll_fd = epoll_create1(EPOLL_CLOEXEC);
	l->wall_fd = timerfd_create(CLOCK_REALTIME, TFD_CLOEXEC | TFD_NONBLOCK);
	enum rc rc = RC_OK;
	if (l->epoll_fd < 0 || l->wall_fd < 0)
		rc = err_set(err, RC_IO, "event loop: %s", strerror(errno));
	else
		rc = loop_watch(l, l->wall_fd, EPOLLIN, wall_woke, l, err);
	if (rc != RC_OK) {
		loop_free(l);
		return rc;
	}
	(void)loop_resample(l);
	l->offset_ms = l->wall_ms - l->mono.ms;
	*out = l;
	return RC_OK;
}

void loop_free(struct loop *l)
{
	if (!l)
		return;
	if (l->signal_fd >= 0)
		(void)close(l->signal_fd);
	if (l->wall_fd >= 0)
		(void)close(l->wall_fd);
	if (l->epoll_fd >= 0)
		(void)close(l->epoll_fd);
	mem_free(l);
}
