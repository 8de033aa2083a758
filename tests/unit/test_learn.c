#include "tests/unit/support.h"

#include <math.h>
#include <string.h>

#include "core/learn.h"

enum { FINDINGS = 12, SEGMENTS = 3, UNKNOWNS = SEGMENTS + 1 };

static const struct learn_prior prior = { .gain_sd = 0.5, .reading_sd = 1, .scatter_sd = 0 };
static const struct learn_prior scattered = {
	.gain_sd = 0.8, .reading_sd = 0.3, .scatter_sd = 0.4
};

static double uniform(uint64_t *random)
{
	return (double)(support_random(random) >> 11) / 9007199254740992.0;
}

static void begin(struct learn_gain *g, struct learn_line *line)
{
	*g = (struct learn_gain){ 0 };
	learn_new_segment(line);
}

/* Worked by hand: x 0, 2, y 1, 4: means 1 and 2.5, Sxx = 2, Sxy = 3; precision 1/0.25 + 2 = 6, mean
 * (4 + 3)/6; at x = 3: 2.5 + 7/6 * 2, variance 1/2 + 4/6. */
static void two_findings_by_hand(void **state)
{
	(void)state;
	struct learn_gain g;
	struct learn_line line;
	begin(&g, &line);
	assert_true(learn_add(&g, &line, 0, 1));
	assert_true(learn_add(&g, &line, 2, 4));
	CLOSE(learn_gain_mean(&prior, &g), 7.0 / 6, 1e-15, "gain");
	CLOSE(learn_gain_sd(&prior, &g), sqrt(1.0 / 6), 1e-15, "its sd");
	struct learn_estimate e = learn_predict(&prior, &g, &line, 3);
	CLOSE(e.value, 2.5 + 7.0 / 3, 1e-15, "value");
	CLOSE(e.sd, sqrt(0.5 + 4.0 / 6), 1e-15, "sd");
	assert_int_equal(e.findings, 1);
	e = learn_change(&prior, &g, 2, -1);
	CLOSE(e.value, -3.5, 1e-15, "change");
	CLOSE(e.sd, 3 * sqrt(1.0 / 6), 1e-15, "its sd");
	assert_int_equal(e.findings, 1);
}

/* Worked by hand: y = g x with x 1, 2, y 2, 5: precision 1/0.25 + 5 = 9, mean (4 + 12)/9. */
static void a_known_origin_by_hand(void **state)
{
	(void)state;
	struct learn_gain g = { 0 };
	struct learn_estimate e = learn_predict(&prior, &g, NULL, 4);
	CLOSE(e.value, 4, 1e-15, "the prior speaks");
	CLOSE(e.sd, 2, 1e-15, "with its own spread");
	assert_int_equal(e.findings, 0);
	assert_true(learn_add(&g, NULL, 1, 2));
	assert_true(learn_add(&g, NULL, 2, 5));
	CLOSE(learn_gain_mean(&prior, &g), 16.0 / 9, 1e-15, "gain");
	e = learn_predict(&prior, &g, NULL, 3);
	CLOSE(e.value, 16.0 / 3, 1e-15, "value");
	CLOSE(e.sd, 1, 1e-15, "sd");
	assert_int_equal(e.findings, 2);
	e = learn_predict(&scattered, &g, NULL, 0);
	CLOSE(e.value, 0, 0, "nothing at the origin");
	CLOSE(e.sd, 0.4, 1e-15, "but scatter");
	double gain_sd = 1 / sqrt(1 / 0.64 + 5 / 0.25);
	CLOSE(learn_change(&scattered, &g, 5, 2).sd, sqrt(9 * gain_sd * gain_sd + 2 * 0.16), 1e-15,
		"scatter at both ends of a change");
}

/* By Gauss and Jordan with pivoting; a is used up. */
static void invert(double a[UNKNOWNS][UNKNOWNS], double inv[UNKNOWNS][UNKNOWNS])
{
	for (int i = 0; i < UNKNOWNS; i++)
		for (int k = 0; k < UNKNOWNS; k++)
			inv[i][k] = i == k;
	for (int c = 0; c < UNKNOWNS; c++) {
		int pivot = c;
		for (int i = c; i < UNKNOWNS; i++)
			pivot = fabs(a[i][c]) > fabs(a[pivot][c]) ? i : pivot;
		for (int k = 0; k < UNKNOWNS; k++) {
			double t = a[c][k];
			a[c][k] = a[pivot][k];
			a[pivot][k] = t;
			t = inv[c][k];
			inv[c][k] = inv[pivot][k];
			inv[pivot][k] = t;
		}
		double d = a[c][c];
		for (int k = 0; k < UNKNOWNS; k++) {
			a[c][k] /= d;
			inv[c][k] /= d;
		}
		for (int i = 0; i < UNKNOWNS; i++) {
			double by = a[i][c];
			for (int k = 0; i != c && k < UNKNOWNS; k++) {
				a[i][k] -= by * a[c][k];
				inv[i][k] -= by * inv[c][k];
			}
		}
	}
}

