/* Every allocation of an outlook fails once: the error is told, nothing is left behind. */
#include "tests/unit/support.h"

#include <stdio.h>
#include <string.h>

#include "tests/unit/faulty_mem.h"
#include "core/outlook.h"

/* Two woods: a table of diffusivity for each. */
static struct build two_woods(void)
{
	struct build b = { .name = "two", .sorption_ratio = 1, .scale_m = 0.6, .n_members = 2 };
	const enum member_role roles[] = { MEMBER_NECK, MEMBER_HEADSTOCK };
	for (size_t i = 0; i < COUNT(roles); i++)
		b.members[i] = (struct member){
			.role = roles[i],
			.wood = { .specific_gravity = 0.4 + 0.2 * (double)i,
				.c_r_per_pct = 0.0015,
				.c_t_per_pct = 0.0025,
				.e_l_pa = 1e10,
				.e_r_pa = 1e9,
				.e_t_pa = 5e8 },
			.thickness_m = 0.015,
			.width_m = 0.05,
		};
	return b;
}

static void each_failing_allocation_is_told(void **state)
{
	(void)state;
	const struct build b = two_woods();
	const struct learn_prior priors[LEARN_QUANTITIES] = { { 1, 1e-4, 0 }, { 1, 1e-4, 0 },
		{ 1, 1e-4, 0 }, { 1, 0.05, 0 } };
	enum rc rc = RC_MEM;
	int n = 0;
	for (; rc != RC_OK; n++) {
		struct outlook o;
		struct err err = { 0 };
		left = n;
		rc = outlook_of(&b, priors, &o, &err);
		assert_true(rc == RC_OK || (rc == RC_MEM && strstr(err.text, "out of memory")));
		assert_int_equal(held, 0);
	}
	assert_true(n > 3);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(each_failing_allocation_is_told),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
