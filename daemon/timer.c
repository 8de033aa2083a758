#include "daemon/timer.h"

#include <assert.h>
#include <stdbool.h>

static bool before(const struct timer *a, const struct timer *b)
{
	return a->due_ms != b->due_ms ? a->due_ms < b->due_ms : a->order < b->order;
}

static void place(struct timer_heap *h, size_t slot, struct timer *t)
{
	h->item[slot] = t;
	t->slot = slot;
}

static void rise(struct timer_heap *h, struct timer *t)
{
	size_t i = t->slot;
	for (; i > 0 && before(t, h->item[(i - 1) / 2]); i = (i - 1) / 2)
		place(h, i, h->item[(i - 1) / 2]);
	place(h, i, t);
}

static void sink(struct timer_heap *h, struct timer *t)
{
	size_t i = t->slot;
	for (;;) {
		size_t child = 2 * i + 1;
		if (child + 1 < h->n && before(h->item[child + 1], h->item[child]))
			child++;
		if (child >= h->n || !before(h->item[child], t))
			break;
		place(h, i, h->item[child]);
		i = child;
	}
	place(h, i, t);
}

void timer_put(struct timer_heap *h, struct timer *t, int64_t due_ms)
{
	assert(!t->heap && h->n < TIMERS_MAX);
	t->heap = h;
	t->due_ms = due_ms;
	t->order = ++h->order;
	place(h, h->n++, t);
	rise(h, t);
}

void timer_take(struct timer *t)
{
	struct timer_heap *h = t->heap;
	if (!h)
		return;
	struct timer *last = h->item[--h->n];
	if (last != t) {
		place(h, t->slot, last);
		rise(h, last);
		sink(h, last);
	}
	t->heap = NULL;
}

struct timer *timer_first_ref(const struct timer_heap *h)
{
	return h->n ? h->item[0] : NULL;
}

int64_t timer_doubled_s(int64_t first_s, int failures, int64_t most_s)
{
	int64_t wait_s = first_s;
	for (int i = 1; i < failures && wait_s < most_s; i++)
		wait_s *= 2;
	return wait_s < most_s ? wait_s : most_s;
}
