#include "tests/unit/agenda_bench.h"

#include "daemon/hear.h"

/* What people did in their calendars, on a bench whose days pass. The rules are the shipped ones; no outside source. */

static bool hear(enum rc (*what)(struct store *, const char *, int64_t, bool *, struct err *),
	const char *uid, int64_t t_s)
{
	struct err err = { 0 };
	bool heard = false;
	OK(store_begin(b.desk.store, &err), &err);
	OK(what(b.desk.store, uid, t_s, &heard, &err), &err);
	OK(store_commit(b.desk.store, &err), &err);
	return heard;
}

static const char *say(const char *uid, const char *line)
{
	static char answer[HEAR_ANSWER];
	struct err err = { 0 };
	OK(store_begin(b.desk.store, &err), &err);
	OK(hear_line(b.desk.store, b.desk.engine, b.desk.set, uid, line, BENCH_INCH, b.now_s,
		   answer, &err),
		&err);
	OK(store_commit(b.desk.store, &err), &err);
	return answer;
}

static struct visit visit_of(int64_t id)
{
	struct visit *list = NULL, found = { 0 };
	size_t n = 0;
	struct err err = { 0 };
	OK(state_visits(b.desk.store, START_S, &list, &n, &err), &err);
	for (size_t i = 0; i < n; i++)
		if (list[i].id == id)
			found = list[i];
	mem_free(list);
	return found;
}

static size_t findings_of(int kind, const char *subject, struct finding *last)
{
	struct finding *list = NULL;
	size_t n = 0;
	struct err err = { 0 };
	OK(record_findings(b.desk.store, kind, subject, &list, &n, &err), &err);
	if (n)
		*last = list[n - 1];
	mem_free(list);
	return n;
}

/* An instrument whose nuts went slack. */
static struct item slack(void)
{
	put_instrument("cedar", "");
	live(20, 60);
	find_out("cedar", FINDING_SNUG);
	live(75, 30);
	struct item it = item_of("hardware", "cedar");
	assert_int_equal(it.state, ITEM_OPEN);
	return it;
}

/* The rule rests from when it was done, not from when that was heard. */
static void a_tick_is_done_at_its_time(void **state)
{
	(void)state;
	struct item it = slack();
	struct err err = { 0 };
	int64_t closed = 0, done = 0, at_s = b.now_s - 3 * DAY_S;
	assert_true(it.opened_s < at_s);
	assert_true(hear(hear_done, it.uid, at_s));
	assert_false(hear(hear_done, it.uid, b.now_s));
	assert_false(hear(hear_unwanted, it.uid, b.now_s));
	it = item_of("hardware", "cedar");
	assert_int_equal(it.state, ITEM_DONE);
	assert_int_equal(it.closed_s, at_s);
	OK(state_last_closed(
		   b.desk.store, it.rule, it.subject_kind, it.subject, &closed, &done, &err),
		&err);
	assert_int_equal(closed, at_s);
	assert_int_equal(done, at_s);
	const struct care_rule *rule = library_rule(b.desk.lib, "hardware");
	const struct care_measure slack_still = { .value = -1, .since_s = TIME_NEVER };
	assert_int_equal(
		care_judge(rule, &slack_still, false, closed, at_s + rule->rest_s - 1).verdict,
		CARE_NOTHING);
	assert_int_equal(care_judge(rule, &slack_still, false, closed, at_s + rule->rest_s).verdict,
		CARE_OPEN);
	int64_t rested_s = at_s + rule->rest_s;
	while (b.now_s + DAY_S < rested_s)
		live(1, 30);
	assert_int_equal(item_of("hardware", "cedar").id, it.id);
	live(1, 30);
	assert_true(item_of("hardware", "cedar").id > it.id);
}

