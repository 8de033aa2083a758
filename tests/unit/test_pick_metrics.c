#include "tests/unit/pick_support.h"

enum { NOTHING = INT32_MIN, REFUSED = INT32_MAX };

static int humidity_of(const char *place, const void *body, size_t n, struct bench *b)
{
	bench_init(b, FORMAT_METRICS, 1);
	set_text(b->stream[0].humidity, place);
	enum rc rc = bench_bytes(b, NULL, body, n);
	bench_done(b);
	if (rc != RC_OK) {
		assert_int_equal(rc, RC_INPUT);
		return REFUSED;
	}
	assert_int_equal(b->result.n + b->result.absent, 1);
	return b->result.n == 1 ? b->out[0].r.rh_cpct : NOTHING;
}

/* The example of the page "Exposition formats", text format 0.0.4; recalled, values are those of the page. Ratios are taken
 * as fractions so that they can be humidities. */
static void the_example_of_the_format(void **state)
{
	static const char body[] =
		"# HELP http_requests_total The total number of HTTP requests.\n"
		"# TYPE http_requests_total counter\n"
		"http_requests_total{method=\"post\",code=\"200\"} 1027 1395066363000\n"
		"http_requests_total{method=\"post\",code=\"400\"}    3 1395066363000\n"
		"\n"
		"# Escaping in label values:\n"
		"msdos_file_access_time_seconds{path=\"C:\\\\DIR\\\\FILE.TXT\",error=\"Cannot find "
		"file:\\n\\\"FILE.TXT\\\"\"} 1.458255915e9\n"
		"\n"
		"# Minimalistic line:\n"
		"metric_without_timestamp_and_labels 12.47\n"
		"\n"
		"# A weird metric from before the epoch:\n"
		"something_weird{problem=\"division by zero\"} +Inf -3982045\n"
		"\n"
		"# TYPE http_request_duration_seconds histogram\n"
		"http_request_duration_seconds_bucket{le=\"0.05\"} 24054\n"
		"http_request_duration_seconds_bucket{le=\"+Inf\"} 144320\n"
		"http_request_duration_seconds_sum 53423\n"
		"http_request_duration_seconds_count 144320\n"
		"\n"
		"rpc_duration_seconds{quantile=\"0.01\"} 3102\n"
		"rpc_duration_seconds{quantile=\"0.05\"} 3272\n";
	static const struct {
		const char *place;
		int want;
		const char *example;
	} rows[] = {
		{ "metric_without_timestamp_and_labels", 1247, NULL },
		{ "http_requests_total{code=\"400\"}", 300, NULL },
		{ "http_requests_total{code=\"400\",method=\"post\"}", 300, NULL },
		{ "http_requests_total{code=\"404\"}", NOTHING, "no such line" },
		{ "http_requests_total{codes=\"400\"}", NOTHING, "no such line" },
		{ "http_requests_total", NOTHING, "2 lines fit" },
		{ "http_requests_total{method=\"post\"}", NOTHING, "2 lines fit" },
		{ "http_requests", NOTHING, "no such line" },
		{ "msdos_file_access_time_seconds{path=\"C:\\\\DIR\\\\FILE.TXT\"}", NOTHING,
			"1.45826e+09" },
		{ "msdos_file_access_time_seconds{error=\"Cannot find file:\\n\\\"FILE.TXT\\\"\"}",
			NOTHING, "1.45826e+09" },
		{ "msdos_file_access_time_seconds{error=\"Cannot find file:n\\\"FILE.TXT\\\"\"}",
			NOTHING, "no such line" },
		{ "something_weird", NOTHING, "time stamp -3982045" },
		{ "http_request_duration_seconds_bucket{le=\"0.05\"}", NOTHING, "24054" },
		{ "HELP", NOTHING, "no such line" },
	};
	struct bench b;
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		int got = humidity_of(rows[i].place, body, sizeof body - 1, &b);
		if (got != rows[i].want ||
			(rows[i].example && !strstr(b.result.example, rows[i].example)))
			fail_msg("%s: %d: %s", rows[i].place, got, b.result.example);
		assert_int_equal(rows[i].example != NULL, b.result.absent > 0);
	}
	assert_int_equal(
		humidity_of("http_requests_total{code=\"400\"}", body, sizeof body - 1, &b), 300);
	assert_int_equal(b.out[0].r.t_s, 1395066363);
	assert_true(b.out[0].sent);
	for (size_t n = 1; n < sizeof body - 1; n++) /* cut off at any byte: never another number */
		if (body[n - 1] != '\n')
			assert_int_equal(humidity_of("rpc_duration_seconds", body, n, &b), REFUSED);
}

