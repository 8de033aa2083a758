/* Method: the line is made plain (lower case, plain signs), cut into words and numbers, and the longest phrase of the
 * table that stands at each place says what follows. */
#include "notation.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { PLAIN = 2 * NOTATION_LINE + 1, TOKENS_MAX = 64, TOKEN = 40 };

#define EXAMPLE "`relief .010 tuner 1/6` or `action 6/64 bass 4/64 treble` would do"

/* ---- words ---- */

enum part {
	PART_VALUE, /* kind, and a value follows */
	PART_EVENT, /* kind */
	PART_BOTH_SIDES, /* kind of the bass side, values with their sides follow */
	PART_SIDE, /* 0 bass, 1 treble */
	PART_SIGN, /* +1, -1 of what was changed */
	PART_ZERO, /* fret ends were dressed */
	PART_FILLER
};

struct phrase {
	const char *words;
	enum part part;
	int what; /* enum finding_kind, side, sign */
};

/* Common practice, no source. */
static const struct phrase phrases[] = {
	{ "relief", PART_VALUE, FINDING_RELIEF },
	{ "neck relief", PART_VALUE, FINDING_RELIEF },
	{ "action_bass", PART_VALUE, FINDING_ACTION_BASS },
	{ "action_treble", PART_VALUE, FINDING_ACTION_TREBLE },
	{ "action", PART_BOTH_SIDES, FINDING_ACTION_BASS },
	{ "string height", PART_BOTH_SIDES, FINDING_ACTION_BASS },
	{ "12th fret", PART_BOTH_SIDES, FINDING_ACTION_BASS },
	{ "fret 12", PART_BOTH_SIDES, FINDING_ACTION_BASS },
	{ "12th", PART_BOTH_SIDES, FINDING_ACTION_BASS },
	{ "first_fret_bass", PART_VALUE, FINDING_FIRST_FRET_BASS },
	{ "first_fret_treble", PART_VALUE, FINDING_FIRST_FRET_TREBLE },
	{ "first fret", PART_BOTH_SIDES, FINDING_FIRST_FRET_BASS },
	{ "1st fret", PART_BOTH_SIDES, FINDING_FIRST_FRET_BASS },
	{ "fret 1", PART_BOTH_SIDES, FINDING_FIRST_FRET_BASS },
	{ "1st", PART_BOTH_SIDES, FINDING_FIRST_FRET_BASS },
	{ "bass", PART_SIDE, 0 },
	{ "bass side", PART_SIDE, 0 },
	{ "on the bass side", PART_SIDE, 0 },
	{ "low e", PART_SIDE, 0 },
	{ "treble", PART_SIDE, 1 },
	{ "treble side", PART_SIDE, 1 },
	{ "on the treble side", PART_SIDE, 1 },
	{ "high e", PART_SIDE, 1 },
	{ "fret_ends", PART_VALUE, FINDING_FRET_ENDS },
	{ "fret ends", PART_VALUE, FINDING_FRET_ENDS },
	{ "fret end", PART_VALUE, FINDING_FRET_ENDS },
	{ "fret sprout", PART_VALUE, FINDING_FRET_ENDS },
	{ "dressed", PART_ZERO, 0 },
	{ "filed", PART_ZERO, 0 },
	{ "flush", PART_ZERO, 0 },
	{ "smooth", PART_ZERO, 0 },
	{ "tuner_turn", PART_VALUE, FINDING_TUNER_TURN },
	{ "tuner turn", PART_VALUE, FINDING_TUNER_TURN },
	{ "tuner", PART_VALUE, FINDING_TUNER_TURN },
	{ "tuners", PART_VALUE, FINDING_TUNER_TURN },
	{ "tuner nut", PART_VALUE, FINDING_TUNER_TURN },
	{ "tuner nuts", PART_VALUE, FINDING_TUNER_TURN },
	{ "tuner bushings", PART_VALUE, FINDING_TUNER_TURN },
	{ "bushings", PART_VALUE, FINDING_TUNER_TURN },
	{ "machine heads", PART_VALUE, FINDING_TUNER_TURN },
	{ "tuning machines", PART_VALUE, FINDING_TUNER_TURN },
	{ "snug", PART_EVENT, FINDING_SNUG },
	{ "snugged", PART_EVENT, FINDING_SNUG },
	{ "tuner snug", PART_EVENT, FINDING_SNUG },
	{ "tuners snug", PART_EVENT, FINDING_SNUG },
	{ "tuner nuts snug", PART_EVENT, FINDING_SNUG },
	{ "nuts snug", PART_EVENT, FINDING_SNUG },
	{ "all snug", PART_EVENT, FINDING_SNUG },
	{ "hardware snug", PART_EVENT, FINDING_SNUG },
	{ "tuners tight", PART_EVENT, FINDING_SNUG },
	{ "hardware tight", PART_EVENT, FINDING_SNUG },
	{ "truss_turn", PART_VALUE, FINDING_TRUSS_TURN },
	{ "truss turn", PART_VALUE, FINDING_TRUSS_TURN },
	{ "truss", PART_VALUE, FINDING_TRUSS_TURN },
	{ "truss rod", PART_VALUE, FINDING_TRUSS_TURN },
	{ "trussrod", PART_VALUE, FINDING_TRUSS_TURN },
	{ "rod", PART_VALUE, FINDING_TRUSS_TURN },
	{ "neck rod", PART_VALUE, FINDING_TRUSS_TURN },
	{ "saddle", PART_VALUE, FINDING_SADDLE },
	{ "bridge saddle", PART_VALUE, FINDING_SADDLE },
	{ "nut", PART_VALUE, FINDING_NUT },
	{ "nut slots", PART_VALUE, FINDING_NUT },
	{ "up", PART_SIGN, 1 },
	{ "raised", PART_SIGN, 1 },
	{ "higher", PART_SIGN, 1 },
	{ "shimmed", PART_SIGN, 1 },
	{ "tight", PART_SIGN, 1 },
	{ "tighter", PART_SIGN, 1 },
	{ "tightened", PART_SIGN, 1 },
	{ "down", PART_SIGN, -1 },
	{ "lowered", PART_SIGN, -1 },
	{ "lower", PART_SIGN, -1 },
	{ "loose", PART_SIGN, -1 },
	{ "looser", PART_SIGN, -1 },
	{ "loosened", PART_SIGN, -1 },
	{ "slackened", PART_SIGN, -1 },
	{ "backed off", PART_SIGN, -1 },
	{ "restrung", PART_EVENT, FINDING_RESTRUNG },
	{ "new strings", PART_EVENT, FINDING_RESTRUNG },
	{ "fresh strings", PART_EVENT, FINDING_RESTRUNG },
	{ "strings changed", PART_EVENT, FINDING_RESTRUNG },
	{ "strings new", PART_EVENT, FINDING_RESTRUNG },
	{ "changed strings", PART_EVENT, FINDING_RESTRUNG },
	{ "pegs", PART_EVENT, FINDING_PEGS },
	{ "pegs eased", PART_EVENT, FINDING_PEGS },
	{ "pegs fitted", PART_EVENT, FINDING_PEGS },
	{ "pegs doped", PART_EVENT, FINDING_PEGS },
	{ "pegs pushed home", PART_EVENT, FINDING_PEGS },
	{ "pins pushed home", PART_EVENT, FINDING_PEGS },
	{ "pins fitted", PART_EVENT, FINDING_PEGS },
	{ "bridge pins fitted", PART_EVENT, FINDING_PEGS },
	{ "inspected", PART_EVENT, FINDING_INSPECTED },
	{ "looked over", PART_EVENT, FINDING_INSPECTED },
	{ "braces checked", PART_EVENT, FINDING_INSPECTED },
	{ "seams checked", PART_EVENT, FINDING_INSPECTED },
	{ "settled", PART_EVENT, FINDING_SETTLED },
	{ "strings settled", PART_EVENT, FINDING_SETTLED },
	{ "settled in", PART_EVENT, FINDING_SETTLED },
	{ "checked", PART_EVENT, FINDING_CHECKED },
	{ "hygrometer checked", PART_EVENT, FINDING_CHECKED },
	{ "battery", PART_EVENT, FINDING_BATTERY },
	{ "battery changed", PART_EVENT, FINDING_BATTERY },
	{ "battery charged", PART_EVENT, FINDING_BATTERY },
	{ "new battery", PART_EVENT, FINDING_BATTERY },
	{ "and", PART_FILLER, 0 },
	{ "&", PART_FILLER, 0 },
	{ "is", PART_FILLER, 0 },
	{ "are", PART_FILLER, 0 },
	{ "now", PART_FILLER, 0 },
	{ "by", PART_FILLER, 0 },
	{ "at the", PART_FILLER, 0 },
	{ "at fret 7", PART_FILLER, 0 },
	{ "at the 7th fret", PART_FILLER, 0 },
	{ "at the 7th", PART_FILLER, 0 },
	{ "over the", PART_FILLER, 0 },
	{ "at", PART_FILLER, 0 },
};
enum { PHRASES = sizeof phrases / sizeof phrases[0] };

