#include <string.h>

#include "core/mem.h"
#include "core/number.h"
#include "daemon/pick_int.h"

/* Method: line protocol, `measurement,tag=value field=value,field=value time`. One pass over the lines. What a stream's
 * places find in lines of one time stamp, in a row, makes one reading: so humidity and temperature may come in one line
 * or in two. Two lines that fit the same place at one time give nothing: which is meant cannot be told. Lines that
 * begin with # are passed over. */

#define ESCAPED ", ="

/* What was found of one stream at one time. */
struct point {
	size_t stream; /* index into the pick's */
	struct span time; /* as written; n == 0: none */
	struct pick_sent sent[PICK_WANTS];
	size_t times[PICK_WANTS]; /* how often each was there */
};

struct points {
	struct pick_job *job;
	size_t n, room;
	struct point *point;
	size_t *last; /* each stream's latest point, counted from 1; 0: none */
};

struct cursor {
	const char *p, *end;
};

/* ---- parts of a line ---- */

static bool take_char(struct cursor *c, char want)
{
	if (c->p == c->end || *c->p != want)
		return false;
	c->p++;
	return true;
}

/* Text up to one of the characters in stops that no backslash stands before. */
static struct span take_text(struct cursor *c, const char *stops)
{
	const char *start = c->p;
	while (c->p < c->end && !(*c->p && strchr(stops, *c->p))) {
		bool escape =
			*c->p == '\\' && c->p + 1 < c->end && c->p[1] && strchr(ESCAPED, c->p[1]);
		c->p += escape ? 2 : 1;
	}
	return (struct span){ start, (size_t)(c->p - start) };
}

/* measurement[,tag=value...] */
static bool take_series(struct cursor *c, struct pick_label *labels, struct pick_key *key)
{
	*key = (struct pick_key){ .label = labels };
	key->name = take_text(c, ", ");
	if (key->name.n == 0)
		return false;
	while (take_char(c, ',')) {
		struct pick_label label;
		if (key->n == PICK_LABELS_MAX)
			return false;
		label.key = take_text(c, ",= ");
		if (label.key.n == 0 || !take_char(c, '='))
			return false;
		label.value = take_text(c, ",= ");
		if (label.value.n == 0)
			return false;
		key->label[key->n++] = label;
	}
	return true;
}

static void take_blanks(struct cursor *c)
{
	while (take_char(c, ' '))
		continue;
}

/* "text" with \" and \\ in it */
static bool pass_quoted(struct cursor *c)
{
	c->p++;
	while (c->p < c->end && *c->p != '"')
		c->p += *c->p == '\\' && c->p + 1 < c->end ? 2 : 1;
	return take_char(c, '"');
}

/* name=value of a field; value as written. */
static bool take_field(struct cursor *c, struct span *name, struct span *value)
{
	*name = take_text(c, ",= ");
	if (name->n == 0 || !take_char(c, '='))
		return false;
	const char *start = c->p;
	if (c->p < c->end && *c->p == '"') {
		if (!pass_quoted(c))
			return false;
	} else {
		while (c->p < c->end && *c->p != ',' && *c->p != ' ')
			c->p++;
	}
	*value = (struct span){ start, (size_t)(c->p - start) };
	return value->n > 0;
}

/* Floats, 45i and 45u; false for texts and booleans. */
static bool number_of(struct span value, double *out)
{
	if (value.n > 1 && (value.p[value.n - 1] == 'i' || value.p[value.n - 1] == 'u'))
		value.n--;
	return pick_real(value, out);
}

enum rc pick_line_place(
	const char *text, struct pick_label *labels, struct pick_key *out, struct err *err)
{
	struct cursor c = { text, text + strlen(text) };
	bool told = take_series(&c, labels, out) && take_char(&c, ' ');
	if (told)
		out->field = take_text(&c, ",= ");
	if (!told || out->field.n == 0 || c.p != c.end)
		return err_set(err, RC_CONFIG,
			"measurement,tag=value field is wanted, with or without tags");
	return RC_OK;
}

/* ---- points ---- */

/* The point of that stream and time, NULL when there is no room for another. */
static struct point *point_of(struct points *ps, size_t stream, struct span time)
{
	size_t last = ps->last[stream];
	if (last > 0 && pick_same(ps->point[last - 1].time, time, ""))
		return &ps->point[last - 1];
	if (ps->n == ps->room) {
		size_t room = ps->room ? 2 * ps->room : 16;
		struct point *more = mem_grow(ps->point, room, sizeof *more);
		if (!more)
			return NULL;
		ps->point = more;
		ps->room = room;
	}
	struct point *p = &ps->point[ps->n++];
	*p = (struct point){ .stream = stream, .time = time };
	ps->last[stream] = ps->n;
	return p;
}

