#include "tests/unit/pick_support.h"

enum { NOTHING = INT32_MIN, REFUSED = INT32_MAX };

static int humidity_of(const char *place, const void *body, size_t n, struct bench *b)
{
	bench_init(b, FORMAT_LINE, 1);
	set_text(b->stream[0].humidity, place);
	enum rc rc = bench_bytes(b, NULL, body, n);
	bench_done(b);
	if (rc != RC_OK) {
		assert_int_equal(rc, RC_INPUT);
		return REFUSED;
	}
	assert_true(b->result.n <= 1);
	return b->result.n == 1 ? b->out[0].r.rh_cpct : NOTHING;
}

#define BODY(text) text, sizeof(text) - 1

/* Line protocol reference, versions 1 and 2: syntax, data types, quotes; escapes from memory. */
static void lines(void **state)
{
	static const struct {
		const char *body;
		size_t n;
		int want;
	} rows[] = {
		{ BODY("air,place=room1 rh=45.2,t=21.4 1700000000000000000"), 4520 },
		{ BODY("air,place=room1 rh=45.2,t=21.4 1700000000000000000\n"), 4520 },
		{ BODY("air,place=room1 rh=45.2\r\n"), 4520 },
		{ BODY("# air,place=room1 rh=1\n\nair,place=room1 t=21.4,rh=45.2\n"), 4520 },
		{ BODY("air,id=7,place=room1,x=y rh=45i"), 4500 },
		{ BODY("air,place=room1 rh=45u"), 4500 },
		{ BODY("air,place=room1 rh=4.52e1"), 4520 },
		{ BODY("air,place=room1 rh=45.2,on=true,note=\"a, b=c \\\"d\\\" \\\\\""), 4520 },
		{ BODY("air,place=room1 note=\"rh=1,rh=2\",rh=45.2"), 4520 },
		{ BODY("air,place=room1  rh=45.2  1700000000000000000 "), 4520 },
		{ BODY("air,place=room1 rh=\"45.2\""), NOTHING }, /* a text */
		{ BODY("air,place=room1 rh=true"), NOTHING },
		{ BODY("air,place=room1 rh=NaN"), NOTHING },
		{ BODY("air,place=room1 rh=i"), NOTHING },
		{ BODY("air,place=room1 rh=1e999"), NOTHING },
		{ BODY("air,place=room1 rh=200"), NOTHING },
		{ BODY("air,place=room1 rh=45\0"), NOTHING },
		{ BODY("air,place=room1 RH=45.2"), NOTHING },
		{ BODY("air,place=room2 rh=45.2"), NOTHING },
		{ BODY("air rh=45.2"), NOTHING },
		{ BODY("airs,place=room1 rh=45.2"), NOTHING },
		{ BODY("air,place=room1 rh=45.2,rh=45.3"), NOTHING },
		{ BODY("air,place=room1,id=1 rh=45.2\nair,place=room1,id=2 rh=45.3"), NOTHING },
		{ BODY("air,place=room1 rh=45.2 1700000000000000000x"), NOTHING },
		{ BODY("air,place=room1 rh=45.2 12345678901234567890123456789"), NOTHING },
		{ BODY("air,place=room1 rh=45.2 1700000000.5"), NOTHING },
		{ BODY("air,place=room1 rh=45.2 1"), NOTHING },
		{ BODY(""), NOTHING },
		{ BODY("\n\n"), NOTHING },
		{ BODY("air,place=room1"), REFUSED },
		{ BODY("air,place=room1 "), REFUSED },
		{ BODY("air,place=room1 rh"), REFUSED },
		{ BODY("air,place=room1 rh="), REFUSED },
		{ BODY("air,place=room1 =45.2"), REFUSED },
		{ BODY("air,place=room1 rh=45.2,"), REFUSED },
		{ BODY("air,place=room1 rh=45.2,,t=1"), REFUSED },
		{ BODY("air,place=room1 rh=45.2 1700000000000000000 x"), REFUSED },
		{ BODY("air,place= rh=45.2"), REFUSED },
		{ BODY("air,place rh=45.2"), REFUSED },
		{ BODY("air,=room1 rh=45.2"), REFUSED },
		{ BODY("air,,place=room1 rh=45.2"), REFUSED },
		{ BODY("air,place=room1, rh=45.2"), REFUSED },
		{ BODY(",place=room1 rh=45.2"), REFUSED },
		{ BODY(" air,place=room1 rh=45.2"), REFUSED },
		{ BODY("air,place=room1 rh=\"45.2"), REFUSED },
		{ BODY("air,place=room1 rh=\"45.2\\\""), REFUSED },
		{ BODY("air,place=room1 rh=\"45.2\"x"), REFUSED },
		{ BODY("air,place=room1 note=\"two\nlines\",rh=45.2"), REFUSED },
		{ BODY("air,place=room1\trh=45.2"), REFUSED },
		{ BODY("\0"), REFUSED },
		{ BODY("{\"rh\":45.2}"), REFUSED },
		{ BODY("air,place=room1 rh=45.2\nrubbish"), REFUSED },
	};
	struct bench b;
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		int got = humidity_of("air,place=room1 rh", rows[i].body, rows[i].n, &b);
		if (got != rows[i].want)
			fail_msg("row %zu: %s: %d, not %d: %s", i, rows[i].body, got, rows[i].want,
				b.result.example);
		assert_int_equal(b.result.absent > 0, got == NOTHING);
	}
}

