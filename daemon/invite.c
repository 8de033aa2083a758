#include "daemon/invite.h"

#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/address.h"
#include "daemon/calendar.h"
#include "daemon/pages.h"
#include "daemon/phrase.h"
#include "daemon/text.h"

enum {
	LENGTH_S = 3600, /* of an appointment that names none */
	AHEAD_DAYS = 2, /* a day is proposed at least so far ahead */
	WORK_SIZE = 4000,
	TEXT_SIZE = 6000
};

struct round {
	struct desk *d;
	int64_t now_s;
	const struct zone *zone;
	size_t n_items, n_visits, n_clients;
	struct item *items;
	struct visit *visits;
	struct client *clients;
	size_t written;
};

/* When a visit is, as it is told: length_s 0 is a day, start_s its number times DAY_S. */
struct meeting {
	int64_t start_s, length_s;
};

/* ---- when ---- */

static int64_t end_of(const struct round *r, const struct meeting *m)
{
	return m->length_s ? m->start_s + m->length_s
			   : zone_day_start_s(r->zone, civil_floor(m->start_s, DAY_S) + 1);
}

/* What is proposed now; a day told before holds as long as it lies in the window, and while a later one would not be
 * better. */
static struct meeting propose(
	const struct round *r, const struct visit *v, const struct invitation *told)
{
	if (v->at_s != TIME_NEVER)
		return (struct meeting){ v->at_s, v->length_s > 0 ? v->length_s : LENGTH_S };
	int64_t from = zone_day(r->zone, v->from_s), by = zone_day(r->zone, v->by_s);
	int64_t soonest = zone_day(r->zone, r->now_s) + AHEAD_DAYS;
	int64_t day = from > soonest ? from : soonest;
	if (told && told->state == INVITED && told->length_s == 0) {
		int64_t before = civil_floor(told->start_s, DAY_S);
		if (before >= from && (before <= by || day >= before))
			day = before;
	}
	return (struct meeting){ day * DAY_S, 0 };
}

static void print_meeting(const struct round *r, const struct visit *v, const struct meeting *m,
	char *buf, size_t size)
{
	char from[24], to[24];
	if (m->length_s) {
		zone_print_minute(r->zone, m->start_s, from, sizeof from);
		zone_print_minute(r->zone, m->start_s + m->length_s, to, sizeof to);
		(void)snprintf(buf, size, "%s to %s (%s)", from, strchr(to, ' ') + 1,
			zone_name_ref(r->zone));
		return;
	}
	zone_print_day(r->zone, v->from_s, from, sizeof from);
	zone_print_day(r->zone, v->by_s, to, sizeof to);
	if (zone_day(r->zone, v->by_s) < m->start_s / DAY_S)
		(void)snprintf(buf, size, "soon, as it was due by %s", to);
	else
		(void)snprintf(buf, size, "between %s and %s", from, to);
}

static void print_start(const struct round *r, const struct meeting *m, char *buf, size_t size)
{
	struct civil c = civil_at(m->start_s);
	if (m->length_s)
		zone_print_minute(r->zone, m->start_s, buf, size);
	else
		(void)snprintf(buf, size, "%04d-%02d-%02d", c.year, c.month, c.day);
}

/* ---- words ---- */

/* What is open of the visit, a line each. */
static void print_work(const struct round *r, const struct visit *v, char *buf, size_t size)
{
	char title[256], reasons[PHRASE_SIZE];
	buf[0] = '\0';
	for (size_t i = 0; i < r->n_items; i++) {
		const struct item *it = &r->items[i];
		if (it->visit != v->id || it->state != ITEM_OPEN)
			continue;
		pages_title(r->d->engine, r->d->set, r->d->lib, it, title, sizeof title);
		phrase_show(it->reasons, r->d->set->units, "", r->zone, reasons, sizeof reasons);
		text_add(buf, size, "- %s: %s.\n", title, reasons);
	}
}

static const char *bench_of(const struct round *r)
{
	return r->d->set->bench_name[0] ? r->d->set->bench_name : "the workshop";
}

static void print_request(const struct round *r, const struct visit *v, const struct meeting *m,
	char *buf, size_t size)
{
	char when[96], work[WORK_SIZE];
	print_meeting(r, v, m, when, sizeof when);
	print_work(r, v, work, sizeof work);
	if (m->length_s)
		(void)snprintf(buf, size,
			"%s would like to see your instruments for their seasonal care:\n%s\n\n"
			"%s\nPlease accept or decline.\n",
			bench_of(r), when, work);
	else
		(void)snprintf(buf, size,
			"%s would like to see your instruments for their seasonal care, %s.\n"
			"Please answer with a day and a time that suit you; the first day that "
			"suits us is only a proposal.\n\n%s",
			bench_of(r), when, work);
}

static const char stop_words[] =
	"\nYou get this because you agreed to be written to about your instruments. To end it, "
	"answer with the one word stop as subject.\n";

