#include "tests/unit/support.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "core/hash.h"
#include "core/mem.h"
#include "daemon/desk.h"
#include "daemon/pages.h"
#include "daemon/pages_round.h"
#include "daemon/phrase.h"

/* Entries of editions out of items and visits that are laid into the store. Where no source is named, what is wanted is ours
 * by design. */

#define NOW_S (civil_days(2026, 3, 27) * DAY_S + 12 * HOUR_S) /* a Friday */

static struct bench {
	char *folder;
	struct desk desk;
	int64_t now_s;
} b;

static const char outputs[] =
	"outputs = (\n"
	"	{ name = \"bench\"; folder = \"f\"; round = \"Mon 09:00\"; alarms = true; },\n"
	"	{ name = \"school\"; folder = \"f\"; client = \"school\"; privacy = "
	"\"confidential\"; },\n"
	"	{ name = \"room\"; folder = \"f\"; place = \"room\"; round = \"Tue 17:30\"; zone = "
	"\"America/New_York\"; },\n"
	"	{ name = \"german\"; folder = \"f\"; language = \"de\"; units = \"inch\"; } );\n";

static int begin(void **state)
{
	char text[2048], here[512];
	struct err err = { 0 };
	struct faults f = { 0 };
	(void)state;
	b = (struct bench){ .folder = support_folder(), .now_s = NOW_S };
	assert_non_null(getcwd(here, sizeof here));
	(void)snprintf(text, sizeof text,
		"store = \"b.db\"; zone = \"Europe/Berlin\"; library = [ \"%s/conf\" ];\n"
		"bench = \"The Pier Bench\";\n"
		"places = ( { name = \"room\"; title = \"The room\"; }, { name = \"case\"; room = "
		"\"room\"; } );\n"
		"sensors = ( { name = \"shelf\"; place = \"room\"; }, { name = \"lid\"; place = "
		"\"case\"; } );\n%s",
		here, outputs);
	support_write(support_path(b.folder, "s.conf"), text, strlen(text));
	OK(desk_read(support_path(b.folder, "s.conf"), &b.desk, &f, &err), &err);
	OK(desk_open(&b.desk, STORE_REPLAY, &err), &err);
	return 0;
}

static int end(void **state)
{
	(void)state;
	desk_close(&b.desk);
	phrase_done();
	support_folder_remove(b.folder);
	return 0;
}

static void start(void)
{
	struct err err = { 0 };
	OK(store_begin(b.desk.store, &err), &err);
}

static void commit(void)
{
	struct err err = { 0 };
	OK(store_commit(b.desk.store, &err), &err);
}

/* One client with an instrument in the case, one of the bench's own in the room. */
static void put_records(void)
{
	struct err err = { 0 };
	struct client c = { .name = "school", .title = "Harbour School", .address = "4 Quay Lane" };
	struct instrument theirs = { .name = "theirs",
		.client = "school",
		.build = "flat-top",
		.since_s = NOW_S - DAY_S,
		.until_s = TIME_NEVER };
	struct instrument ours = theirs;
	(void)snprintf(ours.name, sizeof ours.name, "ours");
	ours.client[0] = '\0';
	start();
	OK(record_put_client(b.desk.store, &c, NULL, &err), &err);
	OK(record_put_instrument(b.desk.store, &theirs, NULL, &err), &err);
	OK(record_put_instrument(b.desk.store, &ours, NULL, &err), &err);
	OK(record_put_stay(
		   b.desk.store, "theirs", &(struct stay){ NOW_S - DAY_S, "case" }, NULL, &err),
		&err);
	OK(record_put_stay(
		   b.desk.store, "ours", &(struct stay){ NOW_S - DAY_S, "room" }, NULL, &err),
		&err);
	commit();
	OK(engine_follow(b.desk.engine, NOW_S, &err), &err);
}

