/* Agenda entries as iCalendar bytes (RFC 5545, 7986), built with libical and checked by our own linter.
 * Same entries, same bytes: nothing here looks at a clock. */
#ifndef DAEMON_CALENDAR_H
#define DAEMON_CALENDAR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "core/err.h"
#include "daemon/zone.h"

enum calendar_kind { CALENDAR_EVENTS, CALENDAR_TODOS };
enum entry_status { ENTRY_OPEN, ENTRY_DONE, ENTRY_CANCELLED };

/* One entry. Texts are UTF-8 (anything else is cleaned), NULL or "" : left out. */
struct calendar_entry {
	const char *uid; /* made once and stored */
	const char *summary, *description, *location, *contact, *categories;
	int64_t start_day, due_day; /* local day numbers; due_day >= start_day */
	int64_t alarm_s;            /* UTC instant of the reminder, TIME_NEVER: none */
	int priority;               /* 0: none, 1 high .. 9 low */
	int sequence;
	int64_t created_s, modified_s, done_s;
	enum entry_status status;
};

struct calendar_head {
	const char *title, *description, *zone; /* zone: IANA name for X-WR-TIMEZONE */
	const char *colour;                     /* CSS3 colour word, NULL: none */
	int64_t refresh_s;
};

/* The whole VCALENDAR with CRLF lines, at most 75 octets each. *bytes is the caller's (mem_free).
 * VEVENT: all-day on start_day, open entries only, TRANSP:TRANSPARENT. VTODO: DTSTART start_day, DUE
 * due_day when later, done ones with STATUS, COMPLETED, PERCENT-COMPLETE. The result has passed
 * calendar_lint; if it did not, RC_INPUT names line and rule. */
MUST_USE enum rc calendar_build(enum calendar_kind kind, const struct calendar_head *head,
	const struct calendar_entry *entries, size_t n, char **bytes, size_t *len, struct err *err);

/* Checks final bytes against RFC 5545 and our own rules; RC_INPUT with line, property and rule. */
MUST_USE enum rc calendar_lint(const char *bytes, size_t len, struct err *err);

/* A random UUID (version 4, lower case, 36 characters and NUL) from getrandom. */
MUST_USE enum rc calendar_uuid(char buf[37], struct err *err);

#endif
