/* What bytes mean: UTF-8, UTF-16 or Latin-1, told by a mark or by what they look like. */
#ifndef DAEMON_ENCODING_H
#define DAEMON_ENCODING_H

#include <stdbool.h>
#include <stddef.h>

enum encoding { ENCODED_UTF8, ENCODED_UTF16LE, ENCODED_UTF16BE, ENCODED_LATIN1, ENCODED_BINARY };

/* The encoding of a file that begins with p[0..n). *mark: bytes of its byte order mark. whole: p is
 * all of it. UTF-16 without a mark is taken when most characters are plain Latin ones. Binary: NULs
 * that are not UTF-16, or more than one byte in ten a control character. */
enum encoding encoding_of(const unsigned char *p, size_t n, bool whole, size_t *mark);

/* Bytes of the UTF-8 character at p, 0 when it is none; more than n when it is cut off. */
size_t encoding_utf8_length(const unsigned char *p, size_t n);

/* Writes a code point (up to 0x10FFFF) as UTF-8 into 4 bytes; returns their number. */
size_t encoding_put(unsigned long code, char *out);

/* UTF-16 to UTF-8. out holds 3 bytes for every 2 of in. *used: bytes of in taken; an odd byte or
 * half a surrogate pair at the end is left unless last. Returns the bytes written. */
size_t encoding_from_utf16(
	const unsigned char *in, size_t n, bool big, bool last, size_t *used, char *out);

#endif
