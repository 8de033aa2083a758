/* Bounded text building: appends to a NUL-terminated buffer, cutting what does not fit. */
#ifndef DAEMON_TEXT_H
#define DAEMON_TEXT_H

#include <stddef.h>

#include "core/err.h"

/* text, or instead when it is empty. */
const char *text_or(const char *text, const char *instead);

void text_add(char *buf, size_t size, const char *fmt, ...) PRINTF_LIKE(3, 4);

#endif
