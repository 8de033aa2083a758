#include "daemon/store_int.h"

#include <stdlib.h>
#include <string.h>

#include "core/mem.h"

/* Method. Flags depend on a reading's neighbours in time only (core/quality.h), so after rows came in,
 * the stretch round them is judged with its neighbours beside it, and the flags that changed are
 * written. How far to read beyond new rows is decided by struct walk.
 *
 * Fresh rows (all later than what is stored) are judged together with the end of what is stored and
 * written once, flags and all. Other rows are first written with the mark NEW, then judged stretch by
 * stretch as they now stand in the store; a stretch may end anywhere, so it is kept short. */

#define NEW 0x100U /* in reading.flags inside one transaction: stored, sums do not know it yet */
#define FUTURE_AFTER_S 300
#define APART_S (2 * QUALITY_NEAR_S)  /* new rows farther apart are judged apart */
#define STRETCH_MAX_S (7 * DAY_S)     /* bounds memory: 20 MB with a reading a second */
enum { ROWS_MAX = 1 << 24 };          /* of a stretch */

struct stretch {
	struct quality_reading *r;
	uint32_t *was; /* flags before, STORE_ABSENT for new rows */
	size_t n, max;
	size_t from, to; /* the part whose flags come out right: [from, to) */
};

static enum rc out_of_memory(struct store *s, struct err *err)
{
	return err_set(err, RC_MEM, "store %s: readings: out of memory", s->path);
}

static enum rc room(struct store *s, struct stretch *x, size_t more, struct err *err)
{
	size_t need = x->n + more;
	if (need <= x->max)
		return RC_OK;
	if (need > ROWS_MAX)
		return out_of_memory(s, err);
	size_t max = need < 256 ? 256 : need + need / 2;
	struct quality_reading *r = mem_grow(x->r, max, sizeof *r);
	if (r)
		x->r = r;
	uint32_t *was = mem_grow(x->was, max, sizeof *was);
	if (was)
		x->was = was;
	if (!r || !was)
		return out_of_memory(s, err);
	x->max = max;
	return RC_OK;
}

static enum rc push(struct store *s, struct stretch *x, struct quality_reading r, struct err *err)
{
	enum rc rc = room(s, x, 1, err);
	if (rc != RC_OK)
		return rc;
	x->was[x->n] = r.flags & NEW ? STORE_ABSENT : r.flags;
	r.flags &= ~NEW;
	x->r[x->n++] = r;
	return RC_OK;
}

/* Away from a new row in one direction of time, until nothing farther out can matter:
 *  BESIDE  readings that may have the new row as a neighbour;
 *  RUN     the rest of the run of equal RH there, which the new row may make longer or cut;
 *  BEYOND  the neighbours of those.
 * Readings out to the run's edge are right after judging (QUALITY_CONTEXT_S at most). */
enum phase { BESIDE, RUN, BEYOND };

struct walk {
	int64_t origin_s;
	enum phase phase;
	int64_t base_s;   /* neighbours are counted from here */
	int neighbours;   /* so far, with temperature as well */
	bool any;         /* last is set */
	struct quality_reading last; /* the last that counts as a neighbour */
	size_t seen;      /* readings walked over */
	size_t right;     /* how many of them are right after judging */
};

static int64_t apart_s(int64_t a_s, int64_t b_s)
{
	return a_s < b_s ? b_s - a_s : a_s - b_s;
}

static bool enough(const struct walk *w, int64_t t_s)
{
	return w->neighbours >= QUALITY_BESIDE || apart_s(t_s, w->base_s) > QUALITY_NEAR_S;
}

/* False: r is not needed, and nothing beyond it. */
static bool walk_on(struct walk *w, const struct quality_reading *r)
{
	bool counts = !(r->flags & QUALITY_ALONE);
	if (apart_s(r->t_s, w->origin_s) > 2 * QUALITY_CONTEXT_S)
		return false;
	if (w->phase == BESIDE && enough(w, r->t_s))
		w->phase = RUN;
	if (w->phase == RUN && counts && w->any && r->rh_cpct != w->last.rh_cpct) {
		w->phase = BEYOND;
		w->base_s = w->last.t_s;
		w->neighbours = 0;
	}
	if (w->phase == BEYOND && enough(w, r->t_s))
		return false;
	w->seen++;
	if (w->phase != BEYOND && apart_s(r->t_s, w->origin_s) <= QUALITY_CONTEXT_S)
		w->right = w->seen;
	if (counts) {
		w->any = true;
		w->last = *r;
		w->neighbours += r->temp_cdegc != QUALITY_NO_TEMP;
	}
	return true;
}

