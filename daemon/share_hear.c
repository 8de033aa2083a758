/* What stands on the server now, against what we sent and what stood there before. */
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/calendar_seen.h"
#include "daemon/hear.h"
#include "daemon/share_int.h"
#include "daemon/text.h"

enum { LINES_MAX = 100, LINE_SIZE = 400 }; /* of one entry that are read as people's */

void share_tell(struct resource *r, const char *outcome, int64_t now_s)
{
	(void)snprintf(r->outcome, sizeof r->outcome, "%s", outcome ? outcome : "");
	r->t_s = outcome ? now_s : TIME_NEVER;
}

bool share_keep_text(char **to, const char *text)
{
	char *copy = text ? mem_text(text) : NULL;
	if (text && !copy)
		return false;
	mem_free(*to);
	*to = copy;
	return true;
}

/* An entry's states that count as known: as last put, as being put, as last read. */
struct before {
	struct seen sent, trying, seen;
	bool has_sent, has_trying, has_seen;
};

/* *has false: there is none, or it is none that can be read. */
static enum rc read_text(
	const char *text, const struct zone *zone, struct seen *out, bool *has, struct err *err)
{
	struct err why = { 0 };
	enum rc rc = text ? calendar_seen(text, strlen(text), zone, out, &why) : RC_INPUT;
	*has = rc == RC_OK;
	return rc == RC_OK || rc == RC_INPUT ? RC_OK : err_set(err, rc, "%s", why.text);
}

static enum rc read_before(
	const struct hearing *h, const struct resource *r, struct before *b, struct err *err)
{
	enum rc rc = read_text(r->sent, h->zone, &b->sent, &b->has_sent, err);
	if (rc == RC_OK)
		rc = read_text(r->trying, h->zone, &b->trying, &b->has_trying, err);
	if (rc == RC_OK)
		rc = read_text(r->seen, h->zone, &b->seen, &b->has_seen, err);
	return rc;
}

/* Whether our text as it was being put, of which no answer came, is to count as sent: nothing of it is missing there. Where a
 * person has written over it, theirs differs from it all the same and stays. */
static enum rc has_arrived(
	const struct resource *r, const char *text, bool *arrived, struct err *err)
{
	struct err why = { 0 };
	char *merged = NULL;
	bool changed = false;
	*arrived = r->trying;
	if (!r->trying || !r->sent)
		return RC_OK;
	enum rc rc = calendar_merge(r->sent, text, r->trying, false, &merged, &changed, &why);
	mem_free(merged);
	*arrived = rc == RC_OK && !changed;
	return rc == RC_OK || rc == RC_INPUT ? RC_OK : err_set(err, rc, "%s", why.text);
}

/* ---- lines ---- */

struct lines {
	size_t n;
	char at[LINES_MAX][LINE_SIZE];
};

static void add_line(void *arg, const char *text)
{
	struct lines *l = arg;
	if (l->n < LINES_MAX && strlen(text) < LINE_SIZE)
		(void)snprintf(l->at[l->n++], LINE_SIZE, "%s", text);
}

static bool is_among(const struct lines *l, const char *text)
{
	for (size_t i = 0; i < l->n; i++)
		if (strcmp(l->at[i], text) == 0)
			return true;
	return false;
}

static void count_line(void *arg, const char *text)
{
	(void)text;
	++*(size_t *)arg;
}

/* Every line of ours is still in the description: what is there besides was written into it. */
static bool is_intact(const char *ours, const char *theirs)
{
	size_t missing = 0;
	calendar_written(theirs, ours, count_line, &missing);
	return missing == 0;
}

static enum rc hear_one(const struct hearing *h, const char *uid, const char *line, bool heed,
	struct taken *taken, struct err *err)
{
	struct store *store = h->app->desk.store;
	char answer[HEAR_ANSWER] = "";
	bool found = false;
	enum rc rc = store_noted(store, uid, line, answer, sizeof answer, &found, err);
	if (rc != RC_OK || found)
		return rc;
	if (heed)
		rc = hear_line(store, h->app->desk.engine, h->app->desk.set, uid, line,
			h->edition->units, h->now_s, answer, err);
	if (rc == RC_OK)
		rc = store_noted_put(store, uid, line, h->now_s, answer, err);
	if (rc == RC_OK && answer[0]) {
		taken->heard = true;
		log_line(h->app->log, LEVEL_NOTICE, h->edition->name,
			"calendar \"%s\": a line was written into %s: %s", h->edition->name, uid,
			answer);
	}
	return rc;
}

