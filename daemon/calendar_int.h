/* What the files of the calendar module share: calendar.c checks entries, calendar_print.c prints
 * them, calendar_zone.c their time zones, calendar_message.c who is invited. calendar_line.c folds lines
 * and takes them apart, calendar_rules.c says what may stand where, calendar_form.c what values look
 * like, calendar_lint.c judges the whole. */
#ifndef DAEMON_CALENDAR_INT_H
#define DAEMON_CALENDAR_INT_H

#include "daemon/calendar.h"

enum { CALENDAR_LINE_MAX = 75, CALENDAR_UID_MAX = 254 }; /* octets; RFC 5545 3.1, RFC 7986 5.3 */
enum { CALENDAR_ZONES_MAX = 32 }; /* time zones of one calendar */

/* What is to be printed. */
struct calendar_sheet {
	enum calendar_kind kind;
	const struct calendar_head *head; /* NULL: no names of the calendar */
	const struct calendar_entry *entries; /* checked */
	size_t n;
	const char *method; /* NULL: no message */
	const char *organizer,
		*attendee; /* of a message: lines without folds and end, up to 2000 octets */
};

/* The iCalendar text of *len octets; NULL when out of memory. The caller's (mem_free). */
char *calendar_print(const struct calendar_sheet *sheet, size_t *len);

/* Whether a calendar of that kind holds the entry. */
bool calendar_shows(enum calendar_kind kind, const struct calendar_entry *e);

/* Whether its event comes every week. */
bool calendar_weekly(const struct calendar_entry *e);

/* Checks the entry at place i. RC_INPUT with what is wrong. */
MUST_USE enum rc calendar_check(const struct calendar_entry *e, size_t i, struct err *err);

/* Prints and lints. */
MUST_USE enum rc calendar_sheet_build(
	const struct calendar_sheet *sheet, char **bytes, size_t *len, struct err *err);

/* The number of exactly n digits at p; false: other octets are among them. */
bool calendar_digits(const char *p, size_t n, int *value);

/* What libical says of our text of one entry, for what goes to servers and people singly: that it reads it without a
 * complaint and finds that UID in it. RC_INPUT with what it says. */
MUST_USE enum rc calendar_second_opinion(const char *bytes, const char *uid, struct err *err);

/* Names of UTC, which is written as Z and needs no VTIMEZONE. */
bool calendar_zone_utc(const char *name);

/* Whether a TZID can hold the name. */
bool calendar_zone_name_good(const char *name);

/* Seconds east of UTC in that zone, and what the clock's reading there can mean (daemon/zone.h); the
 * errors of zone_new. Zones stay until calendar_zones_done. */
struct zone_instants;
MUST_USE enum rc calendar_wall(const char *name, int64_t utc_s, int32_t *offset_s,
	struct zone_instants *wall, struct err *err);
void calendar_zones_done(void);

/* The VTIMEZONE, good from the beginning of that year (1971 or later). NULL: out of memory, no such zone.
 * The caller's (mem_free). */
char *calendar_zone_text(const char *name, int year);

/* Writes a line of n octets, CRLF among them, folded between its UTF-8 characters; returns the end.
 * out has room for n + 3 * (n / 71) octets. */
char *calendar_fold(char *out, const char *line, size_t n);

/* Whose text is read, and what is taken from it. */
enum calendar_manner {
	/* as seasond writes: CRLF, 75 octets, whole characters, names in capitals, known parameters */
	MANNER_OURS,
	/* as RFC 5545 allows: CRLF, lines of any length, characters parted by folds, any parameters */
	MANNER_FOREIGN,
	/* whatever a server has handed out: also LF alone, a last line without end, controls and bytes
	 * that are not UTF-8. What is no content line has the name "". Nothing is refused. */
	MANNER_SEEN
};

/* Content lines (RFC 5545 3.1) of bytes, unfolded one after the other into text. A caller that has
 * done with all lines so far may set used to 0. */
struct calendar_lines {
	const char *bytes;
	size_t len, at;
	enum calendar_manner manner;
	size_t number; /* physical lines read */
	char *text; /* len + 1 octets of the caller's; what lines point to stays there */
	size_t used;
};

struct calendar_line {
	size_t number; /* its first physical line, from 1 */
	size_t from, to; /* its octets in bytes, folds and line end among them */
	const char *name, *value; /* name in capitals */
	const char *type, *tzid; /* parameters VALUE (in capitals) and TZID, NULL: not there */
	const char *params; /* name NUL value NUL of each, without quotes, RFC 6868 decoded */
	size_t n_params;
};

/* Reads the next line. Call while lines->at < lines->len. RC_INPUT when octets, folds, name or
 * parameters break a rule of the manner. */
MUST_USE enum rc calendar_line_next(
	struct calendar_lines *lines, struct calendar_line *line, struct err *err);

/* The value of the parameter of that name (capitals), NULL: not there. */
const char *calendar_parameter(const struct calendar_line *line, const char *name);

/* How often a property stands in its component. */
enum calendar_often { OFTEN_MAYBE, OFTEN_ONCE, OFTEN_MANY };

/* What its value looks like. WHEN: a date, UTC or zoned. TRIGGER: UTC or a duration. LOCAL: in a VTIMEZONE.
 * TIME: date or time of any kind. PERSON: mailto: with parameters about who it is. */
enum calendar_form {
	FORM_ANY,
	FORM_TEXT,
	FORM_TEXTS,
	FORM_WORD,
	FORM_UID,
	FORM_UTC,
	FORM_WHEN,
	FORM_TIME,
	FORM_TRIGGER,
	FORM_LOCAL,
	FORM_NUMBER,
	FORM_DIGIT,
	FORM_PERCENT,
	FORM_OFFSET,
	FORM_DURATION, /* with VALUE=DURATION */
	FORM_PLAIN_DURATION, /* without VALUE */
	FORM_WEEKLY, /* RRULE of an event */
	FORM_YEARLY, /* RRULE of a time zone */
	FORM_PERSON
};

enum { CALENDAR_PROPERTIES = 24 };

struct calendar_rule {
	const char *name; /* NULL: no more */
	enum calendar_often often;
	enum calendar_form form;
	const char *words; /* FORM_WORD: those allowed; FORM_PERSON: parameters; parted by blanks */
};

struct calendar_component {
	const char *name;
	const char *parents; /* names parted by blanks, NULL: the outermost */
	bool holds; /* at least one component inside */
	struct calendar_rule rules[CALENDAR_PROPERTIES];
};

/* What seasond writes; NULL when there is none of that name. */
const struct calendar_component *calendar_component_named(const char *name);

/* What is judged in texts that others have been at; NULL: nothing but its form. */
const struct calendar_component *calendar_component_foreign(const char *name);

/* The rule that the value breaks, NULL: none. */
const char *calendar_form_fault(const struct calendar_rule *rule, const struct calendar_line *line);

/* The same for FORM_ANY, WORD, TIME, NUMBER and others of calendar_component_foreign. */
const char *calendar_foreign_fault(
	const struct calendar_rule *rule, const struct calendar_line *line);

/* 1..CALENDAR_UID_MAX letters, digits and hyphens (RFC 7986 5.3). */
bool calendar_uid_good(const char *uid);

/* True when word is one of those words. */
bool calendar_among(const char *words, const char *word);

/* The value of a part of a recurrence rule, to the semicolon behind it; NULL: there is no such part. */
const char *calendar_rule_part(const char *rule, const char *part);

/* Seconds since 1970-01-01 of the digits of a date or time of good form, without zone. */
int64_t calendar_digits_s(const char *value);

#endif
