#include "tests/unit/pick_support.h"

/* A document of one stream with `humidity` at place: its hundredths of a percent, or what came instead. */
enum { NOTHING = -1, REFUSED = -2 };

static int humidity_at(const char *place, const void *body, size_t n)
{
	struct bench b;
	bench_init(&b, FORMAT_JSON, 1);
	set_text(b.stream[0].humidity, place);
	enum rc rc = bench_bytes(&b, NULL, body, n);
	bench_done(&b);
	if (rc != RC_OK) {
		assert_int_equal(rc, RC_INPUT);
		return REFUSED;
	}
	assert_int_equal(b.result.n + b.result.absent, 1);
	return b.result.n == 1 ? b.out[0].r.rh_cpct : NOTHING;
}

/* RFC 6901 section 5: the document, its pointers and values; from memory, the tokens confirmed by tests of a public
 * implementation. */
static void pointers_of_rfc_6901(void **state)
{
	static const char document[] = "{\"foo\": [\"bar\", \"baz\"], \"\": 0, \"a/b\": 1, "
				       "\"c%d\": 2, \"e^f\": 3, \"g|h\": 4, "
				       "\"i\\\\j\": 5, \"k\\\"l\": 6, \" \": 7, \"m~n\": 8}";
	static const struct {
		const char *pointer;
		int want;
	} rows[] = {
		{ "/foo", NOTHING },
		{ "/foo/0", NOTHING }, /* "bar": no number */
		{ "/", 0 },
		{ "/a~1b", 100 },
		{ "/c%d", 200 },
		{ "/e^f", 300 },
		{ "/g|h", 400 },
		{ "/i\\j", 500 },
		{ "/k\"l", 600 },
		{ "/ ", 700 },
		{ "/m~0n", 800 },
		{ "/absent", NOTHING },
		{ "/a~1b/0", NOTHING },
	};
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		int got = humidity_at(rows[i].pointer, document, strlen(document));
		if (got != rows[i].want)
			fail_msg("%s: %d, not %d", rows[i].pointer, got, rows[i].want);
	}
}

/* RFC 6901 sections 3 and 4: digits without a leading zero; - is the element after the last; ~01 is ~1. */
static void array_indices_and_escapes(void **state)
{
	static const char document[] =
		"{\"l\": [10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20], \"~1\": 30, "
		"\"/\": 31, \"o\": {\"01\": 32, \"-\": 33}}";
	static const struct {
		const char *pointer;
		int want;
	} rows[] = {
		{ "/l/0", 1000 },
		{ "/l/10", 2000 },
		{ "/l/11", NOTHING },
		{ "/l/01", NOTHING },
		{ "/l/00", NOTHING },
		{ "/l/-1", NOTHING },
		{ "/l/+1", NOTHING },
		{ "/l/-", NOTHING },
		{ "/l/", NOTHING },
		{ "/l/1e0", NOTHING },
		{ "/l/ 1", NOTHING },
		{ "/l/18446744073709551616", NOTHING },
		{ "/l/4294967297", NOTHING },
		{ "/~01", 3000 },
		{ "/~1", 3100 },
		{ "/o/01", 3200 },
		{ "/o/-", 3300 },
	};
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		int got = humidity_at(rows[i].pointer, document, strlen(document));
		if (got != rows[i].want)
			fail_msg("%s: %d, not %d", rows[i].pointer, got, rows[i].want);
	}
}

/* RFC 6901 section 3: what cannot be a pointer is told when the settings are read. */
static void wrong_pointers_are_a_fault_of_the_settings(void **state)
{
	static const char *const wrong[] = { "a", "air/rh", "#/air", "/~", "/a~2", "/~a", "/a~" };
	(void)state;
	for (size_t i = 0; i < COUNT(wrong); i++) {
		for (int which = 0; which < 4; which++) {
			struct bench b;
			bench_init(&b, FORMAT_JSON, 1);
			char *const place[] = { b.stream[0].humidity, b.stream[0].temperature,
				b.stream[0].battery, b.stream[0].time };
			set_text(b.stream[0].humidity, "/h");
			set_text(place[which], wrong[i]);
			assert_int_equal(pick_new(&b.set, &b.source, &b.pick, &b.err), RC_CONFIG);
			assert_non_null(strstr(b.err.text, "stream \"s0\""));
			assert_non_null(strstr(b.err.text, wrong[i]));
		}
	}
}