static void reverse(struct stretch *x)
{
	for (size_t i = 0, k = x->n; i + 1 < k; i++) {
		k--;
		struct quality_reading r = x->r[i];
		x->r[i] = x->r[k];
		x->r[k] = r;
		uint32_t was = x->was[i];
		x->was[i] = x->was[k];
		x->was[k] = was;
	}
}

/* Starts a stretch with what lies before first_s. */
static enum rc load_before(struct store *s, int64_t sensor, int64_t first_s, struct stretch *x,
	struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT t, rh, temp, flags FROM reading WHERE sensor = ?1 AND t < ?2 ORDER BY t DESC", err);
	if (!q)
		return store_fail(s, "prepare", err);
	sqlite3_bind_int64(q, 1, sensor);
	sqlite3_bind_int64(q, 2, first_s);
	struct walk w = { .origin_s = first_s, .base_s = first_s };
	enum rc rc = RC_OK;
	int step = SQLITE_ROW;
	x->n = 0;
	while (rc == RC_OK && (step = sqlite3_step(q)) == SQLITE_ROW) {
		struct quality_reading r = store_reading_row(q);
		if (!walk_on(&w, &r))
			break;
		rc = push(s, x, r, err);
	}
	if (rc == RC_OK && step != SQLITE_ROW && step != SQLITE_DONE)
		rc = store_fail(s, "read", err);
	(void)sqlite3_reset(q);
	reverse(x);
	x->from = x->n - w.right;
	return rc;
}

/* Goes on with first_s..last_s and what lies after. */
static enum rc load_rest(struct store *s, int64_t sensor, int64_t first_s, int64_t last_s,
	struct stretch *x, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT t, rh, temp, flags FROM reading WHERE sensor = ?1 AND t >= ?2 ORDER BY t", err);
	if (!q)
		return store_fail(s, "prepare", err);
	sqlite3_bind_int64(q, 1, sensor);
	sqlite3_bind_int64(q, 2, first_s);
	struct walk w = { .origin_s = last_s, .base_s = last_s };
	enum rc rc = RC_OK;
	int step = SQLITE_ROW;
	while (rc == RC_OK && (step = sqlite3_step(q)) == SQLITE_ROW) {
		struct quality_reading r = store_reading_row(q);
		if (r.t_s > last_s && !walk_on(&w, &r))
			break;
		rc = push(s, x, r, err);
	}
	if (rc == RC_OK && step != SQLITE_ROW && step != SQLITE_DONE)
		rc = store_fail(s, "read", err);
	(void)sqlite3_reset(q);
	x->to = x->n - (w.seen - w.right);
	return rc;
}

static enum rc put_flags(struct store *s, int64_t sensor, const struct stretch *x, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"UPDATE reading SET flags = ?3 WHERE sensor = ?1 AND t = ?2", err);
	if (!q)
		return store_fail(s, "prepare", err);
	enum rc rc = RC_OK;
	for (size_t i = x->from; i < x->to && rc == RC_OK; i++) {
		if (x->was[i] == x->r[i].flags)
			continue;
		sqlite3_bind_int64(q, 1, sensor);
		sqlite3_bind_int64(q, 2, x->r[i].t_s);
		sqlite3_bind_int64(q, 3, x->r[i].flags);
		rc = store_run(s, q, err);
	}
	return rc;
}

static enum rc follow(struct store *s, int64_t sensor, const struct stretch *x,
	struct store_count *count, struct err *err)
{
	for (size_t i = x->from; i < x->to; i++)
		count->flagged += x->was[i] == STORE_ABSENT && x->r[i].flags;
	return store_sums_follow(s, sensor, x->r + x->from, x->was + x->from, x->to - x->from, err);
}

#define ROW "(?, ?, ?, ?, ?)"
#define ROWS_4 ROW ", " ROW ", " ROW ", " ROW
#define ROWS_32                                                                                    \
	ROWS_4 ", " ROWS_4 ", " ROWS_4 ", " ROWS_4 ", " ROWS_4 ", " ROWS_4 ", " ROWS_4 ", " ROWS_4

/* Many rows in one statement find the end of the table once: half the time of one by one. */
enum { AT_ONCE = 32, COLUMNS = 5 };

static void bind_row(sqlite3_stmt *q, int row, int64_t sensor, const struct quality_reading *r,
	uint32_t flags)
{
	int first = row * COLUMNS;
	sqlite3_bind_int64(q, first + 1, sensor);
	sqlite3_bind_int64(q, first + 2, r->t_s);
	sqlite3_bind_int(q, first + 3, r->rh_cpct);
	if (r->temp_cdegc == QUALITY_NO_TEMP)
		sqlite3_bind_null(q, first + 4);
	else
		sqlite3_bind_int(q, first + 4, r->temp_cdegc);
	sqlite3_bind_int64(q, first + 5, flags);
}