static struct item put_item(enum care_subject kind, const char *subject, const char *reasons,
	int64_t visit, int64_t moved_s)
{
	struct err err = { 0 };
	struct item it = { .rule = "relief",
		.subject_kind = (int)kind,
		.opened_s = NOW_S - HOUR_S,
		.from_s = NOW_S + DAY_S,
		.by_s = NOW_S + 10 * DAY_S,
		.closed_s = TIME_NEVER,
		.visit = visit,
		.moved_s = moved_s };
	(void)snprintf(it.subject, sizeof it.subject, "%s", subject);
	(void)snprintf(it.reasons, sizeof it.reasons, "%s", reasons);
	OK(calendar_uuid(it.uid, &err), &err);
	start();
	OK(state_item_put(b.desk.store, &it, &err), &err);
	commit();
	return it;
}

static struct visit put_visit(int64_t at_s, int64_t length_s, enum visit_answer answer)
{
	struct err err = { 0 };
	struct client c;
	struct visit v = { .from_s = NOW_S + DAY_S,
		.by_s = NOW_S + 10 * DAY_S,
		.opened_s = NOW_S - HOUR_S,
		.closed_s = TIME_NEVER,
		.at_s = at_s,
		.length_s = length_s,
		.answer = (int)answer,
		.answered_s = TIME_NEVER,
		.moved_s = TIME_NEVER };
	OK(record_client(b.desk.store, "school", &c, &err), &err);
	v.client = c.id;
	OK(calendar_uuid(v.uid, &err), &err);
	start();
	OK(state_visit_put(b.desk.store, &v, &err), &err);
	commit();
	return v;
}

/* The edition of that output's name as it is now. */
static struct pages *pages(const char *name)
{
	struct edition *list = NULL;
	struct pages *p = NULL;
	struct err err = { 0 };
	size_t n = 0;
	OK(editions(b.desk.store, b.desk.set, &list, &n, &err), &err);
	start();
	for (size_t i = 0; i < n; i++)
		if (strcmp(list[i].name, name) == 0)
			OK(pages_make(b.desk.store, b.desk.engine, b.desk.set, b.desk.lib, &list[i],
				   b.now_s, &p, &err),
				&err);
	commit();
	mem_free(list);
	assert_non_null(p);
	return p;
}

static size_t find(const struct pages *p, const char *uid)
{
	size_t i = 0;
	while (i < p->n && strcmp(p->at[i].entry.uid, uid) != 0)
		i++;
	return i;
}

static const struct page *page_of(const struct pages *p, const char *uid)
{
	assert_true(find(p, uid) < p->n);
	return &p->at[find(p, uid)];
}

static void each_edition_shows_its_own(void **state)
{
	(void)state;
	put_records();
	struct visit v = put_visit(TIME_NEVER, 0, ANSWER_NONE);
	struct item theirs = put_item(CARE_OF_INSTRUMENT, "theirs", "x", v.id, TIME_NEVER);
	struct item ours = put_item(CARE_OF_INSTRUMENT, "ours", "x", 0, TIME_NEVER);
	struct item room = put_item(CARE_OF_PLACE, "room", "x", 0, TIME_NEVER);
	struct item lid = put_item(CARE_OF_SENSOR, "lid", "x", 0, TIME_NEVER);
	struct pages *p = pages("bench");
	assert_int_equal(p->n, 5); /* with the round */
	assert_int_equal(find(p, theirs.uid), p->n);
	assert_int_equal(page_of(p, v.uid)->visit, v.id);
	assert_int_equal(page_of(p, ours.uid)->item, ours.id);
	assert_true(find(p, room.uid) < p->n);
	assert_true(find(p, lid.uid) < p->n);
	assert_string_equal(
		page_of(p, v.uid)->summary, "Seasonal visit: Harbour School, 1 instrument");
	assert_int_equal(page_of(p, v.uid)->entry.class, CLASS_PUBLIC);
	pages_free(p);
	struct item alone = put_item(CARE_OF_INSTRUMENT, "theirs", "x", 0, TIME_NEVER);
	p = pages("school");
	assert_int_equal(p->n, 2);
	assert_string_equal(page_of(p, alone.uid)->location, "");
	assert_string_equal(p->at[0].uid, v.uid);
	assert_string_equal(p->at[0].summary, "Seasonal visit: The Pier Bench, 1 instrument");
	assert_string_equal(p->at[0].contact, "The Pier Bench");
	assert_int_equal(p->at[0].entry.class, CLASS_CONFIDENTIAL);
	pages_free(p);
	p = pages("room");
	assert_int_equal(p->n, 3);
	assert_true(find(p, ours.uid) < p->n);
	assert_true(find(p, room.uid) < p->n);
	pages_free(p);
}

