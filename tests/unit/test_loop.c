#include "tests/unit/support.h"

#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <unistd.h>

#include "core/civil.h"
#include "core/mem.h"
#include "daemon/loop.h"

#define START_S INT64_C(1767225600) /* 2026-01-01T00:00:00Z */

/* What fired, in order: one letter each. */
struct trace {
	struct loop *loop;
	struct clock clock;
	char text[64];
	size_t n;
	int64_t last_s;
	int64_t step_s;
	int signal;
};

struct mark {
	struct trace *trace;
	char letter;
	struct timer timer;
	int64_t count;
};

static void note(struct trace *t, char letter, int64_t now_s)
{
	if (t->n + 1 < sizeof t->text)
		t->text[t->n++] = letter;
	t->last_s = now_s;
}

static void mark_fired(void *arg, int64_t now_s)
{
	struct mark *m = arg;
	m->count++;
	note(m->trace, m->letter, now_s);
}

static struct mark mark(struct trace *t, char letter)
{
	return (struct mark){ .trace = t, .letter = letter, .timer.fire = mark_fired };
}

static void begin(struct trace *t)
{
	*t = (struct trace){ .clock = clock_virtual(START_S) };
	struct err err = { 0 };
	OK(loop_new(&t->clock, &t->loop, &err), &err);
}

static void run(struct trace *t, int64_t until_s)
{
	struct err err = { 0 };
	OK(loop_run(t->loop, until_s, &err), &err);
}

static void timers_fire_by_due_time_and_first_set_first(void **state)
{
	(void)state;
	struct trace t;
	begin(&t);
	struct mark m[] = { mark(&t, 'a'), mark(&t, 'b'), mark(&t, 'c'), mark(&t, 'd'),
		mark(&t, 'e') };
	static const int64_t delay_ms[] = { 5000, 1000, 5000, 3000, 1000 };
	for (size_t i = 0; i < COUNT(m); i++) {
		m[i].timer.arg = &m[i];
		loop_after(t.loop, &m[i].timer, delay_ms[i]);
	}
	run(&t, START_S + 10);
	assert_string_equal(t.text, "bedac");
	assert_int_equal(clock_now_s(&t.clock), START_S + 10);
	loop_free(t.loop);
}

static void monotonic_timers_go_before_wall_timers_of_the_same_moment(void **state)
{
	(void)state;
	struct trace t;
	begin(&t);
	struct mark wall = mark(&t, 'w'), mono = mark(&t, 'm');
	wall.timer.arg = &wall;
	mono.timer.arg = &mono;
	loop_at(t.loop, &wall.timer, START_S + 60);
	loop_after(t.loop, &mono.timer, 60000);
	run(&t, START_S + 60);
	assert_string_equal(t.text, "mw");
	assert_int_equal(t.last_s, START_S + 60);
	loop_free(t.loop);
}

static void a_timer_set_by_a_handler_waits_for_the_next_wake(void **state)
{
	(void)state;
	struct trace t;
	begin(&t);
	struct mark first = mark(&t, '1'), second = mark(&t, '2');
	first.timer.arg = &first;
	second.timer.arg = &second;
	loop_every(t.loop, &first.timer, 0, 1000);
	loop_after(t.loop, &second.timer, 2500);
	run(&t, START_S + 3);
	assert_string_equal(t.text, "11121");
	loop_free(t.loop);
}

static void an_unset_timer_does_not_fire_and_setting_again_replaces(void **state)
{
	(void)state;
	struct trace t;
	begin(&t);
	struct mark a = mark(&t, 'a'), b = mark(&t, 'b');
	a.timer.arg = &a;
	b.timer.arg = &b;
	loop_after(t.loop, &a.timer, 1000);
	loop_after(t.loop, &b.timer, 1000);
	loop_unset(&a.timer);
	loop_unset(&a.timer);
	loop_at(t.loop, &b.timer, START_S + 7);
	run(&t, START_S + 20);
	assert_string_equal(t.text, "b");
	assert_int_equal(t.last_s, START_S + 7);
	loop_free(t.loop);
}

/* Any mix of settings and unsettings fires what an ordered list would. */
static void the_heap_agrees_with_a_sorted_list(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	struct timer_heap *h = mem_new(1, sizeof *h);
	struct timer *t = mem_new(200, sizeof *t);
	for (int round = 0; round < 2000; round++) {
		struct timer *x = &t[support_random(&seed) % 200];
		timer_take(x);
		if (support_random(&seed) % 3)
			timer_put(h, x, (int64_t)(support_random(&seed) % 50));
	}
	size_t waiting = 0;
	for (size_t i = 0; i < 200; i++)
		waiting += t[i].heap != NULL;
	assert_int_equal(waiting, h->n);
	int64_t due = -1;
	uint64_t order = 0;
	for (struct timer *x; (x = timer_first_ref(h)); timer_take(x)) {
		assert_true(x->due_ms > due || (x->due_ms == due && x->order > order));
		due = x->due_ms;
		order = x->order;
	}
	mem_free(t);
	mem_free(h);
}

