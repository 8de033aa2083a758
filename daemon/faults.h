/* A list of faults found in what people edit: all of them, not only the first.
 * Each reads `FILE:LINE: setting: what is wrong: what would be accepted`. */
#ifndef DAEMON_FAULTS_H
#define DAEMON_FAULTS_H

#include <stddef.h>

#include "core/err.h"

enum { FAULTS_MAX = 200 }; /* further ones are counted, not kept */

struct faults {
	size_t n; /* kept */
	size_t beyond; /* counted only */
	char *text[FAULTS_MAX];
};

/* file NULL: no place known. line 0: the whole file. */
void faults_add(struct faults *f, const char *file, int line, const char *fmt, ...)
	PRINTF_LIKE(4, 5);
/* Frees the texts; f is empty afterwards. */
void faults_done(struct faults *f);
/* RC_OK when empty; else RC_CONFIG with the first fault and the count of the others. */
MUST_USE enum rc faults_result(const struct faults *f, struct err *err);

/* The nearest of names[0..n) to text by edit distance, NULL when none is within 2 edits plus a
 * third of its length. */
const char *faults_nearest(const char *text, const char *const *names, size_t n);

#endif
