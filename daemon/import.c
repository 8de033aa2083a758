/* Method: a plan is guessed from the first lines; then every row goes through the same steps: time,
 * instant, values, sink. Rows whose wall clock was shown twice wait in their sensor's track until
 * the next plain row of that sensor (passes.h). */
#include "daemon/import.h"

#include <stdarg.h>
#include <string.h>

#include "core/civil.h"
#include "core/mem.h"
#include "daemon/cellnum.h"
#include "daemon/guess.h"
#include "daemon/passes.h"

enum {
	TRACKS_MAX = 256, /* sensors in one file */
	HELD_MAX = 16384, /* rows of one sensor in hours shown twice: one a second are 7200 */
	PROGRESS_ROWS = 8192,
	ODD_MAX = 20 /* so many values against a unit guessed by values, and over 1 %, and we ask */
};

struct held {
	struct pass_row when;
	struct quality_reading reading;
	int64_t line;
};

/* One sensor of the file. */
struct track {
	char name[64];
	int sensor; /* the sink's number */
	int64_t before_s; /* its last plain row */
	size_t n, cap;
	struct held *held;
};

struct import {
	const char *path;
	const struct import_sink *sink;
	struct import_result *result;
	struct err *err;
	struct plan plan;
	size_t n_tracks, last_track;
	struct track *track;
	char last_name[64]; /* the name cell of the last row as written, for the common case */
	size_t last_name_n;
	struct zone_stretch stretch;
	size_t usual_n; /* cells of the row before */
	int64_t odd, odd_line;
	char first_reason[200];
};

/* An instant, or two of which one is meant. */
struct moment {
	bool twice;
	struct pass_row when;
};

static void PRINTF_LIKE(3, 4) refuse(struct import *im, int64_t line, const char *fmt, ...)
{
	char reason[160];
	va_list ap;
	va_start(ap, fmt);
	(void)vsnprintf(reason, sizeof reason, fmt, ap);
	va_end(ap);
	im->result->refused++;
	if (!im->first_reason[0])
		(void)snprintf(im->first_reason, sizeof im->first_reason, "line %lld: %s",
			(long long)line, reason);
	if (im->sink->refused)
		im->sink->refused(im->sink->arg, line, reason);
}

static const char *shown(const struct import *im, struct cell c, char *buf, size_t n)
{
	cell_text(c, im->plan.sample.latin1, buf, n);
	return buf;
}

static struct cell cell_at(const struct row *row, int column)
{
	bool there = column >= 0 && (size_t)column < row->n && column < ROW_CELLS_MAX;
	return there ? row->cell[column] : (struct cell){ "", 0 };
}

static enum rc deliver(
	struct import *im, struct track *t, const struct quality_reading *r, int64_t line)
{
	im->result->readings++;
	if (!im->sink->reading)
		return RC_OK;
	return im->sink->reading(im->sink->arg, t->sensor, r, line, im->err);
}

/* Hands on or refuses the rows that waited. after_s: the plain row that came now. */
static enum rc settle(struct import *im, struct track *t, int64_t after_s)
{
	size_t n = t->n;
	struct pass_row *rows = mem_new(n, sizeof *rows);
	int64_t *out_s = mem_new(n, sizeof *out_s);
	enum rc rc =
		rows && out_s ? RC_OK : err_set(im->err, RC_MEM, "%s: out of memory", im->path);
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		rows[i] = t->held[i].when;
	bool told = rc == RC_OK && n < HELD_MAX &&
		    passes_settle(rows, n, im->plan.newest_first, t->before_s, after_s, out_s);
	for (size_t i = 0; rc == RC_OK && i < n; i++) {
		struct held *h = &t->held[i];
		if (told) {
			h->reading.t_s = out_s[i];
			rc = deliver(im, t, &h->reading, h->line);
			continue;
		}
		struct civil c = civil_at(h->when.wall_s);
		refuse(im, h->line,
			"the clock of %s showed %04d-%02d-%02d %02d:%02d twice and the rows round "
			"it do not "
			"tell which is meant",
			zone_name_ref(im->plan.zone), c.year, c.month, c.day, c.hour, c.minute);
	}
	t->n = 0;
	mem_free(rows);
	mem_free(out_s);
	return rc;
}

