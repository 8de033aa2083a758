#include "daemon/letter.h"

#include <ctype.h>
#include <openssl/evp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "core/civil.h"
#include "core/mem.h"
#include "daemon/address.h"
#include "daemon/calendar.h"
#include "daemon/utf8.h"

enum {
	LINE_BEST = 78, /* RFC 5322 2.1.1, without CRLF */
	BODY_LINE = 76, /* RFC 2045 6.7, 6.8 */
	WORD_MAX = 75, /* of an encoded word, RFC 2047 2 */
	HEADER_MAX = 1000, /* octets of a name or subject; the rest is cut off */
	TEXT_MAX = 1 << 17 /* of the text, likewise */
};

/* What has been written so far. */
struct paper {
	char *at;
	size_t n, room;
	size_t column; /* octets since the last line end */
	bool failed; /* out of memory */
};

static bool make_room(struct paper *p, size_t more)
{
	if (p->n + more < p->room)
		return true;
	size_t room = 2 * (p->n + more) + 1024;
	char *grown = p->failed ? NULL : mem_grow(p->at, room, 1);
	p->failed = !grown;
	if (grown) {
		p->at = grown;
		p->room = room;
	}
	return grown;
}

static void put_n(struct paper *p, const char *text, size_t n)
{
	if (!make_room(p, n + 1))
		return;
	memcpy(p->at + p->n, text, n);
	p->n += n;
	p->at[p->n] = '\0';
	for (size_t i = 0; i < n; i++)
		p->column = text[i] == '\n' ? 0 : p->column + 1;
}

static void put(struct paper *p, const char *text)
{
	put_n(p, text, strlen(text));
}

static void put_line(struct paper *p, const char *fmt, ...) PRINTF_LIKE(2, 3);

static void put_line(struct paper *p, const char *fmt, ...)
{
	char line[1000];
	va_list args;
	va_start(args, fmt);
	(void)vsnprintf(line, sizeof line - 2, fmt, args);
	va_end(args);
	put(p, line);
	put(p, "\r\n");
}

/* ---- encodings ---- */

/* RFC 2045 6.8; out has room for 4 * ((n + 2) / 3) and a NUL. Returns how many octets. */
static size_t base64(const char *bytes, size_t n, char *out)
{
	return (size_t)EVP_EncodeBlock((unsigned char *)out, (const unsigned char *)bytes, (int)n);
}

static void put_base64(struct paper *p, const char *bytes, size_t n)
{
	enum { TAKE = BODY_LINE / 4 * 3 };
	char line[BODY_LINE + 1];
	for (size_t i = 0; i < n; i += TAKE) {
		put_n(p, line, base64(bytes + i, n - i < TAKE ? n - i : TAKE, line));
		put(p, "\r\n");
	}
}

/* RFC 2045 6.7: a blank before a line end is encoded, and a line is broken softly before it grows too long. */
static void put_quoted(struct paper *p, const char *text)
{
	for (const char *c = text; *c; c++) {
		unsigned char u = (unsigned char)*c;
		char code[4] = { *c };
		bool end = c[1] == '\0' || c[1] == '\n';
		if (u == '\n') {
			put(p, "\r\n");
			continue;
		}
		if (u == '=' || u > 126 || u < ' ' || (u == ' ' && end))
			(void)snprintf(code, sizeof code, "=%02X", u);
		if (p->column + strlen(code) > BODY_LINE - 1)
			put(p, "=\r\n");
		put(p, code);
	}
	put(p, "\r\n");
}

/* ---- headers ---- */

/* On one line, without controls. */
static const char *tidy(const char *text, char buf[HEADER_MAX + 1])
{
	(void)utf8_clean(text, buf, HEADER_MAX + 1);
	for (char *c = buf; *c; c++)
		if (*c == '\n' || *c == '\t')
			*c = ' ';
	return buf;
}

/* Whether it can stand as it is: ASCII that no reader takes for an encoded word. */
static bool is_plain(const char *text)
{
	for (const char *c = text; *c; c++)
		if ((unsigned char)*c > 126 || (c[0] == '=' && c[1] == '?'))
			return false;
	return true;
}

