#include "daemon/store_int.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"

/* Method. Flags depend on a reading's neighbours in time only (core/quality.h), so after rows came
 * in, the stretch round them is judged with its neighbours beside it, and the flags that changed are
 * written. How far to read beyond new rows is decided by store_stretch.c.
 *
 * Fresh rows (all later than what is stored) are judged together with the end of what is stored and
 * written once, flags and all. Other rows are first written with STORE_NEW, then judged stretch by
 * stretch as they now stand in the store; a stretch may end anywhere, so it is kept short. */

#define FUTURE_AFTER_S 300
#define APART_S (2 * QUALITY_NEAR_S) /* new rows farther apart are judged apart */
#define STRETCH_MAX_S (7 * DAY_S) /* bounds memory: 20 MB with a reading a second */

static enum rc put_flags(struct store *s, int64_t sensor, const struct stretch *x, struct err *err)
{
	sqlite3_stmt *q = store_statement(
		s, "UPDATE reading SET flags = ?3 WHERE sensor = ?1 AND t = ?2", err);
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

static void bind_row(
	sqlite3_stmt *q, int row, int64_t sensor, const struct quality_reading *r, uint32_t flags)
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

static enum rc insert_all(
	struct store *s, int64_t sensor, const struct quality_reading *r, size_t n, struct err *err)
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
	enum rc rc = store_stretch_before(s, sensor, r[0].t_s, x, err);
	size_t before = x->n;
	if (rc == RC_OK)
		rc = store_stretch_room(s, x, n, err);
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
		bind_row(q, 0, sensor, &r[i], (r[i].flags & QUALITY_ALONE) | STORE_NEW);
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
	enum rc rc = store_stretch_before(s, sensor, first_s, x, err);
	if (rc == RC_OK)
		rc = store_stretch_rest(s, sensor, first_s, last_s, x, err);
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
			if (r[k].t_s - r[k - 1].t_s > APART_S ||
				r[k].t_s - r[i].t_s > STRETCH_MAX_S)
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
	sqlite3_stmt *q = store_statement(
		s, "SELECT coalesce(max(t), ?2) FROM reading WHERE sensor = ?1", err);
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

static enum rc put(struct store *s, int64_t sensor, struct quality_reading *r, size_t n,
	int64_t now_s, const struct told *told, struct err *err)
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
	int64_t now_s, void (*differs)(void *arg, int64_t t_s), void *arg,
	struct store_count *count, struct err *err)
{
	assert(s->in_transaction);
	if (n == 0)
		return RC_OK;
	if (n > STORE_BATCH_MAX)
		return err_set(err, RC_INPUT, "store %s: %zu readings at once: at most %d", s->path,
			n, (int)STORE_BATCH_MAX);
	struct quality_reading *copy = mem_new(n, sizeof *copy);
	if (!copy)
		return err_set(err, RC_MEM, "store %s: readings: out of memory", s->path);
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
