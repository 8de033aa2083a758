#include "daemon/encoding.h"

#include <string.h>

enum { REPLACEMENT = 0xFFFD };

size_t encoding_utf8_length(const unsigned char *p, size_t n)
{
	size_t len = p[0] < 0x80                   ? 1
		     : p[0] >= 0xC2 && p[0] < 0xE0 ? 2
		     : p[0] >= 0xE0 && p[0] < 0xF0 ? 3
		     : p[0] >= 0xF0 && p[0] < 0xF5 ? 4
						   : 0;
	for (size_t i = 1; i < len && i < n; i++) {
		if ((p[i] & 0xC0) != 0x80)
			return 0;
	}
	return len;
}

static bool is_utf8(const unsigned char *p, size_t n, bool whole)
{
	for (size_t i = 0; i < n;) {
		size_t len = encoding_utf8_length(p + i, n - i);
		if (len == 0 || (len > n - i && whole))
			return false;
		i += len;
	}
	return true;
}

static bool is_control(unsigned char c)
{
	return c < 0x20 && c != '\t' && c != '\n' && c != '\r' && c != '\f';
}

/* UTF-16 of mostly Latin text has a NUL in most characters, always on the same side. */
static enum encoding without_mark(const unsigned char *p, size_t n, bool whole)
{
	size_t nul[2] = { 0, 0 };
	size_t control = 0;
	for (size_t i = 0; i < n; i++) {
		nul[i % 2] += p[i] == 0;
		control += is_control(p[i]);
	}
	size_t units = n / 2;
	if (nul[1] > units * 7 / 10 && nul[0] == 0)
		return ENCODED_UTF16LE;
	if (nul[0] > units * 7 / 10 && nul[1] == 0)
		return ENCODED_UTF16BE;
	if (nul[0] + nul[1] > 0 || control > n / 10)
		return ENCODED_BINARY;
	return is_utf8(p, n, whole) ? ENCODED_UTF8 : ENCODED_LATIN1;
}

enum encoding encoding_of(const unsigned char *p, size_t n, bool whole, size_t *mark)
{
	*mark = 0;
	if (n >= 3 && memcmp(p, "\xEF\xBB\xBF", 3) == 0) {
		*mark = 3;
		return without_mark(p + 3, n - 3, whole) == ENCODED_BINARY ? ENCODED_BINARY
									   : ENCODED_UTF8;
	}
	if (n >= 2 && memcmp(p, "\xFF\xFE", 2) == 0) {
		*mark = 2;
		return ENCODED_UTF16LE;
	}
	if (n >= 2 && memcmp(p, "\xFE\xFF", 2) == 0) {
		*mark = 2;
		return ENCODED_UTF16BE;
	}
	return without_mark(p, n, whole);
}

size_t encoding_put(unsigned long code, char *out)
{
	if (code < 0x80) {
		out[0] = (char)code;
		return 1;
	}
	size_t more = code < 0x800 ? 1 : code < 0x10000 ? 2 : 3;
	static const unsigned char lead[] = { 0, 0xC0, 0xE0, 0xF0 };
	out[0] = (char)(lead[more] | code >> (6 * more));
	for (size_t i = 1; i <= more; i++)
		out[i] = (char)(0x80 | (code >> (6 * (more - i)) & 0x3F));
	return more + 1;
}

static unsigned long unit_at(const unsigned char *in, bool big)
{
	return big ? (unsigned long)in[0] << 8 | in[1] : (unsigned long)in[1] << 8 | in[0];
}

size_t encoding_from_utf16(
	const unsigned char *in, size_t n, bool big, bool last, size_t *used, char *out)
{
	size_t i = 0, w = 0;
	while (i + 2 <= n) {
		unsigned long code = unit_at(in + i, big);
		size_t take = 2;
		if (code >= 0xD800 && code < 0xDC00) {
			if (i + 4 > n && !last)
				break;
			unsigned long low = i + 4 <= n ? unit_at(in + i + 2, big) : 0;
			bool pair = low >= 0xDC00 && low < 0xE000;
			code = pair ? 0x10000 + ((code - 0xD800) << 10) + (low - 0xDC00)
				    : REPLACEMENT;
			take = pair ? 4 : 2;
		} else if (code >= 0xDC00 && code < 0xE000) {
			code = REPLACEMENT;
		}
		w += encoding_put(code, out + w);
		i += take;
	}
	*used = last ? n : i;
	return w;
}
