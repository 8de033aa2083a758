#include "visits.h"

#include <stdbool.h>

/* Insertion sort by by_s: stable, and agendas are short. */
static void sort_order(const struct visit_item *items, size_t n, size_t *order)
{
	for (size_t i = 0; i < n; i++) {
		size_t j = i;
		for (; j > 0 && items[order[j - 1]].by_s > items[i].by_s; j--)
			order[j] = order[j - 1];
		order[j] = i;
	}
}

/* True when item i is near every item that belongs to that visit already. */
static bool fits(const struct visit_item *items, size_t n, size_t i, int64_t visit)
{
	for (size_t j = 0; j < n; j++) {
		int64_t apart = items[j].by_s - items[i].by_s;
		if (items[j].visit == visit && (apart > VISIT_SPAN_S || apart < -VISIT_SPAN_S))
			return false;
	}
	return true;
}

static int64_t find_visit(const struct visit_item *items, size_t n, size_t i)
{
	for (size_t j = 0; j < n; j++)
		if (items[j].client == items[i].client && items[j].visit != 0 &&
			fits(items, n, i, items[j].visit))
			return items[j].visit;
	return 0;
}

size_t visits_gather(struct visit_item *items, size_t n, size_t *order)
{
	size_t fresh = 0;
	sort_order(items, n, order);
	for (size_t k = 0; k < n; k++) {
		struct visit_item *item = &items[order[k]];
		if (item->client == 0 || item->visit != 0)
			continue;
		int64_t visit = find_visit(items, n, order[k]);
		item->visit = visit ? visit : -(int64_t)++fresh;
	}
	return fresh;
}