static enum rc hold(struct import *im, struct track *t, const struct held *h)
{
	if (t->n == HELD_MAX) {
		refuse(im, h->line, "too many rows in an hour that the clock showed twice");
		return RC_OK;
	}
	if (t->n == t->cap) {
		size_t cap = t->cap ? 2 * t->cap : 64;
		struct held *more = mem_grow(t->held, cap, sizeof *more);
		if (!more)
			return err_set(im->err, RC_MEM, "%s: out of memory", im->path);
		t->held = more;
		t->cap = cap;
	}
	t->held[t->n++] = *h;
	return RC_OK;
}

static enum rc pass_on(struct import *im, struct track *t, const struct moment *at,
	struct quality_reading *r, int64_t line)
{
	if (at->twice)
		return hold(im, t, &(struct held){ at->when, *r, line });
	r->t_s = at->when.first_s;
	enum rc rc = t->n > 0 ? settle(im, t, r->t_s) : RC_OK;
	t->before_s = r->t_s;
	return rc == RC_OK ? deliver(im, t, r, line) : rc;
}

static void no_date(struct import *im, struct cell date, int64_t line)
{
	char text[48];
	refuse(im, line,
		date.n ? "\"%s\" is not a date and time in the form of this file" : "no date%s",
		shown(im, date, text, sizeof text));
}

/* A date that only another order of day and month can read: the order was concluded wrongly, or the
 * file mixes orders; then no date of it is sure. */
static bool against_order(const struct import *im, struct cell date)
{
	unsigned orders = im->plan.order_evident ? when_orders(date.p, date.n) : 0;
	return orders != 0 && !(orders & 1U << im->plan.form.order);
}

/* A header once more: harmless when the columns are the same. */
static enum rc header_again(struct import *im, const struct row *row, bool *again)
{
	const struct sample *s = &im->plan.sample;
	size_t same = 0, humid = 0;
	*again = false;
	for (size_t i = 0; i < row->n && i < ROW_CELLS_MAX; i++) {
		char text[HEADING_TEXT];
		struct heading h;
		heading_read(shown(im, row->cell[i], text, sizeof text), &h);
		humid += h.role == HEADING_RH && h.named;
		same += i < s->width && h.text[0] &&
			strncmp(s->heads[i].text, h.text, strlen(h.text)) == 0;
	}
	if (humid == 0 || s->header_rows == 0)
		return RC_OK;
	*again = true;
	if (same < row->n && same < s->width)
		return err_set(im->err, RC_INPUT,
			"%s:%lld: another header with other columns: split the file there",
			im->path, (long long)row->line);
	refuse(im, row->line, "the header once more");
	return RC_OK;
}

/* The instant of a row; *told is false when the row was refused. */
static enum rc read_moment(struct import *im, const struct row *row, struct moment *at, bool *told)
{
	const struct plan *plan = &im->plan;
	struct cell date = cell_at(row, plan->time), clock = cell_at(row, plan->clock);
	struct when w;
	*told = false;
	if (!time_read(&plan->form, date, plan->clock == PLAN_NONE ? NULL : &clock, &w)) {
		bool again;
		char text[48];
		if (against_order(im, date))
			return err_set(im->err, RC_INPUT,
				"%s:%lld: \"%s\" is against the order of day and month that "
				"earlier rows show: the "
				"file mixes orders, or set order in the layout",
				im->path, (long long)row->line, shown(im, date, text, sizeof text));
		enum rc rc = header_again(im, row, &again);
		if (rc == RC_OK && !again)
			no_date(im, date, row->line);
		return rc;
	}
	int64_t wall = when_wall_s(&w);
	*told = true;
	*at = (struct moment){ .when.wall_s = wall };
	if (w.has_offset) {
		at->when.first_s = wall - w.offset_s;
	} else if (wall >= im->stretch.from_s && wall < im->stretch.to_s) {
		at->when.first_s = wall - im->stretch.offset_s;
	} else if (!plan->zone) {
		refuse(im, row->line, "no offset to UTC, which the other times of the file have");
		*told = false;
	} else {
		struct zone_instants in = zone_from_wall(plan->zone, wall);
		im->stretch = zone_plain_stretch(plan->zone, wall);
		at->twice = in.fit == ZONE_TWICE;
		at->when.first_s = in.first_s;
		at->when.second_s = in.second_s;
		*told = in.fit != ZONE_GAP;
		if (in.fit == ZONE_GAP)
			refuse(im, row->line,
				"the clock of %s never showed that time (a clock that is not put "
				"forward has a fixed offset)",
				zone_name_ref(plan->zone));
	}
	return RC_OK;
}

