#include "tests/unit/support.h"

#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/schema.h"

struct sample {
	char text[16];
	char name[16];
	char path[32];
	double real;
	int whole;
	bool yes;
	double length_m;
	int64_t span_s;
	int word;
	double pair[2];
	double lengths_m[2];
	char names[3][8];
	double optional;
};

#define AT(member) FIELD_AT(sample, member)

static const char *const words[] = { "low", "middle", "high", NULL };

static const struct field rows[] = {
	{ "text", FIELD_TEXT, AT(text), 1, 0, NULL, "\"none\"", NULL, "" },
	{ "name", FIELD_NAME, AT(name), 0, 0, NULL, "\"\"", NULL, "" },
	{ "path", FIELD_PATH, AT(path), 0, 0, NULL, "\"/there\"", NULL, "" },
	{ "real", FIELD_REAL, AT(real), -5, 50, "degC", "4.5", NULL, "" },
	{ "whole", FIELD_INT, AT(whole), 0, 100, NULL, "7", NULL, "" },
	{ "yes", FIELD_BOOL, AT(yes), 0, 0, NULL, "true", NULL, "" },
	{ "length", FIELD_LENGTH, AT(length_m), 0.0005, 0.3, NULL, "\"2.7mm\"", NULL, "" },
	{ "span", FIELD_SPAN, AT(span_s), 60, 40000000, NULL, "\"15 min\"", NULL, "" },
	{ "word", FIELD_WORD, AT(word), 0, 0, NULL, "\"middle\"", words, "" },
	{ "pair", FIELD_PAIR, AT(pair), 0, 100, "% RH", "[40, 55]", NULL, "" },
	{ "lengths", FIELD_LENGTHS, AT(lengths_m), 0, 0.03, NULL, "[\"0mm\", \".012in\"]", NULL,
		"" },
	{ "names", FIELD_NAMES, offsetof(struct sample, names), 8, 0, 3, NULL, "[]", NULL, "" },
	{ "optional", FIELD_REAL, AT(optional), 0, 9, NULL, "", NULL, "" },
};

/* Reads text by the rows; the faults are the caller's. */
static struct sample read_sample(const char *text, struct faults *f)
{
	struct sample s;
	memset(&s, 0xff, sizeof s);
	config_t cfg;
	if (schema_open_text(&cfg, "t.conf", text, f))
		schema_read(config_root_setting(&cfg), rows, COUNT(rows), &s, "", f);
	config_destroy(&cfg);
	return s;
}

static void expect_no_fault(struct faults *f)
{
	for (size_t i = 0; i < f->n; i++)
		print_error("%s\n", f->text[i]);
	assert_int_equal(f->n, 0);
}

static void what_is_left_out_takes_its_default(void **state)
{
	(void)state;
	struct faults f = { 0 };
	struct sample s = read_sample("", &f);
	expect_no_fault(&f);
	assert_string_equal(s.text, "none");
	assert_string_equal(s.name, "");
	assert_string_equal(s.path, "/there");
	CLOSE(s.real, 4.5, 0, "real");
	assert_int_equal(s.whole, 7);
	assert_true(s.yes);
	CLOSE(s.length_m, 0.0027, 1e-15, "length");
	assert_int_equal(s.span_s, 900);
	assert_int_equal(s.word, 1);
	CLOSE(s.pair[0], 40, 0, "low");
	CLOSE(s.pair[1], 55, 0, "high");
	CLOSE(s.lengths_m[0], 0, 0, "shorter");
	CLOSE(s.lengths_m[1], 0.0003048, 1e-15, "longer, exact inch");
	assert_string_equal(s.names[0], "");
}

static void an_optional_setting_left_out_leaves_the_target(void **state)
{
	(void)state;
	struct sample s = { .optional = 3 };
	struct faults f = { 0 };
	config_t cfg;
	assert_true(schema_open_text(&cfg, "t.conf", "", &f));
	schema_read_one(config_root_setting(&cfg), &rows[COUNT(rows) - 1], &s, "", &f);
	config_destroy(&cfg);
	expect_no_fault(&f);
	CLOSE(s.optional, 3, 0, "optional");
}

static void an_overlay_changes_only_what_is_given(void **state)
{
	(void)state;
	struct faults f = { 0 };
	struct sample s = { .whole = 3, .span_s = 77, .text = "kept" };
	config_t cfg;
	assert_true(schema_open_text(&cfg, "t.conf", "whole = 4;", &f));
	schema_overlay(config_root_setting(&cfg), rows, COUNT(rows), &s, "", &f);
	config_destroy(&cfg);
	expect_no_fault(&f);
	assert_int_equal(s.whole, 4);
	assert_int_equal(s.span_s, 77);
	assert_string_equal(s.text, "kept");
}

