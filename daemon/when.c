/* Method: one cursor goes over the text; each take_ function moves it over what it understands or
 * leaves it where it was. The most common form, 2024-03-12 15:05:30, has a short way of its own. */
#include "daemon/when.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>
#include <time.h>

enum { TEXT_MAX = 63 };

struct cursor {
	const char *p, *end;
};

static bool digit(char c)
{
	return c >= '0' && c <= '9';
}

static bool letter(char c)
{
	return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

static bool take_char(struct cursor *c, char want)
{
	if (c->p == c->end || *c->p != want)
		return false;
	c->p++;
	return true;
}

static void take_blanks(struct cursor *c)
{
	while (take_char(c, ' '))
		continue;
}

/* Up to max digits; returns how many there were. */
static int take_digits(struct cursor *c, int max, int *value)
{
	int n = 0;
	for (*value = 0; n < max && c->p < c->end && digit(*c->p); n++)
		*value = *value * 10 + (*c->p++ - '0');
	return n;
}

/* A word that is, or of at least three letters begins, one of the names; its index, -1 when
 * none. */
static int take_name(struct cursor *c, const char *const *names, int n_names)
{
	size_t n = 0;
	while (c->p + n < c->end && letter(c->p[n]))
		n++;
	for (int i = 0; n >= 3 && i < n_names; i++) {
		if (n <= strlen(names[i]) && strncasecmp(c->p, names[i], n) == 0) {
			c->p += n;
			(void)take_char(c, '.');
			return i;
		}
	}
	return -1;
}

static int take_month(struct cursor *c)
{
	static const char *const names[] = { "january", "february", "march", "april", "may", "june",
		"july", "august", "september", "october", "november", "december" };
	return take_name(c, names, 12) + 1;
}

static void take_weekday(struct cursor *c)
{
	static const char *const names[] = { "monday", "tuesday", "wednesday", "thursday", "friday",
		"saturday", "sunday" };
	if (take_name(c, names, 7) >= 0) {
		(void)take_char(c, ',');
		take_blanks(c);
	}
}

static bool set_date(struct when *out, int y, int digits, int m, int d)
{
	if (digits == 2)
		y += y < 70 ? 2000 : 1900;
	else if (digits != 4)
		return false;
	struct civil date = { .year = y, .month = m, .day = d };
	if (!civil_valid(&date))
		return false;
	out->day = civil_days(y, m, d);
	out->has_date = true;
	return true;
}

static bool separator(char c)
{
	return c == '-' || c == '/' || c == '.' || c == ' ' || c == ',';
}

static void take_separators(struct cursor *c)
{
	while (c->p < c->end && separator(*c->p))
		c->p++;
}

/* `Mar 12, 2024` */
static bool take_month_first(struct cursor *c, struct when *out)
{
	int day, year, month = take_month(c);
	if (month == 0)
		return false;
	take_separators(c);
	if (take_digits(c, 2, &day) == 0)
		return false;
	take_separators(c);
	int n = take_digits(c, 4, &year);
	return set_date(out, year, n, month, day);
}

/* What follows the first number of `12-Mar-2024` or `2024-Mar-12`. */
static bool take_month_middle(struct cursor *c, int first, int n_first, struct when *out)
{
	int last, month = take_month(c);
	if (month == 0)
		return false;
	take_separators(c);
	int n_last = take_digits(c, 4, &last);
	if (n_first == 4)
		return n_last > 0 && set_date(out, first, 4, month, last);
	return set_date(out, last, n_last, month, first);
}

static bool ordered(const int v[3], const int n[3], enum layout_order order, struct when *out)
{
	if (n[0] == 4)
		return n[1] <= 2 && n[2] <= 2 && set_date(out, v[0], 4, v[1], v[2]);
	if (n[0] > 2 || n[1] > 2)
		return false;
	switch (order) {
	case ORDER_YMD:
		return n[2] <= 2 && set_date(out, v[0], n[0], v[1], v[2]);
	case ORDER_DMY:
		return set_date(out, v[2], n[2], v[1], v[0]);
	case ORDER_MDY:
		return set_date(out, v[2], n[2], v[0], v[1]);
	case ORDER_GUESS:
		return false;
	}
	return false;
}

static bool take_date(struct cursor *c, enum layout_order order, struct when *out)
{
	int v[3], n[3];
	if (c->p < c->end && letter(*c->p))
		return take_month_first(c, out);
	n[0] = take_digits(c, 8, &v[0]);
	if (n[0] == 8)
		return set_date(out, v[0] / 10000, 4, v[0] / 100 % 100, v[0] % 100);
	if (n[0] == 0 || c->p == c->end)
		return false;
	char sep = *c->p;
	if (!separator(sep) && !letter(sep))
		return false;
	take_separators(c);
	if (c->p < c->end && letter(*c->p))
		return take_month_middle(c, v[0], n[0], out);
	n[1] = take_digits(c, 4, &v[1]);
	if (sep == ' ' || sep == ',' || n[1] == 0 || !take_char(c, sep))
		return false;
	if (sep == '.')
		take_blanks(c);
	n[2] = take_digits(c, 4, &v[2]);
	return n[2] > 0 && ordered(v, n, order, out);
}

/* AM or PM after a clock; false when the hour does not go with it. */
static bool take_half(struct cursor *c, int *hour)
{
	struct cursor at = *c;
	take_blanks(&at);
	if (at.end - at.p < 2)
		return true;
	bool pm = *at.p == 'p' || *at.p == 'P';
	if (!pm && *at.p != 'a' && *at.p != 'A')
		return true;
	at.p++;
	(void)take_char(&at, '.');
	if (!take_char(&at, 'm') && !take_char(&at, 'M'))
		return true;
	(void)take_char(&at, '.');
	if (*hour < 1 || *hour > 12)
		return false;
	*hour = *hour % 12 + (pm ? 12 : 0);
	*c = at;
	return true;
}

/* `15:05`, `15:05:30.25`, `3:05 PM`; with dots (`15.05`) or without signs (`150530`) only behind a
 * date. */
static bool take_clock(struct cursor *c, struct when *out)
{
	int h, m, s = 0, part;
	int n = take_digits(c, 2, &h);
	char sep = c->p < c->end ? *c->p : '\0';
	bool tight = n == 2 && digit(sep) && out->has_date;
	if (n == 0 || (sep != ':' && !tight && !(sep == '.' && out->has_date)))
		return false;
	c->p += !tight;
	if (take_digits(c, 2, &m) != 2)
		return false;
	if (tight ? c->p < c->end && digit(*c->p) : take_char(c, sep)) {
		if (take_digits(c, 2, &s) == 0)
			return false;
		if (take_char(c, '.') || take_char(c, ','))
			(void)take_digits(c, 9, &part);
	}
	if (!take_half(c, &h) || h > 23 || m > 59 || s > 59)
		return false;
	out->clock_s = h * 3600 + m * 60 + s;
	out->has_clock = true;
	return true;
}

/* `+2`, `+02`, `+0200`, `+02:00`; an offset over 14 h is none. */
static bool take_signed(struct cursor *c, int32_t *offset_s)
{
	struct cursor at = *c;
	bool minus = at.p < at.end && *at.p == '-';
	int h, m = 0;
	if (!minus && !(at.p < at.end && *at.p == '+'))
		return false;
	at.p++;
	int n = take_digits(&at, 4, &h);
	if (n == 4) {
		m = h % 100;
		h /= 100;
	} else if ((n == 1 || n == 2) && take_char(&at, ':')) {
		if (take_digits(&at, 2, &m) != 2)
			return false;
	}
	if (n == 0 || n == 3 || m > 59 || h * 60 + m > 14 * 60)
		return false;
	*offset_s = (h * 3600 + m * 60) * (minus ? -1 : 1);
	*c = at;
	return true;
}

static bool take_word(struct cursor *c, const char *word)
{
	size_t n = strlen(word);
	if ((size_t)(c->end - c->p) < n || strncasecmp(c->p, word, n) != 0)
		return false;
	c->p += n;
	return true;
}

static void take_offset(struct cursor *c, struct when *out)
{
	take_blanks(c);
	if (take_word(c, "z")) {
		out->has_offset = true;
		return;
	}
	out->has_offset = take_word(c, "utc") || take_word(c, "gmt");
	if (take_signed(c, &out->offset_s))
		out->has_offset = true;
}

/* Two digits at p; negative, also in sums with others, when they are none. */
static int two(const char *p)
{
	return digit(p[0]) && digit(p[1]) ? (p[0] - '0') * 10 + (p[1] - '0') : -100000;
}

/* 2024-03-12 15:05[:30], also with T. */
static bool read_shortly(const char *p, size_t n, struct when *out)
{
	bool form = (n == 19 || n == 16) && p[4] == '-' && p[7] == '-' && p[13] == ':' &&
		    (p[10] == ' ' || p[10] == 'T') && (n == 16 || p[16] == ':');
	if (!form)
		return false;
	struct civil c = { two(p) * 100 + two(p + 2), two(p + 5), two(p + 8), two(p + 11),
		two(p + 14), n == 19 ? two(p + 17) : 0 };
	if (!civil_valid(&c))
		return false;
	*out = (struct when){ .has_date = true, .has_clock = true };
	out->day = civil_days(c.year, c.month, c.day);
	out->clock_s = c.hour * 3600 + c.minute * 60 + c.second;
	return true;
}

bool when_text(const char *p, size_t n, enum layout_order order, struct when *out)
{
	if (read_shortly(p, n, out))
		return true;
	struct when w = { 0 };
	struct cursor c = { p, p + n };
	take_blanks(&c);
	take_weekday(&c);
	struct cursor start = c;
	if (!take_date(&c, order, &w)) {
		c = start;
		if (w.has_date || !take_clock(&c, &w))
			return false;
	} else if (c.p < c.end && *c.p != 'Z') {
		bool parted =
			*c.p == ' ' || *c.p == ',' || *c.p == 'T' || *c.p == 't' || *c.p == '_';
		if (!parted)
			return false;
		(void)(take_char(&c, ',') || take_char(&c, 'T') || take_char(&c, 't') ||
			take_char(&c, '_'));
		take_blanks(&c);
		if (c.p < c.end && !take_clock(&c, &w))
			return false;
	}
	take_offset(&c, &w);
	take_blanks(&c);
	if (c.p != c.end)
		return false;
	*out = w;
	return true;
}

unsigned when_orders(const char *p, size_t n)
{
	unsigned found = 0;
	for (int order = ORDER_YMD; order <= ORDER_MDY; order++) {
		struct when w;
		if (when_text(p, n, (enum layout_order)order, &w) && w.has_date)
			found |= 1U << order;
	}
	return found;
}

int64_t when_wall_s(const struct when *w)
{
	return w->day * DAY_S + w->clock_s;
}

bool when_pattern(const char *p, size_t n, const char *pattern, struct when *out)
{
	char text[TEXT_MAX + 1];
	if (n > TEXT_MAX)
		return false;
	memcpy(text, p, n);
	text[n] = '\0';
	struct tm tm = { .tm_mday = 1, .tm_mon = 0, .tm_year = 70 };
	const char *end = strptime(text, pattern, &tm);
	struct civil c = { tm.tm_year + 1900, tm.tm_mon + 1, tm.tm_mday, tm.tm_hour, tm.tm_min,
		tm.tm_sec };
	if (!end || *end || !civil_valid(&c))
		return false;
	*out = (struct when){ .has_date = true, .has_clock = true };
	out->day = civil_days(c.year, c.month, c.day);
	out->clock_s = c.hour * 3600 + c.minute * 60 + c.second;
	out->has_offset = strstr(pattern, "%z") != NULL;
	out->offset_s = (int32_t)tm.tm_gmtoff;
	return true;
}

bool when_named_offset(const char *text, int32_t *offset_s)
{
	for (const char *p = text; *p; p++) {
		if (strncasecmp(p, "utc", 3) != 0 && strncasecmp(p, "gmt", 3) != 0)
			continue;
		if ((p > text && letter(p[-1])) || letter(p[3]))
			continue;
		struct cursor c = { p + 3, p + strlen(p) };
		while (c.p < c.end && strchr(" (:_", *c.p))
			c.p++;
		if (!take_signed(&c, offset_s))
			*offset_s = 0;
		return true;
	}
	return false;
}

static void print_utc(int64_t utc_s, char *buf, size_t n)
{
	struct civil c = civil_at(utc_s);
	(void)snprintf(buf, n, "%02d:%02dZ", c.hour, c.minute);
}

enum rc when_parse(
	const char *text, const struct zone *z, int64_t now_s, int64_t *out, struct err *err)
{
	struct when w;
	if (strcmp(text, "now") == 0) {
		*out = now_s;
		return RC_OK;
	}
	if (!when_text(text, strlen(text), ORDER_GUESS, &w) || !w.has_date)
		return err_set(err, RC_USAGE,
			"time: \"%.40s\": not understood (now, 2011-10-01, 2011-10-01 14:30, "
			"2011-10-01T14:30+02:00)",
			text);
	if (!w.has_clock)
		w.clock_s = 12 * 3600;
	if (w.has_offset) {
		*out = when_wall_s(&w) - w.offset_s;
		return RC_OK;
	}
	struct zone_instants in = zone_from_wall(z, when_wall_s(&w));
	char utc[2][24];
	print_utc(in.first_s, utc[0], sizeof utc[0]);
	print_utc(in.second_s, utc[1], sizeof utc[1]);
	if (in.fit == ZONE_TWICE)
		return err_set(err, RC_ASK,
			"time: \"%.40s\": the clock of %s showed it twice: write it in UTC, %s or "
			"%s",
			text, zone_name_ref(z), utc[0], utc[1]);
	if (in.fit == ZONE_GAP)
		return err_set(err, RC_USAGE, "time: \"%.40s\": the clock of %s never showed it",
			text, zone_name_ref(z));
	*out = in.first_s;
	return RC_OK;
}

bool when_weekly(const char *text, int *weekday, int32_t *clock_s)
{
	static const char days[][4] = { "mon", "tue", "wed", "thu", "fri", "sat", "sun" };
	struct when w;
	int day = 0;
	while (day < 7 && strncasecmp(text, days[day], 3) != 0)
		day++;
	if (day == 7 || text[3] != ' ')
		return false;
	text += 4 + strspn(text + 4, " ");
	if (!when_text(text, strlen(text), ORDER_GUESS, &w) || w.has_date || !w.has_clock ||
		w.has_offset)
		return false;
	*weekday = day;
	*clock_s = w.clock_s;
	return true;
}
