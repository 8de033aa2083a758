/* Method: three texts as content lines. For each group of properties that belong together it is asked who changed it
 * since we put it last; what is to be ours is taken out of theirs and our own octets are laid in its place. All other
 * octets of theirs are copied. */
#include "daemon/calendar_seen.h"

#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "core/number.h"
#include "daemon/calendar_int.h"
#include "daemon/calendar_lines.h"
#include "daemon/calendar_raw.h"
#include "daemon/utf8.h"

enum { GROUP_NAMES = 6, PIECES_MAX = 128 };

/* Properties that are decided together, as one without the others would say something else (RFC 5545 3.6.2, 3.8.2.3). */
struct group {
	const char *names[GROUP_NAMES];
};
static const struct group state_group = { { "STATUS", "COMPLETED", "PERCENT-COMPLETE" } };
static const struct group day_group = { { "DTSTART", "DTEND", "DUE", "DURATION", "RRULE" } };

/* Decided elsewhere. */
static const struct group apart = { { "UID", "DTSTAMP", "LAST-MODIFIED", "SEQUENCE", "CREATED",
	"DESCRIPTION" } };

struct side {
	struct raw_text text;
	struct raw_span entry;
	enum calendar_kind kind;
	const struct raw_line *due;
};

/* Octets to be laid in before a line of theirs. */
struct piece {
	size_t before;
	const char *bytes;
	size_t n;
};

struct merge {
	struct side sent, theirs, ours;
	bool day_ours;
	bool *gone; /* of each line of theirs: left out */
	struct piece pieces[PIECES_MAX];
	size_t n_pieces;
	char *made[2]; /* lines of our own making: DESCRIPTION, SEQUENCE */
	bool changed, failed; /* failed: out of memory or pieces */
};

static bool in_group(const struct group *g, const char *name)
{
	for (size_t i = 0; i < GROUP_NAMES && g->names[i]; i++)
		if (strcmp(g->names[i], name) == 0)
			return true;
	return false;
}

/* ---- the same or not ---- */

/* The next character of a TEXT value without its backslash; 0: its end. */
static char step(const char **p, const char *end)
{
	if (*p == end)
		return '\0';
	char c = *(*p)++;
	if (c != '\\' || *p == end)
		return c;
	c = *(*p)++;
	return (char)(c == 'n' || c == 'N' ? '\n' : c);
}

static const char *trimmed_end(const char *text)
{
	const char *end = text + strlen(text);
	while (end > text && (end[-1] == ' ' || end[-1] == '\t'))
		end--;
	return end;
}

static bool same_line(const struct raw_line *a, const struct raw_line *b)
{
	if (strcmp(a->name, b->name) != 0 || strcmp(a->tzid, b->tzid) != 0)
		return false;
	const char *p = a->value, *p_end = trimmed_end(p);
	const char *q = b->value, *q_end = trimmed_end(q);
	char c = '\0';
	while ((c = step(&p, p_end)) == step(&q, q_end))
		if (c == '\0')
			return true;
	return false;
}

/* What says nothing: programs add it on their own. A DTSTART equal to DUE, too, which some need to show a to-do. */
static bool is_default(const struct side *s, const struct raw_line *line)
{
	static const char *const defaults[][2] = { { "STATUS", "NEEDS-ACTION" },
		{ "PERCENT-COMPLETE", "0" }, { "PRIORITY", "0" }, { "TRANSP", "OPAQUE" },
		{ "CLASS", "PUBLIC" } };
	for (size_t i = 0; i < sizeof defaults / sizeof defaults[0]; i++)
		if (strcmp(line->name, defaults[i][0]) == 0 && raw_is(line->value, defaults[i][1]))
			return true;
	return s->due && strcmp(line->name, "DTSTART") == 0 && raw_is(line->value, s->due->value);
}

/* Every property of the group in a is in b. */
static bool covers(const struct side *a, const struct side *b, const struct group *g)
{
	for (size_t i = a->entry.from; i < a->entry.to; i++) {
		const struct raw_line *line = &a->text.lines[i];
		if (!raw_is_own(&a->text, a->entry, i) || !in_group(g, line->name) ||
			is_default(a, line))
			continue;
		bool found = false;
		for (size_t k = b->entry.from; k < b->entry.to && !found; k++)
			found = raw_is_own(&b->text, b->entry, k) &&
				same_line(line, &b->text.lines[k]);
		if (!found)
			return false;
	}
	return true;
}