static bool fits(int64_t centi)
{
	return centi > -INT32_MAX && centi < INT32_MAX;
}

/* Humidity and temperature of one sensor in a row. missing: nothing stands there. */
static bool read_values(struct import *im, const struct row *row, const struct plan_stream *s,
	struct quality_reading *r, bool *missing)
{
	struct cell rh_cell = cell_at(row, s->rh), t_cell = cell_at(row, s->temp);
	struct cellnum rh = cellnum_read(rh_cell.p, rh_cell.n, im->plan.decimal);
	struct cellnum t = { .kind = CELLNUM_MISSING };
	char text[48];
	if (s->temp != PLAN_NONE)
		t = cellnum_read(t_cell.p, t_cell.n, im->plan.decimal);
	*missing = rh.kind == CELLNUM_MISSING;
	bool fraction = im->plan.rh_unit == RH_FRACTION && rh.unit != CELLNUM_PERCENT;
	bool degf = t.unit == CELLNUM_FAHRENHEIT ||
		    (s->temp_unit == TEMP_FAHRENHEIT && t.unit == CELLNUM_PLAIN);
	int64_t rh_cpct = cellnum_round(rh.micro, fraction ? 100 : 10000);
	int64_t t_cdegc = degf ? cellnum_round((t.micro - 32 * CELLNUM_ONE) * 5, 90000)
			       : cellnum_round(t.micro, 10000);
	bool bad_rh = rh.kind == CELLNUM_BAD || rh.unit > CELLNUM_PERCENT || !fits(rh_cpct);
	bool bad_t = t.kind == CELLNUM_BAD || t.unit == CELLNUM_PERCENT || !fits(t_cdegc);
	if (*missing)
		return false;
	if (bad_rh || bad_t) {
		bool number = (bad_rh ? rh.kind : t.kind) == CELLNUM_OK;
		refuse(im, row->line, "%s%s%s \"%s\" is %s", s->name, s->name[0] ? ": " : "",
			bad_rh ? "humidity" : "temperature",
			shown(im, bad_rh ? rh_cell : t_cell, text, sizeof text),
			number ? "too large or in another unit" : "no number");
		return false;
	}
	r->rh_cpct = (int32_t)rh_cpct;
	r->temp_cdegc = t.kind == CELLNUM_OK ? (int32_t)t_cdegc : QUALITY_NO_TEMP;
	bool hot = im->plan.temp_by_values && t.kind == CELLNUM_OK && t_cdegc > 5000 &&
		   t_cdegc < 12000;
	bool over = im->plan.rh_by_values && fraction && rh_cpct > 15000;
	im->odd += hot || over;
	im->odd_line = hot || over ? row->line : im->odd_line;
	return true;
}

static void new_track(struct import *im, const char *name)
{
	struct track *t = &im->track[im->n_tracks];
	*t = (struct track){ .sensor = (int)im->n_tracks, .before_s = TIME_NEVER };
	(void)snprintf(t->name, sizeof t->name, "%s", name);
	if (im->sink->sensor)
		t->sensor = im->sink->sensor(im->sink->arg, name);
	im->n_tracks++;
}

/* The track that the row's name cell means, NULL when the row was refused. */
static struct track *track_by_name(struct import *im, const struct row *row)
{
	struct cell c = cell_at(row, im->plan.names);
	char name[sizeof im->last_name];
	if (c.n > 0 && c.n == im->last_name_n && memcmp(c.p, im->last_name, c.n) == 0)
		return &im->track[im->last_track];
	(void)shown(im, c, name, sizeof name);
	if (!name[0]) {
		refuse(im, row->line, "no name of a sensor");
		return NULL;
	}
	size_t i = 0;
	while (i < im->n_tracks && strcmp(im->track[i].name, name) != 0)
		i++;
	if (i == TRACKS_MAX) {
		refuse(im, row->line, "more than %d sensors in one file", TRACKS_MAX);
		return NULL;
	}
	if (i == im->n_tracks)
		new_track(im, name);
	im->last_name_n = c.n < sizeof im->last_name ? c.n : 0;
	memcpy(im->last_name, c.p, im->last_name_n);
	im->last_track = i;
	return &im->track[i];
}

