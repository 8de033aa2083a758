#include "tests/unit/support.h"

#include <dirent.h>
#include <fnmatch.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "core/finding.h"
#include "core/mem.h"
#include "daemon/recordtext_int.h"

/* Every NAME.conf here is a case, applied to a store that holds desk/stored.conf. With NAME.want beside it these are
 * its exact faults and the store stays as it was; otherwise it is good, and NAME.out is what is exported then. */
#define CASES "tests/data/records"
#define NOW_S INT64_C(1772366400) /* 2026-03-01 12:00 UTC: date -u -d @1772366400 */

enum { TEXT_BYTES = 1 << 20 };

static struct settings *set;
static struct library *lib;
static struct zone *vienna;

static int enter_desk(void **state)
{
	(void)state;
	static const char *const dirs[] = { "../../../conf" };
	struct faults f = { 0 };
	struct err err = { 0 };
	if (chdir(CASES) != 0 || settings_load("desk/seasond.conf", &set, &f) != RC_OK ||
		library_load(dirs, 1, &lib, &f) != RC_OK ||
		zone_new("Europe/Vienna", &vienna, &err) != RC_OK) {
		print_error("%s %s\n", f.n ? f.text[0] : "", err.text);
		return -1;
	}
	return 0;
}

static int leave_desk(void **state)
{
	(void)state;
	settings_free(set);
	library_free(lib);
	zone_free(vienna);
	return 0;
}

/* ---- a store of its own for each test ---- */

static struct store *open_store(const char *folder, const char *name)
{
	struct store *s = NULL;
	struct err err = { 0 };
	OK(store_open(support_path(folder, name), STORE_REPLAY, &s, &err), &err);
	return s;
}

static enum rc apply(struct store *s, const char *path, size_t *changed, struct faults *f)
{
	struct err err = { 0 };
	OK(store_begin(s, &err), &err);
	enum rc rc = recordtext_apply(s, set, lib, vienna, NOW_S, path, changed, f, &err);
	assert_true(rc == RC_OK || err.text[0]);
	/* committed also after faults: nothing must have been written */
	OK(store_commit(s, NULL), NULL);
	return rc;
}

/* Applies what has to be good; returns how much changed. */
static size_t apply_good(struct store *s, const char *path)
{
	struct faults f = { 0 };
	size_t changed = 0;
	enum rc rc = apply(s, path, &changed, &f);
	for (size_t i = 0; i < f.n; i++)
		print_error("%s\n", f.text[i]);
	assert_int_equal(rc, RC_OK);
	return changed;
}

static void collect(void *arg, const char *text)
{
	char *all = arg;
	size_t used = strlen(all);
	assert_true(used + strlen(text) < TEXT_BYTES);
	memcpy(all + used, text, strlen(text) + 1);
}

static char *export(struct store *s)
{
	char *all = mem_new(TEXT_BYTES, 1);
	struct err err = { 0 };
	assert_non_null(all);
	OK(recordtext_export(s, vienna, collect, all, &err), &err);
	return all;
}

/* ---- the cases of the folder ---- */

static int only_conf(const struct dirent *d)
{
	return fnmatch("*.conf", d->d_name, 0) == 0;
}

/* The file with another ending; NULL when there is none. */
static char *beside(const char *name, const char *ending)
{
	char path[300];
	(void)snprintf(path, sizeof path, "%.*s.%s", (int)(strlen(name) - 5), name, ending);
	FILE *file = fopen(path, "rb");
	if (!file)
		return NULL;
	char *text = mem_new(TEXT_BYTES, 1);
	assert_non_null(text);
	assert_true(fread(text, 1, TEXT_BYTES - 1, file) > 0);
	(void)fclose(file);
	return text;
}

static void check_bad(struct store *s, const char *name, const char *want)
{
	char *before = export(s), *got = mem_new(TEXT_BYTES, 1);
	struct faults f = { 0 };
	size_t changed = 77;
	assert_non_null(got);
	assert_int_equal(apply(s, name, &changed, &f), RC_CONFIG);
	assert_int_equal(changed, 77);
	for (size_t i = 0; i < f.n; i++) {
		collect(got, f.text[i]);
		collect(got, "\n");
	}
	assert_string_equal(got, want);
	char *after = export(s);
	assert_string_equal(after, before);
	faults_done(&f);
	mem_free(before);
	mem_free(got);
	mem_free(after);
}