/* Bishop (2006) eqs 3.50, 3.51, 3.58, 3.59, from memory: S^-1 = S0^-1 + Phi' Phi / v,
 * m = S (S0^-1 m0 + Phi' y / v), predictive mean phi' m, variance phi' S phi. Unknowns: a level for each segment with
 * no prior precision, and the gain. */
static void posterior_is_that_of_the_textbook(void **state)
{
	(void)state;
	uint64_t random = support_seed();
	for (int round = 0; round < 200; round++) {
		double s_inv[UNKNOWNS][UNKNOWNS] = { 0 }, s[UNKNOWNS][UNKNOWNS],
		       rhs[UNKNOWNS] = { 0 }, m[UNKNOWNS] = { 0 };
		const double v = 0.3 * 0.3 + 0.4 * 0.4, precision = 1 / (0.8 * 0.8);
		struct learn_gain g;
		struct learn_line line;
		begin(&g, &line);
		s_inv[SEGMENTS][SEGMENTS] = rhs[SEGMENTS] = precision;
		for (int i = 0; i < FINDINGS; i++) {
			int segment = i / (FINDINGS / SEGMENTS);
			double x = 4 * uniform(&random) - 2, y = 10 * uniform(&random) - 5;
			if (i % (FINDINGS / SEGMENTS) == 0)
				learn_new_segment(&line);
			assert_true(learn_add(&g, &line, x, y));
			s_inv[segment][segment] += 1 / v;
			s_inv[segment][SEGMENTS] += x / v;
			s_inv[SEGMENTS][segment] += x / v;
			s_inv[SEGMENTS][SEGMENTS] += x * x / v;
			rhs[segment] += y / v;
			rhs[SEGMENTS] += x * y / v;
		}
		invert(s_inv, s);
		for (int i = 0; i < UNKNOWNS; i++)
			for (int k = 0; k < UNKNOWNS; k++)
				m[i] += s[i][k] * rhs[k];
		CLOSE(learn_gain_mean(&scattered, &g), m[SEGMENTS], 1e-11, "gain");
		CLOSE(learn_gain_sd(&scattered, &g), sqrt(s[SEGMENTS][SEGMENTS]), 1e-11, "its sd");
		const int a = SEGMENTS - 1, b = SEGMENTS;
		double x = 6 * uniform(&random) - 3;
		struct learn_estimate e = learn_predict(&scattered, &g, &line, x);
		CLOSE(e.value, m[a] + m[b] * x, 1e-11, "value");
		CLOSE(e.sd, sqrt(s[a][a] + 2 * s[a][b] * x + s[b][b] * x * x + 0.16), 1e-11, "sd");
		assert_int_equal(e.findings, FINDINGS - SEGMENTS);
	}
}

/* The definition itself: prior times likelihood summed over a grid of level and gain. */
static void posterior_is_that_of_a_grid(void **state)
{
	(void)state;
	static const double x[] = { -0.4, 0.9, 0.3 }, y[] = { 2.1, 1.2, 1.9 };
	const double at = 1.5, v = 0.25, step = 0.01;
	double sum = 0, g1 = 0, g2 = 0, p1 = 0, p2 = 0;
	struct learn_gain g;
	struct learn_line line;
	begin(&g, &line);
	for (size_t i = 0; i < COUNT(x); i++)
		assert_true(learn_add(&g, &line, x[i], y[i]));
	for (double a = -4; a < 8; a += step) {
		for (double gain = -6; gain < 6; gain += step) {
			double q = (gain - 1) * (gain - 1) / 0.64;
			for (size_t i = 0; i < COUNT(x); i++)
				q += (y[i] - a - gain * x[i]) * (y[i] - a - gain * x[i]) / v;
			double w = exp(-q / 2), p = a + gain * at;
			sum += w;
			g1 += w * gain;
			g2 += w * gain * gain;
			p1 += w * p;
			p2 += w * p * p;
		}
	}
	struct learn_estimate e = learn_predict(&scattered, &g, &line, at);
	CLOSE(learn_gain_mean(&scattered, &g), g1 / sum, 1e-9, "gain");
	CLOSE(learn_gain_sd(&scattered, &g), sqrt(g2 / sum - g1 / sum * g1 / sum), 1e-9, "its sd");
	CLOSE(e.value, p1 / sum, 1e-9, "value");
	CLOSE(e.sd, sqrt(p2 / sum - p1 / sum * p1 / sum + 0.16), 1e-9, "sd");
}

