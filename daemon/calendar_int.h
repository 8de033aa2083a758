/* What the files of the calendar module share: calendar.c checks entries, calendar_ical.c prints
 * them, calendar_line.c folds lines and takes them apart, calendar_rules.c says what may stand in
 * them, calendar_lint.c judges the whole. */
#ifndef DAEMON_CALENDAR_INT_H
#define DAEMON_CALENDAR_INT_H

#include "daemon/calendar.h"

enum { CALENDAR_LINE_MAX = 75, CALENDAR_UID_MAX = 254 }; /* octets; RFC 5545 3.1, RFC 7986 5.3 */

/* Entries that calendar.c has checked, as iCalendar text of *len octets; NULL when out of memory.
 * The caller's (mem_free). */
char *calendar_print(enum calendar_kind kind, const struct calendar_head *head,
	const struct calendar_entry *entries, size_t n, size_t *len);

/* Takes all folds out of iCalendar text, in place: no value holds CR or LF. */
void calendar_unfold(char *text);

/* Writes a line of n octets, CRLF among them, folded between its UTF-8 characters; returns the end.
 * out has room for n + 3 * (n / 71) octets. */
char *calendar_fold(char *out, const char *line, size_t n);

/* Content lines (RFC 5545 3.1) of bytes, unfolded one after the other into text. */
struct calendar_lines {
	const char *bytes;
	size_t len, at;
	size_t number; /* physical lines read */
	char *text; /* len + 1 octets of the caller's; what lines point to stays there */
	size_t used;
};

struct calendar_line {
	size_t number; /* its first physical line, from 1 */
	const char *name, *value;
	const char *type, *tzid; /* parameters VALUE and TZID, NULL: not there */
};

/* Reads the next line. Call while lines->at < lines->len. RC_INPUT when octets, folds, name or
 * parameters break a rule. */
MUST_USE enum rc calendar_line_next(
	struct calendar_lines *lines, struct calendar_line *line, struct err *err);

/* How often a property stands in its component. */
enum calendar_often { OFTEN_MAYBE, OFTEN_ONCE, OFTEN_MANY };

/* What its value looks like. WHEN: a date, UTC or zoned. TRIGGER: UTC. LOCAL: in a VTIMEZONE. */
enum calendar_form {
	FORM_ANY,
	FORM_TEXT,
	FORM_TEXTS,
	FORM_WORD,
	FORM_UID,
	FORM_UTC,
	FORM_WHEN,
	FORM_TRIGGER,
	FORM_LOCAL,
	FORM_NUMBER,
	FORM_DIGIT,
	FORM_PERCENT,
	FORM_OFFSET,
	FORM_DURATION,
	FORM_X_DURATION /* of an X- property: no VALUE */
};

enum { CALENDAR_PROPERTIES = 20 };

struct calendar_rule {
	const char *name; /* NULL: no more */
	enum calendar_often often;
	enum calendar_form form;
	const char *words; /* FORM_WORD: those allowed, parted by blanks */
};

struct calendar_component {
	const char *name;
	const char *parents; /* names parted by blanks, NULL: the outermost */
	bool holds; /* at least one component inside */
	struct calendar_rule rules[CALENDAR_PROPERTIES];
};

/* NULL when there is none of that name. */
const struct calendar_component *calendar_component_named(const char *name);

/* The rule that the value breaks, NULL: none. */
const char *calendar_form_fault(const struct calendar_rule *rule, const struct calendar_line *line);

/* 1..CALENDAR_UID_MAX letters, digits and hyphens (RFC 7986 5.3). */
bool calendar_uid_good(const char *uid);

/* True when word is one of those words. */
bool calendar_among(const char *words, const char *word);

#endif
