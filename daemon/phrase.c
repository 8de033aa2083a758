#include "daemon/phrase.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/number.h"
#include "daemon/phrase_icu.h"
#include "daemon/text.h"
#include "daemon/utf8.h"

enum { TOKEN_MAX = 48, SHOWN_MAX = 160 };

struct reader {
	enum bench_units units;
	const char *language;
	const struct zone *zone;
};

/* ---- a number with its unit ---- */

static int decimals_of(const char *digits)
{
	const char *point = strchr(digits, '.');
	size_t n = point ? strspn(point + 1, "0123456789") : 0;
	return n > PHRASE_DECIMALS_MAX ? PHRASE_DECIMALS_MAX : (int)n;
}

static void show_number(const struct reader *r, const char *digits, enum phrase_unit unit,
	const char *suffix, char *buf, size_t size)
{
	double value;
	if (r->language[0] && number_real(digits, &value) &&
		phrase_icu_number(
			r->language, unit, decimals_of(digits), digits[0] == '+', value, buf, size))
		return;
	(void)snprintf(buf, size, "%s%s", digits, suffix);
}

static const struct number_kind {
	const char *word;
	enum phrase_unit unit;
	const char *suffix;
} number_kinds[] = {
	{ "n", PHRASE_PLAIN, "" },
	{ "pct", PHRASE_PERCENT, " %" },
	{ "degc", PHRASE_CELSIUS, " degC" },
	{ "pa", PHRASE_PASCAL, " Pa" },
	{ "mm", PHRASE_MM, " mm" },
	{ "h", PHRASE_HOURS, " h" },
	{ "days", PHRASE_DAYS, " days" },
	{ "min", PHRASE_MINUTES, " min" },
};

static bool show_plain_number(
	const struct reader *r, const char *word, const char *argument, char *buf, size_t size)
{
	double value;
	for (size_t i = 0; i < sizeof number_kinds / sizeof number_kinds[0]; i++) {
		const struct number_kind *k = &number_kinds[i];
		if (strcmp(word, k->word) != 0 || !number_real(argument, &value))
			continue;
		show_number(r, argument, k->unit, k->suffix, buf, size);
		return true;
	}
	return false;
}

/* ---- lengths and turns ---- */

static const struct length_kind {
	const char *word;
	void (*print)(char *, size_t, double, enum bench_units);
} length_kinds[] = {
	{ "gap", units_print_gap },
	{ "height", units_print_height },
	{ "change", units_print_change },
	{ "rise", units_print_rise },
};

/* What units.h printed, its number put into the language: `0.010 in`, `5.5/64 in`, `1.2 thou`, `0.25 mm`. */
static void show_measure(const struct reader *r, const char *plain, char *buf, size_t size)
{
	char digits[TOKEN_MAX];
	size_t n = strspn(plain, "+-0123456789.");
	const char *suffix = plain + n;
	if (!r->language[0] || n >= sizeof digits) {
		(void)snprintf(buf, size, "%s", plain);
		return;
	}
	memcpy(digits, plain, n);
	digits[n] = '\0';
	if (strcmp(suffix, " mm") == 0)
		show_number(r, digits, PHRASE_MM, suffix, buf, size);
	else if (strcmp(suffix, " in") == 0)
		show_number(r, digits, PHRASE_INCH, suffix, buf, size);
	else {
		show_number(r, digits, PHRASE_PLAIN, "", buf, size);
		text_add(buf, size, "%s", suffix);
	}
}

static bool show_length(
	const struct reader *r, const char *word, const char *argument, char *buf, size_t size)
{
	char plain[64];
	double value;
	if (!number_real(argument, &value))
		return false;
	if (strcmp(word, "turns") == 0) {
		units_print_turns(buf, size, value);
		return true;
	}
	for (size_t i = 0; i < sizeof length_kinds / sizeof length_kinds[0]; i++) {
		if (strcmp(word, length_kinds[i].word) != 0)
			continue;
		length_kinds[i].print(plain, sizeof plain, value, r->units);
		show_measure(r, plain, buf, size);
		return true;
	}
	return false;
}

