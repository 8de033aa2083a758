#include "daemon/field.h"

#include <ctype.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "core/number.h"
#include "core/units.h"
#include "daemon/splice.h"

const struct field_span field_spans[] = {
	{ "y", 365 * 86400.0 },
	{ "d", 86400 },
	{ "h", 3600 },
	{ "min", 60 },
	{ "s", 1 },
};

const char field_too_small[] = "too small";
const char field_too_large[] = "too large";

static bool is_number(const config_setting_t *s)
{
	int type = config_setting_type(s);
	return type == CONFIG_TYPE_INT || type == CONFIG_TYPE_INT64 || type == CONFIG_TYPE_FLOAT;
}

static double number(const config_setting_t *s)
{
	if (config_setting_type(s) == CONFIG_TYPE_FLOAT)
		return config_setting_get_float(s);
	return (double)config_setting_get_int64(s);
}

static const char *out_of_range(const struct field *row, double v)
{
	if (!isfinite(v))
		return "no number";
	if (row->min == 0 && row->max == 0)
		return NULL;
	return v < row->min ? field_too_small : v > row->max ? field_too_large : NULL;
}

static const char *put_real(const struct field *row, const config_setting_t *s, double *out)
{
	if (!is_number(s))
		return "wrong type";
	const char *why = out_of_range(row, number(s));
	if (!why)
		*out = number(s);
	return why;
}

static const char *put_int(const struct field *row, const config_setting_t *s, int *out)
{
	if (!is_number(s) || config_setting_type(s) == CONFIG_TYPE_FLOAT)
		return "wrong type";
	double v = number(s);
	const char *why = out_of_range(row, v);
	if (!why)
		*out = (int)v;
	return why;
}

static const char *put_length(const struct field *row, const config_setting_t *s, double *out)
{
	const char *text = config_setting_get_string(s);
	double m = 0;
	if (!text)
		return is_number(s) ? "no unit" : "wrong type";
	if (!units_length(text, &m))
		return "no length";
	const char *why = out_of_range(row, m);
	if (!why)
		*out = m;
	return why;
}

bool field_span_read(const char *text, double *s)
{
	char digits[24];
	size_t n = strspn(text, "+-.0123456789");
	if (n == 0 || n >= sizeof digits)
		return false;
	(void)snprintf(digits, sizeof digits, "%.*s", (int)n, text);
	const char *word = text + n + strspn(text + n, " ");
	for (size_t i = 0; i < FIELD_SPANS; i++) {
		if (strcmp(word, field_spans[i].word) == 0 && number_real(digits, s)) {
			*s *= field_spans[i].s;
			return true;
		}
	}
	return false;
}

static const char *put_span(const struct field *row, const config_setting_t *s, int64_t *out)
{
	const char *text = config_setting_get_string(s);
	double v = 0;
	if (text && !field_span_read(text, &v))
		return "no time";
	if (!text && (!is_number(s) || config_setting_type(s) == CONFIG_TYPE_FLOAT))
		return "wrong type";
	if (!text)
		v = number(s);
	const char *why = out_of_range(row, v);
	if (!why && v != floor(v))
		why = "no whole number of seconds";
	if (!why)
		*out = (int64_t)v;
	return why;
}

static const char *put_word(const struct field *row, const config_setting_t *s, int *out)
{
	const char *text = config_setting_get_string(s);
	if (!text)
		return "wrong type";
	for (int i = 0; row->words[i]; i++) {
		if (strcmp(text, row->words[i]) == 0) {
			*out = i;
			return NULL;
		}
	}
	return "no such word";
}

static const char *name_fault(const char *text)
{
	if (!islower((unsigned char)text[0]) && !isdigit((unsigned char)text[0]))
		return "no short name";
	for (const char *p = text; *p; p++)
		if (!islower((unsigned char)*p) && !isdigit((unsigned char)*p) && *p != '-' &&
			*p != '_')
			return "no short name";
	return NULL;
}

