#include "tests/unit/support.h"

#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/state.h"
#include "daemon/store_post.h"

#define T0 INT64_C(1772366400)

static char *folder;
static struct store *s;

static int open_store(void **state)
{
	(void)state;
	struct err err = { 0 };
	folder = support_folder();
	OK(store_open(support_path(folder, "x.db"), STORE_REPLAY, &s, &err), &err);
	OK(store_begin(s, &err), &err);
	return 0;
}

static int close_store(void **state)
{
	(void)state;
	store_rollback(s);
	store_close(s);
	support_folder_remove(folder);
	return 0;
}

static struct letter add(int kind, int64_t visit, int64_t next_s)
{
	static int n;
	struct err err = { 0 };
	struct letter l = { .kind = kind,
		.client = visit,
		.visit = visit,
		.recipient = "a@b.example",
		.subject = "s",
		.made_s = T0,
		.next_s = next_s,
		.sent_s = TIME_NEVER };
	(void)snprintf(l.message_id, sizeof l.message_id, "<%d@b.example>", n++);
	OK(store_letter_add(s, &l, "To: x\r\n\r\nb\r\n", &err), &err);
	return l;
}

static int state_of(int64_t id)
{
	struct letter *all = NULL;
	size_t n = 0;
	int state = -1;
	OK(store_letters(s, 0, &all, &n, NULL), NULL);
	for (size_t i = 0; i < n; i++)
		state = all[i].id == id ? all[i].state : state;
	mem_free(all);
	return state;
}

static void letters_come_in_their_order_when_their_time_has_come(void **state)
{
	(void)state;
	struct letter l, a = add(LETTER_REQUEST, 1, T0 + 60), b = add(LETTER_DIGEST, 0, T0 + 20);
	bool found = true;
	int64_t due = 0;
	OK(store_letter_next(s, T0, &l, &found, NULL), NULL);
	assert_false(found);
	OK(store_letter_due(s, &due, NULL), NULL);
	assert_int_equal(due, T0 + 20);
	OK(store_letter_next(s, T0 + 20, &l, &found, NULL), NULL);
	assert_true(found && l.id == b.id && l.client == 0 && l.sent_s == TIME_NEVER);
	OK(store_letter_next(s, T0 + 60, &l, &found, NULL), NULL);
	assert_true(found && l.id == a.id && l.visit == 1);
	assert_string_equal(l.message_id, a.message_id);
	char *body = NULL;
	size_t n = 0;
	OK(store_letter_body(s, a.id, &body, &n, NULL), NULL);
	assert_string_equal(body, "To: x\r\n\r\nb\r\n");
	assert_int_equal(n, 12);
	mem_free(body);
	assert_int_equal(store_letter_body(s, 99, &body, &n, NULL), RC_UNKNOWN);
}

static void one_under_way_is_neither_next_nor_dropped_until_it_is_resumed(void **state)
{
	(void)state;
	struct letter l = add(LETTER_REQUEST, 7, T0), other = add(LETTER_REQUEST, 7, T0);
	bool found = true, reached = false;
	int64_t n = 0;
	OK(store_letters_reached(s, 7, &reached, NULL), NULL);
	assert_false(reached);
	l.state = LETTER_UNDER_WAY;
	l.tries = 1;
	OK(store_letter_put(s, &l, NULL), NULL);
	OK(store_letters_reached(s, 7, &reached, NULL), NULL);
	assert_true(reached);
	OK(store_letters_drop(s, LETTER_REQUEST, 7, "overtaken", &n, NULL), NULL);
	assert_int_equal(n, 1);
	assert_int_equal(state_of(other.id), LETTER_DROPPED);
	assert_int_equal(state_of(l.id), LETTER_UNDER_WAY);
	OK(store_letter_next(s, T0, &other, &found, NULL), NULL);
	assert_false(found);
	OK(store_letters_resume(s, &n, NULL), NULL);
	assert_int_equal(n, 1);
	OK(store_letter_next(s, T0, &other, &found, NULL), NULL);
	assert_true(found && other.id == l.id && other.tries == 1);
}

