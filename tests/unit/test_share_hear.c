/* What stands on a server is taken in and what is to be put is planned, without a server: what our own puts left is never
 * taken for a person's doing, whichever answer was lost, and each allocation may fail. Texts of persons are written as RFC
 * 5545 3.6.2 and 3.8 have them. */
#include "tests/unit/support.h"

#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/share_int.h"
#include "tests/unit/faulty_mem.h"

#define NOW_S (civil_days(2026, 3, 2) * DAY_S + 9 * HOUR_S)

static struct fixture {
	char *folder;
	struct clock clock;
	struct log log;
	struct app app;
	struct edition *editions;
	size_t n_editions;
	struct zone *zone;
	struct known known;
	struct plan plan;
} fx;

static struct hearing hearing(void)
{
	return (struct hearing){ .app = &fx.app,
		.edition = &fx.editions[0],
		.kind = CALENDAR_TODOS,
		.zone = fx.zone,
		.now_s = NOW_S };
}

/* An instrument with new strings: one job is open. */
static void fill(struct desk *d)
{
	struct err err = { 0 };
	const struct instrument x = { .name = "one",
		.build = "parlour",
		.since_s = NOW_S - 30 * DAY_S,
		.until_s = TIME_NEVER };
	const struct stay stay = { NOW_S - 30 * DAY_S, "room" };
	const struct finding f = { .subject = "one",
		.t_s = NOW_S - DAY_S,
		.kind = FINDING_RESTRUNG,
		.value = (double)NAN };
	OK(store_begin(d->store, &err), &err);
	OK(record_put_instrument(d->store, &x, NULL, &err), &err);
	OK(record_put_stay(d->store, "one", &stay, NULL, &err), &err);
	OK(record_put_finding(d->store, &f, NULL, &err), &err);
	OK(store_commit(d->store, &err), &err);
	OK(desk_settle(d, NOW_S, NULL, NULL, &err), &err);
}

static int begin(void **state)
{
	(void)state;
	char text[1024], here[512];
	struct err err = { 0 };
	struct faults f = { 0 };
	left = -1;
	fx = (struct fixture){ .folder = support_folder(), .clock = clock_virtual(NOW_S) };
	log_init(&fx.log, open("/dev/null", O_WRONLY | O_CLOEXEC), &fx.clock);
	fx.app = (struct app){ .clock = &fx.clock, .log = &fx.log };
	assert_non_null(getcwd(here, sizeof here));
	(void)snprintf(text, sizeof text,
		"store = \"b.db\"; zone = \"UTC\"; library = [ \"%s/conf\" ];\n"
		"places = ( { name = \"room\"; } );\n"
		"sensors = ( { name = \"room\"; place = \"room\"; } );\n"
		"outputs = ( { name = \"bench\"; folder = \"cal\"; } );\n",
		here);
	support_write(support_path(fx.folder, "s.conf"), text, strlen(text));
	assert_int_equal(mkdir(support_path(fx.folder, "cal"), 0700), 0);
	OK(desk_read(support_path(fx.folder, "s.conf"), &fx.app.desk, &f, &err), &err);
	OK(desk_open(&fx.app.desk, STORE_REPLAY, &err), &err);
	fill(&fx.app.desk);
	OK(editions(fx.app.desk.store, fx.app.desk.set, &fx.editions, &fx.n_editions, &err), &err);
	OK(zone_new("UTC", &fx.zone, &err), &err);
	return 0;
}

static int end(void **state)
{
	(void)state;
	share_plan_free(&fx.plan);
	store_resources_free(fx.known.r, fx.known.n);
	zone_free(fx.zone);
	mem_free(fx.editions);
	desk_close(&fx.app.desk);
	(void)close(fx.log.fd);
	support_folder_remove(fx.folder);
	return 0;
}

/* Plans anew from what the store has. */
static enum rc plan(struct err *err)
{
	struct hearing h = hearing();
	share_plan_free(&fx.plan);
	store_resources_free(fx.known.r, fx.known.n);
	fx.known = (struct known){ 0 };
	enum rc rc = store_resources(
		fx.app.desk.store, "bench", CALENDAR_TODOS, &fx.known.r, &fx.known.n, err);
	fx.known.cap = fx.known.n;
	return rc == RC_OK ? share_plan(&h, &fx.known, &fx.plan, err) : rc;
}

