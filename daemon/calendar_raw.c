#include "daemon/calendar_raw.h"

#include <string.h>

#include "core/mem.h"
#include "daemon/calendar_int.h"
#include "daemon/calendar_seen.h"

static char upper(char c)
{
	return (char)(c >= 'a' && c <= 'z' ? c - 'a' + 'A' : c);
}

bool raw_is(const char *value, const char *word)
{
	value += strspn(value, " \t");
	while (*word && upper(*value) == upper(*word)) {
		value++;
		word++;
	}
	return !*word && value[strspn(value, " \t")] == '\0';
}

/* Says how deep each line stands. */
static enum rc nest(struct raw_text *t, struct err *err)
{
	const char *open[RAW_DEPTH_MAX];
	int depth = 0;
	for (size_t i = 0; i < t->n; i++) {
		struct raw_line *line = &t->lines[i];
		bool begin = strcmp(line->name, "BEGIN") == 0, end = strcmp(line->name, "END") == 0;
		if (end && (depth == 0 || !raw_is(line->value, open[depth - 1])))
			return err_set(err, RC_INPUT, "calendar: END:%.40s: without its BEGIN",
				line->value);
		depth -= end;
		line->depth = depth;
		if (begin && depth == RAW_DEPTH_MAX)
			return err_set(err, RC_INPUT, "calendar: more than %d components deep",
				RAW_DEPTH_MAX);
		if (begin)
			open[depth++] = line->value;
	}
	return depth == 0 ? RC_OK
			  : err_set(err, RC_INPUT, "calendar: BEGIN:%.40s: without its END",
				    open[depth - 1]);
}

static size_t count_lines(const char *bytes, size_t n)
{
	size_t lines = 1;
	for (const char *p = bytes; (p = memchr(p, '\n', n - (size_t)(p - bytes))); p++)
		lines++;
	return lines;
}

static bool is_empty(const char *p, size_t n)
{
	while (n > 0 && (p[n - 1] == '\r' || p[n - 1] == '\n'))
		n--;
	return n == 0;
}

static enum rc take_lines(struct raw_text *t, size_t n, struct err *err)
{
	struct calendar_lines lines = {
		.bytes = t->bytes, .len = n, .manner = MANNER_SEEN, .text = t->text
	};
	while (lines.at < n) {
		struct calendar_line line;
		enum rc rc = calendar_line_next(&lines, &line, err);
		if (rc != RC_OK)
			return rc;
		if (line.from == 0 && line.to >= 3 && memcmp(t->bytes, "\xef\xbb\xbf", 3) == 0)
			line.from = 3; /* a byte order mark is no part of the line */
		const char *first = t->bytes + line.from;
		size_t len = line.to - line.from;
		if (is_empty(first, len))
			continue;
		if (strchr(" \t\r\n", *first)) /* a fold with nothing before it */
			line.name = line.value = "";
		t->lines[t->n++] = (struct raw_line){ .at = line.from,
			.len = len,
			.name = line.name,
			.value = line.value,
			.tzid = line.tzid ? line.tzid : "" };
	}
	return nest(t, err);
}

enum rc raw_read(const char *bytes, size_t n, struct raw_text *out, struct err *err)
{
	*out = (struct raw_text){ .bytes = bytes };
	if (n > SEEN_TEXT_MAX)
		return err_set(err, RC_INPUT, "calendar: %zu bytes: at most %d are read", n,
			SEEN_TEXT_MAX);
	if (memchr(bytes, '\0', n))
		return err_set(err, RC_INPUT, "calendar: a NUL in the text");
	size_t most = count_lines(bytes, n);
	if (most > RAW_LINES_MAX)
		return err_set(err, RC_INPUT, "calendar: %zu lines: at most %d are read", most,
			RAW_LINES_MAX);
	out->lines = mem_new(most, sizeof *out->lines);
	out->text = mem_new(n + 1, 1);
	if (!out->lines || !out->text)
		return err_set(err, RC_MEM, "calendar: out of memory for %zu bytes", n);
	return take_lines(out, n, err);
}

void raw_free(struct raw_text *t)
{
	mem_free(t->text);
	mem_free(t->lines);
	*t = (struct raw_text){ 0 };
}

/* The line after the END of the component that begins at line `from`. */
static size_t after(const struct raw_text *t, size_t from)
{
	size_t i = from + 1;
	while (t->lines[i].depth > t->lines[from].depth)
		i++;
	return i + 1;
}

bool raw_component(const struct raw_text *t, struct raw_span round, const char *name, size_t *at,
	struct raw_span *out)
{
	int depth = t->lines[round.from].depth + 1;
	for (; *at + 1 < round.to; ++*at) {
		const struct raw_line *line = &t->lines[*at];
		if (line->depth != depth || strcmp(line->name, "BEGIN") != 0 ||
			!raw_is(line->value, name))
			continue;
		*out = (struct raw_span){ *at, after(t, *at) };
		*at = out->to;
		return true;
	}
	return false;
}

bool raw_is_own(const struct raw_text *t, struct raw_span c, size_t i)
{
	const struct raw_line *line = &t->lines[i];
	return i > c.from && i + 1 < c.to && line->depth == t->lines[c.from].depth + 1 &&
	       strcmp(line->name, "BEGIN") != 0 && strcmp(line->name, "END") != 0;
}

const struct raw_line *raw_property(const struct raw_text *t, struct raw_span c, const char *name)
{
	for (size_t i = c.from; i < c.to; i++)
		if (raw_is_own(t, c, i) && strcmp(t->lines[i].name, name) == 0)
			return &t->lines[i];
	return NULL;
}

static bool is_wanted(const struct raw_text *t, struct raw_span c, const char *uid)
{
	const struct raw_line *own = raw_property(t, c, "UID");
	return own && !raw_is(own->value, "") && !raw_property(t, c, "RECURRENCE-ID") &&
	       (!uid || raw_is(own->value, uid));
}

bool raw_entry(
	const struct raw_text *t, const char *uid, struct raw_span *out, enum calendar_kind *kind)
{
	for (size_t i = 0; i < t->n; i++) {
		const struct raw_line *line = &t->lines[i];
		bool event = raw_is(line->value, "VEVENT"), todo = raw_is(line->value, "VTODO");
		if (line->depth != 1 || strcmp(line->name, "BEGIN") != 0 || (!event && !todo))
			continue;
		*out = (struct raw_span){ i, after(t, i) };
		*kind = event ? CALENDAR_EVENTS : CALENDAR_TODOS;
		if (is_wanted(t, *out, uid))
			return true;
	}
	return false;
}

void raw_unescape(char *text)
{
	char *out = text;
	for (const char *p = text; *p; p++) {
		if (*p == '\\' && p[1]) {
			p++;
			*out++ = (char)(*p == 'n' || *p == 'N' ? '\n' : *p);
		} else {
			*out++ = *p;
		}
	}
	*out = '\0';
}
