#include "daemon/ctl_show.h"

#include <math.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/ctl_course.h"
#include "daemon/measure.h"
#include "daemon/pages.h"
#include "daemon/phrase.h"
#include "daemon/text.h"

static struct measure_context context(struct ctl *c)
{
	return (struct measure_context){ c->desk.store, c->desk.engine, c->desk.set, c->now_s };
}

/* A calendar folder that is not there or not this user's keeps nobody from looking. */
static enum rc settle(struct ctl *c)
{
	struct err why = { 0 };
	enum rc rc = desk_settle(&c->desk, c->now_s, NULL, NULL, &why);
	if (rc == RC_IO)
		(void)fprintf(stderr, "seasonctl: %s\n", why.text);
	return rc == RC_OK || rc == RC_IO ? RC_OK : err_set(c->err, rc, "%s", why.text);
}

enum rc ctl_show_refresh(struct ctl *c, const char *usage, int high)
{
	enum rc rc = ctl_arguments(c, usage, 0, high);
	if (rc == RC_OK && c->at) {
		c->now_s = c->at_s;
		return engine_follow(c->desk.engine, c->now_s, c->err);
	}
	return rc == RC_OK ? settle(c) : rc;
}

/* `2026-03-01 to 2026-03-22`, as it holds. */
static void print_window(struct ctl *c, int64_t from_s, int64_t by_s, int64_t moved_s)
{
	char from[24], by[24];
	const struct zone *z = engine_zone(c->desk.engine, NULL);
	agenda_window(from_s, by_s, moved_s, &from_s, &by_s);
	zone_print_day(z, from_s, from, sizeof from);
	zone_print_day(z, by_s, by, sizeof by);
	(void)printf("%s to %s", from, by);
}

/* by_s: the day that the reasons call for. */
static void print_moved(struct ctl *c, int64_t by_s, int64_t moved_s, const char *indent)
{
	char by[24], moved[24];
	const struct zone *z = engine_zone(c->desk.engine, NULL);
	if (moved_s == TIME_NEVER)
		return;
	zone_print_day(z, by_s, by, sizeof by);
	zone_print_day(z, moved_s, moved, sizeof moved);
	(void)printf("%s      moved from %s to %s by hand\n", indent, by, moved);
}

void ctl_show_item(struct ctl *c, const struct item *it, const char *indent)
{
	char title[256], reasons[PHRASE_SIZE];
	const struct zone *z = engine_zone(c->desk.engine, NULL);
	pages_title(c->desk.engine, c->desk.set, c->desk.lib, it, title, sizeof title);
	phrase_show(it->reasons, c->desk.set->units, "", z, reasons, sizeof reasons);
	(void)printf("%s#%-4lld ", indent, (long long)it->id);
	print_window(c, it->from_s, it->by_s, it->moved_s);
	(void)printf("  %-10s  %s\n%s      %s\n", care_weight_words((enum care_weight)it->weight),
		title, indent, reasons);
	print_moved(c, it->by_s, it->moved_s, indent);
}

static void print_appointment(struct ctl *c, const struct visit *v)
{
	char at[24], answered[24];
	const struct zone *z = engine_zone(c->desk.engine, NULL);
	if (v->at_s == TIME_NEVER)
		return;
	zone_print_minute(z, v->at_s, at, sizeof at);
	(void)printf("      appointment %s, %lld min: %s", at, (long long)v->length_s / 60,
		agenda_answer_words(v->answer));
	if (v->answer != ANSWER_NONE && v->answered_s != TIME_NEVER) {
		zone_print_day(z, v->answered_s, answered, sizeof answered);
		(void)printf(" on %s", answered);
	}
	(void)puts("");
}

static void print_visit(struct ctl *c, const struct visit *v, const struct item *items, size_t n,
	const struct client *clients, size_t n_clients)
{
	const struct client *who = record_client_by_id(clients, n_clients, v->client);
	(void)printf("visit %lld  ", (long long)v->id);
	print_window(c, v->from_s, v->by_s, v->moved_s);
	(void)printf("  %s\n", who ? text_or(who->title, who->name) : "client");
	print_moved(c, v->by_s, v->moved_s, "");
	print_appointment(c, v);
	for (size_t i = 0; i < n; i++)
		if (items[i].visit == v->id)
			ctl_show_item(c, &items[i], "  ");
}

