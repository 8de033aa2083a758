#include "daemon/record.h"

#include <ctype.h>
#include <string.h>

#include "core/finding.h"
#include "core/mem.h"
#include "daemon/address.h"
#include "daemon/store_row.h"

static void tell(bool *changed, struct store *s)
{
	if (changed)
		*changed = sqlite3_changes(s->db) > 0;
}

/* Texts are of one line: so they can be shown, put into a calendar, and written out and read back as they are. */
static enum rc check_text(
	const char *what, const char *name, const char *setting, const char *text, struct err *err)
{
	while (*text && !iscntrl((unsigned char)*text))
		text++;
	return *text ? err_set(err, RC_INPUT,
			       "%s \"%s\": %s: holds a control character: one line of text", what,
			       name, setting)
		     : RC_OK;
}

static enum rc check_mail(const struct client *c, struct err *err)
{
	if (c->email[0] && !address_good(c->email))
		return err_set(err, RC_INPUT,
			"client \"%s\": email \"%s\": no address: a plain one, as name@example.org",
			c->name, c->email);
	if (!c->email[0] && c->agreed_s)
		return err_set(err, RC_INPUT,
			"client \"%s\": agreed to mail without an address: email too, or agreed no",
			c->name);
	return RC_OK;
}

enum rc record_put_client(struct store *s, const struct client *c, bool *changed, struct err *err)
{
	enum rc rc = check_text("client", c->name, "title", c->title, err);
	if (rc == RC_OK)
		rc = check_text("client", c->name, "address", c->address, err);
	if (rc == RC_OK)
		rc = check_text("client", c->name, "note", c->note, err);
	if (rc == RC_OK)
		rc = check_text("client", c->name, "email", c->email, err);
	if (rc == RC_OK)
		rc = check_mail(c, err);
	if (rc != RC_OK)
		return rc;
	sqlite3_stmt *q = store_statement(s,
		"INSERT INTO client(name, title, address, note, email, agreed) "
		"VALUES(?1, ?2, ?3, ?4, ?5, nullif(?6, 0)) "
		"ON CONFLICT(name) DO UPDATE SET title = ?2, address = ?3, note = ?4, email = ?5, "
		"agreed = nullif(?6, 0) "
		"WHERE (title, address, note, email, agreed) IS NOT (?2, ?3, ?4, ?5, nullif(?6, "
		"0))",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, c->name);
	row_bind_text(q, 2, c->title);
	row_bind_text(q, 3, c->address);
	row_bind_text(q, 4, c->note);
	row_bind_text(q, 5, c->email);
	(void)sqlite3_bind_int64(q, 6, c->agreed_s);
	rc = store_run(s, q, err);
	if (rc == RC_OK)
		tell(changed, s);
	return rc;
}

static void read_client(sqlite3_stmt *q, void *out)
{
	struct client *c = out;
	c->id = sqlite3_column_int64(q, 0);
	row_text(q, 1, c->name, sizeof c->name);
	row_text(q, 2, c->title, sizeof c->title);
	row_text(q, 3, c->address, sizeof c->address);
	row_text(q, 4, c->note, sizeof c->note);
	row_text(q, 5, c->email, sizeof c->email);
	c->agreed_s = sqlite3_column_int64(q, 6);
}

enum rc record_clients(struct store *s, struct client **out, size_t *n, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"SELECT id, name, title, address, note, email, agreed FROM client ORDER BY name",
		err);
	void *rows = NULL;
	enum rc rc = q ? row_gather(s, q, sizeof **out, read_client, &rows, n, err)
		       : store_fail(s, "prepare", err);
	if (rc == RC_OK)
		*out = rows;
	return rc;
}

const struct client *record_client_by_id(const struct client *all, size_t n, int64_t id)
{
	for (size_t i = 0; i < n; i++)
		if (all[i].id == id)
			return &all[i];
	return NULL;
}

/* RC_UNKNOWN with the nearest of the names at names[i * stride]. */
static enum rc unknown(const char *what, const char *name, const void *rows, size_t stride,
	size_t at, size_t n, struct err *err)
{
	const char **names = mem_new(n, sizeof *names);
	for (size_t i = 0; names && i < n; i++)
		names[i] = (const char *)rows + i * stride + at;
	const char *near = names ? faults_nearest(name, names, n) : NULL;
	enum rc rc = near ? err_set(err, RC_UNKNOWN,
				    "%s \"%s\": not in the records: did you mean \"%s\"?", what,
				    name, near)
			  : err_set(err, RC_UNKNOWN, "%s \"%s\": not in the records", what, name);
	mem_free(names);
	return rc;
}

