/* Gathering the care items of one client into visits. Pure. Times are seconds UTC. */
#ifndef CORE_VISITS_H
#define CORE_VISITS_H

#include <stddef.h>
#include <stdint.h>

#define VISIT_SPAN_S (INT64_C(21) * 86400) /* items whose days lie within it share one visit */

struct visit_item {
	int64_t client; /* 0: nobody's, never gathered */
	int64_t from_s, by_s;
	int64_t visit; /* in: the open visit it already belongs to, 0 none. out: unchanged, or the visit of
	                 * the same client it joins, or -k for the k-th new visit (k = 1, 2, ...) */
};

/* Fills .visit of items that have a client and none yet. An item joins the first visit of its client, old or
 * new, all of whose days by_s are within VISIT_SPAN_S of its own; else it starts a new one. Items are taken in
 * order of by_s, then of their place in the array, so the result does not depend on anything else.
 * order: room for n indices. Returns the number of new visits. */
size_t visits_gather(struct visit_item *items, size_t n, size_t *order);

#endif
