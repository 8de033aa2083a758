/* libconfig groups as rows: each setting is one row with name, type, range, default, unit and
 * help. The row drives reading, error text and the man page. Unknown settings are faults, with
 * the nearest known name. Only this module reads libconfig values (its traps: a float look-up
 * refuses `3`, an int look-up of a too large value succeeds and sets nothing; see also
 * splice.h). */
#ifndef DAEMON_SCHEMA_H
#define DAEMON_SCHEMA_H

#include <stdbool.h>
#include <stddef.h>
#include <libconfig.h>

#include "daemon/faults.h"

enum field_type {
	FIELD_TEXT, /* char[size]; min..max is its length in bytes; words: only these */
	FIELD_NAME, /* char[size]; a short name: lower-case letters, digits, - and _ */
	FIELD_PATH, /* char[size]; absolute, or put behind the folder of the first file; "" stays */
	FIELD_REAL, /* double; 3 is accepted as 3.0 */
	FIELD_INT, /* int; the row must have limits */
	FIELD_BOOL, /* bool */
	FIELD_LENGTH, /* double metres; text in bench notation ("6/64", "2.7mm") */
	FIELD_SPAN, /* int64_t seconds; a whole number of them or text "90 s", "15 min", "6 h", "30 d",
	               * "1 y" (365 d); the row must have limits */
	FIELD_WORD, /* int (an enum); text out of words[], its index is stored */
	FIELD_PAIR, /* double[2], two numbers, the low one first: [40, 55] */
	FIELD_LENGTHS, /* double[2], two lengths, the low one first: [".004in", ".012in"] */
	FIELD_NAMES, /* char[max][size]: list or array of short names, unused entries "", at least min */
	FIELD_PATHS, /* the same of paths */
	FIELD_TEXTS, /* the same of any text */
	FIELD_OTHER /* known, but read by the caller (lists and groups) */
};

/* min == max == 0: no limits. They are in the unit of the target (metres, seconds). */
struct field {
	const char *name;
	enum field_type type;
	size_t offset; /* offsetof in the target struct */
	size_t size; /* sizeof of the target member; for FIELD_NAMES and FIELD_PATHS of one entry */
	double min, max;
	const char *unit; /* for messages; NULL: none */
	const char *fallback; /* default as it is written in a file, with quotes; "": may be left
	                           * out, the target stays as it is; NULL: must be given */
	const char *const *words; /* FIELD_WORD, FIELD_TEXT: NULL-terminated */
	const char *help; /* one line for people */
};

/* Offset and size of a member; rows and their number. */
#define FIELD_AT(type, member) offsetof(struct type, member), sizeof(((struct type *)0)->member)
#define FIELD_ROWS(rows) rows, sizeof(rows) / sizeof((rows)[0])

/* A list of groups, each read by the same rows; one row must be called "name". */
struct schema_list {
	const char *name; /* of the setting: "places" */
	const char *noun; /* of one entry: "place" */
	const struct field *rows;
	size_t n_rows;
	size_t size; /* of one entry's struct */
	size_t min, max;
};

/* Reads one group into *target by the rows: defaults, types, ranges, unknown names. `what` names
 * the group in faults, e.g. `place "shop"`, "" for the root. Every fault is added; the rest is
 * still read. */
void schema_read(const config_setting_t *group, const struct field *rows, size_t n_rows,
	void *target, const char *what, struct faults *f);

/* The same, but what is not given stays as it is in *target. */
void schema_overlay(const config_setting_t *group, const struct field *rows, size_t n_rows,
	void *target, const char *what, struct faults *f);

/* Reads one setting by its row. */
void schema_read_one(const config_setting_t *group, const struct field *row, void *target,
	const char *what, struct faults *f);

/* Reads the list out of root into zeroed memory (the caller's: mem_free) and returns the count.
 * Entry i is element i of the list, also a faulty one. Equal names are faults. NULL when empty
 * or out of memory. */
size_t schema_read_list(const config_setting_t *root, const struct schema_list *list,
	void **entries, struct faults *f);

/* `place "shop"` by its name setting, else `place 3` (the first is 1). */
void schema_what(char *buf, size_t n, const config_setting_t *group, const char *noun);

/* A fault of one setting of a group, at its line and with its value when it is there; name NULL:
 * the group itself. The rest of the text is what is wrong and what would do. */
void schema_fault(struct faults *f, const config_setting_t *group, const char *what,
	const char *name, const char *fmt, ...) PRINTF_LIKE(5, 6);

/* Is the setting there, text, and one of the words? */
bool schema_is_word(const config_setting_t *group, const char *name, const char *const *words);

/* `did you mean "x"?` (the names that contain the text, else the nearest) or `known are a, b,
 * c`. */
void schema_hint(char *buf, size_t n, const char *text, const char *const *names, size_t n_names);

/* A list or group of a group by name, NULL when it is not there. */
config_setting_t *schema_member(const config_setting_t *group, const char *name);

/* File and line of a setting (or of its nearest parent that knows). Borrowed from the config. */
const char *schema_file_ref(const config_setting_t *s);
int schema_line(const config_setting_t *s);

/* Opens and parses a file with @include relative to the including file's folder. A syntax error
 * or an unreadable file is a fault and returns false; cfg is initialised in every case:
 * config_destroy it. */
bool schema_open(config_t *cfg, const char *path, struct faults *f);

/* The same for text in memory, without includes; name stands for the file in faults. */
bool schema_open_text(config_t *cfg, const char *name, const char *text, struct faults *f);

/* One line of help per row: `places.zone: a name; default "": ...`. */
void schema_print(const struct field *rows, size_t n_rows, const char *prefix,
	void (*line)(void *arg, const char *text), void *arg);

#endif
