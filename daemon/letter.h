/* Letters whole as they go out: headers by RFC 5322, with what is not ASCII as RFC 2047 encodes it, body by RFC 2045 and
 * 2046. Every octet is ASCII, every line ends CRLF and has at most 78 octets unless an address alone is longer, so that a
 * server has nothing to change. The same parts give the same bytes; nothing here looks at a clock.
 *
 * With a calendar: multipart/mixed( multipart/alternative( text/plain, text/calendar ), application/ics ), the two
 * calendars the same bytes (RFC 6047 2.4, 2.5). Automatic mail says so (RFC 3834 5). */
#ifndef DAEMON_LETTER_H
#define DAEMON_LETTER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "core/err.h"

enum { LETTER_ID_SIZE = 128 };

/* Names, subject and text are cleaned as utf8_clean does, and but for the text put on one line; addresses have to be
 * address_good. */
struct letter_parts {
	const char *from, *from_name; /* the name "" : none */
	const char *to, *to_name;
	const char *subject;
	const char *text; /* lines end LF */
	const char *message_id; /* of letter_id */
	int64_t date_s; /* written in UTC */
	bool can_stop; /* answering with the subject `stop` ends this mail (RFC 2369 3.2) */
	const char *calendar; /* NULL: none */
	size_t calendar_n;
	const char *method; /* its METHOD */
};

/* A Message-ID with its brackets, random before the @ and the domain of `from` behind it. */
MUST_USE enum rc letter_id(const char *from, char id[LETTER_ID_SIZE], struct err *err);

/* *bytes is the caller's (mem_free), NUL-terminated; len does not count that. RC_INPUT: an address is not good. */
MUST_USE enum rc letter_write(
	const struct letter_parts *l, char **bytes, size_t *len, struct err *err);

#endif
