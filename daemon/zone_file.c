#include "daemon/zone_file.h"

#include <string.h>

#include "core/civil.h"

enum { HEADER = 44, TIME_SIZE = 8, TYPE_SIZE = 6, RULE_SIZE = 128, HOURS_MAX = 167 };

/* Counts of the header, in its order. */
struct counts {
	size_t ut, std, leap, times, types, chars;
};

static uint32_t read32(const char *p)
{
	const unsigned char *u = (const unsigned char *)p;
	return (uint32_t)u[0] << 24 | (uint32_t)u[1] << 16 | (uint32_t)u[2] << 8 | u[3];
}

static int64_t read64(const char *p)
{
	return (int64_t)((uint64_t)read32(p) << 32 | read32(p + 4));
}

static bool read_header(const char *p, size_t n, struct counts *c)
{
	if (n < HEADER || memcmp(p, "TZif", 4) != 0 || p[4] < '2')
		return false;
	*c = (struct counts){ read32(p + 20), read32(p + 24), read32(p + 28), read32(p + 32),
		read32(p + 36), read32(p + 40) };
	return c->types > 0;
}

/* Octets of the data behind a header, times of time_size octets. */
static size_t data_size(const struct counts *c, size_t time_size)
{
	return c->times * (time_size + 1) + c->types * TYPE_SIZE + c->chars +
	       c->leap * (time_size + 4) + c->std + c->ut;
}

/* ---- the rule behind the list: TZ of POSIX, with hours of -167 to 167 (RFC 8536 3.3) ---- */

/* A day of the year on which the clock changes, and when. */
struct change {
	char form; /* M: weekday of the week'th week of month; J: day 1..365 without 29 February; 0: day 0..365 */
	int month, week, day;
	int32_t clock_s;
};

struct rule {
	int32_t offset_s, summer_s;
	bool summer; /* there is one */
	struct change start, end;
};

static bool take_number(const char **p, int high, int *out)
{
	const char *start = *p;
	int value = 0;
	for (; **p >= '0' && **p <= '9' && value <= high; ++*p)
		value = 10 * value + (**p - '0');
	*out = value;
	return *p > start && value <= high;
}

static bool take_name(const char **p)
{
	const char *start = *p;
	if (**p == '<') {
		while (**p && **p != '>')
			++*p;
		return *(*p)++ == '>';
	}
	while ((**p >= 'a' && **p <= 'z') || (**p >= 'A' && **p <= 'Z'))
		++*p;
	return *p > start;
}

/* [+-]hh[:mm[:ss]] */
static bool take_clock(const char **p, int32_t *out)
{
	int part[3] = { 0 };
	int sign = **p == '-' ? -1 : 1;
	*p += **p == '-' || **p == '+';
	if (!take_number(p, HOURS_MAX, &part[0]))
		return false;
	for (int i = 1; i < 3 && **p == ':'; i++) {
		++*p;
		if (!take_number(p, 59, &part[i]))
			return false;
	}
	*out = sign * (part[0] * 3600 + part[1] * 60 + part[2]);
	return true;
}

static bool take_mark(const char **p, char mark)
{
	bool there = **p == mark;
	*p += there;
	return there;
}

static bool take_change(const char **p, struct change *c)
{
	bool good;
	*c = (struct change){ .form = '0', .clock_s = 2 * 3600 };
	if (take_mark(p, 'M')) {
		c->form = 'M';
		good = take_number(p, 12, &c->month) && c->month > 0 && take_mark(p, '.') &&
		       take_number(p, 5, &c->week) && c->week > 0 && take_mark(p, '.') &&
		       take_number(p, 6, &c->day);
	} else {
		c->form = take_mark(p, 'J') ? 'J' : '0';
		good = take_number(p, 365, &c->day) && (c->form == '0' || c->day > 0);
	}
	return good && (!take_mark(p, '/') || take_clock(p, &c->clock_s));
}

