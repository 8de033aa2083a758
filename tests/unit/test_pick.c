#include "tests/unit/pick_support.h"

/* MQTT 3.1.1 section 4.7: the filters and topics that the text itself gives, sections beside them; read. */
static void topics_of_the_standard(void **state)
{
	static const struct {
		const char *section, *filter, *topic;
		bool want;
	} rows[] = {
		{ "4.7.1.2", "sport/tennis/player1/#", "sport/tennis/player1", true },
		{ "4.7.1.2", "sport/tennis/player1/#", "sport/tennis/player1/ranking", true },
		{ "4.7.1.2", "sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon",
			true },
		{ "4.7.1.2", "sport/tennis/player1/#", "sport/tennis/player2", false },
		{ "4.7.1.2", "sport/tennis/player1/#", "sport/tennis", false },
		{ "4.7.1.2", "sport/#", "sport", true },
		{ "4.7.1.2", "#", "sport/tennis/player1", true },
		{ "4.7.1.2", "#", "/", true },
		{ "4.7.1.3", "sport/tennis/+", "sport/tennis/player1", true },
		{ "4.7.1.3", "sport/tennis/+", "sport/tennis/player2", true },
		{ "4.7.1.3", "sport/tennis/+", "sport/tennis/player1/ranking", false },
		{ "4.7.1.3", "sport/+", "sport", false },
		{ "4.7.1.3", "sport/+", "sport/", true },
		{ "4.7.1.3", "+", "sport", true },
		{ "4.7.1.3", "+/tennis/#", "sport/tennis/player1", true },
		{ "4.7.1.3", "sport/+/player1", "sport/tennis/player1", true },
		{ "4.7.1.3", "+/+", "/finance", true },
		{ "4.7.1.3", "/+", "/finance", true },
		{ "4.7.1.3", "+", "/finance", false },
		{ "4.7.2", "#", "$SYS/uptime", false },
		{ "4.7.2", "+/monitor/Clients", "$SYS/monitor/Clients", false },
		{ "4.7.2", "$SYS/#", "$SYS/", true },
		{ "4.7.2", "$SYS/monitor/+", "$SYS/monitor/Clients", true },
		{ "4.7.3", "ACCOUNTS", "Accounts", false },
		{ "4.7.3", "Accounts payable", "Accounts payable", true },
		{ "4.7.3", "/finance", "finance", false },
		{ "4.7.1.1", "a//b", "a//b", true },
		{ "4.7.1.1", "a/+/b", "a//b", true },
		{ "4.7.1.1", "a/b", "a/bc", false },
		{ "4.7.1.1", "a/bc", "a/b", false },
		{ "4.7.1.2", "+/#", "a", true },
	};
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		assert_true(pick_topic_valid(rows[i].filter));
		if (pick_topic_matches(rows[i].filter, rows[i].topic) != rows[i].want)
			fail_msg("%s: %s on %s", rows[i].section, rows[i].filter, rows[i].topic);
	}
}

/* 4.7.1.2: # alone in its level and last. 4.7.1.3: + alone in its level. 4.7.3: one character at least, 65535 bytes at
 * most. 1.5.3: UTF-8. */
static void filters_that_are_none(void **state)
{
	static const char *const wrong[] = { "", "sport/tennis#", "sport/tennis/#/ranking", "#/",
		"##", "sport+", "+sport", "sport/+tennis/x", "++", "+#", "a/\xFF", "a/\xC0\xAF" };
	(void)state;
	for (size_t i = 0; i < COUNT(wrong); i++)
		if (pick_topic_valid(wrong[i]))
			fail_msg("\"%s\" is no filter", wrong[i]);
	char *text = test_malloc(65537);
	memset(text, 'a', 65536);
	text[65536] = '\0';
	assert_false(pick_topic_valid(text));
	text[65535] = '\0';
	assert_true(pick_topic_valid(text));
	test_free(text);
}

static void mqtt(struct bench *b, const char *topic, int segment)
{
	b->source.kind = SOURCE_MQTT;
	for (size_t i = 0; i < b->set.n_streams; i++) {
		set_text(b->stream[i].topic, topic);
		b->stream[i].segment = segment;
		if (segment)
			b->stream[i].sensor[0] = '\0';
	}
}

