/* libconfig groups as rows: each setting is one row with name, type, range, default, unit and help.
 * The row drives reading, error text and the man page. Unknown settings are faults, with the nearest
 * known name. Only this module reads libconfig values (its traps: a float look-up refuses `3`, an
 * int look-up of a too large value succeeds and sets nothing). */
#ifndef DAEMON_SCHEMA_H
#define DAEMON_SCHEMA_H

#include <stdbool.h>
#include <stddef.h>
#include <libconfig.h>

#include "daemon/faults.h"

enum field_type {
	FIELD_TEXT,   /* char[size]; min..max is its length in bytes */
	FIELD_NAME,   /* char[size]; a short name: lower-case letters, digits, - and _ */
	FIELD_REAL,   /* double; 3 is accepted as 3.0 */
	FIELD_INT,    /* int */
	FIELD_BOOL,   /* bool */
	FIELD_LENGTH, /* double metres; text in bench notation ("6/64", "2.7mm") */
	FIELD_SPAN,   /* int64_t seconds; a number of seconds or text "90 s", "15 min", "6 h", "30 d", "1 y" (365 d) */
	FIELD_WORD,   /* int (an enum); text out of words[], its index is stored */
	FIELD_NAMES,  /* char[max][size]: a list or array of short names, unused entries "" */
	FIELD_OTHER   /* known, but read by the caller (lists and groups) */
};

struct field {
	const char *name;
	enum field_type type;
	size_t offset; /* offsetof in the target struct */
	size_t size;   /* sizeof of the target member; for FIELD_NAMES of one entry */
	double min, max;
	const char *unit;         /* for messages; NULL: none */
	const char *fallback;     /* default as it would be written, NULL: the setting must be given */
	const char *const *words; /* FIELD_WORD: NULL-terminated */
	const char *help;         /* one line for people */
};

/* Reads one group into *target by the rows: defaults, types, ranges, unknown names. `what` names the
 * group in faults, e.g. `place "shop"`. Every fault is added; the rest is still read. */
void schema_read(const config_setting_t *group, const struct field *rows, size_t n_rows, void *target,
	const char *what, struct faults *f);

/* File and line of a setting (or of its nearest parent that knows). Borrowed from the config. */
const char *schema_file_ref(const config_setting_t *s);
int schema_line(const config_setting_t *s);

/* Opens and parses a file with @include relative to its own folder. A syntax error or an unreadable
 * file is a fault and returns false; cfg is initialised in every case: config_destroy it. */
bool schema_open(config_t *cfg, const char *path, struct faults *f);

/* The same for text in memory; name stands for the file in faults. */
bool schema_open_text(config_t *cfg, const char *name, const char *text, struct faults *f);

#endif
