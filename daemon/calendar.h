/* Agenda entries as iCalendar bytes (RFC 5545, 7986), built with libical and checked by our own
 * linter. Same entries, same bytes: nothing here looks at a clock, and PRODID names no version, so
 * an upgrade of the program alone changes no file. */
#ifndef DAEMON_CALENDAR_H
#define DAEMON_CALENDAR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "core/civil.h"
#include "core/err.h"

enum calendar_kind { CALENDAR_EVENTS, CALENDAR_TODOS };
enum entry_status { ENTRY_OPEN, ENTRY_DONE, ENTRY_CANCELLED };

enum { CALENDAR_TEXT_MAX = 8192 }; /* octets of one text; the rest is cut off */

/* One entry. Texts are cleaned as utf8_clean does; NULL, "" and blanks: left out. */
struct calendar_entry {
	const char *uid; /* made once, stored: 1..254 letters, digits, hyphens (RFC 7986 5.3) */
	const char *summary, *description, *location, *contact;
	const char *categories; /* separated by commas; a name cannot hold , ; or backslash */
	int64_t start_day, due_day; /* local day numbers; due_day >= start_day */
	int64_t alarm_s; /* UTC instant of the reminder, TIME_NEVER: none */
	int priority; /* 0: none, 1 high .. 9 low */
	int sequence;
	int64_t created_s, modified_s, done_s; /* done_s counts only when done */
	enum entry_status status;
};

struct calendar_head {
	const char *title, *description, *zone; /* zone: IANA name for X-WR-TIMEZONE */
	const char *colour; /* CSS3 colour word, NULL: none */
	int64_t refresh_s; /* how often to look for changes, 0: not said */
};

/* The whole VCALENDAR with CRLF lines, at most 75 octets each. *bytes is the caller's (mem_free),
 * len does not count its NUL. Entries keep their order.
 *
 * VEVENT: open entries only, all day on start_day, TRANSP:TRANSPARENT. VTODO: DUE due_day, DTSTART
 * start_day when that is earlier, done ones with STATUS, COMPLETED, PERCENT-COMPLETE. Open ones
 * carry the alarm. With nothing to show the calendar holds one VTIMEZONE of UTC: RFC 5545 3.6 wants
 * a component, and clients show that one as an empty calendar.
 *
 * RC_INPUT names the entry at fault: days and times are limited to the years 1900..2999. The result
 * has passed calendar_lint; if it did not, RC_INPUT names line and rule. One thread only. */
MUST_USE enum rc calendar_build(enum calendar_kind kind, const struct calendar_head *head,
	const struct calendar_entry *entries, size_t n, char **bytes, size_t *len, struct err *err);

/* Gives back what libical keeps between calls; calendar_build may be called again afterwards. */
void calendar_done(void);

/* Checks final bytes against RFC 5545 and our own rules; RC_INPUT with line, property and rule. */
MUST_USE enum rc calendar_lint(const char *bytes, size_t len, struct err *err);

/* A random UUID (version 4, lower case, 36 characters and NUL) from getrandom. */
MUST_USE enum rc calendar_uuid(char buf[37], struct err *err);

#endif
