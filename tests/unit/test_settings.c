#include "tests/unit/support.h"

#include <dirent.h>
#include <fnmatch.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "core/mem.h"
#include "daemon/settings.h"

/* Every NAME.conf here is a case: with NAME.want beside it the exact faults, without it a good
 * file. */
#define CASES "tests/data/settings"

static int only_conf(const struct dirent *d)
{
	return fnmatch("*.conf", d->d_name, 0) == 0;
}

static char *faults_text(const struct faults *f)
{
	char *all = mem_new(FAULTS_MAX, 1400);
	assert_non_null(all);
	size_t len = 0;
	for (size_t i = 0; i < f->n; i++)
		len += (size_t)snprintf(all + len, 1400, "%s\n", f->text[i]);
	return all;
}

static void check_case(const char *name)
{
	char want_path[300], want[16384] = "";
	(void)snprintf(want_path, sizeof want_path, "%.*s.want", (int)(strlen(name) - 5), name);
	FILE *file = fopen(want_path, "rb");
	if (file) {
		assert_true(fread(want, 1, sizeof want - 1, file) > 0);
		(void)fclose(file);
	}
	struct settings *s = NULL;
	struct faults f = { 0 };
	enum rc rc = settings_load(name, &s, &f);
	char *got = faults_text(&f);
	if (strcmp(got, want) != 0)
		print_error("%s\n", name);
	assert_string_equal(got, want);
	assert_int_equal(rc, file ? RC_CONFIG : RC_OK);
	assert_true((s != NULL) == (rc == RC_OK));
	mem_free(got);
	faults_done(&f);
	settings_free(s);
}

static void every_case_of_the_folder_gives_its_faults(void **state)
{
	(void)state;
	struct dirent **entries;
	int n = scandir(".", &entries, only_conf, alphasort);
	assert_true(n >= 17);
	for (int i = 0; i < n; i++) {
		check_case(entries[i]->d_name);
		free(entries[i]);
	}
	free(entries);
}

static struct settings *load(const char *path)
{
	struct settings *s;
	struct faults f = { 0 };
	struct err err = { 0 };
	if (settings_load(path, &s, &f) != RC_OK)
		OK(faults_result(&f, &err), &err);
	assert_non_null(s);
	return s;
}

static void everything_that_is_given_arrives(void **state)
{
	(void)state;
	struct settings *s = load("good-most.conf");
	assert_string_equal(s->store, "data/seasond.db");
	assert_string_equal(s->library[1], "own");
	assert_string_equal(s->library[2], "");
	assert_int_equal(s->units, BENCH_INCH);
	const struct place *shop = settings_place(s, "shop");
	const struct place *box = settings_place(s, "case");
	CLOSE(shop->rh_low_pct, 40, 0, "low");
	CLOSE(shop->rh_high_pct, 55, 0, "high");
	CLOSE(box->rh_high_pct, 0, 0, "no band");
	assert_string_equal(settings_zone_of(s, shop), "America/New_York");
	assert_string_equal(settings_zone_of(s, box), "Europe/London");
	assert_int_equal(settings_sensor(s, "left")->silent_after_s, 6 * 3600);
	assert_int_equal(settings_sensor(s, "case-1")->silent_after_s, 86400);
	assert_int_equal(s->sources[0].kind, SOURCE_KERNEL);
	assert_int_equal(s->sources[0].unit, KERNEL_PERCENT);
	assert_string_equal(s->sources[0].path, "/sys");
	assert_int_equal(s->sources[1].interval_s, 300);
	assert_string_equal(s->sources[1].path, "spool");
	assert_string_equal(settings_colour(s->outputs[0].colour), "teal");
	assert_true(s->outputs[0].alarms);
	const struct layout *l = settings_layout(s, "logger");
	assert_string_equal(l->delimiter, "semicolon");
	assert_int_equal(l->encoding, ENCODING_UTF16);
	assert_int_equal(l->order, ORDER_DMY);
	assert_int_equal(l->rh_unit, RH_FRACTION);
	assert_int_equal(l->temp_unit, TEMP_FAHRENHEIT);
	assert_null(settings_place(s, "nowhere"));
	settings_free(s);
}

static void what_is_left_out_is_guessed_or_usual(void **state)
{
	(void)state;
	struct settings *s = load("good-least.conf");
	assert_int_equal(s->units, BENCH_MM);
	assert_int_equal(s->sensors[0].silent_after_s, 86400);
	assert_string_equal(s->store, "/var/lib/seasond/seasond.db");
	assert_null(settings_colour(0));
	assert_int_equal(s->n_outputs + s->n_sources + s->n_layouts, 0);
	settings_free(s);
}

/* More places than the cap: one fault, no memory spent on them. */
static void lists_have_caps(void **state)
{
	(void)state;
	char *folder = support_folder();
	const char *path = support_path(folder, "many.conf");
	FILE *file = fopen(path, "w");
	assert_non_null(file);
	fputs("zone = \"UTC\";\nsensors = ( { name = \"a\"; place = \"p0\"; } );\nplaces = (",
		file);
	for (int i = 0; i <= PLACES_MAX; i++)
		fprintf(file, "%s{ name = \"p%d\"; }", i ? ",\n" : "", i);
	fputs(");\n", file);
	fclose(file);
	struct settings *s;
	struct faults f = { 0 };
	assert_int_equal(settings_load(path, &s, &f), RC_CONFIG);
	assert_null(s);
	assert_int_equal(f.n, 1);
	assert_non_null(strstr(f.text[0], "many.conf:3: places = [...]: too many: at most 256"));
	faults_done(&f);
	support_folder_remove(folder);
}

static void a_missing_file_is_one_fault(void **state)
{
	(void)state;
	struct settings *s;
	struct faults f = { 0 };
	assert_int_equal(settings_load("nowhere.conf", &s, &f), RC_CONFIG);
	assert_int_equal(f.n, 1);
	assert_string_equal(f.text[0], "nowhere.conf: cannot be read: a readable file");
	faults_done(&f);
}

struct lines {
	size_t n;
	bool sensor_place;
};

static void count_line(void *arg, const char *text)
{
	struct lines *l = arg;
	l->n++;
	assert_null(strchr(text, '\n'));
	l->sensor_place |= strcmp(text, "sensors.place: lower-case letters, digits, - and _, at "
					"most 31; must be given; "
					"the place whose air it measures") == 0;
}

static void help_has_one_line_per_setting(void **state)
{
	(void)state;
	struct lines l = { 0 };
	settings_print_help(count_line, &l);
	assert_int_equal(l.n, 12 + 5 + 5 + 28 + 13 + 22 + 16 + 12);
	assert_true(l.sensor_place);
}

static int enter_cases(void **state)
{
	(void)state;
	return chdir(CASES);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_case_of_the_folder_gives_its_faults),
		cmocka_unit_test(everything_that_is_given_arrives),
		cmocka_unit_test(what_is_left_out_is_guessed_or_usual),
		cmocka_unit_test(lists_have_caps),
		cmocka_unit_test(a_missing_file_is_one_fault),
		cmocka_unit_test(help_has_one_line_per_setting),
	};
	return cmocka_run_group_tests(tests, enter_cases, NULL);
}
