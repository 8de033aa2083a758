/* Exports in tests/data/import: NAME.csv with NAME.want beside it, which lists settings (`set KEY
 * VALUE`) and what must come out. A new case needs no code. UPDATE=1 writes the want files anew:
 * read the diff. */
#include "tests/unit/support.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/civil.h"
#include "core/number.h"
#include "daemon/import.h"

#define FOLDER "tests/data/import"

enum { LIST_MAX = 65536, NAMES = 300 };

/* Everything an import said, as text. */
struct list {
	char text[LIST_MAX];
	size_t n;
	char names[NAMES][64];
	int n_names;
};

static void PRINTF_LIKE(2, 3) add(struct list *l, const char *fmt, ...)
{
	va_list ap;
	va_start(ap, fmt);
	int more = vsnprintf(l->text + l->n, LIST_MAX - l->n, fmt, ap);
	va_end(ap);
	l->n += (size_t)more;
	assert_true(l->n < LIST_MAX);
}

static int on_sensor(void *arg, const char *name)
{
	struct list *l = arg;
	add(l, "sensor %s\n", name);
	(void)snprintf(l->names[l->n_names], sizeof l->names[0], "%s", name);
	return strcmp(name, "unwanted") == 0 ? -1 : l->n_names++;
}

static enum rc on_reading(
	void *arg, int sensor, const struct quality_reading *r, int64_t line, struct err *err)
{
	struct list *l = arg;
	(void)err;
	struct civil c = civil_at(r->t_s);
	add(l, "reading %lld %s %04d-%02d-%02dT%02d:%02d:%02dZ %.2f", (long long)line,
		l->names[sensor][0] ? l->names[sensor] : "-", c.year, c.month, c.day, c.hour,
		c.minute, c.second, r->rh_cpct / 100.0);
	if (r->temp_cdegc == QUALITY_NO_TEMP)
		add(l, " -\n");
	else
		add(l, " %.2f\n", r->temp_cdegc / 100.0);
	return RC_OK;
}

static void on_guess(void *arg, const char *text)
{
	add(arg, "guess %s\n", text);
}

static void on_refused(void *arg, int64_t line, const char *reason)
{
	add(arg, "refused %lld %s\n", (long long)line, reason);
}

static int word_index(const char *value, const char *const *words, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		if (strcmp(value, words[i]) == 0)
			return (int)i + 1;
	}
	fail_msg("no such word: %s", value);
	return 0;
}

static void set(struct layout *k, const char *key, const char *value)
{
	static const char *const encodings[] = { "utf-8", "utf-16", "latin-1" };
	static const char *const orders[] = { "ymd", "dmy", "mdy" };
	static const char *const rh[] = { "percent", "fraction" };
	static const char *const temp[] = { "celsius", "fahrenheit" };
	const struct {
		const char *key;
		char *buf;
		size_t n;
	} texts[] = {
		{ "zone", k->zone, sizeof k->zone },
		{ "rh", k->rh, sizeof k->rh },
		{ "temp", k->temp, sizeof k->temp },
		{ "time", k->time, sizeof k->time },
		{ "clock", k->clock, sizeof k->clock },
		{ "format", k->format, sizeof k->format },
		{ "sensor", k->sensor, sizeof k->sensor },
		{ "sensor_column", k->sensor_column, sizeof k->sensor_column },
		{ "decimal", k->decimal, sizeof k->decimal },
		{ "delimiter", k->delimiter, sizeof k->delimiter },
	};
	for (size_t i = 0; i < COUNT(texts); i++) {
		if (strcmp(key, texts[i].key) == 0)
			(void)snprintf(texts[i].buf, texts[i].n, "%s", value);
	}
	if (strcmp(key, "order") == 0)
		k->order = word_index(value, orders, COUNT(orders));
	if (strcmp(key, "rh_unit") == 0)
		k->rh_unit = word_index(value, rh, COUNT(rh));
	if (strcmp(key, "temp_unit") == 0)
		k->temp_unit = word_index(value, temp, COUNT(temp));
	if (strcmp(key, "encoding") == 0)
		k->encoding = word_index(value, encodings, COUNT(encodings));
	int64_t rows = 0;
	if (strcmp(key, "header_rows") == 0 && number_int(value, &rows))
		k->header_rows = (int)rows;
}

