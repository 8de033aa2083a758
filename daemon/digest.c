#include "daemon/digest.h"

#include <stdio.h>
#include <string.h>

#include "core/finding.h"
#include "core/mem.h"
#include "daemon/invite.h"
#include "daemon/store_post.h"
#include "daemon/pages.h"
#include "daemon/text.h"
#include "daemon/when.h"

enum { WEEK_DAYS = 7, WEEK_H = 7 * 24, SHOWN_MAX = 200 /* of any list */ };

struct digest {
	struct desk *d;
	int64_t now_s, from_s;
	const struct zone *zone;
	char *buf;
	size_t size;
	size_t shown; /* lines under the heading of now */
};

/* ---- when ---- */

/* Of the week that begins `weeks` after the one with now_s in it. */
static int64_t due_in(const char *digest, const struct zone *zone, int64_t now_s, int weeks)
{
	int weekday = 0;
	int32_t clock_s = 0;
	(void)when_weekly(digest, &weekday, &clock_s);
	int64_t today = zone_day(zone, now_s);
	int64_t monday =
		civil_floor(today + 3, WEEK_DAYS) * WEEK_DAYS - 3; /* 1970-01-01: Thursday */
	int64_t day = monday + weekday + (int64_t)weeks * WEEK_DAYS;
	return zone_from_wall(zone, day * DAY_S + clock_s).first_s;
}

int64_t digest_due_s(const char *digest, const struct zone *zone, int64_t now_s)
{
	int64_t this_week = due_in(digest, zone, now_s, 0);
	return this_week <= now_s ? this_week : due_in(digest, zone, now_s, -1);
}

int64_t digest_next_s(const char *digest, const struct zone *zone, int64_t now_s)
{
	int64_t this_week = due_in(digest, zone, now_s, 0);
	return this_week > now_s ? this_week : due_in(digest, zone, now_s, 1);
}

/* ---- words ---- */

static void heading(struct digest *g, const char *words)
{
	g->shown = 0;
	text_add(g->buf, g->size, "\n%s\n", words);
}

/* Whether there is room for one line more under this heading. */
static bool one_more(struct digest *g)
{
	if (g->shown == SHOWN_MAX)
		text_add(g->buf, g->size, "  and more\n");
	return g->shown++ < SHOWN_MAX;
}

static void end_list(struct digest *g, const char *none)
{
	if (g->shown == 0)
		text_add(g->buf, g->size, "  %s\n", none);
}

static void print_item(struct digest *g, const struct item *it)
{
	char title[256], by[24];
	pages_title(g->d->engine, g->d->set, g->d->lib, it, title, sizeof title);
	zone_print_day(g->zone, it->by_s, by, sizeof by);
	text_add(g->buf, g->size, "  #%lld  by %s  %s\n", (long long)it->id, by, title);
}

/* Items come in order of their last day. */
static void print_open(struct digest *g, const struct item *items, size_t n)
{
	for (int weight = CARE_PRESSING; weight >= CARE_LEISURE; weight--) {
		char words[64];
		size_t many = 0;
		for (size_t i = 0; i < n; i++)
			many += items[i].state == ITEM_OPEN && items[i].weight == weight;
		if (!many)
			continue;
		(void)snprintf(words, sizeof words, "Open, %s",
			care_weight_words((enum care_weight)weight));
		heading(g, words);
		for (size_t i = 0; i < n; i++)
			if (items[i].state == ITEM_OPEN && items[i].weight == weight && one_more(g))
				print_item(g, &items[i]);
	}
}

static const char *client_title(const struct client *clients, size_t n, int64_t id)
{
	const struct client *c = record_client_by_id(clients, n, id);
	return c ? text_or(c->title, c->name) : "client";
}

static enum rc print_visit(
	struct digest *g, const struct visit *v, const char *who, struct err *err)
{
	char from[24], by[24];
	struct invitation told;
	bool found = false;
	enum rc rc = store_invitation(g->d->store, v->id, &told, &found, err);
	if (rc != RC_OK)
		return rc;
	if (v->at_s != TIME_NEVER) {
		zone_print_minute(g->zone, v->at_s, from, sizeof from);
		text_add(g->buf, g->size, "  %s: %s", who, from);
	} else {
		zone_print_day(g->zone, v->from_s, from, sizeof from);
		zone_print_day(g->zone, v->by_s, by, sizeof by);
		text_add(g->buf, g->size, "  %s: no appointment, between %s and %s", who, from, by);
	}
	bool told_of = found && told.state == INVITED;
	text_add(g->buf, g->size, ", %s\n",
		v->answer != ANSWER_NONE || told_of ? agenda_answer_words(v->answer)
						    : "not invited by mail");
	return RC_OK;
}