enum rc ctl_agenda(struct ctl *c)
{
	struct item *items = NULL;
	struct visit *visits = NULL;
	struct client *clients = NULL;
	size_t n = 0, n_visits = 0, n_clients = 0;
	enum rc rc = ctl_show_refresh(c, "agenda", 0);
	if (rc == RC_OK)
		rc = state_items(c->desk.store, TIME_NEVER, &items, &n, c->err);
	if (rc == RC_OK)
		rc = state_visits(c->desk.store, TIME_NEVER, &visits, &n_visits, c->err);
	if (rc == RC_OK)
		rc = record_clients(c->desk.store, &clients, &n_clients, c->err);
	for (size_t i = 0; rc == RC_OK && i < n_visits; i++)
		print_visit(c, &visits[i], items, n, clients, n_clients);
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		if (items[i].visit == 0)
			ctl_show_item(c, &items[i], "");
	if (rc == RC_OK && n == 0)
		(void)puts("nothing is due");
	mem_free(items);
	mem_free(visits);
	mem_free(clients);
	return rc;
}

/* ---- status ---- */

/* The corrections in force there, a line each. */
static enum rc print_corrections(struct ctl *c, const struct place *p)
{
	const struct measure_context at = context(c);
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < c->desk.set->n_sensors; i++) {
		const struct sensor *sensor = &c->desk.set->sensors[i];
		char text[MEASURE_CORRECTION], shown[MEASURE_CORRECTION];
		if (strcmp(sensor->place, p->name) != 0)
			continue;
		rc = measure_correction(&at, sensor, text, sizeof text, c->err);
		if (rc == RC_OK && text[0])
			phrase_show(text, c->desk.set->units, "",
				engine_zone(c->desk.engine, p->name), shown, sizeof shown);
		if (rc == RC_OK && text[0])
			(void)printf("    sensor %s %s\n", sensor->name, shown);
	}
	return rc;
}

static enum rc print_place(struct ctl *c, const struct place *p)
{
	const struct measure_context at = context(c);
	struct measure_air now, two_days;
	bool known_now = false, known = false;
	double low = 0, high = 0;
	enum rc rc = measure_air(&at, p->name, 1, &now, &known_now, c->err);
	if (rc == RC_OK)
		rc = measure_air(&at, p->name, 48, &two_days, &known, c->err);
	if (rc != RC_OK)
		return rc;
	(void)printf("%-16s %s", p->name, p->room[0] ? "case" : "room");
	if (p->room[0])
		(void)printf(" in %s", p->room);
	if (known_now)
		(void)printf(", last hour %.1f %% RH", now.rh_pct);
	if (known_now && !isnan(now.t_degc))
		(void)printf(" %.1f degC", now.t_degc);
	if (known)
		(void)printf(", two days %.1f %% (%.0f to %.0f)", two_days.rh_pct,
			two_days.least_rh_pct, two_days.most_rh_pct);
	if (!known_now && !known)
		(void)printf(", no readings of late");
	if (measure_band(&at, p, &low, &high))
		(void)printf(", band %.0f-%.0f %%", low, high);
	(void)puts("");
	return print_corrections(c, p);
}

static void print_change(const struct ctl *c, const char *what, double change_m, double sd_m,
	const struct learn_estimate *now, bool height)
{
	char change[32], sd[32], level[32], level_sd[32];
	void (*print)(char *, size_t, double, enum bench_units) =
		height ? units_print_rise : units_print_change;
	print(change, sizeof change, change_m, c->desk.set->units);
	print(sd, sizeof sd, sd_m, c->desk.set->units);
	(void)printf("    %-14s %s +- %s since the last finding", what, change, sd);
	if (isnan(now->value)) {
		(void)puts(now->findings ? "" : " (never measured: unchecked prediction)");
		return;
	}
	(height ? units_print_height : units_print_gap)(
		level, sizeof level, now->value, c->desk.set->units);
	print(level_sd, sizeof level_sd, now->sd, c->desk.set->units);
	(void)printf(", now about %s +- %s\n", level, level_sd);
}

