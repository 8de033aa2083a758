#include "number.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *skip_blanks(const char *p)
{
	return p + strspn(p, " \t");
}

bool number_real(const char *text, double *out)
{
	const char *p = skip_blanks(text);
	const char *digits = p + (*p == '-' || *p == '+');
	if (strspn(digits, "0123456789.") == 0 || strpbrk(digits, "xX"))
		return false;
	char *end;
	double value = strtod(p, &end);
	if (end == p || *skip_blanks(end) || !isfinite(value))
		return false;
	*out = value;
	return true;
}

bool number_int(const char *text, int64_t *out)
{
	char *end;
	errno = 0;
	long long value = strtoll(text, &end, 10);
	if (end == text || *skip_blanks(end) || errno)
		return false;
	*out = value;
	return true;
}
