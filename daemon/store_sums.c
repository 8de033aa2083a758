#include "daemon/store_int.h"

#include <string.h>

#include "core/mem.h"

/* Method: sums are integers, so adding a reading to its row gives the same row as counting all
 * again. Readings that come in or are believed again are gathered per hour (day) and added in one
 * statement; where a reading lost its place, least and greatest are not to be had back by
 * subtraction and the row is made again from the raw readings. */

struct table {
	const char *add, *drop, *redo;
};

#define TABLE(table, at)                                                                           \
	{                                                                                          \
		.add = "INSERT INTO " table " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)"     \
		       " ON CONFLICT DO UPDATE SET n = n + excluded.n,"                            \
		       " rh_sum = rh_sum + excluded.rh_sum,"                                       \
		       " rh_min = min(rh_min, excluded.rh_min),"                                   \
		       " rh_max = max(rh_max, excluded.rh_max),"                                   \
		       " temp_n = temp_n + excluded.temp_n,"                                       \
		       " temp_sum = temp_sum + excluded.temp_sum,"                                 \
		       " temp_min = coalesce(min(temp_min, excluded.temp_min), temp_min,"          \
		       " excluded.temp_min),"                                                      \
		       " temp_max = coalesce(max(temp_max, excluded.temp_max), temp_max,"          \
		       " excluded.temp_max)",                                                      \
		.drop = "DELETE FROM " table " WHERE sensor = ?1 AND " at " = ?2",                 \
		.redo = "INSERT INTO " table                                                       \
			" SELECT ?1, ?2, count(*), sum(rh), min(rh), max(rh),"                     \
			" count(temp), coalesce(sum(temp), 0), min(temp), max(temp) FROM reading"  \
			" WHERE sensor = ?1 AND t >= ?3 AND t < ?4 AND flags = 0 GROUP BY sensor", \
	}

static const struct table hours = TABLE("hour", "hour");
static const struct table days = TABLE("day", "day");

struct group {
	int64_t from_s, to_s;
	struct store_sum add;
	bool lost; /* a reading: count again */
};

static struct group group_at(const struct zone *zone, int64_t t_s)
{
	if (!zone) {
		int64_t hour = civil_floor(t_s, HOUR_S);
		return (struct group){ hour * HOUR_S, (hour + 1) * HOUR_S, { .at = hour }, false };
	}
	int64_t day = zone_day(zone, t_s);
	return (struct group){ zone_day_start_s(zone, day), zone_day_start_s(zone, day + 1),
		{ .at = day }, false };
}

static int32_t least(int32_t a, int32_t b)
{
	return a < b ? a : b;
}

static int32_t most(int32_t a, int32_t b)
{
	return a > b ? a : b;
}

static void count_in(struct store_sum *sum, const struct quality_reading *r)
{
	sum->rh_min = sum->n ? least(sum->rh_min, r->rh_cpct) : r->rh_cpct;
	sum->rh_max = sum->n ? most(sum->rh_max, r->rh_cpct) : r->rh_cpct;
	sum->rh_sum += r->rh_cpct;
	sum->n++;
	if (r->temp_cdegc == QUALITY_NO_TEMP)
		return;
	sum->temp_min = sum->temp_n ? least(sum->temp_min, r->temp_cdegc) : r->temp_cdegc;
	sum->temp_max = sum->temp_n ? most(sum->temp_max, r->temp_cdegc) : r->temp_cdegc;
	sum->temp_sum += r->temp_cdegc;
	sum->temp_n++;
}

static enum rc count_again(struct store *s, int64_t sensor, const struct table *table,
	const struct group *g, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, table->drop, err);
	if (!q)
		return store_fail(s, "prepare", err);
	sqlite3_bind_int64(q, 1, sensor);
	sqlite3_bind_int64(q, 2, g->add.at);
	enum rc rc = store_run(s, q, err);
	if (rc != RC_OK)
		return rc;
	q = store_statement(s, table->redo, err);
	if (!q)
		return store_fail(s, "prepare", err);
	sqlite3_bind_int64(q, 1, sensor);
	sqlite3_bind_int64(q, 2, g->add.at);
	sqlite3_bind_int64(q, 3, g->from_s);
	sqlite3_bind_int64(q, 4, g->to_s);
	return store_run(s, q, err);
}