static void order_and_level_of_a_segment_teach_nothing(void **state)
{
	(void)state;
	static const double x[] = { 0.2, -1.1, 0.7, 2.4, -0.3 }, y[] = { 1, 0.2, -0.7, 3, 0.5 };
	struct learn_gain forth, back, high;
	struct learn_line up, down, above;
	begin(&forth, &up);
	begin(&back, &down);
	begin(&high, &above);
	for (size_t i = 0; i < COUNT(x); i++) {
		size_t k = COUNT(x) - 1 - i;
		assert_true(learn_add(&forth, &up, x[i], y[i]));
		assert_true(learn_add(&back, &down, x[k], y[k]));
		assert_true(learn_add(&high, &above, x[i] - 300, y[i] + 1000));
	}
	double gain = learn_gain_mean(&scattered, &forth);
	struct learn_estimate e = learn_predict(&scattered, &forth, &up, 3);
	CLOSE(learn_gain_mean(&scattered, &back), gain, 1e-14, "order");
	CLOSE(learn_predict(&scattered, &back, &down, 3).value, e.value, 1e-14, "order");
	CLOSE(learn_gain_mean(&scattered, &high), gain, 1e-11, "level");
	CLOSE(learn_gain_sd(&scattered, &high), learn_gain_sd(&scattered, &forth), 1e-11, "level");
	CLOSE(learn_predict(&scattered, &high, &above, 3 - 300).value, e.value + 1000, 1e-11,
		"level");
}

static void segments_and_lines_share_the_gain_alone(void **state)
{
	(void)state;
	struct learn_gain g;
	struct learn_line bass, treble;
	begin(&g, &bass);
	learn_new_segment(&treble);
	for (int i = 0; i < 4; i++) { /* both move by -2 for 1 of the model's */
		assert_true(learn_add(&g, &bass, i, 10 - 2 * i));
		assert_true(learn_add(&g, &treble, i, 5 - 2 * i));
	}
	double gain = learn_gain_mean(&prior, &g), sd = learn_gain_sd(&prior, &g);
	CLOSE(gain, (4 - 2 * 10.0) / 14, 1e-14, "a neck that moves the other way");
	CLOSE(learn_predict(&prior, &g, &bass, 1.5).value -
			learn_predict(&prior, &g, &treble, 1.5).value,
		5, 1e-14, "levels apart");
	learn_new_segment(&bass);
	CLOSE(learn_gain_mean(&prior, &g), gain, 0, "a new segment keeps the gain");
	struct learn_estimate e = learn_predict(&prior, &g, &bass, 2);
	assert_true(isnan(e.value) && isnan(e.sd));
	assert_int_equal(e.findings, 6);
	e = learn_change(&prior, &g, 2, 4);
	CLOSE(e.value, 2 * gain, 1e-15, "a change is still known");
	assert_true(learn_add(&g, &bass, 2, 100));
	CLOSE(learn_gain_mean(&prior, &g), gain, 0, "the first of a segment sets its level");
	CLOSE(learn_gain_sd(&prior, &g), sd, 0, "and tells nothing of the gain");
	e = learn_predict(&prior, &g, &bass, 3);
	CLOSE(e.value, 100 + gain, 1e-14, "from that level");
	CLOSE(e.sd, hypot(1, sd), 1e-14, "with the error of that one reading");
}

/* One finding in a segment at x = 0, so that at x = 2 prediction and reading have variance
 * 0.09 + 0.16 (level) + 4 * 0.64 (gain) + 0.16 (scatter) + 0.09 (reading). */
