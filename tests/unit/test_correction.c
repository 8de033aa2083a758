#include "tests/unit/support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/engine.h"
#include "daemon/intake.h"
#include "daemon/state.h"

/* Corrections, borrowed temperatures and several sensors of a place keep law 1: whatever comes late gives the bits of one
 * rebuild. No outside source but where named. */

enum { HOURS = 24 * 75, START_H = 482136 }; /* 2025-01-01T00:00Z */
enum { LEFT, RIGHT, BOX, HIGH, SENSORS };
static const char *const names[SENSORS] = { "left", "right", "box", "high" };

struct bench {
	char *folder;
	struct settings set;
	struct place places[2];
	struct sensor sensors[SENSORS];
	struct library *lib;
	struct store *store;
	struct engine *engine;
};

static void open_bench(struct bench *b, const char *name, bool turned)
{
	struct err err = { 0 };
	struct faults f = { 0 };
	const char *const dirs[] = { "conf" };
	b->set = (struct settings){ .zone = "Europe/Berlin",
		.places = b->places,
		.n_places = 2,
		.sensors = b->sensors,
		.n_sensors = SENSORS };
	b->places[0] = (struct place){ .name = "room" };
	b->places[1] = (struct place){ .name = "case", .room = "room" };
	for (int i = 0; i < SENSORS; i++) {
		struct sensor *x = &b->sensors[turned ? SENSORS - 1 - i : i];
		*x = (struct sensor){ .silent_after_s = DAY_S, .accuracy_pct = 1 + i };
		(void)snprintf(x->name, sizeof x->name, "%s", names[i]);
		(void)snprintf(x->place, sizeof x->place, "%s", i == BOX ? "case" : "room");
	}
	OK(library_load(dirs, 1, &b->lib, &f), &err);
	OK(store_open(support_path(b->folder, name), STORE_REPLAY, &b->store, &err), &err);
	struct zone *zone = NULL; /* the same numbers whatever the order of the settings */
	OK(zone_new("Europe/Berlin", &zone, &err), &err);
	for (int i = 0; i < SENSORS; i++)
		OK(store_sensor(b->store, names[i], zone, &(int64_t){ 0 }, &err), &err);
	zone_free(zone);
	OK(engine_new(b->store, &b->set, b->lib, &b->engine, &err), &err);
}

static void close_bench(struct bench *b)
{
	engine_free(b->engine);
	store_close(b->store);
	library_free(b->lib);
}

static struct quality_reading air[SENSORS][HOURS];
static size_t n_air[SENSORS];

/* Weather with gaps, the same each time; the case tells no temperature. */
static void make_air(uint64_t seed)
{
	for (int k = 0; k < SENSORS; k++) {
		double rh = 45;
		n_air[k] = 0;
		for (int h = 0; h < HOURS; h++) {
			rh += -0.01 * (rh - 42) + (double)(support_random(&seed) % 200) / 100 - 1;
			if (support_random(&seed) % 13 == 0)
				continue;
			double t = 20 + k + 2 * sin(h / 24.0 * 6.283);
			air[k][n_air[k]++] = (struct quality_reading){
				(START_H + h) * HOUR_S + (int64_t)(support_random(&seed) % 3000),
				(int32_t)lround(rh * 100),
				k == BOX ? QUALITY_NO_TEMP : (int32_t)lround(t * 100), 0
			};
		}
	}
}

static int64_t id_of(struct bench *b, const char *sensor)
{
	int64_t id = 0;
	OK(store_sensor_find(b->store, sensor, &id, NULL), NULL);
	return id;
}

static void put(struct bench *b, int k, size_t from, size_t to)
{
	struct err err = { 0 };
	struct store_count count = { 0 };
	OK(store_begin(b->store, &err), &err);
	OK(store_readings(b->store, id_of(b, names[k]), air[k] + from, to - from, INT64_MAX / 2,
		   NULL, NULL, &count, &err),
		&err);
	OK(store_commit(b->store, &err), &err);
}

static void put_all(struct bench *b)
{
	for (int k = 0; k < SENSORS; k++)
		put(b, k, 0, n_air[k]);
}

