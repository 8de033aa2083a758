/* Method: a length is tried in the units of the bench with ever more decimals until the text reads back to the very
 * same double; people's own texts come back short. Not every double is a double times a given unit, so for the rest
 * the neighbours are tried too, and metres last. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/finding.h"
#include "core/units.h"
#include "daemon/recordtext_int.h"
#include "daemon/text.h"

enum {
	DIGITS = 24, /* longest number that units reads */
	DECIMALS_FEW = 12,
	UNITS_BENCH = 4, /* the first ones are for people, the others for what came in by them */
	DENOMINATOR_MAX = 64
};

static const struct unit {
	const char *word;
	double metre;
} units[] = {
	{ "mm", 1e-3 },
	{ "/64in", METRE_PER_INCH / 64 },
	{ "in", METRE_PER_INCH },
	{ "thou", METRE_PER_THOU },
	{ "cm", 1e-2 },
	{ "um", 1e-6 },
	{ "m", 1 },
};
enum { UNITS = sizeof units / sizeof units[0] };

static bool length_as(
	char *buf, size_t n, double m, double amount, int decimals, const struct unit *u)
{
	double back = 0;
	(void)snprintf(buf, n, "%.*f%s", decimals, amount, u->word);
	return units_length(buf, &back) && back == m;
}

/* As many decimals as the reader takes, and a step beside when the product rounds away. */
static bool length_long(char *buf, size_t n, double m, const struct unit *u)
{
	double low = m / u->metre;
	int whole = snprintf(NULL, 0, "%.0f", fabs(low));
	low = nextafter(nextafter(low, -HUGE_VAL), -HUGE_VAL);
	for (int i = 0; i < 5; i++, low = nextafter(low, HUGE_VAL))
		if (length_as(buf, n, m, low, DIGITS - 1 - whole, u))
			return true;
	return false;
}

void recordtext_length(char *buf, size_t n, double m)
{
	for (size_t group = 0; group < UNITS; group += UNITS_BENCH)
		for (int decimals = 0; decimals <= DECIMALS_FEW; decimals++)
			for (size_t i = group; i < UNITS && i < group + UNITS_BENCH; i++)
				if (length_as(buf, n, m, m / units[i].metre, decimals, &units[i]))
					return;
	for (size_t i = 0; i < UNITS; i++)
		if (length_long(buf, n, m, &units[i]))
			return;
}

static bool turns_are(const char *text, double turns)
{
	double back = 0;
	return units_turns(text, &back) && back == turns;
}

void recordtext_turns(char *buf, size_t n, double turns)
{
	const char *sign = turns < 0 ? "-" : "";
	double size = fabs(turns), whole = floor(size);
	(void)snprintf(buf, n, "%s%.0f", sign, whole);
	if (turns_are(buf, turns))
		return;
	for (int under = 2; under <= DENOMINATOR_MAX; under++) {
		double over = round((size - whole) * under);
		if (whole > 0)
			(void)snprintf(buf, n, "%s%.0f %.0f/%d", sign, whole, over, under);
		else
			(void)snprintf(buf, n, "%s%.0f/%d", sign, over, under);
		if (turns_are(buf, turns))
			return;
	}
	for (int decimals = 1; decimals < DIGITS - 1; decimals++) {
		(void)snprintf(buf, n, "%.*f", decimals, turns);
		if (turns_are(buf, turns))
			return;
	}
}

void recordtext_print_time(char *buf, size_t n, const struct zone *zone, int64_t t_s)
{
	int32_t offset_s = zone_offset_s(zone, t_s);
	if (offset_s % 60 != 0)
		offset_s = 0; /* mean solar times of long ago have no ISO offset */
	int minutes = (offset_s < 0 ? -offset_s : offset_s) / 60;
	struct civil c = civil_at(t_s + offset_s);
	(void)snprintf(buf, n, "%04d-%02d-%02dT%02d:%02d:%02d%c%02d:%02d", c.year, c.month, c.day,
		c.hour, c.minute, c.second, offset_s < 0 ? '-' : '+', minutes / 60, minutes % 60);
}

/* ---- a finding as a person writes it ---- */

static enum rc unknown_word(const char *word, bool of_sensor, struct err *err)
{
	const struct finding_word *words = finding_words();
	const char *names[FINDING_KINDS];
	char hint[400];
	size_t n = 0;
	for (size_t i = 0; i < FINDING_KINDS; i++)
		if (words[i].of_sensor == of_sensor)
			names[n++] = words[i].name;
	schema_hint(hint, sizeof hint, word, names, n);
	const char *why = finding_by_name(word) == FINDING_KINDS ? "no such word"
			  : of_sensor ? "said of an instrument, not of a sensor"
				      : "said of a sensor, not of an instrument";
	return err_set(err, RC_UNKNOWN, "finding \"%.40s\": %s: %s", word, why, hint);
}

static enum rc read_event(
	const struct finding_word *w, const char *value, double *out, struct err *err)
{
	if (value && value[0] && strcmp(value, "yes") != 0 && strcmp(value, "true") != 0)
		return err_set(err, RC_INPUT,
			"%s = \"%.40s\": takes no value: leave it out when it did not happen",
			w->name, value);
	*out = (double)NAN;
	return RC_OK;
}

static bool only_digits(const char *text)
{
	return text[strspn(text, "+-.0123456789 \t")] == '\0' && strpbrk(text, "0123456789");
}

static enum rc read_number(
	const struct finding_word *w, const char *value, double *out, struct err *err)
{
	bool length = w->unit == FINDING_LENGTH;
	const char *such =
		length ? "a length such as .010in, 6/64in or 0.25mm" : "turns such as 1/6 or 0.25";
	double v = 0;
	if (!value || !value[0])
		return err_set(err, RC_INPUT, "%s: a value is missing: %s", w->name, such);
	if (length && only_digits(value) && !units_length(value, &v))
		return err_set(err, RC_INPUT,
			"%s = \"%.40s\": inches or millimetres? say .010in or 0.25mm", w->name,
			value);
	if (!(length ? units_length(value, &v) : units_turns(value, &v)))
		return err_set(
			err, RC_INPUT, "%s = \"%.40s\": not understood: %s", w->name, value, such);
	if (v < w->low || v > w->high) {
		double scale = length ? 1000 : 1;
		return err_set(err, RC_INPUT, "%s = \"%.40s\": cannot be true: %g to %g %s",
			w->name, value, w->low * scale, w->high * scale, length ? "mm" : "turns");
	}
	*out = v + 0.0; /* no negative zero */
	return RC_OK;
}

enum rc recordtext_finding(const char *word, const char *value, bool of_sensor, int *kind,
	double *out, struct err *err)
{
	enum finding_kind k = finding_by_name(word);
	if (k == FINDING_KINDS || finding_words()[k].of_sensor != of_sensor)
		return unknown_word(word, of_sensor, err);
	const struct finding_word *w = &finding_words()[k];
	enum rc rc = w->unit == FINDING_EVENT ? read_event(w, value, out, err)
					      : read_number(w, value, out, err);
	if (rc == RC_OK)
		*kind = (int)k;
	return rc;
}
