#include "tests/unit/support.h"

#include <stdlib.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

#include "core/civil.h"
#include "daemon/notify.h"

/* A local datagram socket standing in for the manager. */
static char *folder;
static int manager;

static int open_manager(void **state)
{
	(void)state;
	folder = support_folder();
	struct sockaddr_un at = { .sun_family = AF_UNIX };
	(void)snprintf(at.sun_path, sizeof at.sun_path, "%s", support_path(folder, "notify"));
	manager = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
	assert_int_equal(bind(manager, (struct sockaddr *)&at, sizeof at), 0);
	assert_int_equal(setenv("NOTIFY_SOCKET", at.sun_path, 1), 0);
	return 0;
}

static int close_manager(void **state)
{
	(void)state;
	(void)unsetenv("NOTIFY_SOCKET");
	(void)unsetenv("WATCHDOG_USEC");
	(void)unsetenv("WATCHDOG_PID");
	(void)close(manager);
	support_folder_remove(folder);
	return 0;
}

/* The next message, "" when there is none. */
static const char *heard(void)
{
	static char text[512];
	ssize_t n = recv(manager, text, sizeof text - 1, MSG_DONTWAIT);
	text[n > 0 ? n : 0] = '\0';
	return text;
}

static void ready_status_and_stopping_are_told_to_the_manager(void **state)
{
	(void)state;
	notify_ready("3 sensors");
	assert_string_equal(heard(), "READY=1\nSTATUS=3 sensors");
	notify_status("settled");
	assert_string_equal(heard(), "STATUS=settled");
	notify_stopping();
	assert_non_null(strstr(heard(), "STOPPING=1"));
}

static void reloading_carries_the_monotonic_time(void **state)
{
	(void)state;
	struct timespec t;
	(void)clock_gettime(CLOCK_MONOTONIC, &t);
	long long before_us = (long long)t.tv_sec * 1000000 + t.tv_nsec / 1000;
	notify_reloading();
	long long us = 0;
	assert_int_equal(sscanf(heard(), "RELOADING=1\nMONOTONIC_USEC=%lld", &us), 1);
	(void)clock_gettime(CLOCK_MONOTONIC, &t);
	assert_true(us >= before_us && us <= (long long)t.tv_sec * 1000000 + t.tv_nsec / 1000);
}

/* A clock that jumps like a virtual one but says it is real: no test waits 80 s. */
static void the_watchdog_is_fed_at_four_ninths_of_its_period(void **state)
{
	(void)state;
	assert_int_equal(setenv("WATCHDOG_USEC", "180000000", 1), 0);
	struct clock clock = clock_virtual(0);
	struct loop *l = NULL;
	struct err err = { 0 };
	OK(loop_new(&clock, &l, &err), &err);
	struct timer t = { 0 };
	clock.jumps = false;
	notify_watchdog(l, &clock, &t);
	clock.jumps = true;
	OK(loop_run(l, 79, &err), &err);
	assert_string_equal(heard(), "");
	OK(loop_run(l, 160, &err), &err);
	assert_string_equal(heard(), "WATCHDOG=1");
	assert_string_equal(heard(), "WATCHDOG=1");
	assert_string_equal(heard(), "");
	loop_free(l);
}

static void no_watchdog_is_fed_when_none_is_asked_for_or_time_is_virtual(void **state)
{
	(void)state;
	struct clock clock = clock_virtual(0);
	struct loop *l = NULL;
	struct err err = { 0 };
	OK(loop_new(&clock, &l, &err), &err);
	struct timer t = { 0 };
	assert_int_equal(setenv("WATCHDOG_USEC", "180000000", 1), 0);
	notify_watchdog(l, &clock, &t);
	(void)unsetenv("WATCHDOG_USEC");
	clock.jumps = false;
	notify_watchdog(l, &clock, &t);
	clock.jumps = true;
	OK(loop_run(l, DAY_S, &err), &err);
	assert_string_equal(heard(), "");
	loop_free(l);
}

static void without_a_manager_every_call_is_harmless(void **state)
{
	(void)state;
	(void)unsetenv("NOTIFY_SOCKET");
	notify_ready("x");
	notify_status("x");
	notify_reloading();
	notify_stopping();
	assert_string_equal(heard(), "");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define WITH_MANAGER(f) cmocka_unit_test_setup_teardown(f, open_manager, close_manager)
		WITH_MANAGER(ready_status_and_stopping_are_told_to_the_manager),
		WITH_MANAGER(reloading_carries_the_monotonic_time),
		WITH_MANAGER(the_watchdog_is_fed_at_four_ninths_of_its_period),
		WITH_MANAGER(no_watchdog_is_fed_when_none_is_asked_for_or_time_is_virtual),
		WITH_MANAGER(without_a_manager_every_call_is_harmless),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
