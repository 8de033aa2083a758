/* Passwords, tokens and keys. A setting says where one is kept, never what it is: the name of a systemd credential
 * (systemd.exec(5), LoadCredential=: a file in $CREDENTIALS_DIRECTORY), or the absolute path of a regular file that
 * belongs to us or root and that nobody else may read. Read when it is used, wiped after; never in logs, error texts or
 * arguments of programs. */
#ifndef DAEMON_SECRET_H
#define DAEMON_SECRET_H

#include <stdbool.h>
#include <stddef.h>

#include "core/err.h"

enum { SECRET_MAX = 4096 }; /* bytes, without the line end */

struct secret {
	size_t n;
	char text[SECRET_MAX + 3]; /* NUL-terminated; room for a line end and one byte too many */
};

/* One line of text; its line end is cut. The file is read each time, so a new token needs no reload. secret_wipe when
 * it has been used; nothing is left in *out on failure. RC_CONFIG: what credential names is not there, not a regular
 * file, not safe from others, empty, too long or more than one line; RC_IO. */
MUST_USE enum rc secret_read(const char *credential, struct secret *out, struct err *err);

/* Whether text[n] is the secret, in a time that depends on n and on nothing of the secret. */
bool secret_equal(const struct secret *s, const char *text, size_t n);

void secret_wipe(struct secret *s);

#endif
