/* Mail addresses in their plain form: the dot-atom of RFC 5322 3.4.1 on both sides of the @, within the lengths of RFC 5321
 * 4.5.3.1. No quotes, comments, literals, blanks or controls, so that one can stand in a header as it is. */
#ifndef DAEMON_ADDRESS_H
#define DAEMON_ADDRESS_H

#include <stdbool.h>

enum { ADDRESS_LOCAL_MAX = 64, ADDRESS_MAX = 254 };

bool address_good(const char *text);

/* Whether both name one mailbox; letter case does not count, though RFC 5321 2.4 would let it before the @. */
bool address_same(const char *a, const char *b);

/* What stands behind the @ of a good one. Borrowed. */
const char *address_domain(const char *text);

#endif