/* Not cleared afterwards: the bindings are all set again for the next rows. */
static enum rc step_rows(struct store *s, sqlite3_stmt *q, struct err *err)
{
	enum rc rc = sqlite3_step(q) == SQLITE_DONE ? RC_OK : store_fail(s, "write", err);
	(void)sqlite3_reset(q);
	return rc;
}

static sqlite3_stmt *insert(struct store *s, struct err *err)
{
	return store_statement(s, "INSERT INTO reading VALUES" ROW " ON CONFLICT DO NOTHING", err);
}

static enum rc insert_all(struct store *s, int64_t sensor, const struct quality_reading *r, size_t n,
	struct err *err)
{
	sqlite3_stmt *many = store_statement(s, "INSERT INTO reading VALUES" ROWS_32, err);
	sqlite3_stmt *single = many ? insert(s, err) : NULL;
	if (!single)
		return store_fail(s, "prepare", err);
	enum rc rc = RC_OK;
	for (; n >= AT_ONCE && rc == RC_OK; r += AT_ONCE, n -= AT_ONCE) {
		for (int i = 0; i < AT_ONCE; i++)
			bind_row(many, i, sensor, &r[i], r[i].flags);
		rc = step_rows(s, many, err);
	}
	for (; n > 0 && rc == RC_OK; r++, n--) {
		bind_row(single, 0, sensor, r, r->flags);
		rc = step_rows(s, single, err);
	}
	return rc;
}

/* All of r lie after what is stored. */
static enum rc put_fresh(struct store *s, int64_t sensor, const struct quality_reading *r, size_t n,
	struct stretch *x, struct store_count *count, struct err *err)
{
	enum rc rc = load_before(s, sensor, r[0].t_s, x, err);
	size_t before = x->n;
	if (rc == RC_OK)
		rc = room(s, x, n, err);
	if (rc != RC_OK)
		return rc;
	memcpy(x->r + before, r, n * sizeof r[0]);
	memset(x->was + before, 0xff, n * sizeof x->was[0]); /* STORE_ABSENT */
	x->n += n;
	quality_judge(x->r, x->n);
	x->to = before;
	rc = put_flags(s, sensor, x, err);
	x->to = x->n;
	if (rc == RC_OK)
		rc = insert_all(s, sensor, x->r + before, n, err);
	count->stored += (int64_t)n;
	return rc == RC_OK ? follow(s, sensor, x, count, err) : rc;
}

struct told {
	void (*differs)(void *arg, int64_t t_s);
	void *arg;
	struct store_count *count;
};

static void twice(const struct told *told, const struct quality_reading *kept,
	const struct quality_reading *other)
{
	bool same = kept->rh_cpct == other->rh_cpct && kept->temp_cdegc == other->temp_cdegc;
	if (same)
		told->count->known++;
	else
		told->count->differs++;
	if (!same && told->differs)
		told->differs(told->arg, other->t_s);
}

/* r's second is taken in the store: by the same values? */
static enum rc compare(struct store *s, int64_t sensor, const struct quality_reading *r,
	const struct told *told, struct err *err)
{
	struct quality_reading kept;
	size_t n = 0;
	enum rc rc = store_raw(s, sensor, r->t_s, r->t_s + 1, &kept, 1, &n, err);
	if (rc == RC_OK && n)
		twice(told, &kept, r);
	return rc;
}

/* Inserts what is not there and keeps only that in r[0..*n). */
static enum rc put_marked(struct store *s, int64_t sensor, struct quality_reading *r, size_t *n,
	const struct told *told, struct err *err)
{
	sqlite3_stmt *q = insert(s, err);
	if (!q)
		return store_fail(s, "prepare", err);
	size_t kept = 0;
	for (size_t i = 0; i < *n; i++) {
		bind_row(q, 0, sensor, &r[i], (r[i].flags & QUALITY_ALONE) | NEW);
		enum rc rc = step_rows(s, q, err);
		if (rc == RC_OK && sqlite3_changes(s->db) == 0)
			rc = compare(s, sensor, &r[i], told, err);
		else if (rc == RC_OK)
			r[kept++] = r[i];
		if (rc != RC_OK)
			return rc;
	}
	*n = kept;
	told->count->stored += (int64_t)kept;
	return RC_OK;
}