static bool same(const struct side *a, const struct side *b, const struct group *g)
{
	return covers(a, b, g) && covers(b, a, g);
}

/* ---- laying in ---- */

static void lay(struct merge *m, size_t before, const char *bytes, size_t n)
{
	if (m->n_pieces == PIECES_MAX) {
		m->failed = true;
		return;
	}
	m->pieces[m->n_pieces++] = (struct piece){ before, bytes, n };
	m->changed = true;
}

static void lay_lines(struct merge *m, size_t before, struct raw_span span)
{
	const struct raw_line *first = &m->ours.text.lines[span.from],
			      *last = &m->ours.text.lines[span.to - 1];
	lay(m, before, m->ours.text.bytes + first->at, last->at + last->len - first->at);
}

/* Where a property that they do not have goes: before the first component inside, or the end. */
static size_t end_of_properties(const struct merge *m)
{
	const struct raw_text *t = &m->theirs.text;
	size_t i = m->theirs.entry.from + 1;
	while (raw_is_own(t, m->theirs.entry, i))
		i++;
	return i;
}

/* Takes their properties of the group out; returns where the first of them stood. */
static size_t take_out(struct merge *m, const struct group *g)
{
	const struct side *s = &m->theirs;
	size_t first = s->entry.to;
	for (size_t i = s->entry.from; i < s->entry.to; i++) {
		if (!raw_is_own(&s->text, s->entry, i) || !in_group(g, s->text.lines[i].name))
			continue;
		m->gone[i] = m->changed = true;
		first = i < first ? i : first;
	}
	return first < s->entry.to ? first : end_of_properties(m);
}

/* The VTIMEZONE of that name; false: there is none. */
static bool find_zone(const struct raw_text *t, const char *tzid, struct raw_span *zone)
{
	size_t at = 0;
	while (raw_component(t, (struct raw_span){ 0, t->n }, "VTIMEZONE", &at, zone)) {
		const struct raw_line *id = raw_property(t, *zone, "TZID");
		if (id && raw_is(id->value, tzid))
			return true;
	}
	return false;
}

/* A zone that our line needs and they do not have goes before the entry, once. */
static void bring_zone(struct merge *m, const struct raw_line *line)
{
	struct raw_span zone;
	if (!line->tzid[0] || find_zone(&m->theirs.text, line->tzid, &zone) ||
		!find_zone(&m->ours.text, line->tzid, &zone))
		return;
	const char *bytes = m->ours.text.bytes + m->ours.text.lines[zone.from].at;
	for (size_t i = 0; i < m->n_pieces; i++)
		if (m->pieces[i].bytes == bytes)
			return;
	lay_lines(m, m->theirs.entry.from, zone);
}

static void write_group(struct merge *m, const struct group *g)
{
	const struct side *o = &m->ours;
	size_t at = take_out(m, g);
	for (size_t i = o->entry.from; i < o->entry.to; i++) {
		if (!raw_is_own(&o->text, o->entry, i) || !in_group(g, o->text.lines[i].name))
			continue;
		lay_lines(m, at, (struct raw_span){ i, i + 1 });
		bring_zone(m, &o->text.lines[i]);
	}
}

/* ---- who decides ---- */

static bool says(const struct side *s, const char *name, const char *word)
{
	const struct raw_line *line = raw_property(&s->text, s->entry, name);
	return line && raw_is(line->value, word);
}

static bool is_done(const struct side *s)
{
	return says(s, "STATUS", "COMPLETED") || says(s, "PERCENT-COMPLETE", "100") ||
	       raw_property(&s->text, s->entry, "COMPLETED");
}

static bool we_insist(const struct merge *m, const struct group *g)
{
	if (g == &day_group)
		return m->day_ours;
	if (g != &state_group)
		return false;
	return (says(&m->ours, "STATUS", "COMPLETED") || says(&m->ours, "STATUS", "CANCELLED")) &&
	       !is_done(&m->theirs);
}

