#include "tests/unit/support.h"

#include <math.h>

#include "core/air.h"

/* ASHRAE Fundamentals 2017 ch. 1 table 3, as quoted by PsychroLib 2.5.0 tests/test_psychrolib_si.py
 * with its tolerances: 3e-4 relative, at -60 degC 0.01 Pa. Below 0 degC over ice. */
static void saturation_matches_ashrae_table_3(void **state)
{
	(void)state;
	static const struct {
		const char *what;
		double t_degc, want_pa, tol_pa;
	} ice[] = {
		{ "-60", -60, 1.08, 0.01 },
		{ "-20", -20, 103.24, 103.24 * 3e-4 },
		{ "-5", -5, 401.74, 401.74 * 3e-4 },
	}, water[] = {
		{ "5", 5, 872.6, 872.6 * 3e-4 },
		{ "25", 25, 3169.7, 3169.7 * 3e-4 },
		{ "50", 50, 12351.3, 12351.3 * 3e-4 },
		{ "100", 100, 101418.0, 101418.0 * 3e-4 },
		{ "150", 150, 476101.4, 476101.4 * 3e-4 },
	};
	for (size_t i = 0; i < COUNT(ice); i++)
		CLOSE(air_saturation_ice_pa(ice[i].t_degc), ice[i].want_pa, ice[i].tol_pa, ice[i].what);
	for (size_t i = 0; i < COUNT(water); i++)
		CLOSE(air_saturation_water_pa(water[i].t_degc), water[i].want_pa, water[i].tol_pa,
			water[i].what);
}

/* IAPWS SR1-86(1992) auxiliary equation, an independent formula, evaluated in double precision:
 * the two agree to 0.025 % over 0..50 degC. */
static void saturation_over_water_agrees_with_iapws(void **state)
{
	(void)state;
	static const struct {
		const char *what;
		double t_degc, want_pa;
	} rows[] = {
		{ "0", 0, 611.2128 },   { "10", 10, 1228.1122 }, { "20", 20, 2339.1937 },
		{ "30", 30, 4246.9199 }, { "40", 40, 7385.1105 }, { "50", 50, 12352.4789 },
	};
	for (size_t i = 0; i < COUNT(rows); i++)
		CLOSE(air_saturation_water_pa(rows[i].t_degc), rows[i].want_pa, 2.5e-4 * rows[i].want_pa,
			rows[i].what);
}

static void water_and_ice_part_below_freezing(void **state)
{
	(void)state;
	/* Hyland and Wexler 1983, both evaluated in double precision elsewhere */
	CLOSE(air_saturation_water_pa(-20), 125.6292, 5e-5, "supercooled water, -20 degC");
	CLOSE(air_saturation_ice_pa(-20), 103.2604, 5e-5, "ice, -20 degC");
	CLOSE(air_saturation_water_pa(0.01) / air_saturation_ice_pa(0.01), 1, 1.1e-4, "triple point");
}

static void outside_the_range_is_nan(void **state)
{
	(void)state;
	assert_true(isnan(air_saturation_water_pa(-60.1)));
	assert_true(isnan(air_saturation_water_pa(200.1)));
	assert_true(isnan(air_saturation_water_pa(NAN)));
	assert_true(isnan(air_saturation_ice_pa(0.02)));
	assert_true(isnan(air_saturation_ice_pa(-100.1)));
	assert_true(isnan(air_vapour_pa(20, -0.01)));
	assert_true(isnan(air_vapour_pa(20, 1.01)));
	assert_true(isnan(air_vapour_pa(20, NAN)));
	assert_true(isnan(air_dew_point_degc(101, 0.5)));
	assert_true(isnan(air_dew_point_degc(NAN, 0.5)));
	assert_true(isnan(air_dew_point_degc(20, 1.5)));
	assert_true(isnan(air_humidity_ratio(100, 1, 101325)));
	assert_true(isnan(air_absolute_humidity_g_m3(-61, 0.5)));
}

static void dew_points_match_other_programs(void **state)
{
	(void)state;
	static const struct {
		const char *src;
		double t_degc, rh, want_degc, tol_k;
	} rows[] = {
		{ "PsychroLib 2.5.0", 20, 0.50, 9.272392, 1e-3 },
		{ "PsychroLib 2.5.0", 25, 0.40, 10.475693, 1e-3 },
		{ "PsychroLib 2.5.0", 10, 0.80, 6.713005, 1e-3 },
		{ "PsychroLib 2.5.0", 30, 0.60, 21.387990, 1e-3 },
		{ "bisection to 1e-12 on eq. 6", -10, 0.10, -35.9704, 6e-5 },
		{ "bisection to 1e-12 on eq. 6", -10, 0.50, -18.4625, 6e-5 },
		{ "bisection to 1e-12 on eq. 6", -5, 0.45, -15.1024, 6e-5 },
		{ "bisection to 1e-12 on eq. 6", 0, 0.30, -15.5214, 6e-5 },
		{ "bisection to 1e-12 on eq. 6", -5, 1.00, -5.0, 6e-5 },
	};
	for (size_t i = 0; i < COUNT(rows); i++)
		CLOSE(air_dew_point_degc(rows[i].t_degc, rows[i].rh), rows[i].want_degc, rows[i].tol_k,
			rows[i].src);
}

