#include "tests/unit/support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/finding.h"
#include "core/mem.h"
#include "daemon/record.h"

#define T0 INT64_C(1760000400) /* 2025-10-09 09:00 UTC, a full hour */

struct bench {
	char *folder;
	struct store *s;
};

/* A store with an open transaction. */
static int open_bench(void **state)
{
	static struct bench b;
	struct err err = { 0 };
	b.folder = support_folder();
	OK(store_open(support_path(b.folder, "s.db"), STORE_REPLAY, &b.s, &err), &err);
	OK(store_begin(b.s, &err), &err);
	*state = &b;
	return 0;
}

static int close_bench(void **state)
{
	struct bench *b = *state;
	store_rollback(b->s);
	store_close(b->s);
	support_folder_remove(b->folder);
	return 0;
}

static struct store *store_of(void **state)
{
	return ((struct bench *)*state)->s;
}

static bool put_client(struct store *s, const char *name, const char *note)
{
	struct client c = { .title = "A client" };
	struct err err = { 0 };
	bool changed = false;
	(void)snprintf(c.name, sizeof c.name, "%s", name);
	(void)snprintf(c.note, sizeof c.note, "%s", note);
	OK(record_put_client(s, &c, &changed, &err), &err);
	return changed;
}

static struct instrument an_instrument(const char *name, const char *client)
{
	struct instrument i = { .build = "parlour", .since_s = T0, .until_s = TIME_NEVER };
	(void)snprintf(i.name, sizeof i.name, "%s", name);
	(void)snprintf(i.client, sizeof i.client, "%s", client);
	return i;
}

static bool put_instrument(struct store *s, const struct instrument *i)
{
	struct err err = { 0 };
	bool changed = false;
	OK(record_put_instrument(s, i, &changed, &err), &err);
	return changed;
}

static int64_t add_instrument(struct store *s, const char *name, const char *client)
{
	struct instrument i = an_instrument(name, client);
	assert_true(put_instrument(s, &i));
	OK(record_instrument(s, name, &i, NULL), NULL);
	return i.id;
}

static bool put_stay(struct store *s, const char *instrument, int64_t t_s, const char *place)
{
	struct stay stay = { .t_s = t_s };
	struct err err = { 0 };
	bool changed = false;
	(void)snprintf(stay.place, sizeof stay.place, "%s", place);
	OK(record_put_stay(s, instrument, &stay, &changed, &err), &err);
	return changed;
}

static struct finding a_finding(
	int subject_kind, const char *subject, int64_t t_s, int kind, double value)
{
	struct finding f = {
		.subject_kind = subject_kind, .t_s = t_s, .kind = kind, .value = value
	};
	(void)snprintf(f.subject, sizeof f.subject, "%s", subject);
	return f;
}

static bool put_finding(struct store *s, const struct finding *f)
{
	struct err err = { 0 };
	bool changed = false;
	OK(record_put_finding(s, f, &changed, &err), &err);
	return changed;
}

static bool add_finding(struct store *s, const char *subject, int64_t t_s, int kind, double value)
{
	struct finding f = a_finding(CARE_OF_INSTRUMENT, subject, t_s, kind, value);
	return put_finding(s, &f);
}

static int64_t dirty(struct store *s, int64_t instrument)
{
	int64_t hour = -1;
	OK(record_dirty_hour(s, instrument, &hour, NULL), NULL);
	return hour;
}

static void clear_dirty(struct store *s, int64_t instrument)
{
	OK(record_clear_dirty(s, instrument, NULL), NULL);
	assert_int_equal(dirty(s, instrument), TIME_NEVER);
}

/* ---- putting ---- */

