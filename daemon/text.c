#include "daemon/text.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

void text_add(char *buf, size_t size, const char *fmt, ...)
{
	size_t used = strnlen(buf, size);
	va_list ap;
	va_start(ap, fmt);
	if (used < size)
		(void)vsnprintf(buf + used, size - used, fmt, ap);
	va_end(ap);
}

const char *text_or(const char *text, const char *instead)
{
	return text[0] ? text : instead;
}