/* ---- a line made plain ---- */

/* What phones and word processors put in the place of plain characters. */
static const struct {
	const char *fancy, *plain;
} plainer[] = {
	{ "\xc2\xbd", " 1/2" }, /* U+00BD */
	{ "\xc2\xbc", " 1/4" }, { "\xc2\xbe", " 3/4" }, { "\xe2\x85\x93", " 1/3" }, /* U+2153 */
	{ "\xe2\x85\x94", " 2/3" }, { "\xe2\x85\x99", " 1/6" }, { "\xe2\x85\x9a", " 5/6" },
	{ "\xe2\x85\x9b", " 1/8" }, { "\xe2\x85\x9c", " 3/8" }, { "\xe2\x85\x9d", " 5/8" },
	{ "\xe2\x85\x9e", " 7/8" }, { "\xe2\x81\x84", "/" }, /* U+2044 fraction slash */
	{ "\xe2\x88\x92", "-" }, /* U+2212 minus */
	{ "\xe2\x80\x93", "-" }, /* U+2013 en dash */
	{ "\xe2\x80\x9c", "\"" }, /* U+201C, U+201D quotes */
	{ "\xe2\x80\x9d", "\"" }, { "\xe2\x80\xb3", "\"" }, /* U+2033 double prime */
	{ "\xc2\xb5", "u" }, /* U+00B5 micro */
	{ "\xc2\xa0", " " }, /* U+00A0 no-break space */
	{ "\xe2\x80\xaf", " " }, /* U+202F */
};