static void only_streams_of_the_topic_take_part(void **state)
{
	struct bench b;
	(void)state;
	bench_init(&b, FORMAT_PLAIN, 2);
	mqtt(&b, "house/shop/rh", 0);
	set_text(b.stream[1].topic, "house/+/rh");
	assert_int_equal(bench_bytes(&b, "house/shop/rh", "45.2", 4), RC_OK);
	assert_int_equal(b.result.n, 2);
	assert_int_equal(bench_bytes(&b, "house/attic/rh", "45.2", 4), RC_OK);
	assert_int_equal(b.result.n, 1);
	assert_string_equal(b.out[0].sensor, "b");
	assert_int_equal(bench_bytes(&b, "house/attic/state", "\0\1", 2), RC_OK);
	assert_int_equal(b.result.n + b.result.absent, 0);
	bench_done(&b);
}

static void a_level_of_the_topic_names_the_sensor(void **state)
{
	static const struct {
		const char *topic, *want; /* NULL: no reading */
	} rows[] = {
		{ "house/shop/rh", "shop" },
		{ "house/case-left/rh", "case-left" },
		{ "house/a-name-of-thirty-one-characters/rh", "a-name-of-thirty-one-characters" },
		{ "house/a-name-of-thirty-two-characters-/rh", NULL },
		{ "house//rh", NULL },
		{ "house", NULL },
	};
	struct bench b;
	(void)state;
	bench_init(&b, FORMAT_PLAIN, 1);
	mqtt(&b, "house/#", 2);
	for (size_t i = 0; i < COUNT(rows); i++) {
		assert_int_equal(bench_bytes(&b, rows[i].topic, "45.2", 4), RC_OK);
		assert_int_equal(b.result.n, rows[i].want != NULL);
		assert_int_equal(b.result.absent, rows[i].want == NULL);
		if (rows[i].want)
			assert_string_equal(b.out[0].sensor, rows[i].want);
	}
	bench_done(&b);
	bench_init(&b, FORMAT_PLAIN, 1);
	mqtt(&b, "house/#", 1);
	assert_int_equal(bench_bytes(&b, "house/shop/rh", "45.2", 4), RC_OK);
	assert_string_equal(b.out[0].sensor, "house");
	bench_done(&b);
	mqtt(&b, "house/+/rh", 3);
	assert_int_equal(bench_bytes(&b, "house/shop/rh", "45.2", 4), RC_OK);
	assert_string_equal(b.out[0].sensor, "rh");
	bench_done(&b);
}

static void settings_that_cannot_be(void **state)
{
	static const struct {
		enum source_format format;
		const char *topic; /* of mqtt */
		int segment;
		const char *humidity, *temperature;
		int humidity_unit;
		const char *want; /* part of the message */
	} rows[] = {
		{ FORMAT_PLAIN, "a/#/b", 0, "", "", 0, "topic = \"a/#/b\"" },
		{ FORMAT_PLAIN, "a/+", 3, "", "", 0, "fewer levels" },
		{ FORMAT_PLAIN, NULL, 0, "rh", "", 0, "humidity = \"rh\"" },
		{ FORMAT_PLAIN, NULL, 0, "", "t", 0, "temperature = \"t\"" },
		{ FORMAT_DELIMITED, NULL, 0, "rh", "", 0, "layout" },
		{ FORMAT_DELIMITED, NULL, 0, "", "", STREAM_FRACTION, "layout" },
		{ FORMAT_METRICS, NULL, 0, "1rh", "", 0, "name{label" },
		{ FORMAT_METRICS, NULL, 0, "rh{room=x}", "", 0, "name{label" },
		{ FORMAT_METRICS, NULL, 0, "rh{room=\"x\"", "", 0, "name{label" },
		{ FORMAT_METRICS, NULL, 0, "rh{room=\"x\"} y", "", 0, "name{label" },
		{ FORMAT_METRICS, NULL, 0, "/rh", "", 0, "name{label" },
		{ FORMAT_LINE, NULL, 0, "air", "", 0, "measurement,tag" },
		{ FORMAT_LINE, NULL, 0, "air,place rh", "", 0, "measurement,tag" },
		{ FORMAT_LINE, NULL, 0, "air,place= rh", "", 0, "measurement,tag" },
		{ FORMAT_LINE, NULL, 0, "air rh=45", "", 0, "measurement,tag" },
		{ FORMAT_LINE, NULL, 0, "air rh t", "", 0, "measurement,tag" },
		{ FORMAT_LINE, NULL, 0, ",a=b rh", "", 0, "measurement,tag" },
		{ FORMAT_JSON, NULL, 0, "rh", "", 0, "/air/rh" },
	};
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct bench b;
		bench_init(&b, rows[i].format, 1);
		if (rows[i].topic)
			mqtt(&b, rows[i].topic, rows[i].segment);
		set_text(b.stream[0].humidity, rows[i].humidity);
		set_text(b.stream[0].temperature, rows[i].temperature);
		b.stream[0].humidity_unit = rows[i].humidity_unit;
		assert_int_equal(pick_new(&b.set, &b.source, &b.pick, &b.err), RC_CONFIG);
		if (!strstr(b.err.text, rows[i].want) || !strstr(b.err.text, "stream \"s0\""))
			fail_msg("row %zu: %s", i, b.err.text);
	}
}

