/* Addresses of entries on servers, as RFC 3986 section 2.1 and 6.2.2 compare them: percent-encoded or not, they are the same. */
#include "tests/unit/support.h"

#include <string.h>

#include "daemon/share_int.h"

static void hashes_agree_with_sameness(void **state)
{
	static const char *const same[][2] = {
		{ "/a/b%202.ics", "/a/b 2.ics" },
		{ "/%62ench/x.ics", "https://cal.example/bench/x.ics" },
		{ "/a/%c3%a4.ics", "/a/%C3%A4.ics" },
		{ "http://localhost:5232/u/x.ics", "/u/x.ics" },
	};
	static const char *const other[][2] = {
		{ "/a/b.ics", "/a/B.ics" },
		{ "/a/b%2.ics", "/a/b2.ics" },
		{ "/a/b.ics", "/a/b.icsx" },
	};
	(void)state;
	for (size_t i = 0; i < COUNT(same); i++) {
		assert_true(dav_href_same(same[i][0], same[i][1]));
		assert_true(share_href_hash(same[i][0]) == share_href_hash(same[i][1]));
	}
	for (size_t i = 0; i < COUNT(other); i++) {
		assert_false(dav_href_same(other[i][0], other[i][1]));
		assert_true(share_href_hash(other[i][0]) != share_href_hash(other[i][1]));
	}
}

static void entries_have_addresses_below_their_calendar(void **state)
{
	char href[DAV_HREF], parent[DAV_HREF], long_url[DAV_HREF];
	(void)state;
	assert_true(share_new_href("https://cal.example/u/bench/", "ab-1", href));
	assert_string_equal(href, "/u/bench/ab-1.ics");
	share_parent(href, parent);
	assert_string_equal(parent, "/u/bench/");
	assert_true(share_new_href("https://cal.example/u/bench", "ab-1", href));
	assert_string_equal(href, "/u/bench/ab-1.ics");
	assert_true(share_new_href("https://cal.example", "ab-1", href));
	assert_string_equal(href, "/ab-1.ics");
	memset(long_url, 'a', sizeof long_url - 1);
	long_url[0] = '/';
	long_url[sizeof long_url - 1] = '\0';
	assert_false(share_new_href(long_url, "ab-1", href));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(hashes_agree_with_sameness),
		cmocka_unit_test(entries_have_addresses_below_their_calendar),
	};
	return cmocka_run_group_tests_name("share_href", tests, NULL, NULL);
}