/* Commas and blanks in measurements; commas, equals signs and blanks in tags and names of fields; other backslashes stand
 * for themselves; from memory. */
static void escapes(void **state)
{
	static const struct {
		const char *place, *body;
		int want;
	} rows[] = {
		{ "my\\ air rh", "my\\ air rh=45", 4500 },
		{ "my\\,air rh", "my\\,air rh=45", 4500 },
		{ "air,a\\=b=c\\ d r\\ h", "air,a\\=b=c\\ d r\\ h=45", 4500 },
		{ "air,p=a\\,b rh", "air,p=a\\,b rh=45", 4500 },
		{ "air,p=a\\,b rh", "air,p=a,b=c rh=45", NOTHING },
		{ "air,p=C:\\x rh", "air,p=C:\\x rh=45", 4500 },
		{ "air,p=C:\\x rh", "air,p=C:x rh=45", NOTHING },
		{ "air,p=a\\\\b rh", "air,p=a\\\\b rh=45", 4500 },
		{ "air,p=\xC3\xA4 rh", "air,p=\xC3\xA4 rh=45", 4500 },
		{ "air,p=\"x\" rh", "air,p=\"x\" rh=45", 4500 }, /* quotes are part of a tag */
		{ "air,p=\"x\" rh", "air,p=x rh=45", NOTHING },
	};
	struct bench b;
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		int got = humidity_of(rows[i].place, rows[i].body, strlen(rows[i].body), &b);
		if (got != rows[i].want)
			fail_msg("%s in %s: %d", rows[i].place, rows[i].body, got);
	}
}

/* Nanoseconds; clients may be set to write us, ms or s, which their size tells. */
static void time_stamps(void **state)
{
	static const char *const stamps[] = { "1700000000999999999", "1700000000999999",
		"1700000000999", "1700000000" };
	struct bench b;
	(void)state;
	for (size_t i = 0; i < COUNT(stamps); i++) {
		char body[64];
		int n = snprintf(body, sizeof body, "air rh=45 %s\n", stamps[i]);
		assert_int_equal(humidity_of("air rh", body, (size_t)n, &b), 4500);
		assert_int_equal(b.out[0].r.t_s, 1700000000);
		assert_true(b.out[0].sent);
	}
	assert_int_equal(humidity_of("air rh", "air rh=45", 9, &b), 4500);
	assert_int_equal(b.out[0].r.t_s, NOW_S);
	assert_false(b.out[0].sent);
}