static void a_virtual_year_of_five_minute_timers_fires_each_one(void **state)
{
	(void)state;
	struct trace t;
	begin(&t);
	struct mark poll = mark(&t, 'p');
	poll.timer.arg = &poll;
	loop_every(t.loop, &poll.timer, 300000, 300000);
	struct clock real = clock_real();
	int64_t before_ms = real.mono(&real).ms;
	run(&t, START_S + 365 * DAY_S);
	int64_t took_ms = real.mono(&real).ms - before_ms;
	print_message("a virtual year: %lld timers in %lld ms\n", (long long)poll.count,
		(long long)took_ms);
	assert_int_equal(poll.count, 365 * 288);
	assert_int_equal(t.last_s, START_S + 365 * DAY_S);
	/* a loaded machine included; asleep even once a day it would be slower */
	assert_true(took_ms < 10000);
	loop_free(t.loop);
}

struct hourly {
	struct loop *loop;
	struct timer timer;
	int64_t times_s[8];
	size_t n;
	int64_t step_s;
};

static void next_hour(struct hourly *h, int64_t now_s)
{
	loop_at(h->loop, &h->timer, (now_s / HOUR_S + 1) * HOUR_S);
}

static void hour_struck(void *arg, int64_t now_s)
{
	struct hourly *h = arg;
	if (h->n < COUNT(h->times_s))
		h->times_s[h->n++] = now_s;
	next_hour(h, now_s);
}

static void clock_stepped(void *arg, int64_t step_s, int64_t now_s)
{
	struct hourly *h = arg;
	h->step_s = step_s;
	next_hour(h, now_s);
}

struct setter {
	struct clock *clock;
	struct timer timer;
	int64_t by_ms;
};

static void set_clock(void *arg, int64_t now_s)
{
	struct setter *s = arg;
	(void)now_s;
	s->clock->offset_ms += s->by_ms;
}

static void a_clock_step_is_told_once_and_wall_timers_follow_the_new_time(void **state)
{
	(void)state;
	static const struct {
		int64_t by_ms, want_step_s, want_s[3];
	} rows[] = {
		{ -3600000, -3600, { START_S + 3600, START_S + 3600, START_S + 7200 } },
		{ 7200000, 7200, { START_S + 3600, START_S + 14400, START_S + 18000 } },
		{ 400, 0, { START_S + 3600, START_S + 7200, START_S + 10800 } },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct trace t;
		begin(&t);
		struct hourly h = { .loop = t.loop, .timer.fire = hour_struck, .timer.arg = &h };
		struct setter set = { &t.clock, { .fire = set_clock, .arg = &set }, rows[i].by_ms };
		struct mark end = mark(&t, '.');
		end.timer.arg = &end;
		loop_on_step(t.loop, clock_stepped, &h);
		next_hour(&h, START_S);
		loop_after(t.loop, &set.timer, 5400000);
		loop_every(t.loop, &end.timer, 5400001, 1000000); /* a wake that finds the step */
		run(&t, START_S + 6 * HOUR_S);
		assert_int_equal(h.step_s, rows[i].want_step_s);
		for (size_t k = 0; k < 3; k++)
			assert_int_equal(h.times_s[k], rows[i].want_s[k]);
		loop_free(t.loop);
	}
}

static void read_all(void *arg, uint32_t events, int64_t now_s)
{
	struct mark *m = arg;
	char byte;
	assert_true(events & EPOLLIN);
	assert_int_equal(read((int)m->count, &byte, 1), 1);
	note(m->trace, m->letter, now_s);
	loop_unwatch(m->trace->loop, (int)m->count);
}

static void ready_descriptors_go_in_the_order_they_were_added(void **state)
{
	(void)state;
	struct trace t;
	begin(&t);
	struct mark m[3] = { mark(&t, 'x'), mark(&t, 'y'), mark(&t, 'z') };
	int ends[3];
	struct err err = { 0 };
	for (size_t i = 0; i < 3; i++) {
		int fd[2];
		assert_int_equal(pipe(fd), 0);
		m[i].count = fd[0];
		ends[i] = fd[1];
		OK(loop_watch(t.loop, fd[0], EPOLLIN, read_all, &m[i], &err), &err);
	}
	struct mark timer = mark(&t, 't');
	timer.timer.arg = &timer;
	loop_after(t.loop, &timer.timer, 0);
	for (size_t i = 3; i-- > 0;)
		assert_int_equal(write(ends[i], "!", 1), 1);
	run(&t, START_S + 1);
	assert_string_equal(t.text, "xyzt");
	for (size_t i = 0; i < 3; i++) {
		(void)close(ends[i]);
		(void)close((int)m[i].count);
	}
	loop_free(t.loop);
}

static void never_read(void *arg, uint32_t events, int64_t now_s)
{
	(void)arg, (void)events, (void)now_s;
	fail_msg("an unwatched descriptor was called");
}

