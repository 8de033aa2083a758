#include "tests/unit/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/store_int.h"

#define NONE QUALITY_NO_TEMP
#define NOW INT64_C(1700000000)
#define LATER INT64_C(4000000000) /* a clock after every reading */

struct fixture {
	char *folder;
	struct store *s;
	struct zone *zone;
	int64_t sensor;
};

static int set_up(void **state)
{
	struct fixture *f = calloc(1, sizeof *f);
	struct err err = { 0 };
	f->folder = support_folder();
	OK(store_open(support_path(f->folder, "s.db"), STORE_REPLAY, &f->s, &err), &err);
	OK(zone_new("Australia/Lord_Howe", &f->zone, &err),
		&err); /* clock change of half an hour */
	OK(store_sensor(f->s, "bench", f->zone, &f->sensor, &err), &err);
	*state = f;
	return 0;
}

static int tear_down(void **state)
{
	struct fixture *f = *state;
	store_close(f->s);
	zone_free(f->zone);
	support_folder_remove(f->folder);
	free(f);
	return 0;
}

static struct store_count put(struct fixture *f, const struct quality_reading *r, size_t n)
{
	struct err err = { 0 };
	struct store_count count = { 0 };
	OK(store_begin(f->s, &err), &err);
	OK(store_readings(f->s, f->sensor, r, n, LATER, NULL, NULL, &count, &err), &err);
	OK(store_commit(f->s, &err), &err);
	return count;
}

static size_t raw(struct fixture *f, struct quality_reading *rows, size_t max)
{
	struct err err = { 0 };
	size_t n = 0;
	OK(store_raw(f->s, f->sensor, INT64_MIN, INT64_MAX, rows, max, &n, &err), &err);
	return n;
}

/* ---- the law: content decides, not the order of coming ---- */

enum { SERIES = 3000, SUMS = 20000 };

struct law {
	struct quality_reading r[SERIES]; /* judged as a whole: what must come out */
	size_t n;
	struct quality_reading sent[2 * SERIES];
	size_t sent_n;
};

static struct quality_reading one(int64_t t_s, uint64_t *seed)
{
	int32_t rh = 3000 + (int32_t)(support_random(seed) % 4000);
	int32_t temp =
		support_random(seed) % 5 ? 1800 + (int32_t)(support_random(seed) % 700) : NONE;
	return (struct quality_reading){ t_s, rh, temp, 0 };
}

/* Runs, spikes, ends of the scale, bus faults, gaps, single readings; some after the clock. */
static void series(struct law *law, uint64_t *seed)
{
	int64_t t_s = NOW - (int64_t)(support_random(seed) % 4) * 200 * DAY_S;
	law->n = 0;
	while (law->n < SERIES - 200) {
		struct quality_reading base = one(t_s, seed);
		size_t run = support_random(seed) % 12 ? 1 : 1 + support_random(seed) % 190;
		int64_t step_s = 1 + (int64_t)(support_random(seed) % 3500);
		if (support_random(seed) % 40 == 0)
			base.rh_cpct = 9990, run = 1 + support_random(seed) % 5;
		for (size_t k = 0; k < run; k++) {
			t_s += step_s;
			struct quality_reading r = base;
			r.t_s = t_s;
			uint64_t odd = support_random(seed) % 150;
			if (odd == 0)
				r.temp_cdegc = 8500;
			else if (odd == 1)
				r.rh_cpct = 9800;
			law->r[law->n++] = r;
		}
		if (support_random(seed) % 100 == 0)
			t_s += (int64_t)(support_random(seed) % (120 * 3600));
	}
}

/* Every reading once and some twice; out of order as a whole, by blocks, or hardly. */
static void shuffle(struct law *law, uint64_t *seed)
{
	law->sent_n = 0;
	for (size_t i = 0; i < law->n; i++) {
		law->sent[law->sent_n++] = law->r[i];
		law->sent[law->sent_n - 1].flags = 0;
		if (support_random(seed) % 4 == 0) {
			law->sent[law->sent_n] = law->sent[law->sent_n - 1];
			law->sent_n++;
		}
	}
	static const size_t reach[] = { 1, 3, 50, 2 * SERIES };
	size_t far = reach[support_random(seed) % COUNT(reach)];
	for (size_t i = 0; i < law->sent_n; i++) {
		size_t k = i + support_random(seed) % far;
		if (k >= law->sent_n)
			k = law->sent_n - 1;
		struct quality_reading swap = law->sent[i];
		law->sent[i] = law->sent[k];
		law->sent[k] = swap;
	}
}

