#include <math.h>
#include <string.h>

#include "core/mem.h"
#include "core/number.h"
#include "daemon/ctl_change.h"
#include "daemon/field.h"
#include "daemon/state.h"
#include "daemon/when.h"

enum { LENGTH_LEAST_S = 300, LENGTH_MOST_S = 86400, LENGTH_USUAL_S = 3600 };

static const char usage[] = "visit NUMBER TIME [--length LENGTH] | NUMBER --drop";

struct appointment {
	int64_t visit;
	int64_t at_s, length_s; /* TIME_NEVER: none any more */
};

static enum rc find_visit(struct ctl *c, int64_t id, struct visit *v)
{
	struct visit *list = NULL;
	size_t n = 0;
	enum rc rc = state_visits(c->desk.store, TIME_NEVER, &list, &n, c->err);
	size_t i = 0;
	while (i < n && list[i].id != id)
		i++;
	if (rc == RC_OK && i == n)
		rc = err_set(c->err, RC_UNKNOWN, "visit %lld: not open: see `seasonctl agenda`",
			(long long)id);
	if (rc == RC_OK)
		*v = list[i];
	mem_free(list);
	return rc;
}

static enum rc put(struct ctl *c, void *arg)
{
	const struct appointment *a = arg;
	struct visit v;
	enum rc rc = find_visit(c, a->visit, &v);
	if (rc != RC_OK)
		return rc;
	if (a->at_s == TIME_NEVER && v.at_s == TIME_NEVER)
		return err_set(c->err, RC_INPUT, "visit %lld: has no appointment to drop",
			(long long)a->visit);
	if (v.at_s == a->at_s && v.length_s == a->length_s)
		return RC_OK; /* what was answered to it still stands */
	v.at_s = a->at_s;
	v.length_s = a->length_s;
	v.answer = ANSWER_NONE;
	v.answered_s = TIME_NEVER;
	return state_visit_put(c->desk.store, &v, c->err);
}

static enum rc read_number(struct ctl *c, int64_t *id)
{
	const char *text = c->argv[0];
	return number_int(text[0] == '#' ? text + 1 : text, id)
		       ? RC_OK
		       : err_set(c->err, RC_USAGE,
				 "visit \"%.40s\": give its number as `seasonctl agenda` shows it",
				 text);
}

/* A day alone would be noon: nobody said so. */
static enum rc read_time(struct ctl *c, int64_t *at_s)
{
	const char *text = c->argv[1];
	struct when w;
	if (when_text(text, strlen(text), ORDER_GUESS, &w) && !w.has_clock)
		return err_set(
			c->err, RC_USAGE, "\"%.40s\": at what time? \"%.40s 10:00\"", text, text);
	enum rc rc = when_parse(text, engine_zone(c->desk.engine, NULL), c->now_s, at_s, c->err);
	if (rc == RC_OK && *at_s <= c->now_s)
		rc = err_set(
			c->err, RC_INPUT, "\"%.40s\" has passed: an appointment lies ahead", text);
	return rc;
}

static enum rc read_length(struct ctl *c, const char *text, int64_t *length_s)
{
	double s = LENGTH_USUAL_S;
	if (text && !field_span_read(text, &s))
		return err_set(c->err, RC_USAGE,
			"--length \"%.40s\": such as \"1 h\" or \"45 min\"", text);
	if (!(s >= LENGTH_LEAST_S && s <= LENGTH_MOST_S) || fmod(s, 60) != 0)
		return err_set(
			c->err, RC_USAGE, "--length \"%.40s\": whole minutes, 5 min to 24 h", text);
	*length_s = (int64_t)s;
	return RC_OK;
}

enum rc ctl_visit(struct ctl *c)
{
	struct appointment a = { .at_s = TIME_NEVER };
	bool drop = ctl_flag(c, "drop");
	const char *length = drop ? NULL : ctl_option(c, "length");
	int words = drop ? 1 : 2;
	enum rc rc = ctl_arguments(c, usage, words, words);
	if (rc == RC_OK)
		rc = read_number(c, &a.visit);
	if (rc == RC_OK && !drop)
		rc = read_time(c, &a.at_s);
	if (rc == RC_OK && !drop)
		rc = read_length(c, length, &a.length_s);
	return rc == RC_OK ? ctl_transaction(c, put, &a) : rc;
}
