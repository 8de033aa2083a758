/* What commands that change records share. */
#ifndef DAEMON_CTL_CHANGE_H
#define DAEMON_CTL_CHANGE_H

#include "daemon/ctl.h"

/* One transaction round a change, then settling. */
MUST_USE enum rc ctl_transaction(
	struct ctl *c, enum rc (*change)(struct ctl *c, void *arg), void *arg);

/* Copies value into buf; RC_USAGE when it does not fit. */
MUST_USE enum rc ctl_set_text(
	struct ctl *c, const char *key, const char *value, char *buf, size_t size);

/* What is noted has happened already; clocks differ a little. */
MUST_USE enum rc ctl_check_past(struct ctl *c, const char *what, int64_t t_s);

/* RC_INPUT unless the instrument was there at that time. */
MUST_USE enum rc ctl_check_here(struct ctl *c, const struct instrument *x, int64_t t_s);

#endif