static enum rc judge_between(struct store *s, int64_t sensor, int64_t first_s, int64_t last_s,
	struct stretch *x, struct store_count *count, struct err *err)
{
	enum rc rc = load_before(s, sensor, first_s, x, err);
	if (rc == RC_OK)
		rc = load_rest(s, sensor, first_s, last_s, x, err);
	if (rc != RC_OK)
		return rc;
	quality_judge(x->r, x->n);
	rc = put_flags(s, sensor, x, err);
	return rc == RC_OK ? follow(s, sensor, x, count, err) : rc;
}

static enum rc put_among(struct store *s, int64_t sensor, struct quality_reading *r, size_t n,
	struct stretch *x, const struct told *told, struct err *err)
{
	quality_judge(r, n); /* for RANGE, which needs no neighbours */
	enum rc rc = put_marked(s, sensor, r, &n, told, err);
	for (size_t i = 0, k; i < n && rc == RC_OK; i = k) {
		for (k = i + 1; k < n; k++) {
			if (r[k].t_s - r[k - 1].t_s > APART_S || r[k].t_s - r[i].t_s > STRETCH_MAX_S)
				break;
		}
		rc = judge_between(s, sensor, r[i].t_s, r[k - 1].t_s, x, told->count, err);
	}
	return rc;
}

static int by_time(const void *a, const void *b)
{
	const struct quality_reading *x = a, *y = b;
	if (x->t_s != y->t_s)
		return x->t_s < y->t_s ? -1 : 1;
	return x->flags < y->flags ? -1 : x->flags > y->flags;
}

/* In time order, of equal times the first to come; the number left. */
static size_t in_order(struct quality_reading *r, size_t n, const struct told *told)
{
	bool ordered = true;
	for (size_t i = 1; i < n && ordered; i++)
		ordered = r[i - 1].t_s < r[i].t_s;
	if (ordered)
		return n;
	for (size_t i = 0; i < n; i++)
		r[i].flags = (uint32_t)i; /* the order of coming, for the time being */
	qsort(r, n, sizeof r[0], by_time);
	size_t kept = 1;
	for (size_t i = 1; i < n; i++) {
		if (r[i].t_s == r[kept - 1].t_s)
			twice(told, &r[kept - 1], &r[i]);
		else
			r[kept++] = r[i];
	}
	return kept;
}

static enum rc last_stored(struct store *s, int64_t sensor, int64_t *last_s, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT coalesce(max(t), ?2) FROM reading WHERE sensor = ?1", err);
	if (!q)
		return store_fail(s, "prepare", err);
	sqlite3_bind_int64(q, 1, sensor);
	sqlite3_bind_int64(q, 2, INT64_MIN);
	enum rc rc = RC_OK;
	if (sqlite3_step(q) == SQLITE_ROW)
		*last_s = sqlite3_column_int64(q, 0);
	else
		rc = store_fail(s, "read", err);
	(void)sqlite3_reset(q);
	return rc;
}

static enum rc put(struct store *s, int64_t sensor, struct quality_reading *r, size_t n, int64_t now_s,
	const struct told *told, struct err *err)
{
	int64_t last_s = 0;
	enum rc rc = last_stored(s, sensor, &last_s, err);
	if (rc != RC_OK)
		return rc;
	n = in_order(r, n, told);
	for (size_t i = 0; i < n; i++)
		r[i].flags = r[i].t_s > now_s + FUTURE_AFTER_S ? QUALITY_FUTURE : 0;
	struct stretch x = { 0 };
	if (r[0].t_s > last_s)
		rc = put_fresh(s, sensor, r, n, &x, told->count, err);
	else
		rc = put_among(s, sensor, r, n, &x, told, err);
	mem_free(x.r);
	mem_free(x.was);
	return rc;
}

enum rc store_readings(struct store *s, int64_t sensor, const struct quality_reading *r, size_t n,
	int64_t now_s, void (*differs)(void *arg, int64_t t_s), void *arg, struct store_count *count,
	struct err *err)
{
	if (n == 0)
		return RC_OK;
	if (n > STORE_BATCH_MAX)
		return err_set(err, RC_INPUT, "store %s: %zu readings at once: at most %d", s->path, n,
			(int)STORE_BATCH_MAX);
	struct quality_reading *copy = mem_new(n, sizeof *copy);
	if (!copy)
		return out_of_memory(s, err);
	memcpy(copy, r, n * sizeof *copy);
	struct store_count counted = { 0 };
	const struct told told = { differs, arg, &counted };
	enum rc rc = put(s, sensor, copy, n, now_s, &told, err);
	mem_free(copy);
	if (rc != RC_OK)
		return rc;
	count->stored += counted.stored;
	count->known += counted.known;
	count->differs += counted.differs;
	count->flagged += counted.flagged;
	return RC_OK;
}
