/* Which columns hold the time, in which form, in which order of day and month, and where the clock
 * hung. */
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "daemon/guess.h"

static bool most(size_t part, size_t all)
{
	return part * 2 > all;
}

static bool is_clock(const struct column_look *l)
{
	return most(l->clocks, l->filled) && l->dates == 0;
}

/* Does the heading say by what offset the column runs? */
static bool names_offset(const struct guess *g, int column)
{
	int32_t offset_s;
	return when_named_offset(g->s->heads[column].text, &offset_s);
}

/* How well a column would do for the date; 0: not at all. */
static int date_rank(const struct guess *g, int column)
{
	const struct column_look *l = &g->look[column];
	const struct heading *h = &g->s->heads[column];
	bool time = h->role == HEADING_TIME;
	if (l->filled * 2 < l->rows)
		return 0;
	int rank = 0;
	bool none = g->s->header_rows == 0;
	if (most(l->dates, l->filled) && (time || l->numbers < l->filled))
		rank = most(l->clocks, l->filled) ? 100 : 60;
	else if ((time || (none && column == 0)) && most(l->epochs + l->epochs_ms, l->filled))
		rank = 50;
	else if (time && most(l->serials, l->filled))
		rank = 40;
	if (rank == 0)
		return 0;
	return rank + 30 * most(l->offsets, l->filled) + 20 * names_offset(g, column) + 10 * time;
}

static int best_date(const struct guess *g)
{
	int best = PLAN_NONE, best_rank = 0;
	for (int i = 0; i < (int)g->s->width; i++) {
		int rank = date_rank(g, i);
		if (rank > best_rank) {
			best_rank = rank;
			best = i;
		}
	}
	return best;
}

/* The time of day beside a date: headed as a time, or any when there is no header. */
static int best_clock(const struct guess *g)
{
	for (int i = 0; i < (int)g->s->width; i++) {
		bool headed = g->s->heads[i].role == HEADING_TIME || g->s->header_rows == 0;
		if (i != g->plan->time && headed && is_clock(&g->look[i]))
			return i;
	}
	return PLAN_NONE;
}

static enum rc pick_columns(struct guess *g)
{
	struct plan *plan = g->plan;
	enum rc rc = RC_OK;
	if (g->known->time[0])
		rc = guess_column(g, "time", g->known->time, &plan->time);
	else
		plan->time = best_date(g);
	for (int i = 0; plan->time == PLAN_NONE && g->known->format[0] && i < (int)g->s->width;
		i++) {
		if (g->s->heads[i].role == HEADING_TIME)
			plan->time = i;
	}
	if (rc != RC_OK)
		return rc;
	if (plan->time == PLAN_NONE) {
		char seen[300];
		sample_columns(g->s, seen, sizeof seen);
		return err_set(g->err, RC_INPUT,
			"%s: no column of dates was recognised: time = \"#1\" names it: the file "
			"has %s",
			g->path, seen);
	}
	if (g->known->clock[0])
		return guess_column(g, "clock", g->known->clock, &plan->clock);
	const struct column_look *l = &g->look[plan->time];
	bool has_clock = l->clocks > 0 && l->midnights < l->clocks;
	if (most(l->dates, l->filled) && !has_clock && !g->known->time[0])
		plan->clock = best_clock(g);
	return RC_OK;
}

static void pick_kind(struct guess *g)
{
	static const struct {
		const char *name;
		enum time_kind kind;
	} kinds[] = { { "serial", TIME_SERIAL }, { "epoch", TIME_EPOCH },
		{ "epoch-ms", TIME_EPOCH_MS } };
	struct time_form *form = &g->plan->form;
	const struct column_look *l = &g->look[g->plan->time];
	form->order = g->known->order;
	form->kind = TIME_TEXT;
	if (g->known->format[0]) {
		form->kind = TIME_PATTERN;
		(void)snprintf(form->pattern, sizeof form->pattern, "%s", g->known->format);
		for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
			if (strcmp(form->pattern, kinds[i].name) == 0)
				form->kind = kinds[i].kind;
		}
		return;
	}
	if (most(l->dates, l->filled) || l->numbers == 0)
		return;
	if (l->serials >= l->epochs + l->epochs_ms)
		form->kind = TIME_SERIAL;
	else
		form->kind = l->epochs >= l->epochs_ms ? TIME_EPOCH : TIME_EPOCH_MS;
}