static void print_letter(
	const struct round *r, const struct client *c, const char *about, char *buf, size_t size)
{
	(void)snprintf(buf, size, "To %s\n\n%s\n%s\n%s", text_or(c->title, c->name), about,
		bench_of(r), stop_words);
}

static void print_subject(const struct round *r, enum letter_kind kind, const struct meeting *m,
	int sequence, char *buf, size_t size)
{
	char when[32];
	print_start(r, m, when, sizeof when);
	if (kind == LETTER_CANCEL)
		(void)snprintf(buf, size, "Called off: seasonal visit, %s", when);
	else if (m->length_s)
		(void)snprintf(
			buf, size, "%sSeasonal visit, %s", sequence ? "New time: " : "", when);
	else
		(void)snprintf(buf, size, "%sSeasonal visit: which day suits you, from %s on?",
			sequence ? "New day: " : "", when);
}

/* ---- letters ---- */

static enum rc print_calendar(const struct round *r, enum letter_kind kind, const struct visit *v,
	const struct client *c, const struct invitation *told, const char *about, char **bytes,
	size_t *n, struct err *err)
{
	const struct settings *set = r->d->set;
	char summary[TITLE_SIZE + 40];
	(void)snprintf(summary, sizeof summary, "Seasonal visit%s%s",
		set->bench_name[0] ? ": " : "", set->bench_name);
	int64_t day = told->length_s ? zone_day(r->zone, told->start_s)
				     : civil_floor(told->start_s, DAY_S);
	const struct calendar_entry e = {
		.uid = v->uid,
		.summary = summary,
		.description = about,
		.location = c->address,
		.start_day = day,
		.due_day = day,
		.alarm_s = TIME_NEVER,
		.sequence = told->sequence,
		.created_s = v->opened_s,
		.modified_s = r->now_s,
		.status = kind == LETTER_CANCEL ? ENTRY_CANCELLED : ENTRY_OPEN,
		.at_s = told->length_s ? told->start_s : 0,
		.length_s = told->length_s,
		.event_only = true,
	};
	return calendar_message(kind == LETTER_CANCEL ? METHOD_CANCEL : METHOD_REQUEST, &e,
		set->mail.from, set->bench_name, c->email, text_or(c->title, c->name), bytes, n,
		err);
}

static enum rc write_letter(struct round *r, enum letter_kind kind, const struct visit *v,
	const struct client *c, const struct invitation *told, struct err *err)
{
	char about[TEXT_SIZE], text[TEXT_SIZE + 1000];
	const struct meeting m = { told->start_s, told->length_s };
	struct letter l = { .kind = (int)kind,
		.client = c->id,
		.visit = v->id,
		.made_s = r->now_s,
		.next_s = r->now_s,
		.sent_s = TIME_NEVER };
	char *calendar = NULL, *body = NULL;
	size_t n = 0, len = 0;
	print_subject(r, kind, &m, told->sequence, l.subject, sizeof l.subject);
	if (kind == LETTER_CANCEL)
		(void)snprintf(about, sizeof about,
			"The seasonal visit to your instruments is called off.\n");
	else
		print_request(r, v, &m, about, sizeof about);
	print_letter(r, c, about, text, sizeof text);
	(void)snprintf(l.recipient, sizeof l.recipient, "%s", c->email);
	enum rc rc = letter_id(r->d->set->mail.from, l.message_id, err);
	if (rc == RC_OK)
		rc = print_calendar(r, kind, v, c, told, about, &calendar, &n, err);
	const struct letter_parts parts = {
		.from = r->d->set->mail.from,
		.from_name = r->d->set->bench_name,
		.to = c->email,
		.to_name = c->title,
		.subject = l.subject,
		.text = text,
		.message_id = l.message_id,
		.date_s = r->now_s,
		.can_stop = true,
		.calendar = calendar,
		.calendar_n = n,
		.method = kind == LETTER_CANCEL ? "CANCEL" : "REQUEST",
	};
	if (rc == RC_OK)
		rc = letter_write(&parts, &body, &len, err);
	if (rc == RC_OK)
		rc = store_letter_add(r->d->store, &l, body, err);
	r->written += rc == RC_OK;
	mem_free(calendar);
	mem_free(body);
	return rc;
}

/* ---- decisions ---- */

/* What waits of it is overtaken by what is told now. */
static enum rc overtake(struct round *r, const struct visit *v, struct err *err)
{
	static const char why[] = "overtaken by a newer letter about the same visit";
	int64_t n = 0;
	enum rc rc = store_letters_drop(r->d->store, LETTER_REQUEST, v->id, why, &n, err);
	return rc == RC_OK ? store_letters_drop(r->d->store, LETTER_CANCEL, v->id, why, &n, err)
			   : rc;
}

/* An answer is to what was told: the next telling asks anew. */
static enum rc ask_anew(struct round *r, struct visit *v, struct err *err)
{
	if (v->answer == ANSWER_NONE)
		return RC_OK;
	v->answer = ANSWER_NONE;
	v->answered_s = TIME_NEVER;
	return state_visit_put(r->d->store, v, err);
}

