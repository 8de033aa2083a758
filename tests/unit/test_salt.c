#include "tests/unit/support.h"

#include <math.h>

#include "core/civil.h"
#include "core/salt.h"

/* Polynomials of Greenspan 1977 as published code quotes them, read there (with the sign of the middle term of LiCl and
 * K2CO3 as the table has it): another way to the same values than the table of core/salt. t in degC. */
static const struct {
	enum salt salt;
	double a[4];
} polynomials[] = {
	{ SALT_LICL, { 11.2323, 0.00824245, -0.214890e-3, 0 } },
	{ SALT_MGCL2, { 33.6686, -0.00797397, -0.00108988, 0 } },
	{ SALT_K2CO3, { 43.1315, 0.00147523, 0, 0 } },
	{ SALT_NACL, { 75.5164, 0.0398321, -0.265459e-2, 0.2848e-4 } },
	{ SALT_KCL, { 88.6190, -0.193340, 0.899706e-3, 0 } },
};

static void fixed_points_are_those_of_the_published_polynomials(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(polynomials); i++) {
		const struct salt_word *w = &salt_words()[polynomials[i].salt];
		const double *a = polynomials[i].a;
		for (double t = w->low_degc; t <= w->high_degc; t += 0.5) {
			double want = a[0] + t * (a[1] + t * (a[2] + t * a[3]));
			/* printed to 0.01, straight lines between steps of 5 K */
			CLOSE(salt_point(polynomials[i].salt, t).rh_pct, want, 0.02, w->name);
		}
	}
}

/* Padfield, humidity of saturated salts, table at 0.1 %, read; its NaCl at 20 degC (75.7) is a slip for 75.5 and left out.
 * Mg(NO3)2 at other temperatures differs there by 3 % from Greenspan: only 25 degC is compared. */
static void fixed_points_are_those_of_a_second_table(void **state)
{
	(void)state;
	static const struct {
		enum salt salt;
		double t_degc, rh_pct;
	} rows[] = {
		{ SALT_LICL, 20, 11.3 },
		{ SALT_MGCL2, 15, 33.3 },
		{ SALT_MGCL2, 25, 32.8 },
		{ SALT_K2CO3, 20, 43.2 },
		{ SALT_MGNO3, 25, 52.9 },
		{ SALT_NABR, 10, 62.2 },
		{ SALT_NABR, 20, 59.1 },
		{ SALT_NABR, 25, 57.6 },
		{ SALT_NACL, 5, 75.7 },
		{ SALT_NACL, 25, 75.3 },
		{ SALT_KCL, 20, 85.1 },
		{ SALT_K2SO4, 20, 97.6 },
	};
	for (size_t i = 0; i < COUNT(rows); i++)
		CLOSE(salt_point(rows[i].salt, rows[i].t_degc).rh_pct, rows[i].rh_pct, 0.0501,
			salt_words()[rows[i].salt].name);
}

/* Greenspan's total uncertainty at 25 degC. */
static void fixed_points_carry_their_uncertainty(void **state)
{
	(void)state;
	static const double want[SALTS] = { 0.27, 0.16, 0.39, 0.22, 0.40, 0.12, 0.26, 0.45 };
	for (int i = 0; i < SALTS; i++) {
		CLOSE(salt_point((enum salt)i, 25).u_pct, want[i], 1e-12, salt_words()[i].name);
		assert_int_equal(salt_by_name(salt_words()[i].name), i);
		assert_true(salt_words()[i].caution[0] != '\0');
	}
	assert_int_equal(salt_by_name("sugar"), SALTS);
	assert_true(isnan(salt_point(SALT_NACL, 40.1).rh_pct));
	assert_true(isnan(salt_point(SALT_NACL, -0.1).rh_pct));
	assert_true(isnan(salt_point(SALT_NABR, 4.9).rh_pct));
	assert_true(isnan(salt_point(SALT_K2CO3, 30.5).rh_pct));
	CLOSE(salt_point(SALT_K2CO3, 30).rh_pct, 43.17, 1e-12, "the last step of a row");
	CLOSE(salt_point(SALT_NACL, 40).rh_pct, 74.68, 1e-12, "the last step of all");
}