static void dew_point_inverts_saturation_everywhere(void **state)
{
	(void)state;
	for (double t = -60; t <= 100; t += 2.5)
		for (double rh = 0.05; rh <= 1; rh += 0.05) {
			double dew = air_dew_point_degc(t, rh);
			assert_true(dew <= t + 1e-9);
			if (dew < -60)
				continue;
			double e = air_vapour_pa(t, rh);
			CLOSE(air_saturation_water_pa(dew) / e, 1, 1e-10, "round trip");
		}
}

static void bone_dry_air_has_the_dew_point_of_a_thousandth(void **state)
{
	(void)state;
	CLOSE(air_dew_point_degc(20, 0), air_dew_point_degc(20, 0.001), 0, "rh 0");
	assert_true(air_dew_point_degc(-60, 0) > -120);
	assert_true(air_dew_point_degc(-60, 0.001) < air_dew_point_degc(-60, 0.002));
}

/* ASHRAE 2017 ch. 1 table 2 Ws at 101325 Pa; it holds the enhancement factor, so an ideal gas may
 * be 1 % low, 2 % at 85 degC. Below 0 degC the table is over ice. */
static void humidity_ratio_matches_ashrae_table_2(void **state)
{
	(void)state;
	static const struct {
		const char *what;
		double t_degc, want, tol;
	} rows[] = {
		{ "-20", -20, 0.0006373, 0.01 }, { "-5", -5, 0.0024863, 0.01 },
		{ "5", 5, 0.005425, 0.01 },      { "25", 25, 0.020173, 0.01 },
		{ "50", 50, 0.086863, 0.01 },    { "85", 85, 0.838105, 0.02 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		double t = rows[i].t_degc;
		double rh = t < 0 ? air_saturation_ice_pa(t) / air_saturation_water_pa(t) : 1;
		CLOSE(air_humidity_ratio(t, rh, 101325), rows[i].want, rows[i].want * rows[i].tol,
			rows[i].what);
	}
}

static void humidity_ratio_matches_psychrolib(void **state)
{
	(void)state;
	/* PsychroLib 2.5.0 tests/test_psychrolib_si.py: e = 3169.7 Pa at 95461 Pa, 1e-6 relative */
	double rh = 3169.7 / air_saturation_water_pa(30);
	CLOSE(air_humidity_ratio(30, rh, 95461), 0.0213603998047487, 0.0213603998047487e-6, "3169.7 Pa");
	CLOSE(air_humidity_ratio(20, 0.5, 101325), 0.007261737, 1e-6, "20 degC 50 %");
	CLOSE(air_humidity_ratio(10, 0.8, 101325), 0.006089103, 1e-6, "10 degC 80 %");
}

static void absolute_humidity_matches_the_gas_law(void **state)
{
	(void)state;
	/* 1000 e / (Rv T) with Hyland and Wexler's e, computed elsewhere to three places */
	static const struct {
		const char *what;
		double t_degc, want;
	} rows[] = { { "0", 0, 4.848 }, { "10", 10, 9.397 }, { "20", 20, 17.287 }, { "30", 30, 30.348 } };
	for (size_t i = 0; i < COUNT(rows); i++)
		CLOSE(air_absolute_humidity_g_m3(rows[i].t_degc, 1), rows[i].want, 1e-3, rows[i].what);
	CLOSE(air_absolute_humidity_g_m3(20, 0.5), 17.287 / 2, 1e-3, "half");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(saturation_matches_ashrae_table_3),
		cmocka_unit_test(saturation_over_water_agrees_with_iapws),
		cmocka_unit_test(water_and_ice_part_below_freezing),
		cmocka_unit_test(outside_the_range_is_nan),
		cmocka_unit_test(dew_points_match_other_programs),
		cmocka_unit_test(dew_point_inverts_saturation_everywhere),
		cmocka_unit_test(bone_dry_air_has_the_dew_point_of_a_thousandth),
		cmocka_unit_test(humidity_ratio_matches_ashrae_table_2),
		cmocka_unit_test(humidity_ratio_matches_psychrolib),
		cmocka_unit_test(absolute_humidity_matches_the_gas_law),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
