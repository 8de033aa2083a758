/* Every allocation of an apply and of an export fails once. faulty_mem.h takes the place of core/mem.c. */
#include "tests/unit/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "tests/unit/faulty_mem.h"
#include "daemon/recordtext.h"

#define NOW_S INT64_C(1772366400) /* 2026-03-01 12:00 UTC */

enum { TEXT_BYTES = 1 << 16 };

static void collect(void *arg, const char *text)
{
	char *all = arg;
	size_t used = strlen(all), n = strlen(text);
	assert_true(used + n < TEXT_BYTES);
	memcpy(all + used, text, n + 1);
}

struct desk {
	struct settings *set;
	struct library *lib;
	struct zone *zone;
	struct store *store;
};

/* One attempt in a transaction that ends as the caller's would. */
static enum rc apply(const struct desk *d, const char *path, struct err *err, size_t *changed)
{
	struct faults f = { 0 };
	OK(store_begin(d->store, err), err);
	enum rc rc =
		recordtext_apply(d->store, d->set, d->lib, d->zone, NOW_S, path, changed, &f, err);
	int was = left;
	left = -1;
	if (rc == RC_OK)
		OK(store_commit(d->store, err), err);
	else
		store_rollback(d->store);
	left = was;
	faults_done(&f);
	return rc;
}

static void check_export(const struct desk *d, const char *want)
{
	char got[TEXT_BYTES] = "";
	OK(recordtext_export(d->store, d->zone, collect, got, NULL), NULL);
	assert_string_equal(got, want);
}

static void apply_failing(const struct desk *d, const char *path, enum rc good)
{
	char before[TEXT_BYTES] = "";
	OK(recordtext_export(d->store, d->zone, collect, before, NULL), NULL);
	int at_rest = held, failed = 0;
	for (int n = 0;; n++) {
		struct err err = { 0 };
		size_t changed = 0;
		left = n;
		enum rc rc = apply(d, path, &err, &changed);
		bool untouched = left >= 0;
		left = -1;
		assert_int_equal(held, at_rest);
		assert_true(rc == RC_OK || err.text[0]);
		if (untouched) {
			assert_int_equal(rc, good);
			break;
		}
		assert_true(rc == RC_MEM || rc == RC_CONFIG);
		check_export(d, before);
		failed++;
	}
	assert_true(failed >= 10);
}

static void export_failing(const struct desk *d)
{
	int at_rest = held;
	for (int n = 0;; n++) {
		char got[TEXT_BYTES] = "";
		struct err err = { 0 };
		left = n;
		enum rc rc = recordtext_export(d->store, d->zone, collect, got, &err);
		bool untouched = left >= 0;
		left = -1;
		assert_int_equal(held, at_rest);
		if (untouched) {
			assert_int_equal(rc, RC_OK);
			break;
		}
		assert_true(rc != RC_OK && err.text[0]);
	}
}

static void records_without_memory_are_left_as_they_were(void **state)
{
	(void)state;
	static const char *const dirs[] = { "../../../conf" };
	struct desk d = { 0 };
	struct faults f = { 0 };
	struct err err = { 0 };
	size_t changed;
	char *folder = support_folder();
	assert_int_equal(chdir("tests/data/records"), 0);
	OK(settings_load("desk/seasond.conf", &d.set, &f), NULL);
	OK(library_load(dirs, 1, &d.lib, &f), NULL);
	OK(zone_new("Europe/Vienna", &d.zone, &err), &err);
	OK(store_open(support_path(folder, "s.db"), STORE_REPLAY, &d.store, &err), &err);
	OK(apply(&d, "desk/stored.conf", &err, &changed), &err);
	apply_failing(&d, "bad-names.conf", RC_CONFIG);
	apply_failing(&d, "bad-overrides.conf", RC_CONFIG);
	apply_failing(&d, "good-since-later.conf", RC_OK);
	apply_failing(&d, "good-most.conf", RC_OK);
	export_failing(&d);
	store_close(d.store);
	zone_free(d.zone);
	library_free(d.lib);
	settings_free(d.set);
	support_folder_remove(folder);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(records_without_memory_are_left_as_they_were),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