/* ---- days ---- */

static void show_date(const struct reader *r, bool with_minute, int64_t utc_s, char *buf, size_t n)
{
	if (r->language[0] && phrase_icu_date(r->language, with_minute,
				      utc_s + zone_offset_s(r->zone, utc_s), buf, n))
		return;
	if (with_minute)
		zone_print_minute(r->zone, utc_s, buf, n);
	else
		zone_print_day(r->zone, utc_s, buf, n);
}

void phrase_day(const char *language, const struct zone *zone, int64_t utc_s, char *buf, size_t n)
{
	const struct reader r = { .language = language, .zone = zone };
	show_date(&r, false, utc_s, buf, n);
}

void phrase_minute(
	const char *language, const struct zone *zone, int64_t utc_s, char *buf, size_t n)
{
	const struct reader r = { .language = language, .zone = zone };
	show_date(&r, true, utc_s, buf, n);
}

/* Years that calendars can have; beyond them the conversions overflow. */
static bool show_time(
	const struct reader *r, const char *word, const char *argument, char *buf, size_t size)
{
	int64_t utc_s;
	bool minute = strcmp(word, "minute") == 0;
	if ((!minute && strcmp(word, "day") != 0) || !number_int(argument, &utc_s) ||
		utc_s < civil_days(1, 1, 1) * DAY_S || utc_s > civil_days(9999, 1, 1) * DAY_S)
		return false;
	show_date(r, minute, utc_s, buf, size);
	return true;
}

/* ---- the sentence ---- */

/* token: what stands between the braces. */
static bool show_token(const struct reader *r, const char *token, size_t n, char *buf, size_t size)
{
	char copy[TOKEN_MAX];
	if (n >= sizeof copy)
		return false;
	memcpy(copy, token, n);
	copy[n] = '\0';
	char *argument = strchr(copy, ' ');
	if (!argument)
		return false;
	*argument++ = '\0';
	if (strcmp(argument, "nan") == 0 || strcmp(argument, "-nan") == 0) {
		(void)snprintf(buf, size, "unknown");
		return true;
	}
	return show_plain_number(r, copy, argument, buf, size) ||
	       show_length(r, copy, argument, buf, size) || show_time(r, copy, argument, buf, size);
}

/* The length of what stands at the brace at text, and what it is shown as. */
static size_t show_brace(const struct reader *r, const char *text, char *shown)
{
	size_t n = strcspn(text + 1, "{}");
	if (text[1] == '{') {
		(void)snprintf(shown, SHOWN_MAX, "{");
		return 2;
	}
	if (text[1 + n] == '}' && show_token(r, text + 1, n, shown, SHOWN_MAX))
		return n + 2;
	if (text[1 + n] == '\0' && n < TOKEN_MAX && text[1] >= 'a' && text[1] <= 'z') {
		shown[0] = '\0';
		return n + 1;
	}
	(void)snprintf(shown, SHOWN_MAX, "{");
	return 1;
}

void phrase_show(const char *text, enum bench_units units, const char *language,
	const struct zone *zone, char *buf, size_t size)
{
	const struct reader r = { units, language, zone };
	char shown[SHOWN_MAX];
	size_t used = 0;
	while (*text) {
		bool valid;
		size_t n = *text == '{' ? show_brace(&r, text, shown)
					: utf8_step(text, strnlen(text, 4), &valid);
		const char *from = *text == '{' ? shown : text;
		size_t more = *text == '{' ? strlen(shown) : n;
		if (used + more >= size)
			break;
		memcpy(buf + used, from, more);
		used += more;
		text += n;
	}
	buf[used] = '\0';
}

void phrase_quote(const char *text, char *buf, size_t size)
{
	size_t used = 0;
	for (; *text && used + 2 < size; text++) {
		if (*text == '{')
			buf[used++] = '{';
		buf[used++] = *text;
	}
	buf[used] = '\0';
}

bool phrase_language(const char *tag)
{
	return !tag[0] || phrase_icu_language(tag);
}

void phrase_done(void)
{
	phrase_icu_done();
}
