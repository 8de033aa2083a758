#include <json-c/json.h>
#include <string.h>

#include "daemon/pick_int.h"
#include "daemon/utf8.h"
#include "daemon/when.h"

/* Method: RFC 8259 in the library's strict mode, which still takes single quotes, NaN, raw controls and overlong UTF-8:
 * so the text's strings, numbers and words are looked at first. Pointers are walked here, since the library's take an
 * empty index for 0 (RFC 6901 section 4). Of a member name that comes twice the last one counts, as the library does
 * (RFC 8259 section 4 leaves that open). A byte order mark is passed over (section 8.1). */

/* ---- lexical grammar ---- */

static size_t digits(const char *p, size_t n)
{
	size_t i = 0;
	while (i < n && p[i] >= '0' && p[i] <= '9')
		i++;
	return i;
}

/* Bytes of the string at p, its quotes included; 0 when it is none. Escapes are left to the library. */
static size_t string_length(const char *p, size_t n)
{
	bool valid = true;
	for (size_t i = 1; i < n && valid && (unsigned char)p[i] >= ' ';) {
		if (p[i] == '"')
			return i + 1;
		i += p[i] == '\\' && i + 1 < n ? 1 : 0;
		i += utf8_step(p + i, n - i, &valid);
	}
	return 0;
}

/* Bytes of the number at p; 0 when it is none (section 6). */
static size_t number_length(const char *p, size_t n)
{
	size_t i = p[0] == '-', more = digits(p + i, n - i);
	if (more == 0 || (more > 1 && p[i] == '0'))
		return 0;
	i += more;
	if (i < n && p[i] == '.') {
		more = digits(p + i + 1, n - i - 1);
		if (more == 0)
			return 0;
		i += 1 + more;
	}
	if (i < n && (p[i] == 'e' || p[i] == 'E')) {
		i += i + 1 < n && (p[i + 1] == '+' || p[i + 1] == '-') ? 2 : 1;
		more = digits(p + i, n - i);
		if (more == 0)
			return 0;
		i += more;
	}
	return i;
}

/* Bytes of true, false or null at p; 0 when it is none. */
static size_t word_length(const char *p, size_t n)
{
	static const char *const words[] = { "true", "false", "null" };
	for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
		size_t length = strlen(words[i]);
		if (n >= length && memcmp(p, words[i], length) == 0)
			return length;
	}
	return 0;
}

/* Where the first thing stands that is no part of a JSON text; body.n: nowhere. */
static size_t first_wrong(struct span body)
{
	size_t i = 0, step = 1;
	while (i < body.n && step > 0) {
		const char *p = body.p + i;
		size_t left = body.n - i;
		if (*p == '"')
			step = string_length(p, left);
		else if (*p == '-' || (*p >= '0' && *p <= '9'))
			step = number_length(p, left);
		else if (*p && strchr("{}[]:, \t\r\n", *p))
			step = 1;
		else
			step = word_length(p, left);
		i += step;
	}
	return i;
}

/* ---- pointers ---- */

enum rc pick_json_place(const char *text, struct err *err)
{
	if (text[0] != '/')
		return err_set(err, RC_CONFIG, "a pointer begins with a slash: /air/rh");
	for (const char *p = text; *p; p++)
		if (*p == '~' && p[1] != '0' && p[1] != '1')
			return err_set(err, RC_CONFIG,
				"~ alone: ~0 stands for ~ and ~1 for a slash in a name");
	return RC_OK;
}

/* Takes the next token off a pointer that stands at a slash, unescaped. */
static void take_token(const char **pointer, char token[PICK_SIZE])
{
	size_t n = 0;
	const char *p = *pointer + 1;
	for (; *p && *p != '/'; p++) {
		if (*p == '~')
			token[n++] = *++p == '1' ? '/' : '~';
		else
			token[n++] = *p;
	}
	token[n] = '\0';
	*pointer = p;
}

/* 0, or digits without a leading zero; each index past an array's end is alike. */
static bool array_index(const char *token, size_t *out)
{
	size_t n = strlen(token);
	if (n == 0 || n > 9 || digits(token, n) != n || (n > 1 && token[0] == '0'))
		return false;
	for (*out = 0; *token; token++)
		*out = *out * 10 + (size_t)(*token - '0');
	return true;
}

/* What stands at a pointer, borrowed; NULL: nothing, or null. */
static struct json_object *at(struct json_object *root, const char *pointer)
{
	struct json_object *o = root;
	while (o && *pointer) {
		char token[PICK_SIZE];
		size_t i;
		struct json_object *below = NULL;
		take_token(&pointer, token);
		if (json_object_is_type(o, json_type_object))
			(void)json_object_object_get_ex(o, token, &below);
		else if (json_object_is_type(o, json_type_array) && array_index(token, &i))
			below = json_object_array_get_idx(o, i);
		o = below;
	}
	return o;
}