/* At 22 degC, two fifths from 20 to 25: NaCl 75.47 - 0.4 x 0.18 = 75.398 (u 0.132), MgCl2 33.07 - 0.4 x 0.29 = 32.954
 * (u 0.172). Shown with one digit: u 0.1 / sqrt 12 = 0.0289. */
#define ONE_DIGIT (0.1 / sqrt(12))
static const struct salt_reading nacl = { SALT_NACL, 76.9, 0.028867513459481287 };
static const struct salt_reading mgcl2 = { SALT_MGCL2, 35.1, 0.028867513459481287 };

/* gain (75.398 - 32.954) / (76.9 - 35.1) = 42.444 / 41.8 = 1.015407; offset 75.398 - 1.015407 x 76.9 = -2.68678.
 * u(NaCl)^2 = 0.132^2 + (0.06 x 75.398 x 0.2)^2 + 0.0289^2 = 0.017424 + 0.818620 + 0.000833: 0.91481
 * u(MgCl2)^2 = 0.172^2 + (0.06 x 32.954 x 0.2)^2 + 0.0289^2 = 0.029584 + 0.156379 + 0.000833: 0.43220
 * at 50 %: (50 - 32.954) / 42.444 = 0.40161 of NaCl and 0.59839 of MgCl2: sqrt(0.36740^2 + 0.25862^2) = 0.44930 */
static void two_salts_give_gain_and_offset(void **state)
{
	(void)state;
	struct salt_reading r[] = { nacl, mgcl2 };
	struct salt_correction c = { 0 };
	CLOSE(nacl.u_pct, ONE_DIGIT, 1e-15, "one digit");
	assert_int_equal(salt_correct(r, 2, 22, &c), SALT_GOOD);
	CLOSE(c.gain, 1.015407, 1e-6, "gain");
	CLOSE(c.offset_pct, -2.68678, 1e-5, "offset");
	CLOSE(salt_apply(&c, 76.9), 75.398, 1e-9, "the salt itself");
	CLOSE(salt_apply(&c, 35.1), 32.954, 1e-9, "the other");
	CLOSE(salt_reading_u_pct(&nacl, 22), 0.91481, 1e-5, "u of NaCl");
	CLOSE(salt_reading_u_pct(&mgcl2, 22), 0.43220, 1e-5, "u of MgCl2");
	CLOSE(c.u_pct, 0.44930, 1e-5, "u at 50 %");
	struct salt_reading turned[] = { mgcl2, nacl };
	struct salt_correction d = { 0 };
	assert_int_equal(salt_correct(turned, 2, 22, &d), SALT_GOOD);
	CLOSE(d.gain, c.gain, 1e-12, "either order");
	CLOSE(d.u_pct, c.u_pct, 1e-12, "either order");
}

/* offset 75.398 - 76.9 = -1.502; carried to 50 %: 0.03 x 25.398 = 0.76194; sqrt(0.836877 + 0.580553) = 1.19056 */
static void one_salt_gives_an_offset_and_is_trusted_less_away_from_it(void **state)
{
	(void)state;
	struct salt_correction c = { 0 };
	assert_int_equal(salt_correct(&nacl, 1, 22, &c), SALT_GOOD);
	CLOSE(c.gain, 1, 0, "gain");
	CLOSE(c.offset_pct, -1.502, 1e-9, "offset");
	CLOSE(c.u_pct, 1.19056, 1e-5, "u");
	CLOSE(salt_apply(&c, 1), 0, 0, "never below 0");
	c.offset_pct = 5;
	CLOSE(salt_apply(&c, 99), 100, 0, "never above 100");
}

static enum salt_verdict verdict(enum salt a, double a_pct, enum salt b, double b_pct)
{
	struct salt_reading r[] = { { a, a_pct, 0.03 }, { b, b_pct, 0.03 } };
	struct salt_correction c;
	return salt_correct(r, 2, 25, &c);
}