static void one_reading_for_each_time(void **state)
{
	static const char body[] = "air,id=1 rh=40,t=20 1700000000000000000\n"
				   "air,id=2 rh=50,t=25 1700000000000000000\n"
				   "air,id=1 t=21 1700000060000000000\n"
				   "cell,id=1 charge=87i 1700000060000000000\n"
				   "air,id=1 rh=41 1700000060000000000\n"
				   "air,id=2 rh=51 1700000060000000000\n"
				   "air,id=1 t=22 1700000120000000000\n"
				   "air,id=3 rh=1 1700000120000000000\n";
	static const struct {
		const char *sensor;
		int64_t t_s;
		int rh_cpct, temp_cdegc, battery_pct;
	} want[] = {
		{ "a", 1700000000, 4000, 2000, -1 },
		{ "b", 1700000000, 5000, 2500, -1 },
		{ "a", 1700000060, 4100, 2100, 87 },
		{ "b", 1700000060, 5100, QUALITY_NO_TEMP, -1 },
	};
	struct bench b;
	(void)state;
	bench_init(&b, FORMAT_LINE, 2);
	for (size_t i = 0; i < 2; i++) {
		(void)snprintf(b.stream[i].humidity, PICK_SIZE, "air,id=%zu rh", i + 1);
		(void)snprintf(b.stream[i].temperature, PICK_SIZE, "air,id=%zu t", i + 1);
		(void)snprintf(b.stream[i].battery, PICK_SIZE, "cell,id=%zu charge", i + 1);
	}
	assert_int_equal(bench_text(&b, body), RC_OK);
	assert_int_equal(b.result.n, COUNT(want));
	for (size_t i = 0; i < COUNT(want); i++) {
		assert_string_equal(b.out[i].sensor, want[i].sensor);
		assert_int_equal(b.out[i].r.t_s, want[i].t_s);
		assert_int_equal(b.out[i].r.rh_cpct, want[i].rh_cpct);
		assert_int_equal(b.out[i].r.temp_cdegc, want[i].temp_cdegc);
		assert_int_equal(b.out[i].battery_pct, want[i].battery_pct);
	}
	assert_int_equal(b.result.absent, 1); /* 22 degC of 1700000120, without humidity */
	bench_done(&b);
}

static void more_readings_than_there_is_room_for(void **state)
{
	char body[4096];
	size_t n = 0;
	struct bench b;
	(void)state;
	for (size_t i = 0; i < TEST_ROOM; i++)
		n += (size_t)snprintf(body + n, sizeof body - n, "air rh=45 %zu\n", 1700000000 + i);
	bench_init(&b, FORMAT_LINE, 1);
	set_text(b.stream[0].humidity, "air rh");
	assert_int_equal(bench_bytes(&b, NULL, body, n), RC_OK);
	assert_int_equal(b.result.n, TEST_ROOM);
	n += (size_t)snprintf(body + n, sizeof body - n, "air rh=45 1800000000\n");
	assert_int_equal(bench_bytes(&b, NULL, body, n), RC_INPUT);
	bench_done(&b);
}

/* n lines of a field, each a second after the one before; the number of readings, or -1 when it is refused. */
static int many(const char *field, size_t n)
{
	enum { ROOM = 2 * PICK_SAMPLES_MAX, LINE = 32 };
	struct bench b;
	size_t size = 0;
	char *body = test_malloc(n * LINE);
	struct intake_sample *out = test_malloc(ROOM * sizeof *out);
	for (size_t i = 0; i < n; i++)
		size += (size_t)snprintf(
			body + size, LINE, "air %s=45 %zu\n", field, 1700000000 + i);
	bench_init(&b, FORMAT_LINE, 1);
	b.source.size_limit = (int)(n * LINE);
	set_text(b.stream[0].humidity, "air rh");
	set_text(b.stream[0].temperature, "air t");
	OK(pick_new(&b.set, &b.source, &b.pick, &b.err), &b.err);
	enum rc rc = pick_payload(b.pick, NULL, body, size, NOW_S, out, ROOM, &b.result, &b.err);
	assert_true(rc == RC_OK || rc == RC_INPUT);
	bench_done(&b);
	test_free(out);
	test_free(body);
	return rc == RC_OK ? (int)b.result.n : -1;
}

static void readings_of_a_payload_have_a_cap(void **state)
{
	(void)state;
	assert_int_equal(many("rh", PICK_SAMPLES_MAX), PICK_SAMPLES_MAX);
	assert_int_equal(many("rh", PICK_SAMPLES_MAX + 1), -1);
	assert_int_equal(many("t", 3 * PICK_SAMPLES_MAX), 0);
	assert_int_equal(many("t", 3 * PICK_SAMPLES_MAX + 1), -1);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(lines),
		cmocka_unit_test(escapes),
		cmocka_unit_test(time_stamps),
		cmocka_unit_test(one_reading_for_each_time),
		cmocka_unit_test(more_readings_than_there_is_room_for),
		cmocka_unit_test(readings_of_a_payload_have_a_cap),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