static void decide(struct merge *m, const struct group *g)
{
	if (same(&m->theirs, &m->ours, g))
		return;
	bool news = !same(&m->sent, &m->ours, g);
	bool touched = !same(&m->sent, &m->theirs, g);
	if (we_insist(m, g) || (news && !touched))
		write_group(m, g);
}

static bool was_decided(const struct side *s, size_t line)
{
	const char *name = s->text.lines[line].name;
	for (size_t i = s->entry.from; i < line; i++)
		if (raw_is_own(&s->text, s->entry, i) && strcmp(s->text.lines[i].name, name) == 0)
			return true;
	return in_group(&state_group, name) || in_group(&day_group, name) || in_group(&apart, name);
}

/* Each other property that we write or wrote. */
static void decide_rest(struct merge *m)
{
	const struct side *sides[] = { &m->ours, &m->sent };
	for (size_t k = 0; k < 2; k++)
		for (size_t i = sides[k]->entry.from; i < sides[k]->entry.to; i++) {
			const struct side *s = sides[k];
			if (!raw_is_own(&s->text, s->entry, i) || was_decided(s, i))
				continue;
			const char *name = s->text.lines[i].name;
			const struct group g = { { name } };
			if (k == 0 || !raw_property(&m->ours.text, m->ours.entry, name))
				decide(m, &g);
		}
}

/* ---- alarms ---- */

/* RFC 9074 has programs write when an alarm was seen, and name it: no change of ours. */
static bool is_private(const char *name)
{
	return strcmp(name, "ACKNOWLEDGED") == 0 || strcmp(name, "UID") == 0 ||
	       strncmp(name, "X-", 2) == 0;
}

static bool alarm_covers(
	const struct side *a, struct raw_span x, const struct side *b, struct raw_span y)
{
	for (size_t i = x.from; i < x.to; i++) {
		const struct raw_line *line = &a->text.lines[i];
		bool found = is_private(line->name);
		for (size_t k = y.from; k < y.to && !found; k++)
			found = same_line(line, &b->text.lines[k]);
		if (!found)
			return false;
	}
	return true;
}

static size_t count_alarms(const struct side *s)
{
	size_t n = 0, at = s->entry.from;
	struct raw_span alarm;
	while (raw_component(&s->text, s->entry, "VALARM", &at, &alarm))
		n++;
	return n;
}

static bool same_alarms(const struct side *a, const struct side *b)
{
	size_t at = a->entry.from;
	struct raw_span x, y;
	if (count_alarms(a) != count_alarms(b))
		return false;
	while (raw_component(&a->text, a->entry, "VALARM", &at, &x)) {
		size_t in_b = b->entry.from;
		bool found = false;
		while (!found && raw_component(&b->text, b->entry, "VALARM", &in_b, &y))
			found = alarm_covers(a, x, b, y) && alarm_covers(b, y, a, x);
		if (!found)
			return false;
	}
	return true;
}

static bool alarms_are_ours(const struct merge *m)
{
	return !same_alarms(&m->sent, &m->ours) && same_alarms(&m->sent, &m->theirs) &&
	       !same_alarms(&m->theirs, &m->ours);
}

static void write_alarms(struct merge *m)
{
	const struct side *t = &m->theirs, *o = &m->ours;
	struct raw_span alarm;
	for (size_t at = t->entry.from; raw_component(&t->text, t->entry, "VALARM", &at, &alarm);)
		for (size_t i = alarm.from; i < alarm.to; i++)
			m->gone[i] = m->changed = true;
	for (size_t at = o->entry.from; raw_component(&o->text, o->entry, "VALARM", &at, &alarm);)
		lay_lines(m, t->entry.to - 1, alarm);
}

/* ---- the description ---- */

static char *description(const struct side *s)
{
	const struct raw_line *line = raw_property(&s->text, s->entry, "DESCRIPTION");
	char *text = mem_text(line ? line->value : "");
	if (text)
		raw_unescape(text);
	return text;
}

