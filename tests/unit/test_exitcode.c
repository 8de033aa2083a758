#include "tests/unit/support.h"

#include "daemon/exitcode.h"

/* Numbers of sysexits.h (4.3BSD), written out so that a changed mapping shows. */
static void every_result_has_its_sysexits_number(void **state)
{
	(void)state;
	static const struct {
		enum rc rc;
		int want;
	} rows[] = {
		{ RC_OK, 0 },
		{ RC_USAGE, 64 },
		{ RC_CONFIG, 78 },
		{ RC_INPUT, 65 },
		{ RC_ASK, 65 },
		{ RC_UNKNOWN, 66 },
		{ RC_IO, 74 },
		{ RC_STORE, 70 },
		{ RC_BUSY, 75 },
		{ RC_FULL, 73 },
		{ RC_MEM, 71 },
	};
	for (size_t i = 0; i < COUNT(rows); i++)
		assert_int_equal(exitcode_of(rows[i].rc), rows[i].want);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_result_has_its_sysexits_number),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