static enum rc take_values(struct import *im, const struct row *row, const struct moment *at)
{
	const struct plan *plan = &im->plan;
	size_t given = 0, told = 0;
	enum rc rc = RC_OK;
	char text[48];
	for (size_t i = 0; rc == RC_OK && i < plan->n; i++) {
		struct quality_reading r = { 0 };
		bool missing;
		struct track *t = plan->names == PLAN_NONE ? &im->track[i] : track_by_name(im, row);
		told += !t;
		if (!t)
			continue;
		if (t->sensor < 0 && plan->n > 1)
			continue;
		if (t->sensor < 0) {
			refuse(im, row->line, "sensor \"%s\" is not wanted", t->name);
			told++;
		} else if (read_values(im, row, &plan->stream[i], &r, &missing)) {
			rc = pass_on(im, t, at, &r, row->line);
			given++;
		} else {
			told += !missing;
		}
	}
	if (given == 0 && told == 0)
		refuse(im, row->line, "no humidity (\"%s\")",
			shown(im, cell_at(row, plan->stream[0].rh), text, sizeof text));
	return rc;
}

/* Is the row whole? Refuses it when not. */
static bool whole(struct import *im, const struct row *row)
{
	size_t width = im->plan.sample.width;
	bool too_wide = false;
	for (size_t i = width; i < row->n; i++)
		too_wide = too_wide || i >= ROW_CELLS_MAX || row->cell[i].n > 0;
	if (row->kind == ROW_LONG)
		refuse(im, row->line, "longer than %d bytes", IMPORT_LINE_MAX);
	else if (row->kind == ROW_QUOTE)
		refuse(im, row->line, "a quote that is not closed, or text behind a closed one");
	else if (too_wide)
		refuse(im, row->line, "%zu cells, where %zu are usual", row->n, width);
	else if (!row->ended && row->n < im->usual_n)
		refuse(im, row->line, "the file ends within this row");
	else
		return true;
	return false;
}

static enum rc take_row(struct import *im, const struct row *row)
{
	struct moment at;
	bool told;
	if (row->kind == ROW_CELLS && row->n == 1 && row->cell[0].n == 0)
		return RC_OK;
	im->result->rows++;
	if (!whole(im, row))
		return RC_OK;
	im->usual_n = row->n;
	enum rc rc = read_moment(im, row, &at, &told);
	if (rc == RC_OK && told)
		rc = take_values(im, row, &at);
	if (rc == RC_OK && im->odd > ODD_MAX && im->odd * 100 > im->result->readings)
		rc = err_set(im->err, RC_ASK,
			"%s:%lld: values that do not go with the units guessed from the first "
			"rows: set temp_unit "
			"(\"celsius\", \"fahrenheit\") and rh_unit (\"percent\", \"fraction\") in "
			"the layout",
			im->path, (long long)im->odd_line);
	return rc;
}

/* Reads on for a date that tells day and month apart. */
static enum rc look_for_order(struct import *im, struct delimited *d, struct row *row)
{
	struct plan *plan = &im->plan;
	int64_t line = plan->data_line;
	while ((plan->order_rivals & (plan->order_rivals - 1)) &&
		delimited_next(d, plan->delimiter, row)) {
		if (row->kind == ROW_CELLS && row->line >= plan->data_line) {
			guess_narrow(&plan->order_rivals, cell_at(row, plan->time));
			line = row->line;
		}
	}
	if (plan->order_rivals & (plan->order_rivals - 1))
		line = plan->data_line;
	enum rc rc = delimited_result(d, im->err);
	if (rc == RC_OK && !delimited_rewind(d))
		rc = err_set(im->err, RC_IO, "%s: cannot be read twice", im->path);
	return rc == RC_OK ? guess_order(plan, im->path, im->sink, line, im->err) : rc;
}

static void tell_progress(const struct import *im, const struct delimited *d)
{
	if (im->sink->progress)
		im->sink->progress(im->sink->arg, delimited_done_bytes(d), delimited_all_bytes(d));
}

