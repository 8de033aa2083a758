#include "daemon/mime.h"

#include <ctype.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "core/mem.h"
#include "daemon/address.h"
#include "daemon/utf8.h"

/* A stretch of bytes. */
struct span {
	const char *p, *end;
};

struct reader {
	size_t parts;
	struct mime *out;
	struct err *err;
};

/* ---- lines and headers ---- */

/* The line at *p without its end; *p goes on behind it. Call while *p < end. */
static struct span next_line(const char **p, const char *end)
{
	struct span line = { *p, memchr(*p, '\n', (size_t)(end - *p)) };
	if (!line.end)
		line.end = end;
	*p = line.end < end ? line.end + 1 : end;
	if (line.end > line.p && line.end[-1] == '\r')
		line.end--;
	return line;
}

/* Where the headers end and the body begins. */
static void divide(struct span whole, struct span *head, struct span *body)
{
	const char *p = whole.p;
	*head = whole;
	*body = (struct span){ whole.end, whole.end };
	while (p < whole.end) {
		const char *begin = p;
		struct span line = next_line(&p, whole.end);
		if (line.p < line.end)
			continue;
		*head = (struct span){ whole.p, begin };
		*body = (struct span){ p, whole.end };
		return;
	}
}

static bool is_blank(char c)
{
	return c == ' ' || c == '\t';
}

static void add(char *buf, size_t size, size_t *n, struct span text)
{
	for (const char *c = text.p; c < text.end && *n < size - 1; c++)
		buf[(*n)++] = *c ? *c : ' ';
	buf[*n] = '\0';
}

/* The first header of that name, unfolded (RFC 5322 2.2.3), blanks round it cut; "" when there is none. */
static void header(struct span head, const char *name, char *buf, size_t size)
{
	const char *p = head.p;
	size_t n = 0, length = strlen(name);
	bool ours = false;
	buf[0] = '\0';
	while (p < head.end) {
		struct span line = next_line(&p, head.end);
		bool more = line.p < line.end && is_blank(*line.p);
		if (ours && !more)
			break;
		if (!more && (size_t)(line.end - line.p) > length && line.p[length] == ':' &&
			strncasecmp(line.p, name, length) == 0) {
			ours = true;
			line.p += length + 1;
		}
		while (ours && !more && line.p < line.end && is_blank(*line.p))
			line.p++;
		if (ours)
			add(buf, size, &n, line);
	}
	while (n && (is_blank(buf[n - 1]) || buf[n - 1] == '\r'))
		buf[--n] = '\0';
}

/* The value of a parameter (RFC 2045 5.1), "" when it is not there. */
static void parameter(const char *value, const char *name, char *buf, size_t size)
{
	size_t n = 0, length = strlen(name);
	bool quoted = false;
	buf[0] = '\0';
	for (const char *p = value; *p; p++) {
		if (*p == '"')
			quoted = !quoted;
		if (*p == '\\' && quoted && p[1])
			p++;
		else if (*p == ';' && !quoted) {
			p += 1 + strspn(p + 1, " \t");
			if (strncasecmp(p, name, length) == 0 && p[length] == '=') {
				value = p + length + 1;
				quoted = *value == '"';
				break;
			}
			p--;
		}
		if (p[1] == '\0')
			return;
	}
	if (!*value)
		return;
	for (const char *p = value + quoted; *p && n < size - 1; p++) {
		if (quoted ? *p == '"' : *p == ';' || is_blank(*p))
			break;
		if (quoted && *p == '\\' && p[1])
			p++;
		buf[n++] = *p;
	}
	buf[n] = '\0';
}

/* ---- encodings ---- */

static int base64_digit(char c)
{
	static const char digits[] =
		"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
	const char *at = c ? strchr(digits, c) : NULL;
	return at ? (int)(at - digits) : -1;
}

