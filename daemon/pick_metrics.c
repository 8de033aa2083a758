#include <math.h>
#include <string.h>
#include <strings.h>

#include "core/mem.h"
#include "daemon/pick_int.h"

/* Method: Prometheus text format 0.0.4, and OpenMetrics 1.0, which is known by its last line # EOF. One pass over the
 * lines; each value that a place asks for is kept as found, and samples are made at the end. The body has to end with
 * a line end (0.0.4) or with # EOF: a number that was cut off would be another number. */

#define ESCAPED "\\\"n"

struct cursor {
	const char *p, *end;
};

/* What a place found. */
struct found {
	size_t n; /* lines that fit */
	double value, time;
	bool has_time;
};

struct line {
	struct pick_key key;
	double value; /* NAN and infinities are numbers here */
	double time;
	bool has_time;
};

/* ---- parts of a line ---- */

static void take_blanks(struct cursor *c)
{
	while (c->p < c->end && (*c->p == ' ' || *c->p == '\t'))
		c->p++;
}

static bool take_char(struct cursor *c, char want)
{
	if (c->p == c->end || *c->p != want)
		return false;
	c->p++;
	return true;
}

/* [a-zA-Z_][a-zA-Z0-9_]*, in names of metrics also colons */
static bool take_name(struct cursor *c, bool colons, struct span *out)
{
	const char *start = c->p;
	for (; c->p < c->end; c->p++) {
		char x = *c->p;
		bool letter = (x >= 'a' && x <= 'z') || (x >= 'A' && x <= 'Z') || x == '_' ||
			      (colons && x == ':');
		if (!letter && !(x >= '0' && x <= '9' && c->p > start))
			break;
	}
	*out = (struct span){ start, (size_t)(c->p - start) };
	return out->n > 0;
}

/* "text" with \\, \" and \n in it; out is what stands between the quotes. */
static bool take_quoted(struct cursor *c, struct span *out)
{
	if (!take_char(c, '"'))
		return false;
	const char *start = c->p;
	while (c->p < c->end && *c->p != '"')
		c->p += *c->p == '\\' && c->p + 1 < c->end ? 2 : 1;
	*out = (struct span){ start, (size_t)(c->p - start) };
	return take_char(c, '"');
}

/* {name="value",...}; a comma may come last */
static bool take_labels(struct cursor *c, struct pick_key *key)
{
	take_blanks(c);
	while (!take_char(c, '}')) {
		struct pick_label label;
		if (key->n == PICK_LABELS_MAX || !take_name(c, false, &label.key))
			return false;
		take_blanks(c);
		if (!take_char(c, '='))
			return false;
		take_blanks(c);
		if (!take_quoted(c, &label.value))
			return false;
		key->label[key->n++] = label;
		take_blanks(c);
		if (!take_char(c, ',') && !(c->p < c->end && *c->p == '}'))
			return false;
		take_blanks(c);
	}
	return true;
}

static bool take_series(struct cursor *c, struct pick_label *labels, struct pick_key *key)
{
	*key = (struct pick_key){ .label = labels };
	take_blanks(c);
	if (!take_name(c, true, &key->name))
		return false;
	take_blanks(c);
	return !take_char(c, '{') || take_labels(c, key);
}

static struct span take_word(struct cursor *c)
{
	take_blanks(c);
	const char *start = c->p;
	while (c->p < c->end && *c->p != ' ' && *c->p != '\t')
		c->p++;
	return (struct span){ start, (size_t)(c->p - start) };
}

static bool is_one_of(struct span s, const char *const *words)
{
	for (; *words; words++)
		if (s.n == strlen(*words) && strncasecmp(s.p, *words, s.n) == 0)
			return true;
	return false;
}

static bool any_number(struct span s, double *out)
{
	static const char *const words[] = { "nan", "inf", "+inf", "-inf", "infinity", "+infinity",
		"-infinity", NULL };
	*out = (double)NAN;
	return is_one_of(s, words) || pick_real(s, out);
}

static bool read_line(struct span text, struct pick_label *labels, struct line *out)
{
	struct cursor c = { text.p, text.p + text.n };
	if (!take_series(&c, labels, &out->key) || !any_number(take_word(&c), &out->value))
		return false;
	struct span time = take_word(&c);
	out->has_time = time.n > 0 && time.p[0] != '#';
	if (out->has_time && !pick_real(time, &out->time))
		return false;
	if (out->has_time)
		time = take_word(&c);
	return time.n == 0 || time.p[0] == '#'; /* an exemplar of OpenMetrics follows # */
}

