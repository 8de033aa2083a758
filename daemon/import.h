/* Readings out of delimited exports, as they come from loggers and phone apps.
 *
 * The file is read in one pass after its first 64 KiB have been looked at to guess encoding,
 * delimiter, decimal sign, header, columns, date form, units and zone. Each guess is reported in
 * words; each can be fixed beforehand in a struct layout. What stays ambiguous (day or month first,
 * no zone, several humidity columns for one named sensor) is RC_ASK with the question and the
 * setting that answers it, never a silent choice. */
#ifndef DAEMON_IMPORT_H
#define DAEMON_IMPORT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "core/err.h"
#include "core/quality.h"
#include "daemon/layout.h"

enum { IMPORT_LINE_MAX = 65536 }; /* bytes; a longer line is refused as a whole */

/* What the importer tells its caller. Every call may be NULL. Texts are borrowed for the call. */
struct import_sink {
	void *arg;
	/* The sensor with that name in the file (a name cell, a column heading cut to what tells it
	 * apart, or "" when the file holds one nameless sensor): its number for `reading`, < 0 to
	 * refuse its rows. Asked once per name. */
	int (*sensor)(void *arg, const char *name);
	/* One reading. A result other than RC_OK ends the import with that code. */
	enum rc (*reading)(void *arg, int sensor, const struct quality_reading *r, int64_t line,
		struct err *err);
	void (*guess)(void *arg, const char *text); /* `decimal sign: comma` */
	void (*refused)(
		void *arg, int64_t line, const char *reason); /* a row that gave no reading */
	void (*progress)(void *arg, int64_t done_bytes, int64_t all_bytes);
};

struct import_result {
	int64_t rows; /* data rows read, whatever became of them */
	int64_t readings; /* handed to the sink */
	int64_t refused; /* rows refused; of several sensors in a row each counts */
};

/* Reads path. known: what is fixed beforehand (NULL: nothing). Errors: RC_IO, RC_INPUT (empty,
 * binary, no humidity column, no row readable), RC_ASK, or what the sink returned. *result is
 * written whatever comes of it once the file could be opened: readings handed on before an error
 * stay handed on, so a caller undoes them (one transaction) when the result is not RC_OK. */
MUST_USE enum rc import_file(const char *path, const struct layout *known,
	const struct import_sink *sink, struct import_result *result, struct err *err);

/* The same of text in memory; name stands for the path in messages. */
MUST_USE enum rc import_bytes(const char *name, const void *bytes, size_t n,
	const struct layout *known, const struct import_sink *sink, struct import_result *result,
	struct err *err);

#endif