static void whole_numbers_serve_as_reals(void **state)
{
	(void)state;
	struct faults f = { 0 };
	struct sample s = read_sample("real = 3; pair = (40, 55.5);", &f);
	expect_no_fault(&f);
	CLOSE(s.real, 3, 0, "real = 3");
	CLOSE(s.pair[1], 55.5, 0, "pair in a list");
}

static void spans_are_seconds_or_text_with_a_unit(void **state)
{
	(void)state;
	static const struct {
		const char *text;
		int64_t want_s;
	} spans[] = {
		{ "90", 90 },
		{ "90L", 90 },
		{ "\"90 s\"", 90 },
		{ "\"15 min\"", 900 },
		{ "\"6h\"", 21600 },
		{ "\"30 d\"", 2592000 },
		{ "\"1 y\"", 31536000 },
		{ "\"1.5 h\"", 5400 },
	};
	for (size_t i = 0; i < COUNT(spans); i++) {
		struct faults f = { 0 };
		char text[64];
		(void)snprintf(text, sizeof text, "span = %s;", spans[i].text);
		struct sample s = read_sample(text, &f);
		expect_no_fault(&f);
		assert_int_equal(s.span_s, spans[i].want_s);
	}
}

static void each_wrong_value_is_one_fault_that_says_what_would_do(void **state)
{
	(void)state;
	static const struct {
		const char *text, *want;
	} bad[] = {
		{ "text = 3;", "t.conf:1: text = 3: wrong type: text in quotes, 1 to 15 bytes" },
		{ "text = \"\";", "t.conf:1: text = \"\": empty: text in quotes, 1 to 15 bytes" },
		{ "text = \"0123456789abcdef\";", "t.conf:1: text = \"0123456789abcdef\": too "
						  "long: text in quotes, 1 to 15 bytes" },
		{ "text = \"a\\nb\";", "t.conf:1: text = \"a?b\": holds a control character: text "
				       "in quotes, 1 to 15 bytes" },
		{ "\nname = \"Left\";", "t.conf:2: name = \"Left\": no short name: lower-case "
					"letters, digits, - and _, at most 15" },
		{ "name = \"-x\";", "t.conf:1: name = \"-x\": no short name: lower-case letters, "
				    "digits, - and _, at most 15" },
		{ "real = \"3\";", "t.conf:1: real = \"3\": wrong type: a number, -5 to 50 degC" },
		{ "real = 50.5;", "t.conf:1: real = 50.5: too large: -5 to 50 degC" },
		{ "real = -6;", "t.conf:1: real = -6: too small: -5 to 50 degC" },
		{ "real = 1e999;", "t.conf:1: real = inf: no number: a number, -5 to 50 degC" },
		{ "whole = 1.0;", "t.conf:1: whole = 1: wrong type: a whole number, 0 to 100" },
		{ "whole = 101;", "t.conf:1: whole = 101: too large: 0 to 100" },
		{ "whole = 4294967297L;", "t.conf:1: whole = 4294967297: too large: 0 to 100" },
		{ "whole = 4294967297;",
			"t.conf:1: 4294967297: whole number too large: at most 2147483647" },
		{ "yes = 1;", "t.conf:1: yes = 1: wrong type: true or false" },
		{ "length = 2.7;", "t.conf:1: length = 2.7: no unit: a length with its unit, such "
				   "as \"2.7mm\", 0.5mm to 300mm" },
		{ "length = \"2.7\";",
			"t.conf:1: length = \"2.7\": no length: a length with its unit, such as "
			"\"2.7mm\", 0.5mm to 300mm" },
		{ "length = \"0mm\";", "t.conf:1: length = \"0mm\": too small: 0.5mm to 300mm" },
		{ "length = \"1m\";", "t.conf:1: length = \"1m\": too large: 0.5mm to 300mm" },
		{ "span = \"2 weeks\";", "t.conf:1: span = \"2 weeks\": no time: a time, such as "
					 "\"15 min\", \"6 h\" or "
					 "\"30 d\", 1 min to 4e+07 s" },
		{ "span = 59;", "t.conf:1: span = 59: too small: 1 min to 4e+07 s" },
		{ "span = 60.0;", "t.conf:1: span = 60: wrong type: a time, such as \"15 min\", "
				  "\"6 h\" or \"30 d\", "
				  "1 min to 4e+07 s" },
		{ "span = \"100.5 s\";",
			"t.conf:1: span = \"100.5 s\": no whole number of seconds: a time, such as "
			"\"15 min\", \"6 h\" or \"30 d\", 1 min to 4e+07 s" },
		{ "word = \"hihg\";",
			"t.conf:1: word = \"hihg\": no such word: did you mean \"high\"?" },
		{ "word = \"nothing like\";", "t.conf:1: word = \"nothing like\": no such word: "
					      "\"low\", \"middle\" or \"high\"" },
		{ "word = 1;", "t.conf:1: word = 1: wrong type: \"low\", \"middle\" or \"high\"" },
		{ "pair = [40];", "t.conf:1: pair = [...]: wrong type: two numbers, the low one "
				  "first, 0 to 100 % RH" },
		{ "pair = [40, 101];", "t.conf:1: pair = 101: too large: 0 to 100 % RH" },
		{ "pair = [50, 40];", "t.conf:1: pair = [...]: the first is not the lower one: two "
				      "numbers, the low one "
				      "first, 0 to 100 % RH" },
		{ "pair = [40, 55.5];", "t.conf:1: unlike values between [ ]: write all alike, "
					"[40.0, 55.5], or use ( )" },
		{ "lengths = [\".012in\", \".004in\"];",
			"t.conf:1: lengths = [...]: the first is not the lower one: two lengths, "
			"the "
			"low one first, such as [\".004in\", \".012in\"], 0mm to 30mm" },
		{ "lengths = [0.1, 0.3];",
			"t.conf:1: lengths = 0.1: no unit: two lengths, the low one first, such as "
			"[\".004in\", \".012in\"], 0mm to 30mm" },
		{ "lengths = [\"1mm\", \"31mm\"];",
			"t.conf:1: lengths = \"31mm\": too large: 0mm to 30mm" },
		{ "lengths = \"1mm\";",
			"t.conf:1: lengths = \"1mm\": wrong type: two lengths, the low one first, "
			"such as [\".004in\", \".012in\"], 0mm to 30mm" },
		{ "names = \"a\";",
			"t.conf:1: names = \"a\": wrong type: a list of at most 3 names" },
		{ "names = [\"a\", \"b\", \"c\", \"d\"];",
			"t.conf:1: names = [...]: too many: a list of at most 3 names" },
		{ "names = [\"a\", \"\"];",
			"t.conf:1: names = \"\": no short name: a list of at most 3 names" },
		{ "wrod = 3;", "t.conf:1: wrod: no such setting: did you mean \"word\"?" },
		{ "whole = 1;\nwhole = 2;", "t.conf:2: duplicate setting name" },
		{ "a = 1;\nb = ;\n", "t.conf:2: syntax error: look for a missing ; or , or quote, "
				     "here or on the line "
				     "above" },
		{ "\n@include \"/etc/passwd\"\n",
			"t.conf:2: @include \"/etc/passwd\": no includes here" },
	};
	for (size_t i = 0; i < COUNT(bad); i++) {
		struct faults f = { 0 };
		(void)read_sample(bad[i].text, &f);
		if (f.n != 1)
			print_error("%s: %zu faults\n", bad[i].text, f.n);
		assert_int_equal(f.n, 1);
		assert_string_equal(f.text[0], bad[i].want);
		faults_done(&f);
	}
}