/* What is no digit is passed over (RFC 2045 6.8). out has room for 3 / 4 of it. */
static size_t from_base64(struct span text, char *out)
{
	size_t n = 0;
	unsigned x = 0, digits = 0;
	for (const char *p = text.p; p < text.end && *p != '='; p++) {
		int d = base64_digit(*p);
		if (d < 0)
			continue;
		x = (x << 6 | (unsigned)d) & 0xffffff;
		if (++digits % 4 == 0) {
			out[n++] = (char)(x >> 16);
			out[n++] = (char)(x >> 8 & 0xff);
			out[n++] = (char)(x & 0xff);
		}
	}
	if (digits % 4 > 1)
		out[n++] = (char)(x >> (digits % 4 == 2 ? 4 : 10) & 0xff);
	if (digits % 4 == 3)
		out[n++] = (char)(x >> 2 & 0xff);
	return n;
}

static int hex_digit(char c)
{
	return isdigit((unsigned char)c)    ? c - '0'
	       : isxdigit((unsigned char)c) ? (c | 32) - 'a' + 10
					    : -1;
}

/* RFC 2045 6.7; word: as in an encoded word (RFC 2047 4.2), where _ is a blank. */
static size_t from_quoted(struct span text, bool word, char *out)
{
	size_t n = 0;
	for (const char *p = text.p; p < text.end; p++) {
		int high = text.end - p > 2 ? hex_digit(p[1]) : -1;
		int low = high >= 0 ? hex_digit(p[2]) : -1;
		if (*p == '=' && low >= 0) {
			out[n++] = (char)(high << 4 | low);
			p += 2;
		} else if (*p == '=' && text.end - p > 1 && p[1] == '\n')
			p++;
		else if (*p == '=' && text.end - p > 2 && p[1] == '\r' && p[2] == '\n')
			p += 2;
		else
			out[n++] = word && *p == '_' ? ' ' : *p;
	}
	return n;
}

/* An encoded word at p: where it ends, its text decoded into out; NULL: none is there. */
static const char *encoded_word(const char *p, char *out, size_t *n)
{
	const char *how = strncmp(p, "=?", 2) == 0 ? strchr(p + 2, '?') : NULL;
	const char *text = how && how[1] && how[2] == '?' ? how + 3 : NULL;
	const char *end = text ? strstr(text, "?=") : NULL;
	if (!end)
		return NULL;
	if (tolower((unsigned char)how[1]) == 'b')
		*n += from_base64((struct span){ text, end }, out + *n);
	else if (tolower((unsigned char)how[1]) == 'q')
		*n += from_quoted((struct span){ text, end }, true, out + *n);
	else
		return NULL;
	return end + 2;
}

/* Whatever the charset says, it is taken for UTF-8: only ASCII is looked for. */
static void decode_words(const char *text, char *buf, size_t size)
{
	char plain[MIME_HEADER_MAX + 1];
	size_t n = 0;
	while (*text) {
		const char *end = encoded_word(text, plain, &n);
		if (end) {
			text = end;
			if (strncmp(text + strspn(text, " \t"), "=?", 2) == 0)
				text += strspn(text, " \t"); /* RFC 2047 6.2 */
		} else
			plain[n++] = *text++;
	}
	plain[n] = '\0';
	(void)utf8_clean(plain, buf, size);
	for (char *c = buf; *c; c++)
		if (*c == '\n' || *c == '\t')
			*c = ' ';
}

/* ---- what a mail says of itself ---- */

static void read_from(const char *value, char *buf, size_t size)
{
	const char *open = strrchr(value, '<'), *close = open ? strchr(open, '>') : NULL;
	const char *p = close ? open + 1 : value;
	size_t n = close ? (size_t)(close - p) : strlen(p);
	buf[0] = '\0';
	if (n >= size)
		return;
	memcpy(buf, p, n);
	buf[n] = '\0';
	if (!address_good(buf))
		buf[0] = '\0';
}

static void read_id(const char *value, char *buf, size_t size)
{
	size_t n = strlen(value);
	buf[0] = '\0';
	for (const char *c = value; *c; c++)
		if (!isgraph((unsigned char)*c))
			return;
	if (n < size)
		memcpy(buf, value, n + 1);
}

