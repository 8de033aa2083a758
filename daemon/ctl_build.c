/* seasonctl build: the anatomy of a build, or of an instrument with its own lines laid over it, and what to expect. */
#include "daemon/ctl_outlook.h"
#include "daemon/ctl_wood.h"

#include <math.h>
#include <string.h>
#include <unistd.h>

#include "core/mem.h"
#include "core/moisture.h"
#include "daemon/measure.h"
#include "daemon/schema.h"
#include "daemon/text.h"

#define MM 1e3

static void list_builds(const struct library *l)
{
	for (size_t i = 0; i < l->n_builds; i++)
		(void)printf("%-18s %s\n", l->builds[i].name, l->builds[i].title);
}

/* ---- anatomy ---- */

static void print_usual(const char *what, const double range_m[2], enum bench_units u, bool height)
{
	char low[32], high[32];
	void (*print)(char *, size_t, double, enum bench_units) =
		height ? units_print_height : units_print_gap;
	if (!(range_m[1] > 0))
		return;
	print(low, sizeof low, range_m[0], u);
	print(high, sizeof high, range_m[1], u);
	(void)printf("    %-16s usually %s to %s\n", what, low, high);
}

static void print_measures(const struct build *b, enum bench_units u)
{
	(void)printf("    %-16s %.0f to %.0f %% RH\n", "band", b->rh_low_pct, b->rh_high_pct);
	(void)printf("    %-16s %.0f mm", "strings", b->scale_m * MM);
	if (b->joint_m > 0)
		(void)printf(", nut to body joint %.0f mm", b->joint_m * MM);
	(void)printf(", a set lasts %.0f days\n", b->string_life_s / DAY_S);
	if (b->body_length_m > 0)
		(void)printf("    %-16s %.0f mm long, %.0f mm deep\n", "box", b->body_length_m * MM,
			b->body_depth_m * MM);
	if (b->cavity_lag_s > 0)
		(void)printf("    %-16s trails the air outside by %.1f h\n", "air inside",
			b->cavity_lag_s / HOUR_S);
	print_usual("relief", b->relief_usual_m, u, false);
	print_usual("action, lowest", b->action_bass_usual_m, u, true);
	print_usual("action, highest", b->action_treble_usual_m, u, true);
}

static void print_settling(char *buf, size_t n, double h)
{
	if (isnan(h))
		(void)snprintf(buf, n, "over %d d", outlook_days[OUTLOOK_LOOKS - 2]);
	else
		(void)snprintf(buf, n, h < 48 ? "%.0f h" : "%.0f d", h < 48 ? h : h / 24);
}

static void print_members(const struct library *l, const struct outlook *o)
{
	(void)printf("  wood; time in which a piece has gone 63 %% of the way from %.0f to %.0f %% "
		     "RH at %.0f "
		     "degC\n",
		100 * OUTLOOK_RH, 100 * OUTLOOK_DRY_RH, OUTLOOK_DEGC);
	for (size_t i = 0; i < o->build.n_members; i++) {
		const struct member *m = &o->build.members[i];
		char cut[16], settling[32], faces[2][64];
		ctl_wood_cut(cut, sizeof cut, m->ring_deg);
		print_settling(settling, sizeof settling, o->settling_h[i]);
		for (int k = 0; k < 2; k++)
			ctl_wood_finish(faces[k], sizeof faces[k], l, m->finish_s_m[k]);
		(void)printf("    %-16s %-20s %-8s %5.1f mm", library_role(m->role), m->wood.name,
			cut, m->thickness_m * MM);
		if (m->role < MEMBER_UNDER_BRIDGE)
			(void)printf(
				" x %3.0f mm  %-16s %-16s", m->width_m * MM, faces[0], faces[1]);
		else
			(void)printf("%12s%-33s", "", "part of the plate");
		(void)printf(" %s\n", settling);
	}
}

static void print_hardware(const struct build *b)
{
	(void)puts("  hardware");
	for (size_t i = 0; i < b->n_fastenings; i++) {
		const struct fastening *x = &b->fastenings[i];
		(void)printf("    %-16s %d in %s", measure_hardware(x->kind), x->count,
			library_role(b->members[x->member].role));
		if (fastening_is_clamped(x))
			(void)printf(", %s, %.2f mm a turn, grip %.1f mm\n",
				x->thread[0] ? x->thread : "thread not said", x->pitch_m * MM,
				x->grip_m * MM);
		else
			(void)printf(", %s, %.1f mm thick, tapered 1:%.0f\n",
				x->wood.name[0] ? x->wood.name : "of what does not swell",
				x->diameter_m * MM, 1 / x->taper);
	}
}