/* The one job there is, and its resource. */
static struct resource *planned(enum job_kind kind)
{
	struct err err = { 0 };
	OK(plan(&err), &err);
	assert_int_equal(fx.plan.n, 1);
	assert_int_equal(fx.plan.job[0].kind, kind);
	return &fx.known.r[fx.plan.job[0].resource];
}

static struct taken take_in(struct resource *r, const char *text)
{
	struct err err = { 0 };
	struct taken taken = { 0 };
	struct hearing h = hearing();
	(void)snprintf(r->href, sizeof r->href, "/bench/%s.ics", r->uid);
	OK(store_begin(fx.app.desk.store, &err), &err);
	OK(share_take_in(&h, r, text, strlen(text), "\"1\"", &taken, &err), &err);
	OK(store_commit(fx.app.desk.store, &err), &err);
	return taken;
}

/* The text with something laid in behind `after`. */
static const char *inserted(const char *text, const char *after, const char *what)
{
	static char buf[16384];
	const char *at = strstr(text, after);
	assert_non_null(at);
	at += strlen(after);
	(void)snprintf(buf, sizeof buf, "%.*s%s%s", (int)(at - text), text, what, at);
	return buf;
}

static const char *ticked(const char *text)
{
	return inserted(text, "BEGIN:VTODO\r\n",
		"STATUS:COMPLETED\r\nCOMPLETED:20260302T085900Z\r\nPERCENT-COMPLETE:100\r\n");
}

static size_t open_items(void)
{
	struct err err = { 0 };
	struct item *list = NULL;
	size_t n = 0, open = 0;
	OK(state_items(fx.app.desk.store, 0, &list, &n, &err), &err);
	for (size_t i = 0; i < n; i++)
		open += list[i].state == ITEM_OPEN && list[i].moved_s == TIME_NEVER;
	mem_free(list);
	return open;
}

/* It is put, and the answer came. */
static struct resource *kept(void)
{
	struct resource *r = planned(JOB_CREATE);
	assert_false(take_in(r, fx.plan.job[0].ours).heard);
	return r;
}

static void call_it(const char *title)
{
	struct err err = { 0 };
	struct instrument x;
	OK(store_begin(fx.app.desk.store, &err), &err);
	OK(record_instrument(fx.app.desk.store, "one", &x, &err), &err);
	(void)snprintf(x.title, sizeof x.title, "%s", title);
	OK(record_put_instrument(fx.app.desk.store, &x, NULL, &err), &err);
	OK(store_commit(fx.app.desk.store, &err), &err);
	OK(desk_settle(&fx.app.desk, NOW_S, NULL, NULL, &err), &err);
}

/* ---- */

static void our_own_put_is_nobodys_doing(void **state)
{
	(void)state;
	struct err err = { 0 };
	struct resource *r = kept();
	assert_string_equal(r->sent, fx.plan.job[0].ours);
	assert_null(r->trying);
	assert_int_equal(open_items(), 1);
	OK(plan(&err), &err);
	assert_int_equal(fx.plan.n, 0);
}

static void a_tick_is_heard_once_and_needs_no_put(void **state)
{
	(void)state;
	struct err err = { 0 };
	char *text = NULL;
	struct hearing h = hearing();
	struct resource *r = kept();
	char theirs[16384];
	(void)snprintf(theirs, sizeof theirs, "%s", ticked(r->sent));
	assert_true(take_in(r, theirs).heard);
	assert_int_equal(open_items(), 0);
	assert_false(take_in(r, theirs).heard);
	r = planned(JOB_CHANGE); /* our text says done now, and so does theirs */
	OK(share_text(&h, r, fx.plan.job[0].ours, false, &text, &err), &err);
	assert_null(text);
}

static void a_put_whose_answer_was_lost_arrived_or_not(void **state)
{
	(void)state;
	struct err err = { 0 };
	char *text = NULL;
	struct hearing h = hearing();
	struct resource *r = kept();
	char *before = mem_text(r->seen);
	call_it("Cedar");
	r = planned(JOB_CHANGE);
	OK(share_text(&h, r, fx.plan.job[0].ours, false, &text, &err), &err);
	assert_non_null(strstr(text, "SUMMARY:Cedar"));
	assert_false(take_in(r, inserted(before, "BEGIN:VTODO\r\n", "X-OWN:1\r\n")).heard);
	assert_null(strstr(r->sent, "Cedar")); /* it had not arrived */
	r = planned(JOB_CHANGE);
	assert_false(take_in(r, text).heard);
	assert_non_null(strstr(r->sent, "Cedar")); /* now it has */
	OK(plan(&err), &err);
	assert_int_equal(fx.plan.n, 0);
	assert_int_equal(open_items(), 1);
	mem_free(before);
	mem_free(text);
}

