/* Calendar text that others have been at, as a list of content lines with the octets they stand in, so that they can be
 * kept as they are. Read in MANNER_SEEN (calendar_int.h); empty lines are passed over. */
#ifndef DAEMON_CALENDAR_RAW_H
#define DAEMON_CALENDAR_RAW_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "core/err.h"
#include "daemon/calendar.h"
#include "daemon/zone.h"

enum { RAW_LINES_MAX = 20000, RAW_DEPTH_MAX = 8 };

struct raw_line {
	size_t at, len; /* its octets, from its first to the end of its last physical line */
	const char *name; /* in capitals; "" : no content line */
	const char *value; /* unfolded */
	const char *tzid; /* "" : none */
	int depth; /* components round it; of BEGIN and END: round theirs */
};

struct raw_text {
	const char *bytes; /* borrowed */
	char *text; /* what the lines point to */
	struct raw_line *lines;
	size_t n;
};

/* Lines from (BEGIN) to before to (after END). */
struct raw_span {
	size_t from, to;
};

/* RC_INPUT: larger than SEEN_TEXT_MAX, more lines or deeper than the caps, a NUL, BEGIN and END that do not match.
 * raw_free in any case. */
MUST_USE enum rc raw_read(const char *bytes, size_t n, struct raw_text *out, struct err *err);
void raw_free(struct raw_text *t);

/* The first VEVENT or VTODO without RECURRENCE-ID (RFC 4791 4.1); with that UID when uid is not NULL. */
bool raw_entry(
	const struct raw_text *t, const char *uid, struct raw_span *out, enum calendar_kind *kind);

/* The component of that name that begins at or after line *at, directly in the component round; moves *at behind it. */
bool raw_component(const struct raw_text *t, struct raw_span round, const char *name, size_t *at,
	struct raw_span *out);

/* The first property of that name of the component itself, not of one inside; NULL: none. */
const struct raw_line *raw_property(
	const struct raw_text *t, struct raw_span component, const char *name);

/* True for a property of the component itself. */
bool raw_is_own(const struct raw_text *t, struct raw_span component, size_t line);

/* Takes the backslashes out of a TEXT value (RFC 5545 3.3.11), in place. */
void raw_unescape(char *text);

/* The same word, whatever the case and the blanks round it. */
bool raw_is(const char *value, const char *word);

/* When a date or time is (RFC 5545 3.3.4, 3.3.5): UTC, by TZID, or floating, which is of the zone given. A TZID is the
 * zone given when it ends in its name (`/example.org/Europe/Berlin`), else the VTIMEZONE of the text, else the system's
 * zone of that name or of its last parts; unknown, it is taken as floating. */
struct raw_when {
	bool is_date;
	int64_t day; /* of a date as written, else on the calendar of the zone given */
	int64_t at_s; /* UTC; of a date its noon in the zone given */
};
bool raw_when(const struct raw_text *t, const struct raw_line *line, const struct zone *zone,
	struct raw_when *out);

/* A DURATION (RFC 5545 3.3.6) in seconds, up to 10 years; false: not one. */
bool raw_duration(const char *value, int64_t *s);

#endif
