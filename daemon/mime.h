/* Mail of others, taken apart as far as answers need it (RFC 5322, 2045, 2046, 2047): who wrote, about what, and the first
 * text/calendar part, decoded. Bytes may be anything. Line ends may be LF alone. What is attached as message/rfc822 is
 * not opened: it is what somebody else wrote before.
 *
 * Caps: MIME_MAX bytes, parts MIME_DEPTH_MAX deep and MIME_PARTS_MAX in all; of headers the first MIME_HEADER_MAX bytes. */
#ifndef DAEMON_MIME_H
#define DAEMON_MIME_H

#include <stddef.h>

#include "core/err.h"

enum { MIME_MAX = 1 << 20, MIME_DEPTH_MAX = 8, MIME_PARTS_MAX = 64, MIME_HEADER_MAX = 1000 };

struct mime {
	char from[256]; /* as address_good; "" : none, or nothing that is one */
	char subject[256]; /* one line of UTF-8, encoded words decoded */
	char message_id[200]; /* printable ASCII; "" : none, or too long */
	char *calendar; /* NULL: none; NUL-terminated */
	size_t n;
};

/* RC_INPUT: too large, too deep, too many parts. mime_done releases *out. */
MUST_USE enum rc mime_read(const char *bytes, size_t n, struct mime *out, struct err *err);
void mime_done(struct mime *m);

#endif
