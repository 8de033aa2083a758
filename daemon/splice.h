/* Settings text with its @include lines laid in, and where each line came from.
 *
 * Method: we lay the files in ourselves and hand libconfig one text. Its own including ends the
 * process when the path is a folder, knows one base folder only and forgets it in messages. An
 * include path is absolute or relative to the folder of the file that includes it. Like
 * libconfig's, an @include stands first on its line, outside strings and comments. Also found
 * here, because libconfig lets them by: whole numbers beyond 32 bits (they wrap). */
#ifndef DAEMON_SPLICE_H
#define DAEMON_SPLICE_H

#include <stdbool.h>
#include <stddef.h>

#include "daemon/faults.h"

enum {
	SPLICE_DEPTH_MAX = 8,
	SPLICE_FILES_MAX = 256,
	SPLICE_BYTES_MAX = 4 * 1024 * 1024 /* of all files together */
};

struct splice;

/* NULL after faults. splice_free releases it. */
struct splice *splice_file(const char *path, struct faults *f);
/* Text in memory; includes are not allowed in it. name stands for the file in faults. */
struct splice *splice_memory(const char *name, const char *text, struct faults *f);
void splice_free(struct splice *sp);

const char *splice_text_ref(const struct splice *sp);
/* The first file. */
const char *splice_path_ref(const struct splice *sp);
/* File and line behind a line of the whole text; line 0 is the first file as a whole. */
const char *splice_where_ref(const struct splice *sp, int line, int *line_in_file);

/* path, or folder/path when it is relative and beside has a folder: the way every path in
 * settings is read. False when it does not fit. */
bool splice_beside(const char *beside, const char *path, char *buf, size_t n);

#endif