static void a_tick_from_before_it_was_there_counts_from_its_beginning(void **state)
{
	(void)state;
	struct item it = slack();
	assert_true(hear(hear_done, it.uid, it.opened_s - 30 * DAY_S));
	assert_int_equal(item_of("hardware", "cedar").closed_s, it.opened_s);
	assert_false(hear(hear_done, "9d2c7c4e-0000-4000-8000-000000000000", b.now_s));
}

/* A dated job has its next day a whole period after it was ticked, with no finding beside it. */
static void the_next_period_begins_where_it_was_done(void **state)
{
	(void)state;
	put_instrument("cedar", "");
	live(3, 45);
	find_out("cedar", FINDING_RESTRUNG);
	(void)settle();
	struct item it = item_of("settle", "cedar");
	assert_int_equal(it.state, ITEM_OPEN);
	live(2, 45);
	assert_true(hear(hear_done, it.uid, b.now_s - HOUR_S));
	live(12, 45);
	assert_int_equal(item_of("settle", "cedar").id, it.id);
	/* nor comes the next restringing sooner or later than a life of strings after the tick */
	while (item_of("strings", "cedar").state != ITEM_OPEN || !item_of("strings", "cedar").id)
		live(1, 45);
	struct item strings = item_of("strings", "cedar");
	int64_t done_s = b.now_s;
	assert_true(hear(hear_done, strings.uid, done_s));
	const struct care_rule *rule = library_rule(b.desk.lib, "strings");
	const struct build *build =
		instrument_model_build(engine_find(b.desk.engine, "cedar")->model);
	int64_t day_s = done_s + (int64_t)build->string_life_s;
	while (b.now_s + DAY_S < day_s - rule->lead_s)
		live(1, 45);
	assert_int_equal(item_of("strings", "cedar").id, strings.id);
	live(1, 45);
	it = item_of("strings", "cedar");
	assert_true(it.id > strings.id);
	assert_int_equal(it.from_s, day_s);
	char ticked[24], words[80];
	zone_print_day(engine_zone(b.desk.engine, "room"), done_s, ticked, sizeof ticked);
	(void)snprintf(words, sizeof words, "; ticked off %s, no finding entered", ticked);
	assert_non_null(strstr(it.reasons, words));
	assert_int_equal(it.by_s, day_s + rule->window_s);
}

static void what_was_deleted_is_put_aside(void **state)
{
	(void)state;
	struct item it = slack();
	assert_true(hear(hear_unwanted, it.uid, b.now_s));
	it = item_of("hardware", "cedar");
	assert_int_equal(it.state, ITEM_PUT_ASIDE);
	assert_int_equal(it.closed_s, b.now_s);
	live(10, 30);
	assert_int_equal(item_of("hardware", "cedar").id, it.id);
}

/* ---- moved days ---- */

/* It holds exactly as long as the weight is the same and the value nearer than a quarter of the way to pressing. */
static void a_moved_day_holds_until_its_reason_changes(void **state)
{
	(void)state;
	put_instrument("cedar", "");
	live(20, 60);
	find_out("cedar", FINDING_SNUG);
	while (!item_of("hardware", "cedar").id)
		live(1, 38);
	struct item it = item_of("hardware", "cedar"), was = it;
	const struct care_rule *rule = library_rule(b.desk.lib, "hardware");
	double step = (rule->open - rule->pressing) / 4;
	int64_t to_s = it.by_s + 30 * DAY_S;
	assert_true(hear(hear_moved, it.uid, to_s));
	assert_true(hear(hear_moved, it.uid, to_s));
	int held = 0;
	for (int d = 0; d < 120 && item_of("hardware", "cedar").moved_s == to_s; d++) {
		live(1, 38 - d * 0.25); /* drier by and by */
		it = item_of("hardware", "cedar");
		bool heavier = it.weight > was.weight;
		bool far = fabs(it.value - was.value) >= step;
		assert_int_equal(it.id, was.id);
		assert_true((it.moved_s == to_s) == (!heavier && !far));
		held += it.moved_s == to_s;
	}
	assert_true(held > 2);
	assert_int_equal(it.moved_s, TIME_NEVER);
	assert_true(isnan(it.moved_value));
	live(1, 20);
	assert_int_equal(item_of("hardware", "cedar").moved_s, TIME_NEVER);
}

