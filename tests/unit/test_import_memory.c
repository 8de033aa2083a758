/* Every allocation of an import fails once. faulty_mem.h takes the place of core/mem.c. */
#include "tests/unit/support.h"

#include <stdlib.h>
#include <string.h>

#include "tests/unit/faulty_mem.h"
#include "daemon/import.h"

static void an_import_without_memory_ends_in_its_error_and_holds_nothing(void **state)
{
	(void)state;
	static const struct {
		const char *path, *zone;
	} rows[] = {
		{ "tests/data/import/autumn-by-name.csv", "Europe/Berlin" },
		{ "tests/data/import/pairs.csv", "+01:00" },
		{ "tests/data/import/tab-utf16le.csv", "" },
		{ "tests/data/import/order-ask.csv", "" },
	};
	const struct import_sink none = { 0 };
	for (size_t i = 0; i < COUNT(rows); i++) {
		int failed = 0;
		for (int n = 0;; n++) {
			struct layout known = { 0 };
			struct import_result r;
			struct err err = { 0 };
			strncpy(known.zone, rows[i].zone, sizeof known.zone - 1);
			left = n;
			enum rc rc = import_file(rows[i].path, &known, &none, &r, &err);
			bool untouched = left >= 0;
			assert_int_equal(held, 0);
			if (untouched) {
				assert_true(rc == RC_OK || rc == RC_ASK);
				break;
			}
			failed += rc == RC_MEM;
			assert_true(rc == RC_MEM || rc == RC_OK || rc == RC_ASK);
			assert_true(rc == RC_OK || err.text[0]);
		}
		assert_true(failed >= 5);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(an_import_without_memory_ends_in_its_error_and_holds_nothing),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
