#include "daemon/calendar_int.h"

#include <string.h>

#include "daemon/utf8.h"

void calendar_unfold(char *text)
{
	char *out = text;
	const char *p = text;
	for (const char *cr; (cr = strstr(p, "\r\n ")); p = cr + 3) {
		memmove(out, p, (size_t)(cr - p));
		out += cr - p;
	}
	memmove(out, p, strlen(p) + 1);
}

char *calendar_fold(char *out, const char *line, size_t n)
{
	size_t room = CALENDAR_LINE_MAX;
	while (n - 2 > room) {
		size_t take = room;
		while (((unsigned char)line[take] & 0xc0) == 0x80)
			take--;
		memcpy(out, line, take);
		memcpy(out + take, "\r\n ", 3);
		out += take + 3;
		line += take;
		n -= take;
		room = CALENDAR_LINE_MAX - 1;
	}
	memcpy(out, line, n);
	return out + n;
}

static enum rc bad(const struct calendar_lines *l, struct err *err, const char *rule)
{
	return err_set(err, RC_INPUT, "calendar line %zu: %s", l->number, rule);
}

/* NULL, or the rule that octets of one physical line break (RFC 5545 3.1 and 3.3.11). */
static const char *octets_fault(const char *p, size_t n)
{
	for (size_t i = 0; i < n;) {
		unsigned char c = (unsigned char)p[i];
		bool valid = true;
		i += c < 0x80 ? 1 : utf8_step(p + i, n - i, &valid);
		if (!valid)
			return "bytes that are not UTF-8, or a character split by a fold";
		if ((c < 0x20 && c != '\t') || c == 0x7f)
			return "a control character";
	}
	return NULL;
}

/* Takes one physical line, without its CRLF, to the end of text. */
static enum rc take(struct calendar_lines *l, size_t skip, struct err *err)
{
	const char *p = l->bytes + l->at;
	const char *lf = memchr(p, '\n', l->len - l->at);
	l->number++;
	if (!lf || lf == p || lf[-1] != '\r')
		return bad(l, err, "does not end with CRLF");
	size_t n = (size_t)(lf - p) - 1;
	if (n > CALENDAR_LINE_MAX)
		return bad(l, err, "longer than 75 octets");
	if (n == 0)
		return bad(l, err, "nothing on the line");
	const char *fault = octets_fault(p, n);
	if (fault)
		return bad(l, err, fault);
	memcpy(l->text + l->used, p + skip, n - skip);
	l->used += n - skip;
	l->at += n + 2;
	return RC_OK;
}

static bool folded(const struct calendar_lines *l)
{
	return l->at < l->len && (l->bytes[l->at] == ' ' || l->bytes[l->at] == '\t');
}

/* Cuts `;NAME=VALUE` at *p and moves *p to the mark behind it. Only the two parameters that seasond
 * writes; their values need no quotes. */
static const char *parameter(char **p, struct calendar_line *line)
{
	char *name = *p + 1;
	size_t n = strcspn(name, "=;:\"");
	char *value = name + n + 1;
	if (name[n] != '=')
		return "a parameter without value";
	name[n] = '\0';
	char *end = value + strcspn(value, ";:,\"");
	if (end == value || (*end != ';' && *end != ':'))
		return "a parameter value that needs no quotes was expected";
	const char **slot = strcmp(name, "VALUE") == 0  ? &line->type
			    : strcmp(name, "TZID") == 0 ? &line->tzid
							: NULL;
	if (!slot || *slot)
		return "a parameter other than one VALUE and one TZID";
	*slot = value;
	*p = end;
	return NULL;
}

/* Splits NAME *(;PARAM=VALUE) : VALUE in place. */
static const char *split(char *text, struct calendar_line *line)
{
	size_t n = strspn(text, "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-");
	char *p = text + n;
	if (n == 0 || (*p != ':' && *p != ';'))
		return "no property name in capitals before the colon";
	line->name = text;
	while (*p == ';') {
		char *mark = p;
		const char *fault = parameter(&p, line);
		if (fault)
			return fault;
		*mark = '\0'; /* ends the name or the value before it */
	}
	*p = '\0';
	line->value = p + 1;
	return NULL;
}

enum rc calendar_line_next(struct calendar_lines *l, struct calendar_line *line, struct err *err)
{
	char *text = l->text + l->used;
	*line = (struct calendar_line){ .number = l->number + 1 };
	if (folded(l)) {
		l->number++;
		return bad(l, err, "a fold with nothing before it");
	}
	enum rc rc = take(l, 0, err);
	while (rc == RC_OK && folded(l))
		rc = take(l, 1, err);
	if (rc != RC_OK)
		return rc;
	l->text[l->used++] = '\0';
	const char *fault = split(text, line);
	return fault ? err_set(err, RC_INPUT, "calendar line %zu: %s", line->number, fault) : RC_OK;
}
