#include "daemon/utf8.h"

#include <stdint.h>
#include <string.h>

/* Unicode 15 table 3-7: what may follow each lead byte past ASCII. */
static const struct {
	unsigned char from, to; /* lead byte */
	unsigned char low, high; /* range of the second byte */
	unsigned char length;
} leads[] = {
	{ 0xc2, 0xdf, 0x80, 0xbf, 2 },
	{ 0xe0, 0xe0, 0xa0, 0xbf, 3 },
	{ 0xe1, 0xec, 0x80, 0xbf, 3 },
	{ 0xed, 0xed, 0x80, 0x9f, 3 },
	{ 0xee, 0xef, 0x80, 0xbf, 3 },
	{ 0xf0, 0xf0, 0x90, 0xbf, 4 },
	{ 0xf1, 0xf3, 0x80, 0xbf, 4 },
	{ 0xf4, 0xf4, 0x80, 0x8f, 4 },
};

size_t utf8_step(const char *p, size_t n, bool *valid)
{
	const unsigned char *u = (const unsigned char *)p;
	*valid = u[0] < 0x80;
	if (*valid)
		return 1;
	size_t row = 0;
	while (row < sizeof leads / sizeof leads[0] &&
		(u[0] < leads[row].from || u[0] > leads[row].to))
		row++;
	if (row == sizeof leads / sizeof leads[0])
		return 1;
	size_t length = leads[row].length;
	for (size_t i = 1; i < length; i++) {
		unsigned char low = i == 1 ? leads[row].low : 0x80;
		unsigned char high = i == 1 ? leads[row].high : 0xbf;
		if (i == n || u[i] < low || u[i] > high)
			return i;
	}
	*valid = true;
	return length;
}

/* What one step of the input becomes: the character itself, a replacement, or nothing. */
static size_t cleaned(const char *p, size_t length, bool valid, const char **out)
{
	const unsigned char *u = (const unsigned char *)p;
	*out = p;
	if (!valid) {
		*out = "\xef\xbf\xbd";
		return 3;
	}
	if (u[0] == '\r') {
		*out = "\n";
		return p[1] != '\n';
	}
	bool c0 = u[0] < 0x20 && u[0] != '\t' && u[0] != '\n';
	bool c1 = u[0] == 0xc2 && u[1] < 0xa0;
	return c0 || c1 || u[0] == 0x7f ? 0 : length;
}

static bool blank(char c)
{
	return c == ' ' || c == '\t' || c == '\n';
}

static bool plain(char c)
{
	return c >= ' ' && c < 0x7f;
}

/* Eight octets at once: with its high bit flipped on a borrow, an octet below a bound shows. */
static bool all_plain(const char *p)
{
	static const uint64_t ones = UINT64_C(0x0101010101010101);
	static const uint64_t highs = UINT64_C(0x8080808080808080);
	uint64_t w;
	memcpy(&w, p, sizeof w);
	uint64_t below = w - ones * ' '; /* high bit where an octet is below a blank */
	uint64_t deletes = (w ^ (ones * 0x7f)) - ones; /* ... is DEL */
	return ((w | below | deletes) & highs) == 0;
}

size_t utf8_plain(const char *p, size_t n)
{
	size_t i = 0;
	while (n - i >= sizeof(uint64_t) && all_plain(p + i))
		i += sizeof(uint64_t);
	while (i < n && plain(p[i]))
		i++;
	return i;
}

const char *utf8_clean(const char *text, char *buf, size_t size)
{
	size_t len = 0;
	size_t left = text ? strlen(text) : 0;
	for (const char *p = text; left > 0;) {
		if (plain(*p) && len > 0 && len + 1 < size) { /* most of all text */
			size_t room = size - len - 1;
			size_t run = utf8_plain(p, left < room ? left : room);
			memcpy(buf + len, p, run);
			len += run;
			p += run;
			left -= run;
			continue;
		}
		bool valid;
		const char *out;
		size_t step = utf8_step(p, left, &valid);
		size_t n = cleaned(p, step, valid, &out);
		p += step;
		left -= step;
		if (n == 0 || (len == 0 && blank(*out)))
			continue;
		if (len + n >= size)
			break;
		memcpy(buf + len, out, n);
		len += n;
	}
	while (len > 0 && blank(buf[len - 1]))
		len--;
	buf[len] = '\0';
	return buf;
}