static enum rc tell_open(struct round *r, struct visit *v, const struct client *c,
	struct invitation *told, bool found, struct err *err)
{
	const struct meeting m = propose(r, v, found ? told : NULL);
	bool same = found && told->state == INVITED && told->start_s == m.start_s &&
		    told->length_s == m.length_s && address_same(told->recipient, c->email);
	if (same || end_of(r, &m) <= r->now_s)
		return RC_OK;
	*told = (struct invitation){ .visit = v->id,
		.sequence = found ? told->sequence + 1 : 0,
		.start_s = m.start_s,
		.length_s = m.length_s,
		.state = INVITED,
		.answered_stamp_s = TIME_NEVER };
	(void)snprintf(told->recipient, sizeof told->recipient, "%s", c->email);
	enum rc rc = overtake(r, v, err);
	if (rc == RC_OK && found)
		rc = ask_anew(r, v, err);
	if (rc == RC_OK)
		rc = store_invitation_put(r->d->store, told, err);
	return rc == RC_OK ? write_letter(r, LETTER_REQUEST, v, c, told, err) : rc;
}

/* Of a visit that has taken place, or lies behind, nothing is called off. */
static enum rc tell_closed(struct round *r, const struct visit *v, const struct client *c,
	struct invitation *told, struct err *err)
{
	const struct meeting m = { told->start_s, told->length_s };
	bool took_place = v->state == ITEM_DONE && m.start_s <= v->closed_s;
	bool reached = false;
	if (took_place || end_of(r, &m) <= r->now_s || !address_same(told->recipient, c->email))
		return RC_OK;
	enum rc rc = overtake(r, v, err);
	if (rc == RC_OK)
		rc = store_letters_reached(r->d->store, v->id, &reached, err);
	told->state = CALLED_OFF;
	told->sequence += reached;
	if (rc == RC_OK)
		rc = store_invitation_put(r->d->store, told, err);
	return rc == RC_OK && reached ? write_letter(r, LETTER_CANCEL, v, c, told, err) : rc;
}

static enum rc tell_visit(struct round *r, struct visit *v, struct err *err)
{
	const struct client *c = record_client_by_id(r->clients, r->n_clients, v->client);
	struct invitation told;
	bool found = false;
	if (!c || !c->agreed_s || !c->email[0])
		return RC_OK;
	enum rc rc = store_invitation(r->d->store, v->id, &told, &found, err);
	if (rc == RC_OK && v->state == ITEM_OPEN)
		return tell_open(r, v, c, &told, found, err);
	return rc == RC_OK && found && told.state == INVITED ? tell_closed(r, v, c, &told, err)
							     : rc;
}

enum rc invite_all(struct desk *d, int64_t now_s, size_t *written, struct err *err)
{
	struct round r = { .d = d, .now_s = now_s, .zone = engine_zone(d->engine, NULL) };
	if (!d->set->mail.invite)
		return RC_OK;
	enum rc rc = state_visits(d->store, now_s - LETTERS_KEPT_S, &r.visits, &r.n_visits, err);
	if (rc == RC_OK)
		rc = state_items(d->store, TIME_NEVER, &r.items, &r.n_items, err);
	if (rc == RC_OK)
		rc = record_clients(d->store, &r.clients, &r.n_clients, err);
	for (size_t i = 0; rc == RC_OK && i < r.n_visits; i++)
		rc = tell_visit(&r, &r.visits[i], err);
	mem_free(r.visits);
	mem_free(r.items);
	mem_free(r.clients);
	*written += r.written;
	return rc;
}

/* ---- before one goes out ---- */

static const char *client_forbids(
	const struct desk *d, const struct letter *l, const struct client *all, size_t n)
{
	const struct client *c = NULL;
	for (size_t i = 0; i < n; i++)
		if (all[i].id == l->client)
			c = &all[i];
	if (!c)
		return "the client is not in the records any more";
	if (!c->agreed_s)
		return "the client does not agree to mail any more";
	if (!address_same(c->email, l->recipient))
		return "the client has another address now";
	return d->set->mail.invite ? NULL : "clients are not invited any more";
}

static enum rc untell(struct desk *d, const struct letter *l, struct err *err)
{
	struct invitation told;
	bool found = false;
	enum rc rc = store_invitation(d->store, l->visit, &told, &found, err);
	if (rc != RC_OK || !found || told.state != INVITED || l->kind != LETTER_REQUEST)
		return rc;
	told.state = UNTOLD;
	return store_invitation_put(d->store, &told, err);
}

enum rc invite_allowed(struct desk *d, const struct letter *l, const char **why, struct err *err)
{
	struct client *clients = NULL;
	size_t n = 0;
	*why = NULL;
	if (l->kind == LETTER_DIGEST) {
		if (!address_same(d->set->mail.digest_to, l->recipient))
			*why = "digest_to is another address now";
		return RC_OK;
	}
	enum rc rc = record_clients(d->store, &clients, &n, err);
	if (rc == RC_OK)
		*why = client_forbids(d, l, clients, n);
	mem_free(clients);
	return rc == RC_OK && *why ? untell(d, l, err) : rc;
}