static void putting_the_same_again_changes_nothing(void **state)
{
	struct store *s = store_of(state);
	assert_true(put_client(s, "alder", "x"));
	assert_false(put_client(s, "alder", "x"));
	assert_true(put_client(s, "alder", "y"));
	struct instrument i = an_instrument("a", "alder");
	assert_true(put_instrument(s, &i));
	assert_false(put_instrument(s, &i));
	i.client[0] = '\0';
	assert_true(put_instrument(s, &i));
	assert_false(put_instrument(s, &i));
	assert_true(put_stay(s, "a", T0, "shop"));
	assert_false(put_stay(s, "a", T0, "shop"));
	assert_true(put_stay(s, "a", T0, "loft"));
	struct finding f = a_finding(CARE_OF_INSTRUMENT, "a", T0, FINDING_RELIEF, 0.25e-3);
	assert_true(put_finding(s, &f));
	assert_false(put_finding(s, &f));
	f.value = 0.26e-3;
	assert_true(put_finding(s, &f));
	(void)snprintf(f.text, sizeof f.text, "measured again");
	assert_true(put_finding(s, &f));
	assert_true(add_finding(s, "a", T0, FINDING_SNUG, (double)NAN));
	assert_false(add_finding(s, "a", T0, FINDING_SNUG, (double)NAN));
	OK(record_put_client(s, &(struct client){ .name = "birch" }, NULL, NULL), NULL);
}

static void records_come_back_as_they_were_put(void **state)
{
	struct store *s = store_of(state);
	(void)put_client(s, "alder", "closed in August");
	struct instrument i = an_instrument("a", "alder"), back;
	(void)snprintf(i.title, sizeof i.title, "Old \"parlour\"");
	(void)snprintf(i.overrides, sizeof i.overrides, "band = [42, 55];");
	(void)snprintf(i.note, sizeof i.note, "h\xc3\xa9");
	i.until_s = T0 + 7;
	(void)put_instrument(s, &i);
	OK(record_instrument(s, "a", &back, NULL), NULL);
	struct client c;
	OK(record_client(s, "alder", &c, NULL), NULL);
	assert_string_equal(c.note, "closed in August");
	assert_int_equal(back.client_id, c.id);
	assert_string_equal(back.title, i.title);
	assert_string_equal(back.client, "alder");
	assert_string_equal(back.build, i.build);
	assert_string_equal(back.overrides, i.overrides);
	assert_string_equal(back.note, i.note);
	assert_int_equal(back.since_s, i.since_s);
	assert_int_equal(back.until_s, i.until_s);
	i.until_s = TIME_NEVER;
	i.client[0] = '\0';
	(void)put_instrument(s, &i);
	OK(record_instrument(s, "a", &back, NULL), NULL);
	assert_int_equal(back.until_s, TIME_NEVER);
	assert_int_equal(back.client_id, 0);
	assert_string_equal(back.client, "");
}

static void an_instrument_put_again_keeps_its_number(void **state)
{
	struct store *s = store_of(state);
	int64_t id = add_instrument(s, "a", "");
	struct instrument i = an_instrument("a", "");
	(void)snprintf(i.build, sizeof i.build, "nylon");
	assert_true(put_instrument(s, &i));
	OK(record_instrument(s, "a", &i, NULL), NULL);
	assert_int_equal(i.id, id);
}

static void texts_of_more_than_one_line_are_refused(void **state)
{
	struct store *s = store_of(state);
	struct err err = { 0 };
	struct client c = { .name = "alder", .address = "1 Hill Lane\nTown" };
	assert_int_equal(record_put_client(s, &c, NULL, &err), RC_INPUT);
	assert_string_equal(
		err.text, "client \"alder\": address: holds a control character: one line of text");
	struct instrument i = an_instrument("a", "");
	(void)snprintf(i.note, sizeof i.note, "\x1b[2J");
	assert_int_equal(record_put_instrument(s, &i, NULL, NULL), RC_INPUT);
	(void)add_instrument(s, "a", "");
	struct finding f = a_finding(CARE_OF_INSTRUMENT, "a", T0, FINDING_SNUG, (double)NAN);
	(void)snprintf(f.text, sizeof f.text, "a\tb");
	assert_int_equal(record_put_finding(s, &f, NULL, NULL), RC_INPUT);
}

