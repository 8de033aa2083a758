#include "tests/unit/support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/agenda.h"
#include "daemon/engine.h"
#include "daemon/intake.h"
#include "daemon/state.h"

/* Law 1: state is a function of readings, findings and stays, whatever the order in which they came. */

enum { HOURS = 24 * 75, START_H = 482136 }; /* 2025-01-01T00:00Z */

struct bench {
	char *folder;
	struct settings set;
	struct place places[2];
	struct sensor sensors[2];
	struct library *lib;
	struct store *store;
	struct engine *engine;
};

static void open_bench(struct bench *b, const char *name)
{
	struct err err = { 0 };
	struct faults f = { 0 };
	const char *const dirs[] = { "conf" };
	b->set = (struct settings){ .zone = "Europe/Berlin",
		.places = b->places,
		.n_places = 2,
		.sensors = b->sensors,
		.n_sensors = 2 };
	b->places[0] = (struct place){ .name = "room" };
	b->places[1] = (struct place){ .name = "case", .room = "room" };
	b->sensors[0] =
		(struct sensor){ .name = "room", .place = "room", .silent_after_s = 2 * DAY_S };
	b->sensors[1] =
		(struct sensor){ .name = "case", .place = "case", .silent_after_s = 2 * DAY_S };
	OK(library_load(dirs, 1, &b->lib, &f), &err);
	OK(store_open(support_path(b->folder, name), STORE_REPLAY, &b->store, &err), &err);
	struct intake *in = NULL; /* makes the sensors known, as at the desk */
	OK(intake_new(b->store, &b->set, &in, &err), &err);
	intake_free(in);
	OK(engine_new(b->store, &b->set, b->lib, &b->engine, &err), &err);
}

static void close_bench(struct bench *b)
{
	engine_free(b->engine);
	store_close(b->store);
	library_free(b->lib);
}

/* Weather with gaps of an hour to six days; the same for the same number. */
static size_t make_air(uint64_t seed, struct quality_reading *r)
{
	size_t n = 0;
	double rh = 45, t = 20;
	for (int h = 0; h < HOURS; h++) {
		rh += -0.01 * (rh - 38) + (double)(support_random(&seed) % 200) / 100 - 1;
		t = 20 + 2 * sin(h / 24.0 * 6.283);
		if (h == 700)
			h += 40;
		if (h == 1300)
			h += 144;
		if (support_random(&seed) % 23 == 0)
			continue;
		r[n++] = (struct quality_reading){ (START_H + h) * HOUR_S +
							   (int64_t)(support_random(&seed) % 3000),
			(int32_t)lround(rh * 100), (int32_t)lround(t * 100), 0 };
	}
	return n;
}

static void put(struct bench *b, const char *sensor, const struct quality_reading *r, size_t n)
{
	struct err err = { 0 };
	struct store_count count = { 0 };
	int64_t id = 0;
	OK(store_begin(b->store, &err), &err);
	OK(store_sensor(b->store, sensor, engine_zone(b->engine, sensor), &id, &err), &err);
	OK(store_readings(b->store, id, r, n, INT64_MAX / 2, NULL, NULL, &count, &err), &err);
	OK(store_commit(b->store, &err), &err);
}

static void put_instrument(struct bench *b)
{
	struct err err = { 0 };
	struct instrument x = { .name = "one",
		.build = "flat-top",
		.since_s = START_H * HOUR_S,
		.until_s = TIME_NEVER };
	const struct stay room = { START_H * HOUR_S, "room" };
	OK(store_begin(b->store, &err), &err);
	OK(record_put_instrument(b->store, &x, NULL, &err), &err);
	OK(record_put_stay(b->store, "one", &room, NULL, &err), &err);
	OK(store_commit(b->store, &err), &err);
}

static void put_move(struct bench *b)
{
	struct err err = { 0 };
	const struct stay stay = { (START_H + 1000) * HOUR_S + 1800, "case" };
	OK(store_begin(b->store, &err), &err);
	OK(record_put_stay(b->store, "one", &stay, NULL, &err), &err);
	OK(store_commit(b->store, &err), &err);
}