static enum rc print_visits(struct digest *g, struct err *err)
{
	struct visit *visits = NULL;
	struct client *clients = NULL;
	size_t n = 0, n_clients = 0;
	enum rc rc = state_visits(g->d->store, TIME_NEVER, &visits, &n, err);
	if (rc == RC_OK)
		rc = record_clients(g->d->store, &clients, &n_clients, err);
	if (rc == RC_OK && n)
		heading(g, "Visits");
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		if (one_more(g))
			rc = print_visit(g, &visits[i],
				client_title(clients, n_clients, visits[i].client), err);
	mem_free(visits);
	mem_free(clients);
	return rc;
}

/* Least, mean and most of the hours that are known. */
struct spread {
	double low, high, sum;
	size_t n;
};

static void spread_add(struct spread *s, double v)
{
	s->low = s->n == 0 || v < s->low ? v : s->low;
	s->high = s->n == 0 || v > s->high ? v : s->high;
	s->sum += v;
	s->n++;
}

static void print_spreads(
	struct digest *g, const char *who, const struct spread *rh, const struct spread *t)
{
	if (rh->n == 0) {
		text_add(g->buf, g->size, "  %s: no readings\n", who);
		return;
	}
	text_add(g->buf, g->size, "  %s: %.0f to %.0f %% RH, mean %.0f", who, rh->low, rh->high,
		rh->sum / (double)rh->n);
	if (t->n)
		text_add(g->buf, g->size, "; %.1f to %.1f degC", t->low, t->high);
	if (rh->n < WEEK_H)
		text_add(g->buf, g->size, " (%zu of %d hours)", rh->n, WEEK_H);
	text_add(g->buf, g->size, "\n");
}

static enum rc print_air(struct digest *g, struct err *err)
{
	const struct settings *set = g->d->set;
	int64_t to = civil_floor(g->now_s, HOUR_S);
	enum rc rc = RC_OK;
	heading(g, "Air over the last week");
	for (size_t i = 0; rc == RC_OK && i < set->n_places; i++) {
		const struct place *p = &set->places[i];
		const struct track_source *source = engine_source(g->d->engine, p->name);
		struct track track = { 0 };
		struct spread rh = { 0 }, t = { 0 };
		if (!settings_has_sensor(set, p->name) || !source || !one_more(g))
			continue;
		rc = track_load(g->d->store, source, to - WEEK_H, to, &track, err);
		for (size_t k = 0; rc == RC_OK && k < track.n; k++) {
			if (track.at[k].mark != TRACK_KNOWN)
				continue;
			spread_add(&rh, track.at[k].rh_pct);
			if (!track.at[k].t_assumed)
				spread_add(&t, track.at[k].t_degc);
		}
		if (rc == RC_OK)
			print_spreads(g, text_or(p->title, p->name), &rh, &t);
		track_done(&track);
	}
	return rc;
}

static void print_closed(struct digest *g, const struct item *items, size_t n)
{
	char title[256], day[24];
	for (size_t i = 0; i < n; i++) {
		const struct item *it = &items[i];
		bool counts = it->state == ITEM_DONE || it->state == ITEM_PUT_ASIDE;
		if (!counts || it->closed_s < g->from_s || !one_more(g))
			continue;
		pages_title(g->d->engine, g->d->set, g->d->lib, it, title, sizeof title);
		zone_print_day(g->zone, it->closed_s, day, sizeof day);
		text_add(g->buf, g->size, "  %s  %s%s\n", day, title,
			it->state == ITEM_DONE ? "" : " (put aside)");
	}
}

static enum rc print_findings(struct digest *g, int kind, struct err *err)
{
	struct finding *all = NULL;
	size_t n = 0;
	char day[24];
	enum rc rc = record_findings(g->d->store, kind, NULL, &all, &n, err);
	for (size_t i = 0; rc == RC_OK && i < n; i++) {
		if (all[i].t_s < g->from_s || all[i].t_s > g->now_s || !one_more(g))
			continue;
		zone_print_day(g->zone, all[i].t_s, day, sizeof day);
		text_add(g->buf, g->size, "  %s  %s: %s\n", day, all[i].subject,
			finding_words()[all[i].kind].name);
	}
	mem_free(all);
	return rc;
}

static void print_complaint(void *arg, const char *who, const char *why)
{
	struct digest *g = arg;
	if (one_more(g))
		text_add(g->buf, g->size, "  %s: %s\n", who, why);
}

