#include "daemon/sample.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "core/mem.h"
#include "daemon/cellnum.h"
#include "daemon/timeform.h"

enum { TALLY = 64 };

/* Counts the records of each width and returns the greatest count, widths 2 and more. */
static size_t even_rows(const char *text, size_t n, char delimiter, char eol, struct row *row)
{
	size_t tally[TALLY] = { 0 };
	size_t best = 0;
	for (size_t at = 0, taken; at < n; at += taken) {
		taken = row_split(text + at, n - at, delimiter, eol, true, row);
		size_t width = row->n < TALLY ? row->n : TALLY - 1;
		if (row->kind == ROW_CELLS && width > 1 && ++tally[width] > best)
			best = tally[width];
	}
	return best;
}

char sample_delimiter(const char *text, size_t n, char eol, char known, struct row *row)
{
	static const char signs[] =
		"\t;,"; /* a comma is often a decimal sign: it must win clearly */
	if (known)
		return known;
	if (n > 5 && strncasecmp(text, "sep=", 4) == 0 && strchr(signs, text[4]))
		return text[4];
	size_t best = 0;
	char found = '\0';
	for (size_t i = 0; signs[i]; i++) {
		size_t rows = even_rows(text, n, signs[i], eol, row);
		if (rows > best + best / 4) {
			best = rows;
			found = signs[i];
		}
	}
	return found;
}

struct cell sample_cell(const struct sample *s, size_t row, size_t column)
{
	const struct sample_row *r = &s->rows[row];
	return column < r->n ? s->cells[r->first + column] : (struct cell){ "", 0 };
}

static size_t count_char(const char *text, size_t n, char c)
{
	size_t found = 0;
	for (size_t i = 0; i < n; i++)
		found += text[i] == c;
	return found;
}

static bool fill(struct sample *s, const char *text, size_t n, char eol)
{
	size_t max_rows = count_char(text, n, eol) + 1;
	size_t max_cells = max_rows + count_char(text, n, s->delimiter);
	struct row *row = mem_new(1, sizeof *row);
	s->rows = mem_new(max_rows, sizeof *s->rows);
	s->cells = mem_new(max_cells, sizeof *s->cells);
	bool ok = row && s->rows && s->cells;
	int64_t line = 1;
	for (size_t at = 0, taken; ok && at < n; at += taken, line += (int64_t)row->lines) {
		taken = row_split(text + at, n - at, s->delimiter, eol, true, row);
		if (row->kind != ROW_CELLS || (row->n == 1 && row->cell[0].n == 0))
			continue;
		size_t cells = row->n < ROW_CELLS_MAX ? row->n : ROW_CELLS_MAX;
		s->rows[s->n_rows++] = (struct sample_row){ line, cells, s->n_cells };
		memcpy(s->cells + s->n_cells, row->cell, cells * sizeof *row->cell);
		s->n_cells += cells;
	}
	mem_free(row);
	return ok;
}

static bool is_date(const struct sample *s, struct cell c)
{
	struct when w;
	return s->pattern ? when_pattern(c.p, c.n, s->pattern, &w) : when_orders(c.p, c.n) != 0;
}

/* A row of readings: a date and something, or two numbers. */
static bool data_like(const struct sample *s, size_t row)
{
	size_t dates = 0, numbers = 0;
	for (size_t i = 0; i < s->rows[row].n; i++) {
		struct cell c = sample_cell(s, row, i);
		bool number = c.n > 0 && cellnum_read(c.p, c.n, 0).kind == CELLNUM_OK;
		double big;
		numbers += number || time_number(c, &big);
		dates += !number && c.n > 0 && is_date(s, c);
	}
	return s->rows[row].n > 1 && (dates > 0 || numbers > 1);
}

/* The width most rows of readings have. */
static size_t usual_width(const struct sample *s)
{
	size_t tally[ROW_CELLS_MAX + 1] = { 0 };
	size_t best = 0;
	for (size_t i = 0; i < s->n_rows; i++) {
		if (data_like(s, i))
			tally[s->rows[i].n]++;
	}
	for (size_t i = 2; i <= ROW_CELLS_MAX; i++)
		best = tally[i] >= tally[best] && tally[i] > 0 ? i : best;
	return best;
}

/* The first row of usual width that is followed by more of its kind. */
static void find_data(struct sample *s)
{
	size_t width = usual_width(s);
	s->data = s->n_rows;
	for (size_t i = 0; i < s->n_rows && s->data == s->n_rows; i++) {
		bool begins = s->rows[i].n == width && data_like(s, i);
		if (begins && (i + 1 == s->n_rows || data_like(s, i + 1) || i + 2 == s->n_rows ||
				      data_like(s, i + 2)))
			s->data = i;
	}
	s->width = width;
}

static void read_heading(const struct sample *s, size_t row, size_t column, struct heading *out)
{
	char text[HEADING_TEXT];
	cell_text(sample_cell(s, row, column), s->latin1, text, sizeof text);
	heading_read(text + (text[0] == '#' ? 1 : 0), out);
}