/* However little the value moved when it did. */
static void a_heavier_reason_brings_the_day_back(void **state)
{
	(void)state;
	put_instrument("cedar", "");
	live(20, 60);
	find_out("cedar", FINDING_SNUG);
	while (!item_of("hardware", "cedar").id)
		live(1, 38);
	struct item was, it = item_of("hardware", "cedar");
	const struct care_rule *rule = library_rule(b.desk.lib, "hardware");
	do {
		find_out("cedar", FINDING_INSPECTED); /* so that each day's value is told */
		live(1, 30);
		was = item_of("hardware", "cedar");
		assert_true(hear(hear_moved, it.uid, b.now_s + 90 * DAY_S));
		find_out("cedar", FINDING_INSPECTED);
		live(1, 30);
		it = item_of("hardware", "cedar");
	} while (it.weight == was.weight);
	assert_true(fabs(it.value - was.value) < (rule->open - rule->pressing) / 4);
	assert_int_equal(it.moved_s, TIME_NEVER);
}

/* Reasons are told anew after a finding; the day stays where it was moved. */
static void a_finding_alone_does_not_bring_the_day_back(void **state)
{
	(void)state;
	struct item it = slack();
	int64_t to_s = b.now_s - DAY_S; /* a day in the past, too */
	assert_true(hear(hear_moved, it.uid, to_s));
	find_out("cedar", FINDING_RESTRUNG);
	assert_true(isnan(item_of("hardware", "cedar").value));
	(void)settle();
	assert_true(!isnan(item_of("hardware", "cedar").value));
	assert_int_equal(item_of("hardware", "cedar").moved_s, to_s);
	/* moved while nothing is known of the value: it holds for what is known next */
	find_out("cedar", FINDING_INSPECTED);
	assert_true(hear(hear_moved, it.uid, to_s + HOUR_S));
	assert_true(isnan(item_of("hardware", "cedar").moved_value));
	(void)settle();
	it = item_of("hardware", "cedar");
	assert_int_equal(it.moved_s, to_s + HOUR_S);
	CLOSE(it.moved_value, it.value, 1e-9, "value");
	int64_t from = 0, by = 0;
	agenda_window(it.from_s, it.by_s, it.moved_s, &from, &by);
	assert_int_equal(by, to_s + HOUR_S);
	assert_true(from == (it.from_s < by ? it.from_s : by));
	agenda_window(it.from_s, it.by_s, TIME_NEVER, &from, &by);
	assert_int_equal(by, it.by_s);
}

/* Lists are in order of the day as it holds. */
static void moved_entries_stand_where_they_were_moved(void **state)
{
	(void)state;
	struct item *list = NULL;
	size_t n = 0;
	struct err err = { 0 };
	put_instrument("cedar", "");
	put_instrument("maple", "");
	live(3, 45);
	find_out("cedar", FINDING_RESTRUNG);
	find_out("maple", FINDING_RESTRUNG);
	(void)settle();
	struct item cedar = item_of("settle", "cedar");
	assert_true(hear(hear_moved, cedar.uid, cedar.by_s + DAY_S));
	for (int i = 0; i < 2; i++) {
		OK(state_items(b.desk.store, TIME_NEVER, &list, &n, &err), &err);
		assert_int_equal(n, 2);
		assert_string_equal(list[0].subject, i == 0 ? "maple" : "cedar");
		mem_free(list);
		assert_true(hear(hear_moved, cedar.uid, cedar.by_s - DAY_S));
	}
}

/* Two instruments of a client, restrung: one visit. */
static struct visit school(void)
{
	struct visit v = { 0 };
	put_client("school");
	put_instrument("cedar", "school");
	put_instrument("maple", "school");
	live(3, 45);
	find_out("cedar", FINDING_RESTRUNG);
	find_out("maple", FINDING_RESTRUNG);
	(void)settle();
	assert_int_equal(open_visits(&v), 1);
	return v;
}

