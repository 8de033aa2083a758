#include "units.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "number.h"

/* Longest run of digits and points taken for a number. */
enum { DIGITS_MAX = 24 };

static const char *skip_blanks(const char *p)
{
	return p + strspn(p, " \t");
}

/* Digits and a point, no sign, no exponent. Returns the end, NULL when there is no number. */
static const char *take_number(const char *p, double *out)
{
	char digits[DIGITS_MAX + 1];
	size_t n = strspn(p, "0123456789.");
	if (n == 0 || n > DIGITS_MAX)
		return NULL;
	memcpy(digits, p, n);
	digits[n] = '\0';
	return number_real(digits, out) ? p + n : NULL;
}

/* What stands before the unit. */
struct amount {
	double value;
	bool fraction;
};

/* `3/64` or `5.5/64`: the part after the slash must be a whole number. */
static const char *take_ratio(const char *p, struct amount *a)
{
	double over, under;
	p = take_number(p, &over);
	if (!p || *p != '/')
		return NULL;
	size_t n = strspn(p + 1, "0123456789");
	const char *end = take_number(p + 1, &under);
	if (!end || end != p + 1 + n || under <= 0)
		return NULL;
	a->value = over / under;
	a->fraction = true;
	return end;
}

/* `0.25`, `6/64`, `1 1/64`, each with an optional sign. Returns the end, NULL when it is none. */
static const char *take_amount(const char *p, struct amount *a)
{
	bool negative = *p == '-';
	p += *p == '-' || *p == '+';
	const char *end = take_ratio(p, a);
	if (!end) {
		end = take_number(p, &a->value);
		if (!end)
			return NULL;
		a->fraction = false;
		struct amount part;
		bool whole = strspn(p, "0123456789") == (size_t)(end - p);
		const char *more =
			whole && *end == ' ' ? take_ratio(skip_blanks(end), &part) : NULL;
		if (more) {
			a->value += part.value;
			a->fraction = true;
			end = more;
		}
	}
	if (negative)
		a->value = -a->value;
	return end;
}

static bool same_word(const char *p, const char *word)
{
	size_t n = strlen(word);
	return strncmp(p, word, n) == 0 && *skip_blanks(p + n) == '\0';
}

bool units_length(const char *text, double *m)
{
	static const struct {
		const char *word;
		double metre;
	} units[] = {
		{ "in", METRE_PER_INCH },
		{ "\"", METRE_PER_INCH },
		{ "inch", METRE_PER_INCH },
		{ "inches", METRE_PER_INCH },
		{ "thou", METRE_PER_THOU },
		{ "mm", 1e-3 },
		{ "cm", 1e-2 },
		{ "m", 1 },
		{ "um", 1e-6 },
	};
	struct amount a;
	const char *p = take_amount(skip_blanks(text), &a);
	if (!p)
		return false;
	p = skip_blanks(p);
	if (*p == '\0' && a.fraction) {
		*m = a.value * METRE_PER_INCH;
		return true;
	}
	for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
		if (same_word(p, units[i].word)) {
			*m = a.value * units[i].metre;
			return true;
		}
	}
	return false;
}

bool units_turns(const char *text, double *turns)
{
	struct amount a;
	const char *p = take_amount(skip_blanks(text), &a);
	if (!p)
		return false;
	p = skip_blanks(p);
	if (*p && !same_word(p, "turn") && !same_word(p, "turns"))
		return false;
	*turns = a.value;
	return true;
}

/* Rounds to steps of `step` and drops the sign of zero. */
static double to_step(double value, double step)
{
	return round(value / step) * step + 0.0;
}

void units_print_gap(char *buf, size_t n, double m, enum bench_units u)
{
	if (u == BENCH_INCH)
		(void)snprintf(buf, n, "%.3f in", to_step(m / METRE_PER_INCH, 0.001));
	else
		(void)snprintf(buf, n, "%.2f mm", to_step(m * 1e3, 0.01));
}

void units_print_change(char *buf, size_t n, double m, enum bench_units u)
{
	if (u == BENCH_MM)
		(void)snprintf(buf, n, "%.2f mm", m * 1e3);
	else
		(void)snprintf(buf, n, "%.1f thou", m / METRE_PER_THOU);
}

void units_print_rise(char *buf, size_t n, double m, enum bench_units u)
{
	if (u == BENCH_MM)
		(void)snprintf(buf, n, "%.2f mm", m * 1e3);
	else
		(void)snprintf(buf, n, "%.1f/64 in", m / METRE_PER_INCH * 64);
}

void units_print_height(char *buf, size_t n, double m, enum bench_units u)
{
	if (u == BENCH_INCH)
		(void)snprintf(buf, n, "%.10g/64 in", to_step(m / METRE_PER_INCH * 64, 0.5));
	else
		(void)snprintf(buf, n, "%.1f mm", to_step(m * 1e3, 0.1));
}

void units_print_turns(char *buf, size_t n, double turns)
{
	/* parts of a turn a hand can follow; the last one carries into the next whole turn */
	static const int parts[][2] = {
		{ 0, 1 },
		{ 1, 24 },
		{ 1, 16 },
		{ 1, 12 },
		{ 1, 8 },
		{ 1, 6 },
		{ 1, 4 },
		{ 1, 3 },
		{ 3, 8 },
		{ 1, 2 },
		{ 5, 8 },
		{ 2, 3 },
		{ 3, 4 },
		{ 5, 6 },
		{ 7, 8 },
		{ 1, 1 },
	};
	size_t last = sizeof parts / sizeof parts[0] - 1;
	double size = fabs(turns);
	if (!(size >= 1.0 / 48)) {
		(void)snprintf(buf, n, isnan(turns) ? "unknown" : "no turn");
		return;
	}
	double whole = floor(size);
	size_t best = 0;
	for (size_t i = 1; i <= last; i++) {
		double off = fabs(size - whole - (double)parts[i][0] / parts[i][1]);
		double least = fabs(size - whole - (double)parts[best][0] / parts[best][1]);
		best = off < least ? i : best;
	}
	if (best == last) {
		whole += 1;
		best = 0;
	}
	if (best == 0 && whole < 1)
		best = 1; /* 1/48 turn itself */
	const char *sign = turns < 0 ? "-" : "";
	if (best == 0)
		(void)snprintf(buf, n, "%s%.0f turn%s", sign, whole, whole > 1 ? "s" : "");
	else if (whole < 1)
		(void)snprintf(buf, n, "%s%d/%d turn", sign, parts[best][0], parts[best][1]);
	else
		(void)snprintf(
			buf, n, "%s%.0f %d/%d turns", sign, whole, parts[best][0], parts[best][1]);
}