static void reasons_are_shown_in_the_editions_units_and_language(void **state)
{
	(void)state;
	struct item it = put_item(CARE_OF_PLACE, "room",
		"{gap 0.000254} at {pct 42.3} since {day 1767322800}", 0, TIME_NEVER);
	struct pages *p = pages("bench");
	assert_ptr_equal(strstr(page_of(p, it.uid)->description,
				 "0.25 mm at 42.3 % since 2026-01-02.\nBetween 2026-03-28 and "
				 "2026-04-06, "),
		page_of(p, it.uid)->description);
	pages_free(p);
	p = pages("german"); /* forms: Unicode CLDR */
	const char *text = page_of(p, it.uid)->description;
	assert_non_null(strstr(text, "0,010"));
	assert_non_null(strstr(text, "42,3"));
	assert_non_null(strstr(text, "since 2. Januar 2026."));
	assert_non_null(strstr(text, "Between 28. M\303\244rz 2026 and 6. April 2026"));
	pages_free(p);
	it = put_item(CARE_OF_PLACE, "room", "gap 0.02 mm, 3 % since 2026-01-02", 0, TIME_NEVER);
	p = pages("german"); /* stored before there were tokens */
	assert_non_null(
		strstr(page_of(p, it.uid)->description, "gap 0.02 mm, 3 % since 2026-01-02."));
	pages_free(p);
}

static void a_moved_day_is_the_day(void **state)
{
	(void)state;
	const int64_t later = NOW_S + 30 * DAY_S, sooner = NOW_S;
	struct item a = put_item(CARE_OF_PLACE, "room", "x", 0, later);
	struct item c = put_item(CARE_OF_PLACE, "case", "x", 0, sooner);
	struct pages *p = pages("bench");
	const struct calendar_entry *e = &page_of(p, a.uid)->entry;
	assert_int_equal(e->due_day, civil_days(2026, 4, 26));
	assert_int_equal(e->start_day, civil_days(2026, 4, 26));
	assert_non_null(strstr(page_of(p, a.uid)->description,
		"On 2026-04-26 (moved there by hand, foreseen "
		"between 2026-03-28 and 2026-04-06), "));
	e = &page_of(p, c.uid)->entry;
	assert_int_equal(e->due_day, civil_days(2026, 3, 27));
	assert_int_equal(e->start_day, civil_days(2026, 3, 27));
	/* 09:00 in Berlin the day before, 08:00 UTC until the clocks change on 2026-03-29 */
	assert_int_equal(e->alarm_s, civil_days(2026, 3, 26) * DAY_S + 8 * HOUR_S);
	pages_free(p);
}

/* Berlin puts its clocks forward on 2026-03-29 (IANA time zone database). */
static void a_reminder_comes_at_nine_also_across_a_clock_change(void **state)
{
	struct err err = { 0 };
	(void)state;
	for (int day = 28; day <= 31; day++) {
		struct item it = put_item(CARE_OF_PLACE, "room", "x", 0, TIME_NEVER);
		it.from_s = civil_days(2026, 3, day) * DAY_S + 12 * HOUR_S;
		start();
		OK(state_item_put(b.desk.store, &it, &err), &err);
		commit();
		struct pages *p = pages("bench");
		/* the day before, 09:00: 08:00 UTC on the 27th and 28th, 07:00 UTC from the 29th on */
		assert_int_equal(page_of(p, it.uid)->entry.alarm_s,
			civil_days(2026, 3, day - 1) * DAY_S + (day - 1 < 29 ? 8 : 7) * HOUR_S);
		pages_free(p);
	}
}

static void an_appointment_has_its_hour_and_answer(void **state)
{
	(void)state;
	const int64_t at = civil_days(2026, 4, 2) * DAY_S + 5 * HOUR_S; /* 07:00 in Berlin */
	put_records();
	struct visit v = put_visit(at, 5400, ANSWER_DECLINED);
	struct pages *p = pages("bench");
	const struct page *page = page_of(p, v.uid);
	assert_int_equal(page->entry.at_s, at);
	assert_int_equal(page->entry.length_s, 5400);
	assert_int_equal(page->entry.start_day, civil_days(2026, 4, 2));
	assert_int_equal(page->entry.due_day, civil_days(2026, 4, 2));
	assert_int_equal(page->entry.alarm_s, at - DAY_S); /* 09:00 would be after it */
	assert_ptr_equal(strstr(page->description, "Appointment 2026-04-02 07:00, declined.\n"),
		page->description);
	pages_free(p);
}