/* Takes the `set` lines into the layout and repeats them in the list. */
static void read_settings(char *want, struct layout *k, struct list *l)
{
	char *save = NULL;
	char *copy = strdup(want);
	for (char *line = strtok_r(copy, "\n", &save); line; line = strtok_r(NULL, "\n", &save)) {
		char *value = strncmp(line, "set ", 4) == 0 ? strchr(line + 4, ' ') : NULL;
		if (!value)
			continue;
		add(l, "%s\n", line);
		*value = '\0';
		set(k, line + 4, value + 1);
	}
	free(copy);
}

static enum rc run(const char *path, const struct layout *k, struct list *l, struct err *err)
{
	const struct import_sink sink = { l, on_sensor, on_reading, on_guess, on_refused, NULL };
	struct import_result r = { 0 };
	enum rc rc = import_file(path, k, &sink, &r, err);
	add(l, "rows %lld readings %lld refused %lld\n", (long long)r.rows, (long long)r.readings,
		(long long)r.refused);
	return rc;
}

static char *read_all(const char *path, size_t *n)
{
	char *text = calloc(LIST_MAX, 1);
	FILE *f = fopen(path, "rb");
	assert_non_null(text);
	*n = 0;
	if (f) {
		*n = fread(text, 1, LIST_MAX - 1, f);
		assert_true(*n < LIST_MAX - 1);
		(void)fclose(f);
	}
	return text;
}

/* Bytes in memory come to what a file of them comes to. */
static void same_from_memory(const char *path, const struct layout *k, enum rc want_rc,
	const struct err *want_err, const char *want)
{
	size_t n;
	char *bytes = read_all(path, &n);
	struct list *l = calloc(1, sizeof *l);
	const struct import_sink sink = { l, on_sensor, on_reading, on_guess, on_refused, NULL };
	struct import_result r = { 0 };
	struct err err = { 0 };
	assert_int_equal(import_bytes(path, bytes, n, k, &sink, &r, &err), want_rc);
	assert_string_equal(err.text, want_err->text);
	add(l, "rows %lld readings %lld refused %lld\n", (long long)r.rows, (long long)r.readings,
		(long long)r.refused);
	assert_string_equal(l->text, want);
	free(l);
	free(bytes);
}

static bool one_export(const char *name)
{
	static const char *const codes[] = { "OK", "USAGE", "CONFIG", "INPUT", "ASK", "UNKNOWN",
		"IO" };
	char path[512], want_path[512];
	(void)snprintf(path, sizeof path, FOLDER "/%s.csv", name);
	(void)snprintf(want_path, sizeof want_path, FOLDER "/%s.want", name);
	size_t n_want;
	char *want = read_all(want_path, &n_want);
	struct layout known = { 0 };
	struct err err = { 0 };
	struct list *l = calloc(1, sizeof *l);
	read_settings(want, &known, l);
	size_t settings = l->n;
	enum rc rc = run(path, &known, l, &err);
	same_from_memory(path, &known, rc, &err, l->text + settings);
	if (rc != RC_OK) {
		size_t folder = strncmp(err.text, FOLDER "/", strlen(FOLDER) + 1) == 0
					? strlen(FOLDER) + 1
					: 0;
		add(l, "error %s %s\n", codes[rc], err.text + folder);
	}
	bool same = strcmp(want, l->text) == 0;
	if (!same && getenv("UPDATE"))
		support_write(want_path, l->text, l->n);
	else if (!same)
		print_error("%s: got\n%s-- wanted\n%s\n", name, l->text, want);
	free(want);
	free(l);
	return same || getenv("UPDATE");
}

static void every_export_gives_what_stands_beside_it(void **state)
{
	(void)state;
	struct dirent **list = NULL;
	int n = scandir(FOLDER, &list, NULL, alphasort);
	size_t cases = 0, bad = 0;
	for (int i = 0; i < n; i++) {
		char *dot = strstr(list[i]->d_name, ".csv");
		if (dot) {
			*dot = '\0';
			cases++;
			bad += !one_export(list[i]->d_name);
		}
		free(list[i]);
	}
	free(list);
	print_message("%zu exports\n", cases);
	assert_true(cases > 60);
	assert_int_equal(bad, 0);
}

/* Files that are made here because they are large. */

static FILE *begin(const char *path, const char *header)
{
	FILE *f = fopen(path, "w");
	assert_non_null(f);
	(void)fprintf(f, "%s\n", header);
	return f;
}