#define BODY(text) text, sizeof(text) - 1

/* Exposition formats 0.0.4, "Line format" and "Comments, help text, and type information". */
static void lines(void **state)
{
	static const struct {
		const char *body;
		size_t n;
		int want;
	} rows[] = {
		{ BODY("rh 45.2\n"), 4520 },
		{ BODY("rh{} 45.2\n"), 4520 },
		{ BODY("rh{a=\"b\"} 45.2\n"), 4520 },
		{ BODY("rh{a=\"b\",} 45.2\n"), 4520 },
		{ BODY("rh { a = \"b\" , c = \"}\" } 45.2\n"), 4520 },
		{ BODY("rh{a=\"b\"}45.2\n"), 4520 },
		{ BODY("\trh\t45.2\t1700000000000\t\n"), 4520 },
		{ BODY("rh 45.2\r\n"), 4520 },
		{ BODY("\n\n  \nrh 45.2\n#\n# rh 99\n"), 4520 },
		{ BODY("rh 4.52e+01\n"), 4520 },
		{ BODY("rh +45.2\n"), 4520 },
		{ BODY("rh{a=\"\xC3\xA4\"} 45.2\n"), 4520 },
		{ BODY("rh NaN\n"), NOTHING },
		{ BODY("rh +Inf\n"), NOTHING },
		{ BODY("rh -Inf\n"), NOTHING },
		{ BODY("rh 1e999\n"), REFUSED },
		{ BODY("rh 105.1\n"), NOTHING },
		{ BODY("rh:x 45.2\n"), NOTHING },
		{ BODY("rh 45.2\nrh 45.2\n"), NOTHING },
		{ BODY(""), NOTHING },
		{ BODY("\n"), NOTHING },
		{ BODY("rh 45.2"), REFUSED },
		{ BODY("rh\n"), REFUSED },
		{ BODY("rh \n"), REFUSED },
		{ BODY("rh x\n"), REFUSED },
		{ BODY("rh 0x2D\n"), REFUSED },
		{ BODY("rh 45.2 x\n"), REFUSED },
		{ BODY("rh 45.2 NaN\n"), REFUSED },
		{ BODY("rh 45.2 1 2\n"), REFUSED },
		{ BODY("rh 45,2\n"), REFUSED },
		{ BODY("rh{a=b} 45.2\n"), REFUSED },
		{ BODY("rh{a=\"b} 45.2\n"), REFUSED },
		{ BODY("rh{a=\"b\\\"} 45.2\n"), REFUSED },
		{ BODY("rh{a=\"b\" c=\"d\"} 45.2\n"), REFUSED },
		{ BODY("rh{,} 45.2\n"), REFUSED },
		{ BODY("rh{1a=\"b\"} 45.2\n"), REFUSED },
		{ BODY("rh{a:b=\"b\"} 45.2\n"), REFUSED },
		{ BODY("rh{a=\"b\" 45.2\n"), REFUSED },
		{ BODY("rh}45.2\n"), REFUSED },
		{ BODY("{a=\"b\"} 45.2\n"), REFUSED },
		{ BODY("9 45.2\n"), REFUSED },
		{ BODY("rh 45.2\0\n"), REFUSED },
		{ BODY("rh\0 45.2\n"), REFUSED },
		{ BODY("\0\n"), REFUSED },
		{ BODY("rh 45.2\n\xFF\xFE\n"), REFUSED },
		{ BODY("<html>\n"), REFUSED },
		{ BODY("rh 45.2000000000000000000000000000000000000000000000000000000000000000\n"),
			REFUSED },
	};
	struct bench b;
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		int got = humidity_of("rh", rows[i].body, rows[i].n, &b);
		if (got != rows[i].want)
			fail_msg("row %zu: %s: %d, not %d", i, rows[i].body, got, rows[i].want);
	}
}

