#include "tests/unit/support.h"

#include <string.h>

#include "core/mem.h"
#include "daemon/letter.h"

/* What Python's email package makes of random ones is in tests/system/test_letter.py. */

static const struct letter_parts plain = {
	.from = "bench@bench.example",
	.from_name = "Bench by the river",
	.to = "school@harbour.example",
	.to_name = "H\xc3\xa4"
		   "fen",
	.subject = "Seasonal visit, 2026-03-02 14:00",
	.text = "To you = all,\n\nh\xc3\xa9 \nend",
	.message_id = "<0b5c9d5e-1c3f-4c59-9d0e-6f3a4b1a2c3d@bench.example>",
	.date_s = 1772366400, /* date -u -d @1772366400: Sun 2026-03-01 12:00:00 */
	.can_stop = true,
	.method = "CANCEL",
};

static char *written(const struct letter_parts *l)
{
	char *bytes = NULL;
	size_t n = 0;
	struct err err = { 0 };
	OK(letter_write(l, &bytes, &n, &err), &err);
	assert_int_equal(strlen(bytes), n);
	return bytes;
}

/* RFC 5322 3.3 (date), 3.4 (addresses), RFC 2047 2 (encoded word), RFC 2045 6.7 (quoted-printable); base64 by base64(1) */
static void a_letter_to_the_octet(void **state)
{
	(void)state;
	char *got = written(&plain);
	assert_string_equal(got,
		"Date: Sun, 01 Mar 2026 12:00:00 +0000\r\n"
		"From: \"Bench by the river\" <bench@bench.example>\r\n"
		"To: =?UTF-8?B?SMOkZmVu?= <school@harbour.example>\r\n"
		"Subject: Seasonal visit, 2026-03-02 14:00\r\n"
		"Message-ID: <0b5c9d5e-1c3f-4c59-9d0e-6f3a4b1a2c3d@bench.example>\r\n"
		"Auto-Submitted: auto-generated\r\n"
		"List-Unsubscribe: <mailto:bench@bench.example?subject=stop>\r\n"
		"MIME-Version: 1.0\r\n"
		"Content-Type: text/plain; charset=UTF-8\r\n"
		"Content-Transfer-Encoding: quoted-printable\r\n"
		"\r\n"
		"To you =3D all,\r\n\r\nh=C3=A9=20\r\nend\r\n");
	mem_free(got);
}

static void the_same_parts_give_the_same_octets_and_calendars_both_places(void **state)
{
	(void)state;
	struct letter_parts l = plain;
	l.calendar = "BEGIN:VCALENDAR\r\nMETHOD:CANCEL\r\nEND:VCALENDAR\r\n";
	l.calendar_n = strlen(l.calendar);
	char *a = written(&l), *b = written(&l);
	assert_string_equal(a, b);
	assert_non_null(strstr(a, "Content-Type: text/calendar; charset=UTF-8; method=CANCEL;\r\n "
				  "component=VEVENT\r\n"));
	static const char text[] = /* base64(1) */
		"\r\nQkVHSU46VkNBTEVOREFSDQpNRVRIT0Q6Q0FOQ0VMDQpFTkQ6VkNBTEVOREFSDQo=\r\n";
	const char *first = strstr(a, text);
	assert_non_null(first);
	assert_non_null(strstr(first + 1, text));
	mem_free(a);
	mem_free(b);
}

static void no_part_makes_a_line_of_its_own(void **state)
{
	(void)state;
	struct letter_parts l = plain;
	l.subject = "a\r\nBcc: mallory@evil.example\r\n\r\nbody";
	l.to_name = "b\nBcc: mallory@evil.example";
	l.from_name = "\rBcc: mallory@evil.example \x01\x7f";
	char *got = written(&l);
	assert_null(strstr(got, "\nBcc"));
	assert_null(strstr(got, "\rBcc"));
	assert_null(strchr(got, '\x01'));
	mem_free(got);
	static const char *const bad[] = { "", "a", "a@b\r\nBcc: c@d", "a b@c", "<a@b>" };
	for (size_t i = 0; i < COUNT(bad); i++) {
		char *bytes = NULL;
		size_t n = 0;
		struct err err = { 0 };
		l = plain;
		l.to = bad[i];
		assert_int_equal(letter_write(&l, &bytes, &n, &err), RC_INPUT);
		l = plain;
		l.from = bad[i];
		assert_int_equal(letter_write(&l, &bytes, &n, &err), RC_INPUT);
		assert_null(bytes);
	}
}

static void message_ids_are_of_our_domain_and_differ(void **state)
{
	(void)state;
	char a[LETTER_ID_SIZE], b[LETTER_ID_SIZE];
	OK(letter_id("bench@bench.example", a, NULL), NULL);
	OK(letter_id("bench@bench.example", b, NULL), NULL);
	assert_string_not_equal(a, b);
	assert_int_equal(a[0], '<');
	assert_string_equal(a + 37, "@bench.example>");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_letter_to_the_octet),
		cmocka_unit_test(the_same_parts_give_the_same_octets_and_calendars_both_places),
		cmocka_unit_test(no_part_makes_a_line_of_its_own),
		cmocka_unit_test(message_ids_are_of_our_domain_and_differ),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
