/* Accounts and their rounds: who takes a turn, and when. */
#include "daemon/share.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/share_int.h"
#include "daemon/text.h"

static void begin(struct account *a, int64_t now_s);

static struct app *app_of(const struct account *a)
{
	return a->share->owner.app;
}

/* ---- turns ---- */

static void free_turn(struct account *a)
{
	if (!a->turn)
		return;
	share_forget(a->turn);
	mem_free(a->turn);
	a->turn = NULL;
}

/* The next edition and kind of this account; false: there is none. */
static bool next(struct account *a)
{
	for (; a->edition < a->n_editions; a->edition++, a->kind = CALENDAR_EVENTS) {
		const struct edition *e = &a->editions[a->edition];
		if (e->output != a->output)
			continue;
		while (a->kind <= CALENDAR_TODOS && !edition_shows(e, a->kind))
			a->kind++;
		if (a->kind <= CALENDAR_TODOS)
			return true;
	}
	return false;
}

/* To-dos go by the edition's name, events too when there are no to-dos beside them. */
static void name_turn(struct turn *t)
{
	bool beside = t->kind == CALENDAR_EVENTS && edition_shows(&t->edition, CALENDAR_TODOS);
	(void)snprintf(t->name, sizeof t->name, "%s%s", t->edition.name, beside ? "-events" : "");
}

static struct turn *new_turn(struct account *a)
{
	struct turn *t = mem_new(1, sizeof *t);
	if (!t)
		return NULL;
	t->account = a;
	t->edition = a->editions[a->edition];
	t->kind = a->kind;
	name_turn(t);
	return t;
}

/* ---- rounds ---- */

static void check_idle(struct share *s)
{
	for (size_t i = 0; i < s->n; i++)
		if (s->at[i].turn)
			return;
	if (s->once)
		loop_stop(s->owner.loop);
}

static int64_t delay_s(const struct account *a)
{
	int64_t every_s = a->output->interval_s;
	int64_t wait_s = every_s < SHARE_FIRST_DELAY_S ? every_s : SHARE_FIRST_DELAY_S;
	if (a->failures == 0)
		return every_s;
	if (a->verdict == DAV_REFUSED)
		return SHARE_LONGEST_DELAY_S;
	wait_s = timer_doubled_s(wait_s, a->failures, SHARE_LONGEST_DELAY_S);
	wait_s = wait_s < a->retry_after_s ? a->retry_after_s : wait_s;
	return wait_s < SHARE_LONGEST_DELAY_S ? wait_s : SHARE_LONGEST_DELAY_S;
}

static void tell(struct account *a, int64_t wait_s)
{
	const char *name = a->output->name;
	if (a->failures && !a->ill)
		log_line(app_of(a)->log, LEVEL_WARNING, name,
			"output \"%s\": %s, retrying in %" PRId64 " s", name, a->why, wait_s);
	else if (!a->failures && a->ill)
		log_line(app_of(a)->log, LEVEL_NOTICE, name,
			"output \"%s\": the server works again", name);
	a->ill = a->failures > 0;
}

static enum rc differs_within(struct account *a, int64_t now_s, bool *differs, struct err *err);

/* Whether the agenda's pages are others than those last put. */
static bool differs(struct account *a, int64_t now_s)
{
	struct store *store = app_of(a)->desk.store;
	struct err err = { 0 };
	bool yes = false;
	enum rc rc = store_begin(store, &err);
	if (rc == RC_OK) {
		rc = differs_within(a, now_s, &yes, &err);
		if (rc == RC_OK)
			rc = store_commit(store, &err);
		else
			store_rollback(store);
	}
	if (rc != RC_OK)
		log_line(app_of(a)->log, LEVEL_WARNING, a->output->name,
			"output \"%s\": %s, the server is told at the next look", a->output->name,
			err.text);
	return rc == RC_OK && yes;
}

static void round_over(struct account *a, int64_t now_s)
{
	mem_free(a->editions);
	a->editions = NULL;
	a->n_editions = 0;
	a->failures = a->verdict == DAV_OK ? 0 : a->failures + 1;
	int64_t wait_s = delay_s(a);
	tell(a, wait_s);
	bool again = a->news && a->failures == 0 && differs(a, now_s);
	a->news = false;
	if (again)
		begin(a, now_s);
	else
		loop_after(a->share->owner.loop, &a->timer, wait_s * 1000);
	check_idle(a->share);
}