/* Encoded words of whole characters (RFC 2047 5), a line each. */
static void put_words(struct paper *p, const char *text)
{
	static const char begin[] = "=?UTF-8?B?", end[] = "?=";
	size_t n = strlen(text), i = 0;
	while (i < n) {
		char word[WORD_MAX + 1];
		size_t here = 0, room = LINE_BEST - 2 - (p->column < 30 ? p->column : 1);
		size_t most =
			((room < WORD_MAX ? room : WORD_MAX) - strlen(begin) - strlen(end)) / 4 * 3;
		while (i + here < n) {
			bool valid;
			size_t step = utf8_step(text + i + here, n - i - here, &valid);
			if (here + step > most)
				break;
			here += step;
		}
		if (p->column >= 30)
			put(p, "\r\n ");
		put(p, begin);
		put_n(p, word, base64(text + i, here, word));
		put(p, end);
		i += here;
		if (i < n)
			put(p, "\r\n ");
	}
}

/* Folded at blanks (RFC 5322 2.2.3). */
static void put_folded(struct paper *p, const char *text)
{
	while (*text) {
		size_t n = strcspn(text, " ");
		if (p->column + n + 1 > LINE_BEST && p->column > 1)
			put(p, "\r\n");
		if (n)
			put(p, " ");
		put_n(p, text, n);
		text += n + strspn(text + n, " ");
	}
}

/* A word too long for a line is encoded too, and blanks in a row, which folding would lose. */
static bool can_fold(const char *text)
{
	for (size_t n; *text; text += n + strspn(text + n, " ")) {
		n = strcspn(text, " ");
		if (n > LINE_BEST - 12 || (text[n] == ' ' && text[n + 1] == ' '))
			return false;
	}
	return true;
}

static void put_text_header(struct paper *p, const char *name, const char *text)
{
	char clean[HEADER_MAX + 1];
	put(p, name);
	put(p, ":");
	if (is_plain(tidy(text, clean)) && can_fold(clean))
		put_folded(p, clean);
	else {
		put(p, " ");
		put_words(p, clean);
	}
	put(p, "\r\n");
}

/* As a quoted string (RFC 5322 3.2.4), or encoded when that would not do or not fit. */
static void put_name(struct paper *p, const char *name)
{
	enum { SHORT = 32 };
	if (!is_plain(name) || strlen(name) > SHORT) {
		put_words(p, name);
		return;
	}
	put(p, "\"");
	for (const char *c = name; *c; c++) {
		if (*c == '"' || *c == '\\')
			put(p, "\\");
		put_n(p, c, 1);
	}
	put(p, "\"");
}

static void put_address_header(
	struct paper *p, const char *header, const char *name, const char *address)
{
	char clean[HEADER_MAX + 1];
	put(p, header);
	put(p, ": ");
	if (*tidy(name, clean)) {
		put_name(p, clean);
		put(p, p->column + strlen(address) + 3 > LINE_BEST ? "\r\n <" : " <");
		put(p, address);
		put(p, ">");
	} else
		put(p, address);
	put(p, "\r\n");
}

/* RFC 5322 3.3 */
static void put_date(struct paper *p, int64_t t_s)
{
	static const char days[][4] = { "Thu", "Fri", "Sat", "Sun", "Mon", "Tue", "Wed" };
	static const char months[][4] = { "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug",
		"Sep", "Oct", "Nov", "Dec" };
	struct civil c = civil_at(t_s);
	int64_t day = civil_floor(t_s, DAY_S);
	put_line(p, "Date: %s, %02d %s %04d %02d:%02d:%02d +0000",
		days[day - 7 * civil_floor(day, 7)], c.day, months[c.month - 1], c.year, c.hour,
		c.minute, c.second);
}