static void sequence_grows_with_what_is_said_and_with_nothing_else(void **state)
{
	(void)state;
	struct err err = { 0 };
	struct item it = put_item(CARE_OF_PLACE, "room", "x", 0, TIME_NEVER);
	struct pages *first = pages("bench");
	uint64_t digest = pages_digest(first);
	assert_int_equal(page_of(first, it.uid)->entry.sequence, 0);
	pages_free(first);
	b.now_s += DAY_S;
	struct pages *again = pages("bench");
	assert_true(pages_digest(again) == digest);
	assert_int_equal(page_of(again, it.uid)->entry.modified_s, NOW_S);
	pages_free(again);
	(void)snprintf(it.reasons, sizeof it.reasons, "y");
	start();
	OK(state_item_put(b.desk.store, &it, &err), &err);
	commit();
	struct pages *changed = pages("bench");
	assert_false(pages_digest(changed) == digest);
	assert_int_equal(page_of(changed, it.uid)->entry.sequence, 1);
	assert_int_equal(page_of(changed, it.uid)->entry.modified_s, NOW_S + DAY_S);
	pages_free(changed);
	struct pages *other = pages("room"); /* counts for itself */
	assert_int_equal(page_of(other, it.uid)->entry.sequence, 0);
	pages_free(other);
}

/* Calendars of the first version that ever was are known by these hashes; another would raise every SEQUENCE. */
static void plain_entries_keep_their_hashes(void **state)
{
	(void)state;
	struct err err = { 0 };
	struct publication was = { 0 };
	bool found = false;
	struct item it = put_item(CARE_OF_PLACE, "room", "x", 0, TIME_NEVER);
	struct pages *p = pages("bench");
	const struct page *page = page_of(p, it.uid);
	const struct calendar_entry *e = &page->entry;
	const int64_t numbers[] = { e->start_day, e->due_day, e->alarm_s, e->priority,
		(int64_t)e->status };
	uint64_t want = hash_on(HASH_START, numbers, sizeof numbers);
	want = hash_text(hash_text(want, page->summary), page->location);
	want = hash_text(hash_text(want, page->contact), page->description);
	OK(state_publication(b.desk.store, "bench", it.uid, &was, &found, &err), &err);
	assert_true(found);
	assert_true(was.hash == want);
	pages_free(p);
}

/* ---- the weekly round ---- */

static struct round round_of(
	struct edition *e, const char *when, const char *zone_name, int64_t at_s)
{
	struct err err = { 0 };
	struct zone *zone = NULL;
	struct round r;
	struct output o = *e->output;
	(void)snprintf(o.round, sizeof o.round, "%s", when);
	const struct edition asked = { .output = &o, .name = "asked", .zone = zone_name };
	OK(zone_new(zone_name, &zone, &err), &err);
	start();
	OK(pages_round(b.desk.store, &asked, zone, at_s, &r, &err), &err);
	commit();
	zone_free(zone);
	return r;
}