#define BODY(text) text, sizeof(text) - 1

/* RFC 8259: grammar, UTF-8 (8.1), one document; numbers as text and duplicate names: judgement, no source. */
static void documents(void **state)
{
	static const struct {
		const char *body;
		size_t n;
		int want;
	} rows[] = {
		{ BODY("{\"h\":45.2}"), 4520 },
		{ BODY(" \t\r\n{\"h\":45.2} \t\r\n"), 4520 },
		{ BODY("\xEF\xBB\xBF{\"h\":45.2}"), 4520 },
		{ BODY("{\"h\":45}"), 4500 },
		{ BODY("{\"h\":4.52e1}"), 4520 },
		{ BODY("{\"h\":\"45.2\"}"), 4520 },
		{ BODY("{\"h\":\" 45.2 \"}"), 4520 },
		{ BODY("{\"h\":1,\"h\":45.2}"), 4520 },
		{ BODY("{\"\\u0068\":45.2}"), 4520 },
		{ BODY("{\"h\":-0.0}"), 0 },
		{ BODY("{\"h\":null}"), NOTHING },
		{ BODY("{\"h\":true}"), NOTHING },
		{ BODY("{\"h\":[45.2]}"), NOTHING },
		{ BODY("{\"h\":\"\"}"), NOTHING },
		{ BODY("{\"h\":\"unavailable\"}"), NOTHING },
		{ BODY("{\"h\":\"45.2 %\"}"), NOTHING },
		{ BODY("{\"h\":\"45,2\"}"), NOTHING },
		{ BODY("{\"h\":\"0x2D\"}"), NOTHING },
		{ BODY("{\"h\":\"0X2D\"}"), NOTHING },
		{ BODY("{\"h\":\"nan\"}"), NOTHING },
		{ BODY("{\"h\":\"45\\u0000\"}"), NOTHING },
		{ BODY("{\"h\":1e400}"), NOTHING },
		{ BODY("{\"h\":-1e400}"), NOTHING },
		{ BODY("{\"h\":99999999999999999999999999}"), NOTHING },
		{ BODY("{}"), NOTHING },
		{ BODY("[]"), NOTHING },
		{ BODY("null"), NOTHING },
		{ BODY("45.2"), NOTHING },
		{ BODY("\"h\""), NOTHING },
		{ BODY(""), REFUSED },
		{ BODY(" "), REFUSED },
		{ BODY("{\"h\":45.2"), REFUSED },
		{ BODY("{\"h\":45."), REFUSED },
		{ BODY("{\"h\":45.2}}"), REFUSED },
		{ BODY("{\"h\":45.2}{\"h\":46}"), REFUSED },
		{ BODY("{\"h\":45.2} x"), REFUSED },
		{ BODY("{\"h\":45.2}\0"), REFUSED },
		{ BODY("{\"h\":45.2\0}"), REFUSED },
		{ BODY("\0"), REFUSED },
		{ BODY("{\"h\":NaN}"), REFUSED },
		{ BODY("{\"h\":Infinity}"), REFUSED },
		{ BODY("{\"h\":-Infinity}"), REFUSED },
		{ BODY("{\"h\":045}"), REFUSED },
		{ BODY("{\"h\":+45}"), REFUSED },
		{ BODY("{\"h\":.5}"), REFUSED },
		{ BODY("{\"h\":0x2D}"), REFUSED },
		{ BODY("{'h':45.2}"), REFUSED },
		{ BODY("{h:45.2}"), REFUSED },
		{ BODY("{\"h\":45.2,}"), REFUSED },
		{ BODY("[1,]"), REFUSED },
		{ BODY("{\"h\":TRUE}"), REFUSED },
		{ BODY("/* */{\"h\":45.2}"), REFUSED },
		{ BODY("{\"h\":45.2,\"x\":\"\xFF\"}"), REFUSED },
		{ BODY("{\"h\":45.2,\"x\":\"\xC0\xAF\"}"), REFUSED },
		{ BODY("{\"h\":45.2,\"x\":\"\xC3\"}"), REFUSED },
		{ BODY("{\"h\":45.2,\"x\":\"a\nb\"}"), REFUSED },
		{ BODY("{\"h\":45.2,\"x\":\"\\q\"}"), REFUSED },
		{ BODY("<html>"), REFUSED },
		{ BODY("nul"), REFUSED },
	};
	(void)state;
	size_t wrong = 0;
	for (size_t i = 0; i < COUNT(rows); i++) {
		int got = humidity_at("/h", rows[i].body, rows[i].n);
		if (got != rows[i].want)
			print_message("%s: %d, not %d\n", rows[i].body, got, rows[i].want), wrong++;
	}
	assert_int_equal(wrong, 0);
}

