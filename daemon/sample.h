/* The first lines of an export as a table, and what its columns look like. */
#ifndef DAEMON_SAMPLE_H
#define DAEMON_SAMPLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "daemon/delimited.h"
#include "daemon/heading.h"

struct sample_row {
	int64_t line;
	size_t n, first; /* cells[first..first + n) */
};

struct sample {
	char delimiter;
	bool latin1;
	size_t n_rows, n_cells;
	struct sample_row *rows;
	struct cell *cells;
	size_t data; /* index of the first data row, n_rows when there is none */
	size_t width; /* cells of the header, or of most rows when there is none */
	const char *pattern; /* strptime(3) pattern of the dates, NULL: any usual form. Borrowed. */
	size_t header_rows; /* 0..2 rows that name the columns ... */
	size_t header_at[2]; /* ... and which */
	struct heading *heads; /* one per column */
};

/* Delimiter of the text: known if it is not 0, else the one that cuts most lines into the same
 * number of cells. A line `sep=;` decides. 0: none does. row is room to
 * work in. */
char sample_delimiter(const char *text, size_t n, char eol, char known, struct row *row);

/* Cuts the text into the table and finds header and data, with latin1 and pattern set before.
 * header_rows: 0 or less: guess. false: out of memory. sample_done releases it, also after a
 * failure. */
bool sample_make(
	struct sample *s, const char *text, size_t n, char delimiter, char eol, int header_rows);
void sample_done(struct sample *s);

/* The cell, empty where the row is shorter. */
struct cell sample_cell(const struct sample *s, size_t row, size_t column);

/* `#1 "Time", #2 "RH"`, cut to n bytes. */
void sample_columns(const struct sample *s, char *buf, size_t n);

/* What the cells of a column in the data rows look like. */
struct column_look {
	size_t rows; /* looked at: those as wide as most */
	size_t filled; /* neither blank nor a mark for nothing */
	size_t dates; /* a date, with a time of day or not */
	size_t clocks; /* a time of day, with a date or not */
	size_t midnights; /* a date with 00:00 */
	size_t offsets; /* with an offset to UTC */
	size_t numbers;
	size_t serials, epochs, epochs_ms; /* numbers of such a size */
};
void sample_look(const struct sample *s, size_t column, struct column_look *out);

#endif