/* Clock changes of 2026 in Berlin: 29 March and 25 October, in New York: 8 March and 1 November (IANA time zone database). */
static void the_first_round_is_the_next_one_on_the_wall_clock(void **state)
{
	(void)state;
	struct output o = { .name = "o" };
	struct edition e = { .output = &o };
	static const struct {
		const char *when, *zone;
		int year, month, day, hour; /* asked, UTC */
		int to_month, to_day, to_hour; /* first, UTC */
	} cases[] = {
		{ "Mon 09:00", "Europe/Berlin", 2026, 3, 20, 12, 3, 23, 8 },
		{ "Mon 09:00", "Europe/Berlin", 2026, 3, 27, 12, 3, 30, 7 },
		{ "Mon 09:00", "Europe/Berlin", 2026, 10, 19, 7, 10, 26, 8 },
		{ "Mon 09:00", "Europe/Berlin", 2026, 10, 19, 6, 10, 19, 7 },
		{ "Sun 04:00", "Europe/Berlin", 2026, 3, 28, 0, 3, 29, 2 },
		{ "Sun 04:00", "Europe/Berlin", 2026, 10, 24, 0, 10, 25, 3 },
		{ "sun 4:00", "America/New_York", 2026, 3, 7, 0, 3, 8, 8 },
		{ "Tue 23:00", "America/New_York", 2026, 6, 2, 20, 6, 3, 3 },
		{ "Tue 08:00", "Pacific/Kiritimati", 2026, 6, 1, 12, 6, 1, 18 },
	};
	for (size_t i = 0; i < COUNT(cases); i++) {
		int64_t at = civil_days(cases[i].year, cases[i].month, cases[i].day) * DAY_S +
			     cases[i].hour * HOUR_S;
		struct round r = round_of(&e, "Wed 12:34", "UTC", at);
		r = round_of(&e, cases[i].when, cases[i].zone, at);
		int64_t want =
			civil_days(cases[i].year, cases[i].to_month, cases[i].to_day) * DAY_S +
			cases[i].to_hour * HOUR_S;
		if (r.first_s != want)
			print_error("%s %s\n", cases[i].when, cases[i].zone);
		assert_int_equal(r.first_s, want);
	}
}

static void a_round_stays_the_same_event(void **state)
{
	(void)state;
	struct output o = { .name = "o" };
	struct edition e = { .output = &o };
	struct round first = round_of(&e, "Mon 09:00", "Europe/Berlin", NOW_S);
	struct round later = round_of(&e, "Mon 09:00", "Europe/Berlin", NOW_S + 100 * DAY_S);
	assert_memory_equal(&first, &later, sizeof first);
	struct round moved = round_of(&e, "Mon 10:00", "Europe/Berlin", NOW_S + 100 * DAY_S);
	assert_string_equal(moved.uid, first.uid);
	assert_int_equal(moved.made_s, first.made_s);
	assert_true(moved.first_s > NOW_S + 100 * DAY_S);
	struct round elsewhere = round_of(&e, "Mon 10:00", "UTC", NOW_S + 100 * DAY_S);
	assert_string_equal(elsewhere.uid, first.uid);
	assert_int_equal(elsewhere.first_s, moved.first_s + 2 * HOUR_S);
}

static void a_place_has_a_round_of_its_own(void **state)
{
	(void)state;
	put_records();
	struct pages *p = pages("room"), *bench = pages("bench");
	assert_int_equal(p->n, 1);
	const struct calendar_entry *e = &p->at[0].entry;
	assert_true(e->event_only);
	assert_string_equal(e->weekly_zone, "America/New_York");
	assert_int_equal(e->at_s, civil_days(2026, 3, 31) * DAY_S + 21 * HOUR_S + 1800);
	assert_int_equal(e->length_s, 1800);
	assert_int_equal(e->alarm_s, TIME_NEVER);
	assert_string_equal(e->summary, "Humidity round: The room");
	assert_non_null(strstr(e->description, "(shelf)"));
	assert_int_equal(bench->n, 1);
	assert_string_equal(bench->at[0].summary, "Humidity round");
	assert_non_null(strstr(bench->at[0].description, "(shelf, lid)"));
	assert_string_not_equal(bench->at[0].uid, p->at[0].uid);
	pages_free(bench);
	pages_free(p);
	p = pages("school");
	assert_int_equal(p->n, 0);
	pages_free(p);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, begin, end)

int main(void)
{
	const struct CMUnitTest tests[] = {
		TEST(each_edition_shows_its_own),
		TEST(reasons_are_shown_in_the_editions_units_and_language),
		TEST(a_moved_day_is_the_day),
		TEST(a_reminder_comes_at_nine_also_across_a_clock_change),
		TEST(an_appointment_has_its_hour_and_answer),
		TEST(sequence_grows_with_what_is_said_and_with_nothing_else),
		TEST(plain_entries_keep_their_hashes),
		TEST(the_first_round_is_the_next_one_on_the_wall_clock),
		TEST(a_round_stays_the_same_event),
		TEST(a_place_has_a_round_of_its_own),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