/* Numbers of RFC 8259 section 6, which the grammar there allows and forbids. */
static void numbers(void **state)
{
	static const struct {
		const char *number;
		int want;
	} rows[] = {
		{ "0", 0 },
		{ "-0", 0 },
		{ "0.5", 50 },
		{ "5e-1", 50 },
		{ "5E+0", 500 },
		{ "0e9", 0 },
		{ "1.", REFUSED },
		{ "-", REFUSED },
		{ "--1", REFUSED },
		{ "1e", REFUSED },
		{ "1e+", REFUSED },
		{ "00", REFUSED },
		{ "-01", REFUSED },
		{ "1.e1", REFUSED },
		{ "1 2", REFUSED },
		{ "1_0", REFUSED },
	};
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		char body[64];
		int n = snprintf(body, sizeof body, "{\"h\":%s}", rows[i].number);
		int got = humidity_at("/h", body, (size_t)n);
		if (got != rows[i].want)
			fail_msg("%s: %d, not %d", body, got, rows[i].want);
	}
}

static void every_beginning_of_a_document_is_refused(void **state)
{
	static const char body[] =
		"{\"h\":\"45.2\",\"x\":[1,-2.5e-1,true,null,{\"\\u00e4\":\"\xC3\xA4\"}]}";
	(void)state;
	for (size_t n = 0; n < sizeof body - 1; n++)
		assert_int_equal(humidity_at("/h", body, n), REFUSED);
	assert_int_equal(humidity_at("/h", body, sizeof body - 1), 4520);
}

/* PICK_DEPTH counts levels, the number's own included. */
static void depth_has_a_cap(void **state)
{
	enum { LEVELS = 10000 };
	char *body = test_malloc(2 * LEVELS + 3);
	(void)state;
	for (size_t levels = 1; levels <= LEVELS;
		levels = levels < 64 || levels == LEVELS ? levels + 1 : LEVELS) {
		memset(body, '[', levels);
		body[levels] = '4';
		memset(body + levels + 1, ']', levels);
		int want = levels < PICK_DEPTH ? NOTHING : REFUSED;
		assert_int_equal(humidity_at("/h", body, 2 * levels + 1), want);
		assert_int_equal(humidity_at("/h", body, levels), REFUSED);
	}
	test_free(body);
}