enum { NOTHING = INT32_MIN, REFUSED = INT32_MAX };

/* One number as plain text; garbage is told apart from a word that says that there is none: judgement, no source. */
static void plain_numbers(void **state)
{
	static const struct {
		const char *body;
		size_t n;
		int want;
	} rows[] = {
		{ "45.2", 4, 4520 },
		{ "45.2\n", 5, 4520 },
		{ " 45.2 \r\n", 8, 4520 },
		{ "4.52e1", 6, 4520 },
		{ "45.004", 6, 4500 },
		{ "45.006", 6, 4501 },
		{ "-5", 2, -500 },
		{ "-5.01", 5, NOTHING },
		{ "105", 3, 10500 },
		{ "105.01", 6, NOTHING },
		{ "1e999", 5, NOTHING },
		{ "", 0, NOTHING },
		{ "nan", 3, NOTHING },
		{ "unavailable", 11, NOTHING },
		{ "45,2", 4, NOTHING },
		{ "45 46", 5, NOTHING },
		{ "45.2%", 5, NOTHING },
		{ "0x2D", 4, NOTHING },
		{ "0X2D", 4, NOTHING },
		{ "45.2\0", 5, REFUSED },
		{ "45\0.2", 5, REFUSED },
		{ "45.2\n46", 7, REFUSED },
		{ "\xFF\xFE"
		  "4",
			3, REFUSED },
	};
	char longest[80];
	(void)state;
	struct bench b;
	bench_init(&b, FORMAT_PLAIN, 1);
	for (size_t i = 0; i < COUNT(rows); i++) {
		enum rc rc = bench_bytes(&b, NULL, rows[i].body, rows[i].n);
		int got = rc != RC_OK ? REFUSED : b.result.n == 1 ? b.out[0].r.rh_cpct : NOTHING;
		if (got != rows[i].want)
			fail_msg("\"%s\": %d, not %d", rows[i].body, got, rows[i].want);
		assert_int_equal(b.result.absent, got == NOTHING);
	}
	memset(longest, 'x', sizeof longest);
	assert_int_equal(bench_bytes(&b, NULL, longest, 64), RC_OK);
	assert_int_equal(bench_bytes(&b, NULL, longest, 65), RC_INPUT);
	bench_done(&b);
}

static void a_plain_reading_is_of_its_arrival(void **state)
{
	struct bench b;
	(void)state;
	bench_init(&b, FORMAT_PLAIN, 2);
	b.stream[1].humidity_unit = STREAM_FRACTION;
	assert_int_equal(bench_text(&b, "0.452"), RC_OK);
	assert_int_equal(b.result.n, 2);
	assert_int_equal(b.out[0].r.t_s, NOW_S);
	assert_false(b.out[0].sent);
	assert_int_equal(b.out[0].battery_pct, -1);
	assert_int_equal(b.out[0].r.temp_cdegc, QUALITY_NO_TEMP);
	assert_int_equal(b.out[0].r.rh_cpct, 45);
	assert_int_equal(b.out[1].r.rh_cpct, 4520);
	bench_done(&b);
}

