/* One record of delimited text as cells. Quotes may hold delimiters, line ends and doubled
 * quotes. */
#ifndef DAEMON_ROW_H
#define DAEMON_ROW_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { ROW_CELLS_MAX = 512 };

/* Bytes of one cell without its quotes and the blanks round it; borrowed until the next row.
 * Doubled quotes inside are still double: cell_text makes them single. */
struct cell {
	const char *p;
	size_t n;
};

enum row_kind {
	ROW_CELLS,
	ROW_LONG, /* longer than IMPORT_LINE_MAX */
	ROW_QUOTE /* a quote is not closed, or text follows a closing quote */
};

struct row {
	enum row_kind kind;
	int64_t line; /* physical line it begins on, from 1 */
	size_t lines; /* physical lines it takes */
	bool ended; /* a line end follows it */
	size_t n; /* cells in it; those beyond ROW_CELLS_MAX are counted, not kept */
	struct cell cell[ROW_CELLS_MAX];
};

/* Splits the first record of text[0..n). eol: '\n', or '\r' in files that know no other. last:
 * nothing follows the text. Returns the bytes taken, 0 when the text holds no whole record (then
 * row is not set). line is left alone. */
size_t row_split(const char *text, size_t n, char delimiter, char eol, bool last, struct row *row);

/* The cell as UTF-8 on one line: doubled quotes single, control characters blank, bytes that are
 * not UTF-8 (or all, if latin1) taken as Latin-1. Cut to n bytes with the NUL at a character. */
void cell_text(struct cell c, bool latin1, char *buf, size_t n);

#endif