static enum rc note(
	struct points *ps, size_t stream, enum pick_want want, struct span time, struct span value)
{
	const struct stream *s = ps->job->pick->streams[stream].stream;
	if (ps->n == PICK_WANTS * PICK_SAMPLES_MAX)
		return err_set(
			ps->job->err, RC_INPUT, "more than %d readings at once", PICK_SAMPLES_MAX);
	struct point *p = point_of(ps, stream, time);
	if (!p)
		return err_set(ps->job->err, RC_MEM, "line protocol: out of memory");
	struct pick_sent *sent = &p->sent[want];
	p->times[want]++;
	sent->there = number_of(value, &sent->value);
	if (!sent->there)
		pick_absent(ps->job, s, pick_place(s, want), "\"%.*s\" is no number",
			(int)(value.n < 24 ? value.n : 24), value.p);
	return RC_OK;
}

/* What the streams want of a line's fields, which are known to be well formed. */
static enum rc take_wanted(
	struct points *ps, struct cursor fields, const struct pick_key *key, struct span time)
{
	const struct pick *pick = ps->job->pick;
	struct span name, value;
	enum rc rc = RC_OK;
	while (rc == RC_OK && take_field(&fields, &name, &value)) {
		for (size_t i = 0; rc == RC_OK && i < pick->n * PICK_WANTS; i++) {
			size_t stream = i / PICK_WANTS, want = i % PICK_WANTS;
			const struct pick_key *at = &pick->streams[stream].at[want];
			if (pick_same(at->field, name, ESCAPED) && pick_fits(at, key, ESCAPED) &&
				pick_takes_part(ps->job, pick->streams[stream].stream))
				rc = note(ps, stream, (enum pick_want)want, time, value);
		}
		(void)take_char(&fields, ',');
	}
	return rc;
}

/* measurement[,tag=value...] field=value[,field=value...] [time] */
static enum rc read_line(struct points *ps, struct span text, size_t number)
{
	struct pick_label labels[PICK_LABELS_MAX];
	struct cursor c = { text.p, text.p + text.n };
	struct pick_key key;
	struct span name, value;
	bool told = take_series(&c, labels, &key) && take_char(&c, ' ');
	take_blanks(&c);
	struct cursor fields = c;
	do
		told = told && take_field(&c, &name, &value);
	while (told && take_char(&c, ','));
	fields.end = c.p;
	told = told && (c.p == c.end || *c.p == ' ');
	take_blanks(&c);
	struct span time = take_text(&c, " ");
	take_blanks(&c);
	if (!told || c.p != c.end)
		return err_set(ps->job->err, RC_INPUT,
			"not line protocol: line %zu: measurement,tag=value field=value time is "
			"wanted",
			number);
	return take_wanted(ps, fields, &key, time);
}

static enum rc read_lines(struct points *ps, struct span body)
{
	enum rc rc = RC_OK;
	for (size_t number = 1; rc == RC_OK && body.n > 0; number++) {
		struct span text = pick_next_line(&body);
		if (text.n > 0 && text.p[0] != '#')
			rc = read_line(ps, text, number);
	}
	return rc;
}

/* ---- readings ---- */

static bool time_of(struct span text, int64_t *t_s)
{
	char copy[24];
	int64_t count;
	if (text.n >= sizeof copy || memchr(text.p, '\0', text.n))
		return false;
	memcpy(copy, text.p, text.n);
	copy[text.n] = '\0';
	return number_int(copy, &count) && pick_epoch(count, t_s);
}

static enum rc make(struct points *ps, struct point *p)
{
	const struct stream *s = ps->job->pick->streams[p->stream].stream;
	int64_t t_s;
	for (int want = 0; want < PICK_WANTS; want++) {
		if (p->times[want] < 2)
			continue;
		pick_absent(ps->job, s, pick_place(s, (enum pick_want)want),
			"two of one time: more tags are wanted");
		p->sent[want].there = false;
	}
	if (p->times[PICK_RH] == 0)
		pick_absent(ps->job, s, s->humidity, "not in a line of the time of the others");
	if (p->time.n > 0 && !time_of(p->time, &t_s)) {
		pick_absent(ps->job, s, s->humidity, "no time stamp: \"%.*s\"",
			(int)(p->time.n < 24 ? p->time.n : 24), p->time.p);
		return RC_OK;
	}
	return pick_make(ps->job, s, p->sent, p->time.n > 0 ? &t_s : NULL);
}

static enum rc make_all(struct points *ps)
{
	enum rc rc = RC_OK;
	for (size_t i = 0; i < ps->job->pick->n; i++) {
		const struct stream *s = ps->job->pick->streams[i].stream;
		if (ps->last[i] == 0 && pick_takes_part(ps->job, s))
			pick_absent(ps->job, s, s->humidity, "no such line");
	}
	for (size_t i = 0; rc == RC_OK && i < ps->n; i++)
		rc = make(ps, &ps->point[i]);
	return rc;
}

enum rc pick_line(struct pick_job *job, struct span body)
{
	struct points ps = { .job = job };
	ps.last = mem_new(job->pick->n, sizeof *ps.last);
	if (!ps.last)
		return err_set(job->err, RC_MEM, "line protocol: out of memory");
	enum rc rc = read_lines(&ps, body);
	if (rc == RC_OK)
		rc = make_all(&ps);
	mem_free(ps.last);
	mem_free(ps.point);
	return rc;
}
