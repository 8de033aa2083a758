#include "quality.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

/* Limits of the element with room for its error. Accepted -2..103 % and -40..85 degC, the span data
 * sheets of capacitive polymer elements give; from memory. */
enum { RH_MIN_CPCT = -200, RH_MAX_CPCT = 10300, TEMP_MIN_CDEGC = -4000, TEMP_MAX_CDEGC = 8500 };

/* Bus faults that fall inside the limits. All others (-127, -46.85, -45, 125, 130 degC, -6, 118,
 * 255 %) lie outside them.
 * 85.00 degC: power-on value of 1-wire thermometers; from memory, and no room is that warm.
 * -40.00 degC with 0 %: raw zero of elements that span -40..125 degC; computed. */
enum { POWER_ON_CDEGC = 8500, RAW_ZERO_CDEGC = -4000 };

/* A spike; from memory: breath or a hand gives 10..30 % RH and 1..3 K, so 25 % and 10 K drop faults
 * and the worst of handling and keep what opening a case does. */
enum { JUMP_RH_CPCT = 2500, JUMP_TEMP_CDEGC = 1000 };

/* What a run of equal readings must be to count as stuck. */
struct stuck_rule {
	int64_t span_s;
	size_t members;
	bool first_believed; /* the first of the run may have been true */
};

/* Flat line: suspect when alone for 24 h; from memory. Twice that where little resolution makes
 * equal readings likely in steady air: no temperature, or whole degrees beside whole percents;
 * judgement. */
static const struct stuck_rule flat_fine = { INT64_C(24) * 3600, 12, true };
static const struct stuck_rule flat_coarse = { INT64_C(48) * 3600, 12, true };
/* Open or shorted element: three readings at an end of the scale; from memory. */
static const struct stuck_rule at_end = { 0, 3, false };

static bool out_of_range(const struct quality_reading *r)
{
	if (r->rh_cpct < RH_MIN_CPCT || r->rh_cpct > RH_MAX_CPCT)
		return true;
	if (r->temp_cdegc == QUALITY_NO_TEMP)
		return false;
	return r->temp_cdegc < TEMP_MIN_CDEGC || r->temp_cdegc > TEMP_MAX_CDEGC ||
	       r->temp_cdegc == POWER_ON_CDEGC ||
	       (r->temp_cdegc == RAW_ZERO_CDEGC && r->rh_cpct == 0);
}

static bool neighbour(const struct quality_reading *r)
{
	return !(r->flags & QUALITY_ALONE);
}

typedef int32_t quantity(const struct quality_reading *r); /* QUALITY_NO_TEMP: has none */

static int32_t rh_of(const struct quality_reading *r)
{
	return r->rh_cpct;
}

static int32_t temp_of(const struct quality_reading *r)
{
	return r->temp_cdegc;
}

/* The nearest values before r[i] (step -1) or after it (step 1); the count. */
static size_t beside(const struct quality_reading *r, size_t n, size_t i, int step, quantity *get,
	int32_t *values)
{
	size_t found = 0;
	/* Unsigned wrap below 0 ends the walk like passing n. */
	for (size_t k = i + (size_t)step; k < n && found < QUALITY_BESIDE; k += (size_t)step) {
		int64_t away_s = step < 0 ? r[i].t_s - r[k].t_s : r[k].t_s - r[i].t_s;
		if (away_s > QUALITY_NEAR_S)
			break;
		if (neighbour(&r[k]) && get(&r[k]) != QUALITY_NO_TEMP)
			values[found++] = get(&r[k]);
	}
	return found;
}

static void sort(int32_t *v, size_t n)
{
	for (size_t i = 1; i < n; i++) {
		for (size_t k = i; k > 0 && v[k - 1] > v[k]; k--) {
			int32_t swap = v[k];
			v[k] = v[k - 1];
			v[k - 1] = swap;
		}
	}
}

/* Method: as many neighbours before as after, sorted; the two in the middle bound the median. A
 * spike lies more than limit outside them. In a step that lasts and in any steady rise or fall the
 * reading itself lies between the two, so those are never flagged. */