static void send(struct fixture *f, const struct law *law, int64_t now_s, uint64_t *seed)
{
	struct err err = { 0 };
	struct store_count count = { 0 };
	size_t most = support_random(seed) % 2 ? 2000 : 20;
	for (size_t i = 0; i < law->sent_n;) {
		size_t n = 1 + support_random(seed) % most;
		if (n > law->sent_n - i)
			n = law->sent_n - i;
		OK(store_begin(f->s, &err), &err);
		OK(store_readings(
			   f->s, f->sensor, law->sent + i, n, now_s, NULL, NULL, &count, &err),
			&err);
		OK(store_commit(f->s, &err), &err);
		i += n;
	}
	assert_int_equal(count.stored, law->n);
	assert_int_equal(count.known, law->sent_n - law->n);
	assert_int_equal(count.differs, 0);
}

static int64_t day_of(const struct fixture *f, int64_t t_s)
{
	return zone_day(f->zone, t_s);
}

static int64_t hour_of(const struct fixture *f, int64_t t_s)
{
	(void)f;
	return civil_floor(t_s, HOUR_S);
}

/* Plainly: over all readings, for each. */
static size_t expected_sums(const struct fixture *f, const struct law *law,
	int64_t at_of(const struct fixture *, int64_t), struct store_sum *sums)
{
	size_t n = 0;
	for (size_t i = 0; i < law->n; i++) {
		const struct quality_reading *r = &law->r[i];
		if (r->flags)
			continue;
		int64_t at = at_of(f, r->t_s);
		if (n == 0 || sums[n - 1].at != at)
			sums[n++] = (struct store_sum){
				.at = at, .rh_min = INT32_MAX, .rh_max = INT32_MIN
			};
		struct store_sum *x = &sums[n - 1];
		x->n++;
		x->rh_sum += r->rh_cpct;
		x->rh_min = r->rh_cpct < x->rh_min ? r->rh_cpct : x->rh_min;
		x->rh_max = r->rh_cpct > x->rh_max ? r->rh_cpct : x->rh_max;
		if (r->temp_cdegc == NONE)
			continue;
		x->temp_min =
			x->temp_n == 0 || r->temp_cdegc < x->temp_min ? r->temp_cdegc : x->temp_min;
		x->temp_max =
			x->temp_n == 0 || r->temp_cdegc > x->temp_max ? r->temp_cdegc : x->temp_max;
		x->temp_n++;
		x->temp_sum += r->temp_cdegc;
	}
	return n;
}

static void same_sums(
	const struct store_sum *got, size_t n, const struct store_sum *want, size_t want_n)
{
	assert_int_equal(n, want_n);
	for (size_t i = 0; i < n; i++) {
		assert_int_equal(got[i].at, want[i].at);
		assert_int_equal(got[i].n, want[i].n);
		assert_int_equal(got[i].rh_sum, want[i].rh_sum);
		assert_int_equal(got[i].rh_min, want[i].rh_min);
		assert_int_equal(got[i].rh_max, want[i].rh_max);
		assert_int_equal(got[i].temp_n, want[i].temp_n);
		assert_int_equal(got[i].temp_sum, want[i].temp_sum);
		assert_int_equal(got[i].temp_min, want[i].temp_min);
		assert_int_equal(got[i].temp_max, want[i].temp_max);
	}
}

static void check_sums(struct fixture *f, const struct law *law)
{
	static struct store_sum got[SUMS], want[SUMS];
	struct err err = { 0 };
	size_t n = 0;
	OK(store_hours(f->s, f->sensor, INT64_MIN, INT64_MAX, got, SUMS, &n, &err), &err);
	same_sums(got, n, want, expected_sums(f, law, hour_of, want));
	OK(store_days(f->s, f->sensor, INT64_MIN, INT64_MAX, got, SUMS, &n, &err), &err);
	same_sums(got, n, want, expected_sums(f, law, day_of, want));
}

static void check_law(struct fixture *f, const struct law *law)
{
	static struct quality_reading got[SERIES];
	assert_int_equal(raw(f, got, SERIES), law->n);
	for (size_t i = 0; i < law->n; i++) {
		assert_int_equal(got[i].t_s, law->r[i].t_s);
		assert_int_equal(got[i].rh_cpct, law->r[i].rh_cpct);
		assert_int_equal(got[i].temp_cdegc, law->r[i].temp_cdegc);
		assert_int_equal(got[i].flags, law->r[i].flags);
	}
	check_sums(f, law);
}

static void any_order_and_split_gives_the_same_flags_hours_and_days(void **state)
{
	struct fixture *f = *state;
	static struct law law;
	uint64_t seed = support_seed();
	size_t flagged[9] = { 0 };
	for (int round = 0; round < 40; round++) {
		char name[32];
		struct err err = { 0 };
		(void)snprintf(name, sizeof name, "round-%d", round);
		OK(store_sensor(f->s, name, f->zone, &f->sensor, &err), &err);
		series(&law, &seed);
		int64_t now_s = law.r[law.n - 10].t_s;
		for (size_t i = 0; i < law.n; i++)
			law.r[i].flags = law.r[i].t_s > now_s + 300 ? QUALITY_FUTURE : 0;
		quality_judge(law.r, law.n);
		for (size_t i = 0; i < law.n; i++)
			flagged[law.r[i].flags & 8]++, flagged[law.r[i].flags & 4]++;
		shuffle(&law, &seed);
		send(f, &law, now_s, &seed);
		check_law(f, &law);
	}
	assert_true(flagged[4] > 100 && flagged[8] > 1000);
}

