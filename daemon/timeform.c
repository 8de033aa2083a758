#include "daemon/timeform.h"

#include <math.h>
#include <string.h>

#include "core/number.h"

enum { NUMBER_MAX = 31 };

#define SERIAL_OF_1970 25569 /* days from 1899-12-30 to 1970-01-01 */

bool time_number(struct cell c, double *out)
{
	char text[NUMBER_MAX + 1];
	if (c.n == 0 || c.n > NUMBER_MAX)
		return false;
	memcpy(text, c.p, c.n);
	text[c.n] = '\0';
	char *comma = strchr(text, ',');
	if (comma)
		*comma = '.';
	return number_real(text, out);
}

enum time_kind time_kind_of(double number)
{
	if (number >= 18264 && number < 73051) /* 1950-01-01 .. 2100-01-01 */
		return TIME_SERIAL;
	if (number >= 1e8 && number < 4.2e9)
		return TIME_EPOCH;
	if (number >= 1e11 && number < 4.2e12)
		return TIME_EPOCH_MS;
	return TIME_TEXT;
}

static bool read_number(enum time_kind kind, struct cell c, struct when *out)
{
	double value;
	if (!time_number(c, &value) || time_kind_of(value) != kind)
		return false;
	double s = kind == TIME_SERIAL ? round((value - SERIAL_OF_1970) * (double)DAY_S)
				       : floor(kind == TIME_EPOCH ? value : value / 1000);
	int64_t whole = (int64_t)s;
	*out = (struct when){ .has_date = true, .has_clock = true };
	out->has_offset = kind != TIME_SERIAL;
	out->day = civil_floor(whole, DAY_S);
	out->clock_s = (int32_t)(whole - out->day * DAY_S);
	return true;
}

static bool read_text(
	const struct time_form *form, struct cell date, const struct cell *clock, struct when *out)
{
	if (!when_text(date.p, date.n, (enum layout_order)form->order, out) || !out->has_date)
		return false;
	if (clock) {
		struct when time;
		if (!when_text(clock->p, clock->n, ORDER_GUESS, &time) || !time.has_clock)
			return false;
		out->clock_s = time.clock_s;
		out->has_clock = true;
		if (time.has_offset) {
			out->has_offset = true;
			out->offset_s = time.offset_s;
		}
	} else if (!out->has_clock && form->noon) {
		out->clock_s = 12 * 3600;
		out->has_clock = true;
	}
	return out->has_clock;
}

bool time_read(
	const struct time_form *form, struct cell date, const struct cell *clock, struct when *out)
{
	switch (form->kind) {
	case TIME_TEXT:
		return read_text(form, date, clock, out);
	case TIME_SERIAL:
	case TIME_EPOCH:
	case TIME_EPOCH_MS:
		return read_number(form->kind, date, out);
	case TIME_PATTERN:
		break;
	}
	char joined[64];
	if (!clock)
		return when_pattern(date.p, date.n, form->pattern, out);
	if (date.n + clock->n + 1 > sizeof joined)
		return false;
	memcpy(joined, date.p, date.n);
	joined[date.n] = ' ';
	memcpy(joined + date.n + 1, clock->p, clock->n);
	return when_pattern(joined, date.n + 1 + clock->n, form->pattern, out);
}
