/* Delimited text as rows of cells: bytes of any usual encoding in, one record at a time out.
 *
 * Quotes may hold delimiters, line ends and doubled quotes. Memory stays flat whatever the file
 * holds: a record longer than IMPORT_LINE_MAX is told as one bad row and skipped by blocks. */
#ifndef DAEMON_DELIMITED_H
#define DAEMON_DELIMITED_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "core/err.h"
#include "daemon/layout.h"
#include "daemon/row.h"

enum { DELIMITED_SAMPLE = 65536 };

struct delimited;

/* Opens path and looks at its beginning. known: enum layout_encoding.
 * Errors: RC_IO, RC_INPUT (empty, binary), RC_MEM. delimited_close releases it. */
MUST_USE enum rc delimited_open(
	const char *path, int known, struct delimited **out, struct err *err);
/* The same of text in memory, borrowed until delimited_close; name is for messages. */
MUST_USE enum rc delimited_open_bytes(const char *name, const void *bytes, size_t n, int known,
	struct delimited **out, struct err *err);
void delimited_close(struct delimited *d);

/* Words for the encoding found, `UTF-16 little endian`. */
const char *delimited_encoding(const struct delimited *d);
bool delimited_latin1(const struct delimited *d);
char delimited_eol(const struct delimited *d);

/* The first whole lines of the file, at most DELIMITED_SAMPLE bytes of UTF-8 (or Latin-1). Borrowed
 * until the first delimited_next. */
const char *delimited_sample_ref(const struct delimited *d, size_t *n);

/* The next row; false at the end of the file or when reading failed: delimited_result tells. */
bool delimited_next(struct delimited *d, char delimiter, struct row *row);
MUST_USE enum rc delimited_result(const struct delimited *d, struct err *err);

/* Back to the first row; false where the file cannot go back. */
bool delimited_rewind(struct delimited *d);

/* Bytes read and bytes of the file (0 when not known). */
int64_t delimited_done_bytes(const struct delimited *d);
int64_t delimited_all_bytes(const struct delimited *d);

#endif