static void an_outlier_is_three_deviations_of_prediction_and_reading_off(void **state)
{
	(void)state;
	struct learn_gain g;
	struct learn_line line;
	begin(&g, &line);
	CLOSE(learn_surprise(&scattered, &g, &line, 2, 1e9), 0, 0, "no level, no surprise");
	assert_true(learn_add(&g, &line, 0, 7));
	double sd = sqrt(0.25 + 4 * 0.64 + 0.25);
	CLOSE(learn_surprise(&scattered, &g, &line, 2, 9 + sd), 1, 1e-14, "above");
	CLOSE(learn_surprise(&scattered, &g, &line, 2, 9 - 2 * sd), -2, 1e-14, "below");
	assert_true(learn_surprise(&scattered, &g, &line, 2, 9 + 3.001 * sd) > LEARN_OUTLIER);
	assert_true(learn_surprise(&scattered, &g, &line, 2, 9 + 2.999 * sd) < LEARN_OUTLIER);
	CLOSE(learn_surprise(&scattered, &g, NULL, 2, 2 + sqrt(4 * 0.64 + 0.25)), 1, 1e-14,
		"from the origin");
	assert_true(isnan(learn_surprise(&scattered, &g, &line, (double)NAN, 0)));
	assert_true(isnan(learn_surprise(&scattered, &g, &line, 0, (double)INFINITY)));
}

static void what_is_no_number_is_refused_and_changes_nothing(void **state)
{
	(void)state;
	static const double bad[][2] = { { (double)NAN, 1 }, { 1, (double)NAN },
		{ (double)INFINITY, 1 }, { 1, -(double)INFINITY }, { 1e200, 1 }, { 1e160, 1e160 } };
	struct learn_gain g, was;
	struct learn_line line, line_was;
	begin(&g, &line);
	assert_true(learn_add(&g, &line, 1, 2));
	assert_true(learn_add(&g, &line, 2, 2));
	was = g;
	line_was = line;
	for (size_t i = 0; i < COUNT(bad); i++) {
		assert_false(learn_add(&g, &line, bad[i][0], bad[i][1]));
		assert_false(learn_add(&g, NULL, bad[i][0], bad[i][1]));
		assert_memory_equal(&g, &was, sizeof g);
		assert_memory_equal(&line, &line_was, sizeof line);
	}
	assert_true(isnan(learn_predict(&prior, &g, &line, (double)NAN).value));
}

static void small_large_and_equal_x_are_borne(void **state)
{
	(void)state;
	struct learn_gain g;
	struct learn_line line;
	begin(&g, &line);
	for (int i = 0; i < 9; i++)
		assert_true(learn_add(&g, &line, 0.7, i));
	CLOSE(learn_gain_mean(&prior, &g), 1, 0, "equal x teach no gain");
	CLOSE(learn_gain_sd(&prior, &g), 0.5, 1e-15, "nor its sd");
	struct learn_estimate e = learn_predict(&prior, &g, &line, 0.7);
	CLOSE(e.value, 4, 1e-14, "but a level");
	CLOSE(e.sd, 1 / 3.0, 1e-15, "ever better");
	begin(&g, &line);
	for (int i = 0; i < 9; i++)
		assert_true(learn_add(&g, &line, i * 1e-200, i * 1e-200));
	CLOSE(learn_gain_mean(&prior, &g), 1, 0, "too small to teach");
	begin(&g, &line);
	for (int i = 0; i < 1000; i++) /* sums of squares would keep none of these digits */
		assert_true(learn_add(&g, &line, 1e7 + i % 10, -3e9 + 3 * (i % 10)));
	CLOSE(learn_gain_mean(&prior, &g), (4 + 3 * 8250.0) / (4 + 8250), 1e-8, "far from zero");
	begin(&g, &line);
	for (int i = 0; i < 9; i++)
		assert_true(learn_add(&g, &line, i * 1e150, -2 * i * 1e150));
	CLOSE(learn_gain_mean(&prior, &g), -2, 1e-12, "large");
	e = learn_predict(&prior, &g, &line, 1e151);
	CLOSE(e.value / 1e151, -2, 1e-12, "large value");
	assert_true(isfinite(e.sd));
}

/* A state is stored and compared as bytes. */
static void gain_and_line_have_no_padding(void **state)
{
	(void)state;
	assert_int_equal(sizeof(struct learn_gain), 2 * sizeof(double) + sizeof(int64_t));
	assert_int_equal(sizeof(struct learn_line), 2 * sizeof(double) + sizeof(int64_t));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(two_findings_by_hand),
		cmocka_unit_test(a_known_origin_by_hand),
		cmocka_unit_test(posterior_is_that_of_the_textbook),
		cmocka_unit_test(posterior_is_that_of_a_grid),
		cmocka_unit_test(order_and_level_of_a_segment_teach_nothing),
		cmocka_unit_test(segments_and_lines_share_the_gain_alone),
		cmocka_unit_test(an_outlier_is_three_deviations_of_prediction_and_reading_off),
		cmocka_unit_test(what_is_no_number_is_refused_and_changes_nothing),
		cmocka_unit_test(small_large_and_equal_x_are_borne),
		cmocka_unit_test(gain_and_line_have_no_padding),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