/* RFC 5322 3.4.1 for addresses; law of ours: nobody agreed without one */
static void mail_needs_an_address_and_one_of_the_plain_form(void **state)
{
	static const char *const bad[] = { "alder", "@example.org", "a@", "a@b@c",
		"a b@example.org", "a@example..org", ".a@example.org", "a.@example.org", "a@.org",
		"a@example.org.", "Al <a@example.org>", "\"a b\"@example.org", "a@[127.0.0.1]",
		"a@example.org,b@c.org", "a(x)@example.org", "h\xc3\xa9@example.org",
		"a@exam_ple.org" };
	struct store *s = store_of(state);
	struct client c = { .name = "alder", .email = "a.b+c=d!x@ex-ample.org", .agreed_s = T0 },
		      back;
	bool changed = false;
	OK(record_put_client(s, &c, &changed, NULL), NULL);
	assert_true(changed);
	OK(record_put_client(s, &c, &changed, NULL), NULL);
	assert_false(changed);
	OK(record_client(s, "alder", &back, NULL), NULL);
	assert_string_equal(back.email, c.email);
	assert_int_equal(back.agreed_s, T0);
	for (size_t i = 0; i < COUNT(bad); i++) {
		(void)snprintf(c.email, sizeof c.email, "%s", bad[i]);
		if (record_put_client(s, &c, NULL, NULL) != RC_INPUT)
			fail_msg("%s was taken", bad[i]);
	}
	(void)snprintf(c.email, sizeof c.email, "a@example.org\r\nBcc: b@example.org");
	assert_int_equal(record_put_client(s, &c, NULL, NULL), RC_INPUT);
	struct err err = { 0 };
	c.email[0] = '\0';
	assert_int_equal(record_put_client(s, &c, NULL, &err), RC_INPUT);
	assert_string_equal(err.text, "client \"alder\": agreed to mail without an address: email "
				      "too, or agreed no");
	c.agreed_s = 0;
	OK(record_put_client(s, &c, &changed, NULL), NULL);
	assert_true(changed);
	OK(record_client(s, "alder", &back, NULL), NULL);
	assert_int_equal(back.agreed_s, 0);
}

/* ---- unknown names ---- */

static void unknown_names_are_refused_and_the_nearest_is_offered(void **state)
{
	struct store *s = store_of(state);
	(void)put_client(s, "alder", "");
	(void)put_client(s, "birch", "");
	(void)add_instrument(s, "parlour-1", "alder");
	(void)add_instrument(s, "nylon-1", "");
	struct instrument i = an_instrument("x", "aldr");
	struct client c;
	bool changed = false;
	static const struct stay stay = { .t_s = T0, .place = "shop" };
	struct finding f = a_finding(CARE_OF_INSTRUMENT, "parlour", T0, FINDING_SNUG, (double)NAN);
	struct err err[6] = { { 0 } };
	assert_int_equal(record_put_instrument(s, &i, &changed, &err[0]), RC_UNKNOWN);
	assert_string_equal(
		err[0].text, "client \"aldr\": not in the records: did you mean \"alder\"?");
	assert_int_equal(record_client(s, "brich", &c, &err[1]), RC_UNKNOWN);
	assert_string_equal(
		err[1].text, "client \"brich\": not in the records: did you mean \"birch\"?");
	assert_int_equal(record_instrument(s, "nylon1", &i, &err[2]), RC_UNKNOWN);
	assert_string_equal(err[2].text,
		"instrument \"nylon1\": not in the records: did you mean \"nylon-1\"?");
	assert_int_equal(record_put_stay(s, "parlor-1", &stay, &changed, &err[3]), RC_UNKNOWN);
	assert_string_equal(err[3].text,
		"instrument \"parlor-1\": not in the records: did you mean \"parlour-1\"?");
	assert_int_equal(record_put_finding(s, &f, &changed, &err[4]), RC_UNKNOWN);
	assert_int_equal(record_instrument(s, "zzzzzzzzz", &i, &err[5]), RC_UNKNOWN);
	assert_string_equal(err[5].text, "instrument \"zzzzzzzzz\": not in the records");
	assert_false(changed);
	struct instrument *all;
	size_t n;
	OK(record_instruments(s, &all, &n, NULL), NULL);
	assert_int_equal(n, 2);
	mem_free(all);
}

/* ---- followed anew ---- */