struct remover {
	struct trace *trace;
	int own, other;
};

static void remove_other(void *arg, uint32_t events, int64_t now_s)
{
	struct remover *r = arg;
	(void)events;
	loop_unwatch(r->trace->loop, r->own);
	loop_unwatch(r->trace->loop, r->other);
	note(r->trace, 'r', now_s);
}

static void a_descriptor_taken_off_in_the_same_wake_is_not_called(void **state)
{
	(void)state;
	struct trace t;
	begin(&t);
	int a[2], b[2];
	assert_int_equal(pipe(a), 0);
	assert_int_equal(pipe(b), 0);
	struct remover r = { &t, a[0], b[0] };
	struct err err = { 0 };
	OK(loop_watch(t.loop, a[0], EPOLLIN, remove_other, &r, &err), &err);
	OK(loop_watch(t.loop, b[0], EPOLLIN, never_read, NULL, &err), &err);
	assert_int_equal(write(a[1], "!", 1), 1);
	assert_int_equal(write(b[1], "!", 1), 1);
	run(&t, START_S + 1);
	assert_string_equal(t.text, "r");
	for (size_t i = 0; i < 2; i++) {
		(void)close(a[i]);
		(void)close(b[i]);
	}
	loop_free(t.loop);
}

static void the_descriptor_cap_is_refused_with_its_number(void **state)
{
	(void)state;
	struct trace t;
	begin(&t);
	int fd[2];
	assert_int_equal(pipe(fd), 0);
	struct err err = { 0 };
	int copies[LOOP_FDS_MAX];
	int n = 0;
	enum rc rc = RC_OK;
	while (rc == RC_OK && n < LOOP_FDS_MAX) {
		copies[n] = dup(fd[0]);
		rc = loop_watch(t.loop, copies[n++], EPOLLIN, never_read, NULL, &err);
	}
	assert_int_equal(rc, RC_IO);
	assert_int_equal(n, LOOP_FDS_MAX); /* one place is the loop's own timer */
	assert_non_null(strstr(err.text, "512"));
	while (n > 0)
		(void)close(copies[--n]);
	(void)close(fd[0]);
	(void)close(fd[1]);
	loop_free(t.loop);
}

static void got_signal(void *arg, int signo, int64_t now_s)
{
	struct trace *t = arg;
	(void)now_s;
	t->signal = signo;
	loop_stop(t->loop);
}

static void signals_arrive_as_events_and_stop_ends_the_run(void **state)
{
	(void)state;
	struct trace t;
	begin(&t);
	struct err err = { 0 };
	OK(loop_signals(t.loop, got_signal, &t, &err), &err);
	assert_int_equal(raise(SIGHUP), 0);
	run(&t, START_S + 1000);
	assert_int_equal(t.signal, SIGHUP);
	assert_int_equal(clock_now_s(&t.clock), START_S);
	loop_free(t.loop);
}

static void stop_from(void *arg, int64_t now_s)
{
	struct trace *t = arg;
	note(t, 's', now_s);
	loop_stop(t->loop);
}

static void the_real_clock_wakes_for_both_kinds_of_timer(void **state)
{
	(void)state;
	struct trace t = { .clock = clock_real() };
	struct err err = { 0 };
	OK(loop_new(&t.clock, &t.loop, &err), &err);
	struct mark soon = mark(&t, 'm');
	soon.timer.arg = &soon;
	struct timer wall = { .fire = stop_from, .arg = &t };
	int64_t now_s = clock_now_s(&t.clock);
	loop_after(t.loop, &soon.timer, 5);
	loop_at(t.loop, &wall, now_s + 1);
	run(&t, TIME_NEVER);
	assert_string_equal(t.text, "ms");
	assert_true(t.last_s >= now_s + 1);
	loop_free(t.loop);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(timers_fire_by_due_time_and_first_set_first),
		cmocka_unit_test(monotonic_timers_go_before_wall_timers_of_the_same_moment),
		cmocka_unit_test(a_timer_set_by_a_handler_waits_for_the_next_wake),
		cmocka_unit_test(an_unset_timer_does_not_fire_and_setting_again_replaces),
		cmocka_unit_test(the_heap_agrees_with_a_sorted_list),
		cmocka_unit_test(a_virtual_year_of_five_minute_timers_fires_each_one),
		cmocka_unit_test(a_clock_step_is_told_once_and_wall_timers_follow_the_new_time),
		cmocka_unit_test(ready_descriptors_go_in_the_order_they_were_added),
		cmocka_unit_test(a_descriptor_taken_off_in_the_same_wake_is_not_called),
		cmocka_unit_test(the_descriptor_cap_is_refused_with_its_number),
		cmocka_unit_test(signals_arrive_as_events_and_stop_ends_the_run),
		cmocka_unit_test(the_real_clock_wakes_for_both_kinds_of_timer),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