static void put_instruments(struct bench *b)
{
	struct err err = { 0 };
	static const char *const where[] = { "room", "case" };
	OK(store_begin(b->store, &err), &err);
	for (int i = 0; i < 2; i++) {
		struct instrument x = {
			.build = "flat-top", .since_s = START_H * HOUR_S, .until_s = TIME_NEVER
		};
		struct stay stay = { .t_s = START_H * HOUR_S };
		(void)snprintf(x.name, sizeof x.name, "%s", i ? "in-case" : "in-room");
		(void)snprintf(stay.place, sizeof stay.place, "%s", where[i]);
		OK(record_put_instrument(b->store, &x, NULL, &err), &err);
		OK(record_put_stay(b->store, x.name, &stay, NULL, &err), &err);
	}
	OK(store_commit(b->store, &err), &err);
}

static void correct(struct bench *b, const char *sensor, int hour, double gain, double offset_pct)
{
	struct err err = { 0 };
	struct store_correction c = { .check = { (START_H + hour) * HOUR_S + 60,
					      { gain, offset_pct, 0.6 } } };
	OK(store_begin(b->store, &err), &err);
	OK(store_correction_put(b->store, id_of(b, sensor), &c, NULL, &err), &err);
	OK(store_commit(b->store, &err), &err);
}

static void correct_not(struct bench *b, const char *sensor, int hour)
{
	struct err err = { 0 };
	OK(store_begin(b->store, &err), &err);
	OK(store_correction_remove(
		   b->store, id_of(b, sensor), (START_H + hour) * HOUR_S + 60, &err),
		&err);
	OK(store_commit(b->store, &err), &err);
}

static void follow(struct bench *b, int hour)
{
	struct err err = { 0 };
	OK(engine_follow(b->engine, (START_H + hour) * HOUR_S, &err), &err);
}

struct both {
	struct instrument_state at[2];
};

static struct both states(struct bench *b)
{
	struct both s;
	static const char *const who[] = { "in-room", "in-case" };
	for (int i = 0; i < 2; i++) {
		const struct followed *f = engine_find(b->engine, who[i]);
		assert_true(f && f->known);
		s.at[i] = f->state;
	}
	return s;
}

/* All readings and the checks that hold in the end, then one following. */
static struct both rebuilt(struct bench *b, bool turned)
{
	open_bench(b, turned ? "turned.db" : "whole.db", turned);
	put_all(b);
	correct(b, "left", 300, 1.02, -2.5);
	correct(b, "left", 1300, 0.97, -1.0);
	correct(b, "box", 900, 1, 3);
	correct(b, "box", 1500, 1.04, 1);
	put_instruments(b);
	follow(b, HOURS);
	struct both s = states(b);
	close_bench(b);
	return s;
}

static int setup(void **state)
{
	struct bench *b = mem_new(1, sizeof *b);
	b->folder = support_folder();
	*state = b;
	make_air(support_seed());
	return 0;
}

static int teardown(void **state)
{
	struct bench *b = *state;
	support_folder_remove(b->folder);
	mem_free(b);
	return 0;
}

static void late_changed_and_removed_corrections_give_the_bits_of_a_rebuild(void **state)
{
	struct bench *b = *state;
	struct both want = rebuilt(b, false);
	open_bench(b, "late.db", false);
	put_all(b);
	put_instruments(b);
	follow(b, HOURS);
	struct both raw = states(b);
	assert_memory_not_equal(&raw, &want, sizeof raw);
	correct(b, "box", 900, 1, 3);
	follow(b, HOURS);
	correct(b, "left", 1300, 0.99, -1.0);
	follow(b, HOURS - 40);
	correct(b, "left", 1300, 0.97, -1.0); /* the same time replaces */
	correct(b, "right", 1000, 1.05, 0.0); /* a slip, taken back below */
	follow(b, HOURS);
	correct(b, "left", 300, 1.02, -2.5); /* earlier than what holds already */
	follow(b, HOURS);
	correct_not(b, "right", 1000);
	correct(b, "left", 1700, 1, 1);
	follow(b, HOURS);
	correct_not(b, "left", 1700); /* what lay between it and the one before changes back */
	follow(b, HOURS);
	correct(b, "box", 1500, 1.04, 1); /* nothing else moves: from 900 on it is another */
	follow(b, HOURS);
	struct both got = states(b);
	assert_memory_equal(&got, &want, sizeof got);
	close_bench(b);
}