static void caps_are_kept(void **state)
{
	struct bench b;
	(void)state;
	bench_init(&b, FORMAT_PLAIN, 2);
	b.source.size_limit = 64;
	char body[65];
	memset(body, ' ', sizeof body);
	body[0] = '5';
	assert_int_equal(bench_bytes(&b, NULL, body, 63), RC_OK);
	assert_int_equal(bench_bytes(&b, NULL, body, 65), RC_INPUT);
	assert_non_null(strstr(b.err.text, "size_limit"));
	assert_int_equal(
		pick_payload(b.pick, NULL, "45", 2, NOW_S, b.out, 1, &b.result, &b.err), RC_INPUT);
	assert_int_equal(b.result.n, 0);
	bench_done(&b);
}

/* Rows are read as import.h says, with the source's layout. */
static void delimited_rows(void **state)
{
	struct bench b;
	(void)state;
	bench_init(&b, FORMAT_DELIMITED, 1);
	b.set.n_layouts = 1;
	b.layout = (struct layout){ .name = "log", .zone = "+01:00", .rh_unit = RH_FRACTION };
	b.layout.temp_unit = TEMP_FAHRENHEIT;
	set_text(b.source.layout, "log");
	assert_int_equal(
		bench_text(&b, "time,rh,t\n2023-11-14 23:03,0.452,68\n2023-11-14 23:13,9.9,68\n"
			       "2023-11-14 23:23,x,68\n2023-11-14 23:33,0.454,\n"),
		RC_OK);
	assert_int_equal(b.result.n, 2);
	assert_int_equal(b.result.absent, 2); /* 990 %, and no number */
	assert_string_equal(b.out[0].sensor, "a");
	assert_int_equal(b.out[0].r.t_s, NOW_S - 620); /* 22:03 UTC */
	assert_true(b.out[0].sent);
	assert_int_equal(b.out[0].r.rh_cpct, 4520);
	assert_int_equal(b.out[0].r.temp_cdegc, 2000);
	assert_int_equal(b.out[1].r.rh_cpct, 4540);
	assert_int_equal(b.out[1].r.temp_cdegc, QUALITY_NO_TEMP);
	bench_done(&b);
}

static void delimited_rows_of_named_sensors(void **state)
{
	static const char body[] = "time,name,rh %,temp C\n2023-11-14T22:03Z,S1,45.2,20\n"
				   "2023-11-14T22:03Z,A,45.3,20\n2023-11-14T22:13Z,other,45.4,20\n";
	struct bench b;
	(void)state;
	bench_init(&b, FORMAT_DELIMITED, 2);
	b.set.n_layouts = 1;
	b.layout = (struct layout){ .name = "log", .sensor_column = "name" };
	set_text(b.source.layout, "log");
	assert_int_equal(bench_text(&b, body), RC_OK);
	assert_int_equal(b.result.n, 2);
	assert_string_equal(b.out[0].sensor, "b"); /* its stream's name */
	assert_string_equal(b.out[1].sensor, "a");
	assert_int_equal(b.result.absent, 1);
	assert_int_equal(b.out[1].r.rh_cpct, 4530);
	bench_done(&b);
}

static void delimited_text_that_leaves_something_open_is_asked(void **state)
{
	struct bench b;
	(void)state;
	bench_init(&b, FORMAT_DELIMITED, 1);
	assert_int_equal(bench_text(&b, "time,rh %,temp C\n2023-11-14 22:03,45.2,20\n"), RC_ASK);
	assert_non_null(strstr(b.err.text, "zone"));
	assert_int_equal(bench_text(&b, ""), RC_INPUT);
	assert_int_equal(bench_bytes(&b, NULL, "\0\1\2\3", 4), RC_INPUT);
	bench_done(&b);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(topics_of_the_standard),
		cmocka_unit_test(filters_that_are_none),
		cmocka_unit_test(only_streams_of_the_topic_take_part),
		cmocka_unit_test(a_level_of_the_topic_names_the_sensor),
		cmocka_unit_test(settings_that_cannot_be),
		cmocka_unit_test(plain_numbers),
		cmocka_unit_test(a_plain_reading_is_of_its_arrival),
		cmocka_unit_test(caps_are_kept),
		cmocka_unit_test(delimited_rows),
		cmocka_unit_test(delimited_rows_of_named_sensors),
		cmocka_unit_test(delimited_text_that_leaves_something_open_is_asked),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