enum rc record_client(struct store *s, const char *name, struct client *out, struct err *err)
{
	struct client *all = NULL;
	size_t n = 0;
	enum rc rc = record_clients(s, &all, &n, err);
	size_t i = 0;
	while (i < n && strcmp(all[i].name, name) != 0)
		i++;
	if (rc == RC_OK && i < n)
		*out = all[i];
	else if (rc == RC_OK)
		rc = unknown(
			"client", name, all, sizeof *all, offsetof(struct client, name), n, err);
	mem_free(all);
	return rc;
}

enum rc record_put_instrument(
	struct store *s, const struct instrument *i, bool *changed, struct err *err)
{
	struct client c = { 0 };
	enum rc rc = i->client[0] ? record_client(s, i->client, &c, err) : RC_OK;
	if (rc == RC_OK)
		rc = check_text("instrument", i->name, "title", i->title, err);
	if (rc == RC_OK)
		rc = check_text("instrument", i->name, "note", i->note, err);
	if (rc != RC_OK)
		return rc;
	sqlite3_stmt *q = store_statement(s,
		"INSERT INTO instrument(name, title, client, build, overrides, since, until, note, "
		"dirty_hour) "
		"VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, 0) ON CONFLICT(name) DO UPDATE SET title = "
		"?2, client = ?3, "
		"build = ?4, overrides = ?5, since = ?6, until = ?7, note = ?8, "
		"dirty_hour = CASE WHEN (build, overrides, since, until) IS NOT (?4, ?5, ?6, ?7) "
		"THEN 0 "
		"ELSE dirty_hour END "
		"WHERE (title, client, build, overrides, since, until, note) IS NOT (?2, ?3, ?4, "
		"?5, ?6, ?7, ?8)",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, i->name);
	row_bind_text(q, 2, i->title);
	if (c.id)
		(void)sqlite3_bind_int64(q, 3, c.id);
	row_bind_text(q, 4, i->build);
	row_bind_text(q, 5, i->overrides);
	row_bind_time(q, 6, i->since_s);
	row_bind_time(q, 7, i->until_s);
	row_bind_text(q, 8, i->note);
	rc = store_run(s, q, err);
	if (rc == RC_OK)
		tell(changed, s);
	return rc;
}

static void read_instrument(sqlite3_stmt *q, void *out)
{
	struct instrument *i = out;
	i->id = sqlite3_column_int64(q, 0);
	row_text(q, 1, i->name, sizeof i->name);
	row_text(q, 2, i->title, sizeof i->title);
	row_text(q, 3, i->client, sizeof i->client);
	i->client_id = sqlite3_column_int64(q, 4);
	row_text(q, 5, i->build, sizeof i->build);
	row_text(q, 6, i->overrides, sizeof i->overrides);
	i->since_s = row_time(q, 7);
	i->until_s = row_time(q, 8);
	row_text(q, 9, i->note, sizeof i->note);
}

#define SELECT_INSTRUMENT                                                                          \
	"SELECT i.id, i.name, i.title, c.name, i.client, i.build, i.overrides, i.since, i.until, " \
	"i.note "                                                                                  \
	"FROM instrument i LEFT JOIN client c ON c.id = i.client "

enum rc record_instruments(struct store *s, struct instrument **out, size_t *n, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, SELECT_INSTRUMENT "ORDER BY i.name", err);
	void *rows = NULL;
	enum rc rc = q ? row_gather(s, q, sizeof **out, read_instrument, &rows, n, err)
		       : store_fail(s, "prepare", err);
	if (rc == RC_OK)
		*out = rows;
	return rc;
}

/* By the name's index: findings and stays ask for their instrument each time. All are read for the hint only. */
enum rc record_instrument(
	struct store *s, const char *name, struct instrument *out, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, SELECT_INSTRUMENT "WHERE i.name = ?1", err);
	struct instrument *found = NULL, *all = NULL;
	size_t n = 0;
	void *rows = NULL;
	if (!q)
		return RC_STORE;
	row_bind_text(q, 1, name);
	enum rc rc = row_gather(s, q, sizeof *found, read_instrument, &rows, &n, err);
	found = rows;
	if (rc == RC_OK && n > 0)
		*out = found[0];
	else if (rc == RC_OK && (rc = record_instruments(s, &all, &n, err)) == RC_OK)
		rc = unknown("instrument", name, all, sizeof *all,
			offsetof(struct instrument, name), n, err);
	mem_free(found);
	mem_free(all);
	return rc;
}

static enum rc mark_dirty(struct store *s, int64_t instrument, int64_t t_s, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"UPDATE instrument SET dirty_hour = min(coalesce(dirty_hour, ?2), ?2) WHERE id = "
		"?1",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, instrument);
	(void)sqlite3_bind_int64(q, 2, civil_floor(t_s, HOUR_S));
	return store_run(s, q, err);
}

