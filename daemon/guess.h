/* What an export's columns mean: from what is known beforehand, its headings and its first rows.
 *
 * Each guess is told in words. Nothing is decided without evidence: what has none is RC_ASK with
 * the question and the setting that answers it. */
#ifndef DAEMON_GUESS_H
#define DAEMON_GUESS_H

#include <stdbool.h>
#include <stddef.h>

#include "core/err.h"
#include "daemon/import.h"
#include "daemon/layout.h"
#include "daemon/sample.h"
#include "daemon/timeform.h"
#include "daemon/zone.h"

enum { PLAN_STREAMS = 64, PLAN_NONE = -1 };

/* The columns of one sensor. */
struct plan_stream {
	int rh, temp; /* temp: PLAN_NONE when there is none */
	int temp_unit; /* enum layout_temp */
	char name[HEADING_TAG]; /* empty with one sensor or a column of names */
};

struct plan {
	char delimiter;
	char decimal; /* 0: either sign */
	int64_t data_line; /* the first row of readings */
	int time, clock, names; /* columns; clock and names may be PLAN_NONE */
	struct time_form form;
	unsigned order_rivals; /* bits 1 << enum layout_order: not yet told apart; 0: decided */
	bool order_evident; /* decided by what the file holds: a row against it is an error */
	bool newest_first;
	struct zone *zone; /* of times without an offset; NULL: none is known or wanted */
	int rh_unit; /* enum layout_rh */
	bool rh_by_values, temp_by_values; /* guessed from the sizes of values only */
	size_t n;
	struct plan_stream stream[PLAN_STREAMS];
	struct sample sample; /* cells are gone after the guess; headings and counts stay */
};

/* What the parts of the guess share. */
struct guess {
	const char *path;
	const struct layout *known;
	const struct import_sink *sink;
	const struct sample *s;
	struct plan *plan;
	struct column_look *look; /* one per column */
	struct err *err;
};

/* Fills the plan from the sample made before. plan_done releases zone and sample, also after an
 * error. Errors: RC_ASK, RC_INPUT, RC_UNKNOWN (zone), RC_MEM. */
MUST_USE enum rc guess_plan(struct plan *plan, const char *path, const struct layout *known,
	const struct import_sink *sink, struct err *err);
void plan_done(struct plan *plan);

/* Its parts: columns and form of the time, zone, and columns and units of the values. */
MUST_USE enum rc guess_time(struct guess *g);
MUST_USE enum rc guess_zone(struct guess *g);
MUST_USE enum rc guess_values(struct guess *g);
MUST_USE enum rc guess_units(struct guess *g);

/* Takes the orders out of *rivals that cannot be how this cell is written, unless none would be
 * left. */
void guess_narrow(unsigned *rivals, struct cell c);
/* Is the one order told by now? Sets the plan's form and tells, or RC_ASK. line: the row that
 * told. */
MUST_USE enum rc guess_order(struct plan *plan, const char *path, const struct import_sink *sink,
	int64_t line, struct err *err);

/* Tells a guess. */
void guess_tell(const struct import_sink *sink, const char *fmt, ...) PRINTF_LIKE(2, 3);

/* The column named by text (`#3` or its heading); what: the setting. RC_INPUT when there is
 * none. */
MUST_USE enum rc guess_column(
	const struct guess *g, const char *what, const char *text, int *column);

/* `#3 "RH"`, in buf. */
const char *guess_label(const struct guess *g, int column, char *buf, size_t n);

#endif