static void check_good(struct store *s, const char *name)
{
	char *want = beside(name, "out");
	(void)apply_good(s, name);
	char *got = export(s);
	if (want)
		assert_string_equal(got, want);
	assert_int_equal(apply_good(s, name), 0);
	mem_free(got);
	mem_free(want);
}

static void every_case_of_the_folder_gives_its_faults_or_its_export(void **state)
{
	(void)state;
	struct dirent **entries;
	int n = scandir(".", &entries, only_conf, alphasort);
	assert_true(n >= 14);
	for (int i = 0; i < n; i++) {
		const char *name = entries[i]->d_name;
		char *folder = support_folder(), *want = beside(name, "want");
		struct store *s = open_store(folder, "s.db");
		print_message("%s\n", name);
		assert_int_equal(apply_good(s, "desk/stored.conf"), 5);
		if (want)
			check_bad(s, name, want);
		else
			check_good(s, name);
		store_close(s);
		support_folder_remove(folder);
		mem_free(want);
		free(entries[i]);
	}
	free(entries);
}

static void a_missing_file_is_one_fault(void **state)
{
	(void)state;
	char *folder = support_folder();
	struct store *s = open_store(folder, "s.db");
	check_bad(s, "nowhere.conf", "nowhere.conf: cannot be read: a readable file\n");
	store_close(s);
	support_folder_remove(folder);
}

/* ---- caps ---- */

static void lists_have_caps(void **state)
{
	(void)state;
	char *folder = support_folder();
	const char *path = support_path(folder, "many.conf");
	FILE *file = fopen(path, "w");
	assert_non_null(file);
	fputs("clients = (", file);
	for (int i = 0; i <= RECORDTEXT_MAX; i++)
		fprintf(file, "%s{ name = \"c%d\"; }", i ? ",\n" : "", i);
	fputs(");\n", file);
	fclose(file);
	struct store *s = open_store(folder, "s.db");
	struct faults f = { 0 };
	size_t changed;
	assert_int_equal(apply(s, path, &changed, &f), RC_CONFIG);
	assert_int_equal(f.n, 1);
	assert_non_null(strstr(f.text[0], "many.conf:1: clients = [...]: too many: at most 10000"));
	faults_done(&f);
	store_close(s);
	support_folder_remove(folder);
}

/* ---- what was typed by hand ---- */

static void overrides_typed_by_hand_and_never_tidied_come_back_without_a_change(void **state)
{
	(void)state;
	char *folder = support_folder();
	struct store *s = open_store(folder, "s.db");
	struct instrument x = {
		.name = "a", .build = "nylon", .since_s = 1756720800, .until_s = TIME_NEVER
	};
	(void)snprintf(x.overrides, sizeof x.overrides,
		"top={thickness=\"2.6mm\"};# thin\nband=[0x28,55];");
	OK(store_begin(s, NULL), NULL);
	OK(record_put_instrument(s, &x, NULL, NULL), NULL);
	OK(store_commit(s, NULL), NULL);
	char *text = export(s);
	assert_non_null(strstr(text, "\t\toverrides = {\n\t\t\ttop = { thickness = \"2.6mm\"; "
				     "};\n\t\t\tband = [40, 55];\n\t\t};\n"));
	const char *path = support_path(folder, "x.conf");
	support_write(path, text, strlen(text));
	assert_int_equal(apply_good(s, path), 0);
	mem_free(text);
	store_close(s);
	support_folder_remove(folder);
}