/* ---- sources ---- */

static void print_sources(const struct library *l, const struct build *b)
{
	const struct species *used[BUILD_MEMBERS + BUILD_FASTENINGS];
	const struct learn_prior *p = l->learning;
	size_t n = 0;
	for (size_t i = 0; i < b->n_members; i++)
		used[n++] = &b->members[i].wood;
	for (size_t i = 0; i < b->n_fastenings; i++)
		used[n++] = &b->fastenings[i].wood;
	(void)puts("  sources");
	ctl_wood_sources(l, used, n);
	(void)printf("  caution\n"
		     "    Shares, dimensions and usual settings are common practice or judgement. "
		     "What wood does along "
		     "its\n"
		     "    grain is poorly known: until this very instrument has been measured in "
		     "dry and in damp air, "
		     "its\n"
		     "    relief is only sure within %.0f %% of what is told, its action within "
		     "%.0f %%.\n",
		100 * p[LEARN_RELIEF].gain_sd, 100 * p[LEARN_ACTION].gain_sd);
}

/* ---- the command ---- */

static enum rc show(struct ctl *c, const char *name, const struct build *b)
{
	struct outlook *o = mem_new(1, sizeof *o);
	if (!o)
		return err_set(c->err, RC_MEM, "out of memory");
	enum rc rc = outlook_of(b, c->desk.lib->learning, o, c->err);
	if (rc == RC_OK) {
		(void)printf("%-18s %s\n", name, b->title);
		print_measures(b, c->desk.set->units);
		print_members(c->desk.lib, o);
		print_hardware(b);
		ctl_outlook_print(o, c->desk.set->units);
		print_sources(c->desk.lib, b);
	}
	mem_free(o);
	return rc;
}

static enum rc no_such(
	struct ctl *c, const char *name, const struct instrument *instruments, size_t n)
{
	const struct library *l = c->desk.lib;
	const char **names = mem_new(l->n_builds + n, sizeof *names);
	char hint[400];
	if (!names)
		return err_set(c->err, RC_MEM, "out of memory");
	for (size_t i = 0; i < l->n_builds; i++)
		names[i] = l->builds[i].name;
	for (size_t i = 0; i < n; i++)
		names[l->n_builds + i] = instruments[i].name;
	schema_hint(hint, sizeof hint, name, names, l->n_builds + n);
	mem_free(names);
	return err_set(
		c->err, RC_UNKNOWN, "\"%.40s\": no such build or instrument: %s", name, hint);
}

/* Its build with its own lines laid over. */
static enum rc show_instrument(struct ctl *c, const struct instrument *i)
{
	struct build b;
	struct faults f = { 0 };
	const struct build *base = library_build(c->desk.lib, i->build);
	if (!base)
		return err_set(c->err, RC_CONFIG,
			"instrument \"%s\": build \"%s\": not in the library", i->name, i->build);
	enum rc rc = library_override(c->desk.lib, base, i->overrides, i->name, &b, &f);
	rc = rc == RC_OK ? show(c, i->name, &b) : faults_result(&f, c->err);
	faults_done(&f);
	return rc;
}

/* Without a store there are no instruments. */
static enum rc find_instrument(struct ctl *c, const char *name)
{
	struct instrument *all = NULL;
	size_t n = 0, i = 0;
	enum rc rc = RC_OK;
	if (access(c->desk.set->store, F_OK) == 0)
		rc = store_open(c->desk.set->store, STORE_READ, &c->desk.store, c->err);
	if (rc == RC_OK && c->desk.store)
		rc = record_instruments(c->desk.store, &all, &n, c->err);
	while (i < n && strcmp(all[i].name, name) != 0)
		i++;
	if (rc == RC_OK)
		rc = i < n ? show_instrument(c, &all[i]) : no_such(c, name, all, n);
	mem_free(all);
	return rc;
}

enum rc ctl_build(struct ctl *c)
{
	enum rc rc = ctl_arguments(c, "build [NAME]", 0, 1);
	if (rc != RC_OK)
		return rc;
	if (c->argc == 0) {
		list_builds(c->desk.lib);
		return RC_OK;
	}
	const char *name = c->argv[0];
	const struct build *b = library_build(c->desk.lib, name);
	return b ? show(c, name, b) : find_instrument(c, name);
}