/* A content line of ours, folded, that the merge keeps; escaped as TEXT (RFC 5545 3.3.11). */
static void lay_made(
	struct merge *m, size_t slot, size_t before, const char *name, const char *text)
{
	size_t most = strlen(name) + 1 + 2 * strlen(text) + 2;
	char *line = mem_new(most + 1, 1);
	char *folded = mem_new(most + 3 * (most / (CALENDAR_LINE_MAX - 4)) + 1, 1);
	m->made[slot] = folded;
	m->failed = m->failed || !line || !folded;
	if (line && folded) {
		char *end = stpcpy(stpcpy(line, name), ":");
		for (const char *p = text; *p; p++) {
			if (strchr("\\;,\n", *p))
				*end++ = '\\';
			*end++ = (char)(*p == '\n' ? 'n' : *p);
		}
		end = stpcpy(end, "\r\n");
		char *last = calendar_fold(folded, line, (size_t)(end - line));
		lay(m, before, folded, (size_t)(last - folded));
	}
	mem_free(line);
}

static void write_description(
	struct merge *m, const char *sent, const char *theirs, const char *ours)
{
	static const struct group g = { { "DESCRIPTION" } };
	char *text = mem_new(strlen(ours) + 2 * strlen(theirs) + 4, 1);
	m->failed = m->failed || !text;
	if (!text)
		return;
	(void)stpcpy(text, ours);
	words_append(text, sent, theirs, ours);
	if (strcmp(text, theirs) != 0) {
		size_t at = take_out(m, &g);
		if (*text)
			lay_made(m, 0, at, "DESCRIPTION", text);
	}
	mem_free(text);
}

static void decide_description(struct merge *m)
{
	static const struct group g = { { "DESCRIPTION" } };
	if (same(&m->sent, &m->ours, &g))
		return;
	char *sent = description(&m->sent), *theirs = description(&m->theirs),
	     *ours = description(&m->ours);
	m->failed = m->failed || !sent || !theirs || !ours;
	if (sent && theirs && ours)
		write_description(m, sent, theirs, ours);
	mem_free(sent);
	mem_free(theirs);
	mem_free(ours);
}

/* ---- all together ---- */

static int64_t sequence(const struct side *s)
{
	int64_t n = 0;
	const struct raw_line *line = raw_property(&s->text, s->entry, "SEQUENCE");
	return line && number_int(line->value, &n) && n >= 0 && n < INT32_MAX ? n : 0;
}

/* RFC 5546 2.1.4 and 2.1.5: what is newer has the higher SEQUENCE, then the later DTSTAMP. */
static void stamp(struct merge *m)
{
	static const struct group times = { { "DTSTAMP", "LAST-MODIFIED" } };
	static const struct group number = { { "SEQUENCE" } };
	char text[24];
	int64_t next = sequence(&m->theirs) + 1, ours = sequence(&m->ours);
	write_group(m, &times);
	(void)snprintf(text, sizeof text, "%lld", (long long)(next > ours ? next : ours));
	lay_made(m, 1, take_out(m, &number), "SEQUENCE", text);
}

/* Octets with every end of line a CRLF and without empty lines. */
static char *copy(char *out, const char *bytes, size_t n)
{
	while (n > 0) {
		const char *lf = memchr(bytes, '\n', n);
		size_t whole = lf ? (size_t)(lf - bytes) + 1 : n, len = lf ? whole - 1 : n;
		len -= len > 0 && bytes[len - 1] == '\r';
		memcpy(out, bytes, len);
		out += len;
		if (len > 0)
			out = stpcpy(out, "\r\n");
		bytes += whole;
		n -= whole;
	}
	return out;
}

static bool is_method(const struct raw_line *line)
{
	return line->depth == 1 && strcmp(line->name, "METHOD") == 0;
}