static enum rc print_trouble(struct digest *g, struct err *err)
{
	struct letter *letters = NULL;
	size_t n = 0;
	heading(g, "Out of order");
	enum rc rc = store_complaints(g->d->store, print_complaint, g, err);
	if (rc == RC_OK)
		rc = store_letters(g->d->store, g->from_s - LETTER_LIFE_S, &letters, &n, err);
	for (size_t i = 0; rc == RC_OK && i < n; i++) {
		const struct letter *l = &letters[i];
		if ((l->state == LETTER_REFUSED || l->state == LETTER_GIVEN_UP) && one_more(g))
			text_add(g->buf, g->size, "  letter to %s did not arrive: %s\n",
				l->recipient, l->error);
	}
	mem_free(letters);
	if (rc == RC_OK)
		end_list(g, "nothing");
	return rc;
}

static enum rc print_all(struct digest *g, struct err *err)
{
	struct item *items = NULL;
	size_t n = 0;
	char from[24], to[24];
	zone_print_day(g->zone, g->from_s, from, sizeof from);
	zone_print_day(g->zone, g->now_s, to, sizeof to);
	text_add(g->buf, g->size, "%s\n%s to %s\n",
		g->d->set->bench_name[0] ? g->d->set->bench_name : "Care of instruments", from, to);
	enum rc rc = state_items(g->d->store, g->from_s, &items, &n, err);
	if (rc == RC_OK)
		print_open(g, items, n);
	if (rc == RC_OK)
		rc = print_visits(g, err);
	if (rc == RC_OK)
		rc = print_air(g, err);
	if (rc == RC_OK) {
		heading(g, "Done");
		print_closed(g, items, n);
		rc = print_findings(g, CARE_OF_INSTRUMENT, err);
	}
	if (rc == RC_OK)
		rc = print_findings(g, CARE_OF_SENSOR, err);
	if (rc == RC_OK)
		end_list(g, "nothing");
	mem_free(items);
	return rc == RC_OK ? print_trouble(g, err) : rc;
}

static enum rc print_text(struct desk *d, int64_t now_s, char *buf, size_t size, struct err *err)
{
	struct digest g = { .d = d,
		.now_s = now_s,
		.from_s = now_s - WEEK_DAYS * DAY_S,
		.zone = engine_zone(d->engine, NULL),
		.buf = buf,
		.size = size };
	buf[0] = '\0';
	enum rc rc = print_all(&g, err);
	if (rc == RC_OK)
		text_add(buf, size,
			"\nThis goes out at %s, as the group mail of the settings says; digest_to "
			"left out ends it.\n",
			d->set->mail.digest);
	return rc;
}

/* ---- the letter ---- */

static enum rc add_letter(struct desk *d, int64_t now_s, const char *text, struct err *err)
{
	const struct mail *m = &d->set->mail;
	char day[24], *body = NULL;
	size_t len = 0;
	struct letter l = {
		.kind = LETTER_DIGEST, .made_s = now_s, .next_s = now_s, .sent_s = TIME_NEVER
	};
	zone_print_day(engine_zone(d->engine, NULL), now_s, day, sizeof day);
	(void)snprintf(l.subject, sizeof l.subject, "Instruments, week to %s", day);
	(void)snprintf(l.recipient, sizeof l.recipient, "%s", m->digest_to);
	enum rc rc = letter_id(m->from, l.message_id, err);
	const struct letter_parts parts = {
		.from = m->from,
		.from_name = d->set->bench_name,
		.to = m->digest_to,
		.to_name = "",
		.subject = l.subject,
		.text = text,
		.message_id = l.message_id,
		.date_s = now_s,
	};
	if (rc == RC_OK)
		rc = letter_write(&parts, &body, &len, err);
	if (rc == RC_OK)
		rc = store_letter_add(d->store, &l, body, err);
	mem_free(body);
	return rc;
}

enum rc digest_write(struct desk *d, int64_t now_s, size_t *written, struct err *err)
{
	int64_t last = TIME_NEVER, dropped = 0;
	if (!d->set->mail.digest_to[0])
		return RC_OK;
	int64_t due = digest_due_s(d->set->mail.digest, engine_zone(d->engine, NULL), now_s);
	enum rc rc = store_digest_due(d->store, &last, err);
	if (rc != RC_OK || (last != TIME_NEVER && last >= due))
		return rc;
	rc = store_digest_due_put(d->store, due, err);
	if (rc != RC_OK || last == TIME_NEVER)
		return rc;
	char *text = mem_new(DIGEST_SIZE, 1);
	if (!text)
		return err_set(err, RC_MEM, "digest: out of memory");
	rc = print_text(d, now_s, text, DIGEST_SIZE, err);
	if (rc == RC_OK)
		rc = store_letters_drop(
			d->store, LETTER_DIGEST, 0, "overtaken by a newer digest", &dropped, err);
	if (rc == RC_OK)
		rc = add_letter(d, now_s, text, err);
	*written += rc == RC_OK;
	mem_free(text);
	return rc;
}
