/* Corrections of checked hygrometers, and the marks that a change of them leaves. */
#include "daemon/store_row.h"

#include <ctype.h>

#include "core/civil.h"
#include "core/mem.h"

static enum rc mark_dirty(struct store *s, int64_t sensor, int64_t t_s, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"UPDATE sensor SET dirty_hour = min(coalesce(dirty_hour, ?2), ?2) WHERE id = ?1",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, sensor);
	(void)sqlite3_bind_int64(q, 2, civil_floor(t_s, HOUR_S));
	return store_run(s, q, err);
}

/* The time of the last check before t_s, t_s itself when there is none; and how many the sensor has. */
static enum rc check_before(struct store *s, int64_t sensor, int64_t t_s, int64_t *before_s,
	int64_t *count, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT coalesce(max(t) FILTER (WHERE t < ?2), ?2), count(*) FILTER (WHERE t <> "
		"?2) "
		"FROM correction WHERE sensor = ?1",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, sensor);
	(void)sqlite3_bind_int64(q, 2, t_s);
	enum rc rc = sqlite3_step(q) == SQLITE_ROW ? RC_OK : store_fail(s, "read", err);
	if (rc == RC_OK) {
		*before_s = sqlite3_column_int64(q, 0);
		*count = sqlite3_column_int64(q, 1);
	}
	row_end(q);
	return rc;
}

static enum rc check_text(const char *text, struct err *err)
{
	while (*text && !iscntrl((unsigned char)*text))
		text++;
	return *text ? err_set(err, RC_INPUT,
			       "correction: note: holds a control character: one line of text")
		     : RC_OK;
}

static enum rc put(
	struct store *s, int64_t sensor, const struct store_correction *c, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"INSERT INTO correction(sensor, t, gain, offset, u, text) "
		"VALUES(?1, ?2, ?3, ?4, ?5, ?6) ON CONFLICT(sensor, t) DO UPDATE SET "
		"gain = ?3, offset = ?4, u = ?5, text = ?6 "
		"WHERE (gain, offset, u, text) IS NOT (?3, ?4, ?5, ?6)",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, sensor);
	(void)sqlite3_bind_int64(q, 2, c->check.t_s);
	(void)sqlite3_bind_double(q, 3, c->check.c.gain);
	(void)sqlite3_bind_double(q, 4, c->check.c.offset_pct);
	(void)sqlite3_bind_double(q, 5, c->check.c.u_pct);
	row_bind_text(q, 6, c->text);
	return store_run(s, q, err);
}

enum rc store_correction_put(struct store *s, int64_t sensor, const struct store_correction *c,
	bool *changed, struct err *err)
{
	int64_t before_s = 0, count = 0;
	enum rc rc = check_text(c->text, err);
	if (rc == RC_OK)
		rc = check_before(s, sensor, c->check.t_s, &before_s, &count, err);
	if (rc == RC_OK && count >= STORE_CORRECTIONS_MAX)
		rc = err_set(err, RC_INPUT, "%lld checks of one sensor: remove old ones first",
			(long long)count);
	if (rc == RC_OK)
		rc = put(s, sensor, c, err);
	bool news = rc == RC_OK && sqlite3_changes(s->db) > 0;
	if (news)
		rc = mark_dirty(s, sensor, before_s, err);
	if (rc == RC_OK && changed)
		*changed = news;
	return rc;
}

enum rc store_correction_remove(struct store *s, int64_t sensor, int64_t t_s, struct err *err)
{
	int64_t before_s = 0, count = 0;
	enum rc rc = check_before(s, sensor, t_s, &before_s, &count, err);
	sqlite3_stmt *q =
		rc == RC_OK ? store_statement(
				      s, "DELETE FROM correction WHERE sensor = ?1 AND t = ?2", err)
			    : NULL;
	if (!q)
		return rc == RC_OK ? store_fail(s, "prepare", err) : rc;
	(void)sqlite3_bind_int64(q, 1, sensor);
	(void)sqlite3_bind_int64(q, 2, t_s);
	rc = store_run(s, q, err);
	if (rc == RC_OK && sqlite3_changes(s->db) == 0)
		return err_set(err, RC_UNKNOWN, "correction: none at that time");
	return rc == RC_OK ? mark_dirty(s, sensor, before_s, err) : rc;
}

static void read_correction(sqlite3_stmt *q, void *out)
{
	struct store_correction *c = out;
	c->check.t_s = sqlite3_column_int64(q, 0);
	c->check.c.gain = sqlite3_column_double(q, 1);
	c->check.c.offset_pct = sqlite3_column_double(q, 2);
	c->check.c.u_pct = sqlite3_column_double(q, 3);
	row_text(q, 4, c->text, sizeof c->text);
	row_text(q, 5, c->sensor, sizeof c->sensor);
}

#define SELECT_CORRECTION                                                                          \
	"SELECT c.t, c.gain, c.offset, c.u, c.text, s.name FROM correction c "                     \
	"JOIN sensor s ON s.id = c.sensor "

enum rc store_corrections(
	struct store *s, int64_t sensor, struct store_correction **out, size_t *n, struct err *err)
{
	sqlite3_stmt *q =
		sensor ? store_statement(
				 s, SELECT_CORRECTION "WHERE c.sensor = ?1 ORDER BY c.t", err)
		       : store_statement(s, SELECT_CORRECTION "ORDER BY s.name, c.t", err);
	if (!q)
		return store_fail(s, "prepare", err);
	if (sensor)
		(void)sqlite3_bind_int64(q, 1, sensor);
	void *rows = NULL;
	enum rc rc = row_gather(s, q, sizeof **out, read_correction, &rows, n, err);
	if (rc == RC_OK)
		*out = rows;
	return rc;
}

enum rc store_checks(
	struct store *s, int64_t sensor, struct salt_check **out, size_t *n, struct err *err)
{
	struct store_correction *all = NULL;
	size_t count = 0;
	enum rc rc = store_corrections(s, sensor, &all, &count, err);
	struct salt_check *checks = rc == RC_OK ? mem_new(count, sizeof *checks) : NULL;
	if (rc == RC_OK && !checks)
		rc = err_set(err, RC_MEM, "checks of a sensor: out of memory");
	for (size_t i = 0; rc == RC_OK && i < count; i++)
		checks[i] = all[i].check;
	mem_free(all);
	if (rc != RC_OK)
		return rc;
	*out = checks;
	*n = count;
	return RC_OK;
}

enum rc store_weighed_by(struct store *s, int64_t sensor, double accuracy_pct, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"UPDATE sensor SET dirty_hour = CASE WHEN accuracy IS NULL THEN dirty_hour ELSE"
		" coalesce((SELECT min(hour) FROM hour WHERE sensor = ?1), dirty_hour) END,"
		" accuracy = ?2 WHERE id = ?1 AND accuracy IS NOT ?2",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, sensor);
	(void)sqlite3_bind_double(q, 2, accuracy_pct);
	return store_run(s, q, err);
}