static bool is_digit(char c)
{
	return c >= '0' && c <= '9';
}

/* A comma between digits is a decimal one when what stands before it is a whole number (`0,25`). */
static bool is_decimal_comma(const char *line, const char *p)
{
	const char *start = p;
	while (start > line && (is_digit(start[-1]) || strchr("./", start[-1])))
		start--;
	return start < p && strspn(start, "0123456789") >= (size_t)(p - start) && is_digit(p[1]);
}

static const char *fancy_at(const char *p, const char **plain)
{
	for (size_t i = 0; i < sizeof plainer / sizeof plainer[0]; i++) {
		size_t n = strlen(plainer[i].fancy);
		if (strncmp(p, plainer[i].fancy, n) == 0) {
			*plain = plainer[i].plain;
			return p + n;
		}
	}
	return NULL;
}

/* False when the line is too long. */
static bool make_plain(const char *line, char out[PLAIN])
{
	size_t used = 0;
	if (strlen(line) > NOTATION_LINE)
		return false;
	for (const char *p = line; *p;) {
		const char *plain = NULL, *next = fancy_at(p, &plain);
		if (next) {
			used += (size_t)snprintf(out + used, PLAIN - used, "%s", plain);
			p = next;
			continue;
		}
		char c = *p;
		if (c == ',' && is_decimal_comma(line, p))
			c = '.';
		else if (strchr(",;=:\t", c))
			c = ' ';
		else if (c >= 'A' && c <= 'Z')
			c = (char)(c - 'A' + 'a');
		out[used++] = c;
		p++;
	}
	out[used] = '\0';
	return true;
}

/* ---- tokens ---- */

struct tokens {
	char at[TOKENS_MAX][TOKEN];
	size_t n;
	enum bench_units units;
	struct err *err;
};

/* Where the number at p ends; p when there is none: an optional sign, digits, points and slashes. */
static const char *number_end(const char *p)
{
	const char *start = p + (*p == '-' || *p == '+');
	if (!is_digit(start[*start == '.']))
		return p;
	return start + strspn(start, "0123456789./");
}