/* Cells of the row that name humidity, temperature or time. */
static size_t named_cells(const struct sample *s, size_t row)
{
	size_t n = 0;
	for (size_t i = 0; i < s->rows[row].n; i++) {
		struct heading h;
		read_heading(s, row, i, &h);
		n += h.named && !h.units_only && h.role != HEADING_OTHER;
	}
	return n;
}

/* Nothing but units and blanks. */
static bool units_row(const struct sample *s, size_t row)
{
	size_t units = 0;
	for (size_t i = 0; i < s->rows[row].n; i++) {
		struct heading h;
		read_heading(s, row, i, &h);
		if (h.text[0] && !h.units_only && strspn(h.text, "-()[] ") < strlen(h.text))
			return false;
		units += h.units_only;
	}
	return units > 0;
}

static void find_header(struct sample *s, int known)
{
	size_t most = s->data < 2 ? s->data : 2;
	s->header_rows = 0;
	if (known > 0)
		s->header_rows = (size_t)known < most ? (size_t)known : most;
	else if (most > 1 && units_row(s, s->data - 1) && named_cells(s, s->data - 2) > 0)
		s->header_rows = 2;
	else if (most > 0 && s->rows[s->data - 1].n > 1 && !data_like(s, s->data - 1))
		s->header_rows = 1;
	for (size_t i = 0; i < s->header_rows; i++) {
		s->header_at[i] = s->data - s->header_rows + i;
		if (i == 0 || s->rows[s->header_at[i]].n > s->width)
			s->width = s->rows[s->header_at[i]].n;
	}
}

/* Heading texts: the header rows of a column joined. */
static bool read_heads(struct sample *s)
{
	s->heads = mem_new(s->width, sizeof *s->heads);
	for (size_t i = 0; s->heads && i < s->width; i++) {
		char part[2][HEADING_TEXT / 2] = { "", "" };
		char text[HEADING_TEXT];
		for (size_t k = 0; k < s->header_rows; k++)
			cell_text(sample_cell(s, s->header_at[k], i), s->latin1, part[k],
				sizeof part[k]);
		const char *first = part[0] + (part[0][0] == '#' && part[0][1] ? 1 : 0);
		first += strspn(first, " ");
		(void)snprintf(text, sizeof text, "%s%s%s", first, *first && part[1][0] ? " " : "",
			part[1]);
		heading_read(text, &s->heads[i]);
	}
	return s->heads != NULL;
}

bool sample_make(
	struct sample *s, const char *text, size_t n, char delimiter, char eol, int header_rows)
{
	s->delimiter = delimiter;
	if (!fill(s, text, n, eol))
		return false;
	find_data(s);
	find_header(s, header_rows);
	return read_heads(s);
}

void sample_done(struct sample *s)
{
	mem_free(s->rows);
	mem_free(s->cells);
	mem_free(s->heads);
	*s = (struct sample){ 0 };
}

void sample_columns(const struct sample *s, char *buf, size_t n)
{
	size_t w = 0;
	buf[0] = '\0';
	for (size_t i = 0; i < s->width && w + 1 < n; i++) {
		char text[32];
		struct cell c = { s->heads[i].text, strlen(s->heads[i].text) };
		if (s->header_rows == 0 && s->data < s->n_rows)
			c = sample_cell(s, s->data, i);
		cell_text(c, s->latin1 && s->header_rows == 0, text, sizeof text);
		int more = snprintf(buf + w, n - w, "%s#%zu \"%s\"", i ? ", " : "", i + 1, text);
		w += more > 0 ? (size_t)more : 0;
	}
}

void sample_look(const struct sample *s, size_t column, struct column_look *out)
{
	*out = (struct column_look){ 0 };
	for (size_t i = s->data; i < s->n_rows; i++) {
		struct cell c = sample_cell(s, i, column);
		struct when w = { 0 };
		double number;
		if (s->rows[i].n < s->rows[s->data].n)
			continue;
		out->rows++;
		if (c.n == 0 || cellnum_read(c.p, c.n, 0).kind == CELLNUM_MISSING)
			continue;
		out->filled++;
		if (time_number(c, &number)) {
			enum time_kind kind = time_kind_of(number);
			out->numbers++;
			out->serials += kind == TIME_SERIAL;
			out->epochs += kind == TIME_EPOCH;
			out->epochs_ms += kind == TIME_EPOCH_MS;
		}
		unsigned orders = when_orders(c.p, c.n);
		enum layout_order order = orders & 1U << ORDER_DMY   ? ORDER_DMY
					  : orders & 1U << ORDER_MDY ? ORDER_MDY
								     : ORDER_YMD;
		if (s->pattern ? !when_pattern(c.p, c.n, s->pattern, &w)
			       : !when_text(c.p, c.n, order, &w))
			continue;
		out->dates += w.has_date;
		out->clocks += w.has_clock;
		out->midnights += w.has_date && w.has_clock && w.clock_s == 0;
		out->offsets += w.has_offset;
	}
}
