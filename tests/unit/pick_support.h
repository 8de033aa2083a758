/* A source with streams and what a payload of it gives, for the tests of pick. */
#ifndef TESTS_UNIT_PICK_SUPPORT_H
#define TESTS_UNIT_PICK_SUPPORT_H

#include "tests/unit/support.h"

#include <stdio.h>
#include <string.h>

#include "daemon/pick.h"

#define NOW_S INT64_C(1700000000) /* 2023-11-14T22:13:20Z */

enum { TEST_STREAMS = 4, TEST_ROOM = 64 };

struct bench {
	struct settings set;
	struct source source;
	struct stream stream[TEST_STREAMS];
	struct layout layout;
	struct pick *pick;
	struct intake_sample out[TEST_ROOM];
	struct pick_result result;
	struct err err;
};

/* n streams named s0, s1, ... of sensors a, b, ...; places are the test's to fill in. */
static inline void bench_init(struct bench *b, enum source_format format, size_t n)
{
	memset(b, 0, sizeof *b);
	b->source = (struct source){ .name = "src", .kind = SOURCE_HTTP, .size_limit = 262144 };
	b->source.format = (int)format;
	b->set.sources = &b->source;
	b->set.n_sources = 1;
	b->set.streams = b->stream;
	b->set.n_streams = n;
	b->set.layouts = &b->layout;
	for (size_t i = 0; i < n; i++) {
		struct stream *s = &b->stream[i];
		(void)snprintf(s->name, sizeof s->name, "s%zu", i);
		(void)snprintf(s->source, sizeof s->source, "src");
		(void)snprintf(s->sensor, sizeof s->sensor, "%c", (int)('a' + i));
	}
}

static inline void set_text(char *to, const char *text)
{
	assert_true(strlen(text) < PICK_SIZE);
	memcpy(to, text, strlen(text) + 1);
}

static inline enum rc bench_bytes(struct bench *b, const char *topic, const void *p, size_t n)
{
	if (!b->pick)
		OK(pick_new(&b->set, &b->source, &b->pick, &b->err), &b->err);
	b->err = (struct err){ 0 };
	memset(&b->result, 0xA5, sizeof b->result);
	/* from the heap and without a NUL, so that sanitizers see a read beyond the end */
	char *copy = test_malloc(n ? n : 1);
	if (n > 0)
		memcpy(copy, p, n);
	enum rc rc = pick_payload(
		b->pick, topic, copy, n, NOW_S, b->out, TEST_ROOM, &b->result, &b->err);
	test_free(copy);
	assert_true(rc == RC_OK || b->result.n == 0);
	assert_int_equal(rc == RC_OK, b->err.text[0] == '\0');
	return rc;
}

static inline enum rc bench_text(struct bench *b, const char *text)
{
	return bench_bytes(b, NULL, text, strlen(text));
}

static inline void bench_done(struct bench *b)
{
	pick_free(b->pick);
	b->pick = NULL;
}

#endif