/* `12th` and `1st` are words. */
static bool is_ordinal(const char *end)
{
	static const char *const ends[] = { "st", "nd", "rd", "th" };
	for (size_t i = 0; i < 4; i++)
		if (strncmp(end, ends[i], 2) == 0 && (end[2] == ' ' || end[2] == '\0'))
			return true;
	return false;
}

static bool add_token(struct tokens *t, const char *p, size_t n)
{
	if (t->n == TOKENS_MAX || n >= TOKEN)
		return false;
	memcpy(t->at[t->n], p, n);
	t->at[t->n++][n] = '\0';
	return true;
}

/* Cuts one blank-delimited piece: a number and what is glued to it, or a word. */
static bool cut_piece(struct tokens *t, const char *p, size_t n)
{
	const char *end = number_end(p);
	while (n > 1 && strchr(".!", p[n - 1])) /* the end of a sentence */
		n--;
	if (end > p + n)
		end = p + n;
	bool ratio = strcspn(p, "/") < (size_t)(end - p);
	if (end == p || (!ratio && is_ordinal(end)))
		return add_token(t, p, n);
	if (!add_token(t, p, (size_t)(end - p)))
		return false;
	n -= (size_t)(end - p);
	if (ratio && (strncmp(end, "ths", 3) == 0 || strncmp(end, "th", 2) == 0)) {
		size_t th = strncmp(end, "ths", 3) == 0 ? 3 : 2; /* 6/64ths */
		end += th;
		n -= th;
	}
	return n == 0 || add_token(t, end, n);
}

static bool tokenize(const char *line, struct tokens *t)
{
	char plain[PLAIN];
	t->n = 0;
	if (!make_plain(line, plain))
		return false;
	const char *p = plain + strspn(plain, " ");
	if (strchr("-*>", *p) && p[0] && p[1] == ' ') /* of a list */
		p++;
	for (p += strspn(p, " "); *p; p += strspn(p, " ")) {
		size_t n = strcspn(p, " ");
		if (!cut_piece(t, p, n))
			return false;
		p += n;
	}
	return true;
}

/* Tokens that the phrase covers at i, 0: it does not stand there. */
static size_t covers(const struct tokens *t, size_t i, const char *words)
{
	size_t n = 0;
	for (const char *p = words; *p; n++) {
		size_t len = strcspn(p, " ");
		if (i + n >= t->n || strncmp(t->at[i + n], p, len) != 0 || t->at[i + n][len])
			return 0;
		p += len + (p[len] == ' ');
	}
	return n;
}

/* The longest phrase at *i, which moves behind it; NULL: none. */
static const struct phrase *take_phrase(const struct tokens *t, size_t *i)
{
	const struct phrase *best = NULL;
	size_t most = 0;
	for (size_t k = 0; k < PHRASES; k++) {
		size_t n = covers(t, *i, phrases[k].words);
		if (n > most) {
			best = &phrases[k];
			most = n;
		}
	}
	*i += most;
	return best;
}

static void skip_fillers(const struct tokens *t, size_t *i)
{
	size_t at = *i;
	const struct phrase *p = take_phrase(t, &at);
	while (p && p->part == PART_FILLER) {
		*i = at;
		p = take_phrase(t, &at);
	}
}

/* The phrase at *i when it is of that part; fillers before it are passed over with it. */
static const struct phrase *take_part(const struct tokens *t, size_t *i, enum part part)
{
	size_t at = *i;
	skip_fillers(t, &at);
	const struct phrase *p = take_phrase(t, &at);
	if (!p || p->part != part)
		return NULL;
	*i = at;
	return p;
}

/* ---- values ---- */

static bool is_number(const char *token)
{
	const char *end = number_end(token);
	return end != token && *end == '\0';
}

static bool is_unit(const char *token)
{
	static const char *const units[] = { "in", "\"", "inch", "inches", "thou", "mm", "cm", "um",
		"turn", "turns" };
	for (size_t i = 0; i < sizeof units / sizeof units[0]; i++)
		if (strcmp(token, units[i]) == 0)
			return true;
	return false;
}

/* `.010`, `0.010`, `-.005`. */
static bool is_gauge(const char *number)
{
	number += *number == '-' || *number == '+';
	number += *number == '0';
	return *number == '.' && strspn(number + 1, "0123456789") == 3 && number[4] == '\0';
}

