/* Every allocation of a broker's feed fails once as it starts: the error is told and nothing is left. */
#include "tests/unit/support.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "tests/unit/faulty_mem.h"
#include "daemon/feed.h"

static const char text[] =
	"store = \"b.db\"; zone = \"UTC\"; library = [ \"/\" ]; places = ( { name = \"room\"; } "
	");\n"
	"sensors = ( { name = \"room\"; place = \"room\"; } );\n"
	"sources = ( { name = \"broker\"; kind = \"mqtt\"; host = \"127.0.0.1\"; } );\n"
	"streams = ( { name = \"a\"; source = \"broker\"; topic = \"a/+\"; segment = 2;\n"
	"  humidity = \"/air/0/rh\"; time = \"/t\"; } );\n";

static void fed(void *arg)
{
	(void)arg;
	fail_msg("nothing came");
}

static void start_fails_at_each_allocation(void **state)
{
	char folder[] = "/tmp/feed-XXXXXX", path[320];
	struct clock clock = clock_virtual(0);
	struct faults faults = { 0 };
	struct log log;
	struct app app = { .clock = &clock, .log = &log, .replay = true };
	struct err err = { 0 };
	struct feed *feed = NULL;
	enum rc rc = RC_MEM;
	int tries = 0;
	(void)state;
	assert_non_null(mkdtemp(folder));
	(void)snprintf(path, sizeof path, "%s/s.conf", folder);
	support_write(path, text, sizeof text - 1);
	assert_int_equal(settings_load(path, &app.desk.set, &faults), RC_OK);
	log_init(&log, STDERR_FILENO, &clock);
	struct feed_owner owner = { .app = &app, .fed = fed };
	OK(loop_new(&clock, &owner.loop, &err), &err);
	int before = held;
	for (; rc == RC_MEM; tries++) {
		err = (struct err){ 0 };
		left = tries;
		rc = feed_new(&owner, &app.desk.set->sources[0], &feed, &err);
		left = -1;
		if (rc == RC_MEM) {
			assert_int_equal(held, before);
			assert_non_null(strstr(err.text, "out of memory"));
		}
	}
	OK(rc, &err);
	assert_in_range(tries, 6, 100); /* feed, session, the parts of pick, topics, connection */
	feed_free(feed);
	assert_int_equal(held, before);
	loop_free(owner.loop);
	settings_free(app.desk.set);
	(void)unlink(path);
	(void)rmdir(folder);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(start_fails_at_each_allocation),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
