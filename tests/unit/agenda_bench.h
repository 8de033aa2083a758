/* A bench in a temporary folder whose days pass with readings, for tests of the agenda. */
#ifndef TESTS_UNIT_AGENDA_BENCH_H
#define TESTS_UNIT_AGENDA_BENCH_H

#include "tests/unit/support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/mem.h"
#include "daemon/desk.h"
#include "daemon/phrase.h"
#include "daemon/state.h"

#define START_S (civil_days(2025, 1, 1) * DAY_S)
enum { DAY_H = 24 };

static struct bench {
	char *folder;
	struct desk desk;
	int64_t now_s;
	int news;
} b;

static inline int begin(void **state)
{
	(void)state;
	char text[1024], here[512];
	struct err err = { 0 };
	struct faults f = { 0 };
	b = (struct bench){ .folder = support_folder(), .now_s = START_S };
	assert_non_null(getcwd(here, sizeof here));
	(void)snprintf(text, sizeof text,
		"store = \"b.db\"; zone = \"Europe/Berlin\"; library = [ \"%s/conf\" ];\n"
		"places = ( { name = \"room\"; }, { name = \"box\"; room = \"room\"; } );\n"
		"sensors = ( { name = \"room\"; place = \"room\"; silent_after = \"2 d\"; } );\n"
		"outputs = ( { name = \"bench\"; folder = \"cal\"; } );\n",
		here);
	support_write(support_path(b.folder, "s.conf"), text, strlen(text));
	assert_int_equal(mkdir(support_path(b.folder, "cal"), 0700), 0);
	OK(desk_read(support_path(b.folder, "s.conf"), &b.desk, &f, &err), &err);
	OK(desk_open(&b.desk, STORE_REPLAY, &err), &err);
	return 0;
}

static inline int end(void **state)
{
	(void)state;
	desk_close(&b.desk);
	support_folder_remove(b.folder);
	return 0;
}

static inline void count_news(void *arg, const struct item *it, int64_t now_s)
{
	(void)it, (void)now_s;
	++*(int *)arg;
}

static inline size_t settle(void)
{
	struct err err = { 0 };
	size_t changed = 0;
	const struct agenda_news news = { &b.news, count_news };
	OK(desk_settle(&b.desk, b.now_s, &news, &changed, &err), &err);
	return changed;
}

/* Days of that humidity, read every hour with a little life in it, settled once a day. */
static inline void live(int days, double rh_pct)
{
	static struct quality_reading r[DAY_H];
	struct err err = { 0 };
	for (int d = 0; d < days; d++) {
		for (int h = 0; h < DAY_H; h++)
			r[h] = (struct quality_reading){ b.now_s + h * HOUR_S,
				(int32_t)lround(100 * rh_pct) + (h % 2) * 10, 2050, 0 };
		b.now_s += DAY_S;
		OK(intake_readings(b.desk.intake, "room", r, DAY_H, b.now_s, NULL, &err), &err);
		(void)settle();
	}
}

static inline void put_instrument(const char *name, const char *client)
{
	struct err err = { 0 };
	struct instrument x = { .build = "flat-top", .since_s = START_S, .until_s = TIME_NEVER };
	const struct stay stay = { START_S, "room" };
	(void)snprintf(x.name, sizeof x.name, "%s", name);
	(void)snprintf(x.client, sizeof x.client, "%s", client);
	OK(store_begin(b.desk.store, &err), &err);
	OK(record_put_instrument(b.desk.store, &x, NULL, &err), &err);
	OK(record_put_stay(b.desk.store, name, &stay, NULL, &err), &err);
	OK(store_commit(b.desk.store, &err), &err);
}

static inline void put_client(const char *name)
{
	struct err err = { 0 };
	struct client c = { 0 };
	(void)snprintf(c.name, sizeof c.name, "%s", name);
	OK(store_begin(b.desk.store, &err), &err);
	OK(record_put_client(b.desk.store, &c, NULL, &err), &err);
	OK(store_commit(b.desk.store, &err), &err);
}

static inline void find_out(const char *name, enum finding_kind kind)
{
	struct err err = { 0 };
	struct finding f = { .t_s = b.now_s, .kind = (int)kind, .value = (double)NAN };
	(void)snprintf(f.subject, sizeof f.subject, "%s", name);
	OK(store_begin(b.desk.store, &err), &err);
	OK(record_put_finding(b.desk.store, &f, NULL, &err), &err);
	OK(store_commit(b.desk.store, &err), &err);
}

/* The open (or since the start closed) item of that rule and subject; id 0 when there is none. */
static inline struct item item_of(const char *rule, const char *subject)
{
	struct item *list = NULL, found = { 0 };
	size_t n = 0;
	struct err err = { 0 };
	OK(state_items(b.desk.store, START_S, &list, &n, &err), &err);
	for (size_t i = 0; i < n; i++)
		if (strcmp(list[i].rule, rule) == 0 && strcmp(list[i].subject, subject) == 0 &&
			list[i].id > found.id)
			found = list[i];
	mem_free(list);
	char shown[REASONS_SIZE] = "";
	phrase_show(
		found.reasons, BENCH_MM, "", engine_zone(b.desk.engine, NULL), shown, sizeof shown);
	memcpy(found.reasons, shown, sizeof shown);
	return found;
}

static inline size_t open_visits(struct visit *first)
{
	struct visit *list = NULL;
	size_t n = 0;
	struct err err = { 0 };
	OK(state_visits(b.desk.store, TIME_NEVER, &list, &n, &err), &err);
	if (n)
		*first = list[0];
	mem_free(list);
	return n;
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, begin, end)

#endif