static void print_hardware(const struct followed *f, size_t i)
{
	const struct fastening *x = &instrument_model_build(f->model)->fastenings[i];
	const struct clamp_state *h = &f->condition.hardware[i];
	const struct taper_fit *fit = &f->condition.fits[i];
	char turn[32];
	units_print_turns(turn, sizeof turn, h->turns);
	if (fastening_is_clamped(x))
		(void)printf("    %-14s %3.0f %% of the preload left, gap %.2f mm (%s on %s)\n",
			measure_hardware(x->kind), 100 * h->preload, h->gap_m * 1e3, turn,
			x->thread);
	else
		(void)printf(
			"    %-14s %+.3f mm on their holes, standing %+.2f mm, out of round %.3f "
			"mm\n",
			measure_hardware(x->kind), 1e3 * fit->fit_m, 1e3 * fit->seat_m,
			1e3 * fit->oval_m);
}

bool ctl_show_followed(struct ctl *c, const struct followed *f)
{
	(void)printf("%-16s %s in %s", f->record.name, f->record.build,
		f->place[0] ? f->place : "no place");
	if (f->record.client[0])
		(void)printf(", of %s", f->record.client);
	(void)puts("");
	if (f->trouble[0])
		(void)printf("    %s\n", f->trouble);
	if (!f->model || !f->known) {
		if (!f->trouble[0])
			(void)puts("    no air has reached it yet");
		return false;
	}
	char upto[24];
	zone_print_minute(engine_zone(c->desk.engine, f->place), (f->state.hour + 1) * HOUR_S, upto,
		sizeof upto);
	(void)printf("    followed to    %s", upto);
	if (f->state.bridged_h)
		(void)printf(", %lld hour%s without readings bridged",
			(long long)f->state.bridged_h, f->state.bridged_h == 1 ? "" : "s");
	(void)puts("");
	return true;
}

void ctl_show_condition(const struct ctl *c, const struct followed *f)
{
	const struct build *b = instrument_model_build(f->model);
	const struct condition *now = &f->condition;
	char gap[32], sd[32];
	for (size_t i = 0; i < b->n_fastenings; i++)
		print_hardware(f, i);
	print_change(c, "relief", now->relief_m, now->relief_sd_m, &now->relief_now, false);
	print_change(c, "action", now->action_m, now->action_sd_m,
		&now->action_now[now->action_line - LINE_ACTION_BASS], true);
	units_print_change(gap, sizeof gap, now->fret_end_m, c->desk.set->units);
	units_print_change(sd, sizeof sd, now->fret_end_sd_m, c->desk.set->units);
	(void)printf("    %-14s %s +- %s a side\n", "fret ends", gap, sd);
	if (build_member(b, MEMBER_TOP) < b->n_members)
		(void)printf("    %-14s %.0f %% of what wood bears across the grain, under the "
			     "bridge %.0f %%\n",
			"stretched", 100 * now->crack, 100 * now->peel);
}

enum rc ctl_status(struct ctl *c)
{
	size_t n = 0;
	enum rc rc = ctl_show_refresh(c, "status [NAME]", 1);
	const char *only = c->argc ? c->argv[0] : NULL;
	bool any = false;
	const struct followed *list = rc == RC_OK ? engine_followed(c->desk.engine, &n) : NULL;
	for (size_t i = 0; rc == RC_OK && i < c->desk.set->n_places; i++)
		if (!only || strcmp(only, c->desk.set->places[i].name) == 0) {
			rc = print_place(c, &c->desk.set->places[i]);
			if (rc == RC_OK && only)
				rc = ctl_course_days(c, &c->desk.set->places[i]);
			any = true;
		}
	for (size_t i = 0; rc == RC_OK && i < n; i++)
		if (!only || strcmp(only, list[i].record.name) == 0) {
			if (ctl_show_followed(c, &list[i]))
				ctl_show_condition(c, &list[i]);
			any = true;
		}
	if (rc == RC_OK && only && !any)
		rc = err_set(c->err, RC_UNKNOWN, "\"%.40s\": no such place or instrument", only);
	return rc;
}
