/* Addresses of resources on a CalDAV server (RFC 4918 section 8.3, RFC 3986). */
#include "daemon/dav_int.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

/* ---- comparing ---- */

const char *dav_path_of(const char *url)
{
	const char *host = strstr(url, "://");
	if (!host || strcspn(url, "/?#") < (size_t)(host - url))
		return url[0] ? url : "/";
	const char *path = host + 3 + strcspn(host + 3, "/?#");
	return *path == '/' ? path : "/";
}

static int hex(char c)
{
	if (c >= '0' && c <= '9')
		return c - '0';
	c |= ' ';
	return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

/* The next byte, decoded; an encoded slash parts nothing and so differs from one that stands there. -1: the end. */
static int next_byte(const char **at)
{
	enum { ENCODED_SLASH = 256 };
	const char *c = *at;
	if (!*c || *c == '#')
		return -1;
	if (*c == '%' && hex(c[1]) >= 0 && hex(c[2]) >= 0) {
		int byte = hex(c[1]) * 16 + hex(c[2]);
		*at += 3;
		return byte == '/' ? ENCODED_SLASH : byte;
	}
	++*at;
	return (unsigned char)*c;
}

static bool only_slash_left(int byte, const char *at)
{
	return byte == -1 || (byte == '/' && next_byte(&at) == -1);
}

bool dav_href_same(const char *a, const char *b)
{
	a = dav_path_of(a);
	b = dav_path_of(b);
	for (;;) {
		int x = next_byte(&a), y = next_byte(&b);
		if (x == -1 || y == -1)
			return only_slash_left(x, a) && only_slash_left(y, b);
		if (x != y)
			return false;
	}
}

bool dav_href_same_twice(const char *twice, const char *href)
{
	char once[DAV_HREF];
	size_t n = 0;
	const char *at = dav_path_of(twice);
	for (int byte = next_byte(&at); byte > 0; byte = next_byte(&at)) {
		if (n + 4 > sizeof once)
			return false;
		n += (size_t)snprintf(once + n, sizeof once - n, byte > 255 ? "%%2F" : "%c", byte);
	}
	once[n] = '\0';
	return dav_href_same(once, href);
}

/* ---- where they lead ---- */

/* Bytes that may not stand in an address are encoded, the rest is left as it is. */
static bool copy_encoded(const char *from, char *out, size_t size)
{
	static const char digit[] = "0123456789ABCDEF";
	size_t n = 0;
	for (const char *c = from; *c && *c != '#'; c++) {
		unsigned char byte = (unsigned char)*c;
		if (n + 4 > size)
			return false;
		if (byte > ' ' && byte < 0x7f && !strchr("\"<>\\^`{|}", byte))
			out[n++] = *c;
		else {
			out[n++] = '%';
			out[n++] = digit[byte >> 4];
			out[n++] = digit[byte & 15];
		}
	}
	out[n] = '\0';
	return true;
}

/* scheme: of RFC 3986 section 3.1 */
static bool has_scheme(const char *href)
{
	size_t n = 0;
	while (isalnum((unsigned char)href[n]) || (n && strchr("+-.", href[n]) && href[n]))
		n++;
	return n && strncmp(href + n, "://", 3) == 0;
}

static enum dav_lead lead_full(
	const struct fetch_origin *home, const char *href, char *out, size_t size)
{
	struct fetch_origin there;
	if (!fetch_origin_of(href, &there))
		return LEADS_NOWHERE;
	if (strcasecmp(there.host, home->host) != 0)
		return snprintf(out, size, "%s", there.host) < (int)size ? LEADS_ELSEWHERE
									 : LEADS_NOWHERE;
	return copy_encoded(dav_path_of(href), out, size) ? LEADS_HERE : LEADS_NOWHERE;
}

enum dav_lead dav_lead(
	const struct fetch_origin *home, const char *base, const char *href, char *out, size_t size)
{
	char full[URL_SIZE + DAV_HREF];
	if (!href[0])
		return LEADS_NOWHERE;
	if (has_scheme(href))
		return lead_full(home, href, out, size);
	if (strncmp(href, "//", 2) == 0)
		return snprintf(full, sizeof full, "%s:%s", home->scheme, href) < (int)sizeof full
			       ? lead_full(home, full, out, size)
			       : LEADS_NOWHERE;
	if (href[0] == '/')
		return copy_encoded(href, out, size) ? LEADS_HERE : LEADS_NOWHERE;
	const char *slash = strrchr(base, '/');
	int n = snprintf(
		full, sizeof full, "%.*s%s", slash ? (int)(slash - base + 1) : 0, base, href);
	return n < (int)sizeof full && copy_encoded(full, out, size) ? LEADS_HERE : LEADS_NOWHERE;
}

/* ---- segments ---- */

bool dav_last_segment(const char *path, char *out, size_t size)
{
	size_t end = strlen(path), start, n = 0;
	while (end && path[end - 1] == '/')
		end--;
	for (start = end; start && path[start - 1] != '/';)
		start--;
	for (const char *at = path + start; at < path + end;) {
		int byte = next_byte(&at);
		if (byte <= 0 || byte > 255 || n + 1 >= size)
			return false;
		out[n++] = (char)byte;
	}
	out[n] = '\0';
	return true;
}

bool dav_append_segment(char *path, size_t size, const char *segment)
{
	size_t n = strlen(path);
	if (n + 2 > size)
		return false;
	if (n == 0 || path[n - 1] != '/')
		path[n++] = '/';
	for (const char *c = segment; *c; c++) {
		bool plain = isalnum((unsigned char)*c) || strchr("-._~", *c);
		if (n + 4 > size)
			return false;
		n += (size_t)snprintf(
			path + n, size - n, plain ? "%c" : "%%%02X", (unsigned char)*c);
	}
	path[n] = '\0';
	return true;
}