static bool read_rule(const char *p, struct rule *r)
{
	*r = (struct rule){ 0 };
	if (!take_name(&p) || !take_clock(&p, &r->offset_s))
		return false;
	r->offset_s = -r->offset_s; /* POSIX counts to the west */
	if (!*p)
		return true;
	r->summer = true;
	r->summer_s = r->offset_s + 3600;
	if (!take_name(&p))
		return false;
	if (*p != ',') {
		if (!take_clock(&p, &r->summer_s))
			return false;
		r->summer_s = -r->summer_s;
	}
	return take_mark(&p, ',') && take_change(&p, &r->start) && take_mark(&p, ',') &&
	       take_change(&p, &r->end) && !*p;
}

static bool leap_year(int year)
{
	return civil_days(year + 1, 1, 1) - civil_days(year, 1, 1) == 366;
}

static int64_t change_s(const struct change *c, int year)
{
	int64_t day = civil_days(year, 1, 1);
	if (c->form == 'M') {
		int64_t first = civil_days(year, c->month, 1);
		int64_t next = c->month == 12 ? civil_days(year + 1, 1, 1)
					      : civil_days(year, c->month + 1, 1);
		int64_t weekday = (first + 4) - 7 * civil_floor(first + 4, 7); /* 0: Sunday */
		day = first + (c->day - weekday + 7) % 7 + 7 * (c->week - 1);
		while (day >= next)
			day -= 7;
	} else if (c->form == 'J') {
		day += c->day - 1 + (leap_year(year) && c->day > 59);
	} else {
		day += c->day;
	}
	return day * DAY_S + c->clock_s;
}

struct taker {
	zone_file_take *take;
	void *arg;
	int64_t after_s, last_s;
};

static bool tell(const struct taker *t, int64_t at_s, int32_t offset_s)
{
	return at_s <= t->after_s || at_s > t->last_s || t->take(t->arg, at_s, offset_s);
}

static bool tell_rule(const struct taker *t, const struct rule *r)
{
	if (!r->summer || t->after_s >= t->last_s)
		return true;
	int64_t from_s = t->after_s < 0 ? 0 : t->after_s;
	int last = civil_at(t->last_s).year;
	for (int year = civil_at(from_s).year - 1; year <= last; year++) {
		int64_t start_s = change_s(&r->start, year) - r->offset_s;
		int64_t end_s = change_s(&r->end, year) - r->summer_s;
		bool north = start_s < end_s;
		if (!tell(t, north ? start_s : end_s, north ? r->summer_s : r->offset_s) ||
			!tell(t, north ? end_s : start_s, north ? r->offset_s : r->summer_s))
			return false;
	}
	return true;
}

/* ---- the file ---- */

static bool tell_list(const struct counts *c, const char *data, struct taker *t)
{
	const char *indices = data + c->times * TIME_SIZE;
	const char *types = indices + c->times;
	if (!t->take(t->arg, INT64_MIN, (int32_t)read32(types)))
		return false;
	for (size_t i = 0; i < c->times; i++) {
		size_t type = (unsigned char)indices[i];
		int64_t at_s = read64(data + i * TIME_SIZE);
		if (type >= c->types || !tell(t, at_s, (int32_t)read32(types + type * TYPE_SIZE)))
			return false;
		t->after_s = at_s;
	}
	return true;
}

bool zone_file_read(const char *bytes, size_t n, int64_t last_s, zone_file_take *take, void *arg)
{
	struct counts old, c;
	if (!read_header(bytes, n, &old) || data_size(&old, 4) > n - HEADER)
		return false;
	size_t at = HEADER + data_size(&old, 4);
	if (!read_header(bytes + at, n - at, &c) || data_size(&c, TIME_SIZE) > n - at - HEADER)
		return false;
	const char *data = bytes + at + HEADER;
	at += HEADER + data_size(&c, TIME_SIZE);
	char text[RULE_SIZE];
	const char *end =
		n - at > 1 && bytes[at] == '\n' ? memchr(bytes + at + 1, '\n', n - at - 1) : NULL;
	if (!end || (size_t)(end - bytes) - at > sizeof text)
		return false;
	size_t length = (size_t)(end - bytes) - at - 1;
	memcpy(text, bytes + at + 1, length);
	text[length] = '\0';
	struct rule rule = { 0 };
	struct taker t = { take, arg, INT64_MIN, last_s };
	return (length == 0 || read_rule(text, &rule)) && tell_list(&c, data, &t) &&
	       tell_rule(&t, &rule);
}
