#include "tests/unit/support.h"

#include "core/strain.h"

static void a_top_moves_as_eq_13_2_says(void **state)
{
	(void)state;
	/* Wood Handbook FPL-GTR-190 eq. 13-2, Sitka spruce C_R 0.00148 (table 13-5, from memory),
	 * 400 mm, 8 to 5 % MC */
	CLOSE(400 * strain_linear(0.00148, 8, 5), -1.776, 1e-12, "quartersawn top");
	CLOSE(strain_linear(0.00148, 5, 8), -strain_linear(0.00148, 8, 5), 0, "and back");
}

static void shrinkage_gives_the_general_change_of_eq_13_3(void **state)
{
	(void)state;
	CLOSE(400 * strain_general(4.3, 30, 8, 5), -1.776, 5e-4, "S_R 4.3, 400 mm, 8 to 5 %");
	CLOSE(300 * strain_general(7.8, 30, 10, 4), -4.937, 5e-4, "S_T 7.8, 300 mm, 10 to 4 %");
	/* by definition of S: green to oven-dry */
	CLOSE(strain_general(7.8, 30, 30, 0), -0.078, 1e-15, "green to dry");
	CLOSE(strain_general(5.0, 22, 60, 0), -0.050, 1e-15, "wet to dry, start 22");
	CLOSE(strain_general(5.0, 22, 25, 40), 0, 0, "above the start nothing moves");
}

static void lengths_come_back_after_drying_and_wetting(void **state)
{
	(void)state;
	for (double from = 0; from <= 30; from += 1.5)
		for (double to = 0; to <= 30; to += 1.5) {
			double there = 1 + strain_general(7.8, 30, from, to);
			double back = 1 + strain_general(7.8, 30, to, from);
			CLOSE(there * back, 1, 1e-14, "round trip");
		}
}

/* Wood Handbook FPL-GTR-190 table 4-4 shrinkage against table 13-5 coefficients; half a unit of the
 * last printed place and the rounding of S to 0.1 %. */
static void coefficients_follow_from_shrinkage(void **state)
{
	(void)state;
	static const struct {
		const char *what;
		double s_pct, start_pct, want;
	} rows[] = {
		{ "S_T 9.9, start 30", 9.9, 30, 0.00353 },
		{ "Sitka spruce radial", 4.3, 30, 0.00148 },
		{ "Sitka spruce tangential", 7.5, 30, 0.00263 },
		{ "western redcedar tangential", 5.0, 22, 0.00234 },
	};
	for (size_t i = 0; i < COUNT(rows); i++)
		CLOSE(strain_coefficient(rows[i].s_pct, rows[i].start_pct), rows[i].want, 1e-5,
			rows[i].what);
}

static void coefficient_is_the_slope_at_ten_percent(void **state)
{
	(void)state;
	double slope = (strain_general(7.8, 30, 10, 10 + 1e-6)) / 1e-6;
	CLOSE(strain_coefficient(7.8, 30), slope, 1e-9, "slope");
}

static void a_board_between_the_cuts_lies_between_the_coefficients(void **state)
{
	(void)state;
	CLOSE(strain_at_angle(0.001, 0.003, 0), 0.001, 1e-18, "quartersawn");
	CLOSE(strain_at_angle(0.001, 0.003, 90), 0.003, 1e-18, "flatsawn");
	CLOSE(strain_at_angle(0.001, 0.003, 45), 0.002, 1e-18, "riftsawn is the mean");
	CLOSE(strain_at_angle(0.001, 0.003, 30), 0.0015, 1e-18, "sin^2 30 = 1/4");
	CLOSE(strain_at_angle(0.001, 0.003, -30), 0.0015, 1e-18, "either way");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_top_moves_as_eq_13_2_says),
		cmocka_unit_test(shrinkage_gives_the_general_change_of_eq_13_3),
		cmocka_unit_test(lengths_come_back_after_drying_and_wetting),
		cmocka_unit_test(coefficients_follow_from_shrinkage),
		cmocka_unit_test(coefficient_is_the_slope_at_ten_percent),
		cmocka_unit_test(a_board_between_the_cuts_lies_between_the_coefficients),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