/* 2023-11-14T22:13:20Z is 1700000000: python3 datetime. RFC 3339 section 5.8 gives the two instants of 1985 and 1990. */
static void times(void **state)
{
	static const struct {
		const char *time;
		int64_t want; /* 0: no reading */
	} rows[] = {
		{ "1700000000", 1700000000 },
		{ "1700000000.9", 1700000000 },
		{ "1700000000999", 1700000000 },
		{ "1700000000999999", 1700000000 },
		{ "1700000000999999999", 1700000000 },
		{ "1.7e9", 1700000000 },
		{ "1.7e18", 1700000000 },
		{ "\"1700000000\"", 1700000000 },
		{ "\"1700000000.25\"", 1700000000 },
		{ "\"2023-11-14T22:13:20Z\"", 1700000000 },
		{ "\"2023-11-14t22:13:20z\"", 1700000000 },
		{ "\"2023-11-14 22:13:20Z\"", 1700000000 },
		{ "\"2023-11-14T22:13:20.999999Z\"", 1700000000 },
		{ "\"2023-11-14T23:13:20+01:00\"", 1700000000 },
		{ "\"2023-11-14T18:43:20-03:30\"", 1700000000 },
		{ "\"1985-04-12T23:20:50.52Z\"", 482196050 },
		{ "\"1996-12-19T16:39:57-08:00\"", 851042397 },
		{ "\"1990-12-31T15:59:60-08:00\"", 0 }, /* a leap second is none of the store's */
		{ "100000000", 100000000 },
		{ "99999999", 0 }, /* before 1973-03-03 */
		{ "4199999999", 4199999999 },
		{ "4200000000", 0 },
		{ "4199999999999", 4199999999 },
		{ "-1700000000", 0 },
		{ "0", 0 },
		{ "45245.9", 0 }, /* days of a spreadsheet */
		{ "1e300", 0 },
		{ "1e400", 0 },
		{ "99999999999999999999999", 0 },
		{ "true", 0 },
		{ "null", 0 },
		{ "[1700000000]", 0 },
		{ "\"\"", 0 },
		{ "\"2023-11-14T22:13:20\"", 0 }, /* which zone? */
		{ "\"2023-11-14\"", 0 },
		{ "\"2023-11-14Z\"", 0 },
		{ "\"22:13:20Z\"", 0 },
		{ "\"2023-02-30T22:13:20Z\"", 0 },
		{ "\"2023-11-14T25:13:20Z\"", 0 },
		{ "\"11/14/2023 22:13:20Z\"", 0 },
		{ "\"now\"", 0 },
	};
	struct bench b;
	(void)state;
	bench_init(&b, FORMAT_JSON, 1);
	set_text(b.stream[0].humidity, "/h");
	set_text(b.stream[0].time, "/t");
	for (size_t i = 0; i < COUNT(rows); i++) {
		char body[96];
		(void)snprintf(body, sizeof body, "{\"h\":45,\"t\":%s}", rows[i].time);
		assert_int_equal(bench_text(&b, body), RC_OK);
		int64_t got = b.result.n == 1 ? b.out[0].r.t_s : 0;
		if (got != rows[i].want)
			fail_msg("%s: %lld", body, (long long)got);
		assert_int_equal(b.result.absent, got == 0);
		assert_true(got == 0 || b.out[0].sent);
	}
	assert_int_equal(bench_text(&b, "{\"h\":45}"), RC_OK); /* its time is not known then */
	assert_int_equal(b.result.n, 0);
	assert_int_equal(b.result.absent, 1);
	bench_done(&b);
}

