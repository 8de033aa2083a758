#include "daemon/address.h"

#include <ctype.h>
#include <string.h>
#include <strings.h>

/* RFC 5322 3.2.3 */
static bool is_atext(unsigned char c)
{
	return c < 0x80 && (isalnum(c) || (c && strchr("!#$%&'*+-/=?^_`{|}~", c)));
}

static bool is_label(unsigned char c)
{
	return c < 0x80 && (isalnum(c) || c == '-');
}

/* Characters of one kind, in parts of at least one between single dots. */
static bool is_dotted(const char *p, size_t n, bool (*good)(unsigned char c))
{
	for (size_t i = 0; i < n; i++) {
		bool edge = i == 0 || i == n - 1 || p[i + 1] == '.';
		if (p[i] == '.' ? edge : !good((unsigned char)p[i]))
			return false;
	}
	return n > 0;
}

bool address_good(const char *text)
{
	const char *at = strchr(text, '@');
	size_t local = at ? (size_t)(at - text) : 0, n = strlen(text);
	return at && local <= ADDRESS_LOCAL_MAX && n <= ADDRESS_MAX &&
	       is_dotted(text, local, is_atext) && is_dotted(at + 1, n - local - 1, is_label);
}

bool address_same(const char *a, const char *b)
{
	return strcasecmp(a, b) == 0;
}

const char *address_domain(const char *text)
{
	const char *at = strchr(text, '@');
	return at ? at + 1 : text;
}
