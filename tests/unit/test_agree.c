#include "tests/unit/support.h"

#include <math.h>

#include "core/agree.h"

#define NOTHING ((double)NAN)
static const struct agree_said silent = { (double)NAN, (double)NAN, (double)NAN };

static double rh_of(const struct agree_said *said, size_t n, double *t_degc)
{
	struct agree_sum sum = { 0 };
	for (size_t i = 0; i < n; i++)
		agree_add(&sum, &said[i]);
	*t_degc = agree_t_degc(&sum);
	return agree_rh_pct(&sum, isnan(*t_degc) ? 20 : *t_degc);
}

/* Of one temperature: weights 1/1 and 1/4, (50 + 40/4) / 1.25 = 48 %. Inverse variance weighing, ISO GUM. */
static void sensors_weigh_by_their_accuracy(void **state)
{
	(void)state;
	double t = 0;
	const struct agree_said alike[] = { { 50, 21, 1 }, { 40, 21, 2 } };
	CLOSE(rh_of(alike, 2, &t), 48, 1e-9, "RH");
	CLOSE(t, 21, 1e-12, "temperature");
	const struct agree_said warm[] = { { 50, 20, 1 }, { 50, 25, 2 } };
	(void)rh_of(warm, 2, &t);
	CLOSE(t, 21, 1e-12, "temperature by the same weights");
	const struct agree_said bare[] = { { 50, NOTHING, 1 }, { 40, NOTHING, 2 } };
	CLOSE(rh_of(bare, 2, &t), 48, 1e-12, "no temperature at all");
	assert_true(isnan(t));
	const struct agree_said half[] = { { 50, 21, 1 }, { 40, NOTHING, 2 } };
	CLOSE(rh_of(half, 2, &t), 48, 1e-9, "one of them without: it stands in the same air");
}

/* Saturation pressure 2338.8 Pa at 20, 2810.4 at 23, 3362.9 at 26 degC (ASHRAE Fundamentals 2017, eq. 6). The
 * same 1169.4 Pa is 50 % at 20, 34.77 % at 26 and 41.61 % at 23; the mean of both RH would be 42.39. */
static const struct agree_said cool = { 50, 20, 2 }, corner = { 34.773, 26, 2 };

static void unlike_temperatures_do_not_bias_the_mean(void **state)
{
	(void)state;
	double t = 0;
	const struct agree_said said[] = { cool, corner };
	CLOSE(rh_of(said, 2, &t), 41.61, 0.02, "RH");
	CLOSE(t, 23, 1e-12, "temperature");
}

static void a_single_sensor_goes_through_untouched(void **state)
{
	(void)state;
	double t = 0;
	const struct agree_said said[] = { silent, { 43.217, 19.83, 1.7 }, silent };
	assert_true(rh_of(said, 3, &t) == 43.217);
	assert_true(t == 19.83);
	assert_true(isnan(rh_of(said, 1, &t)));
}

static void a_warm_corner_is_not_off_a_wet_sensor_is(void **state)
{
	(void)state;
	struct agree_said said[] = { cool, cool, silent, corner, corner, corner };
	struct agree_off off = agree_off(said, 2, 3, 1);
	assert_int_equal(off.hours, 2);
	CLOSE(off.rh_pct, 0, 0.02, "warm corner");
	CLOSE(off.pa, 0, 0.5, "warm corner");
	CLOSE(off.t_degc, 26, 1e-12, "its temperature");
	CLOSE(off.others_t_degc, 20, 1e-12, "the other's");
	/* two of 2 % each; 0.3 K twice at 6 % of 34.77 a K: sqrt(8 + 2 x 0.6259^2) = 2.964 */
	CLOSE(off.sd_pct, 2.964, 0.001, "expected of it");
	for (size_t h = 3; h < 6; h++)
		said[h] = (struct agree_said){ 60, 20, 2 };
	CLOSE(agree_off(said, 2, 3, 1).rh_pct, 10, 1e-9, "wet sensor");
	CLOSE(agree_off(said, 2, 3, 0).rh_pct, -10, 1e-9, "the other way");
}

/* Three: each against the weighted mean of the other two; accuracy of that mean 1 / sqrt(1/1 + 1/4) = 0.894. */
static void each_is_held_against_the_mean_of_the_others(void **state)
{
	(void)state;
	const struct agree_said said[] = { { 50, 20, 1 }, { 40, 20, 2 }, { 58, 20, 3 } };
	struct agree_off off = agree_off(said, 3, 1, 2);
	CLOSE(off.rh_pct, 10, 1e-9, "against 48");
	double u_t = 0.06 * 58 * 0.3;
	CLOSE(off.sd_pct, sqrt(9 + 0.8 + 2 * u_t * u_t), 1e-9, "expected");
	assert_int_equal(agree_off(said, 1, 1, 0).hours, 0);
	assert_true(isnan(agree_off(said, 1, 1, 0).rh_pct));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(sensors_weigh_by_their_accuracy),
		cmocka_unit_test(unlike_temperatures_do_not_bias_the_mean),
		cmocka_unit_test(a_single_sensor_goes_through_untouched),
		cmocka_unit_test(a_warm_corner_is_not_off_a_wet_sensor_is),
		cmocka_unit_test(each_is_held_against_the_mean_of_the_others),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