/* Limits as for the kernel's chips (kernel.c). Fahrenheit: 32 degF is 0 degC and 212 degF 100 degC, by definition. */
static void units_and_limits(void **state)
{
	enum { NO = QUALITY_NO_TEMP };
	static const struct {
		const char *body;
		int rh_unit, temp_unit;
		bool reading;
		int rh_cpct, temp_cdegc, battery_pct;
		size_t absent;
	} rows[] = {
		{ "{\"h\":45.2,\"t\":21.4,\"b\":87}", 0, 0, true, 4520, 2140, 87, 0 },
		{ "{\"h\":\"45.2\",\"t\":\"21.4\",\"b\":\"86.6\"}", 0, 0, true, 4520, 2140, 87, 0 },
		{ "{\"h\":0.452,\"t\":70.52,\"b\":0}", STREAM_FRACTION, STREAM_FAHRENHEIT, true,
			4520, 2140, 0, 0 },
		{ "{\"h\":1,\"t\":32,\"b\":100}", STREAM_FRACTION, STREAM_FAHRENHEIT, true, 10000,
			0, 100, 0 },
		{ "{\"h\":1,\"t\":212,\"b\":100}", 0, STREAM_FAHRENHEIT, true, 100, 10000, 100, 0 },
		{ "{\"h\":-5,\"t\":-40,\"b\":1}", 0, STREAM_FAHRENHEIT, true, -500, -4000, 1, 0 },
		{ "{\"h\":105,\"t\":125,\"b\":1}", 0, 0, true, 10500, 12500, 1, 0 },
		{ "{\"h\":105.1,\"t\":21,\"b\":1}", 0, 0, false, 0, 0, 0, 1 },
		{ "{\"h\":45,\"t\":125.1,\"b\":1}", 0, 0, false, 0, 0, 0, 1 },
		{ "{\"h\":45,\"t\":-127,\"b\":1}", 0, 0, false, 0, 0, 0, 1 },
		{ "{\"h\":45.2,\"t\":21,\"b\":1}", STREAM_FRACTION, 0, false, 0, 0, 0, 1 },
		{ "{\"h\":45,\"t\":21,\"b\":101}", 0, 0, true, 4500, 2100, -1, 1 },
		{ "{\"h\":45,\"t\":21,\"b\":-1}", 0, 0, true, 4500, 2100, -1, 1 },
		{ "{\"h\":45,\"t\":21,\"b\":\"low\"}", 0, 0, true, 4500, 2100, -1, 1 },
		{ "{\"h\":45,\"t\":null}", 0, 0, true, 4500, NO, -1, 2 },
		{ "{\"h\":45,\"t\":1e400,\"b\":5}", 0, 0, true, 4500, NO, 5, 1 },
		{ "{\"t\":21,\"b\":5}", 0, 0, false, 0, 0, 0, 1 },
		{ "{}", 0, 0, false, 0, 0, 0, 3 },
	};
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct bench b;
		bench_init(&b, FORMAT_JSON, 1);
		set_text(b.stream[0].humidity, "/h");
		set_text(b.stream[0].temperature, "/t");
		set_text(b.stream[0].battery, "/b");
		b.stream[0].humidity_unit = rows[i].rh_unit;
		b.stream[0].temperature_unit = rows[i].temp_unit;
		assert_int_equal(bench_text(&b, rows[i].body), RC_OK);
		const struct intake_sample *x = &b.out[0];
		bool right = b.result.n == rows[i].reading && b.result.absent == rows[i].absent;
		if (right && rows[i].reading)
			right = x->r.rh_cpct == rows[i].rh_cpct &&
				x->r.temp_cdegc == rows[i].temp_cdegc &&
				x->battery_pct == rows[i].battery_pct && !x->sent &&
				x->r.t_s == NOW_S;
		if (!right)
			fail_msg("row %zu: %s: %zu readings, %zu absent: %s", i, rows[i].body,
				b.result.n, b.result.absent, b.result.example);
		bench_done(&b);
	}
}

static void several_sensors_of_one_document(void **state)
{
	struct bench b;
	(void)state;
	bench_init(&b, FORMAT_JSON, 4);
	for (size_t i = 0; i < 4; i++) {
		char place[32];
		(void)snprintf(place, sizeof place, "/rooms/%zu/rh", i);
		set_text(b.stream[i].humidity, place);
	}
	assert_int_equal(
		bench_text(&b, "{\"rooms\":[{\"rh\":40},{\"rh\":null},{\"rh\":42}]}"), RC_OK);
	assert_int_equal(b.result.n, 2);
	assert_string_equal(b.out[0].sensor, "a");
	assert_string_equal(b.out[1].sensor, "c");
	assert_int_equal(b.out[1].r.rh_cpct, 4200);
	assert_int_equal(b.result.absent, 2);
	assert_string_equal(b.result.example, "stream \"s1\": /rooms/1/rh: nothing there");
	bench_done(&b);
}

/* What goes to the log is cut between characters and has no controls, whatever names and payloads hold. */
static void examples_are_fit_for_a_log(void **state)
{
	struct bench b;
	char place[PICK_SIZE] = "/";
	(void)state;
	bench_init(&b, FORMAT_JSON, 1);
	while (strlen(place) + 3 < sizeof place)
		memcpy(place + strlen(place), "\xC3\xA4\x07", 4);
	set_text(b.stream[0].humidity, place);
	assert_int_equal(bench_text(&b, "{}"), RC_OK);
	assert_int_equal(b.result.absent, 1);
	assert_null(strchr(b.result.example, '\x07'));
	bench_done(&b);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(pointers_of_rfc_6901),
		cmocka_unit_test(array_indices_and_escapes),
		cmocka_unit_test(wrong_pointers_are_a_fault_of_the_settings),
		cmocka_unit_test(documents),
		cmocka_unit_test(numbers),
		cmocka_unit_test(every_beginning_of_a_document_is_refused),
		cmocka_unit_test(depth_has_a_cap),
		cmocka_unit_test(times),
		cmocka_unit_test(units_and_limits),
		cmocka_unit_test(several_sensors_of_one_document),
		cmocka_unit_test(examples_are_fit_for_a_log),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