static void put_finding(struct bench *b, int kind, int hour, double value)
{
	struct err err = { 0 };
	struct finding f = { .subject = "one",
		.t_s = (START_H + hour) * HOUR_S + 60,
		.kind = kind,
		.value = value };
	OK(store_begin(b->store, &err), &err);
	OK(record_put_finding(b->store, &f, NULL, &err), &err);
	OK(store_commit(b->store, &err), &err);
}

static void follow(struct bench *b, int hour)
{
	struct err err = { 0 };
	OK(engine_follow(b->engine, (START_H + hour) * HOUR_S, &err), &err);
}

static struct instrument_state state_of(const struct bench *b)
{
	size_t n = 0;
	const struct followed *list = engine_followed(b->engine, &n);
	assert_int_equal(n, 1);
	assert_true(list[0].known);
	return list[0].state;
}

/* Everything at once, then one following. */
static struct instrument_state rebuilt(struct bench *b, const struct quality_reading *room,
	size_t n_room, const struct quality_reading *box, size_t n_box)
{
	open_bench(b, "whole.db");
	put(b, "room", room, n_room);
	put(b, "case", box, n_box);
	put_instrument(b);
	put_move(b);
	put_finding(b, FINDING_SNUG, 800, (double)NAN);
	put_finding(b, FINDING_RELIEF, 1200, 0.25e-3);
	follow(b, HOURS);
	struct instrument_state s = state_of(b);
	close_bench(b);
	return s;
}

static void shuffle(struct quality_reading *r, size_t n, uint64_t *seed)
{
	for (size_t i = n; i > 1; i--) {
		size_t j = support_random(seed) % i;
		struct quality_reading x = r[i - 1];
		r[i - 1] = r[j];
		r[j] = x;
	}
}

static int setup(void **state)
{
	struct bench *b = mem_new(1, sizeof *b);
	b->folder = support_folder();
	*state = b;
	return 0;
}

static int teardown(void **state)
{
	struct bench *b = *state;
	support_folder_remove(b->folder);
	mem_free(b);
	return 0;
}

static struct quality_reading room[HOURS], box[HOURS];

static void readings_as_they_come_give_the_bits_of_a_rebuild(void **state)
{
	struct bench *b = *state;
	uint64_t seed = support_seed();
	size_t n_room = make_air(seed, room), n_box = make_air(seed + 1, box);
	struct instrument_state want = rebuilt(b, room, n_room, box, n_box);
	open_bench(b, "live.db");
	put_instrument(b);
	put_finding(b, FINDING_SNUG, 800, (double)NAN);
	size_t i = 0, k = 0;
	for (int hour = 1; hour <= HOURS; hour++) {
		int64_t now_s = (START_H + hour) * HOUR_S;
		for (; i < n_room && room[i].t_s < now_s; i++)
			put(b, "room", &room[i], 1);
		for (; k < n_box && box[k].t_s < now_s; k++)
			put(b, "case", &box[k], 1);
		if (hour == 1001)
			put_move(b);
		if (hour == 1201)
			put_finding(b, FINDING_RELIEF, 1200, 0.25e-3);
		follow(b, hour);
	}
	struct instrument_state got = state_of(b);
	assert_memory_equal(&got, &want, sizeof got);
	close_bench(b);
}