static struct list *import_made(
	const char *path, FILE *f, const struct layout *k, enum rc want, struct err *err)
{
	assert_int_equal(fclose(f), 0);
	struct list *l = calloc(1, sizeof *l);
	struct import_result r = { 0 };
	const struct import_sink sink = { l, NULL, NULL, on_guess, on_refused, NULL };
	enum rc rc = import_file(path, k, &sink, &r, err);
	if (rc != want)
		print_error("%s%s\n", l->text, err->text);
	assert_int_equal(rc, want);
	add(l, "rows %lld readings %lld refused %lld\n", (long long)r.rows, (long long)r.readings,
		(long long)r.refused);
	return l;
}

static void a_line_of_gigabytes_is_one_refused_row_and_takes_no_memory(void **state)
{
	(void)state;
	char *folder = support_folder();
	const char *path = support_path(folder, "long.csv");
	FILE *f = begin(path, "Time UTC,RH %");
	for (int i = 0; i < 3000; i++) /* more than the first look */
		(void)fprintf(f, "2024-01-01 %02d:%02d:00,45.5 \n", i / 60 % 24, i % 60);
	assert_int_equal(
		fseek(f, INT64_C(1) << 30, SEEK_CUR), 0); /* a hole: zeros without a line end */
	(void)fprintf(f, "\n2024-01-05 00:00:00,46\n2024-01-05 01:00:00,47");
	struct rusage before, after;
	(void)getrusage(RUSAGE_SELF, &before);
	struct err err = { 0 };
	struct list *l = import_made(path, f, NULL, RC_OK, &err);
	(void)getrusage(RUSAGE_SELF, &after);
	assert_non_null(strstr(l->text, "refused 3002 longer than 65536 bytes\n"));
	assert_non_null(strstr(l->text, "rows 3003 readings 3002 refused 1\n"));
	assert_true(after.ru_maxrss - before.ru_maxrss < 16 * 1024); /* KiB */
	free(l);
	support_folder_remove(folder);
}

static void a_record_may_be_as_long_as_the_limit(void **state)
{
	(void)state;
	char *folder = support_folder();
	for (int over = 0; over < 2; over++) {
		const char *path = support_path(folder, "limit.csv");
		FILE *f = begin(path, "Time UTC,RH %,note");
		for (int i = 0; i < 3000; i++)
			(void)fprintf(f, "2024-01-01 %02d:%02d:00,45.5 ,\n", i / 60 % 24, i % 60);
		(void)fprintf(f, "2024-01-05 00:00:00,46,%*s\n", IMPORT_LINE_MAX - 23 + over, "x");
		struct err err = { 0 };
		struct list *l = import_made(path, f, NULL, RC_OK, &err);
		assert_non_null(strstr(
			l->text, over ? "readings 3000 refused 1" : "readings 3001 refused 0"));
		free(l);
	}
	support_folder_remove(folder);
}

/* Hourly rows from the 1st of the month on in an order, for n days. */
static void write_days(FILE *f, int month, int days, bool day_first)
{
	for (int h = 0; h < days * 24 * 12; h++) {
		int day = h / 288 + 1;
		(void)fprintf(f, "%02d/%02d/2024 %02d:%02d,45.25\n", day_first ? day : month,
			day_first ? month : day, h / 12 % 24, h % 12 * 5);
	}
}

static void the_order_of_day_and_month_is_looked_for_in_the_whole_file(void **state)
{
	(void)state;
	char *folder = support_folder();
	const char *path = support_path(folder, "order.csv");
	for (int day_first = 0; day_first < 2; day_first++) {
		FILE *f = begin(path, "Time UTC,RH %");
		write_days(f, 3, 20, day_first);
		struct err err = { 0 };
		struct list *l = import_made(path, f, NULL, RC_OK, &err);
		assert_non_null(
			strstr(l->text, day_first ? "dates: day first, told by line 3458"
						  : "dates: month first, told by line 3458"));
		assert_non_null(strstr(l->text, "readings 5760 refused 0"));
		free(l);
	}
	support_folder_remove(folder);
}