static void every_fault_of_a_group_is_reported(void **state)
{
	(void)state;
	struct faults f = { 0 };
	struct sample s = read_sample("real = 99;\nwhole = 5;\nnope = 1;\nyes = \"no\";\n", &f);
	assert_int_equal(f.n, 3);
	assert_int_equal(s.whole, 5);
	faults_done(&f);
}

static void write_text(const char *folder, const char *name, const char *text)
{
	support_write(support_path(folder, name), text, strlen(text));
}

static void includes_count_from_the_folder_of_their_file(void **state)
{
	(void)state;
	char *folder = support_folder();
	write_text(folder, "main.conf", "whole = 1;\n@include \"inner.conf\" # here\nreal = 77;\n");
	write_text(folder, "inner.conf",
		"/* @include \"x\" */\n/*\n@include \"y\"\n*/ word = \"lo\";");
	struct faults f = { 0 };
	config_t cfg;
	struct sample s;
	assert_true(schema_open(&cfg, support_path(folder, "main.conf"), &f));
	schema_read(config_root_setting(&cfg), rows, COUNT(rows), &s, "", &f);
	config_destroy(&cfg);
	assert_int_equal(f.n, 2);
	char want[600];
	(void)snprintf(
		want, sizeof want, "%s/main.conf:3: real = 77: too large: -5 to 50 degC", folder);
	assert_string_equal(f.text[0], want);
	(void)snprintf(want, sizeof want,
		"%s/inner.conf:4: word = \"lo\": no such word: did you mean \"low\"?", folder);
	assert_string_equal(f.text[1], want);
	faults_done(&f);
	support_folder_remove(folder);
}