/* Lines that are neither in what we sent nor in what we were sending. Of an entry that was never seen before only what is
 * written into our own text whole is heeded: else our own lines of another day would be taken for a person's. */
static enum rc hear_lines(const struct hearing *h, const char *uid, const struct before *b,
	const struct seen *now, struct taken *taken, struct err *err)
{
	if (!b->has_sent && !b->has_trying)
		return RC_OK;
	struct lines *l = mem_new(2, sizeof *l);
	if (!l)
		return err_set(err, RC_MEM, "calendars: out of memory");
	const struct seen *first = b->has_sent ? &b->sent : &b->trying;
	bool heed = b->has_seen || is_intact(first->description, now->description);
	calendar_written(first->description, now->description, add_line, &l[0]);
	if (b->has_trying)
		calendar_written(b->trying.description, now->description, add_line, &l[1]);
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < l[0].n; i++)
		if (!b->has_trying || is_among(&l[1], l[0].at[i]))
			rc = hear_one(h, uid, l[0].at[i], heed, taken, err);
	mem_free(l);
	return rc;
}

/* ---- state and day ---- */

static void tell_heard(const struct hearing *h, const char *uid, const char *what)
{
	log_line(h->app->log, LEVEL_NOTICE, h->edition->name,
		"calendar \"%s\": %s on the server: %s", h->edition->name, what, uid);
}

static enum rc hear_state(const struct hearing *h, const char *uid, const struct before *b,
	const struct seen *now, struct taken *taken, struct err *err)
{
	struct store *store = h->app->desk.store;
	bool was_done = (b->has_sent && b->sent.done) || (b->has_trying && b->trying.done) ||
			(b->has_seen && b->seen.done);
	bool was_cancelled = b->has_seen && b->seen.cancelled;
	bool heard = false;
	enum rc rc = RC_OK;
	if (now->done && !was_done) {
		bool good = now->done_s != TIME_NEVER && now->done_s <= h->now_s;
		rc = hear_done(store, uid, good ? now->done_s : h->now_s, &heard, err);
	} else if (now->cancelled && !was_cancelled) {
		rc = hear_unwanted(store, uid, h->now_s, &heard, err);
	}
	if (rc == RC_OK && heard) {
		tell_heard(h, uid, now->done ? "done" : "cancelled");
		taken->heard = true;
	}
	return rc;
}

static bool is_day(bool has, const struct seen *s, int64_t day)
{
	return has && s->has_day && s->day == day;
}

/* Only what differs from all that we sent and from what was there is a person's doing. */
static enum rc hear_day(const struct hearing *h, const char *uid, const struct before *b,
	const struct seen *now, struct taken *taken, struct err *err)
{
	bool heard = false;
	if (!now->has_day || now->done || now->cancelled || !(b->has_sent || b->has_trying) ||
		is_day(b->has_sent, &b->sent, now->day) ||
		is_day(b->has_trying, &b->trying, now->day) ||
		is_day(b->has_seen, &b->seen, now->day))
		return RC_OK;
	enum rc rc = hear_moved(h->app->desk.store, uid,
		zone_day_start_s(h->zone, now->day) + DAY_S / 2, &heard, err);
	if (rc == RC_OK && heard) {
		tell_heard(h, uid, "moved to another day");
		taken->heard = taken->moved = true;
	}
	return rc;
}

/* ---- one entry ---- */

static enum rc put_row(const struct hearing *h, const struct resource *r, struct err *err)
{
	return store_resource_put(h->app->desk.store, h->edition->name, h->kind, r, err);
}

static enum rc cannot_read(const struct hearing *h, struct resource *r, const char *etag,
	const char *why, struct err *err)
{
	char words[RESOURCE_OUTCOME] = "";
	text_add(words, sizeof words, "cannot be read there: %s", why);
	share_tell(r, words, h->now_s);
	r->state = r->state == RESOURCE_KEPT ? RESOURCE_STUCK : r->state;
	(void)snprintf(r->etag, sizeof r->etag, "%s", etag);
	return put_row(h, r, err);
}