static void put_headers(struct paper *p, const struct letter_parts *l)
{
	put_date(p, l->date_s);
	put_address_header(p, "From", l->from_name, l->from);
	put_address_header(p, "To", l->to_name, l->to);
	put_text_header(p, "Subject", l->subject);
	put_line(p, "Message-ID: %s", l->message_id);
	put_line(p, "Auto-Submitted: auto-generated");
	if (l->can_stop)
		put_line(p, "List-Unsubscribe:%s<mailto:%s?subject=stop>",
			strlen(l->from) > 34 ? "\r\n " : " ", l->from);
	put_line(p, "MIME-Version: 1.0");
}

/* ---- the whole ---- */

/* "=_" can stand neither in quoted-printable nor in base64 (RFC 2045 6.7). */
static void boundary_of(const char *message_id, char which, char buf[48])
{
	(void)snprintf(buf, 48, "=_%.36s_%c", message_id + 1, which);
}

static void put_plain(struct paper *p, const char *text)
{
	put_line(p, "Content-Type: text/plain; charset=UTF-8");
	put_line(p, "Content-Transfer-Encoding: quoted-printable");
	put_line(p, "%s", "");
	put_quoted(p, text);
}

static void put_calendar(struct paper *p, const struct letter_parts *l)
{
	put_line(p, "Content-Type: text/calendar; charset=UTF-8; method=%s;\r\n component=VEVENT",
		l->method);
	put_line(p, "Content-Transfer-Encoding: base64");
	put_line(p, "%s", "");
	put_base64(p, l->calendar, l->calendar_n);
}

static void put_attachment(struct paper *p, const struct letter_parts *l)
{
	put_line(p, "Content-Type: application/ics; name=\"visit.ics\"");
	put_line(p, "Content-Disposition: attachment; filename=\"visit.ics\"");
	put_line(p, "Content-Transfer-Encoding: base64");
	put_line(p, "%s", "");
	put_base64(p, l->calendar, l->calendar_n);
}

static void put_mixed(struct paper *p, const struct letter_parts *l, const char *text)
{
	char outer[48], inner[48];
	boundary_of(l->message_id, 'm', outer);
	boundary_of(l->message_id, 'a', inner);
	put_line(p, "Content-Type: multipart/mixed;\r\n boundary=\"%s\"", outer);
	put_line(p, "\r\n--%s", outer);
	put_line(p, "Content-Type: multipart/alternative;\r\n boundary=\"%s\"", inner);
	put_line(p, "\r\n--%s", inner);
	put_plain(p, text);
	put_line(p, "--%s", inner);
	put_calendar(p, l);
	put_line(p, "--%s--", inner);
	put_line(p, "\r\n--%s", outer);
	put_attachment(p, l);
	put_line(p, "--%s--", outer);
}

enum rc letter_id(const char *from, char id[LETTER_ID_SIZE], struct err *err)
{
	char uuid[37];
	enum rc rc = calendar_uuid(uuid, err);
	if (rc == RC_OK)
		(void)snprintf(id, LETTER_ID_SIZE, "<%s@%.80s>", uuid, address_domain(from));
	return rc;
}

enum rc letter_write(const struct letter_parts *l, char **bytes, size_t *len, struct err *err)
{
	struct paper p = { 0 };
	if (!address_good(l->from) || !address_good(l->to))
		return err_set(err, RC_INPUT, "letter: \"%.80s\": no address: a plain one",
			address_good(l->from) ? l->to : l->from);
	size_t n = 3 * strlen(l->text) + 4; /* bad bytes grow to three */
	char *text = mem_new(n < TEXT_MAX ? n : TEXT_MAX, 1);
	if (text) {
		(void)utf8_clean(l->text, text, n < TEXT_MAX ? n : TEXT_MAX);
		put_headers(&p, l);
		if (l->calendar)
			put_mixed(&p, l, text);
		else
			put_plain(&p, text);
	}
	mem_free(text);
	if (!text || p.failed) {
		mem_free(p.at);
		return err_set(err, RC_MEM, "letter: out of memory");
	}
	*bytes = p.at;
	*len = p.n;
	return RC_OK;
}