static void read_headers(struct span head, struct mime *m)
{
	char value[MIME_HEADER_MAX];
	header(head, "From", value, sizeof value);
	read_from(value, m->from, sizeof m->from);
	header(head, "Subject", value, sizeof value);
	decode_words(value, m->subject, sizeof m->subject);
	header(head, "Message-ID", value, sizeof value);
	read_id(value, m->message_id, sizeof m->message_id);
}

/* ---- parts ---- */

static enum rc take_calendar(struct reader *r, struct span head, struct span body)
{
	char how[64];
	size_t n = (size_t)(body.end - body.p);
	char *out = mem_new(n + 1, 1);
	if (!out)
		return err_set(r->err, RC_MEM, "mail: out of memory");
	header(head, "Content-Transfer-Encoding", how, sizeof how);
	if (strcasecmp(how, "base64") == 0)
		r->out->n = from_base64(body, out);
	else if (strcasecmp(how, "quoted-printable") == 0)
		r->out->n = from_quoted(body, false, out);
	else {
		memcpy(out, body.p, n);
		r->out->n = n;
	}
	out[r->out->n] = '\0';
	r->out->calendar = out;
	return RC_OK;
}

/* 1: the line begins a part, 2: it ends the last, 0: neither (RFC 2046 5.1.1). */
static int delimits(struct span line, const char *boundary)
{
	size_t n = strlen(boundary), length = (size_t)(line.end - line.p);
	if (length < n + 2 || line.p[0] != '-' || line.p[1] != '-' ||
		memcmp(line.p + 2, boundary, n) != 0)
		return 0;
	const char *rest = line.p + 2 + n;
	bool last = line.end - rest >= 2 && rest[0] == '-' && rest[1] == '-';
	for (rest += last ? 2 : 0; rest < line.end; rest++)
		if (!is_blank(*rest))
			return 0;
	return last ? 2 : 1;
}

static enum rc read_part(struct reader *r, struct span whole, int depth);

static enum rc read_parts(struct reader *r, struct span body, const char *boundary, int depth)
{
	const char *p = body.p, *begin = NULL;
	enum rc rc = RC_OK;
	int found = 0;
	while (rc == RC_OK && found < 2 && p < body.end && !r->out->calendar) {
		const char *here = p;
		found = delimits(next_line(&p, body.end), boundary);
		if (found && begin)
			rc = read_part(r, (struct span){ begin, here }, depth + 1);
		begin = found ? p : begin;
	}
	if (rc == RC_OK && found < 2 && begin && !r->out->calendar) /* cut short */
		rc = read_part(r, (struct span){ begin, body.end }, depth + 1);
	return rc;
}

static enum rc read_part(struct reader *r, struct span whole, int depth)
{
	char type[MIME_HEADER_MAX], boundary[128];
	struct span head, body;
	if (depth > MIME_DEPTH_MAX)
		return err_set(r->err, RC_INPUT, "mail: parts more than %d deep", MIME_DEPTH_MAX);
	if (++r->parts > MIME_PARTS_MAX)
		return err_set(r->err, RC_INPUT, "mail: more than %d parts", MIME_PARTS_MAX);
	divide(whole, &head, &body);
	header(head, "Content-Type", type, sizeof type);
	size_t n = strcspn(type, "; \t");
	if (n == 13 && strncasecmp(type, "text/calendar", n) == 0)
		return take_calendar(r, head, body);
	if (strncasecmp(type, "multipart/", 10) != 0)
		return RC_OK;
	parameter(type, "boundary", boundary, sizeof boundary);
	return boundary[0] ? read_parts(r, body, boundary, depth) : RC_OK;
}

enum rc mime_read(const char *bytes, size_t n, struct mime *out, struct err *err)
{
	struct reader r = { .out = out, .err = err };
	struct span whole = { bytes, bytes + n }, head, body;
	*out = (struct mime){ 0 };
	if (n > MIME_MAX)
		return err_set(err, RC_INPUT, "mail: more than %d bytes", MIME_MAX);
	divide(whole, &head, &body);
	read_headers(head, out);
	enum rc rc = read_part(&r, whole, 0);
	if (rc != RC_OK)
		mime_done(out);
	return rc;
}

void mime_done(struct mime *m)
{
	mem_free(m->calendar);
	*m = (struct mime){ 0 };
}