void guess_narrow(unsigned *rivals, struct cell c)
{
	unsigned left = *rivals & when_orders(c.p, c.n);
	if (left)
		*rivals = left;
}

static const char *order_words(unsigned orders)
{
	switch (orders) {
	case 1U << ORDER_YMD:
		return "year first";
	case 1U << ORDER_DMY:
		return "day first";
	case 1U << ORDER_MDY:
		return "month first";
	}
	return "undecided";
}

enum rc guess_order(struct plan *plan, const char *path, const struct import_sink *sink,
	int64_t line, struct err *err)
{
	for (int order = ORDER_YMD; order <= ORDER_MDY; order++) {
		if (plan->order_rivals != 1U << order)
			continue;
		plan->form.order = order;
		plan->order_evident = true;
		plan->order_rivals = 0;
		guess_tell(sink, "dates: %s, told by line %lld", order_words(1U << order),
			(long long)line);
		return RC_OK;
	}
	bool year = plan->order_rivals & 1U << ORDER_YMD;
	return err_set(err, RC_ASK,
		"%s: line %lld: is the day or the month%s written first in its dates? no date of "
		"the file tells: "
		"order = \"dmy\" or \"mdy\"%s in the layout, or --order dmy",
		path, (long long)line, year ? " or the year" : "", year ? " or \"ymd\"" : "");
}

/* The three numbers of an all-digit date; false for other text. */
static bool three_numbers(struct cell c, int v[3])
{
	size_t k = 0;
	for (size_t i = 0; i < c.n && k < 3; k++) {
		for (v[k] = 0; i < c.n && c.p[i] >= '0' && c.p[i] <= '9'; i++)
			v[k] = (v[k] * 10 + c.p[i] - '0') % 10000;
		i++;
	}
	return k == 3;
}

/* Two-digit years stand first or last? The year is what changes least from row to row. */
static unsigned year_place(const struct guess *g, unsigned rivals)
{
	size_t changes[3] = { 0 };
	int before[3] = { -1, -1, -1 };
	for (size_t i = g->s->data; i < g->s->n_rows; i++) {
		int v[3];
		if (!three_numbers(sample_cell(g->s, i, (size_t)g->plan->time), v))
			continue;
		for (size_t k = 0; k < 3; k++) {
			changes[k] += before[k] >= 0 && v[k] != before[k];
			before[k] = v[k];
		}
	}
	if (changes[2] > changes[0])
		return 1U << ORDER_YMD & rivals;
	if (changes[0] > changes[2] || changes[1] > changes[2])
		return rivals & ~(1U << ORDER_YMD);
	return rivals;
}

/* The order a heading such as `Date (dd/mm/yyyy)` gives, as a bit; 0: none. */
static unsigned heading_order(const char *text)
{
	const char *d = strcasestr(text, "dd"), *m = strcasestr(text, "mm"),
		   *y = strcasestr(text, "yy");
	if (!d || !m || !y)
		return 0;
	if (y < m && m < d)
		return 1U << ORDER_YMD;
	if (y < m || y < d)
		return 0;
	return d < m ? 1U << ORDER_DMY : 1U << ORDER_MDY;
}

static enum rc decide_order(struct guess *g)
{
	struct plan *plan = g->plan;
	const unsigned all = 1U << ORDER_YMD | 1U << ORDER_DMY | 1U << ORDER_MDY;
	unsigned headed = heading_order(g->s->heads[plan->time].text);
	unsigned rivals = headed ? headed : all;
	int64_t needed = 0,
		told = headed && g->s->header_rows ? g->s->rows[g->s->header_at[0]].line : 0;
	if (plan->form.kind != TIME_TEXT || plan->form.order != ORDER_GUESS)
		return RC_OK;
	for (size_t i = g->s->data; i < g->s->n_rows; i++) {
		struct cell c = sample_cell(g->s, i, (size_t)plan->time);
		struct when w;
		unsigned orders = when_orders(c.p, c.n), before = rivals;
		if (orders == 0 || when_text(c.p, c.n, ORDER_GUESS, &w))
			continue;
		needed = needed ? needed : g->s->rows[i].line;
		guess_narrow(&rivals, c);
		told = rivals != before ? g->s->rows[i].line : told;
		if (!(rivals & orders))
			return err_set(g->err, RC_INPUT,
				"%s: lines %lld and %lld write dates in two orders: split the file",
				g->path, (long long)told, (long long)g->s->rows[i].line);
	}
	if (needed == 0)
		return RC_OK;
	if (rivals & 1U << ORDER_YMD)
		rivals = year_place(g, rivals);
	plan->order_rivals = rivals;
	/* several left: the rest of the file may tell, the importer looks */
	return rivals & (rivals - 1)
		       ? RC_OK
		       : guess_order(plan, g->path, g->sink, told ? told : needed, g->err);
}