static void only_what_the_wood_depends_on_has_an_instrument_followed_anew(void **state)
{
	struct store *s = store_of(state);
	(void)put_client(s, "alder", "");
	int64_t id = add_instrument(s, "a", "");
	assert_int_equal(dirty(s, id), 0);
	struct instrument i = an_instrument("a", "alder");
	clear_dirty(s, id);
	(void)snprintf(i.title, sizeof i.title, "another title");
	(void)snprintf(i.note, sizeof i.note, "another note");
	assert_true(put_instrument(s, &i));
	assert_int_equal(dirty(s, id), TIME_NEVER);
	(void)snprintf(i.build, sizeof i.build, "nylon");
	assert_true(put_instrument(s, &i));
	assert_int_equal(dirty(s, id), 0);
	clear_dirty(s, id);
	(void)snprintf(i.overrides, sizeof i.overrides, "band = [42, 55];");
	assert_true(put_instrument(s, &i));
	assert_int_equal(dirty(s, id), 0);
	clear_dirty(s, id);
	i.since_s -= 3600;
	assert_true(put_instrument(s, &i));
	assert_int_equal(dirty(s, id), 0);
	clear_dirty(s, id);
	i.until_s = T0 + 86400;
	assert_true(put_instrument(s, &i));
	assert_int_equal(dirty(s, id), 0);
	clear_dirty(s, id);
	assert_false(put_instrument(s, &i));
	assert_int_equal(dirty(s, id), TIME_NEVER);
}

static void stays_mark_from_their_hour_and_the_first_one_from_the_start(void **state)
{
	struct store *s = store_of(state);
	int64_t id = add_instrument(s, "a", "");
	clear_dirty(s, id);
	(void)put_stay(s, "a", T0 + 7200, "shop");
	assert_int_equal(dirty(s, id), 0);
	clear_dirty(s, id);
	(void)put_stay(s, "a", T0 + 7200, "shop");
	assert_int_equal(dirty(s, id), TIME_NEVER);
	(void)put_stay(s, "a", T0 + 40000, "loft");
	assert_int_equal(dirty(s, id), (T0 + 40000) / 3600);
	/* an earlier mark stays, a later one does not move it */
	(void)put_stay(s, "a", T0 + 80000, "loft");
	assert_int_equal(dirty(s, id), (T0 + 40000) / 3600);
	clear_dirty(s, id);
	/* the first stay also held before its time: a new first one changes all of that */
	(void)put_stay(s, "a", T0 + 3600, "case-1");
	assert_int_equal(dirty(s, id), 0);
}

static void findings_mark_from_their_hour_also_when_removed(void **state)
{
	struct store *s = store_of(state);
	int64_t id = add_instrument(s, "a", ""), other = add_instrument(s, "b", "");
	clear_dirty(s, id);
	clear_dirty(s, other);
	(void)add_finding(s, "a", T0 + 3599, FINDING_RELIEF, 0.25e-3);
	assert_int_equal(dirty(s, id), T0 / 3600);
	clear_dirty(s, id);
	(void)add_finding(s, "a", T0 + 3599, FINDING_RELIEF, 0.25e-3);
	assert_int_equal(dirty(s, id), TIME_NEVER);
	(void)add_finding(s, "a", T0 + 7200, FINDING_SNUG, (double)NAN);
	(void)add_finding(s, "a", T0 + 3599, FINDING_RELIEF, 0.26e-3);
	(void)add_finding(s, "a", T0 + 9000, FINDING_SNUG, (double)NAN);
	assert_int_equal(dirty(s, id), T0 / 3600);
	clear_dirty(s, id);
	OK(record_remove_finding(s, CARE_OF_INSTRUMENT, "a", T0 + 7200, FINDING_SNUG, NULL), NULL);
	assert_int_equal(dirty(s, id), T0 / 3600 + 2);
	assert_int_equal(dirty(s, other), TIME_NEVER);
	/* a sensor of the same name is another subject */
	clear_dirty(s, id);
	const struct finding f = a_finding(CARE_OF_SENSOR, "a", T0, FINDING_CHECKED, (double)NAN);
	assert_true(put_finding(s, &f));
	assert_int_equal(dirty(s, id), TIME_NEVER);
}

/* ---- removing ---- */

