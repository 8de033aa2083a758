#include "daemon/notify.h"

#include <inttypes.h>
#include <time.h>
#include <systemd/sd-daemon.h>

void notify_ready(const char *status)
{
	(void)sd_notifyf(0, "READY=1\nSTATUS=%s", status);
}

void notify_status(const char *status)
{
	(void)sd_notifyf(0, "STATUS=%s", status);
}

void notify_reloading(void)
{
	/* sd_notify(3): the manager orders the reload by this very clock, not by a rounded one */
	struct timespec t = { 0 };
	(void)clock_gettime(CLOCK_MONOTONIC, &t);
	int64_t us = (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000;
	(void)sd_notifyf(0, "RELOADING=1\nMONOTONIC_USEC=%" PRId64, us);
}

void notify_stopping(void)
{
	(void)sd_notify(0, "STOPPING=1\nSTATUS=stopping");
}

static void feed(void *arg, int64_t now_s)
{
	(void)arg, (void)now_s;
	(void)sd_notify(0, "WATCHDOG=1");
}

void notify_watchdog(struct loop *l, const struct clock *clock, struct timer *t)
{
	uint64_t us = 0;
	t->fire = feed;
	if (clock->jumps || sd_watchdog_enabled(0, &us) <= 0)
		return;
	int64_t every_ms = (int64_t)(us / 1000 * 4 / 9);
	loop_every(l, t, every_ms, every_ms > 0 ? every_ms : 1);
}
