/* What the service tells its manager (sd_notify protocol, through libsystemd). Without a manager
 * (NOTIFY_SOCKET unset) every call does nothing. Failures are ignored on purpose: the manager's own
 * time-outs notice them, and the service must not die of them. */
#ifndef DAEMON_NOTIFY_H
#define DAEMON_NOTIFY_H

#include "core/err.h"
#include "daemon/loop.h"

/* Started, or done with reloading; status is one line for people. */
void notify_ready(const char *status);
void notify_status(const char *status);
/* A reload begins; notify_ready ends it, also when the old settings were kept. */
void notify_reloading(void);
void notify_stopping(void);

/* Feeds the manager's watchdog from the loop, at 4/9 of the period it asks for: two chances in one
 * period, and few wake-ups (80 s for 3 min). Sets no timer when it asks for none, or when the clock
 * is virtual. t is the caller's and must stay. */
void notify_watchdog(struct loop *l, const struct clock *clock, struct timer *t);

#endif
