#include "daemon/track.h"

#include "core/mem.h"
#include "core/sorption.h"
#include "daemon/state.h"

enum { CHUNK = 1024 };

/* Sums over the sensors of one hour while loading. */
struct sums {
	double rh_pct, t_degc;
	int n, n_t;
};

static void add_row(struct sums *sum, const struct store_sum *row)
{
	if (row->n <= 0)
		return;
	sum->rh_pct += (double)row->rh_sum / (double)row->n / 100;
	sum->n++;
	if (row->temp_n > 0) {
		sum->t_degc += (double)row->temp_sum / (double)row->temp_n / 100;
		sum->n_t++;
	}
}

static enum rc load_sensor(struct store *s, int64_t sensor, int64_t from, int64_t to,
	struct sums *sums, struct err *err)
{
	struct store_sum rows[CHUNK];
	size_t n = CHUNK;
	enum rc rc = RC_OK;
	for (int64_t at = from; rc == RC_OK && n == CHUNK && at < to;) {
		rc = store_hours(s, sensor, at, to, rows, CHUNK, &n, err);
		for (size_t i = 0; rc == RC_OK && i < n; i++)
			add_row(&sums[rows[i].at - from], &rows[i]);
		if (rc == RC_OK && n > 0)
			at = rows[n - 1].at + 1;
	}
	return rc;
}

static struct track_hour mean_of(const struct sums *sum)
{
	if (sum->n == 0)
		return (struct track_hour){ .mark = TRACK_NONE };
	double t_degc = sum->n_t ? sum->t_degc / sum->n_t : TRACK_ASSUMED_DEGC;
	return (struct track_hour){
		.rh_pct = sum->rh_pct / sum->n, .t_degc = t_degc, .mark = TRACK_KNOWN
	};
}

/* The nearest known hour of any sensor outside the track, and its air. */
static enum rc neighbour(struct store *s, const int64_t *sensors, size_t n, int64_t hour,
	bool before, int64_t *found, struct track_hour *air, struct err *err)
{
	int64_t best = TIME_NEVER;
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < n; i++) {
		int64_t h = TIME_NEVER;
		rc = before ? state_known_hour_before(s, sensors[i], hour, &h, err)
			    : state_known_hour_from(s, sensors[i], hour, &h, err);
		bool nearer = best == TIME_NEVER || (before ? h > best : h < best);
		if (rc == RC_OK && h != TIME_NEVER && nearer)
			best = h;
	}
	struct sums sum = { 0 };
	for (size_t i = 0; rc == RC_OK && best != TIME_NEVER && i < n; i++)
		rc = load_sensor(s, sensors[i], best, best + 1, &sum, err);
	*found = best;
	*air = mean_of(&sum);
	return rc;
}

/* The air at hour on the line from a (known at hour ha) to b (known at hb). */
static struct track_hour between(const struct track_hour *a, int64_t ha, const struct track_hour *b,
	int64_t hb, int64_t hour)
{
	double w = (double)(hour - ha) / (double)(hb - ha);
	return (struct track_hour){
		.rh_pct = a->rh_pct + w * (b->rh_pct - a->rh_pct),
		.t_degc = a->t_degc + w * (b->t_degc - a->t_degc),
		.mark = TRACK_BRIDGED,
	};
}

/* Bridges the gaps; before and after are the known neighbours outside (TIME_NEVER: none). */
static void bridge(struct track *t, int64_t before, struct track_hour left, int64_t after,
	const struct track_hour *right)
{
	for (size_t i = 0; i < t->n;) {
		int64_t hour = t->from + (int64_t)i;
		if (t->at[i].mark == TRACK_KNOWN) {
			before = hour;
			left = t->at[i++];
			continue;
		}
		size_t next = i;
		while (next < t->n && t->at[next].mark != TRACK_KNOWN)
			next++;
		const struct track_hour *to = next < t->n ? &t->at[next] : right;
		int64_t to_hour = next < t->n ? t->from + (int64_t)next : after;
		for (; i < next; i++, hour++) {
			if (before == TIME_NEVER)
				continue;
			t->at[i] = to_hour == TIME_NEVER
					   ? left
					   : between(&left, before, to, to_hour, hour);
			if (to_hour == TIME_NEVER)
				t->at[i].mark = TRACK_HELD;
		}
	}
	t->last = before;
}

enum rc track_load(struct store *s, const int64_t *sensors, size_t n_sensors, int64_t from,
	int64_t to, struct track *out, struct err *err)
{
	size_t n = to > from ? (size_t)(to - from) : 0;
	struct sums *sums = mem_new(n, sizeof *sums);
	struct track t = { .from = from, .n = n, .at = mem_new(n, sizeof *t.at) };
	enum rc rc = sums && t.at ? RC_OK
				  : err_set(err, RC_MEM,
					    "air of a place: out of memory for %zu hours", n);
	for (size_t i = 0; rc == RC_OK && i < n_sensors; i++)
		rc = load_sensor(s, sensors[i], from, to, sums, err);
	int64_t before = TIME_NEVER, after = TIME_NEVER;
	struct track_hour left = { 0 }, right = { 0 };
	if (rc == RC_OK)
		rc = neighbour(s, sensors, n_sensors, from, true, &before, &left, err);
	if (rc == RC_OK)
		rc = neighbour(s, sensors, n_sensors, to, false, &after, &right, err);
	if (rc == RC_OK) {
		for (size_t i = 0; i < n; i++)
			t.at[i] = mean_of(&sums[i]);
		bridge(&t, before, left, after, &right);
		for (size_t i = 0; i < n; i++)
			t.at[i].eq_mc_pct = sorption_mc_pct(t.at[i].t_degc, t.at[i].rh_pct / 100);
		*out = t;
	} else {
		mem_free(t.at);
	}
	mem_free(sums);
	return rc;
}

void track_done(struct track *t)
{
	mem_free(t->at);
	*t = (struct track){ 0 };
}
