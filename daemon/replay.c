#include "daemon/replay.h"

#include <stdbool.h>
#include <string.h>

#include "core/civil.h"

/* Exactly n digits as a number; -1 when they are not. Moves *p past them. */
static int digits(const char **p, int n)
{
	int value = 0;
	for (int i = 0; i < n; i++, (*p)++) {
		if (**p < '0' || **p > '9')
			return -1;
		value = value * 10 + (**p - '0');
	}
	return value;
}

static bool skip(const char **p, char c)
{
	if (**p != c)
		return false;
	(*p)++;
	return true;
}

static bool time_of_day(const char **p, struct civil *c)
{
	c->hour = digits(p, 2);
	if (!skip(p, ':'))
		return false;
	c->minute = digits(p, 2);
	if (skip(p, ':'))
		c->second = digits(p, 2);
	(void)skip(p, 'Z');
	return true;
}

/* One end up to stop. *whole_day: no time of day was given. */
static bool moment(const char *text, const char *stop, int64_t *at_s, bool *whole_day)
{
	struct civil c = { 0 };
	const char *p = text;
	c.year = digits(&p, 4);
	if (!skip(&p, '-'))
		return false;
	c.month = digits(&p, 2);
	if (!skip(&p, '-'))
		return false;
	c.day = digits(&p, 2);
	*whole_day = !skip(&p, 'T');
	if (!*whole_day && !time_of_day(&p, &c))
		return false;
	if (p != stop || !civil_valid(&c))
		return false;
	*at_s = civil_seconds(&c);
	return true;
}

enum rc replay_span(const char *text, int64_t *from_s, int64_t *to_s, struct err *err)
{
	const char *dots = strstr(text, "..");
	int64_t from = 0, to = 0;
	bool whole = false;
	if (!dots || !moment(text, dots, &from, &whole) ||
		!moment(dots + 2, dots + strlen(dots), &to, &whole))
		return err_set(err, RC_USAGE,
			"--replay: \"%.60s\": FROM..TO is expected, as 2025-10-01..2026-04-30 or "
			"2025-10-01T06:00..2025-10-02",
			text);
	if (whole)
		to += DAY_S;
	if (from >= to)
		return err_set(err, RC_USAGE, "--replay: \"%.60s\": FROM is to be before TO", text);
	*from_s = from;
	*to_s = to;
	return RC_OK;
}
