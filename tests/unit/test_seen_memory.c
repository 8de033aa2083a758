/* Every allocation of reading and merging an entry fails once. faulty_mem.h takes the place of core/mem.c. */
#include "tests/unit/support.h"

#include <string.h>

#include "tests/unit/faulty_mem.h"

#include "daemon/calendar_seen.h"

#define ENTRY(stamp, zone, due, words)                                                             \
	"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//example//x//EN\r\n" zone                      \
	"BEGIN:VTODO\r\nUID:u-1\r\nDTSTAMP:" stamp "\r\n" due "SUMMARY:" words                     \
	"\r\nDESCRIPTION:" words "\\nline\r\nEND:VTODO\r\nEND:VCALENDAR\r\n"
#define ZONE                                                                                       \
	"BEGIN:VTIMEZONE\r\nTZID:Own\r\nBEGIN:STANDARD\r\nDTSTART:19700101T000000\r\n"             \
	"TZOFFSETFROM:+0000\r\nTZOFFSETTO:+0000\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\n"

static const char sent[] = ENTRY("20260401T080000Z", "", "DUE;VALUE=DATE:20260420\r\n", "nuts");
static const char theirs[] =
	ENTRY("20260401T080000Z", "", "DUE;VALUE=DATE:20260420\r\nX-A:b\r\n", "nuts\\nmine");
static const char ours[] =
	ENTRY("20260410T080000Z", ZONE, "DUE;TZID=Own:20260420T080000\r\n", "screws");

static void without_memory_nothing_is_merged_and_nothing_held(void **state)
{
	(void)state;
	for (int n = 0;; n++) {
		char *out = NULL;
		bool changed = false;
		struct err err = { 0 };
		left = n;
		enum rc rc = calendar_merge(sent, theirs, ours, false, &out, &changed, &err);
		if (left >= 0) {
			OK(rc, &err);
			assert_true(changed);
			mem_free(out);
			assert_int_equal(held, 0);
			assert_true(n >= 13);
			return;
		}
		assert_int_equal(rc, RC_MEM);
		assert_null(out);
		assert_int_equal(held, 0);
	}
}

static void without_memory_nothing_is_seen_and_nothing_held(void **state)
{
	(void)state;
	struct zone *utc = NULL;
	struct err none = { 0 };
	left = -1;
	OK(zone_new("UTC", &utc, &none), &none);
	int before = held;
	for (int n = 0;; n++) {
		struct seen s = { .sequence = 99 };
		struct err err = { 0 };
		left = n;
		enum rc rc = calendar_seen(theirs, strlen(theirs), utc, &s, &err);
		assert_int_equal(held, before);
		if (left >= 0) {
			OK(rc, &err);
			assert_true(n >= 3);
			break;
		}
		assert_int_equal(rc, RC_MEM);
		assert_int_equal(s.sequence, 99);
	}
	left = -1;
	zone_free(utc);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(without_memory_nothing_is_merged_and_nothing_held),
		cmocka_unit_test(without_memory_nothing_is_seen_and_nothing_held),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