/* What stands at its address is none of ours and is left alone. */
static enum rc is_another(const struct hearing *h, struct resource *r, struct err *err)
{
	share_tell(r, "an entry with another UID stands at its address", h->now_s);
	r->state = RESOURCE_STUCK;
	r->href[0] = r->etag[0] = '\0';
	return put_row(h, r, err);
}

static enum rc keep(const struct hearing *h, struct resource *r, const char *text, const char *etag,
	bool arrived, struct err *err)
{
	if (arrived && !share_keep_text(&r->sent, r->trying))
		return err_set(err, RC_MEM, "calendars: out of memory");
	if (!share_keep_text(&r->seen, text))
		return err_set(err, RC_MEM, "calendars: out of memory");
	(void)share_keep_text(&r->trying, NULL);
	(void)snprintf(r->etag, sizeof r->etag, "%s", etag);
	if (r->state == RESOURCE_STUCK) {
		r->state = RESOURCE_KEPT;
		share_tell(r, NULL, h->now_s);
	}
	return put_row(h, r, err);
}

static enum rc take(const struct hearing *h, struct resource *r, const char *text,
	const struct seen *now, const char *etag, struct taken *taken, struct err *err)
{
	struct before *b = mem_new(1, sizeof *b);
	if (!b)
		return err_set(err, RC_MEM, "calendars: out of memory");
	bool arrived = false;
	enum rc rc = read_before(h, r, b, err);
	if (rc == RC_OK)
		rc = has_arrived(r, text, &arrived, err);
	if (rc == RC_OK)
		rc = hear_state(h, r->uid, b, now, taken, err);
	if (rc == RC_OK)
		rc = hear_day(h, r->uid, b, now, taken, err);
	if (rc == RC_OK)
		rc = hear_lines(h, r->uid, b, now, taken, err);
	if (rc == RC_OK)
		rc = keep(h, r, text, etag, arrived, err);
	mem_free(b);
	return rc;
}

enum rc share_take_in(const struct hearing *h, struct resource *r, const char *text, size_t n,
	const char *etag, struct taken *taken, struct err *err)
{
	struct err why = { 0 };
	struct seen *now = mem_new(1, sizeof *now);
	char *whole = mem_new(n + 1, 1);
	enum rc rc = now && whole ? RC_OK : err_set(err, RC_MEM, "calendars: out of memory");
	if (rc == RC_OK) {
		memcpy(whole, text, n);
		rc = calendar_seen(whole, n, h->zone, now, &why);
		if (rc == RC_INPUT)
			rc = cannot_read(h, r, etag, why.text, err);
		else if (rc != RC_OK)
			rc = err_set(err, rc, "%s", why.text);
		else if (strcmp(now->uid, r->uid) != 0)
			rc = is_another(h, r, err);
		else
			rc = take(h, r, whole, now, etag, taken, err);
	}
	mem_free(now);
	mem_free(whole);
	return rc;
}

enum rc share_take_gone(
	const struct hearing *h, struct resource *r, struct taken *taken, struct err *err)
{
	bool heard = false;
	enum rc rc = hear_unwanted(h->app->desk.store, r->uid, h->now_s, &heard, err);
	if (rc != RC_OK)
		return rc;
	if (heard)
		tell_heard(h, r->uid, "deleted");
	taken->heard = taken->heard || heard;
	r->state = RESOURCE_UNWANTED;
	r->href[0] = r->etag[0] = '\0';
	(void)share_keep_text(&r->sent, NULL);
	(void)share_keep_text(&r->trying, NULL);
	(void)share_keep_text(&r->seen, NULL);
	share_tell(
		r, heard ? "deleted on the server: put aside" : "deleted on the server", h->now_s);
	return put_row(h, r, err);
}

bool share_uid(const char *text, size_t n, const struct zone *zone, char uid[CALENDAR_UID_SIZE])
{
	struct err ignored = { 0 };
	struct seen *seen = mem_new(1, sizeof *seen);
	bool good = seen && calendar_seen(text, n, zone, seen, &ignored) == RC_OK;
	if (good)
		memcpy(uid, seen->uid, sizeof seen->uid);
	mem_free(seen);
	return good;
}