static void a_rebuild_for_another_zone_gives_what_that_zone_would_have_had(void **state)
{
	struct fixture *f = *state;
	static struct law law;
	struct err err = { 0 };
	uint64_t seed = support_seed();
	series(&law, &seed);
	quality_judge(law.r, law.n);
	shuffle(&law, &seed);
	send(f, &law, LATER, &seed);
	zone_free(f->zone);
	OK(zone_new("Asia/Kathmandu", &f->zone, &err), &err);
	int64_t again = 0;
	OK(store_sensor(f->s, "bench", f->zone, &again, &err), &err);
	assert_int_equal(again, f->sensor);
	check_law(f, &law);
}

/* ---- single cases ---- */

struct heard {
	int64_t t_s[8];
	size_t n;
};

static void hear(void *arg, int64_t t_s)
{
	struct heard *h = arg;
	h->t_s[h->n++] = t_s;
}

static void the_first_values_of_a_second_are_kept_and_others_told(void **state)
{
	struct fixture *f = *state;
	struct err err = { 0 };
	struct heard heard = { 0 };
	struct store_count count = { 0 };
	const struct quality_reading first[] = {
		{ 1000, 4100, 2000, 0 },
		{ 700, 4000, 2000, 0 },
		{ 1000, 4101, 2000, 0 },
		{ 700, 4000, 2000, 0 },
		{ 1000, 4100, NONE, 0 },
	};
	OK(store_begin(f->s, &err), &err);
	OK(store_readings(f->s, f->sensor, first, 5, LATER, hear, &heard, &count, &err), &err);
	const struct quality_reading again[] = { { 1000, 4200, 2000, 0 }, { 700, 4000, 2000, 0 },
		{ 1300, 4000, 2000, 0 } };
	OK(store_readings(f->s, f->sensor, again, 3, LATER, hear, &heard, &count, &err), &err);
	OK(store_commit(f->s, &err), &err);
	assert_int_equal(count.stored, 3);
	assert_int_equal(count.known, 2);
	assert_int_equal(count.differs, 3);
	assert_int_equal(heard.n, 3);
	assert_int_equal(heard.t_s[0], 1000);
	struct quality_reading rows[4];
	assert_int_equal(raw(f, rows, 4), 3);
	assert_int_equal(rows[1].rh_cpct, 4100);
	assert_int_equal(rows[1].temp_cdegc, 2000);
}

static void a_reading_from_the_future_stays_one(void **state)
{
	struct fixture *f = *state;
	struct err err = { 0 };
	struct store_count count = { 0 };
	const struct quality_reading r[] = { { NOW + 300, 4000, 2000, 0 },
		{ NOW + 301, 4100, 2000, 0 } };
	OK(store_begin(f->s, &err), &err);
	OK(store_readings(f->s, f->sensor, r, 2, NOW, NULL, NULL, &count, &err), &err);
	assert_int_equal(count.flagged, 1);
	OK(store_readings(f->s, f->sensor, r, 2, NOW + DAY_S, NULL, NULL, &count, &err), &err);
	OK(store_commit(f->s, &err), &err);
	assert_int_equal(count.known, 2);
	struct quality_reading rows[2];
	assert_int_equal(raw(f, rows, 2), 2);
	assert_int_equal(rows[0].flags, 0);
	assert_int_equal(rows[1].flags, QUALITY_FUTURE);
}

static int64_t dirty(struct fixture *f)
{
	struct err err = { 0 };
	int64_t hour = 0;
	OK(store_dirty_hour(f->s, f->sensor, &hour, &err), &err);
	return hour;
}

static void clean(struct fixture *f)
{
	struct err err = { 0 };
	OK(store_clear_dirty(f->s, f->sensor, &err), &err);
	assert_true(dirty(f) == TIME_NEVER);
}

static void the_dirty_mark_is_the_first_hour_whose_sums_changed(void **state)
{
	struct fixture *f = *state;
	int64_t hour = NOW / 3600;
	assert_true(dirty(f) == TIME_NEVER);
	struct quality_reading r = { hour * 3600 + 60, 4000, 2000, 0 };
	(void)put(f, &r, 1);
	assert_int_equal(dirty(f), hour);
	r.t_s -= 7200;
	(void)put(f, &r, 1);
	assert_int_equal(dirty(f), hour - 2);
	r.t_s += 2 * 7200;
	(void)put(f, &r, 1);
	assert_int_equal(dirty(f), hour - 2);
	clean(f);
	(void)put(f, &r, 1); /* known: nothing changes */
	assert_true(dirty(f) == TIME_NEVER);
	r = (struct quality_reading){ r.t_s + 60, 25500, 2000, 0 };
	(void)put(f, &r, 1); /* flagged: no sum changes */
	assert_true(dirty(f) == TIME_NEVER);
}