/* The first stay also holds before its time. */
static enum rc mark_stay_dirty(struct store *s, int64_t instrument, int64_t t_s, struct err *err)
{
	sqlite3_stmt *q = store_statement(
		s, "SELECT EXISTS(SELECT 1 FROM stay WHERE instrument = ?1 AND t < ?2)", err);
	if (!q)
		return RC_STORE;
	(void)sqlite3_bind_int64(q, 1, instrument);
	(void)sqlite3_bind_int64(q, 2, t_s);
	enum rc rc = sqlite3_step(q) == SQLITE_ROW ? RC_OK : store_fail(s, "stay", err);
	bool first = rc == RC_OK && sqlite3_column_int(q, 0) == 0;
	row_end(q);
	return rc == RC_OK ? mark_dirty(s, instrument, first ? 0 : t_s, err) : rc;
}

enum rc record_put_stay(struct store *s, const char *instrument, const struct stay *stay,
	bool *changed, struct err *err)
{
	struct instrument i;
	enum rc rc = record_instrument(s, instrument, &i, err);
	if (rc != RC_OK)
		return rc;
	sqlite3_stmt *q = store_statement(s,
		"INSERT INTO stay(instrument, t, place) VALUES(?1, ?2, ?3) "
		"ON CONFLICT(instrument, t) DO UPDATE SET place = ?3 WHERE place IS NOT ?3",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, i.id);
	(void)sqlite3_bind_int64(q, 2, stay->t_s);
	row_bind_text(q, 3, stay->place);
	rc = store_run(s, q, err);
	bool news = sqlite3_changes(s->db) > 0;
	if (rc == RC_OK && news)
		rc = mark_stay_dirty(s, i.id, stay->t_s, err);
	if (rc == RC_OK && changed)
		*changed = news;
	return rc;
}

/* A finding is a new reference: the reasons of what is open have to be told anew. */
static enum rc restate_items(struct store *s, const char *instrument, struct err *err)
{
	sqlite3_stmt *q = store_statement(s,
		"UPDATE item SET value = NULL WHERE kind = 0 AND subject = ?1 AND state = 0", err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, instrument);
	return store_run(s, q, err);
}

