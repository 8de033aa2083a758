#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/recordtext_int.h"

struct printer {
	char *buf;
	size_t size, used;
	bool full;
	bool placed; /* each setting on its own line of the file */
	int line;
};

static void put(struct printer *p, const char *fmt, ...) PRINTF_LIKE(2, 3);
static void put(struct printer *p, const char *fmt, ...)
{
	va_list ap;
	va_start(ap, fmt);
	int n = p->full ? -1 : vsnprintf(p->buf + p->used, p->size - p->used, fmt, ap);
	va_end(ap);
	p->full = n < 0 || (size_t)n >= p->size - p->used;
	p->used += p->full ? 0 : (size_t)n;
}

/* What libconfig would take for a character of its own is written in hexadecimal. */
static void put_text(struct printer *p, const char *text)
{
	put(p, "\"");
	for (; *text && !p->full; text++) {
		unsigned char c = (unsigned char)*text;
		if (c < 0x20 || c == 0x7f)
			put(p, "\\x%02x", (unsigned)c);
		else
			put(p, c == '"' || c == '\\' ? "\\%c" : "%c", c);
	}
	put(p, "\"");
}

/* The fewest digits that read back to the same bits, with a point or an exponent so that it stays a float. */
static void put_float(struct printer *p, double v)
{
	char text[40];
	int digits = 1;
	do
		(void)snprintf(text, sizeof text, "%.*g", digits, v);
	while (strtod(text, NULL) != v && digits++ < 17);
	put(p, "%s%s", text, strpbrk(text, ".e") ? "" : ".0");
}

static void put_value(struct printer *p, const config_setting_t *s);

static void put_setting(struct printer *p, const config_setting_t *s)
{
	while (p->placed && !p->full && p->line < schema_line(s)) {
		put(p, "\n");
		p->line++;
	}
	if (config_setting_name(s))
		put(p, "%s = ", config_setting_name(s));
	put_value(p, s);
}

static void put_all(
	struct printer *p, const config_setting_t *s, const char *between, const char *after)
{
	int n = config_setting_length(s);
	for (int i = 0; i < n && !p->full; i++) {
		put_setting(p, config_setting_get_elem(s, (unsigned)i));
		put(p, "%s", i + 1 < n ? between : after);
	}
}

static void put_value(struct printer *p, const config_setting_t *s)
{
	switch (config_setting_type(s)) {
	case CONFIG_TYPE_INT:
		put(p, "%d", config_setting_get_int(s));
		break;
	case CONFIG_TYPE_INT64:
		put(p, "%lldL", config_setting_get_int64(s));
		break;
	case CONFIG_TYPE_FLOAT:
		put_float(p, config_setting_get_float(s));
		break;
	case CONFIG_TYPE_BOOL:
		put(p, "%s", config_setting_get_bool(s) ? "true" : "false");
		break;
	case CONFIG_TYPE_STRING:
		put_text(p, config_setting_get_string(s));
		break;
	case CONFIG_TYPE_GROUP:
		put(p, "{ ");
		put_all(p, s, "; ", "; ");
		put(p, "}");
		break;
	case CONFIG_TYPE_ARRAY:
		put(p, "[");
		put_all(p, s, ", ", "");
		put(p, "]");
		break;
	default:
		put(p, "(");
		put_all(p, s, ", ", "");
		put(p, ")");
		break;
	}
}

/* The settings of a group, one after the other on one line. False when it does not fit. */
static bool settings_text(char *buf, size_t n, const config_setting_t *group)
{
	struct printer p = { .buf = buf, .size = n };
	buf[0] = '\0';
	put_all(&p, group, "; ", ";");
	return !p.full;
}

bool recordtext_setting(char *buf, size_t n, const config_setting_t *setting)
{
	struct printer p = { .buf = buf, .size = n };
	buf[0] = '\0';
	put_setting(&p, setting);
	return !p.full;
}

void recordtext_quote(char *buf, size_t n, const char *text)
{
	struct printer p = { .buf = buf, .size = n };
	buf[0] = '\0';
	put_text(&p, text);
}

/* The last line of a group: that of its last setting. */
static int last_line(const config_setting_t *s)
{
	int line = schema_line(s);
	int n = config_setting_is_aggregate(s) ? config_setting_length(s) : 0;
	for (int i = 0; i < n; i++) {
		int other = last_line(config_setting_get_elem(s, (unsigned)i));
		line = other > line ? other : line;
	}
	return line;
}

/* The settings of a group, each on the line where it stands in its file, for faults that tell lines. NULL when out of
 * memory; the caller's (mem_free). */
static char *placed_text(const config_setting_t *group)
{
	size_t size = (size_t)last_line(group) + OVERRIDES_SIZE + 1;
	struct printer p = { .buf = mem_new(size, 1), .size = size, .placed = true, .line = 1 };
	if (p.buf)
		put_all(&p, group, "; ", ";");
	return p.buf;
}

/* ---- overrides ---- */

/* Overrides of the text, else the stored ones, which have to go with a new build too. Faults of the text's come at
 * their own lines: they are looked for again with each setting laid out on its line. */
static void check_overrides(struct said *x, const config_setting_t *group, const char *what,
	const char *text, const struct build *base)
{
	struct build merged;
	struct faults found = { 0 };
	size_t before = x->faults->n + x->faults->beyond;
	const config_setting_t *s = schema_member(group, "overrides");
	enum rc rc = library_override(x->lib, base, text, "stored overrides", &merged, &found);
	if (rc != RC_OK && s) {
		char *placed = placed_text(s);
		rc = library_override(x->lib, base, placed ? placed : text, schema_file_ref(s),
			&merged, x->faults);
		mem_free(placed);
	}
	for (size_t i = 0; !s && i < found.n; i++)
		schema_fault(x->faults, group, what, NULL, "%s", found.text[i]);
	if (found.n + found.beyond > 0 &&
		x->faults->n + x->faults->beyond == before) /* it came and went */
		x->rc = err_set(x->err, RC_MEM, "records: out of memory");
	faults_done(&found);
}

/* Two texts of overrides that say the same; the stored one may have been typed by hand. */
static bool same_overrides(const char *stored, const char *canonical)
{
	config_t cfg;
	struct faults quiet = { 0 };
	char again[OVERRIDES_SIZE];
	if (strcmp(stored, canonical) == 0)
		return true;
	if (!stored[0])
		return false;
	bool same = schema_open_text(&cfg, "overrides", stored, &quiet) &&
		    settings_text(again, sizeof again, config_root_setting(&cfg)) &&
		    strcmp(again, canonical) == 0;
	config_destroy(&cfg);
	faults_done(&quiet);
	return same;
}

void recordtext_overrides(struct said *x, const config_setting_t *group, const char *what,
	struct instrument *record, const struct build *base)
{
	char text[OVERRIDES_SIZE];
	const config_setting_t *s = schema_member(group, "overrides");
	if (s && !config_setting_is_group(s)) {
		schema_fault(x->faults, group, what, "overrides", "wrong type: a group { ... }");
		return;
	}
	if (s && !settings_text(text, sizeof text, s)) {
		schema_fault(x->faults, group, what, "overrides", "too long: at most %d bytes",
			OVERRIDES_SIZE - 1);
		return;
	}
	if (s && !same_overrides(record->overrides, text))
		memcpy(record->overrides, text, sizeof text);
	if (base)
		check_overrides(x, group, what, record->overrides, base);
}
