/* Every allocation of a pick fails once. faulty_mem.h takes the place of core/mem.c. */
#include "tests/unit/pick_support.h"

#include "tests/unit/faulty_mem.h"

static enum rc once(struct bench *b, const char *body)
{
	b->err = (struct err){ 0 };
	b->result = (struct pick_result){ 0 };
	enum rc rc = pick_new(&b->set, &b->source, &b->pick, &b->err);
	if (rc == RC_OK)
		rc = pick_payload(b->pick, NULL, body, strlen(body), NOW_S, b->out, TEST_ROOM,
			&b->result, &b->err);
	bench_done(b);
	return rc;
}

static void without_memory_a_payload_gives_nothing_and_holds_nothing(void **state)
{
	static const struct {
		enum source_format format;
		const char *place, *body;
		int failing; /* allocations at least */
	} rows[] = {
		{ FORMAT_JSON, "/h", "{\"h\":45}", 2 },
		{ FORMAT_PLAIN, "", "45", 2 },
		{ FORMAT_METRICS, "rh{a=\"b\"}", "rh{a=\"b\"} 45\n", 5 },
		{ FORMAT_LINE, "air,a=b rh",
			"air,a=b rh=45 1700000000\nair,a=b rh=46 1700000060\nair,a=b rh=46 "
			"1700000120\n",
			6 },
		{ FORMAT_DELIMITED, "", "time,rh %,temp C\n2023-11-14T22:03Z,45.2,20\n", 5 },
	};
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		int failed = 0;
		for (int n = 0;; n++) {
			struct bench b;
			size_t streams = rows[i].format == FORMAT_DELIMITED ? 1 : 2;
			bench_init(&b, rows[i].format, streams);
			for (size_t k = 0; k < streams; k++)
				set_text(b.stream[k].humidity, rows[i].place);
			left = n;
			enum rc rc = once(&b, rows[i].body);
			assert_int_equal(held, 0);
			if (left >= 0) {
				OK(rc, &b.err);
				assert_true(b.result.n >= streams);
				break;
			}
			assert_int_equal(rc, RC_MEM);
			assert_int_equal(b.result.n, 0);
			failed++;
		}
		assert_true(failed >= rows[i].failing);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(without_memory_a_payload_gives_nothing_and_holds_nothing),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
