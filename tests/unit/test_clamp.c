#include "tests/unit/support.h"

#include <math.h>

#include "core/clamp.h"

/* A 15 mm maple headstock: C_T 0.00353 (Wood Handbook table 13-5), M10x0.75 bushing. Elastic limit
 * 0.75 %: middle of Hoadley's 0.5-1 %. Snug strain and relaxation: judgement, no source. */
static const struct clamp_wood maple = {
	.c_per_pct = 0.00353,
	.grip_m = 0.015,
	.snug_strain = 0.002,
	.yield_strain = 0.0075,
	.relax_s = 1e7,
	.pitch_m = 0.75e-3,
};

static struct clamp snugged(const struct clamp_wood *w, double mc_pct)
{
	struct clamp c;
	clamp_snug(w, &c, mc_pct);
	return c;
}

static void a_snugged_nut_is_full_and_without_gap(void **state)
{
	(void)state;
	for (double mc = 4; mc < 16; mc += 3) {
		struct clamp c = snugged(&maple, mc);
		struct clamp_state s = clamp_state(&maple, &c, mc);
		CLOSE(s.preload, 1, 1e-12, "preload");
		CLOSE(s.gap_m, 0, 0, "gap");
		CLOSE(s.turns, 0, 0, "turns");
	}
}

static void shrinking_takes_the_preload_then_opens_a_gap(void **state)
{
	(void)state;
	struct clamp c = snugged(&maple, 9);
	/* free strain lost: 0.00353 a percent; half the snug strain of 0.002, all of it, and 0.005 more */
	static const struct {
		const char *what;
		double lost_strain, preload, gap_m;
	} rows[] = {
		{ "half", 0.001, 0.5, 0 },
		{ "just touching", 0.002, 0, 0 },
		{ "gap", 0.007, 0, 0.005 * 0.015 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		double mc = 9 - rows[i].lost_strain / maple.c_per_pct;
		struct clamp_state s = clamp_state(&maple, &c, mc);
		CLOSE(s.preload, rows[i].preload, 1e-12, rows[i].what);
		CLOSE(s.gap_m, rows[i].gap_m, 1e-15, rows[i].what);
		CLOSE(s.turns, rows[i].gap_m / 0.75e-3, 1e-12, rows[i].what);
	}
}

static void swelling_within_the_elastic_limit_leaves_no_trace(void **state)
{
	(void)state;
	struct clamp_wood w = maple;
	w.relax_s = INFINITY;
	struct clamp c = snugged(&w, 9);
	double before = c.touch;
	clamp_step(&w, &c, 9 + 0.005 / w.c_per_pct, 3600);
	CLOSE(c.touch, before, 0, "contact 0.007 of 0.0075");
	CLOSE(clamp_state(&w, &c, 11).preload, 1, 0, "no more than full");
}

static void swelling_beyond_it_is_crushed_and_becomes_a_gap(void **state)
{
	(void)state;
	struct clamp_wood w = maple;
	w.relax_s = INFINITY;
	struct clamp c = snugged(&w, 9);
	double before = c.touch;
	/* contact 0.002 + 0.008 = 0.010: 0.0025 is crushed */
	clamp_step(&w, &c, 9 + 0.008 / w.c_per_pct, 3600);
	CLOSE(c.touch - before, 0.0025, 1e-15, "crushed");
	clamp_step(&w, &c, 9, 3600);
	struct clamp_state s = clamp_state(&w, &c, 9);
	CLOSE(s.preload, 0, 1e-12, "back where it was snugged");
	CLOSE(s.gap_m, 0.0005 * 0.015, 1e-15, "0.0025 crushed less 0.002 of snug strain");
}

static void crushing_does_not_depend_on_the_way_up(void **state)
{
	(void)state;
	struct clamp_wood w = maple;
	w.relax_s = INFINITY;
	struct clamp once = snugged(&w, 8), slow = once;
	clamp_step(&w, &once, 14, 3600);
	for (double mc = 8; mc <= 14; mc += 0.125)
		clamp_step(&w, &slow, mc, 3600);
	CLOSE(slow.touch, once.touch, 1e-15, "one jump or many small steps");
}

static void squeezed_wood_relaxes_by_its_time_constant(void **state)
{
	(void)state;
	struct clamp c = snugged(&maple, 9), fine = c;
	clamp_step(&maple, &c, 9, maple.relax_s);
	CLOSE(clamp_state(&maple, &c, 9).preload, exp(-1), 1e-12, "one time constant");
	for (int i = 0; i < 1000; i++)
		clamp_step(&maple, &fine, 9, maple.relax_s / 1000);
	CLOSE(fine.touch, c.touch, 1e-14, "in a thousand steps");
}

static void a_loose_nut_does_not_change_the_wood(void **state)
{
	(void)state;
	struct clamp c = snugged(&maple, 9);
	double before = c.touch;
	for (int i = 0; i < 100; i++)
		clamp_step(&maple, &c, 5, 86400);
	CLOSE(c.touch, before, 0, "dry winter");
	CLOSE(clamp_state(&maple, &c, 9).preload, 1, 1e-12, "and back");
}

static void touch_only_moves_up(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	struct clamp c = snugged(&maple, 9);
	for (int i = 0; i < 10000; i++) {
		double before = c.touch;
		double mc = 4 + 12 * (double)(support_random(&seed) >> 11) * 0x1p-53;
		clamp_step(&maple, &c, mc, 3600);
		assert_true(c.touch >= before);
		assert_true(maple.c_per_pct * mc - c.touch <= maple.yield_strain + 1e-15);
	}
}

/* Common practice, no source: after a heating season bench people take up about a twelfth to a
 * quarter of a turn on tuner nuts that were snug in summer. */
static void a_winter_loosens_a_nut_by_a_fraction_of_a_turn(void **state)
{
	(void)state;
	struct clamp c = snugged(&maple, 9.5);
	for (int day = 0; day < 120; day++)
		clamp_step(&maple, &c, 9.5 - 4.0 * day / 119, 86400);
	double turns = clamp_state(&maple, &c, 5.5).turns;
	assert_true(turns > 1.0 / 24 && turns < 1.0 / 2);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_snugged_nut_is_full_and_without_gap),
		cmocka_unit_test(shrinking_takes_the_preload_then_opens_a_gap),
		cmocka_unit_test(swelling_within_the_elastic_limit_leaves_no_trace),
		cmocka_unit_test(swelling_beyond_it_is_crushed_and_becomes_a_gap),
		cmocka_unit_test(crushing_does_not_depend_on_the_way_up),
		cmocka_unit_test(squeezed_wood_relaxes_by_its_time_constant),
		cmocka_unit_test(a_loose_nut_does_not_change_the_wood),
		cmocka_unit_test(touch_only_moves_up),
		cmocka_unit_test(a_winter_loosens_a_nut_by_a_fraction_of_a_turn),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
