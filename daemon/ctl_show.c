#include "daemon/ctl.h"

#include <math.h>
#include <string.h>

#include "core/mem.h"
#include "core/number.h"
#include "daemon/ctl_course.h"
#include "daemon/measure.h"
#include "daemon/publish.h"

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

/* Brings everything to now before it is shown. With --at the wood is shown as of then and the agenda as it was left. */
static enum rc refresh(struct ctl *c, const char *usage, int high)
{
	enum rc rc = ctl_arguments(c, usage, 0, high);
	if (rc == RC_OK && c->at) {
		c->now_s = c->at_s;
		return engine_follow(c->desk.engine, c->now_s, c->err);
	}
	return rc == RC_OK ? settle(c) : rc;
}

static void print_item(struct ctl *c, const struct item *it, const char *indent)
{
	char title[256], from[24], by[24];
	const struct zone *z = engine_zone(c->desk.engine, NULL);
	publish_title(c->desk.engine, c->desk.set, c->desk.lib, it, title, sizeof title);
	zone_print_day(z, it->from_s, from, sizeof from);
	zone_print_day(z, it->by_s, by, sizeof by);
	(void)printf("%s#%-4lld %s to %s  %-10s  %s\n%s      %s\n", indent, (long long)it->id, from,
		by, care_weight_words((enum care_weight)it->weight), title, indent, it->reasons);
}

static void print_visit(struct ctl *c, const struct visit *v, const struct item *items, size_t n,
	const struct client *clients, size_t n_clients)
{
	char from[24], by[24];
	const char *who = "client";
	const struct zone *z = engine_zone(c->desk.engine, NULL);
	for (size_t i = 0; i < n_clients; i++)
		if (clients[i].id == v->client)
			who = clients[i].title[0] ? clients[i].title : clients[i].name;
	zone_print_day(z, v->from_s, from, sizeof from);
	zone_print_day(z, v->by_s, by, sizeof by);
	(void)printf("visit  %s to %s  %s\n", from, by, who);
	for (size_t i = 0; i < n; i++)
		if (items[i].visit == v->id)
			print_item(c, &items[i], "  ");
}

enum rc ctl_agenda(struct ctl *c)
{
	struct item *items = NULL;
	struct visit *visits = NULL;
	struct client *clients = NULL;
	size_t n = 0, n_visits = 0, n_clients = 0;
	enum rc rc = refresh(c, "agenda", 0);
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
			print_item(c, &items[i], "");
	if (rc == RC_OK && n == 0)
		(void)puts("nothing is due");
	mem_free(items);
	mem_free(visits);
	mem_free(clients);
	return rc;
}

/* ---- status ---- */

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
	return RC_OK;
}

static void print_change(
	struct ctl *c, const char *what, double change_m, double sd_m, double found_m, bool height)
{
	char change[32], sd[32];
	void (*print)(char *, size_t, double, enum bench_units) =
		height ? units_print_rise : units_print_change;
	print(change, sizeof change, change_m, c->desk.set->units);
	print(sd, sizeof sd, sd_m, c->desk.set->units);
	(void)printf("    %-14s %s +- %s since the last finding%s\n", what, change, sd,
		isnan(found_m) ? " (never measured: unchecked prediction)" : "");
}

static void print_instrument(struct ctl *c, const struct followed *f)
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
		return;
	}
	const struct build *b = instrument_model_build(f->model);
	char upto[24], turn[32], gap[32];
	zone_print_minute(engine_zone(c->desk.engine, f->place), (f->state.hour + 1) * HOUR_S, upto,
		sizeof upto);
	(void)printf("    followed to    %s", upto);
	if (f->state.bridged_h)
		(void)printf(", %lld hour%s without readings bridged",
			(long long)f->state.bridged_h, f->state.bridged_h == 1 ? "" : "s");
	(void)puts("");
	for (size_t i = 0; i < b->n_fastenings; i++) {
		units_print_turns(turn, sizeof turn, f->condition.hardware[i].turns);
		(void)printf("    %-14s %3.0f %% of the preload left, gap %.2f mm (%s on %s)\n",
			measure_hardware(b->fastenings[i].kind),
			100 * f->condition.hardware[i].preload,
			f->condition.hardware[i].gap_m * 1e3, turn, b->fastenings[i].thread);
	}
	print_change(c, "relief", f->condition.relief_m, f->condition.relief_sd_m,
		f->state.relief_found_m, false);
	print_change(c, "action", f->condition.action_m, f->condition.action_sd_m,
		f->state.action_found_m, true);
	units_print_change(gap, sizeof gap, f->condition.fret_end_m, c->desk.set->units);
	(void)printf("    %-14s %s a side\n", "fret ends", gap);
}

enum rc ctl_status(struct ctl *c)
{
	size_t n = 0;
	enum rc rc = refresh(c, "status [NAME]", 1);
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
			print_instrument(c, &list[i]);
			any = true;
		}
	if (rc == RC_OK && only && !any)
		rc = err_set(c->err, RC_UNKNOWN, "\"%.40s\": no such place or instrument", only);
	return rc;
}

/* ---- explain ---- */

static const char *role_word(enum member_role role)
{
	switch (role) {
	case MEMBER_TOP:
		return "top";
	case MEMBER_BACK:
		return "back";
	case MEMBER_NECK:
		return "neck";
	case MEMBER_FINGERBOARD:
		return "fingerboard";
	case MEMBER_HEADSTOCK:
		return "headstock";
	case MEMBER_BRIDGE:
		return "bridge";
	case MEMBER_BODY:
		return "body";
	}
	return "";
}

