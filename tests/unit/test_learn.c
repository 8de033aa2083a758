#include "tests/unit/support.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/learn.h"

static const struct learn_prior prior = { .gain_sd = 0.5, .reading_sd = 1, .scatter_sd = 0 };

/* Worked by hand: x 0, 2, y 1, 4: means 1 and 2.5, Sxx = 2, Sxy = 3; precision 1/0.25 + 2 = 6, mean
 * (4 + 3)/6; at x = 3: 2.5 + 7/6 * 2, variance 1/2 + 4/6. */
static void two_findings_by_hand(void **state)
{
	(void)state;
	struct learn_gain g;
	struct learn_line line;
	learn_begin(&g);
	learn_new_segment(&line);
	assert_true(learn_add(&g, &line, 0, 1));
	assert_true(learn_add(&g, &line, 2, 4));
	CLOSE(learn_gain_mean(&prior, &g), 7.0 / 6, 1e-15, "gain");
	CLOSE(learn_gain_sd(&prior, &g), sqrt(1.0 / 6), 1e-15, "its sd");
	struct learn_estimate e = learn_predict(&prior, &g, &line, 3);
	CLOSE(e.value, 2.5 + 7.0 / 3, 1e-15, "value");
	CLOSE(e.sd, sqrt(0.5 + 4.0 / 6), 1e-15, "sd");
	assert_int_equal(e.findings, 1);
	CLOSE(learn_surprise(&prior, &g, &line, 3, e.value + sqrt(0.5 + 4.0 / 6 + 1)), 1, 1e-12,
		"surprise");
	e = learn_change(&prior, &g, 2, -1);
	CLOSE(e.value, -3.5, 1e-15, "change");
	CLOSE(e.sd, 3 * sqrt(1.0 / 6), 1e-15, "its sd");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(two_findings_by_hand),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