static void a_visit_is_heard_as_all_its_items(void **state)
{
	(void)state;
	struct visit v = school();
	int64_t at_s = b.now_s + DAY_S;
	live(2, 45);
	assert_true(hear(hear_done, v.uid, at_s));
	assert_false(hear(hear_done, v.uid, at_s));
	assert_int_equal(item_of("settle", "cedar").state, ITEM_DONE);
	assert_int_equal(item_of("settle", "maple").closed_s, at_s);
	assert_int_equal(visit_of(v.id).state, ITEM_OPEN);
	(void)settle();
	assert_int_equal(visit_of(v.id).state, ITEM_DONE);
	assert_int_equal(open_visits(&v), 0);
}

static void an_unwanted_visit_is_withdrawn(void **state)
{
	(void)state;
	struct visit v = school();
	assert_true(hear(hear_unwanted, v.uid, b.now_s));
	(void)settle();
	assert_int_equal(item_of("settle", "maple").state, ITEM_PUT_ASIDE);
	assert_int_equal(visit_of(v.id).state, ITEM_WITHDRAWN);
}

static void a_moved_visit_waits_for_what_can_wait(void **state)
{
	(void)state;
	struct visit v = school();
	int64_t to_s = v.by_s + 14 * DAY_S;
	assert_true(hear(hear_moved, v.uid, to_s));
	live(2, 45);
	assert_int_equal(visit_of(v.id).moved_s, to_s);
	assert_int_equal(visit_of(v.id).by_s, v.by_s); /* what the reasons say is kept beside it */
	/* one more joins that is to be done before that day */
	put_instrument("spruce", "school");
	live(1, 45);
	find_out("spruce", FINDING_RESTRUNG);
	(void)settle();
	assert_int_equal(item_of("settle", "spruce").visit, v.id);
	assert_true(item_of("settle", "spruce").by_s < to_s);
	assert_int_equal(visit_of(v.id).moved_s, TIME_NEVER);
	/* moved nearer, nothing calls for it: it stays */
	to_s = item_of("settle", "cedar").by_s - DAY_S;
	assert_true(hear(hear_moved, v.uid, to_s));
	put_instrument("elm", "school");
	live(1, 45);
	find_out("elm", FINDING_RESTRUNG);
	(void)settle();
	assert_int_equal(item_of("settle", "elm").visit, v.id);
	assert_int_equal(visit_of(v.id).moved_s, to_s);
}

/* A visit reckons with the moved days of its items, and an item that grows heavier brings its day back. */
static void a_visit_follows_its_items(void **state)
{
	(void)state;
	struct visit v = school();
	struct item cedar = item_of("settle", "cedar"), maple = item_of("settle", "maple");
	int64_t to_s = maple.by_s + 4 * DAY_S;
	assert_true(hear(hear_moved, cedar.uid, to_s));
	(void)settle();
	assert_int_equal(visit_of(v.id).by_s, maple.by_s);
	assert_true(hear(hear_moved, maple.uid, to_s + DAY_S));
	(void)settle();
	assert_int_equal(visit_of(v.id).by_s, to_s);
	assert_int_equal(item_of("settle", "cedar").by_s, cedar.by_s);
}

static void an_item_grown_heavier_frees_its_visit(void **state)
{
	(void)state;
	put_client("school");
	put_instrument("cedar", "school");
	live(20, 60);
	find_out("cedar", FINDING_SNUG);
	while (!item_of("hardware", "cedar").visit)
		live(1, 38);
	struct item was = item_of("hardware", "cedar");
	struct visit v = visit_of(was.visit);
	int64_t to_s = v.by_s + 300 * DAY_S;
	assert_true(hear(hear_moved, v.uid, to_s));
	int held = 0;
	for (int d = 0; d < 120 && item_of("hardware", "cedar").weight == was.weight; d++) {
		assert_int_equal(visit_of(v.id).moved_s, to_s);
		live(1, 38 - d * 0.25);
		held++;
	}
	assert_true(held > 2);
	assert_true(item_of("hardware", "cedar").weight > was.weight);
	assert_int_equal(visit_of(v.id).moved_s, TIME_NEVER);
}