static bool is_jump(
	const struct quality_reading *r, size_t n, size_t i, quantity *get, int32_t limit)
{
	int32_t before[QUALITY_BESIDE], v[2 * QUALITY_BESIDE];
	int32_t value = get(&r[i]);
	if (value == QUALITY_NO_TEMP)
		return false;
	size_t pairs = beside(r, n, i, -1, get, before);
	size_t after = beside(r, n, i, 1, get, v);
	if (after < pairs)
		pairs = after;
	if (pairs == 0)
		return false;
	memcpy(v + pairs, before, pairs * sizeof v[0]);
	sort(v, 2 * pairs);
	return value < v[pairs - 1] - limit || value > v[pairs] + limit;
}

static size_t next(const struct quality_reading *r, size_t n, size_t i)
{
	while (i < n && !neighbour(&r[i]))
		i++;
	return i;
}

/* The run r[start..end): for each member, the part of the run within QUALITY_CONTEXT_S of it. */
static void judge_run(
	struct quality_reading *r, size_t start, size_t end, const struct stuck_rule *rule)
{
	size_t low = start, high = start, members = 1, k = next(r, end, start + 1);
	for (size_t i = start; i < end; i = next(r, end, i + 1)) {
		while (r[low].t_s < r[i].t_s - QUALITY_CONTEXT_S) {
			low = next(r, end, low + 1);
			members--;
		}
		while (k < end && r[k].t_s <= r[i].t_s + QUALITY_CONTEXT_S) {
			high = k;
			members++;
			k = next(r, end, k + 1);
		}
		if (members >= rule->members && r[high].t_s - r[low].t_s >= rule->span_s &&
			!(rule->first_believed && low == i))
			r[i].flags |= QUALITY_STUCK;
	}
}

static const struct stuck_rule *flat_rule(const struct quality_reading *r)
{
	bool whole = r->rh_cpct % 100 == 0 && r->temp_cdegc % 100 == 0;
	return whole || r->temp_cdegc == QUALITY_NO_TEMP ? &flat_coarse : &flat_fine;
}

static const struct stuck_rule *end_rule(const struct quality_reading *r)
{
	return r->rh_cpct == 0 || r->rh_cpct == 9990 || r->rh_cpct == 10000 ? &at_end : NULL;
}

static bool same_both(const struct quality_reading *a, const struct quality_reading *b)
{
	return a->rh_cpct == b->rh_cpct && a->temp_cdegc == b->temp_cdegc;
}

static bool same_rh(const struct quality_reading *a, const struct quality_reading *b)
{
	return a->rh_cpct == b->rh_cpct;
}

static void judge_runs(struct quality_reading *r, size_t n,
	bool same(const struct quality_reading *, const struct quality_reading *),
	const struct stuck_rule *rule_of(const struct quality_reading *))
{
	for (size_t start = next(r, n, 0), end; start < n; start = end) {
		size_t members = 1;
		for (end = next(r, n, start + 1); end < n && same(&r[start], &r[end]); members++)
			end = next(r, n, end + 1);
		const struct stuck_rule *rule = rule_of(&r[start]);
		if (rule && members >= rule->members)
			judge_run(r, start, end, rule);
	}
}

void quality_judge(struct quality_reading *r, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		r[i].flags &= QUALITY_FUTURE;
		if (out_of_range(&r[i]))
			r[i].flags |= QUALITY_RANGE;
	}
	for (size_t i = next(r, n, 0); i < n; i = next(r, n, i + 1)) {
		if (is_jump(r, n, i, rh_of, JUMP_RH_CPCT) ||
			is_jump(r, n, i, temp_of, JUMP_TEMP_CDEGC))
			r[i].flags |= QUALITY_JUMP;
	}
	judge_runs(r, n, same_both, flat_rule);
	judge_runs(r, n, same_rh, end_rule);
}

void quality_words(char *buf, size_t n, uint32_t flags)
{
	static const struct {
		uint32_t flag;
		const char *word;
	} words[] = {
		{ QUALITY_RANGE, "out of range" },
		{ QUALITY_FUTURE, "from the future" },
		{ QUALITY_JUMP, "spike" },
		{ QUALITY_STUCK, "stuck" },
	};
	if (n == 0)
		return;
	buf[0] = '\0';
	size_t used = 0;
	for (size_t i = 0; i < sizeof words / sizeof words[0] && used < n; i++) {
		if (flags & words[i].flag)
			used += (size_t)snprintf(
				buf + used, n - used, "%s%s", used ? ", " : "", words[i].word);
	}
}