static void explain_members(const struct followed *f)
{
	const struct build *b = instrument_model_build(f->model);
	(void)puts("  wood (moisture % of dry mass: one face, middle, other face, mean)");
	for (size_t i = 0; i < b->n_members; i++) {
		const struct member *m = &b->members[i];
		const double *mc = f->state.mc_pct[i];
		(void)printf("    %-12s %4.1f mm %-20s %5.2f %5.2f %5.2f  %5.2f   C_R %.5f C_T "
			     "%.5f /%%\n",
			role_word(m->role), m->thickness_m * 1e3, m->wood.name, mc[0],
			mc[MOISTURE_CELLS / 2], mc[MOISTURE_CELLS - 1],
			moisture_mean(mc, MOISTURE_CELLS), m->wood.c_r_per_pct,
			m->wood.c_t_per_pct);
	}
}

static enum rc explain_readings(struct ctl *c, const char *place)
{
	int64_t ids[32];
	size_t n = engine_sensors_of(c->desk.engine, place, ids, 32);
	for (size_t i = 0; i < n; i++) {
		struct quality_reading rows[512];
		size_t got = 0, flagged = 0;
		int64_t first = TIME_NEVER, last = TIME_NEVER;
		char from[24], to[24];
		enum rc rc = store_span(c->desk.store, ids[i], c->now_s, &first, &last, c->err);
		if (rc == RC_OK && last != TIME_NEVER)
			rc = store_raw(c->desk.store, ids[i], last - DAY_S, last + 1, rows, 512,
				&got, c->err);
		if (rc != RC_OK)
			return rc;
		if (last == TIME_NEVER)
			continue;
		for (size_t k = 0; k < got; k++)
			flagged += rows[k].flags != 0;
		const struct zone *z = engine_zone(c->desk.engine, place);
		zone_print_minute(z, first, from, sizeof from);
		zone_print_minute(z, last, to, sizeof to);
		(void)printf("  readings of %s from %s to %s; in the last day %zu, of these "
			     "questionable %zu\n",
			place, from, to, got, flagged);
	}
	return RC_OK;
}

static void explain_formulas(void)
{
	(void)puts(
		"  how\n"
		"    equilibrium moisture: Hailwood-Horrobin, Wood Handbook FPL-GTR-190 eq. 4-5\n"
		"    transport: finite volumes across the thickness, diffusivity of Siau (1984), "
		"surface emission of\n"
		"      Toratti (1992, from memory) in series with the finish\n"
		"    swelling: Wood Handbook ch. 13, C_R and C_T turned to the cut\n"
		"    bending: balance of layers (Timoshenko 1925); longitudinal coefficients are "
		"poorly known: the sign\n"
		"      and size of a neck's movement are only sure once a finding has confirmed "
		"them\n"
		"    hardware: one-sided play, crush limit 0.5-1 % (Hoadley, Getty 1998); snug "
		"strain and relaxation are\n"
		"      judgement without a source");
}

static enum rc explain_instrument(struct ctl *c, const struct followed *f)
{
	print_instrument(c, f);
	if (!f->model || !f->known)
		return RC_OK;
	char begun[24];
	zone_print_minute(engine_zone(c->desk.engine, f->place), f->state.begun * HOUR_S, begun,
		sizeof begun);
	(void)printf("  begun %s in equilibrium with the mean air of the first 30 days\n", begun);
	enum rc rc = explain_readings(c, f->place);
	explain_members(f);
	if (rc == RC_OK)
		rc = ctl_course_months(c, f);
	explain_formulas();
	return rc;
}

static enum rc explain_item(struct ctl *c, const struct item *it)
{
	const struct care_rule *rule = library_rule(c->desk.lib, it->rule);
	char opened[24];
	print_item(c, it, "");
	zone_print_minute(engine_zone(c->desk.engine, NULL), it->opened_s, opened, sizeof opened);
	(void)printf("  rule %s, opened %s\n", it->rule, opened);
	if (rule && !isnan(it->value))
		(void)printf("  value %.6g; opens beyond %.6g, taken back inside %.6g, pressing at "
			     "%.6g\n",
			it->value, rule->open, rule->close, rule->pressing);
	if (rule)
		(void)printf("  %s\n  caution: %s\n", rule->advice, rule->caution);
	if (it->subject_kind == CARE_OF_PLACE)
		return explain_readings(c, it->subject);
	const struct followed *f = it->subject_kind == CARE_OF_INSTRUMENT
					   ? engine_find(c->desk.engine, it->subject)
					   : NULL;
	return f ? explain_instrument(c, f) : RC_OK;
}

enum rc ctl_explain(struct ctl *c)
{
	struct item *items = NULL;
	size_t n = 0;
	int64_t number = -1;
	enum rc rc = refresh(c, "explain NUMBER|INSTRUMENT", 1);
	if (rc == RC_OK && c->argc != 1)
		return err_set(c->err, RC_USAGE, "usage: seasonctl explain NUMBER|INSTRUMENT");
	if (rc == RC_OK)
		rc = state_items(c->desk.store, TIME_NEVER, &items, &n, c->err);
	const char *what = c->argv ? c->argv[0] : "";
	bool found = false;
	if (rc == RC_OK && number_int(what[0] == '#' ? what + 1 : what, &number))
		for (size_t i = 0; rc == RC_OK && i < n; i++)
			if (items[i].id == number) {
				rc = explain_item(c, &items[i]);
				found = true;
			}
	mem_free(items);
	const struct followed *f = rc == RC_OK && !found ? engine_find(c->desk.engine, what) : NULL;
	if (f) {
		rc = explain_instrument(c, f);
		found = true;
	}
	if (rc == RC_OK && !found)
		rc = err_set(c->err, RC_UNKNOWN,
			"\"%.40s\": no open item or instrument of that name", what);
	return rc;
}