/* The server is not there, or not for us: the other calendars need not be tried. */
static void give_up(struct account *a, int64_t now_s)
{
	struct store *store = app_of(a)->desk.store;
	struct err err = { 0 };
	struct collection c;
	bool found = false;
	enum rc rc = store_begin(store, &err);
	for (; rc == RC_OK && next(a); a->kind++) {
		rc = store_collection(
			store, a->editions[a->edition].name, a->kind, &c, &found, &err);
		if (rc != RC_OK || !found)
			continue;
		c.tried_s = now_s;
		c.failures++;
		(void)snprintf(c.error, sizeof c.error, "%s", a->why);
		rc = store_collection_put(store, &c, &err);
	}
	if (rc == RC_OK)
		rc = store_commit(store, &err);
	else
		store_rollback(store);
	if (rc != RC_OK)
		log_line(app_of(a)->log, LEVEL_ERROR, a->output->name, "output \"%s\": %s",
			a->output->name, err.text);
}

static void take_turn(struct account *a, int64_t now_s)
{
	if (a->verdict == DAV_UNREACHED || a->verdict == DAV_REFUSED)
		give_up(a, now_s);
	if (!next(a)) {
		round_over(a, now_s);
		return;
	}
	a->turn = new_turn(a);
	a->kind++;
	if (a->turn) {
		share_look(a->turn, now_s);
		return;
	}
	a->verdict = DAV_ODD;
	(void)snprintf(a->why, sizeof a->why, "out of memory");
	round_over(a, now_s);
}

void account_turn_over(struct account *a, int64_t now_s)
{
	free_turn(a);
	take_turn(a, now_s);
}

static void begin(struct account *a, int64_t now_s)
{
	struct err err = { 0 };
	loop_unset(&a->timer);
	a->looked = true;
	a->verdict = DAV_OK;
	a->retry_after_s = 0;
	a->edition = 0;
	a->kind = CALENDAR_EVENTS;
	enum rc rc = editions(
		app_of(a)->desk.store, app_of(a)->desk.set, &a->editions, &a->n_editions, &err);
	if (rc != RC_OK) {
		a->verdict = DAV_ODD;
		a->why[0] = '\0';
		text_add(a->why, sizeof a->why, "%s", err.text);
	}
	take_turn(a, now_s);
}

static void fire(void *arg, int64_t now_s)
{
	begin(arg, now_s);
}

/* ---- settling ---- */

void account_settle(struct account *a)
{
	a->settling = true;
	a->share->owner.heard(a->share->owner.arg);
}

void account_heard(struct account *a)
{
	a->news = true;
	a->share->owner.heard(a->share->owner.arg);
}

static struct printed *find_printed(struct account *a, const char *edition)
{
	for (size_t i = 0; i < a->n_printed; i++)
		if (strcmp(a->printed[i].edition, edition) == 0)
			return &a->printed[i];
	return NULL;
}

/* Without memory for it there is a round more at the next news. */
void account_printed(struct account *a, const struct turn *t)
{
	struct printed *p = find_printed(a, t->edition.name);
	if (!p) {
		struct printed *more = mem_grow(a->printed, a->n_printed + 1, sizeof *more);
		if (!more)
			return;
		a->printed = more;
		p = &more[a->n_printed++];
		*p = (struct printed){ 0 };
		(void)snprintf(p->edition, sizeof p->edition, "%s", t->edition.name);
	}
	p->digest[t->kind] = t->plan.digest;
}

static enum rc one_differs(struct account *a, struct pages_source *source, const struct edition *e,
	bool *differs, struct err *err)
{
	struct pages *pages = NULL;
	struct printed *p = find_printed(a, e->name);
	enum rc rc = pages_of(source, e, &pages, err);
	for (int kind = CALENDAR_EVENTS; rc == RC_OK && kind <= CALENDAR_TODOS; kind++)
		if (edition_shows(e, (enum calendar_kind)kind))
			*differs = *differs || !p || p->digest[kind] != pages_digest(pages);
	pages_free(pages);
	return rc;
}

static enum rc differs_within(struct account *a, int64_t now_s, bool *differs, struct err *err)
{
	const struct desk *d = &app_of(a)->desk;
	struct edition *list = NULL;
	struct pages_source *source = NULL;
	size_t n = 0;
	enum rc rc = editions(d->store, d->set, &list, &n, err);
	if (rc == RC_OK)
		rc = pages_read(d->store, d->engine, d->set, d->lib, now_s, &source, err);
	for (size_t i = 0; rc == RC_OK && i < n && !*differs; i++)
		if (list[i].output == a->output)
			rc = one_differs(a, source, &list[i], differs, err);
	pages_source_free(source);
	mem_free(list);
	return rc;
}