static const char *text_fault(const struct field *row, const char *text)
{
	size_t len = strlen(text);
	if ((double)len < row->min)
		return len ? "too short" : "empty";
	if (row->max > 0 && (double)len > row->max)
		return "too long";
	for (const char *p = text; *p; p++)
		if (iscntrl((unsigned char)*p))
			return "holds a control character";
	if (!row->words)
		return NULL;
	for (int i = 0; row->words[i]; i++)
		if (strcmp(text, row->words[i]) == 0)
			return NULL;
	return "no such word";
}

static const char *put_text(
	const struct field *row, const config_setting_t *s, const char *beside, char *out)
{
	const char *text = config_setting_get_string(s);
	if (!text)
		return "wrong type";
	bool name = row->type == FIELD_NAME || row->type == FIELD_NAMES;
	bool path = row->type == FIELD_PATH || row->type == FIELD_PATHS;
	bool none = name && !text[0] && row->type == FIELD_NAME && row->fallback;
	const char *why = none ? NULL : name ? name_fault(text) : text_fault(row, text);
	if (why)
		return why;
	if (path && text[0])
		return splice_beside(beside, text, out, row->size) ? NULL : "too long";
	if (strlen(text) >= row->size)
		return "too long";
	memset(out, 0, row->size);
	memcpy(out, text, strlen(text));
	return NULL;
}

static bool is_row_of_values(const config_setting_t *s)
{
	return config_setting_is_array(s) || config_setting_is_list(s);
}

static struct field_fault put_list(
	const struct field *row, const config_setting_t *s, const char *beside, char *out)
{
	int n = config_setting_length(s);
	if (!is_row_of_values(s))
		return (struct field_fault){ "wrong type", s };
	if (n < (int)row->min)
		return (struct field_fault){ n ? "too few" : "empty", s };
	if (n > (int)row->max)
		return (struct field_fault){ "too many", s };
	memset(out, 0, row->size * (size_t)row->max);
	struct field one = *row;
	one.min = one.type == FIELD_PATHS;
	one.max = 0;
	for (int i = 0; i < n; i++) {
		const config_setting_t *at = config_setting_get_elem(s, (unsigned)i);
		const char *why = put_text(&one, at, beside, out + (size_t)i * row->size);
		if (why)
			return (struct field_fault){ why, at };
	}
	return (struct field_fault){ NULL, s };
}

static struct field_fault put_pair(const struct field *row, const config_setting_t *s, double *out)
{
	double v[2] = { 0, 0 };
	if (!is_row_of_values(s) || config_setting_length(s) != 2)
		return (struct field_fault){ "wrong type", s };
	for (unsigned i = 0; i < 2; i++) {
		const config_setting_t *at = config_setting_get_elem(s, i);
		const char *why = row->type == FIELD_LENGTHS ? put_length(row, at, &v[i])
							     : put_real(row, at, &v[i]);
		if (why)
			return (struct field_fault){ why, at };
	}
	if (v[0] >= v[1])
		return (struct field_fault){ "the first is not the lower one", s };
	memcpy(out, v, sizeof v);
	return (struct field_fault){ NULL, s };
}

struct field_fault field_put(
	const struct field *row, const config_setting_t *s, const char *beside, void *target)
{
	void *member = (char *)target + row->offset;
	const char *why = NULL;
	switch (row->type) {
	case FIELD_TEXT:
	case FIELD_NAME:
	case FIELD_PATH:
		why = put_text(row, s, beside, member);
		break;
	case FIELD_REAL:
		why = put_real(row, s, member);
		break;
	case FIELD_INT:
		why = put_int(row, s, member);
		break;
	case FIELD_BOOL:
		if (config_setting_type(s) == CONFIG_TYPE_BOOL)
			*(bool *)member = config_setting_get_bool(s) == CONFIG_TRUE;
		else
			why = "wrong type";
		break;
	case FIELD_LENGTH:
		why = put_length(row, s, member);
		break;
	case FIELD_SPAN:
		why = put_span(row, s, member);
		break;
	case FIELD_WORD:
		why = put_word(row, s, member);
		break;
	case FIELD_PAIR:
	case FIELD_LENGTHS:
		return put_pair(row, s, member);
	case FIELD_NAMES:
	case FIELD_PATHS:
	case FIELD_TEXTS:
		return put_list(row, s, beside, member);
	case FIELD_OTHER:
		break;
	}
	return (struct field_fault){ why, s };
}