static void a_line_is_heard_once_and_answered(void **state)
{
	(void)state;
	struct err err = { 0 };
	struct finding *list = NULL;
	size_t n = 0;
	struct resource *r = kept();
	char theirs[16384];
	(void)snprintf(theirs, sizeof theirs, "%s",
		inserted(r->sent, "DESCRIPTION:", "relief 0.25mm\\nCall me\\n"));
	for (int i = 0; i < 2; i++)
		assert_true(take_in(r, theirs).heard == (i == 0));
	OK(record_findings(fx.app.desk.store, CARE_OF_INSTRUMENT, "one", &list, &n, &err), &err);
	assert_int_equal(n, 2);
	CLOSE(list[1].value, 0.00025, 1e-12, "relief");
	mem_free(list);
	(void)planned(JOB_CHANGE);
	assert_non_null(strstr(fx.plan.job[0].ours, "2026-03-02: Noted: relief"));
}

static void what_is_gone_is_put_aside(void **state)
{
	(void)state;
	struct err err = { 0 };
	struct taken taken = { 0 };
	struct hearing h = hearing();
	struct resource *r = kept();
	OK(store_begin(fx.app.desk.store, &err), &err);
	OK(share_take_gone(&h, r, &taken, &err), &err);
	OK(store_commit(fx.app.desk.store, &err), &err);
	assert_true(taken.heard);
	assert_int_equal(r->state, RESOURCE_UNWANTED);
	assert_int_equal(open_items(), 0);
	OK(plan(&err), &err);
	assert_int_equal(fx.plan.n, 0);
}

static void an_entry_of_others_at_our_address_is_left_alone(void **state)
{
	(void)state;
	struct err err = { 0 };
	struct resource *r = kept();
	char other[16384];
	(void)snprintf(other, sizeof other, "%s", inserted(r->sent, "\r\nUID:", "of-others-"));
	assert_false(take_in(r, other).heard);
	assert_int_equal(r->state, RESOURCE_STUCK);
	assert_string_equal(r->href, "");
	OK(plan(&err), &err);
	for (size_t i = 0; i < fx.plan.n; i++)
		assert_int_equal(fx.plan.job[i].kind, JOB_CREATE);
}

static void each_allocation_may_fail(void **state)
{
	(void)state;
	struct err err = { 0 };
	struct taken taken = { 0 };
	struct hearing h = hearing();
	int failures = 0;
	enum rc rc = RC_MEM;
	for (int n = 0; rc != RC_OK; n++) {
		left = n;
		rc = plan(&err);
		left = -1;
		assert_true(rc == RC_OK || rc == RC_MEM);
		failures += rc != RC_OK;
	}
	assert_true(failures > 10);
	struct resource *r = planned(JOB_CREATE);
	char *text = mem_text(ticked(fx.plan.job[0].ours));
	(void)snprintf(r->href, sizeof r->href, "/bench/x.ics");
	rc = RC_MEM;
	for (int n = 0; rc != RC_OK; n++) {
		OK(store_begin(fx.app.desk.store, &err), &err);
		left = n;
		rc = share_take_in(&h, r, text, strlen(text), "\"1\"", &taken, &err);
		left = -1;
		assert_true(rc == RC_OK || rc == RC_MEM);
		if (rc != RC_OK)
			store_rollback(fx.app.desk.store);
		failures += rc != RC_OK;
	}
	OK(store_commit(fx.app.desk.store, &err), &err);
	assert_true(failures > 20);
	assert_true(taken.heard);
	assert_int_equal(open_items(), 0);
	mem_free(text);
}

/* After everything nothing is held. */
static int end_and_count(void **state)
{
	int rc = end(state);
	return held == 0 ? rc : -1;
}

#define EACH(t) cmocka_unit_test_setup_teardown(t, begin, end_and_count)

int main(void)
{
	const struct CMUnitTest tests[] = {
		EACH(our_own_put_is_nobodys_doing),
		EACH(a_tick_is_heard_once_and_needs_no_put),
		EACH(a_put_whose_answer_was_lost_arrived_or_not),
		EACH(a_line_is_heard_once_and_answered),
		EACH(what_is_gone_is_put_aside),
		EACH(an_entry_of_others_at_our_address_is_left_alone),
		EACH(each_allocation_may_fail),
	};
	return cmocka_run_group_tests_name("share_hear", tests, NULL, NULL);
}