/* Takes a number, a fraction that belongs to it and a unit from *i on; text shows what was taken. */
static bool take_amount(struct tokens *t, size_t *i, bool turns, char *text, size_t size, double *v)
{
	size_t at = *i;
	skip_fillers(t, &at);
	if (at == t->n || !is_number(t->at[at]))
		return false;
	const char *number = t->at[at++];
	bool whole = number[strspn(number, "+-0123456789")] == '\0';
	bool mixed = whole && at < t->n && is_digit(t->at[at][0]) && is_number(t->at[at]) &&
		     strchr(t->at[at], '/');
	const char *part = mixed ? t->at[at++] : "";
	const char *unit = at < t->n && is_unit(t->at[at]) ? t->at[at++] : "";
	bool bare = !mixed && !*unit && !strchr(number, '/') && !turns;
	if (bare)
		unit = is_gauge(number) || t->units == BENCH_INCH ? "in" : "mm";
	(void)snprintf(text, size, "%s%s%s%s%s", number, mixed ? " " : "", part,
		*unit && !bare ? " " : "", unit);
	*i = at;
	return turns ? units_turns(text, v) : units_length(text, v);
}

static enum rc not_understood(const struct tokens *t, size_t i)
{
	return err_set(t->err, RC_INPUT, "\"%s\" is not understood here: " EXAMPLE,
		i < t->n ? t->at[i] : "");
}

static enum rc check_range(
	const struct tokens *t, enum finding_kind kind, const char *text, double v)
{
	const struct finding_word *w = &finding_words()[kind];
	bool length = w->unit == FINDING_LENGTH;
	double scale = length ? 1000 : 1;
	if (v >= w->low && v <= w->high)
		return RC_OK;
	return err_set(t->err, RC_INPUT, "%s %s would be %.3g %s: %g to %g %s can be true: %s",
		w->name, text, v * scale, length ? "mm" : "turns", w->low * scale, w->high * scale,
		length ? "mm" : "turns",
		length ? "with its unit, .010in or 0.25mm?" : "1/6 or 0.25?");
}

/* The value of that kind from *i on, with words for its sign before or behind it. */
static enum rc take_value(struct tokens *t, size_t *i, enum finding_kind kind, double *v)
{
	char text[3 * TOKEN + 4];
	const struct finding_word *w = &finding_words()[kind];
	bool turns = w->unit == FINDING_TURNS;
	bool change = kind == FINDING_SADDLE || kind == FINDING_NUT || turns;
	const struct phrase *sign = change ? take_part(t, i, PART_SIGN) : NULL;
	size_t from = *i;
	if (kind == FINDING_FRET_ENDS && take_part(t, i, PART_ZERO)) {
		*v = 0;
		return RC_OK;
	}
	if (!take_amount(t, i, turns, text, sizeof text, v))
		return from < t->n && is_number(t->at[from])
			       ? not_understood(t, from)
			       : err_set(t->err, RC_INPUT, "%s: a value is missing: " EXAMPLE,
					 w->name);
	if (!sign && change)
		sign = take_part(t, i, PART_SIGN);
	if (kind == FINDING_FRET_ENDS && *v == 0)
		(void)take_part(t, i, PART_ZERO);
	if (sign && *v < 0)
		return err_set(t->err, RC_INPUT, "%s %s %s: the sign or the word, not both",
			w->name, text, sign->words);
	*v = (sign ? sign->what : 1) * *v + 0.0;
	return check_range(t, kind, text, *v);
}

/* ---- the whole ---- */

struct reading {
	struct notation at[NOTATION_MAX];
	size_t n;
};

static enum rc add(const struct tokens *t, struct reading *r, enum finding_kind kind, double v)
{
	for (size_t i = 0; i < r->n; i++) {
		enum finding_kind other = r->at[i].kind;
		if (finding_contradicts(kind, v, other, r->at[i].value))
			return err_set(t->err, RC_INPUT,
				"%s and %s cannot both be: which of the two?",
				finding_words()[other].name, finding_words()[kind].name);
		if (other == kind)
			return RC_OK;
	}
	if (r->n == NOTATION_MAX)
		return err_set(t->err, RC_INPUT, "more than %d things on a line: a second line?",
			NOTATION_MAX);
	r->at[r->n++] = (struct notation){ kind, v };
	return RC_OK;
}