static void a_client_with_instruments_stays(void **state)
{
	struct store *s = store_of(state);
	struct err err = { 0 };
	(void)put_client(s, "alder", "");
	(void)add_instrument(s, "a", "alder");
	assert_int_equal(record_remove_client(s, "alder", &err), RC_INPUT);
	assert_string_equal(err.text,
		"client \"alder\": still has instrument \"a\": remove it or give it away first");
	OK(record_remove_instrument(s, "a", NULL), NULL);
	OK(record_remove_client(s, "alder", NULL), NULL);
	struct client *all;
	size_t n = 7;
	OK(record_clients(s, &all, &n, NULL), NULL);
	assert_int_equal(n, 0);
	mem_free(all);
}

static size_t count_findings(struct store *s, int subject_kind, const char *subject)
{
	struct finding *f;
	size_t n;
	OK(record_findings(s, subject_kind, subject, &f, &n, NULL), NULL);
	mem_free(f);
	return n;
}

static void an_instrument_takes_its_stays_and_findings_with_it(void **state)
{
	struct store *s = store_of(state);
	int64_t id = add_instrument(s, "a", "");
	(void)add_instrument(s, "b", "");
	(void)put_stay(s, "a", T0, "shop");
	(void)add_finding(s, "a", T0, FINDING_RELIEF, 0.25e-3);
	(void)add_finding(s, "b", T0, FINDING_RELIEF, 0.25e-3);
	const struct finding of_sensor =
		a_finding(CARE_OF_SENSOR, "a", T0, FINDING_CHECKED, (double)NAN);
	(void)put_finding(s, &of_sensor);
	OK(record_remove_instrument(s, "a", NULL), NULL);
	struct stay *stays;
	size_t n = 7;
	OK(record_stays(s, id, &stays, &n, NULL), NULL);
	mem_free(stays);
	assert_int_equal(n, 0);
	assert_int_equal(count_findings(s, CARE_OF_INSTRUMENT, "a"), 0);
	assert_int_equal(count_findings(s, CARE_OF_INSTRUMENT, "b"), 1);
	assert_int_equal(count_findings(s, CARE_OF_SENSOR, "a"), 1);
}

static void what_is_not_there_cannot_be_removed(void **state)
{
	struct store *s = store_of(state);
	struct err err = { 0 };
	(void)add_instrument(s, "a", "");
	(void)add_finding(s, "a", T0, FINDING_RELIEF, 0.25e-3);
	assert_int_equal(record_remove_client(s, "alder", NULL), RC_UNKNOWN);
	assert_int_equal(record_remove_instrument(s, "x", NULL), RC_UNKNOWN);
	assert_int_equal(
		record_remove_finding(s, CARE_OF_INSTRUMENT, "x", T0, FINDING_RELIEF, NULL),
		RC_UNKNOWN);
	assert_int_equal(
		record_remove_finding(s, CARE_OF_INSTRUMENT, "a", T0 + 1, FINDING_RELIEF, NULL),
		RC_UNKNOWN);
	assert_int_equal(record_remove_finding(s, CARE_OF_SENSOR, "a", T0, FINDING_CHECKED, NULL),
		RC_UNKNOWN);
	assert_int_equal(record_remove_finding(s, CARE_OF_INSTRUMENT, "a", T0, FINDING_SNUG, &err),
		RC_UNKNOWN);
	assert_string_equal(err.text, "finding snug of \"a\": none at that time");
	assert_int_equal(count_findings(s, CARE_OF_INSTRUMENT, "a"), 1);
}

/* ---- order ---- */

static void clients_and_instruments_come_by_name_and_stays_by_time(void **state)
{
	struct store *s = store_of(state);
	static const char *const names[] = { "c", "a", "b" };
	struct client *clients;
	struct instrument *instruments;
	struct stay *stays;
	size_t n;
	for (size_t i = 0; i < COUNT(names); i++) {
		(void)put_client(s, names[i], "");
		(void)add_instrument(s, names[i], names[i]);
		(void)put_stay(s, "c", T0 + (int64_t)(i * 7 % 3), names[i]);
	}
	OK(record_clients(s, &clients, &n, NULL), NULL);
	assert_int_equal(n, 3);
	OK(record_instruments(s, &instruments, &n, NULL), NULL);
	assert_int_equal(n, 3);
	for (size_t i = 0; i < n; i++) {
		const char want[] = { (char)('a' + (char)i), '\0' };
		assert_string_equal(clients[i].name, want);
		assert_string_equal(instruments[i].name, want);
		assert_string_equal(instruments[i].client, want);
	}
	OK(record_stays(s, instruments[2].id, &stays, &n, NULL), NULL);
	assert_int_equal(n, 3);
	for (size_t i = 0; i < n; i++)
		assert_int_equal(stays[i].t_s, T0 + (int64_t)i);
	mem_free(clients);
	mem_free(instruments);
	mem_free(stays);
}

