/* Which columns hold humidity and temperature, and of which sensors. */
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "daemon/cellnum.h"
#include "daemon/guess.h"

enum { NAMES_MAX = 64 };

/* Columns of one role. */
struct columns {
	size_t n;
	int at[PLAN_STREAMS + 1];
};

static const struct heading *head(const struct guess *g, int column)
{
	return &g->s->heads[column];
}

/* Keeps the columns for which keep is true, unless none is left. */
static void prefer(
	const struct guess *g, struct columns *c, bool (*keep)(const struct guess *g, int column))
{
	struct columns kept = { 0 };
	for (size_t i = 0; i < c->n; i++) {
		if (keep(g, c->at[i]))
			kept.at[kept.n++] = c->at[i];
	}
	if (kept.n > 0)
		*c = kept;
}

static bool has_values(const struct guess *g, int column)
{
	return g->look[column].filled > 0;
}

/* `t` may head a time as well as a temperature. */
static bool is_time(const struct guess *g, int column)
{
	const struct column_look *l = &g->look[column];
	return (l->dates + l->epochs + l->epochs_ms) * 2 > l->rows;
}

static bool no_extreme(const struct guess *g, int column)
{
	return !head(g, column)->extreme;
}

static bool in_words(const struct guess *g, int column)
{
	return head(g, column)->named;
}

static struct columns columns_of(const struct guess *g, enum heading_role role)
{
	struct columns c = { 0 };
	for (int i = 0; i < (int)g->s->width && c.n <= PLAN_STREAMS; i++) {
		if (head(g, i)->role == role && !is_time(g, i))
			c.at[c.n++] = i;
	}
	prefer(g, &c, in_words);
	prefer(g, &c, no_extreme);
	prefer(g, &c, has_values);
	return c;
}

static bool same_tag(const struct guess *g, int a, int b)
{
	return heading_same(head(g, a)->tag, head(g, b)->tag);
}

static enum rc ask_columns(
	const struct guess *g, const struct columns *c, const char *what, const char *question)
{
	char list[300] = "", label[HEADING_TEXT + 8];
	for (size_t i = 0; i < c->n && strlen(list) < 200; i++)
		(void)snprintf(list + strlen(list), sizeof list - strlen(list), "%s%.60s",
			i ? ", " : "", guess_label(g, c->at[i], label, sizeof label));
	return err_set(g->err, RC_ASK, "%s: %s: %s: %s = \"#%d\" in the layout names it", g->path,
		question, list, what, c->at[0] + 1);
}

/* The temperature that belongs to a humidity column: the one with the same tag, of two units the
 * first in degC. alone: the file has one humidity column, then the only temperature will do. */
static enum rc pair_temp(
	const struct guess *g, const struct columns *temps, int rh, bool alone, int *out)
{
	struct columns same = { 0 };
	*out = PLAN_NONE;
	for (size_t i = 0; i < temps->n; i++) {
		if (same_tag(g, temps->at[i], rh))
			same.at[same.n++] = temps->at[i];
	}
	const struct columns *from = same.n == 0 && alone ? temps : &same;
	if (from->n == 0)
		return RC_OK;
	*out = from->at[0];
	size_t celsius = 0, fahrenheit = 0;
	for (size_t i = 0; i < from->n; i++) {
		bool is_celsius = head(g, from->at[i])->unit == UNIT_CELSIUS;
		celsius += is_celsius;
		fahrenheit += head(g, from->at[i])->unit == UNIT_FAHRENHEIT;
		*out = is_celsius ? from->at[i] : *out;
	}
	if (from->n == 1 || (from == &same && celsius == 1 && fahrenheit + 1 == from->n))
		return RC_OK;
	return ask_columns(g, from, "temp", "which temperature goes with the humidity");
}

static enum rc no_humidity(const struct guess *g)
{
	char seen[360];
	sample_columns(g->s, seen, sizeof seen);
	if (g->s->header_rows == 0)
		return err_set(g->err, RC_ASK,
			"%s: no header: which column is the humidity? rh = \"#2\" (and temp) in "
			"the layout names it: "
			"its first row is %s",
			g->path, seen);
	return err_set(g->err, RC_INPUT,
		"%s: no humidity column: rh = \"#2\" in the layout names one: the file has %s",
		g->path, seen);
}

/* A column counts as one of names when few different texts fill it. Returns how many, 0: it is
 * none. */
static size_t distinct_names(const struct guess *g, int column)
{
	struct cell seen[NAMES_MAX];
	size_t n = 0, filled = 0;
	for (size_t i = g->s->data; i < g->s->n_rows; i++) {
		struct cell c = sample_cell(g->s, i, (size_t)column);
		bool known = c.n == 0;
		filled += c.n > 0;
		for (size_t k = 0; !known && k < n; k++)
			known = seen[k].n == c.n && memcmp(seen[k].p, c.p, c.n) == 0;
		if (known)
			continue;
		if (n == NAMES_MAX)
			return 0;
		seen[n++] = c;
	}
	return n == 1 || n * 2 <= filled || (n < 8 && g->look[column].numbers == 0) ? n : 0;
}