enum rc record_put_finding(struct store *s, const struct finding *f, bool *changed, struct err *err)
{
	struct instrument i = { 0 };
	enum rc rc = f->subject_kind == CARE_OF_INSTRUMENT
			     ? record_instrument(s, f->subject, &i, err)
			     : RC_OK;
	if (rc == RC_OK)
		rc = check_text("finding of", f->subject, "note", f->text, err);
	if (rc != RC_OK)
		return rc;
	sqlite3_stmt *q = store_statement(s,
		"INSERT INTO finding(kind, subject, t, quantity, value, text) VALUES(?1, ?2, ?3, "
		"?4, ?5, ?6) "
		"ON CONFLICT(kind, subject, t, quantity) DO UPDATE SET value = ?5, text = ?6 "
		"WHERE (value, text) IS NOT (?5, ?6)",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int(q, 1, f->subject_kind);
	row_bind_text(q, 2, f->subject);
	(void)sqlite3_bind_int64(q, 3, f->t_s);
	row_bind_text(q, 4, finding_words()[f->kind].name);
	row_bind_real(q, 5, f->value);
	row_bind_text(q, 6, f->text);
	rc = store_run(s, q, err);
	bool news = sqlite3_changes(s->db) > 0;
	if (rc == RC_OK && news && i.id)
		rc = mark_dirty(s, i.id, f->t_s, err);
	if (rc == RC_OK && news && i.id)
		rc = restate_items(s, f->subject, err);
	if (rc == RC_OK && changed)
		*changed = news;
	return rc;
}

static enum rc run_by_name(struct store *s, const char *sql, const char *name, struct err *err)
{
	sqlite3_stmt *q = store_statement(s, sql, err);
	if (!q)
		return store_fail(s, "prepare", err);
	row_bind_text(q, 1, name);
	return store_run(s, q, err);
}

static enum rc remove_by_name(
	struct store *s, const char *sql, const char *what, const char *name, struct err *err)
{
	enum rc rc = run_by_name(s, sql, name, err);
	if (rc == RC_OK && sqlite3_changes(s->db) == 0)
		rc = err_set(err, RC_UNKNOWN, "%s \"%s\": not in the records", what, name);
	return rc;
}

enum rc record_remove_client(struct store *s, const char *name, struct err *err)
{
	struct instrument *all = NULL;
	size_t n = 0;
	enum rc rc = record_instruments(s, &all, &n, err);
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		if (strcmp(all[i].client, name) == 0)
			rc = err_set(err, RC_INPUT,
				"client \"%s\": still has instrument \"%s\": remove it or give it "
				"away first",
				name, all[i].name);
	mem_free(all);
	if (rc == RC_OK)
		rc = run_by_name(s,
			"DELETE FROM visit WHERE client = (SELECT id FROM client WHERE name = ?1)",
			name, err);
	return rc == RC_OK ? remove_by_name(
				     s, "DELETE FROM client WHERE name = ?1", "client", name, err)
			   : rc;
}

enum rc record_remove_instrument(struct store *s, const char *name, struct err *err)
{
	enum rc rc = remove_by_name(
		s, "DELETE FROM instrument WHERE name = ?1", "instrument", name, err);
	if (rc == RC_OK)
		rc = run_by_name(
			s, "DELETE FROM finding WHERE kind = 0 AND subject = ?1", name, err);
	return rc;
}

enum rc record_remove_finding(struct store *s, int subject_kind, const char *subject, int64_t t_s,
	int kind, struct err *err)
{
	struct instrument i = { 0 };
	enum rc rc =
		subject_kind == CARE_OF_INSTRUMENT ? record_instrument(s, subject, &i, err) : RC_OK;
	if (rc != RC_OK)
		return rc;
	sqlite3_stmt *q = store_statement(s,
		"DELETE FROM finding WHERE kind = ?1 AND subject = ?2 AND t = ?3 AND quantity = ?4",
		err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int(q, 1, subject_kind);
	row_bind_text(q, 2, subject);
	(void)sqlite3_bind_int64(q, 3, t_s);
	row_bind_text(q, 4, finding_words()[kind].name);
	rc = store_run(s, q, err);
	if (rc == RC_OK && sqlite3_changes(s->db) == 0)
		rc = err_set(err, RC_UNKNOWN, "finding %s of \"%s\": none at that time",
			finding_words()[kind].name, subject);
	return rc == RC_OK && i.id ? mark_dirty(s, i.id, t_s, err) : rc;
}

static void read_stay(sqlite3_stmt *q, void *out)
{
	struct stay *stay = out;
	stay->t_s = sqlite3_column_int64(q, 0);
	row_text(q, 1, stay->place, sizeof stay->place);
}

enum rc record_stays(
	struct store *s, int64_t instrument, struct stay **out, size_t *n, struct err *err)
{
	sqlite3_stmt *q = store_statement(
		s, "SELECT t, place FROM stay WHERE instrument = ?1 ORDER BY t", err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, instrument);
	void *rows = NULL;
	enum rc rc = row_gather(s, q, sizeof **out, read_stay, &rows, n, err);
	if (rc == RC_OK)
		*out = rows;
	return rc;
}

static void read_finding(sqlite3_stmt *q, void *out)
{
	struct finding *f = out;
	char quantity[NAME_SIZE];
	f->id = sqlite3_column_int64(q, 0);
	f->subject_kind = sqlite3_column_int(q, 1);
	row_text(q, 2, f->subject, sizeof f->subject);
	f->t_s = sqlite3_column_int64(q, 3);
	row_text(q, 4, quantity, sizeof quantity);
	f->kind = (int)finding_by_name(quantity);
	f->value = row_real(q, 5);
	row_text(q, 6, f->text, sizeof f->text);
}

#define SELECT_FINDING                                                                             \
	"SELECT id, kind, subject, t, quantity, value, text FROM finding WHERE kind = ?1 "
#define ORDER_FINDING "t, quantity IN ('truss_turn', 'saddle', 'nut') DESC, quantity"

enum rc record_findings(struct store *s, int subject_kind, const char *subject,
	struct finding **out, size_t *n, struct err *err)
{
	sqlite3_stmt *q =
		subject ? store_statement(
				  s, SELECT_FINDING "AND subject = ?2 ORDER BY " ORDER_FINDING, err)
			: store_statement(
				  s, SELECT_FINDING "ORDER BY subject, " ORDER_FINDING, err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int(q, 1, subject_kind);
	if (subject)
		row_bind_text(q, 2, subject);
	void *rows = NULL;
	enum rc rc = row_gather(s, q, sizeof **out, read_finding, &rows, n, err);
	if (rc == RC_OK)
		*out = rows;
	return rc;
}

enum rc record_dirty_hour(struct store *s, int64_t instrument, int64_t *hour, struct err *err)
{
	sqlite3_stmt *q =
		store_statement(s, "SELECT dirty_hour FROM instrument WHERE id = ?1", err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, instrument);
	int step = sqlite3_step(q);
	enum rc rc = step == SQLITE_ROW ? RC_OK : store_fail(s, "instrument", err);
	if (rc == RC_OK)
		*hour = row_time(q, 0);
	row_end(q);
	return rc;
}

enum rc record_clear_dirty(struct store *s, int64_t instrument, struct err *err)
{
	sqlite3_stmt *q =
		store_statement(s, "UPDATE instrument SET dirty_hour = NULL WHERE id = ?1", err);
	if (!q)
		return store_fail(s, "prepare", err);
	(void)sqlite3_bind_int64(q, 1, instrument);
	return store_run(s, q, err);
}