static void findings_of_one_time_come_with_what_changes_the_instrument_first(void **state)
{
	struct store *s = store_of(state);
	(void)add_instrument(s, "a", "");
	static const struct {
		int64_t t_s;
		int kind;
	} put[] = {
		{ T0 + 1, FINDING_RELIEF }, { T0, FINDING_SNUG }, { T0, FINDING_RELIEF }, { T0, FINDING_TRUSS_TURN },
		{ T0, FINDING_ACTION_BASS }, { T0 - 1, FINDING_TUNER_TURN }, { T0, FINDING_SADDLE },
	}, want[] = {
		{ T0 - 1, FINDING_TUNER_TURN }, { T0, FINDING_SADDLE }, { T0, FINDING_TRUSS_TURN },
		{ T0, FINDING_ACTION_BASS }, { T0, FINDING_RELIEF }, { T0, FINDING_SNUG }, { T0 + 1, FINDING_RELIEF },
	};
	for (size_t i = 0; i < COUNT(put); i++)
		(void)add_finding(s, "a", put[i].t_s, put[i].kind,
			put[i].kind == FINDING_SNUG ? (double)NAN : 1e-3);
	struct finding *got;
	size_t n;
	OK(record_findings(s, CARE_OF_INSTRUMENT, "a", &got, &n, NULL), NULL);
	assert_int_equal(n, COUNT(want));
	for (size_t i = 0; i < n; i++) {
		assert_int_equal(got[i].t_s, want[i].t_s);
		assert_int_equal(got[i].kind, want[i].kind);
		assert_true(isnan(got[i].value) == (got[i].kind == FINDING_SNUG));
	}
	mem_free(got);
}

static void findings_of_all_subjects_come_by_name_then_time(void **state)
{
	struct store *s = store_of(state);
	static const char *const want[] = { "left", "left", "right" };
	static const struct {
		const char *name;
		int64_t t_s;
	} put[] = { { "right", T0 - 5 }, { "left", T0 + 1 }, { "left", T0 } };
	(void)add_instrument(s, "a", "");
	(void)add_finding(s, "a", T0, FINDING_RELIEF, 1e-3);
	for (size_t i = 0; i < COUNT(put); i++) {
		const struct finding f = a_finding(
			CARE_OF_SENSOR, put[i].name, put[i].t_s, FINDING_CHECKED, (double)NAN);
		(void)put_finding(s, &f);
	}
	struct finding *got;
	size_t n;
	OK(record_findings(s, CARE_OF_SENSOR, NULL, &got, &n, NULL), NULL);
	assert_int_equal(n, 3);
	for (size_t i = 0; i < n; i++)
		assert_string_equal(got[i].subject, want[i]);
	assert_int_equal(got[0].t_s, T0);
	mem_free(got);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, open_bench, close_bench)

int main(void)
{
	const struct CMUnitTest tests[] = {
		TEST(putting_the_same_again_changes_nothing),
		TEST(records_come_back_as_they_were_put),
		TEST(an_instrument_put_again_keeps_its_number),
		TEST(texts_of_more_than_one_line_are_refused),
		TEST(mail_needs_an_address_and_one_of_the_plain_form),
		TEST(unknown_names_are_refused_and_the_nearest_is_offered),
		TEST(only_what_the_wood_depends_on_has_an_instrument_followed_anew),
		TEST(stays_mark_from_their_hour_and_the_first_one_from_the_start),
		TEST(findings_mark_from_their_hour_also_when_removed),
		TEST(a_client_with_instruments_stays),
		TEST(an_instrument_takes_its_stays_and_findings_with_it),
		TEST(what_is_not_there_cannot_be_removed),
		TEST(clients_and_instruments_come_by_name_and_stays_by_time),
		TEST(findings_of_one_time_come_with_what_changes_the_instrument_first),
		TEST(findings_of_all_subjects_come_by_name_then_time),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
