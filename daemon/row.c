#include "daemon/row.h"

#include <string.h>

#include "daemon/encoding.h"
#include "daemon/import.h"

static bool blank(char c)
{
	return c == ' ' || c == '\t';
}

static struct cell trim(const char *from, const char *to)
{
	while (from < to && blank(*from))
		from++;
	while (from < to && blank(to[-1]))
		to--;
	return (struct cell){ from, (size_t)(to - from) };
}

static void add_cell(struct row *row, struct cell c)
{
	if (row->n < ROW_CELLS_MAX)
		row->cell[row->n] = c;
	row->n++;
}

/* A line without quotes. */
static void split_plain(const char *p, const char *end, char delimiter, struct row *row)
{
	const char *from = p;
	for (; p < end; p++) {
		if (*p != delimiter)
			continue;
		add_cell(row, trim(from, p));
		from = p + 1;
	}
	add_cell(row, trim(from, end));
}

/* The closing quote of the text after an opening one, NULL when there is none. */
static const char *closing(const char *p, const char *end)
{
	while ((p = memchr(p, '"', (size_t)(end - p)))) {
		if (p + 1 == end || p[1] != '"')
			return p;
		p += 2;
	}
	return NULL;
}

/* Where the cell that begins at p ends: at a delimiter, the line end or end. */
static const char *cell_end(const char *p, const char *end, char delimiter, char eol)
{
	while (p < end && *p != delimiter && *p != eol)
		p++;
	return p;
}

/* A record with quotes, which may go over line ends. Returns its end (the line end or end), NULL
 * when a quote is not closed before end. */
static const char *split_quoted(
	const char *p, const char *end, char delimiter, char eol, struct row *row)
{
	for (;; p++) {
		const char *q = p;
		while (q < end && blank(*q) && *q != delimiter)
			q++;
		if (q < end && *q == '"') {
			const char *close = closing(q + 1, end);
			if (!close)
				return NULL;
			p = cell_end(close + 1, end, delimiter, eol);
			const char *rest = p > close + 1 && p[-1] == '\r' ? p - 1 : p;
			if (trim(close + 1, rest).n > 0)
				row->kind = ROW_QUOTE;
			add_cell(row, (struct cell){ q + 1, (size_t)(close - q - 1) });
		} else {
			p = cell_end(p, end, delimiter, eol);
			const char *rest =
				p > q && p[-1] == '\r' && (p == end || *p == eol) ? p - 1 : p;
			add_cell(row, trim(q, rest < q ? q : rest));
		}
		if (p == end || *p == eol)
			return p;
	}
}

static size_t count_lines(const char *p, const char *end, char eol)
{
	size_t n = 0;
	while (p < end && (p = memchr(p, eol, (size_t)(end - p)))) {
		n++;
		p++;
	}
	return n;
}

/* One line only, of which nothing can be told. */
static size_t bad_line(struct row *row, enum row_kind kind, size_t taken)
{
	row->kind = kind;
	row->n = 0;
	row->lines = 1;
	return taken;
}

size_t row_split(const char *text, size_t n, char delimiter, char eol, bool last, struct row *row)
{
	const char *end = text + n;
	const char *line = n ? memchr(text, eol, n) : NULL;
	if (n == 0 || (!line && !last))
		return 0;
	const char *stop = line ? line : end;
	row->kind = ROW_CELLS;
	row->n = 0;
	row->ended = line != NULL;
	row->lines = 1;
	size_t taken = (size_t)(stop - text) + (line != NULL);
	if (stop - text > IMPORT_LINE_MAX)
		return bad_line(row, ROW_LONG, taken);
	if (!memchr(text, '"', (size_t)(stop - text))) {
		split_plain(
			text, stop > text && stop[-1] == '\r' ? stop - 1 : stop, delimiter, row);
		return taken;
	}
	const char *limit = n > IMPORT_LINE_MAX ? text + IMPORT_LINE_MAX : end;
	const char *close = split_quoted(text, limit, delimiter, eol, row);
	if (!close || (close == limit && limit < end))
		return bad_line(row, ROW_QUOTE, taken);
	if (close == end && !last)
		return 0;
	row->ended = close < end;
	row->lines = count_lines(text, close, eol) + 1;
	return (size_t)(close - text) + row->ended;
}

void cell_text(struct cell c, bool latin1, char *buf, size_t n)
{
	size_t w = 0;
	for (size_t i = 0; i < c.n;) {
		const unsigned char *p = (const unsigned char *)c.p + i;
		size_t len = latin1 ? 0 : encoding_utf8_length(p, c.n - i);
		char out[4];
		size_t out_n = len;
		if (len == 0 || len > c.n - i) {
			len = 1;
			out_n = encoding_put(*p, out);
		} else {
			memcpy(out, p, len);
		}
		if (out_n == 1 && (unsigned char)out[0] < 0x20)
			out[0] = ' ';
		if (w + out_n + 1 > n)
			break;
		memcpy(buf + w, out, out_n);
		w += out_n;
		i += len + (*p == '"' && i + 1 < c.n && p[1] == '"');
	}
	buf[w] = '\0';
}