static void readings_and_room_temperatures_that_come_late_give_the_bits_of_a_rebuild(void **state)
{
	struct bench *b = *state;
	struct both want = rebuilt(b, false);
	open_bench(b, "pieces.db", false);
	put_instruments(b);
	correct(b, "box", 900, 1, 3);
	correct(b, "box", 1500, 1.04, 1);
	put(b, BOX, 0, n_air[BOX]); /* the case first, in a room of unknown warmth */
	follow(b, HOURS);
	put(b, LEFT, n_air[LEFT] / 2, n_air[LEFT]);
	follow(b, HOURS);
	correct(b, "left", 1300, 0.97, -1.0);
	put(b, RIGHT, 0, n_air[RIGHT] / 3);
	follow(b, HOURS / 2);
	put(b, LEFT, 0, n_air[LEFT] / 2);
	follow(b, HOURS);
	correct(b, "left", 300, 1.02, -2.5);
	put(b, RIGHT, n_air[RIGHT] / 3, n_air[RIGHT]);
	put(b, HIGH, 0, n_air[HIGH]);
	follow(b, HOURS);
	struct both got = states(b);
	assert_memory_equal(&got, &want, sizeof got);
	close_bench(b);
}

static void the_order_of_the_settings_does_not_matter_but_accuracy_does(void **state)
{
	struct bench *b = *state;
	struct both want = rebuilt(b, false), turned = rebuilt(b, true);
	assert_memory_equal(&turned, &want, sizeof want);
	open_bench(b, "whole.db", false);
	engine_free(b->engine);
	b->sensors[RIGHT].accuracy_pct = 0.5;
	OK(engine_new(b->store, &b->set, b->lib, &b->engine, NULL), NULL);
	follow(b, HOURS);
	struct both other = states(b);
	assert_memory_not_equal(&other.at[0], &want.at[0], sizeof want.at[0]);
	assert_memory_not_equal(
		&other.at[1], &want.at[1], sizeof want.at[1]); /* it borrows their warmth */
	engine_free(b->engine);
	b->sensors[RIGHT].accuracy_pct = 2;
	OK(engine_new(b->store, &b->set, b->lib, &b->engine, NULL), NULL);
	follow(b, HOURS);
	other = states(b);
	assert_memory_equal(&other, &want, sizeof want);
	close_bench(b);
}

/* Steady air, at even hours: RH 50 and 40 % at 23 degC in the room, 60 % without temperature in the case. The fourth
 * sensor is silent. */
static void put_steady(struct bench *b)
{
	static const int32_t rh_cpct[] = { 5000, 4000, 6000 };
	n_air[HIGH] = 0;
	for (int k = LEFT; k <= BOX; k++) {
		n_air[k] = 100;
		for (int h = 0; h < 100; h++) /* odd hours a little more: not stuck */
			air[k][h] = (struct quality_reading){ (START_H + h) * HOUR_S + 600,
				rh_cpct[k] + h % 2, k == BOX ? QUALITY_NO_TEMP : 2300, 0 };
	}
	put_all(b);
}

static struct track_hour hour_of(struct bench *b, const char *place, int hour)
{
	struct track t;
	OK(track_load(b->store, engine_source(b->engine, place), START_H + hour, START_H + hour + 1,
		   &t, NULL),
		NULL);
	struct track_hour at = t.at[0];
	track_done(&t);
	return at;
}

