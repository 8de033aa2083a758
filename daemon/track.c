#include "daemon/track.h"

#include <math.h>

#include "core/mem.h"
#include "core/sorption.h"
#include "daemon/state.h"

enum { CHUNK = 1024 };

/* One sensor being read: its checks, and who takes what it says of an hour. */
struct reader {
	struct store *store;
	const struct track_sensor *sensor;
	struct salt_check *checks;
	size_t n_checks;
	int64_t from; /* hour 0 of what arg points at */
	void *arg;
	void (*take)(void *arg, int64_t i, const struct agree_said *said);
};

static struct agree_said said_of(const struct reader *r, const struct store_sum *row)
{
	struct salt_correction c =
		salt_at(r->checks, r->n_checks, row->at * HOUR_S, r->sensor->accuracy_pct);
	double rh_pct = (double)row->rh_sum / (double)row->n / 100;
	return (struct agree_said){
		.rh_pct = r->n_checks ? salt_apply(&c, rh_pct) : rh_pct,
		.t_degc = row->temp_n > 0 ? (double)row->temp_sum / (double)row->temp_n / 100
					  : (double)NAN,
		.sd_pct = c.u_pct,
	};
}

static enum rc read_rows(const struct reader *r, int64_t from, int64_t to, struct err *err)
{
	struct store_sum rows[CHUNK];
	size_t n = CHUNK;
	enum rc rc = RC_OK;
	for (int64_t at = from; rc == RC_OK && n == CHUNK && at < to;) {
		rc = store_hours(r->store, r->sensor->id, at, to, rows, CHUNK, &n, err);
		for (size_t i = 0; rc == RC_OK && i < n; i++) {
			if (rows[i].n <= 0)
				continue;
			struct agree_said said = said_of(r, &rows[i]);
			r->take(r->arg, rows[i].at - r->from, &said);
		}
		if (rc == RC_OK && n > 0)
			at = rows[n - 1].at + 1;
	}
	return rc;
}

/* from and to: which hours; r->from is what they are counted from. */
static enum rc read_sensor(struct reader *r, int64_t from, int64_t to, bool raw, struct err *err)
{
	enum rc rc =
		raw ? RC_OK : store_checks(r->store, r->sensor->id, &r->checks, &r->n_checks, err);
	if (rc == RC_OK)
		rc = read_rows(r, from, to, err);
	mem_free(r->checks);
	r->checks = NULL;
	return rc;
}

static void keep_said(void *arg, int64_t i, const struct agree_said *said)
{
	((struct agree_said *)arg)[i] = *said;
}

enum rc track_said(struct store *s, const struct track_sensor *sensor, bool raw, int64_t from,
	int64_t to, struct agree_said *said, struct err *err)
{
	for (int64_t i = 0; i < to - from; i++)
		said[i] = (struct agree_said){ (double)NAN, (double)NAN, (double)NAN };
	struct reader r = {
		.store = s, .sensor = sensor, .from = from, .arg = said, .take = keep_said
	};
	return read_sensor(&r, from, to, raw, err);
}

/* Sums of one hour: of the place's sensors, and of its room's. */
struct sums {
	struct agree_sum own, room;
};

static void add_own(void *arg, int64_t i, const struct agree_said *said)
{
	agree_add(&((struct sums *)arg)[i].own, said);
}

static void add_room(void *arg, int64_t i, const struct agree_said *said)
{
	agree_add(&((struct sums *)arg)[i].room, said);
}

static enum rc read_source(struct store *s, const struct track_source *source, int64_t from,
	int64_t to, struct sums *sums, struct err *err)
{
	struct reader r = { .store = s, .from = from, .arg = sums, .take = add_own };
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < source->n; i++) {
		r.sensor = &source->at[i];
		rc = read_sensor(&r, from, to, false, err);
	}
	bool lacks = false;
	for (int64_t i = 0; i < to - from; i++)
		lacks = lacks || (sums[i].own.n > 0 && sums[i].own.n_t == 0);
	r.take = add_room;
	for (size_t i = 0; rc == RC_OK && lacks && i < source->n_room; i++) {
		r.sensor = &source->room[i];
		rc = read_sensor(&r, from, to, false, err);
	}
	return rc;
}

static struct track_hour mean_of(const struct sums *sums)
{
	if (sums->own.n == 0)
		return (struct track_hour){ .mark = TRACK_NONE };
	double t_degc = agree_t_degc(sums->own.n_t ? &sums->own : &sums->room);
	bool assumed = isnan(t_degc);
	if (assumed)
		t_degc = TRACK_ASSUMED_DEGC;
	return (struct track_hour){
		.rh_pct = agree_rh_pct(&sums->own, t_degc),
		.t_degc = t_degc,
		.mark = TRACK_KNOWN,
		.t_assumed = assumed,
	};
}

/* The last hour before `hour` in which any of the place's sensors spoke, or the first from it on; TIME_NEVER: none. */
static enum rc known_hour(struct store *s, const struct track_source *source, int64_t hour,
	bool before, int64_t *found, struct err *err)
{
	int64_t best = TIME_NEVER;
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < source->n; i++) {
		int64_t h = TIME_NEVER;
		rc = before ? state_known_hour_before(s, source->at[i].id, hour, &h, err)
			    : state_known_hour_from(s, source->at[i].id, hour, &h, err);
		bool nearer = best == TIME_NEVER || (before ? h > best : h < best);
		if (rc == RC_OK && h != TIME_NEVER && nearer)
			best = h;
	}
	*found = best;
	return rc;
}

/* The nearest known hour of any sensor outside the track, and its air. */
static enum rc neighbour(struct store *s, const struct track_source *source, int64_t hour,
	bool before, int64_t *found, struct track_hour *air, struct err *err)
{
	struct sums sums = { 0 };
	enum rc rc = known_hour(s, source, hour, before, found, err);
	if (rc == RC_OK && *found != TIME_NEVER)
		rc = read_source(s, source, *found, *found + 1, &sums, err);
	*air = mean_of(&sums);
	return rc;
}

enum rc track_borrows_from(struct store *s, const struct track_source *source, int64_t hour,
	int64_t *known, struct err *err)
{
	int64_t first = TIME_NEVER;
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < source->n; i++) {
		int64_t h = TIME_NEVER;
		rc = state_bare_hour_from(s, source->at[i].id, hour, &h, err);
		first = h < first ? h : first;
	}
	*known = TIME_NEVER;
	if (rc != RC_OK || first == TIME_NEVER)
		return rc;
	rc = known_hour(s, source, first, true, known, err);
	if (*known == TIME_NEVER)
		*known = INT64_MIN;
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
		.t_assumed = a->t_assumed && b->t_assumed,
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

enum rc track_load(struct store *s, const struct track_source *source, int64_t from, int64_t to,
	struct track *out, struct err *err)
{
	size_t n = to > from ? (size_t)(to - from) : 0;
	struct sums *sums = mem_new(n, sizeof *sums);
	struct track t = { .from = from, .n = n, .at = mem_new(n, sizeof *t.at) };
	enum rc rc = sums && t.at ? RC_OK
				  : err_set(err, RC_MEM,
					    "air of a place: out of memory for %zu hours", n);
	if (rc == RC_OK)
		rc = read_source(s, source, from, from + (int64_t)n, sums, err);
	int64_t before = TIME_NEVER, after = TIME_NEVER;
	struct track_hour left = { 0 }, right = { 0 };
	if (rc == RC_OK)
		rc = neighbour(s, source, from, true, &before, &left, err);
	if (rc == RC_OK)
		rc = neighbour(s, source, to, false, &after, &right, err);
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