void share_settled(struct share *s, int64_t now_s)
{
	for (size_t i = 0; i < s->n; i++) {
		struct account *a = &s->at[i];
		if (a->settling) {
			a->settling = false;
			a->news = true; /* for the collections that had their turn */
			share_put(a->turn, now_s);
		} else if (a->turn) {
			a->news = true;
		} else if (!a->looked || (a->failures == 0 && differs(a, now_s))) {
			begin(a, now_s);
		}
	}
}

/* ---- one address, one calendar ---- */

enum rc account_other(
	const struct turn *t, const char *url, char edition[EDITION_NAME], struct err *err)
{
	const struct account *a = t->account;
	struct collection *all = NULL;
	size_t n = 0;
	edition[0] = '\0';
	enum rc rc = store_collections(app_of(a)->desk.store, &all, &n, err);
	for (size_t i = 0; rc == RC_OK && i < n; i++) {
		bool self =
			all[i].kind == (int)t->kind && strcmp(all[i].edition, t->edition.name) == 0;
		if (self || strcmp(all[i].url, url) != 0)
			continue;
		for (size_t k = 0; k < a->n_editions; k++)
			if (strcmp(a->editions[k].name, all[i].edition) == 0 &&
				a->editions[k].output->server[0] &&
				edition_shows(&a->editions[k], (enum calendar_kind)all[i].kind))
				(void)snprintf(edition, EDITION_NAME, "%s", all[i].edition);
	}
	mem_free(all);
	return rc;
}

/* ---- making ---- */

static enum rc open_account(
	struct share *s, struct account *a, const struct output *o, struct err *err)
{
	const struct dav_at at = { .url = o->server,
		.ca_file = o->ca_file,
		.auth = (enum source_auth)o->auth,
		.user = o->user,
		.credential = o->credential,
		.limit_s = SHARE_LIMIT_S };
	*a = (struct account){ .share = s, .output = o, .timer = { .fire = fire, .arg = a } };
	enum rc rc = zone_new(o->zone[0] ? o->zone : s->owner.app->desk.set->zone, &a->zone, err);
	return rc == RC_OK ? dav_new(s->owner.fetch, &at, &a->dav, err) : rc;
}

static void close_account(struct account *a)
{
	loop_unset(&a->timer);
	dav_free(a->dav);
	free_turn(a);
	mem_free(a->editions);
	mem_free(a->printed);
	zone_free(a->zone);
}

enum rc share_new(const struct share_owner *owner, struct share **out, struct err *err)
{
	const struct settings *set = owner->app->desk.set;
	struct share *s = mem_new(1, sizeof *s);
	if (s)
		*s = (struct share){ .owner = *owner,
			.at = mem_new(set->n_outputs, sizeof *s->at) };
	if (!s || !s->at) {
		mem_free(s);
		return err_set(err, RC_MEM, "calendars: out of memory");
	}
	for (size_t i = 0; !owner->app->replay && i < set->n_outputs; i++) {
		const struct output *o = &set->outputs[i];
		struct err why = { 0 };
		if (!o->server[0])
			continue;
		if (open_account(s, &s->at[s->n], o, &why) == RC_OK) {
			s->n++;
			continue;
		}
		close_account(&s->at[s->n]);
		log_line(owner->app->log, LEVEL_ERROR, o->name,
			"output \"%s\": %s, its server is left alone until the next reload",
			o->name, why.text);
	}
	*out = s;
	return RC_OK;
}

bool share_any(const struct share *s)
{
	return s && s->n;
}

void share_free(struct share *s)
{
	if (!s)
		return;
	for (size_t i = 0; i < s->n; i++)
		close_account(&s->at[i]);
	mem_free(s->at);
	mem_free(s);
}

/* ---- at once ---- */

static bool is_busy(const struct share *s)
{
	bool busy = false;
	for (size_t i = 0; i < s->n; i++)
		busy = busy || s->at[i].turn;
	return busy;
}

enum rc share_now(struct share *s, int64_t now_s, struct err *err)
{
	enum rc rc = RC_OK;
	s->once = true;
	for (size_t i = 0; i < s->n; i++)
		if (!s->at[i].turn)
			begin(&s->at[i], now_s);
	if (is_busy(s))
		rc = loop_run(s->owner.loop, 0, err);
	if (rc == RC_OK && is_busy(s))
		rc = err_set(err, RC_IO, "calendars on servers: stopped before the end");
	for (size_t i = 0; rc == RC_OK && i < s->n; i++)
		if (s->at[i].failures)
			rc = err_set(err, RC_IO, "output \"%s\": %s", s->at[i].output->name,
				s->at[i].why);
	s->once = false;
	return rc;
}
