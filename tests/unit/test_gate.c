#include "tests/unit/support.h"

#include <netinet/in.h>
#include <stdio.h>
#include <string.h>

#include "daemon/gate.h"
#include "daemon/gate_address.h"

/* ---- addresses ---- */

static void addresses_are_numbers_and_loopback_unless_written_out(void **state)
{
	(void)state;
	/* loopback: 127.0.0.0/8 of RFC 1122 section 3.2.1.3, ::1 of RFC 4291 section 2.5.3 */
	static const struct {
		const char *text;
		int family, port;
		bool loopback;
	} rows[] = {
		{ "127.0.0.1:8086", AF_INET, 8086, true },
		{ "127.255.0.9:1", AF_INET, 1, true },
		{ "[::1]:65535", AF_INET6, 65535, true },
		{ "8086", AF_INET, 8086, true },
		{ ":8086", AF_INET, 8086, true },
		{ "0.0.0.0:8086", AF_INET, 8086, false },
		{ "192.0.2.7:8086", AF_INET, 8086, false },
		{ "128.0.0.1:8086", AF_INET, 8086, false },
		{ "[::]:8086", AF_INET6, 8086, false },
		{ "[2001:db8::1]:8086", AF_INET6, 8086, false },
		{ "[::ffff:127.0.0.1]:8086", AF_INET6, 8086, false },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct gate_address a;
		if (!gate_address_parse(rows[i].text, &a))
			fail_msg("%s was refused", rows[i].text);
		assert_int_equal(a.at.ss_family, rows[i].family);
		assert_int_equal(a.loopback, rows[i].loopback);
		in_port_t port;
		memcpy(&port, (const char *)&a.at + offsetof(struct sockaddr_in, sin_port),
			sizeof port); /* the same place in both families */
		assert_int_equal(ntohs(port), rows[i].port);
	}
}

static void what_is_no_address_is_refused(void **state)
{
	(void)state;
	static const char *const rows[] = { "", ":", "127.0.0.1", "127.0.0.1:", "127.0.0.1:0",
		"127.0.0.1:65536", "127.0.0.1:-1", "127.0.0.1:+80", "127.0.0.1: 80", "127.1:80",
		"localhost:80", "::1:80", "[::1]80", "[::1:80", "[]:80", "[127.0.0.1]:80",
		"[fe80::1%lo]:80", "127.0.0.1:80 ", "http://127.0.0.1:80",
		"127.0.0.1:99999999999999999999",
		"[00000000000000000000000000000000000000000000000000000000000000000000000001]:80" };
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct gate_address a;
		if (gate_address_parse(rows[i], &a))
			fail_msg("\"%s\" was taken", rows[i]);
	}
}

/* ---- frames ---- */

/* Cuts text, given step bytes at a time, and prints the payloads with | after each. */
static const char *cut(bool json, const char *text, size_t step)
{
	static char out[512];
	char in[256];
	struct gate_frame f = { .json = json };
	size_t n_in = 0, used = 0, n = strlen(text);
	for (size_t at = 0; at < n; at += step) {
		size_t more = n - at < step ? n - at : step, length;
		memcpy(in + n_in, text + at, more);
		n_in += more;
		while ((length = gate_frame_next(&f, in, n_in)) > 0) {
			used += (size_t)snprintf(
				out + used, sizeof out - used, "%.*s|", (int)length, in);
			n_in -= length;
			memmove(in, in + length, n_in);
		}
	}
	(void)snprintf(out + used, sizeof out - used, "%.*s", (int)n_in, in);
	return out;
}

static void payloads_end_with_lines_and_in_json_outside_of_brackets(void **state)
{
	(void)state;
	static const struct {
		bool json;
		const char *text, *want;
	} rows[] = {
		{ false, "a\nb\n\nc", "a\n|b\n|\n|c" },
		{ false, "{\n}\n", "{\n|}\n|" },
		{ true, "{\n}\n1\n", "{\n}\n|1\n|" },
		{ true, "[\n{\"a\": [\n1]}\n]\n{}\n", "[\n{\"a\": [\n1]}\n]\n|{}\n|" },
		{ true, "{\"a}\": \"{[\"}\n2\n", "{\"a}\": \"{[\"}\n|2\n|" },
		{ true, "{\"\\\"}\": \"\\\\\"}\n2\n", "{\"\\\"}\": \"\\\\\"}\n|2\n|" },
		{ true, "}}}\n{\n}\n", "}}}\n|{\n}\n|" },
		{ true, "{\"a\n2\n",
			"{\"a\n|2\n|" }, /* RFC 8259 section 7: no line end in a string */
		{ true, "{\"a\": {\n", "{\"a\": {\n" },
	};
	for (size_t i = 0; i < COUNT(rows); i++)
		for (size_t step = 1; step < 12; step++)
			assert_string_equal(cut(rows[i].json, rows[i].text, step), rows[i].want);
}

/* ---- the rate limit ---- */

static void rate_limit_begins_anew_each_minute(void **state)
{
	(void)state;
	struct clock clock = clock_virtual(1767225600);
	struct app app = { .clock = &clock };
	struct source source = { .rate_limit = 3 };
	struct feed feed = { .owner = { .app = &app }, .source = &source };
	struct gate g = { .feed = &feed };
	for (int minute = 0; minute < 3; minute++) {
		for (int i = 0; i < 3; i++)
			assert_int_equal(gate_wait_s(&g), 0);
		assert_int_equal(gate_wait_s(&g), 60);
		clock_jump(&clock, 59001);
		assert_int_equal(gate_wait_s(&g), 1);
		clock_jump(&clock, 999);
	}
	/* a pause gives no credit */
	clock_jump(&clock, 3600000);
	for (int i = 0; i < 3; i++)
		assert_int_equal(gate_wait_s(&g), 0);
	assert_int_equal(gate_wait_s(&g), 60);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(addresses_are_numbers_and_loopback_unless_written_out),
		cmocka_unit_test(what_is_no_address_is_refused),
		cmocka_unit_test(payloads_end_with_lines_and_in_json_outside_of_brackets),
		cmocka_unit_test(rate_limit_begins_anew_each_minute),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
