#include "daemon/calendar_int.h"

#include <string.h>

#include "daemon/utf8.h"

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
	for (size_t i = utf8_plain(p, n); i < n; i += utf8_plain(p + i, n - i)) {
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

/* Takes one physical line, without its end, to the end of text. */
static enum rc take(struct calendar_lines *l, size_t skip, struct err *err)
{
	bool ours = l->manner == MANNER_OURS;
	const char *p = l->bytes + l->at;
	const char *lf = memchr(p, '\n', l->len - l->at);
	size_t n = lf ? (size_t)(lf - p) : l->len - l->at;
	size_t past = n + (lf ? 1 : 0);
	bool cr = n > 0 && p[n - 1] == '\r';
	l->number++;
	if ((!lf || !cr) && l->manner != MANNER_SEEN)
		return bad(l, err, "does not end with CRLF");
	n -= cr;
	if (ours && n > CALENDAR_LINE_MAX)
		return bad(l, err, "longer than 75 octets");
	if (n == 0 && l->manner != MANNER_SEEN)
		return bad(l, err, "nothing on the line");
	const char *fault = ours ? octets_fault(p, n) : NULL;
	if (fault)
		return bad(l, err, fault);
	if (n > skip) {
		memcpy(l->text + l->used, p + skip, n - skip);
		l->used += n - skip;
	}
	l->at += past;
	return RC_OK;
}

static bool folded(const struct calendar_lines *l)
{
	return l->at < l->len && (l->bytes[l->at] == ' ' || l->bytes[l->at] == '\t');
}

/* Splitting works in place: what was read at p is written at out, which is never behind p. */
struct cursor {
	char *p, *out;
	bool small; /* names may have small letters */
	bool quoted; /* the last parameter was */
};

static char capital(char c)
{
	return c >= 'a' && c <= 'z' ? (char)(c - 'a' + 'A') : c;
}

static bool name_octet(char c)
{
	return (c >= 'A' && c <= 'Z') || c == '-' || (c >= '0' && c <= '9');
}

/* A name in capitals; false: there is none. */
static bool take_name(struct cursor *c)
{
	const char *start = c->p;
	if (c->p == c->out && !c->small) {
		while (name_octet(*c->p))
			c->p++;
		c->out = c->p;
		return c->p != start;
	}
	for (char octet; name_octet(octet = c->small ? capital(*c->p) : *c->p); c->p++)
		*c->out++ = octet;
	return c->p != start;
}

/* Ends what was taken; the mark that stood behind it. */
static char take_mark(struct cursor *c)
{
	char mark = *c->p++;
	*c->out++ = '\0';
	return mark;
}

/* One octet of a parameter's value; `^n`, `^^` and `^'` are newline, caret and quote (RFC 6868 3). */
static void take_octet(struct cursor *c)
{
	char next = c->p[1];
	bool code = *c->p == '^' && (next == 'n' || next == '^' || next == '\'');
	*c->out++ = !code ? *c->p : next == 'n' ? '\n' : next == '^' ? '^' : '"';
	c->p += code ? 2 : 1;
}

/* Values in quotes or not, parted by commas. */
static const char *take_values(struct cursor *c)
{
	for (c->quoted = false;; take_octet(c)) {
		if (*c->p == '"') {
			c->quoted = true;
			for (c->p++; *c->p && *c->p != '"';)
				take_octet(c);
			if (!*c->p++)
				return "a quote without its end";
		}
		while (*c->p && !strchr(";:,\"", *c->p))
			take_octet(c);
		if (*c->p != ',')
			return *c->p == ';' || *c->p == ':' ? NULL
							    : "a parameter value without its end";
	}
}

const char *calendar_parameter(const struct calendar_line *line, const char *name)
{
	const char *p = line->params;
	for (size_t i = 0; i < line->n_params; i++) {
		const char *value = p + strlen(p) + 1;
		if (strcmp(p, name) == 0)
			return value;
		p = value + strlen(value) + 1;
	}
	return NULL;
}

/* What only our own parameters have to keep. */
static const char *ours_fault(
	const struct calendar_line *line, const char *name, const char *value, bool quoted)
{
	if (!calendar_among("VALUE TZID CN ROLE PARTSTAT RSVP", name) ||
		calendar_parameter(line, name))
		return "a parameter that seasond does not write, or one given twice";
	if (!*value || (strcmp(name, "CN") != 0 && (quoted || strchr(value, ','))))
		return "a parameter value that needs no quotes was expected";
	return NULL;
}

/* Takes NAME=VALUE and the mark behind it. */
static const char *parameter(struct cursor *c, struct calendar_line *line, char *mark)
{
	const char *name = c->out;
	if (!take_name(c) || *c->p != '=')
		return "a parameter without value";
	(void)take_mark(c);
	char *value = c->out;
	const char *fault = take_values(c);
	if (fault)
		return fault;
	*mark = take_mark(c);
	if (!c->small)
		fault = ours_fault(line, name, value, c->quoted);
	if (strcmp(name, "VALUE") == 0 && !line->type) {
		for (char *v = value; c->small && *v; v++)
			*v = capital(*v);
		line->type = value;
	} else if (strcmp(name, "TZID") == 0 && !line->tzid) {
		line->tzid = value;
	}
	line->n_params++;
	return fault;
}

/* Splits NAME *(;PARAM=VALUE) : VALUE in place. */
static const char *split(enum calendar_manner manner, char *text, struct calendar_line *line)
{
	struct cursor c = { .p = text, .out = text, .small = manner != MANNER_OURS };
	line->name = text;
	if (!take_name(&c) || (*c.p != ':' && *c.p != ';'))
		return manner == MANNER_OURS ? "no property name in capitals before the colon"
					     : "no property name before the colon";
	char mark = take_mark(&c);
	line->params = c.out;
	while (mark == ';') {
		const char *fault = parameter(&c, line, &mark);
		if (fault)
			return fault;
	}
	line->value = c.p;
	return NULL;
}

enum rc calendar_line_next(struct calendar_lines *l, struct calendar_line *line, struct err *err)
{
	char *text = l->text + l->used;
	*line = (struct calendar_line){ .number = l->number + 1, .from = l->at };
	if (l->manner == MANNER_SEEN && l->at == 0 && l->len >= 3 &&
		memcmp(l->bytes, "\xef\xbb\xbf", 3) == 0)
		l->at = 3; /* a byte order mark */
	if (folded(l) && l->manner != MANNER_SEEN) {
		l->number++;
		return bad(l, err, "a fold with nothing before it");
	}
	enum rc rc = take(l, 0, err);
	while (rc == RC_OK && folded(l))
		rc = take(l, 1, err);
	if (rc != RC_OK)
		return rc;
	line->to = l->at;
	size_t n = (size_t)(l->text + l->used - text);
	l->text[l->used++] = '\0';
	const char *fault = l->manner == MANNER_FOREIGN ? octets_fault(text, n) : NULL;
	if (!fault)
		fault = split(l->manner, text, line);
	if (fault && l->manner == MANNER_SEEN) {
		line->name = line->value = line->params = "";
		line->type = line->tzid = NULL;
		line->n_params = 0;
		return RC_OK;
	}
	return fault ? err_set(err, RC_INPUT, "calendar line %zu: %s", line->number, fault) : RC_OK;
}
