#include "daemon/guess.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "core/number.h"

void guess_tell(const struct import_sink *sink, const char *fmt, ...)
{
	char text[400];
	if (!sink->guess)
		return;
	va_list ap;
	va_start(ap, fmt);
	(void)vsnprintf(text, sizeof text, fmt, ap);
	va_end(ap);
	sink->guess(sink->arg, text);
}

const char *guess_label(const struct guess *g, int column, char *buf, size_t n)
{
	const char *text = g->s->heads[column].text;
	(void)snprintf(buf, n, *text ? "#%d \"%s\"" : "#%d%s", column + 1, text);
	return buf;
}

enum rc guess_column(const struct guess *g, const char *what, const char *text, int *column)
{
	int64_t number;
	if (text[0] == '#' && number_int(text + 1, &number) && number > 0 &&
		number <= (int64_t)g->s->width) {
		*column = (int)number - 1;
		return RC_OK;
	}
	int found = 0;
	for (int i = 0; i < (int)g->s->width; i++) {
		bool exact = strcmp(g->s->heads[i].text, text) == 0;
		if (exact || (found == 0 && heading_same(g->s->heads[i].text, text))) {
			*column = i;
			found++;
			if (exact)
				return RC_OK;
		}
	}
	if (found == 1)
		return RC_OK;
	char seen[300];
	sample_columns(g->s, seen, sizeof seen);
	return err_set(g->err, RC_INPUT, "%s: %s = \"%s\": no such column: the file has %s",
		g->path, what, text, seen);
}

static void tell_table(const struct guess *g)
{
	const struct sample *s = g->s;
	const char *delimiter = s->delimiter == '\t'  ? "tab"
				: s->delimiter == ';' ? "semicolon"
						      : "comma";
	if (!g->known->delimiter[0])
		guess_tell(g->sink, "delimiter: %s", delimiter);
	if (g->known->header_rows > 0)
		return;
	if (s->header_rows == 2)
		guess_tell(g->sink, "header: lines %lld and %lld",
			(long long)s->rows[s->header_at[0]].line,
			(long long)s->rows[s->header_at[1]].line);
	else if (s->header_rows == 1)
		guess_tell(g->sink, "header: line %lld", (long long)s->rows[s->header_at[0]].line);
	else
		guess_tell(g->sink, "header: none");
}

/* Do rows have values beyond the header? Then it is not sure what stands under which heading. */
static bool too_wide(const struct sample *s)
{
	for (size_t i = s->data; i < s->n_rows && i < s->data + 3; i++) {
		for (size_t k = s->width; k < s->rows[i].n; k++) {
			if (sample_cell(s, i, k).n > 0)
				return true;
		}
	}
	return false;
}

enum rc guess_plan(struct plan *plan, const char *path, const struct layout *known,
	const struct import_sink *sink, struct err *err)
{
	struct guess g = { path, known, sink, &plan->sample, plan, NULL, err };
	plan->time = plan->clock = plan->names = PLAN_NONE;
	plan->delimiter = plan->sample.delimiter;
	if (plan->sample.data == plan->sample.n_rows)
		return err_set(err, RC_INPUT,
			"%s: no row with a date and a value was found in its first lines", path);
	plan->data_line = plan->sample.rows[plan->sample.data].line;
	if (too_wide(&plan->sample) && known->rh[0] != '#')
		return err_set(err, RC_INPUT,
			"%s:%lld: more cells than the header has: a decimal comma between commas, "
			"or a column "
			"without a heading? rh = \"#3\" (and time, temp) in the layout name "
			"columns by number",
			path, (long long)plan->data_line);
	g.look = mem_new(plan->sample.width, sizeof *g.look);
	if (!g.look)
		return err_set(err, RC_MEM, "%s: out of memory", path);
	for (size_t i = 0; i < plan->sample.width; i++)
		sample_look(g.s, i, &g.look[i]);
	tell_table(&g);
	enum rc rc = guess_values(&g);
	rc = rc == RC_OK ? guess_units(&g) : rc;
	rc = rc == RC_OK ? guess_time(&g) : rc;
	rc = rc == RC_OK ? guess_zone(&g) : rc;
	mem_free(g.look);
	return rc;
}

void plan_done(struct plan *plan)
{
	zone_free(plan->zone);
	sample_done(&plan->sample);
	plan->zone = NULL;
}
