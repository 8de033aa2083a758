/* Every allocation of writing a letter and of reading one fails once. faulty_mem.h takes the place of core/mem.c. */
#include "tests/unit/support.h"

#include <string.h>

#include "tests/unit/faulty_mem.h"
#include "daemon/letter.h"
#include "daemon/mime.h"
#include "daemon/reply.h"

static char text[60000];

static void writing_fails_whole(void **state)
{
	(void)state;
	const struct letter_parts l = {
		.from = "bench@bench.example",
		.from_name = "",
		.to = "a@b.example",
		.to_name = "h\xc3\xa9",
		.subject = "s",
		.text = text,
		.message_id = "<0b5c9d5e-1c3f-4c59-9d0e-6f3a4b1a2c3d@bench.example>",
		.calendar = text,
		.calendar_n = sizeof text - 1,
		.method = "REQUEST",
	};
	enum rc rc = RC_MEM;
	int failed = -1;
	memset(text, 'a', sizeof text - 1);
	for (int n = 0; rc != RC_OK; n++) {
		struct err err = { 0 };
		char *bytes = NULL;
		size_t len = 0;
		left = n;
		rc = letter_write(&l, &bytes, &len, &err);
		left = -1;
		assert_true(rc == RC_OK || (rc == RC_MEM && !bytes && err.text[0]));
		mem_free(bytes);
		assert_int_equal(held, 0);
		failed++;
	}
	assert_true(failed >= 4);
}

static void reading_fails_whole(void **state)
{
	(void)state;
	static const char mail[] =
		"Content-Type: "
		"text/calendar\n\nBEGIN:VCALENDAR\nMETHOD:REPLY\nBEGIN:VEVENT\nUID:u\n"
		"DTSTAMP:20260420T070000Z\nATTENDEE;PARTSTAT=ACCEPTED:mailto:a@b.example\n"
		"END:VEVENT\nEND:VCALENDAR\n";
	enum rc rc = RC_MEM;
	int failed = -1;
	for (int n = 0; rc != RC_OK; n++) {
		struct mime m;
		struct reply r;
		struct err err = { 0 };
		left = n;
		rc = mime_read(mail, sizeof mail - 1, &m, &err);
		if (rc == RC_OK)
			rc = reply_read(m.calendar, m.n, &r, &err);
		left = -1;
		assert_true(rc == RC_OK || (rc == RC_MEM && err.text[0]));
		mime_done(&m);
		assert_int_equal(held, 0);
		failed++;
	}
	assert_int_equal(failed, 2);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(writing_fails_whole),
		cmocka_unit_test(reading_fails_whole),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