/* ---- lines ---- */

static void a_line_is_a_finding_and_settles_what_it_can(void **state)
{
	(void)state;
	struct item it = slack();
	struct finding f = { 0 };
	size_t before = findings_of(CARE_OF_INSTRUMENT, "cedar", &f);
	assert_string_equal(say(it.uid, "called, will come Tuesday"), "");
	assert_string_equal(say("9d2c7c4e-0000-4000-8000-000000000000", "relief .010"), "");
	assert_int_equal(findings_of(CARE_OF_INSTRUMENT, "cedar", &f), before);
	assert_non_null(strstr(say(it.uid, "relief ten"), "Not noted"));
	assert_non_null(strstr(say(it.uid, "cdar: relief .010"), "`cedar: relief .010` would do"));
	assert_non_null(strstr(say(it.uid, "battery"), "said of a sensor"));
	assert_int_equal(findings_of(CARE_OF_INSTRUMENT, "cedar", &f), before);
	assert_string_equal(say(it.uid, "Cedar: Relief .010, tuner 1/6"),
		"Noted: relief 0.010 in, tuner turn 1/6 turn");
	assert_int_equal(findings_of(CARE_OF_INSTRUMENT, "cedar", &f), before + 2);
	assert_int_equal(f.t_s, b.now_s);
	assert_string_equal(f.text, "from the calendar");
	/* again it changes nothing; of the same moment something else contradicts */
	(void)say(it.uid, "Cedar: Relief .010, tuner 1/6");
	assert_non_null(strstr(say(it.uid, "relief .012"), "which of the two"));
	assert_int_equal(findings_of(CARE_OF_INSTRUMENT, "cedar", &f), before + 2);
	(void)settle();
	it = item_of("hardware", "cedar");
	assert_int_equal(it.state, ITEM_DONE);
	assert_int_equal(it.closed_s, b.now_s);
	/* the entry takes lines also when it is closed */
	b.now_s += HOUR_S;
	assert_string_equal(say(it.uid, "restrung"), "Noted: restrung");
}

/* What is said back is what was noted, to the last digit that people write. */
static void answers_do_not_round(void **state)
{
	(void)state;
	struct item it = slack();
	const char *const cases[][2] = {
		{ "relief .0105in", "Noted: relief 0.0105 in" },
		{ "relief 0.254mm", "Noted: relief 0.010 in" },
		{ "relief 0.3mm", "Noted: relief 0.0118 in" },
		{ "action 4.25/64 bass", "Noted: action bass 4.25/64 in" },
		{ "tuner 0.15", "Noted: tuner turn 0.15 turn" },
		{ "tuner 1 1/2", "Noted: tuner turn 1 1/2 turns" },
		{ "truss -1/8", "Noted: truss turn -1/8 turn" },
		{ "fret ends dressed", "Noted: fret ends 0.000 in" },
		{ "saddle lowered .020", "Noted: saddle -0.020 in" },
	};
	for (size_t i = 0; i < COUNT(cases); i++) {
		b.now_s += HOUR_S;
		assert_string_equal(say(it.uid, cases[i][0]), cases[i][1]);
	}
}

