/* Text that other people wrote, made fit to be shown or sent: valid UTF-8 (RFC 3629), no controls.
 * Bad bytes become U+FFFD, one for each maximal subpart (Unicode 15 section 3.9, as WHATWG does).
 */
#ifndef DAEMON_UTF8_H
#define DAEMON_UTF8_H

#include <stdbool.h>
#include <stddef.h>

/* Looks at the sequence at p[0..n), n > 0. *valid tells whether it is one character; the result is
 * its length, or how many bad bytes make one U+FFFD. */
size_t utf8_step(const char *p, size_t n, bool *valid);

/* How many of the first n octets are printable ASCII, blank included. */
size_t utf8_plain(const char *p, size_t n);

/* Copies text (NULL: "") into buf of size >= 4 and returns buf: bad bytes replaced, CRLF and lone
 * CR turned into LF, controls but TAB and LF dropped (C0, DEL, C1), blanks at both ends trimmed,
 * cut between characters when buf is too small. */
const char *utf8_clean(const char *text, char *buf, size_t size);

#endif
