#include "daemon/cellnum.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>
#include <strings.h>

#include "core/number.h"

enum { WHOLE_DIGITS = 9, TEXT_MAX = 31 };

static bool digit(char c)
{
	return c >= '0' && c <= '9';
}

static bool is_missing(const char *p, size_t n)
{
	static const char *const marks[] = { "nan", "null", "n/a", "na", "#n/a", "none", "nil",
		"err", "error", "fault", "unavailable", "unknown", "missing", "ofl", "ol", "inf",
		"?", "." };
	if (n <= strspn(p, "-*") && n < TEXT_MAX)
		return true;
	for (size_t i = 0; i < sizeof marks / sizeof marks[0]; i++) {
		if (strncasecmp(p, marks[i], n) == 0 && marks[i][n] == '\0')
			return true;
	}
	return false;
}

/* The unit behind a number; false for other text. `\xB0` alone is a Latin-1 degree sign. */
static bool read_unit(const char *p, enum cellnum_unit *out)
{
	static const struct {
		const char *word;
		enum cellnum_unit unit;
	} words[] = {
		{ "", CELLNUM_PLAIN },
		{ "%", CELLNUM_PERCENT },
		{ "%rh", CELLNUM_PERCENT },
		{ "% rh", CELLNUM_PERCENT },
		{ "%rf", CELLNUM_PERCENT },
		{ "c", CELLNUM_CELSIUS },
		{ "degc", CELLNUM_CELSIUS },
		{ "deg c", CELLNUM_CELSIUS },
		{ "f", CELLNUM_FAHRENHEIT },
		{ "degf", CELLNUM_FAHRENHEIT },
		{ "deg f", CELLNUM_FAHRENHEIT },
	};
	if (strncmp(p, "\xC2\xB0", 2) == 0 || *p == '\xB0') {
		p += *p == '\xB0' ? 1 : 2;
		p += strspn(p, " ");
		if (!*p)
			return false;
	}
	for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
		if (strcasecmp(p, words[i].word) == 0) {
			*out = words[i].unit;
			return true;
		}
	}
	return false;
}

/* The long way: exponents, units, marks. */
static struct cellnum read_slowly(const char *p, size_t n, char decimal)
{
	struct cellnum out = { .kind = CELLNUM_BAD };
	char text[TEXT_MAX + 1];
	if (n > TEXT_MAX)
		return out;
	memcpy(text, p, n);
	text[n] = '\0';
	if (is_missing(text, n)) {
		out.kind = CELLNUM_MISSING;
		return out;
	}
	size_t len = strspn(text, "+-0123456789.,");
	size_t power = strspn(text + len, "eE");
	if (power == 1 && strspn(text + len + 1, "+-0123456789") > 0)
		len += 1 + strspn(text + len + 1, "+-0123456789");
	if (!read_unit(text + len + strspn(text + len, " "), &out.unit))
		return out;
	text[len] = '\0';
	char *sign = strpbrk(text, ".,");
	if (sign && decimal && *sign != decimal)
		return out;
	if (sign) {
		out.decimal = *sign;
		*sign = '.';
	}
	double value;
	if (number_real(text, &value) && fabs(value) < 1e9) {
		out.kind = CELLNUM_OK;
		out.micro = llround(value * (double)CELLNUM_ONE);
	}
	return out;
}

struct cellnum cellnum_read(const char *p, size_t n, char decimal)
{
	struct cellnum out = { .kind = CELLNUM_OK };
	size_t i = n > 0 && (*p == '-' || *p == '+');
	int64_t micro = 0;
	size_t first = i;
	for (; i < n && digit(p[i]) && i - first < WHOLE_DIGITS; i++)
		micro = micro * 10 + (p[i] - '0');
	size_t digits = i - first;
	int64_t unit = CELLNUM_ONE;
	micro *= unit;
	if (i < n && (p[i] == '.' || p[i] == ',') && (!decimal || p[i] == decimal)) {
		out.decimal = p[i++];
		first = i;
		for (; i < n && digit(p[i]); i++) {
			unit /= 10;
			micro += unit * (p[i] - '0');
		}
		digits += i - first;
	}
	if (i < n || digits == 0)
		return read_slowly(p, n, decimal);
	out.micro = n > 0 && *p == '-' ? -micro : micro;
	return out;
}

int64_t cellnum_round(int64_t micro, int64_t divisor)
{
	int64_t half = divisor / 2;
	return micro >= 0 ? (micro + half) / divisor : -((-micro + half) / divisor);
}