static void shuffled_split_and_late_imports_give_the_bits_of_a_rebuild(void **state)
{
	struct bench *b = *state;
	uint64_t seed = support_seed();
	for (int round = 0; round < 8; round++) {
		size_t n_room = make_air(seed, room), n_box = make_air(seed + 1, box);
		struct instrument_state want = rebuilt(b, room, n_room, box, n_box);
		char name[32];
		(void)snprintf(name, sizeof name, "late%d.db", round);
		open_bench(b, name);
		put_instrument(b);
		shuffle(room, n_room, &seed);
		shuffle(box, n_box, &seed);
		for (size_t at = 0; at < n_room || at < n_box;) {
			size_t piece = 1 + support_random(&seed) % 400;
			if (at < n_room)
				put(b, "room", &room[at],
					at + piece < n_room ? piece : n_room - at);
			if (at < n_box)
				put(b, "case", &box[at], at + piece < n_box ? piece : n_box - at);
			at += piece;
			follow(b, (int)(support_random(&seed) % HOURS) + 1);
		}
		put_finding(b, FINDING_RELIEF, 1200, 0.25e-3);
		follow(b, HOURS - 20);
		put_move(b);
		follow(b, HOURS);
		put_finding(b, FINDING_SNUG, 800, (double)NAN);
		follow(b, HOURS);
		struct instrument_state got = state_of(b);
		assert_memory_equal(&got, &want, sizeof got);
		close_bench(b);
		(void)remove(support_path(b->folder, "whole.db"));
		(void)remove(support_path(b->folder, "whole.db-wal"));
		(void)remove(support_path(b->folder, "whole.db-shm"));
	}
}

static void following_again_changes_nothing(void **state)
{
	struct bench *b = *state;
	size_t n = make_air(3, room);
	open_bench(b, "again.db");
	put_instrument(b);
	put(b, "room", room, n);
	follow(b, HOURS);
	struct instrument_state once = state_of(b);
	follow(b, HOURS);
	struct instrument_state twice = state_of(b);
	assert_memory_equal(&once, &twice, sizeof once);
	follow(b, HOURS / 2); /* the clock set back, and right again */
	follow(b, HOURS);
	twice = state_of(b);
	assert_memory_equal(&once, &twice, sizeof once);
	close_bench(b);
}

static void the_head_waits_where_readings_end(void **state)
{
	struct bench *b = *state;
	size_t n = make_air(3, room);
	open_bench(b, "silent.db");
	put_instrument(b);
	put(b, "room", room, n);
	follow(b, HOURS + 500);
	struct instrument_state s = state_of(b);
	assert_int_equal(s.hour, room[n - 1].t_s / HOUR_S);
	close_bench(b);
}

static void overrides_change_the_wood_and_bad_ones_are_told(void **state)
{
	struct bench *b = *state;
	struct err err = { 0 };
	size_t n = make_air(3, room);
	open_bench(b, "overrides.db");
	put_instrument(b);
	put(b, "room", room, n);
	follow(b, HOURS);
	struct instrument_state plain = state_of(b);
	struct instrument x = { 0 };
	OK(record_instrument(b->store, "one", &x, &err), &err);
	(void)snprintf(x.overrides, sizeof x.overrides, "top = { thickness = \"2.2mm\"; };");
	OK(store_begin(b->store, &err), &err);
	OK(record_put_instrument(b->store, &x, NULL, &err), &err);
	OK(store_commit(b->store, &err), &err);
	follow(b, HOURS);
	struct instrument_state thin = state_of(b);
	assert_memory_not_equal(&plain, &thin, sizeof plain);
	(void)snprintf(x.overrides, sizeof x.overrides, "top = { thickness = \"0mm\"; };");
	OK(store_begin(b->store, &err), &err);
	OK(record_put_instrument(b->store, &x, NULL, &err), &err);
	OK(store_commit(b->store, &err), &err);
	follow(b, HOURS);
	size_t count = 0;
	const struct followed *list = engine_followed(b->engine, &count);
	assert_null(list[0].model);
	assert_non_null(strstr(list[0].trouble, "thickness"));
	close_bench(b);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_setup_teardown(
			readings_as_they_come_give_the_bits_of_a_rebuild, setup, teardown),
		cmocka_unit_test_setup_teardown(
			shuffled_split_and_late_imports_give_the_bits_of_a_rebuild, setup,
			teardown),
		cmocka_unit_test_setup_teardown(following_again_changes_nothing, setup, teardown),
		cmocka_unit_test_setup_teardown(the_head_waits_where_readings_end, setup, teardown),
		cmocka_unit_test_setup_teardown(
			overrides_change_the_wood_and_bad_ones_are_told, setup, teardown),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
