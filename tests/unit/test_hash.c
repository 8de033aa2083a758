#include "tests/unit/support.h"

#include <string.h>

#include "core/hash.h"

static void bytes_hash_to_the_published_values(void **state)
{
	(void)state;
	static const struct {
		const char *src, *text;
		uint64_t want;
	} rows[] = {
		{ "FNV offset basis (Fowler, Noll, Vo; from memory)", "",
			UINT64_C(0xcbf29ce484222325) },
		{ "FNV-1a test vector \"a\" (from memory)", "a", UINT64_C(0xaf63dc4c8601ec8c) },
		{ "FNV-1a test vector \"foobar\" (from memory)", "foobar",
			UINT64_C(0x85944171f73967e8) },
	};
	for (size_t i = 0; i < COUNT(rows); i++)
		assert_true(
			hash_on(HASH_START, rows[i].text, strlen(rows[i].text)) == rows[i].want);
}

static void texts_keep_their_borders(void **state)
{
	(void)state;
	uint64_t one = hash_text(hash_text(HASH_START, "ab"), "c");
	uint64_t two = hash_text(hash_text(HASH_START, "a"), "bc");
	assert_true(one != two);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(bytes_hash_to_the_published_values),
		cmocka_unit_test(texts_keep_their_borders),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
