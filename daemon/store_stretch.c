#include "daemon/store_int.h"

#include "core/mem.h"

enum { ROWS_MAX = 1 << 24 };

enum rc store_stretch_room(struct store *s, struct stretch *x, size_t more, struct err *err)
{
	size_t need = x->n + more;
	if (need <= x->max)
		return RC_OK;
	if (need > ROWS_MAX)
		return err_set(err, RC_MEM, "store %s: readings: out of memory", s->path);
	size_t max = need < 256 ? 256 : need + need / 2;
	struct quality_reading *r = mem_grow(x->r, max, sizeof *r);
	if (r)
		x->r = r;
	uint32_t *was = mem_grow(x->was, max, sizeof *was);
	if (was)
		x->was = was;
	if (!r || !was)
		return err_set(err, RC_MEM, "store %s: readings: out of memory", s->path);
	x->max = max;
	return RC_OK;
}

static enum rc push(struct store *s, struct stretch *x, struct quality_reading r, struct err *err)
{
	enum rc rc = store_stretch_room(s, x, 1, err);
	if (rc != RC_OK)
		return rc;
	x->was[x->n] = r.flags & STORE_NEW ? STORE_ABSENT : r.flags;
	r.flags &= ~STORE_NEW;
	x->r[x->n++] = r;
	return RC_OK;
}

/* Method: away from a new row in one direction of time, until nothing farther out can matter:
 *  BESIDE  readings that may have the new row as a neighbour;
 *  RUN     the rest of the run of equal RH there, which the new row may make longer or cut;
 *  BEYOND  the neighbours of those.
 * Readings out to the run's edge are right after judging (QUALITY_CONTEXT_S at most). */
enum phase { BESIDE, RUN, BEYOND };

struct walk {
	int64_t origin_s;
	enum phase phase;
	int64_t base_s; /* neighbours are counted from here */
	int neighbours; /* so far, with temperature as well */
	bool any; /* last is set */
	struct quality_reading last; /* the last that counts as a neighbour */
	size_t seen; /* readings walked over */
	size_t right; /* how many of them are right after judging */
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

enum rc store_stretch_before(
	struct store *s, int64_t sensor, int64_t first_s, struct stretch *x, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT t, rh, temp, flags FROM reading WHERE sensor = ?1 AND t < ?2 ORDER BY t "
		"DESC",
		err);
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

enum rc store_stretch_rest(struct store *s, int64_t sensor, int64_t first_s, int64_t last_s,
	struct stretch *x, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT t, rh, temp, flags FROM reading WHERE sensor = ?1 AND t >= ?2 ORDER BY t",
		err);
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