static void expect_open_fault(const char *folder, const char *bytes, const char *want)
{
	struct faults f = { 0 };
	config_t cfg;
	const char *path = support_path(folder, "t.conf");
	support_write(path, bytes, strlen(bytes));
	assert_false(schema_open(&cfg, path, &f));
	config_destroy(&cfg);
	assert_int_equal(f.n, 1);
	assert_true(strncmp(f.text[0], path, strlen(path)) == 0);
	assert_string_equal(f.text[0] + strlen(path), want);
	faults_done(&f);
}

/* libconfig 1.5 ends the process when an include is a folder, and cannot include absolute paths. */
static void includes_that_cannot_be_read_are_faults(void **state)
{
	(void)state;
	char *folder = support_folder();
	expect_open_fault(folder, "@include \"/tmp\"\n",
		":1: @include \"/tmp\": is no regular file: a settings file");
	expect_open_fault(folder, "\n@include \"nope\"\n",
		":2: @include \"nope\": cannot be read: a readable file");
	expect_open_fault(folder, "@include \"t.conf\"\n",
		":1: @include \"t.conf\": too many includes: does it include itself?");
	expect_open_fault(folder, "a = 1;\n@include \"nope\n",
		":2: @include \"\": no path: a path in quotes");
	support_folder_remove(folder);
}

static void a_file_that_is_no_text_is_a_fault(void **state)
{
	(void)state;
	char *folder = support_folder();
	struct faults f = { 0 };
	config_t cfg;
	support_write(support_path(folder, "zero"), "a = 1;\0b", 8);
	assert_false(schema_open(&cfg, support_path(folder, "zero"), &f));
	config_destroy(&cfg);
	assert_false(schema_open(&cfg, folder, &f));
	config_destroy(&cfg);
	assert_int_equal(f.n, 2);
	assert_non_null(strstr(f.text[0], "holds a zero byte"));
	assert_non_null(strstr(f.text[1], "is no regular file"));
	faults_done(&f);
	support_folder_remove(folder);
}

static void files_beyond_4_mib_are_refused(void **state)
{
	(void)state;
	char *folder = support_folder();
	size_t n = 4 * 1024 * 1024;
	char *bytes = mem_new(n + 1, 1);
	memset(bytes, ' ', n + 1);
	struct faults f = { 0 };
	config_t cfg;
	support_write(support_path(folder, "big"), bytes, n);
	assert_true(schema_open(&cfg, support_path(folder, "big"), &f));
	config_destroy(&cfg);
	support_write(support_path(folder, "big"), bytes, n + 1);
	assert_false(schema_open(&cfg, support_path(folder, "big"), &f));
	config_destroy(&cfg);
	assert_int_equal(f.n, 1);
	faults_done(&f);
	mem_free(bytes);
	support_folder_remove(folder);
}

static void a_path_starts_from_the_folder_of_the_first_file(void **state)
{
	(void)state;
	char *folder = support_folder();
	support_write(support_path(folder, "m.conf"), "path = \"x\";", 11);
	struct faults f = { 0 };
	config_t cfg;
	struct field row = rows[2];
	struct {
		char path[200];
	} target;
	row.offset = 0;
	row.size = sizeof target.path;
	assert_true(schema_open(&cfg, support_path(folder, "m.conf"), &f));
	schema_read_one(config_root_setting(&cfg), &row, &target, "", &f);
	config_destroy(&cfg);
	expect_no_fault(&f);
	assert_string_equal(target.path, support_path(folder, "x"));
	support_folder_remove(folder);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(what_is_left_out_takes_its_default),
		cmocka_unit_test(an_optional_setting_left_out_leaves_the_target),
		cmocka_unit_test(an_overlay_changes_only_what_is_given),
		cmocka_unit_test(whole_numbers_serve_as_reals),
		cmocka_unit_test(spans_are_seconds_or_text_with_a_unit),
		cmocka_unit_test(each_wrong_value_is_one_fault_that_says_what_would_do),
		cmocka_unit_test(every_fault_of_a_group_is_reported),
		cmocka_unit_test(includes_count_from_the_folder_of_their_file),
		cmocka_unit_test(includes_that_cannot_be_read_are_faults),
		cmocka_unit_test(a_file_that_is_no_text_is_a_fault),
		cmocka_unit_test(files_beyond_4_mib_are_refused),
		cmocka_unit_test(a_path_starts_from_the_folder_of_the_first_file),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
