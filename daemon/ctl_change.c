#include "daemon/ctl_change.h"

#include <string.h>

enum { CLOCK_SLACK_S = 300 };

enum rc ctl_transaction(struct ctl *c, enum rc (*change)(struct ctl *c, void *arg), void *arg)
{
	enum rc rc = store_begin(c->desk.store, c->err);
	if (rc != RC_OK)
		return rc;
	rc = change(c, arg);
	if (rc != RC_OK) {
		store_rollback(c->desk.store);
		return rc;
	}
	rc = store_commit(c->desk.store, c->err);
	return rc == RC_OK ? ctl_changed(c) : rc;
}

enum rc ctl_set_text(struct ctl *c, const char *key, const char *value, char *buf, size_t size)
{
	if (strlen(value) >= size)
		return err_set(c->err, RC_USAGE, "%s: %zu bytes: at most %zu", key, strlen(value),
			size - 1);
	(void)snprintf(buf, size, "%s", value);
	return RC_OK;
}

enum rc ctl_check_past(struct ctl *c, const char *what, int64_t t_s)
{
	return t_s <= c->now_s + CLOCK_SLACK_S
		       ? RC_OK
		       : err_set(c->err, RC_INPUT, "%s lies in the future: now or earlier", what);
}

enum rc ctl_check_here(struct ctl *c, const struct instrument *x, int64_t t_s)
{
	char day[24];
	bool early = t_s < x->since_s;
	if (!early && t_s <= x->until_s)
		return RC_OK;
	zone_print_day(engine_zone(c->desk.engine, NULL), early ? x->since_s : x->until_s, day,
		sizeof day);
	return err_set(c->err, RC_INPUT,
		"instrument \"%s\" is followed %s %s: --at lies outside its time", x->name,
		early ? "since" : "until", day);
}