static void a_reading_that_makes_an_older_one_a_spike_dirties_its_hour(void **state)
{
	struct fixture *f = *state;
	int64_t hour = NOW / 3600;
	struct quality_reading r[] = { { (hour - 1) * 3600, 4000, NONE, 0 },
		{ hour * 3600, 9000, NONE, 0 }, { (hour + 1) * 3600, 4000, NONE, 0 } };
	(void)put(f, r, 2);
	clean(f);
	struct store_count count = put(f, r + 2, 1);
	assert_int_equal(count.flagged, 0);
	assert_int_equal(dirty(f), hour);
	struct store_sum sums[4];
	struct err err = { 0 };
	size_t n = 0;
	OK(store_hours(f->s, f->sensor, hour, hour + 1, sums, 4, &n, &err), &err);
	assert_int_equal(n, 0);
}

static void spans_are_of_believed_readings_up_to_a_time(void **state)
{
	struct fixture *f = *state;
	static const struct quality_reading r[] = {
		{ 3600, 25500, NONE, 0 },
		{ 4000, 4000, NONE, 0 },
		{ 90000, 4100, NONE, 0 },
		{ 90010, 25500, NONE, 0 },
		{ 999999, 25500, NONE, 0 },
	};
	(void)put(f, r, COUNT(r));
	static const struct {
		int64_t upto, first, last;
	} rows[] = {
		{ -1, TIME_NEVER, TIME_NEVER },
		{ 3999, TIME_NEVER, TIME_NEVER },
		{ 4000, 4000, 4000 },
		{ 89999, 4000, 4000 },
		{ 90000, 4000, 90000 },
		{ 2000000, 4000, 90000 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct err err = { 0 };
		int64_t first = 0, last = 0;
		OK(store_span(f->s, f->sensor, rows[i].upto, &first, &last, &err), &err);
		assert_true(first == rows[i].first && last == rows[i].last);
	}
}

static void times_before_1970_have_hours_and_days_too(void **state)
{
	struct fixture *f = *state;
	struct quality_reading r = { -1, 4000, 2000, 0 };
	(void)put(f, &r, 1);
	struct store_sum sum;
	struct err err = { 0 };
	size_t n = 0;
	OK(store_hours(f->s, f->sensor, -5, 5, &sum, 1, &n, &err), &err);
	assert_int_equal(n, 1);
	assert_int_equal(sum.at, -1);
}

static void unknown_sensors_and_great_batches_are_refused(void **state)
{
	struct fixture *f = *state;
	struct err err = { 0 };
	int64_t id = 77;
	assert_int_equal(store_sensor_find(f->s, "nobody", &id, &err), RC_UNKNOWN);
	assert_int_equal(id, 77);
	OK(store_sensor_find(f->s, "bench", &id, NULL), NULL);
	assert_int_equal(id, f->sensor);
	struct store_count count = { 0 };
	struct quality_reading r = { 0, 4000, 2000, 0 };
	struct err other = { 0 };
	OK(store_begin(f->s, &err), &err);
	assert_int_equal(
		store_readings(f->s, f->sensor + 1, &r, 1, LATER, NULL, NULL, &count, &other),
		RC_UNKNOWN);
	struct err third = { 0 };
	assert_int_equal(store_readings(f->s, f->sensor, &r, (size_t)STORE_BATCH_MAX + 1, LATER,
				 NULL, NULL, &count, &third),
		RC_INPUT);
	store_rollback(f->s);
	assert_int_equal(count.stored, 0);
	assert_int_equal(raw(f, &r, 1), 0);
}

#define EACH(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)

int main(void)
{
	const struct CMUnitTest tests[] = {
		EACH(any_order_and_split_gives_the_same_flags_hours_and_days),
		EACH(a_rebuild_for_another_zone_gives_what_that_zone_would_have_had),
		EACH(the_first_values_of_a_second_are_kept_and_others_told),
		EACH(a_reading_from_the_future_stays_one),
		EACH(the_dirty_mark_is_the_first_hour_whose_sums_changed),
		EACH(a_reading_that_makes_an_older_one_a_spike_dirties_its_hour),
		EACH(spans_are_of_believed_readings_up_to_a_time),
		EACH(times_before_1970_have_hours_and_days_too),
		EACH(unknown_sensors_and_great_batches_are_refused),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