static void labels_have_a_cap(void **state)
{
	char body[2048];
	struct bench b;
	(void)state;
	for (size_t labels = 63; labels <= 65; labels++) {
		size_t n = (size_t)snprintf(body, sizeof body, "rh{");
		for (size_t i = 0; i < labels; i++)
			n += (size_t)snprintf(body + n, sizeof body - n, "a%zu=\"x\",", i);
		n += (size_t)snprintf(body + n, sizeof body - n, "} 45\n");
		assert_int_equal(
			humidity_of("rh{a62=\"x\"}", body, n, &b), labels <= 64 ? 4500 : REFUSED);
	}
}

/* 0.0.4: milliseconds. OpenMetrics 1.0: seconds, known by its last line; from memory. */
static void time_stamps(void **state)
{
	static const struct {
		const char *body;
		int64_t want; /* 0: no reading */
	} rows[] = {
		{ "rh 45 1700000000000\n", 1700000000 },
		{ "rh 45 1700000000999\n", 1700000000 },
		{ "rh 45 1700000000\n", 0 },
		{ "rh 45 -1700000000000\n", 0 },
		{ "rh 45 1e300\n", 0 },
		{ "rh 45 1700000000\n# EOF\n", 1700000000 },
		{ "rh 45 1700000000.75\n# EOF", 1700000000 },
		{ "rh 45 1.7e9\n# EOF\n", 1700000000 },
		{ "rh 45 1700000000000\n# EOF\n", 0 },
		{ "rh 45 1700000000 # {trace_id=\"x\"} 0.5 1700000001\n# EOF\n", 1700000000 },
		{ "rh 45 # {trace_id=\"x\"} 0.5\n# EOF\n", NOW_S },
		{ "rh 45 1700000000000\n# EOF \n", 1700000000 },
		{ "# EOF\nrh 45 1700000000000\n", 1700000000 },
		{ "rh 45\n", NOW_S },
	};
	struct bench b;
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		int got = humidity_of("rh", rows[i].body, strlen(rows[i].body), &b);
		if (got != (rows[i].want ? 4500 : NOTHING) ||
			(rows[i].want && b.out[0].r.t_s != rows[i].want))
			fail_msg("%s: %s", rows[i].body, b.result.example);
		bool bare = strstr(rows[i].body, "45\n") || strstr(rows[i].body, "45 #");
		assert_true(!rows[i].want || b.out[0].sent == !bare);
	}
}

static void several_sensors_with_all_they_say(void **state)
{
	static const char body[] = "rh{room=\"x\"} 0.452 1700000000000\n"
				   "rh{room=\"y\"} 0.41\n"
				   "temp{room=\"x\",unit=\"f\"} 70.52\n"
				   "temp{room=\"y\",unit=\"f\"} NaN\n"
				   "charge{room=\"x\"} 87\n"
				   "rh{room=\"z\"} 0.43\n"
				   "temp{room=\"z\"} 999\n";
	struct bench b;
	(void)state;
	bench_init(&b, FORMAT_METRICS, 3);
	for (size_t i = 0; i < 3; i++) {
		struct stream *s = &b.stream[i];
		(void)snprintf(s->humidity, PICK_SIZE, "rh{room=\"%c\"}", (int)('x' + i));
		(void)snprintf(s->temperature, PICK_SIZE, "temp{room=\"%c\"}", (int)('x' + i));
		(void)snprintf(s->battery, PICK_SIZE, "charge{room=\"%c\"}", (int)('x' + i));
		s->humidity_unit = STREAM_FRACTION;
		s->temperature_unit = STREAM_FAHRENHEIT;
	}
	assert_int_equal(bench_text(&b, body), RC_OK);
	assert_int_equal(b.result.n, 2);
	assert_int_equal(b.out[0].r.rh_cpct, 4520);
	assert_int_equal(b.out[0].r.temp_cdegc, 2140);
	assert_int_equal(b.out[0].battery_pct, 87);
	assert_int_equal(b.out[1].r.rh_cpct, 4100);
	assert_int_equal(b.out[1].r.temp_cdegc, QUALITY_NO_TEMP);
	assert_int_equal(b.out[1].battery_pct, -1);
	assert_int_equal(b.result.absent, 4); /* y: NaN, no charge; z: 537 degC, no charge */
	bench_done(&b);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_example_of_the_format),
		cmocka_unit_test(lines),
		cmocka_unit_test(labels_have_a_cap),
		cmocka_unit_test(time_stamps),
		cmocka_unit_test(several_sensors_with_all_they_say),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
