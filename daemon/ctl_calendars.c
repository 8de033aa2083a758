/* The calendars that are made, and how it stands with those on servers: `seasonctl calendars`. */
#include "daemon/ctl.h"

#include <string.h>

#include "core/mem.h"
#include "daemon/edition.h"
#include "daemon/pages.h"
#include "daemon/store_share.h"

static const char *const kind_words[] = {
	[CALENDAR_EVENTS] = "events", [CALENDAR_TODOS] = "to-dos"
};

/* ---- on a server ---- */

static void print_time(const struct ctl *c, const char *words, int64_t t_s)
{
	char when[24];
	if (t_s == TIME_NEVER) {
		(void)printf("%s never", words);
		return;
	}
	zone_print_minute(engine_zone(c->desk.engine, NULL), t_s, when, sizeof when);
	(void)printf("%s %s", words, when);
}

static bool is_waiting(const struct resource *r)
{
	return r->state == RESOURCE_KEPT && (!r->href[0] || r->trying);
}

static void print_counts(const struct resource *r, size_t n)
{
	static const char *const words[] = { "in step", "elsewhere", "unwanted", "stuck" };
	size_t count[4] = { 0 }, waiting = 0;
	for (size_t i = 0; i < n; i++) {
		waiting += is_waiting(&r[i]);
		count[r[i].state] += !is_waiting(&r[i]);
	}
	(void)printf(
		"        %zu %s, %zu waiting", count[RESOURCE_KEPT], words[RESOURCE_KEPT], waiting);
	for (int i = RESOURCE_ELSEWHERE; i <= RESOURCE_STUCK; i++)
		if (count[i])
			(void)printf(", %zu %s", count[i], words[i]);
	(void)puts("");
}

static enum rc print_outcome(struct ctl *c, const struct resource *r)
{
	struct item it;
	bool found = false;
	char title[SUMMARY_SIZE] = "visit or round";
	enum rc rc = state_item_by_uid(c->desk.store, r->uid, &it, &found, c->err);
	if (rc != RC_OK)
		return rc;
	if (found)
		pages_title(c->desk.engine, c->desk.set, c->desk.lib, &it, title, sizeof title);
	(void)printf("        %s, %s:\n            %s\n", r->uid, title, r->outcome);
	return RC_OK;
}

static enum rc print_entries(struct ctl *c, const char *edition, enum calendar_kind kind)
{
	struct resource *r = NULL;
	size_t n = 0;
	enum rc rc = store_resources(c->desk.store, edition, kind, &r, &n, c->err);
	if (rc == RC_OK)
		print_counts(r, n);
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		if (r[i].outcome[0])
			rc = print_outcome(c, &r[i]);
	if (rc == RC_OK)
		store_resources_free(r, n);
	return rc;
}

static enum rc print_collection(struct ctl *c, const struct collection *at)
{
	(void)printf("    %s: %s\n", kind_words[at->kind], at->url[0] ? at->url : "not found yet");
	print_time(c, "        last look", at->tried_s);
	print_time(c, ", last worked", at->worked_s);
	if (at->failures)
		(void)printf("; failures since: %d", at->failures);
	(void)puts("");
	if (at->error[0])
		(void)printf("        %s\n", at->error);
	return print_entries(c, at->edition, (enum calendar_kind)at->kind);
}

static enum rc print_server(struct ctl *c, const struct edition *e)
{
	enum rc rc = RC_OK;
	for (int kind = CALENDAR_TODOS; rc == RC_OK && kind >= CALENDAR_EVENTS; kind--) {
		struct collection at;
		bool found = false;
		if (!edition_shows(e, (enum calendar_kind)kind))
			continue;
		rc = store_collection(
			c->desk.store, e->name, (enum calendar_kind)kind, &at, &found, c->err);
		if (rc == RC_OK && found)
			rc = print_collection(c, &at);
		else if (rc == RC_OK)
			(void)printf("    %s: not looked for yet\n", kind_words[kind]);
	}
	return rc;
}

/* ---- all of them ---- */

static enum rc print_edition(struct ctl *c, const struct edition *e)
{
	const struct output *o = e->output;
	(void)printf("%-24s %s", e->name, e->title);
	if (o->folder[0])
		(void)printf("  %s", o->folder);
	if (o->server[0])
		(void)printf("  %s", o->server);
	(void)puts("");
	return o->server[0] ? print_server(c, e) : RC_OK;
}

/* Calendars on servers that no output names any more. */
static enum rc print_left(struct ctl *c, const struct edition *list, size_t n)
{
	struct collection *all = NULL;
	size_t n_all = 0;
	enum rc rc = store_collections(c->desk.store, &all, &n_all, c->err);
	for (size_t i = 0; rc == RC_OK && i < n_all; i++) {
		bool there = false;
		for (size_t k = 0; k < n; k++)
			there = there ||
				(strcmp(list[k].name, all[i].edition) == 0 &&
					list[k].output->server[0] &&
					edition_shows(&list[k], (enum calendar_kind)all[i].kind));
		if (!there)
			(void)printf("%-24s not in the settings any more, what is there stays: "
				     "%s\n",
				all[i].edition, all[i].url);
	}
	mem_free(all);
	return rc;
}

enum rc ctl_calendars(struct ctl *c)
{
	struct edition *list = NULL;
	size_t n = 0;
	bool preview = ctl_flag(c, "preview");
	enum rc rc = ctl_arguments(c, "calendars [--preview]", 0, 0);
	if (rc != RC_OK)
		return rc;
	if (preview)
		return ctl_preview(c);
	rc = editions(c->desk.store, c->desk.set, &list, &n, c->err);
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		rc = print_edition(c, &list[i]);
	if (rc == RC_OK && n == 0)
		(void)puts("no calendar is made: outputs in the settings make them");
	if (rc == RC_OK)
		rc = print_left(c, list, n);
	mem_free(list);
	return rc;
}
