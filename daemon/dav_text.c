/* Texts of CalDAV: bodies of requests, and small things in answers. */
#include "daemon/dav_int.h"

#include <ctype.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"

static bool make_room(struct dav_text *t, size_t n)
{
	if (t->broken)
		return false;
	if (t->n + n + 1 > t->room) {
		size_t room = t->room ? t->room : 1024;
		while (room < t->n + n + 1)
			room *= 2;
		char *grown = mem_grow(t->bytes, room, 1);
		if (!grown) {
			t->broken = true;
			return false;
		}
		t->bytes = grown;
		t->room = room;
	}
	return true;
}

void dav_text_add(struct dav_text *t, const char *fmt, ...)
{
	va_list args, again;
	va_start(args, fmt);
	va_copy(again, args);
	int n = vsnprintf(NULL, 0, fmt, args);
	if (n >= 0 && make_room(t, (size_t)n)) {
		(void)vsnprintf(t->bytes + t->n, (size_t)n + 1, fmt, again);
		t->n += (size_t)n;
	}
	va_end(again);
	va_end(args);
}

/* XML 1.0 section 2.2: of the controls only tab and line ends are characters. */
static void add_character(struct dav_text *t, char c)
{
	switch (c) {
	case '&':
		dav_text_add(t, "&amp;");
		break;
	case '<':
		dav_text_add(t, "&lt;");
		break;
	case '>':
		dav_text_add(t, "&gt;");
		break;
	case '"':
		dav_text_add(t, "&quot;");
		break;
	default:
		if ((unsigned char)c >= ' ' || c == '\t' || c == '\n')
			dav_text_add(t, "%c", c);
	}
}

void dav_text_escaped(struct dav_text *t, const char *text)
{
	for (const char *c = text ? text : ""; *c; c++)
		add_character(t, *c);
}

void dav_text_open(struct dav_text *t, const char *element)
{
	dav_text_add(t,
		"<?xml version=\"1.0\" encoding=\"utf-8\"?>\n"
		"<%s xmlns:D=\"DAV:\" xmlns:C=\"urn:ietf:params:xml:ns:caldav\">",
		element);
}

/* ---- texts of answers ---- */

void dav_etag(const char *text, size_t n, char out[DAV_ETAG])
{
	while (n && isspace((unsigned char)text[0]))
		text++, n--;
	while (n && isspace((unsigned char)text[n - 1]))
		n--;
	out[0] = '\0';
	if (n >= 2 && strncmp(text, "W/", 2) == 0)
		return;
	if (n >= 2 && text[0] == '"' && text[n - 1] == '"')
		text++, n -= 2;
	if (n == 0 || n + 3 > DAV_ETAG)
		return;
	for (size_t i = 0; i < n; i++)
		if (text[i] <= ' ' || text[i] > '~' || text[i] == '"')
			return;
	out[0] = '"';
	memcpy(out + 1, text, n);
	out[n + 1] = '"';
	out[n + 2] = '\0';
}

size_t dav_lines(char *text, size_t n)
{
	size_t out = 0;
	for (size_t i = 0; i < n; i++)
		if (text[i] != '\r' || i + 1 == n || text[i + 1] != '\n')
			text[out++] = text[i];
	return out;
}