static void dropping_is_of_one_kind_and_visit(void **state)
{
	(void)state;
	struct letter a = add(LETTER_REQUEST, 1, T0), b = add(LETTER_REQUEST, 2, T0),
		      c = add(LETTER_CANCEL, 1, T0), d = add(LETTER_DIGEST, 0, T0);
	int64_t n = 0;
	OK(store_letters_drop(s, LETTER_DIGEST, 0, "x", &n, NULL), NULL);
	OK(store_letters_drop(s, LETTER_REQUEST, 1, "x", &n, NULL), NULL);
	assert_int_equal(state_of(a.id), LETTER_DROPPED);
	assert_int_equal(state_of(b.id), LETTER_WAITS);
	assert_int_equal(state_of(c.id), LETTER_WAITS);
	assert_int_equal(state_of(d.id), LETTER_DROPPED);
}

static void the_outbox_has_a_cap_and_forgets(void **state)
{
	(void)state;
	struct err err = { 0 };
	struct letter l = { 0 };
	bool found = false;
	for (int i = 0; i < LETTERS_WAITING_MAX; i++)
		l = add(LETTER_REQUEST, 1, T0);
	struct letter more = l;
	assert_int_equal(store_letter_add(s, &more, "x", &err), RC_FULL);
	assert_string_equal(err.text, "mail: 1000 letters wait already: see `seasonctl mail`");
	l.state = LETTER_SENT;
	OK(store_letter_put(s, &l, NULL), NULL);
	OK(store_heard_put(s, "a", T0, NULL), NULL);
	OK(store_heard_put(s, "a", T0 + 900, NULL), NULL); /* the first time counts */
	OK(store_post_tidy(s, T0 + LETTERS_KEPT_S, NULL), NULL);
	assert_int_equal(state_of(l.id), LETTER_SENT);
	OK(store_heard(s, "a", &found, NULL), NULL);
	assert_true(found);
	OK(store_post_tidy(s, T0 + LETTERS_KEPT_S + 1, NULL), NULL);
	assert_int_equal(state_of(l.id), -1);
	assert_int_equal(state_of(l.id - 1), LETTER_WAITS); /* what waits is never forgotten */
	OK(store_heard(s, "a", &found, NULL), NULL);
	assert_false(found);
}

static void an_invitation_goes_with_its_visit(void **state)
{
	(void)state;
	struct err err = { 0 };
	struct client c = { .name = "alder" };
	OK(record_put_client(s, &c, NULL, &err), &err);
	OK(record_client(s, "alder", &c, &err), &err);
	struct visit v = { .uid = "u", .client = c.id, .opened_s = T0, .closed_s = TIME_NEVER };
	OK(state_visit_put(s, &v, &err), &err);
	struct invitation in = { .visit = v.id,
		.recipient = "a@b.example",
		.sequence = 3,
		.start_s = T0,
		.length_s = 3600,
		.state = CALLED_OFF,
		.answered_stamp_s = T0 + 5 };
	struct invitation out;
	bool found = true;
	OK(store_invitation(s, v.id, &out, &found, NULL), NULL);
	assert_false(found);
	OK(store_invitation_put(s, &in, &err), &err);
	OK(store_invitation(s, v.id, &out, &found, NULL), NULL);
	assert_true(found);
	assert_string_equal(out.recipient, in.recipient);
	assert_true(out.sequence == 3 && out.start_s == T0 && out.length_s == 3600 &&
		    out.state == CALLED_OFF && out.answered_stamp_s == T0 + 5);
	OK(record_remove_client(s, "alder", &err), &err);
	OK(store_invitation(s, v.id, &out, &found, NULL), NULL);
	assert_false(found);
}

static void digests_remember_their_last_time(void **state)
{
	(void)state;
	int64_t due = 0;
	OK(store_digest_due(s, &due, NULL), NULL);
	assert_int_equal(due, TIME_NEVER);
	OK(store_digest_due_put(s, T0, NULL), NULL);
	OK(store_digest_due_put(s, T0 + 7 * DAY_S, NULL), NULL);
	OK(store_digest_due(s, &due, NULL), NULL);
	assert_int_equal(due, T0 + 7 * DAY_S);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, open_store, close_store)

int main(void)
{
	const struct CMUnitTest tests[] = {
		TEST(letters_come_in_their_order_when_their_time_has_come),
		TEST(one_under_way_is_neither_next_nor_dropped_until_it_is_resumed),
		TEST(dropping_is_of_one_kind_and_visit),
		TEST(the_outbox_has_a_cap_and_forgets),
		TEST(an_invitation_goes_with_its_visit),
		TEST(digests_remember_their_last_time),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