static void the_air_is_corrected_from_the_day_of_the_check_and_evenly_up_to_the_next(void **state)
{
	struct bench *b = *state;
	open_bench(b, "steady.db", false);
	put_steady(b);
	/* alone in its case: 60, from hour 21 on (the check is a minute into hour 20) 60 + 2, halfway to the next + 4 */
	correct(b, "box", 20, 1, 2);
	correct(b, "box", 60, 1.1, 0);
	CLOSE(hour_of(b, "case", 20).rh_pct, 60, 1e-9, "before the check");
	CLOSE(hour_of(b, "case", 22).rh_pct, 62 + 4 * (119.0 / 60) / 40, 1e-9, "after it");
	CLOSE(hour_of(b, "case", 40).rh_pct, 60 * (1 + 0.1 * (1199.0 / 2400)) + 2 * 1201.0 / 2400,
		1e-9, "between");
	CLOSE(hour_of(b, "case", 62).rh_pct, 66, 1e-9, "held");
	correct(b, "box", 60, 1.1, 50);
	CLOSE(hour_of(b, "case", 62).rh_pct, 100, 0, "never above 100");
	struct store_sum sum;
	size_t n = 0;
	OK(store_hours(b->store, id_of(b, "box"), START_H + 62, START_H + 63, &sum, 1, &n, NULL),
		NULL);
	assert_int_equal(n, 1);
	assert_int_equal(sum.rh_sum, 6000); /* sums stay as they came */
	close_bench(b);
}

/* Weights 1/1^2 and 1/2^2: (50 + 40/4) / 1.25 = 48. After a check of the second with u 0.6: (0.36 + 0.49) = 0.85 against
 * 1: (50 + 40/0.85) / (1 + 1/0.85) = 44.595, the drift of a few hours aside. */
static void sensors_of_one_place_weigh_by_what_is_known_of_them(void **state)
{
	struct bench *b = *state;
	open_bench(b, "weigh.db", false);
	put_steady(b);
	CLOSE(hour_of(b, "room", 10).rh_pct, 48, 1e-6, "accuracies of the settings");
	correct(b, "right", 20, 1, 0);
	CLOSE(hour_of(b, "room", 22).rh_pct, 44.595, 0.001, "after the check");
	CLOSE(hour_of(b, "room", 10).rh_pct, 48, 1e-6, "before it");
	close_bench(b);
}

static void a_case_without_temperature_borrows_that_of_its_room(void **state)
{
	struct bench *b = *state;
	open_bench(b, "borrow.db", false);
	put_steady(b);
	struct track_hour at = hour_of(b, "case", 10);
	CLOSE(at.t_degc, 23, 1e-12, "borrowed");
	CLOSE(at.rh_pct, 60, 1e-12, "its own");
	assert_false(at.t_assumed);
	struct store_count count = { 0 };
	const struct quality_reading later = { (START_H + 150) * HOUR_S, 5500, QUALITY_NO_TEMP, 0 };
	OK(store_begin(b->store, NULL), NULL);
	OK(store_readings(
		   b->store, id_of(b, "box"), &later, 1, INT64_MAX / 2, NULL, NULL, &count, NULL),
		NULL);
	OK(store_commit(b->store, NULL), NULL);
	at = hour_of(b, "case", 150); /* the room is silent */
	CLOSE(at.t_degc, TRACK_ASSUMED_DEGC, 0, "assumed");
	assert_true(at.t_assumed);
	close_bench(b);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_setup_teardown(
			late_changed_and_removed_corrections_give_the_bits_of_a_rebuild, setup,
			teardown),
		cmocka_unit_test_setup_teardown(
			readings_and_room_temperatures_that_come_late_give_the_bits_of_a_rebuild,
			setup, teardown),
		cmocka_unit_test_setup_teardown(
			the_order_of_the_settings_does_not_matter_but_accuracy_does, setup,
			teardown),
		cmocka_unit_test_setup_teardown(
			the_air_is_corrected_from_the_day_of_the_check_and_evenly_up_to_the_next,
			setup, teardown),
		cmocka_unit_test_setup_teardown(
			sensors_of_one_place_weigh_by_what_is_known_of_them, setup, teardown),
		cmocka_unit_test_setup_teardown(
			a_case_without_temperature_borrows_that_of_its_room, setup, teardown),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
