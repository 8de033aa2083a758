#include "daemon/ctl_course.h"

#include "core/mem.h"
#include "daemon/state.h"

enum { DAYS = 14, SENSORS = 32, MONTHS = 12 };

/* The day as its checks at noon have it: gains are above zero, so least stays least. */
static void print_day(const struct store_sum *d, const struct salt_check *checks, size_t n)
{
	struct civil c = civil_at(d->at * DAY_S);
	struct salt_correction to = salt_at(checks, n, d->at * DAY_S + DAY_S / 2, 1);
	if (d->n == 0)
		return;
	(void)printf("    %04d-%02d-%02d  %5.1f %5.1f %5.1f %% RH", c.year, c.month, c.day,
		salt_apply(&to, d->rh_min / 100.0),
		salt_apply(&to, (double)d->rh_sum / (double)d->n / 100),
		salt_apply(&to, d->rh_max / 100.0));
	if (d->temp_n)
		(void)printf("  %5.1f degC", (double)d->temp_sum / (double)d->temp_n / 100);
	(void)puts("");
}

enum rc ctl_course_days(struct ctl *c, const struct place *p)
{
	int64_t ids[SENSORS];
	size_t n = engine_sensors_of(c->desk.engine, p->name, ids, SENSORS);
	int64_t today = zone_day(engine_zone(c->desk.engine, p->name), c->now_s);
	for (size_t i = 0; i < n; i++) {
		struct store_sum days[DAYS];
		struct salt_check *checks = NULL;
		size_t got = 0, n_checks = 0;
		enum rc rc = store_days(c->desk.store, ids[i], today - DAYS + 1, today + 1, days,
			DAYS, &got, c->err);
		if (rc == RC_OK)
			rc = store_checks(c->desk.store, ids[i], &checks, &n_checks, c->err);
		if (rc != RC_OK)
			return rc;
		if (got)
			(void)puts("    day         least  mean  most");
		for (size_t k = 0; k < got; k++)
			print_day(&days[k], checks, n_checks);
		mem_free(checks);
	}
	return RC_OK;
}

struct course {
	struct state_point *at;
	size_t n;
};

static int month_of(int64_t hour)
{
	struct civil c = civil_at(hour * HOUR_S);
	return c.year * 12 + c.month;
}

static double value_at(const struct course *x, int64_t hour)
{
	for (size_t i = x->n; i-- > 0;)
		if (x->at[i].hour == hour)
			return x->at[i].value;
	return 0;
}

static void print_month(struct ctl *c, const struct course *x, int64_t hour)
{
	char relief[32], action[32];
	struct civil at = civil_at(hour * HOUR_S);
	units_print_change(
		relief, sizeof relief, value_at(&x[STATE_RELIEF_M], hour), c->desk.set->units);
	units_print_rise(
		action, sizeof action, value_at(&x[STATE_ACTION_M], hour), c->desk.set->units);
	(void)printf("    %04d-%02d-%02d  moisture %4.1f %%, preload %3.0f %%, gap %.2f mm, relief "
		     "%s, action %s\n",
		at.year, at.month, at.day, value_at(&x[STATE_MC_PCT], hour),
		100 * value_at(&x[STATE_PRELOAD], hour), 1e3 * value_at(&x[STATE_GAP_M], hour),
		relief, action);
}

enum rc ctl_course_months(struct ctl *c, const struct followed *f)
{
	struct course x[STATE_QUANTITIES] = { 0 };
	enum rc rc = RC_OK;
	int64_t to = f->state.hour + 1, from = to - MONTHS * 31 * (DAY_S / HOUR_S);
	for (size_t q = 0; rc == RC_OK && q < STATE_QUANTITIES; q++)
		rc = state_condition(c->desk.store, f->record.id, (enum state_quantity)q, from, to,
			&x[q].at, &x[q].n, c->err);
	const struct course *first = &x[STATE_MC_PCT];
	if (rc == RC_OK && first->n)
		(void)puts("  course, at the end of each month (movement since the last finding)");
	for (size_t i = 0; rc == RC_OK && i < first->n; i++)
		if (i + 1 == first->n ||
			month_of(first->at[i].hour) != month_of(first->at[i + 1].hour))
			print_month(c, x, first->at[i].hour);
	for (size_t q = 0; q < STATE_QUANTITIES; q++)
		mem_free(x[q].at);
	return rc;
}