static void places_and_sensors_gone_from_the_settings_come_back_without_a_change(void **state)
{
	(void)state;
	char *folder = support_folder();
	struct store *s = open_store(folder, "s.db");
	const struct instrument x = {
		.name = "a", .build = "nylon", .since_s = 1756720800, .until_s = TIME_NEVER
	};
	const struct stay stay = { .t_s = 1756720800, .place = "attic" };
	const struct finding f = { .subject_kind = CARE_OF_SENSOR,
		.subject = "gone",
		.t_s = 1756720800,
		.kind = FINDING_CHECKED,
		.value = (double)NAN };
	int64_t id;
	OK(store_begin(s, NULL), NULL);
	OK(store_sensor(s, "gone", vienna, &id, NULL), NULL);
	OK(record_put_instrument(s, &x, NULL, NULL), NULL);
	OK(record_put_stay(s, "a", &stay, NULL, NULL), NULL);
	OK(record_put_finding(s, &f, NULL, NULL), NULL);
	OK(store_commit(s, NULL), NULL);
	char *text = export(s);
	const char *path = support_path(folder, "x.conf");
	support_write(path, text, strlen(text));
	assert_int_equal(apply_good(s, path), 0);
	/* elsewhere nobody knows them */
	struct store *other = open_store(folder, "other.db");
	struct faults faults = { 0 };
	size_t changed;
	assert_int_equal(apply(other, path, &changed, &faults), RC_CONFIG);
	assert_int_equal(faults.n, 2);
	assert_non_null(strstr(faults.text[0], "stay 1: place = \"attic\": no such place: "));
	assert_non_null(
		strstr(faults.text[1], "sensor \"gone\": name = \"gone\": no such sensor: "));
	faults_done(&faults);
	mem_free(text);
	store_close(s);
	store_close(other);
	support_folder_remove(folder);
}

/* ---- export and apply are one another's inverse ---- */

static double unit_random(uint64_t *seed)
{
	return (double)(support_random(seed) >> 11) / 9007199254740992.0;
}

static double random_value(uint64_t *seed, const struct finding_word *w)
{
	double v = w->low + unit_random(seed) * (w->high - w->low);
	double steps = w->unit == FINDING_TURNS ? 24 : 1e5; /* 1/24 turn, 0.01 mm */
	return support_random(seed) % 2 ? v : trunc(v * steps) / steps + 0.0;
}

static void random_text(uint64_t *seed, char *buf, size_t size)
{
	static const char *const parts[] = { "\"", "\\", "\xc3\xa9", "; } ) /*", "# ", "x", " ",
		"@include ", "%s", "'" };
	size_t n = support_random(seed) % 6;
	buf[0] = '\0';
	for (size_t i = 0; i < n && strlen(buf) + 12 < size; i++)
		(void)snprintf(buf + strlen(buf), size - strlen(buf), "%s",
			parts[support_random(seed) % COUNT(parts)]);
}

static int64_t random_time(uint64_t *seed, int64_t from_s, int64_t to_s)
{
	int64_t t = from_s + (int64_t)(unit_random(seed) * (double)(to_s - from_s));
	return support_random(seed) % 2 ? t - t % 3600 : t;
}

static void put_random_finding(
	struct store *s, uint64_t *seed, int subject_kind, const char *name, int64_t t_s)
{
	const struct finding_word *words = finding_words();
	struct finding f = { .subject_kind = subject_kind, .t_s = t_s, .value = (double)NAN };
	f.kind = subject_kind == CARE_OF_SENSOR
			 ? (support_random(seed) % 2 ? FINDING_CHECKED : FINDING_BATTERY)
			 : (int)(support_random(seed) % FINDING_CHECKED);
	if (words[f.kind].unit != FINDING_EVENT)
		f.value = random_value(seed, &words[f.kind]);
	(void)snprintf(f.subject, sizeof f.subject, "%s", name);
	if (support_random(seed) % 3 == 0)
		random_text(seed, f.text, sizeof f.text);
	struct err err = { 0 };
	OK(record_put_finding(s, &f, NULL, &err), &err);
}

static void put_random_instrument(struct store *s, uint64_t *seed, int i, int n_clients)
{
	static const char *const overrides[] = { "", "top = { thickness = \"6mm\"; };",
		"band = [42, 55]; top_share = 0.1; neck = { cut = 12.5; };" };
	static const char *const places[] = { "shop", "case-1", "loft" };
	struct instrument x = { .since_s = random_time(seed, 1700000000, 1710000000),
		.until_s = TIME_NEVER };
	struct err err = { 0 };
	int64_t end_s = NOW_S;
	if (support_random(seed) % 4 == 0)
		x.until_s = end_s = random_time(seed, 1720000000, 1730000000);
	(void)snprintf(x.name, sizeof x.name, "i-%d", i);
	const struct build *build = &lib->builds[support_random(seed) % lib->n_builds];
	(void)snprintf(x.build, sizeof x.build, "%s", build->name);
	if (build_member(build, MEMBER_TOP) < build->n_members &&
		build_member(build, MEMBER_NECK) < build->n_members)
		(void)snprintf(x.overrides, sizeof x.overrides, "%s",
			overrides[support_random(seed) % COUNT(overrides)]);
	if (n_clients && support_random(seed) % 2)
		(void)snprintf(x.client, sizeof x.client, "c-%d",
			(int)(support_random(seed) % (unsigned)n_clients));
	random_text(seed, x.title, sizeof x.title);
	random_text(seed, x.note, sizeof x.note);
	OK(record_put_instrument(s, &x, NULL, &err), &err);
	for (size_t k = support_random(seed) % 4; k > 0; k--) {
		struct stay stay = { .t_s = random_time(seed, x.since_s + 3600, end_s) };
		(void)snprintf(stay.place, sizeof stay.place, "%s",
			places[support_random(seed) % COUNT(places)]);
		OK(record_put_stay(s, x.name, &stay, NULL, &err), &err);
	}
	int64_t t_s = random_time(seed, x.since_s + 3600, end_s);
	for (size_t k = support_random(seed) % 8; k > 0; k--) {
		put_random_finding(s, seed, CARE_OF_INSTRUMENT, x.name, t_s);
		if (support_random(seed) % 2)
			t_s = random_time(seed, x.since_s + 3600, end_s);
	}
}