static enum rc take_rows(struct import *im, struct delimited *d, struct row *row)
{
	enum rc rc = RC_OK;
	while (rc == RC_OK && delimited_next(d, im->plan.delimiter, row)) {
		if (row->line < im->plan.data_line)
			continue;
		rc = take_row(im, row);
		if (im->result->rows % PROGRESS_ROWS == 0)
			tell_progress(im, d);
	}
	for (size_t i = 0; rc == RC_OK && i < im->n_tracks; i++)
		rc = im->track[i].n > 0 ? settle(im, &im->track[i], TIME_NEVER) : RC_OK;
	rc = rc == RC_OK ? delimited_result(d, im->err) : rc;
	tell_progress(im, d);
	if (rc == RC_OK && im->result->readings == 0)
		rc = err_set(im->err, RC_INPUT, "%s: no row gave a reading: %s", im->path,
			im->first_reason);
	return rc;
}

static char known_delimiter(const struct layout *known)
{
	static const struct {
		const char *name;
		char sign;
	} signs[] = { { "comma", ',' }, { "semicolon", ';' }, { "tab", '\t' } };
	for (size_t i = 0; i < sizeof signs / sizeof signs[0]; i++) {
		if (strcmp(known->delimiter, signs[i].name) == 0)
			return signs[i].sign;
	}
	return '\0';
}

static enum rc make_plan(
	struct import *im, struct delimited *d, const struct layout *known, struct row *row)
{
	size_t n;
	struct sample *s = &im->plan.sample;
	const char *text = delimited_sample_ref(d, &n);
	char eol = delimited_eol(d);
	char delimiter = sample_delimiter(text, n, eol, known_delimiter(known), row);
	if (n == 0)
		return err_set(im->err, RC_INPUT, "%s: its first line is longer than %d bytes",
			im->path, IMPORT_LINE_MAX);
	if (!delimiter)
		return err_set(im->err, RC_INPUT,
			"%s: no delimiter was recognised (comma, semicolon or tab)", im->path);
	if (known->encoding == ENCODING_GUESS && strcmp(delimited_encoding(d), "UTF-8") != 0)
		guess_tell(im->sink, "encoding: %s", delimited_encoding(d));
	s->latin1 = delimited_latin1(d);
	s->pattern = strchr(known->format, '%') ? known->format : NULL;
	if (!sample_make(s, text, n, delimiter, eol, known->header_rows))
		return err_set(im->err, RC_MEM, "%s: out of memory", im->path);
	return guess_plan(&im->plan, im->path, known, im->sink, im->err);
}

static enum rc run(struct import *im, struct delimited *d, const struct layout *known)
{
	struct row *row = mem_new(1, sizeof *row);
	im->track = mem_new(TRACKS_MAX, sizeof *im->track);
	enum rc rc =
		row && im->track ? RC_OK : err_set(im->err, RC_MEM, "%s: out of memory", im->path);
	rc = rc == RC_OK ? make_plan(im, d, known, row) : rc;
	if (rc == RC_OK && im->plan.order_rivals)
		rc = look_for_order(im, d, row);
	for (size_t i = 0; rc == RC_OK && im->plan.names == PLAN_NONE && i < im->plan.n; i++)
		new_track(im, known->sensor[0] ? known->sensor : im->plan.stream[i].name);
	rc = rc == RC_OK ? take_rows(im, d, row) : rc;
	mem_free(row);
	return rc;
}

static const struct layout nothing;

/* All of an open file, which is closed. */
static enum rc import_open(const char *name, struct delimited *d, const struct layout *known,
	const struct import_sink *sink, struct import_result *result, struct err *err)
{
	struct import_result counts = { 0 };
	struct import im = { .path = name, .sink = sink, .result = &counts, .err = err };
	enum rc rc = run(&im, d, known);
	for (size_t i = 0; i < im.n_tracks; i++)
		mem_free(im.track[i].held);
	mem_free(im.track);
	plan_done(&im.plan);
	delimited_close(d);
	*result = counts;
	return rc;
}

enum rc import_file(const char *path, const struct layout *known, const struct import_sink *sink,
	struct import_result *result, struct err *err)
{
	struct delimited *d = NULL;
	known = known ? known : &nothing;
	enum rc rc = delimited_open(path, known->encoding, &d, err);
	return rc == RC_OK ? import_open(path, d, known, sink, result, err) : rc;
}

enum rc import_bytes(const char *name, const void *bytes, size_t n, const struct layout *known,
	const struct import_sink *sink, struct import_result *result, struct err *err)
{
	struct delimited *d = NULL;
	known = known ? known : &nothing;
	enum rc rc = delimited_open_bytes(name, bytes, n, known->encoding, &d, err);
	return rc == RC_OK ? import_open(name, d, known, sink, result, err) : rc;
}
