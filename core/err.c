#include "err.h"

#include <stdarg.h>
#include <stdio.h>

enum rc err_set(struct err *err, enum rc code, const char *fmt, ...)
{
	if (!err || err->code != RC_OK)
		return code;
	err->code = code;
	va_list ap;
	va_start(ap, fmt);
	(void)vsnprintf(err->text, sizeof err->text, fmt, ap);
	va_end(ap);
	return code;
}