static void put_random_correction(struct store *s, uint64_t *seed, const char *sensor)
{
	int64_t id = 0;
	struct err err = { 0 };
	struct store_correction c = { .check = { random_time(seed, 1700000000, NOW_S),
					      { 0.9 + 0.2 * unit_random(seed),
						      10 * unit_random(seed) - 5,
						      0.1 + unit_random(seed) } } };
	random_text(seed, c.text, sizeof c.text);
	OK(store_sensor(s, sensor, vienna, &id, &err), &err);
	OK(store_correction_put(s, id, &c, NULL, &err), &err);
}

static void put_random_records(struct store *s, uint64_t *seed)
{
	struct err err = { 0 };
	int n_clients = (int)(support_random(seed) % 4),
	    n_instruments = (int)(support_random(seed) % 6);
	OK(store_begin(s, &err), &err);
	for (int i = 0; i < n_clients; i++) {
		struct client c = { 0 };
		(void)snprintf(c.name, sizeof c.name, "c-%d", i);
		random_text(seed, c.title, sizeof c.title);
		random_text(seed, c.address, sizeof c.address);
		random_text(seed, c.note, sizeof c.note);
		if (i % 2)
			(void)snprintf(c.email, sizeof c.email, "%s@example.org", c.name);
		c.agreed_s = i % 2 ? random_time(seed, 1700000000, NOW_S) : 0;
		OK(record_put_client(s, &c, NULL, &err), &err);
	}
	for (int i = 0; i < n_instruments; i++)
		put_random_instrument(s, seed, i, n_clients);
	for (size_t k = support_random(seed) % 4; k > 0; k--)
		put_random_finding(s, seed, CARE_OF_SENSOR, k % 2 ? "left" : "right",
			random_time(seed, 1700000000, NOW_S));
	for (size_t k = support_random(seed) % 4; k > 0; k--)
		put_random_correction(s, seed, k % 2 ? "left" : "right");
	OK(store_commit(s, &err), &err);
}

static void export_applied_to_an_empty_store_exports_the_same(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	for (int round = 0; round < 60; round++) {
		char *folder = support_folder();
		struct store *a = open_store(folder, "a.db"), *b = open_store(folder, "b.db");
		put_random_records(a, &seed);
		char *first = export(a);
		const char *path = support_path(folder, "records.conf");
		support_write(path, first, strlen(first));
		assert_int_equal(apply_good(a, path), 0);
		(void)apply_good(b, path);
		char *second = export(b);
		assert_string_equal(second, first);
		assert_int_equal(apply_good(b, path), 0);
		mem_free(first);
		mem_free(second);
		store_close(a);
		store_close(b);
		support_folder_remove(folder);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_case_of_the_folder_gives_its_faults_or_its_export),
		cmocka_unit_test(a_missing_file_is_one_fault),
		cmocka_unit_test(lists_have_caps),
		cmocka_unit_test(
			overrides_typed_by_hand_and_never_tidied_come_back_without_a_change),
		cmocka_unit_test(
			places_and_sensors_gone_from_the_settings_come_back_without_a_change),
		cmocka_unit_test(export_applied_to_an_empty_store_exports_the_same),
	};
	return cmocka_run_group_tests(tests, enter_desk, leave_desk);
}
