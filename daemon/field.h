/* One libconfig value by its schema row: read into the target, and both said in words. Used by
 * schema.c. */
#ifndef DAEMON_FIELD_H
#define DAEMON_FIELD_H

#include <stddef.h>

#include "daemon/schema.h"

/* The units of a time, the longest first. */
enum { FIELD_SPANS = 5 };
struct field_span {
	const char *word;
	double s;
};
extern const struct field_span field_spans[FIELD_SPANS];

/* A time as people write it, `1 h` or `90 min`, in seconds of any sign and size; false: not one. */
bool field_span_read(const char *text, double *s);

/* What went wrong with a value: why is NULL when all is well, at is the value or the entry of a
 * list. */
struct field_fault {
	const char *why;
	const config_setting_t *at;
};

extern const char field_too_small[], field_too_large[]; /* why, for numbers beyond their limits */

/* Reads s into the row's member of target. beside: the file that relative paths start from. */
struct field_fault field_put(
	const struct field *row, const config_setting_t *s, const char *beside, void *target);

/* What would be accepted: `a number, 0 to 100 %`. */
void field_accepts(char *buf, size_t n, const struct field *row);

/* The limits alone: `0 to 100 %`. */
void field_range(char *buf, size_t n, const struct field *row);

/* A value as a person would write it, cut to fit: `"shop"`, `4.5`, `[...]`. */
void field_value(char *buf, size_t n, const config_setting_t *s);

#endif