static void a_file_that_never_tells_day_from_month_is_asked_about(void **state)
{
	(void)state;
	char *folder = support_folder();
	const char *path = support_path(folder, "order.csv");
	FILE *f = begin(path, "Time UTC,RH %");
	write_days(f, 3, 12, true);
	struct err err = { 0 };
	free(import_made(path, f, NULL, RC_ASK, &err));
	assert_non_null(strstr(err.text, "order = \"dmy\""));
	assert_non_null(strstr(err.text, "--order dmy"));
	support_folder_remove(folder);
}

static void a_date_against_the_concluded_order_ends_the_import(void **state)
{
	(void)state;
	char *folder = support_folder();
	const char *path = support_path(folder, "order.csv");
	FILE *f = begin(path, "Time UTC,RH %");
	write_days(f, 3, 20, true);
	write_days(f, 4, 20, false);
	struct err err = { 0 };
	free(import_made(path, f, NULL, RC_INPUT, &err));
	assert_non_null(strstr(err.text, "order.csv:9218: \"04/13/2024 00:00\""));
	err = (struct err){ 0 };
	struct layout known = { .order = ORDER_DMY };
	f = begin(path, "Time UTC,RH %");
	write_days(f, 3, 1, true);
	(void)fprintf(f, "04/13/2024 00:00,45\n");
	struct list *l = import_made(path, f, &known, RC_OK, &err);
	assert_non_null(strstr(l->text, "readings 288 refused 1"));
	free(l);
	support_folder_remove(folder);
}

static void units_guessed_by_values_are_asked_about_when_later_rows_do_not_go_with_them(
	void **state)
{
	(void)state;
	char *folder = support_folder();
	const char *path = support_path(folder, "units.csv");
	FILE *f = begin(path, "Time UTC,T,RH");
	for (int i = 0; i < 6000; i++)
		(void)fprintf(f, "2024-%02d-%02d %02d:00:00,%d,45.5\n", i / 672 + 1,
			i / 24 % 28 + 1, i % 24, i < 3000 ? 25 + i % 5 : 65 + i % 5);
	struct err err = { 0 };
	free(import_made(path, f, NULL, RC_ASK, &err));
	assert_non_null(strstr(err.text, "temp_unit"));
	support_folder_remove(folder);
}

static void what_is_no_plain_file_is_refused(void **state)
{
	(void)state;
	char *folder = support_folder();
	const struct import_sink none = { 0 };
	struct import_result r;
	struct err err = { 0 };
	assert_int_equal(import_file(folder, NULL, &none, &r, &err), RC_IO);
	assert_non_null(strstr(err.text, "is a directory"));
	err = (struct err){ 0 };
	assert_int_equal(import_file(support_path(folder, "absent"), NULL, &none, &r, &err), RC_IO);
	assert_non_null(strstr(err.text, "No such file"));
	const char *fifo = support_path(folder, "fifo");
	assert_int_equal(mkfifo(fifo, 0600), 0);
	err = (struct err){ 0 };
	assert_int_equal(import_file(fifo, NULL, &none, &r, &err), RC_IO);
	support_folder_remove(folder);
}

static enum rc full_after_two(
	void *arg, int sensor, const struct quality_reading *r, int64_t line, struct err *err)
{
	int *n = arg;
	(void)sensor, (void)r;
	return ++*n < 3 ? RC_OK : err_set(err, RC_FULL, "line %lld: disk full", (long long)line);
}

static void an_error_of_the_sink_ends_the_import(void **state)
{
	(void)state;
	int n = 0;
	const struct import_sink sink = { .arg = &n, .reading = full_after_two };
	struct import_result r = { 0 };
	struct err err = { 0 };
	assert_int_equal(import_file(FOLDER "/iso-comma.csv", NULL, &sink, &r, &err), RC_FULL);
	assert_string_equal(err.text, "line 4: disk full");
	assert_int_equal(n, 3);
}