static void what_cannot_be_trusted_is_refused(void **state)
{
	(void)state;
	struct salt_correction c;
	struct salt_reading far = { SALT_NACL, 75.29 + 15.1, 0.03 };
	assert_int_equal(salt_correct(&far, 1, 25, &c), SALT_BAD_CHANGE);
	far.shown_pct = 75.29 + 14.9;
	assert_int_equal(salt_correct(&far, 1, 25, &c), SALT_GOOD);
	assert_int_equal(salt_correct(&nacl, 1, 41, &c), SALT_NO_POINT);
	assert_int_equal(verdict(SALT_MGNO3, 53, SALT_NABR, 58), SALT_TOO_NEAR);
	assert_int_equal(verdict(SALT_NACL, 33, SALT_MGCL2, 75), SALT_TOO_NEAR); /* mixed up */
	assert_int_equal(verdict(SALT_NACL, 75, SALT_MGCL2, 75), SALT_TOO_NEAR);
	/* 42.51 between the salts: gains 0.79 and 0.81, 1.26 and 1.24 */
	assert_int_equal(verdict(SALT_NACL, 33 + 42.51 / 0.79, SALT_MGCL2, 33), SALT_BAD_GAIN);
	assert_int_equal(verdict(SALT_NACL, 33 + 42.51 / 0.81, SALT_MGCL2, 33), SALT_GOOD);
	assert_int_equal(verdict(SALT_NACL, 33 + 42.51 / 1.26, SALT_MGCL2, 33), SALT_BAD_GAIN);
	assert_int_equal(verdict(SALT_NACL, 33 + 42.51 / 1.24, SALT_MGCL2, 33), SALT_GOOD);
}

/* Drift 0.5 % a year and hysteresis 0.7 %: general metrology, from memory. */
static void a_correction_holds_from_its_day_and_goes_over_into_the_next(void **state)
{
	(void)state;
	static const struct salt_check checks[] = {
		{ 1000, { 1.00, -2.0, 0.6 } },
		{ 5000, { 1.04, -4.0, 0.8 } },
	};
	struct salt_correction c = salt_at(checks, 2, 999, 2.5);
	CLOSE(c.gain, 1, 0, "before it");
	CLOSE(c.offset_pct, 0, 0, "before it");
	CLOSE(c.u_pct, 2.5, 0, "before it");
	c = salt_at(checks, 2, 1000, 2.5);
	CLOSE(c.offset_pct, -2, 0, "on its day");
	CLOSE(c.u_pct, sqrt(0.36 + 0.49), 1e-12, "on its day");
	c = salt_at(checks, 2, 2000, 2.5); /* a quarter of the way */
	CLOSE(c.gain, 1.01, 1e-12, "between");
	CLOSE(c.offset_pct, -2.5, 1e-12, "between");
	CLOSE(c.u_pct, sqrt(0.45 * 0.45 + 0.2 * 0.2 + 0.49), 1e-12, "between");
	int64_t later_s = 5000 + 2 * 31556952;
	c = salt_at(checks, 2, later_s, 2.5);
	CLOSE(c.gain, 1.04, 0, "held");
	CLOSE(c.u_pct, sqrt(0.64 + 0.49 + 1.0), 1e-12, "two years of drift");
	CLOSE(salt_at(checks, 1, 4000, 2.5).offset_pct, -2, 0, "without the second");
	CLOSE(salt_at(NULL, 0, 4000, 2.5).u_pct, 2.5, 0, "without any");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(fixed_points_are_those_of_the_published_polynomials),
		cmocka_unit_test(fixed_points_are_those_of_a_second_table),
		cmocka_unit_test(fixed_points_carry_their_uncertainty),
		cmocka_unit_test(two_salts_give_gain_and_offset),
		cmocka_unit_test(one_salt_gives_an_offset_and_is_trusted_less_away_from_it),
		cmocka_unit_test(what_cannot_be_trusted_is_refused),
		cmocka_unit_test(a_correction_holds_from_its_day_and_goes_over_into_the_next),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
