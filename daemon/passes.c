#include "daemon/passes.h"

#include "core/civil.h"

/* The run seen forward in time. */
struct run {
	const struct pass_row *rows;
	size_t n;
	bool backwards;
	int64_t before_s, after_s;
};

static const struct pass_row *row_at(const struct run *r, size_t i)
{
	return &r->rows[r->backwards ? r->n - 1 - i : i];
}

/* The index where the wall clock falls back, n when it does not or does more than once. */
static size_t fall(const struct run *r)
{
	size_t at = r->n;
	for (size_t i = 1; i < r->n; i++) {
		if (row_at(r, i)->wall_s >= row_at(r, i - 1)->wall_s)
			continue;
		if (at != r->n)
			return r->n;
		at = i;
	}
	return at;
}

/* 01:00, 02:00, 02:00, 03:00 of an hourly clock. */
static bool even_pair(const struct run *r)
{
	if (r->n != 2 || row_at(r, 0)->wall_s != row_at(r, 1)->wall_s ||
		r->before_s == TIME_NEVER || r->after_s == TIME_NEVER)
		return false;
	int64_t step = row_at(r, 0)->second_s - row_at(r, 0)->first_s;
	return row_at(r, 0)->first_s - r->before_s == step &&
	       r->after_s - row_at(r, 1)->second_s == step;
}

bool passes_settle(const struct pass_row *rows, size_t n, bool newest_first, int64_t before_s,
	int64_t after_s, int64_t *out_s)
{
	struct run r = { rows, n, newest_first, newest_first ? after_s : before_s,
		newest_first ? before_s : after_s };
	size_t second = fall(&r);
	if (second == n && even_pair(&r))
		second = 1;
	if (second == n)
		return false;
	if (r.before_s != TIME_NEVER && r.before_s > row_at(&r, 0)->first_s)
		return false;
	if (r.after_s != TIME_NEVER && r.after_s < row_at(&r, n - 1)->second_s)
		return false;
	for (size_t i = 0; i < n; i++)
		out_s[newest_first ? n - 1 - i : i] =
			i < second ? row_at(&r, i)->first_s : row_at(&r, i)->second_s;
	return true;
}
