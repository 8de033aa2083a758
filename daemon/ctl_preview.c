/* What would go to whom, by calendar and by mail, without anything going there: `seasonctl calendars --preview`. */
#include "daemon/ctl.h"

#include <string.h>

#include "core/mem.h"
#include "daemon/edition.h"
#include "daemon/pages.h"

/* ---- where to, and what for whom ---- */

static const char *kinds_of(const struct edition *e)
{
	bool todos = edition_shows(e, CALENDAR_TODOS), events = edition_shows(e, CALENDAR_EVENTS);
	return todos && events ? "to-dos and events" : todos ? "to-dos" : "events";
}

static void print_where(const struct edition *e)
{
	const struct output *o = e->output;
	if (o->folder[0])
		(void)printf("    into folder %s\n", o->folder);
	if (o->server[0]) {
		const char *host = strstr(o->server, "://");
		host = host ? host + 3 : o->server;
		(void)printf("    to server %.*s\n", (int)strcspn(host, "/?#"), host);
	}
}

static void print_what(const struct edition *e)
{
	static const char *const privacies[] = { "", ", marked private", ", marked confidential" };
	const struct output *o = e->output;
	(void)printf("    shows ");
	if (e->client[0])
		(void)printf("only instruments of client %s", e->client);
	if (e->place[0])
		(void)printf("%s place %s", e->client[0] ? " in" : "only what is about", e->place);
	if (!e->client[0] && !e->place[0])
		(void)printf("everything");
	(void)printf(" as %s, in %s, %s", kinds_of(e), e->zone,
		e->units == BENCH_INCH ? "inches" : "mm");
	if (o->language[0])
		(void)printf(", as %s", o->language);
	(void)printf("%s\n", privacies[o->privacy]);
}

/* ---- entries ---- */

/* What of its calendars an entry is in; NULL: in none of them. */
static const char *kind_of(const struct edition *e, const struct calendar_entry *entry)
{
	bool todo = edition_shows(e, CALENDAR_TODOS) && !entry->event_only;
	bool event = edition_shows(e, CALENDAR_EVENTS) && entry->status == ENTRY_OPEN;
	return todo && event ? "to-do, event" : todo ? "to-do" : event ? "event" : NULL;
}

static void print_days(const struct calendar_entry *entry)
{
	struct civil from = civil_at(entry->start_day * DAY_S);
	struct civil by = civil_at(entry->due_day * DAY_S);
	(void)printf("%04d-%02d-%02d", from.year, from.month, from.day);
	if (entry->due_day > entry->start_day)
		(void)printf(" to %04d-%02d-%02d", by.year, by.month, by.day);
}

static void print_entry(
	const struct edition *e, const struct zone *zone, const struct calendar_entry *entry)
{
	char when[24];
	const char *kind = kind_of(e, entry);
	if (!kind)
		return;
	(void)printf("    %-12s  ", kind);
	if (entry->length_s > 0) {
		zone_print_minute(zone, entry->at_s, when, sizeof when);
		(void)printf("%s, %lld min%s", when, (long long)entry->length_s / 60,
			entry->weekly_zone ? ", every week" : "");
	} else
		print_days(entry);
	(void)printf("  %s%s\n", entry->summary, entry->status == ENTRY_DONE ? " (done)" : "");
	if (entry->alarm_s == TIME_NEVER || entry->status != ENTRY_OPEN)
		return;
	zone_print_minute(zone, entry->alarm_s, when, sizeof when);
	(void)printf("    %-12s  reminder %s\n", "", when);
}

static enum rc print_edition(struct ctl *c, struct pages_source *source, const struct edition *e)
{
	struct pages *pages = NULL;
	enum rc rc = pages_of(source, e, &pages, c->err);
	if (rc != RC_OK)
		return rc;
	const struct zone *zone = engine_output_zone(c->desk.engine, e->output);
	(void)printf("%s: %s\n", e->name, e->title);
	print_where(e);
	print_what(e);
	for (size_t i = 0; i < pages->n; i++)
		print_entry(e, zone, &pages->at[i].entry);
	if (pages->n == 0)
		(void)puts("    nothing is due");
	pages_free(pages);
	return RC_OK;
}

/* A client whom an output names and nobody has entered has no calendar. */
static void print_missing(struct ctl *c, const struct edition *list, size_t n)
{
	for (size_t i = 0; i < c->desk.set->n_outputs; i++) {
		const struct output *o = &c->desk.set->outputs[i];
		bool any = false;
		for (size_t k = 0; k < n; k++)
			any |= list[k].output == o;
		if (!any && o->client[0])
			(void)printf("%s: client %s is not in the records: no calendar\n", o->name,
				o->client);
		else if (!any)
			(void)printf("%s: no clients are in the records: no calendar\n", o->name);
	}
	if (c->desk.set->n_outputs == 0)
		(void)puts("the settings have no outputs: no calendars");
}

static enum rc print_editions(struct ctl *c)
{
	struct desk *d = &c->desk;
	struct edition *list = NULL;
	struct pages_source *source = NULL;
	size_t n = 0;
	enum rc rc = editions(d->store, d->set, &list, &n, c->err);
	if (rc == RC_OK)
		rc = pages_read(d->store, d->engine, d->set, d->lib, c->now_s, &source, c->err);
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		rc = print_edition(c, source, &list[i]);
	if (rc == RC_OK)
		print_missing(c, list, n);
	pages_source_free(source);
	mem_free(list);
	return rc;
}

/* Everything is brought to now as by a settling, shown, and taken back. */
enum rc ctl_preview(struct ctl *c)
{
	struct desk *d = &c->desk;
	if (c->at)
		c->now_s = c->at_s;
	enum rc rc = store_begin(d->store, c->err);
	if (rc != RC_OK)
		return rc;
	rc = engine_follow_within(d->engine, c->now_s, c->err);
	if (rc == RC_OK && !c->at)
		rc = agenda_judge(d->store, d->engine, d->set, d->lib, c->now_s, NULL, c->err);
	if (rc == RC_OK)
		rc = print_editions(c);
	if (rc == RC_OK)
		rc = ctl_mail_preview(c);
	store_rollback(d->store);
	return rc;
}