/* How the times of the first rows follow each other. */
struct course {
	size_t up, down, same;
	size_t turns; /* from 12 to 1 or back within a day */
	bool twelve; /* no hour but 1..12 */
};

static struct course course_of(const struct guess *g)
{
	const struct plan *plan = g->plan;
	struct time_form form = plan->form;
	struct course c = { .twelve = true };
	int64_t before = TIME_NEVER;
	if (plan->order_rivals)
		form.order = plan->order_rivals & 1U << ORDER_DMY ? ORDER_DMY : ORDER_MDY;
	for (size_t i = g->s->data; i < g->s->n_rows; i++) {
		struct when w;
		struct cell clock = { "", 0 };
		if (plan->clock != PLAN_NONE)
			clock = sample_cell(g->s, i, (size_t)plan->clock);
		if (!time_read(&form, sample_cell(g->s, i, (size_t)plan->time),
			    plan->clock == PLAN_NONE ? NULL : &clock, &w))
			continue;
		int64_t wall = when_wall_s(&w);
		int64_t step = before == TIME_NEVER ? 0 : wall - before;
		bool same_day = civil_floor(wall, DAY_S) == civil_floor(before, DAY_S);
		c.up += step > 0;
		c.down += step < 0;
		c.same += wall == before;
		c.turns += same_day && (step > 10 * HOUR_S || step < -10 * HOUR_S);
		c.twelve = c.twelve && w.clock_s >= 3600 && w.clock_s < 13 * 3600;
		before = wall;
	}
	return c;
}

/* Do the rows run backwards, on a clock of 12 hours without AM and PM, or several a day without a
 * clock? */
static enum rc look_at_order_of_rows(struct guess *g)
{
	struct plan *plan = g->plan;
	struct course c = course_of(g);
	plan->newest_first = c.down > c.up;
	if (plan->newest_first)
		guess_tell(g->sink, "order of rows: newest first");
	if (c.twelve && c.turns > 0 && !plan->form.noon)
		return err_set(g->err, RC_INPUT,
			"%s: its hours run from 1 to 12 and over again without AM or PM: export it "
			"with a 24-hour "
			"clock",
			g->path);
	if (plan->form.noon && c.same > 0 && plan->names == PLAN_NONE)
		return err_set(g->err, RC_ASK,
			"%s: several rows a day and no time of day: in which column does it stand? "
			"clock = "
			"\"#2\" in the layout",
			g->path);
	if (plan->form.noon)
		guess_tell(g->sink, "time of day: none in the file, 12:00 taken");
	return RC_OK;
}

static void tell_time(const struct guess *g)
{
	static const char *const kinds[] = { "", ", spreadsheet days", ", epoch seconds",
		", epoch milliseconds", "" };
	char date[HEADING_TEXT + 8], clock[HEADING_TEXT + 8];
	const struct plan *plan = g->plan;
	(void)guess_label(g, plan->time, date, sizeof date);
	if (plan->clock != PLAN_NONE)
		guess_tell(g->sink, "time: columns %s and %s", date,
			guess_label(g, plan->clock, clock, sizeof clock));
	else if (!g->known->time[0] || !g->known->format[0])
		guess_tell(g->sink, "time: column %s%s", date, kinds[plan->form.kind]);
}

enum rc guess_time(struct guess *g)
{
	enum rc rc = pick_columns(g);
	if (rc != RC_OK)
		return rc;
	pick_kind(g);
	tell_time(g);
	const struct column_look *l = &g->look[g->plan->time];
	g->plan->form.noon =
		g->plan->form.kind == TIME_TEXT && g->plan->clock == PLAN_NONE && l->clocks == 0;
	rc = decide_order(g);
	return rc == RC_OK ? look_at_order_of_rows(g) : rc;
}
