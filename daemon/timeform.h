/* The form of the time in an export's rows, and reading one by it. */
#ifndef DAEMON_TIMEFORM_H
#define DAEMON_TIMEFORM_H

#include <stdbool.h>

#include "daemon/delimited.h"
#include "daemon/when.h"

enum time_kind {
	TIME_TEXT, /* dates and times of day in words and digits */
	TIME_SERIAL, /* days since 1899-12-30 with a fraction, as spreadsheets count */
	TIME_EPOCH, /* seconds since 1970-01-01 UTC */
	TIME_EPOCH_MS,
	TIME_PATTERN /* strptime(3) */
};

struct time_form {
	enum time_kind kind;
	int order; /* enum layout_order */
	char pattern[48];
	bool noon; /* the rows have no time of day: 12:00 */
};

/* clock: the cell of the time of day when it stands apart, else NULL. *out holds a date and a time
 * of day; epochs have an offset of 0. */
bool time_read(
	const struct time_form *form, struct cell date, const struct cell *clock, struct when *out);

/* The number in a cell, for telling serial days and epochs apart; false for text. */
bool time_number(struct cell c, double *out);

/* The kind a number of that size can be; TIME_TEXT for none. */
enum time_kind time_kind_of(double number);

#endif
