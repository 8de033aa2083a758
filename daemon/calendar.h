/* Agenda entries as iCalendar bytes (RFC 5545, 7986), checked by our own linter. Same entries, same bytes:
 * nothing here looks at a clock, and PRODID names no version, so an upgrade of the program alone changes
 * no file. New data of time zones changes those that hold weekly events. */
#ifndef DAEMON_CALENDAR_H
#define DAEMON_CALENDAR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "core/civil.h"
#include "core/err.h"

#define CALENDAR_PRODID "-//seasond//seasond//EN"

enum calendar_kind { CALENDAR_EVENTS, CALENDAR_TODOS };
enum entry_status { ENTRY_OPEN, ENTRY_DONE, ENTRY_CANCELLED };

enum calendar_class { CLASS_PUBLIC, CLASS_PRIVATE, CLASS_CONFIDENTIAL }; /* PUBLIC is left out */

enum { CALENDAR_TEXT_MAX = 8192 }; /* octets of one text; the rest is cut off */
enum { CALENDAR_UID_SIZE = 255 }; /* with its NUL (RFC 7986 5.3) */

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
	enum calendar_class class;
	/* A time of day, for the event alone: a to-do keeps to its days. */
	int64_t at_s,
		length_s; /* from at_s (UTC) for 1 s to 31 days; length_s 0: all day on start_day */
	/* IANA name or NULL: at_s is the first of a weekly event at that wall-clock time of the zone, in the
	 * years 1971..2098, shorter than a day, not at a time that its clocks show twice that day. alarm_s, at
	 * most a week from at_s, then rings before each. */
	const char *weekly_zone;
	bool event_only; /* not among the to-dos */
};

struct calendar_head {
	const char *title, *description, *zone; /* zone: IANA name for X-WR-TIMEZONE */
	const char *colour; /* CSS3 colour word, NULL: none */
	int64_t refresh_s; /* how often to look for changes, 0: not said */
};

/* The whole VCALENDAR with CRLF lines, at most 75 octets each. *bytes is the caller's (mem_free),
 * len does not count its NUL. Entries keep their order.
 *
 * VEVENT: open entries only, all day on start_day and TRANSP:TRANSPARENT, or at their time and
 * TRANSP:OPAQUE; weekly ones with a VTIMEZONE for each zone, of which there can be 32. VTODO: DUE due_day, DTSTART
 * start_day when that is earlier, done ones with STATUS, COMPLETED, PERCENT-COMPLETE. Open ones
 * carry the alarm. With nothing to show the calendar holds one VTIMEZONE of UTC: RFC 5545 3.6 wants
 * a component, and clients show that one as an empty calendar.
 *
 * RC_INPUT names the entry at fault: days and times are limited to the years 1900..2999. The result
 * has passed calendar_lint; if it did not, RC_INPUT names line and rule. One thread only. */
MUST_USE enum rc calendar_build(enum calendar_kind kind, const struct calendar_head *head,
	const struct calendar_entry *entries, size_t n, char **bytes, size_t *len, struct err *err);

/* One entry alone, as a resource of a CalDAV collection (RFC 4791 4.1): no METHOD, no names of the
 * calendar. RC_INPUT also when its kind does not show it: closed entries as events, event_only as to-dos. */
MUST_USE enum rc calendar_resource(enum calendar_kind kind, const struct calendar_entry *entry,
	char **bytes, size_t *len, struct err *err);

/* A message about an event (RFC 5546 3.2.2, 3.2.5), the calendar part of a mail (RFC 6047): from organizer
 * to attendee, addresses without mailto:, names NULL or "" when there are none. modified_s is the time of
 * the message. A REQUEST asks for an open entry; a CANCEL rings no alarm, and its entry has a sequence above
 * the one it calls off. RC_INPUT says what is wrong: an address that is not one ASCII mailbox, no summary. */
enum calendar_method { METHOD_REQUEST, METHOD_CANCEL };
MUST_USE enum rc calendar_message(enum calendar_method method, const struct calendar_entry *entry,
	const char *organizer, const char *organizer_name, const char *attendee,
	const char *attendee_name, char **bytes, size_t *len, struct err *err);

/* Gives back what is kept between calls, time zones and libical's own; calendar_build may be called again afterwards. */
void calendar_done(void);

/* Checks final bytes against RFC 5545 and our own rules; RC_INPUT with line, property and rule. */
MUST_USE enum rc calendar_lint(const char *bytes, size_t len, struct err *err);

/* The same for a message: one METHOD, and what RFC 5546 3.2 wants beside it. */
MUST_USE enum rc calendar_lint_message(const char *bytes, size_t len, struct err *err);

/* A random UUID (version 4, lower case, 36 characters and NUL) from getrandom. */
MUST_USE enum rc calendar_uuid(char buf[37], struct err *err);

#endif