/* Sets the column that names the sensor of each row. */
static enum rc pick_names(struct guess *g)
{
	if (g->known->sensor_column[0])
		return guess_column(g, "sensor_column", g->known->sensor_column, &g->plan->names);
	struct columns c = columns_of(g, HEADING_NAME);
	size_t most = 0;
	for (size_t i = 0; i < c.n; i++) {
		size_t names = distinct_names(g, c.at[i]);
		if (names > most && (most == 0 || most == 1))
			g->plan->names = c.at[i];
		most = names > most ? names : most;
	}
	if (g->known->sensor[0] && most > 1)
		return ask_columns(g, &(struct columns){ 1, { g->plan->names } }, "sensor_column",
			"a sensor is given but a column names several");
	if (g->known->sensor[0])
		g->plan->names = PLAN_NONE;
	return RC_OK;
}

static enum rc add_stream(struct guess *g, const struct columns *temps, int rh, bool alone)
{
	struct plan_stream *s = &g->plan->stream[g->plan->n];
	enum rc rc = RC_OK;
	*s = (struct plan_stream){ .rh = rh, .temp = PLAN_NONE };
	if (g->known->temp[0] && alone)
		rc = guess_column(g, "temp", g->known->temp, &s->temp);
	else
		rc = pair_temp(g, temps, rh, alone, &s->temp);
	if (!alone)
		(void)snprintf(s->name, sizeof s->name, "%s", head(g, rh)->tag);
	g->plan->n += rc == RC_OK;
	return rc;
}

/* Several humidity columns are several sensors when their headings tell them apart; a plain one
 * among them must have a temperature of its own. */
static enum rc add_streams(struct guess *g, const struct columns *rhs, const struct columns *temps)
{
	const char *question = "which column is the humidity of the sensor";
	if (rhs->n > PLAN_STREAMS)
		return err_set(g->err, RC_INPUT, "%s: more than %d humidity columns", g->path,
			PLAN_STREAMS);
	if (g->known->sensor[0] || g->plan->names != PLAN_NONE || g->known->temp[0])
		return ask_columns(g, rhs, "rh", question);
	for (size_t i = 0; i < rhs->n; i++) {
		for (size_t k = 0; k < i; k++) {
			if (same_tag(g, rhs->at[i], rhs->at[k]))
				return ask_columns(g, rhs, "rh", question);
		}
		enum rc rc = add_stream(g, temps, rhs->at[i], false);
		if (rc != RC_OK)
			return rc;
	}
	bool plain = false, lonely = false;
	for (size_t i = 0; i < g->plan->n; i++) {
		plain = plain || !g->plan->stream[i].name[0];
		lonely = lonely || g->plan->stream[i].temp == PLAN_NONE;
	}
	return plain && lonely ? ask_columns(g, rhs, "rh", question) : RC_OK;
}

static enum rc guess_decimal(struct guess *g)
{
	size_t points = 0, commas = 0;
	if (g->known->decimal[0]) {
		g->plan->decimal = strcmp(g->known->decimal, "comma") == 0 ? ',' : '.';
		return RC_OK;
	}
	for (size_t i = g->s->data; i < g->s->n_rows; i++) {
		for (size_t k = 0; k < 2 * g->plan->n; k++) {
			const struct plan_stream *s = &g->plan->stream[k / 2];
			int column = k % 2 ? s->temp : s->rh;
			if (column == PLAN_NONE)
				continue;
			struct cell c = sample_cell(g->s, i, (size_t)column);
			struct cellnum v = cellnum_read(c.p, c.n, 0);
			points += v.kind == CELLNUM_OK && v.decimal == '.';
			commas += v.kind == CELLNUM_OK && v.decimal == ',';
		}
	}
	if (points > 0 && commas > 0)
		return err_set(g->err, RC_ASK,
			"%s: values with a point and with a comma: which is the decimal sign? "
			"decimal = "
			"\"point\" or \"comma\" in the layout",
			g->path);
	g->plan->decimal = commas ? ',' : points ? '.' : '\0';
	if (points + commas > 0)
		guess_tell(g->sink, "decimal sign: %s", commas ? "comma" : "point");
	return RC_OK;
}

enum rc guess_values(struct guess *g)
{
	struct columns rhs = columns_of(g, HEADING_RH);
	struct columns temps = columns_of(g, HEADING_TEMP);
	enum rc rc = pick_names(g);
	if (rc != RC_OK)
		return rc;
	if (g->known->rh[0]) {
		rhs.n = 1;
		rc = guess_column(g, "rh", g->known->rh, &rhs.at[0]);
	}
	if (rc != RC_OK)
		return rc;
	if (rhs.n == 0)
		return no_humidity(g);
	rc = rhs.n == 1 ? add_stream(g, &temps, rhs.at[0], true) : add_streams(g, &rhs, &temps);
	return rc == RC_OK ? guess_decimal(g) : rc;
}
