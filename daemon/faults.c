#include "daemon/faults.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"

void faults_add(struct faults *f, const char *file, int line, const char *fmt, ...)
{
	char what[1024];
	va_list ap;
	va_start(ap, fmt);
	(void)vsnprintf(what, sizeof what, fmt, ap);
	va_end(ap);
	char text[1400];
	if (file && line > 0)
		(void)snprintf(text, sizeof text, "%s:%d: %s", file, line, what);
	else
		(void)snprintf(
			text, sizeof text, "%s%s%s", file ? file : "", file ? ": " : "", what);
	char *copy = f->n < FAULTS_MAX ? mem_text(text) : NULL;
	if (copy)
		f->text[f->n++] = copy;
	else
		f->beyond++;
}

void faults_done(struct faults *f)
{
	for (size_t i = 0; i < f->n; i++)
		mem_free(f->text[i]);
	*f = (struct faults){ 0 };
}

enum rc faults_result(const struct faults *f, struct err *err)
{
	size_t all = f->n + f->beyond;
	if (all == 0)
		return RC_OK;
	if (all == 1)
		return err_set(err, RC_CONFIG, "%s", f->n ? f->text[0] : "out of memory");
	return err_set(
		err, RC_CONFIG, "%s (and %zu more)", f->n ? f->text[0] : "out of memory", all - 1);
}

enum { NEAREST_MAX = 64 };

/* Levenshtein's edit distance of two short texts, one row at a time. */
static size_t edits(const char *a, const char *b)
{
	size_t n = strnlen(b, NEAREST_MAX);
	size_t row[NEAREST_MAX + 1];
	for (size_t j = 0; j <= n; j++)
		row[j] = j;
	for (size_t i = 1; a[i - 1] && i <= NEAREST_MAX; i++) {
		size_t diagonal = row[0];
		row[0] = i;
		for (size_t j = 1; j <= n; j++) {
			size_t best = diagonal + (a[i - 1] != b[j - 1]);
			diagonal = row[j];
			if (row[j] + 1 < best)
				best = row[j] + 1;
			if (row[j - 1] + 1 < best)
				best = row[j - 1] + 1;
			row[j] = best;
		}
	}
	return row[n];
}

const char *faults_nearest(const char *text, const char *const *names, size_t n)
{
	const char *best = NULL;
	size_t least = 3 + strlen(text) / 3;
	for (size_t i = 0; i < n; i++) {
		size_t d = edits(text, names[i]);
		if (d < least) {
			least = d;
			best = names[i];
		}
	}
	return best;
}
