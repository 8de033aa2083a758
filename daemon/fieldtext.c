/* What a schema row accepts and what a value is, in words: the other half of field.h. */
#include "daemon/field.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* Adds to a text, cut when full. */
static void add(char *buf, size_t n, const char *fmt, ...) PRINTF_LIKE(3, 4);
static void add(char *buf, size_t n, const char *fmt, ...)
{
	size_t len = strlen(buf);
	va_list ap;
	va_start(ap, fmt);
	(void)vsnprintf(buf + len, n - len, fmt, ap);
	va_end(ap);
}

static void add_limit(char *buf, size_t n, const struct field *row, double v)
{
	size_t i = 0;
	if (row->type == FIELD_LENGTH || row->type == FIELD_LENGTHS) {
		add(buf, n, "%gmm", v * 1000);
	} else if (row->type == FIELD_SPAN) {
		while (i < FIELD_SPANS - 1 && (v == 0 || fmod(v, field_spans[i].s) != 0))
			i++;
		add(buf, n, "%g %s", v / field_spans[i].s, field_spans[i].word);
	} else {
		add(buf, n, "%g", v);
	}
}

static void add_range(char *buf, size_t n, const struct field *row)
{
	add_limit(buf, n, row, row->min);
	add(buf, n, " to ");
	add_limit(buf, n, row, row->max);
	if (row->unit)
		add(buf, n, " %s", row->unit);
}

static void add_words(char *buf, size_t n, const char *const *words)
{
	for (size_t i = 0; words[i]; i++)
		add(buf, n, "%s\"%s\"", i == 0 ? "" : words[i + 1] ? ", " : " or ", words[i]);
}

static void add_text(char *buf, size_t n, const struct field *row)
{
	size_t most = row->max > 0 ? (size_t)row->max : row->size - 1;
	if (row->words)
		add_words(buf, n, row->words);
	else if (row->min > 0)
		add(buf, n, "text in quotes, %g to %zu bytes", row->min, most);
	else
		add(buf, n, "text in quotes, at most %zu bytes", most);
}

static void add_list(char *buf, size_t n, const struct field *row, const char *of)
{
	if (row->min > 0)
		add(buf, n, "a list of %g to %g %s", row->min, row->max, of);
	else
		add(buf, n, "a list of at most %g %s", row->max, of);
}

void field_accepts(char *buf, size_t n, const struct field *row)
{
	buf[0] = '\0';
	switch (row->type) {
	case FIELD_TEXT:
		add_text(buf, n, row);
		return;
	case FIELD_NAME:
		add(buf, n, "lower-case letters, digits, - and _, at most %zu", row->size - 1);
		return;
	case FIELD_PATH:
		add(buf, n, "a path in quotes");
		return;
	case FIELD_REAL:
		add(buf, n, "a number");
		break;
	case FIELD_INT:
		add(buf, n, "a whole number");
		break;
	case FIELD_BOOL:
		add(buf, n, "true or false");
		return;
	case FIELD_LENGTH:
		add(buf, n, "a length with its unit, such as \"2.7mm\"");
		break;
	case FIELD_SPAN:
		add(buf, n, "a time, such as \"15 min\", \"6 h\" or \"30 d\"");
		break;
	case FIELD_WORD:
		add_words(buf, n, row->words);
		return;
	case FIELD_PAIR:
		add(buf, n, "two numbers, the low one first");
		break;
	case FIELD_LENGTHS:
		add(buf, n, "two lengths, the low one first, such as [\".004in\", \".012in\"]");
		break;
	case FIELD_NAMES:
		add_list(buf, n, row, "names");
		return;
	case FIELD_PATHS:
		add_list(buf, n, row, "paths");
		return;
	case FIELD_TEXTS:
		add_list(buf, n, row, "texts");
		return;
	case FIELD_OTHER:
		add(buf, n, "%s", row->unit ? row->unit : "a list of groups");
		return;
	}
	if (row->min == 0 && row->max == 0)
		return;
	add(buf, n, ", ");
	add_range(buf, n, row);
}

void field_range(char *buf, size_t n, const struct field *row)
{
	buf[0] = '\0';
	add_range(buf, n, row);
}

static void add_quoted(char *buf, size_t n, const char *text)
{
	enum { SHOWN = 48 };
	add(buf, n, "\"");
	size_t from = strlen(buf);
	add(buf, n, "%.*s", SHOWN, text);
	for (char *p = buf + from; *p; p++)
		*p = iscntrl((unsigned char)*p) ? '?' : *p;
	add(buf, n, strlen(text) > SHOWN ? "...\"" : "\"");
}

void field_value(char *buf, size_t n, const config_setting_t *s)
{
	buf[0] = '\0';
	switch (config_setting_type(s)) {
	case CONFIG_TYPE_STRING:
		add_quoted(buf, n, config_setting_get_string(s));
		break;
	case CONFIG_TYPE_INT:
	case CONFIG_TYPE_INT64:
		add(buf, n, "%lld", config_setting_get_int64(s));
		break;
	case CONFIG_TYPE_FLOAT:
		add(buf, n, "%g", config_setting_get_float(s));
		break;
	case CONFIG_TYPE_BOOL:
		add(buf, n, "%s", config_setting_get_bool(s) ? "true" : "false");
		break;
	case CONFIG_TYPE_GROUP:
		add(buf, n, "{...}");
		break;
	default:
		add(buf, n, config_setting_length(s) ? "[...]" : "[]");
		break;
	}
}