/* One value with its side before or behind it. *more false: there is none at *i. */
static enum rc take_side(
	struct tokens *t, size_t *i, enum finding_kind kind, struct reading *r, bool *more)
{
	const char *name = kind == FINDING_ACTION_BASS ? "action" : "first fret";
	char text[3 * TOKEN + 4];
	double v = 0;
	const struct phrase *side = take_part(t, i, PART_SIDE);
	skip_fillers(t, i);
	bool number = *i < t->n && is_number(t->at[*i]);
	*more = side || number;
	if (!*more)
		return RC_OK;
	if (!number)
		return err_set(
			t->err, RC_INPUT, "%s %s: a value is missing: " EXAMPLE, name, side->words);
	size_t from = *i;
	if (!take_amount(t, i, false, text, sizeof text, &v))
		return not_understood(t, from);
	if (!side)
		side = take_part(t, i, PART_SIDE);
	if (!side)
		return err_set(t->err, RC_INPUT,
			"%s %s: on which side, bass or treble? `%s %s bass` would do", name, text,
			name, text);
	enum finding_kind of = (enum finding_kind)((int)kind + side->what);
	enum rc rc = check_range(t, of, text, v);
	return rc == RC_OK ? add(t, r, of, v) : rc;
}

/* `6/64 bass 4.5/64 treble`, `bass 6/64 treble 5/64`, one or both; kind is that of the bass side. */
static enum rc take_sides(struct tokens *t, size_t *i, enum finding_kind kind, struct reading *r)
{
	bool more = true;
	size_t taken = 0, at = *i;
	const struct phrase *again = take_part(t, &at, PART_BOTH_SIDES);
	if (again && again->what == (int)kind) /* action at the 12th fret */
		*i = at;
	enum rc rc = take_side(t, i, kind, r, &more);
	for (; rc == RC_OK && more; taken++)
		rc = take_side(t, i, kind, r, &more);
	if (rc == RC_OK && taken == 0)
		rc = err_set(t->err, RC_INPUT, "%s: a value is missing: " EXAMPLE,
			kind == FINDING_ACTION_BASS ? "action" : "first fret");
	return rc;
}

static enum rc take_one(struct tokens *t, size_t *i, struct reading *r)
{
	double v = 0;
	size_t at = *i;
	const struct phrase *p = take_phrase(t, &at);
	enum rc rc = RC_OK;
	if (!p)
		return not_understood(t, *i);
	switch (p->part) {
	case PART_VALUE:
		*i = at;
		rc = take_value(t, i, (enum finding_kind)p->what, &v);
		return rc == RC_OK ? add(t, r, (enum finding_kind)p->what, v) : rc;
	case PART_EVENT:
		*i = at;
		return add(t, r, (enum finding_kind)p->what, (double)NAN);
	case PART_BOTH_SIDES:
		*i = at;
		return take_sides(t, i, (enum finding_kind)p->what, r);
	case PART_SIDE:
		return take_sides(t, i, FINDING_ACTION_BASS, r);
	case PART_FILLER:
		*i = at;
		return RC_OK;
	case PART_SIGN:
	case PART_ZERO:
		break;
	}
	return not_understood(t, *i);
}

bool notation_is(const char *line)
{
	struct tokens t = { .n = 0 };
	(void)tokenize(line, &t);
	size_t i = 0;
	const struct phrase *p = take_phrase(&t, &i);
	return p && (p->part <= PART_BOTH_SIDES || p->part == PART_SIDE);
}

enum rc notation_read(const char *line, enum bench_units units, struct notation found[NOTATION_MAX],
	size_t *n, struct err *err)
{
	struct tokens t = { .units = units, .err = err };
	struct reading r = { .n = 0 };
	if (!tokenize(line, &t))
		return err_set(err, RC_INPUT, "too long to be read: " EXAMPLE);
	if (t.n == 0)
		return err_set(err, RC_INPUT, "nothing on the line: " EXAMPLE);
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < t.n;)
		rc = take_one(&t, &i, &r);
	if (rc != RC_OK)
		return rc;
	if (r.n == 0)
		return not_understood(&t, 0);
	memcpy(found, r.at, r.n * sizeof *found);
	*n = r.n;
	return RC_OK;
}