static enum rc add_up(struct store *s, int64_t sensor, const struct table *table,
	const struct group *g, struct err *err)
{
	const struct store_sum *sum = &g->add;
	sqlite3_stmt *q = store_statement(s, table->add, err);
	if (!q)
		return store_fail(s, "prepare", err);
	sqlite3_bind_int64(q, 1, sensor);
	sqlite3_bind_int64(q, 2, sum->at);
	sqlite3_bind_int64(q, 3, sum->n);
	sqlite3_bind_int64(q, 4, sum->rh_sum);
	sqlite3_bind_int(q, 5, sum->rh_min);
	sqlite3_bind_int(q, 6, sum->rh_max);
	sqlite3_bind_int64(q, 7, sum->temp_n);
	sqlite3_bind_int64(q, 8, sum->temp_sum);
	if (sum->temp_n) {
		sqlite3_bind_int(q, 9, sum->temp_min);
		sqlite3_bind_int(q, 10, sum->temp_max);
	}
	return store_run(s, q, err);
}

static enum rc put_group(struct store *s, int64_t sensor, const struct table *table,
	const struct group *g, struct err *err)
{
	if (g->lost)
		return count_again(s, sensor, table, g, err);
	return g->add.n ? add_up(s, sensor, table, g, err) : RC_OK;
}

/* zone NULL: hours. *first: `at` of the first row changed, left alone when none is. */
static enum rc follow(struct store *s, int64_t sensor, const struct table *table,
	const struct zone *zone, const struct quality_reading *r, const uint32_t *was, size_t n,
	int64_t *first, struct err *err)
{
	struct group g = { .from_s = INT64_MAX, .to_s = INT64_MIN };
	enum rc rc = RC_OK;
	for (size_t i = 0; i < n && rc == RC_OK; i++) {
		if ((was[i] == 0) == (r[i].flags == 0))
			continue;
		if (r[i].t_s < g.from_s || r[i].t_s >= g.to_s) {
			rc = put_group(s, sensor, table, &g, err);
			g = group_at(zone, r[i].t_s);
			*first = g.add.at < *first ? g.add.at : *first;
		}
		if (r[i].flags == 0)
			count_in(&g.add, &r[i]);
		else
			g.lost = true;
	}
	return rc == RC_OK ? put_group(s, sensor, table, &g, err) : rc;
}

static enum rc mark_dirty(struct store *s, int64_t sensor, int64_t hour, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"UPDATE sensor SET dirty_hour = min(coalesce(dirty_hour, ?2), ?2) WHERE id = ?1",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	sqlite3_bind_int64(q, 1, sensor);
	sqlite3_bind_int64(q, 2, hour);
	return store_run(s, q, err);
}

enum rc store_sums_follow(struct store *s, int64_t sensor, const struct quality_reading *r,
	const uint32_t *was, size_t n, struct err *err)
{
	const struct zone *zone = NULL;
	int64_t hour = TIME_NEVER, day = TIME_NEVER;
	enum rc rc = follow(s, sensor, &hours, NULL, r, was, n, &hour, err);
	if (rc != RC_OK || hour == TIME_NEVER)
		return rc;
	rc = mark_dirty(s, sensor, hour, err);
	if (rc == RC_OK)
		rc = store_zone(s, sensor, &zone, err);
	if (rc == RC_OK)
		rc = follow(s, sensor, &days, zone, r, was, n, &day, err);
	return rc;
}

enum { REDO_ROWS = 4096 };

static enum rc add_all_days(struct store *s, int64_t sensor, const struct zone *zone,
	struct quality_reading *r, uint32_t *was, struct err *err)
{
	memset(was, 0xff, REDO_ROWS * sizeof was[0]); /* STORE_ABSENT */
	int64_t from_s = INT64_MIN, day = TIME_NEVER;
	for (size_t n = REDO_ROWS; n == REDO_ROWS;) {
		enum rc rc = store_raw(s, sensor, from_s, INT64_MAX, r, REDO_ROWS, &n, err);
		if (rc == RC_OK)
			rc = follow(s, sensor, &days, zone, r, was, n, &day, err);
		if (rc != RC_OK)
			return rc;
		if (n)
			from_s = r[n - 1].t_s + 1;
	}
	return RC_OK;
}

enum rc store_sums_days(struct store *s, int64_t sensor, struct err *err)
{
	const struct zone *zone = NULL;
	enum rc rc = store_zone(s, sensor, &zone, err);
	sqlite3_stmt *q =
		rc == RC_OK ? store_statement(s, "DELETE FROM day WHERE sensor = ?1", err) : NULL;
	if (!q)
		return rc == RC_OK ? store_fail(s, "prepare", err) : rc;
	sqlite3_bind_int64(q, 1, sensor);
	rc = store_run(s, q, err);
	struct quality_reading *r = mem_new(REDO_ROWS, sizeof *r);
	uint32_t *was = mem_new(REDO_ROWS, sizeof *was);
	if (!r || !was)
		rc = err_set(err, RC_MEM, "store %s: daily sums: out of memory", s->path);
	if (rc == RC_OK)
		rc = add_all_days(s, sensor, zone, r, was, err);
	mem_free(r);
	mem_free(was);
	return rc;
}