static void of_a_visit_the_line_says_which(void **state)
{
	(void)state;
	struct visit v = school();
	struct finding f = { 0 };
	size_t cedar = findings_of(CARE_OF_INSTRUMENT, "cedar", &f),
	       maple = findings_of(CARE_OF_INSTRUMENT, "maple", &f);
	assert_non_null(strstr(say(v.uid, "settled"), "of which one"));
	assert_non_null(strstr(say(v.uid, "oak: settled"), "of which one"));
	assert_string_equal(say(v.uid, "oak needs a case"), "");
	assert_int_equal(findings_of(CARE_OF_INSTRUMENT, "cedar", &f), cedar);
	assert_string_equal(say(v.uid, "maple: settled"), "Noted of maple: settled");
	assert_string_equal(say(v.uid, "CEDAR action 6/64 bass 4/64 treble"),
		"Noted of cedar: action bass 6/64 in, action treble 4/64 in");
	assert_int_equal(findings_of(CARE_OF_INSTRUMENT, "cedar", &f), cedar + 2);
	assert_int_equal(findings_of(CARE_OF_INSTRUMENT, "maple", &f), maple + 1);
	assert_int_equal(f.kind, FINDING_SETTLED);
	(void)settle();
	assert_int_equal(item_of("settle", "maple").state, ITEM_DONE);
	assert_int_equal(item_of("settle", "cedar").state, ITEM_OPEN);
}

static void sensors_have_lines_and_places_have_none(void **state)
{
	(void)state;
	struct finding f = { 0 };
	put_instrument("cedar", "");
	live(5, 45);
	b.now_s += 3 * DAY_S;
	(void)settle();
	struct item it = item_of("silent", "room");
	assert_int_equal(it.state, ITEM_OPEN);
	assert_non_null(strstr(say(it.uid, "relief .010"), "said of an instrument"));
	assert_string_equal(say(it.uid, "battery changed"), "Noted: battery");
	assert_int_equal(findings_of(CARE_OF_SENSOR, "room", &f), 1);
	(void)settle();
	assert_int_equal(item_of("silent", "room").state, ITEM_DONE);
	live(8, 36);
	it = item_of("air_dry", "room");
	assert_int_equal(it.state, ITEM_OPEN);
	assert_non_null(strstr(say(it.uid, "relief .010"), "said of an instrument"));
	assert_string_equal(say(it.uid, "humidifier filled"), "");
}

static void an_instrument_that_left_takes_no_lines(void **state)
{
	(void)state;
	struct err err = { 0 };
	struct instrument x;
	struct item it = slack();
	OK(record_instrument(b.desk.store, "cedar", &x, &err), &err);
	x.until_s = b.now_s - DAY_S;
	OK(store_begin(b.desk.store, &err), &err);
	OK(record_put_instrument(b.desk.store, &x, NULL, &err), &err);
	OK(store_commit(b.desk.store, &err), &err);
	assert_non_null(strstr(say(it.uid, "relief .010"), "cedar is not followed any more"));
	OK(store_begin(b.desk.store, &err), &err);
	OK(record_remove_instrument(b.desk.store, "cedar", &err), &err);
	OK(store_commit(b.desk.store, &err), &err);
	assert_non_null(strstr(say(it.uid, "relief .010"), "cedar is not followed any more"));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		TEST(a_tick_is_done_at_its_time),
		TEST(a_tick_from_before_it_was_there_counts_from_its_beginning),
		TEST(the_next_period_begins_where_it_was_done),
		TEST(what_was_deleted_is_put_aside),
		TEST(a_moved_day_holds_until_its_reason_changes),
		TEST(a_heavier_reason_brings_the_day_back),
		TEST(a_finding_alone_does_not_bring_the_day_back),
		TEST(moved_entries_stand_where_they_were_moved),
		TEST(a_visit_is_heard_as_all_its_items),
		TEST(an_unwanted_visit_is_withdrawn),
		TEST(a_moved_visit_waits_for_what_can_wait),
		TEST(a_visit_follows_its_items),
		TEST(an_item_grown_heavier_frees_its_visit),
		TEST(a_line_is_a_finding_and_settles_what_it_can),
		TEST(answers_do_not_round),
		TEST(of_a_visit_the_line_says_which),
		TEST(sensors_have_lines_and_places_have_none),
		TEST(an_instrument_that_left_takes_no_lines),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