enum rc pick_metrics_place(
	const char *text, struct pick_label *labels, struct pick_key *out, struct err *err)
{
	struct cursor c = { text, text + strlen(text) };
	if (!take_series(&c, labels, out) || take_word(&c).n > 0)
		return err_set(
			err, RC_CONFIG, "name{label=\"value\"} is wanted, with or without labels");
	return RC_OK;
}

/* ---- samples ---- */

static void keep(const struct pick *p, const struct line *line, struct found *found)
{
	for (size_t i = 0; i < p->n; i++) {
		for (int want = 0; want < PICK_WANTS; want++) {
			struct found *f = &found[i * PICK_WANTS + (size_t)want];
			if (!pick_fits(&p->streams[i].at[want], &line->key, ESCAPED))
				continue;
			f->n++;
			f->value = line->value;
			f->time = line->time;
			f->has_time = line->has_time;
		}
	}
}

static bool is_there(
	struct pick_job *job, const struct stream *s, enum pick_want want, const struct found *f)
{
	const char *place = pick_place(s, want);
	if (place[0] && f->n == 0)
		pick_absent(job, s, place, "no such line");
	if (f->n > 1)
		pick_absent(job, s, place, "%zu lines fit: more labels are wanted", f->n);
	return f->n == 1;
}

/* ms in the text format, s in OpenMetrics */
static bool time_of(struct pick_job *job, const struct stream *s, const struct found *f, bool open,
	int64_t *t_s)
{
	double value = floor(open ? f->time : f->time / 1000);
	if (fabs(value) < 1e15 && pick_time_fits((int64_t)value)) {
		*t_s = (int64_t)value;
		return true;
	}
	pick_absent(job, s, s->humidity, "time stamp %.17g is no time in %s", f->time,
		open ? "s" : "ms");
	return false;
}

static enum rc one_stream(
	struct pick_job *job, const struct stream *s, const struct found *f, bool open)
{
	struct pick_sent sent[PICK_WANTS];
	int64_t t_s;
	for (int want = 0; want < PICK_WANTS; want++) {
		sent[want].there = is_there(job, s, (enum pick_want)want, &f[want]);
		sent[want].value = f[want].value;
	}
	if (f->has_time && !time_of(job, s, f, open, &t_s))
		return RC_OK;
	return pick_make(job, s, sent, f->has_time ? &t_s : NULL);
}

/* Whether the last line is # EOF. */
static bool is_open_metrics(struct span body)
{
	static const char mark[] = "# EOF";
	size_t n = sizeof mark - 1;
	if (body.n > 0 && body.p[body.n - 1] == '\n')
		body.n--;
	if (body.n < n || memcmp(body.p + body.n - n, mark, n) != 0)
		return false;
	return body.n == n || body.p[body.n - n - 1] == '\n';
}

static enum rc read_lines(struct pick_job *job, struct span body, struct found *found)
{
	struct pick_label labels[PICK_LABELS_MAX];
	for (size_t number = 1; body.n > 0; number++) {
		struct span text = pick_next_line(&body);
		struct cursor c = { text.p, text.p + text.n };
		struct line line;
		take_blanks(&c);
		if (c.p == c.end || *c.p == '#')
			continue;
		if (!read_line(text, labels, &line))
			return err_set(job->err, RC_INPUT,
				"not metrics: line %zu: a name, labels, a value and a time stamp "
				"are "
				"wanted",
				number);
		keep(job->pick, &line, found);
	}
	return RC_OK;
}

enum rc pick_metrics(struct pick_job *job, struct span body)
{
	bool open = is_open_metrics(body);
	size_t n = job->pick->n;
	if (!open && body.n > 0 && body.p[body.n - 1] != '\n')
		return err_set(job->err, RC_INPUT, "not metrics: the last line is cut off");
	struct found *found = mem_new(n * PICK_WANTS, sizeof *found);
	if (!found)
		return err_set(job->err, RC_MEM, "metrics: out of memory");
	enum rc rc = read_lines(job, body, found);
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		if (pick_takes_part(job, job->pick->streams[i].stream))
			rc = one_stream(
				job, job->pick->streams[i].stream, &found[i * PICK_WANTS], open);
	mem_free(found);
	return rc;
}