static enum rc print(const struct merge *m, char **out, struct err *err)
{
	const struct raw_text *t = &m->theirs.text;
	size_t most = 1;
	for (size_t i = 0; i < t->n; i++)
		most += 2 * t->lines[i].len + 2;
	for (size_t i = 0; i < m->n_pieces; i++)
		most += 2 * m->pieces[i].n + 2;
	char *text = mem_new(most, 1), *end = text;
	if (!text)
		return err_set(err, RC_MEM, "calendar: out of memory for %zu bytes", most);
	for (size_t i = 0; i < t->n; i++) {
		for (size_t k = 0; k < m->n_pieces; k++)
			if (m->pieces[k].before == i)
				end = copy(end, m->pieces[k].bytes, m->pieces[k].n);
		if (!m->gone[i] && !is_method(&t->lines[i]))
			end = copy(end, t->bytes + t->lines[i].at, t->lines[i].len);
	}
	enum rc rc = calendar_lint_foreign(text, (size_t)(end - text), err);
	if (rc == RC_OK && end - text > SEEN_TEXT_MAX)
		rc = err_set(
			err, RC_INPUT, "calendar: merged: larger than %d bytes", SEEN_TEXT_MAX);
	if (rc == RC_OK)
		*out = text;
	else
		mem_free(text);
	return rc;
}

static enum rc read_side(
	struct side *s, const char *text, const char *uid, const char *whose, struct err *err)
{
	enum rc rc = raw_read(text, strlen(text), &s->text, err);
	if (rc != RC_OK)
		return rc;
	if (!raw_entry(&s->text, uid, &s->entry, &s->kind))
		return err_set(
			err, RC_INPUT, "calendar: %s: no entry %s in it", whose, uid ? uid : "");
	s->due = raw_property(&s->text, s->entry, "DUE");
	return RC_OK;
}

/* What no linter would let pass later is not worked on; folding needs whole characters. */
static enum rc check_line(const struct raw_line *line, struct err *err)
{
	if (!line->name[0])
		return err_set(err, RC_INPUT, "calendar: theirs: a line that is no content line");
	size_t n = strlen(line->value);
	for (const char *p = line->value; n > 0;) {
		bool valid;
		size_t length = utf8_step(p, n, &valid);
		if (!valid)
			return err_set(
				err, RC_INPUT, "calendar: theirs: %s: not UTF-8", line->name);
		p += length;
		n -= length;
	}
	return RC_OK;
}

static enum rc read_sides(
	struct merge *m, const char *sent, const char *theirs, const char *ours, struct err *err)
{
	enum rc rc = read_side(&m->ours, ours, NULL, "ours", err);
	if (rc != RC_OK)
		return rc;
	const char *uid = raw_property(&m->ours.text, m->ours.entry, "UID")->value;
	rc = read_side(&m->sent, sent, uid, "sent", err);
	if (rc == RC_OK)
		rc = read_side(&m->theirs, theirs, uid, "theirs", err);
	if (rc == RC_OK && (m->sent.kind != m->ours.kind || m->theirs.kind != m->ours.kind))
		rc = err_set(err, RC_INPUT, "calendar: %s: an event has become a to-do", uid);
	for (size_t i = 0; rc == RC_OK && i < m->theirs.text.n; i++)
		rc = check_line(&m->theirs.text.lines[i], err);
	if (rc != RC_OK)
		return rc;
	m->gone = mem_new(m->theirs.text.n, sizeof *m->gone);
	return m->gone ? RC_OK : err_set(err, RC_MEM, "calendar: out of memory");
}

static enum rc work(struct merge *m, char **out, struct err *err)
{
	decide(m, &state_group);
	decide(m, &day_group);
	decide_rest(m);
	decide_description(m);
	bool alarms = alarms_are_ours(m);
	if (m->changed || alarms)
		stamp(m);
	if (alarms) /* behind all properties (RFC 5545 3.6.1) */
		write_alarms(m);
	if (m->failed)
		return err_set(err, RC_MEM, "calendar: out of memory");
	return m->changed ? print(m, out, err) : RC_OK;
}

enum rc calendar_merge(const char *sent, const char *theirs, const char *ours, bool day_ours,
	char **out, bool *changed, struct err *err)
{
	struct merge m = { .day_ours = day_ours };
	char *text = NULL;
	enum rc rc = read_sides(&m, sent, theirs, ours, err);
	if (rc == RC_OK)
		rc = work(&m, &text, err);
	raw_free(&m.sent.text);
	raw_free(&m.theirs.text);
	raw_free(&m.ours.text);
	mem_free(m.gone);
	mem_free(m.made[0]);
	mem_free(m.made[1]);
	if (rc == RC_OK) {
		*out = text;
		*changed = text != NULL;
	}
	return rc;
}
