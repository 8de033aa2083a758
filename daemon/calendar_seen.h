/* Entries as people and their programs left them on a server: what they say, and how our news is laid into them. Their
 * text is edited line by line and never printed anew through a parser, so what we do not know survives. */
#ifndef DAEMON_CALENDAR_SEEN_H
#define DAEMON_CALENDAR_SEEN_H

#include "daemon/calendar.h"
#include "daemon/zone.h"

enum { SEEN_TEXT_MAX = 1 << 20, SEEN_DESCRIPTION = 8192 };

/* What the one entry of a resource says; of several with one UID the one without RECURRENCE-ID. */
struct seen {
	char uid[CALENDAR_UID_SIZE];
	enum calendar_kind kind;
	bool done; /* a to-do's STATUS:COMPLETED, or COMPLETED, or PERCENT-COMPLETE:100, and not cancelled */
	int64_t done_s; /* COMPLETED (of a date: noon in the zone given), else LAST-MODIFIED; TIME_NEVER: neither */
	bool cancelled; /* STATUS:CANCELLED */
	bool has_day;
	int64_t day; /* of DUE, else DTSTART and DURATION (events: DTSTART), on the calendar of the zone given */
	int sequence; /* 0 when it says none */
	char description[SEEN_DESCRIPTION]; /* unescaped, cut off at the end of a character */
};

/* Line ends may be LF alone, as XML makes them. zone: for floating times. RC_INPUT: no calendar, no event or to-do with a
 * UID of at most 254 octets and without RECURRENCE-ID in it, BEGIN and END that do not match, larger than SEEN_TEXT_MAX:
 * what is wrong. One thread only (zone.h). */
MUST_USE enum rc calendar_seen(
	const char *text, size_t n, const struct zone *zone, struct seen *out, struct err *err);

/* Lays our news into their text. sent: our own text (calendar_resource) as it was when last put, without what was merged
 * into it; theirs: what is on the server now; ours: what we would put. A property of ours that differs between sent and
 * ours is written; one that they changed since sent stays as they have it. Decided together: DTSTART, DTEND, DUE, DURATION
 * and RRULE, and ours whenever day_ours; STATUS, COMPLETED and PERCENT-COMPLETE, and ours whenever we say done or
 * cancelled and they do not say done. What says nothing is no change of theirs: PERCENT-COMPLETE:0,
 * STATUS:NEEDS-ACTION, a DTSTART equal to DUE, parameters but TZID.
 *
 * Of DESCRIPTION our own lines are exchanged, theirs stay below, behind an empty line. Alarms are theirs once they changed
 * any; ACKNOWLEDGED, UID and X- in them are no change (RFC 9074). A VTIMEZONE that our times need comes along. When
 * anything is written, SEQUENCE is above theirs and at least ours, DTSTAMP and LAST-MODIFIED are ours, a METHOD goes (RFC
 * 4791 4.1), every line ends in CRLF. Everything else stays octet for octet, their folds and other components among it.
 *
 * *out is the caller's (mem_free); it has passed calendar_lint_foreign. *changed false: nothing of ours is missing in
 * theirs, *out NULL. Laid in twice it changes nothing. RC_INPUT: as calendar_seen, theirs has no entry of our UID and
 * kind, or a line that is none, or would not pass. */
MUST_USE enum rc calendar_merge(const char *sent, const char *theirs, const char *ours,
	bool day_ours, char **out, bool *changed, struct err *err);

/* The lines of their description that are not in ours: what people wrote. Both as struct seen has them; ours is that of
 * the text last sent, answers that were printed there among it. Calls line for each, trimmed, not empty. Blanks do not
 * count when lines are compared. */
void calendar_written(
	const char *ours, const char *theirs, void (*line)(void *arg, const char *text), void *arg);

/* As calendar_lint, for a text that others have been at: of what we do not write only the form of its lines, their
 * nesting and UTF-8 are judged, and METHOD is refused. */
MUST_USE enum rc calendar_lint_foreign(const char *bytes, size_t len, struct err *err);

#endif