/* Any bytes end in a result, never in a crash; run with the sanitizers on. */
static void damaged_exports_end_in_a_result(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	char *folder = support_folder();
	const char *path = support_path(folder, "damaged.csv");
	static const char *const names[] = { "iso-comma", "semicolon-latin1", "tab-utf16le",
		"pairs", "autumn-both", "quotes", "names-column" };
	struct layout known = { .zone = "Europe/Berlin" };
	const struct import_sink none = { 0 };
	for (int round = 0; round < 1500; round++) {
		char from[256];
		(void)snprintf(
			from, sizeof from, FOLDER "/%s.csv", names[(size_t)round % COUNT(names)]);
		FILE *f = fopen(from, "rb");
		char bytes[8192];
		assert_non_null(f);
		size_t n = fread(bytes, 1, sizeof bytes, f);
		(void)fclose(f);
		for (int k = 0; k < 1 + round % 7; k++)
			bytes[support_random(&seed) % n] =
				"\n\",;\t 0-./:%\xC2\xFF\0a"[support_random(&seed) % 17];
		support_write(path, bytes, n - support_random(&seed) % (n / 4));
		struct import_result r = { 0 };
		struct err err = { 0 };
		enum rc rc = import_file(path, &known, &none, &r, &err);
		assert_true(rc == RC_OK || err.text[0]);
		assert_true(rc != RC_OK || r.readings > 0);
	}
	support_folder_remove(folder);
}

struct monthly {
	double sum[12 * 3];
	int n[12 * 3];
};

static enum rc add_month(
	void *arg, int sensor, const struct quality_reading *r, int64_t line, struct err *err)
{
	struct monthly *m = arg;
	(void)sensor, (void)line, (void)err;
	struct civil c = civil_at(r->t_s + 2 * HOUR_S);
	int i = (c.year - 2010) * 12 + c.month - 1;
	m->sum[i] += r->rh_cpct / 100.0;
	m->n[i]++;
	return RC_OK;
}

/* Monthly means of the TRH database (CC BY 4.0), computed beside the data. */
static void a_finnish_house_gives_its_published_monthly_means(void **state)
{
	(void)state;
	static const struct {
		const char *file;
		int year, month;
		double mean_pct;
	} rows[] = {
		{ "finland-R4-indoor1.csv", 2011, 2, 24.9 },
		{ "finland-R4-indoor1.csv", 2011, 7, 57.4 },
		{ "finland-R4-indoor1.csv", 2011, 9, 59.8 },
		{ "finland-R4-indoor1.csv", 2012, 2, 28.0 },
		{ "finland-R3-indoor1.csv", 2011, 2, 37.5 },
		{ "finland-R3-indoor1.csv", 2011, 8, 50.1 },
		{ "finland-R3-indoor1.csv", 2012, 3, 27.7 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		const char *path = support_data(rows[i].file);
		if (!path)
			return;
		struct monthly m = { 0 };
		const struct import_sink sink = { .arg = &m, .reading = add_month };
		struct import_result r;
		struct err err = { 0 };
		OK(import_file(path, NULL, &sink, &r, &err), &err);
		int k = (rows[i].year - 2010) * 12 + rows[i].month - 1;
		CLOSE(m.sum[k] / m.n[k], rows[i].mean_pct, 0.05, rows[i].file);
		assert_int_equal(r.refused, 0);
	}
}

static void a_belgian_house_gives_five_sensors(void **state)
{
	(void)state;
	const char *path = support_data("belgium-house-2016.csv");
	if (!path)
		return;
	struct list *l = calloc(1, sizeof *l);
	const struct import_sink sink = { l, on_sensor, NULL, NULL, NULL, NULL };
	struct layout known = { .zone = "+01:00" };
	struct import_result r;
	struct err err = { 0 };
	OK(import_file(path, &known, &sink, &r, &err), &err);
	assert_string_equal(l->text, "sensor 1\nsensor 2\nsensor 4\nsensor 6\nsensor out\n");
	assert_int_equal(r.readings, 5 * r.rows);
	free(l);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_export_gives_what_stands_beside_it),
		cmocka_unit_test(a_line_of_gigabytes_is_one_refused_row_and_takes_no_memory),
		cmocka_unit_test(a_record_may_be_as_long_as_the_limit),
		cmocka_unit_test(the_order_of_day_and_month_is_looked_for_in_the_whole_file),
		cmocka_unit_test(a_file_that_never_tells_day_from_month_is_asked_about),
		cmocka_unit_test(a_date_against_the_concluded_order_ends_the_import),
		cmocka_unit_test(
			units_guessed_by_values_are_asked_about_when_later_rows_do_not_go_with_them),
		cmocka_unit_test(what_is_no_plain_file_is_refused),
		cmocka_unit_test(an_error_of_the_sink_ends_the_import),
		cmocka_unit_test(damaged_exports_end_in_a_result),
		cmocka_unit_test(a_finnish_house_gives_its_published_monthly_means),
		cmocka_unit_test(a_belgian_house_gives_five_sensors),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