/* ---- values ---- */

static struct span text_of(struct json_object *o)
{
	return (struct span){ json_object_get_string(o), (size_t)json_object_get_string_len(o) };
}

static bool number_at(struct pick_job *job, const struct stream *s, struct json_object *o,
	const char *place, double *out)
{
	if (!o) {
		pick_absent(job, s, place, "nothing there");
		return false;
	}
	enum json_type type = json_object_get_type(o);
	if (type == json_type_int || type == json_type_double) {
		*out = json_object_get_double(o);
		return true;
	}
	if (type == json_type_string && pick_real(text_of(o), out))
		return true;
	pick_absent(job, s, place, "no number");
	return false;
}

static bool text_time(struct span text, int64_t *t_s)
{
	double number;
	struct when w;
	if (pick_real(text, &number))
		return number > 0 && number < 9e18 && pick_epoch((int64_t)number, t_s);
	if (!when_text(text.p, text.n, ORDER_GUESS, &w) || !w.has_date || !w.has_clock ||
		!w.has_offset)
		return false;
	*t_s = when_wall_s(&w) - w.offset_s;
	return pick_time_fits(*t_s);
}

/* A count since 1970, or text of a date, a time of day and an offset as in RFC 3339. */
static bool time_at(
	struct pick_job *job, const struct stream *s, struct json_object *o, int64_t *t_s)
{
	bool told = false;
	double number = 0;
	switch (o ? json_object_get_type(o) : json_type_null) {
	case json_type_int:
		told = pick_epoch(json_object_get_int64(o), t_s);
		break;
	case json_type_double:
		number = json_object_get_double(o);
		told = number > 0 && number < 9e18 && pick_epoch((int64_t)number, t_s);
		break;
	case json_type_string:
		told = text_time(text_of(o), t_s);
		break;
	case json_type_null:
	case json_type_boolean:
	case json_type_object:
	case json_type_array:
		break;
	}
	if (!told)
		pick_absent(
			job, s, s->time, o ? "no time with its offset to UTC" : "nothing there");
	return told;
}

static enum rc one_stream(struct pick_job *job, const struct stream *s, struct json_object *root)
{
	struct pick_sent sent[PICK_WANTS] = { 0 };
	int64_t t_s;
	for (int want = 0; want < PICK_WANTS; want++) {
		const char *place = pick_place(s, (enum pick_want)want);
		if (place[0])
			sent[want].there =
				number_at(job, s, at(root, place), place, &sent[want].value);
	}
	if (s->time[0] && !time_at(job, s, at(root, s->time), &t_s))
		return RC_OK;
	return pick_make(job, s, sent, s->time[0] ? &t_s : NULL);
}

/* The document; RC_INPUT says what is wrong, and where. */
static enum rc parse(
	struct json_tokener *tok, struct span body, struct json_object **out, struct err *err)
{
	size_t wrong = first_wrong(body);
	if (wrong < body.n)
		return err_set(err, RC_INPUT, "not json: byte %zu", wrong + 1);
	struct json_object *root = json_tokener_parse_ex(tok, body.p, (int)body.n);
	enum json_tokener_error failed = json_tokener_get_error(tok);
	size_t end = json_tokener_get_parse_end(tok);
	if (failed == json_tokener_continue) { /* a number may go on: say that it does not */
		root = json_tokener_parse_ex(tok, "", 1);
		failed = json_tokener_get_error(tok);
		end = body.n;
	}
	if (failed == json_tokener_success) {
		*out = root;
		return RC_OK;
	}
	json_object_put(root);
	return err_set(err, RC_INPUT, "not json: byte %zu: %s", end + 1,
		failed == json_tokener_continue ? "it is cut off"
						: json_tokener_error_desc(failed));
}

enum rc pick_json(struct pick_job *job, struct span body)
{
	struct json_object *root = NULL;
	struct json_tokener *tok = json_tokener_new_ex(PICK_DEPTH);
	if (!tok)
		return err_set(job->err, RC_MEM, "json: out of memory");
	json_tokener_set_flags(tok, JSON_TOKENER_STRICT | JSON_TOKENER_VALIDATE_UTF8);
	if (body.n >= 3 && memcmp(body.p, "\xEF\xBB\xBF", 3) == 0)
		body = (struct span){ body.p + 3, body.n - 3 };
	enum rc rc = parse(tok, body, &root, job->err);
	for (size_t i = 0; rc == RC_OK && i < job->pick->n; i++)
		if (pick_takes_part(job, job->pick->streams[i].stream))
			rc = one_stream(job, job->pick->streams[i].stream, root);
	json_object_put(root);
	json_tokener_free(tok);
	return rc;
}
