/* A mail of anybody, taken apart, and the answer in it. Whatever comes, what is taken out of it is fit to be shown and
 * compared, stays within its bounds, and comes out the same again. */
#include <ctype.h>
#include <string.h>

#include "daemon/address.h"
#include "daemon/mime.h"
#include "daemon/reply.h"
#include "daemon/state.h"
#include "daemon/utf8.h"
#include "tests/fuzz/fuzz.h"

static void check_text(const char *text)
{
	size_t n = strlen(text);
	for (size_t i = 0; i < n;) {
		bool valid;
		size_t step = utf8_step(text + i, n - i, &valid);
		HOLDS(valid && !iscntrl((unsigned char)text[i]));
		i += step;
	}
}

static void check_reply(const char *bytes, size_t n)
{
	struct reply a, b;
	struct err err = { 0 };
	enum rc rc = reply_read(bytes, n, &a, &err);
	HOLDS(rc == RC_OK || rc == RC_INPUT);
	HOLDS((rc == RC_OK) == (err.text[0] == '\0'));
	HOLDS(reply_read(bytes, n, &b, NULL) == rc);
	HOLDS(strcmp(a.uid, b.uid) == 0 && strcmp(a.attendee, b.attendee) == 0 &&
		a.answer == b.answer && a.sequence == b.sequence && a.stamp_s == b.stamp_s);
	HOLDS(a.sequence >= 0 && a.answer >= ANSWER_NONE && a.answer <= ANSWER_TENTATIVE);
	HOLDS(rc != RC_OK || (a.uid[0] && a.attendee[0]));
	HOLDS(!strchr(a.uid, '\n') && !strchr(a.attendee, '\n'));
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
	static struct mime a, b;
	struct err err = { 0 };
	enum rc rc = mime_read((const char *)bytes, n, &a, &err);
	HOLDS(rc == RC_OK || rc == RC_INPUT);
	HOLDS((rc == RC_OK) == (err.text[0] == '\0'));
	HOLDS(mime_read((const char *)bytes, n, &b, NULL) == rc);
	HOLDS(strcmp(a.from, b.from) == 0 && strcmp(a.subject, b.subject) == 0 &&
		strcmp(a.message_id, b.message_id) == 0 && a.n == b.n);
	HOLDS(!a.from[0] || address_good(a.from));
	check_text(a.subject);
	for (const char *c = a.message_id; *c; c++)
		HOLDS(isgraph((unsigned char)*c));
	HOLDS(a.n <= n && (a.calendar || a.n == 0));
	if (a.calendar) {
		HOLDS(memcmp(a.calendar, b.calendar, a.n) == 0);
		check_reply(a.calendar, a.n);
	}
	mime_done(&a);
	mime_done(&b);
	check_reply((const char *)bytes, n);
	return 0;
}
