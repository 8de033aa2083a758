#include "tests/unit/support.h"

#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/civil.h"
#include "core/mem.h"
#include "core/moisture.h"
#include "daemon/library.h"
#include "daemon/settings.h"

/* Each folder here is laid over conf/: with a file `want` in it, these are its exact faults. */
#define CASES "tests/data/library"

static struct library *lib; /* of conf/ alone */

static int load_shipped(void **state)
{
	(void)state;
	static const char *const dirs[] = { "conf" };
	struct faults f = { 0 };
	enum rc rc = library_load(dirs, 1, &lib, &f);
	for (size_t i = 0; i < f.n; i++)
		print_error("%s\n", f.text[i]);
	faults_done(&f);
	return rc == RC_OK ? 0 : -1;
}

static int free_shipped(void **state)
{
	(void)state;
	library_free(lib);
	return 0;
}

/* Wood Handbook FPL-GTR-190 ch. 13: eq. 13-3 has the slope of eq. 13-2 at 10 % MC. */
static double coefficient(double s_pct, double start_pct)
{
	return 1 / (100 * start_pct / s_pct - (start_pct - 10));
}

static void coefficients_agree_with_the_shrinkage_they_come_from(void **state)
{
	(void)state;
	size_t checked = 0;
	for (size_t i = 0; i < lib->n_woods; i++) {
		const struct wood *w = &lib->woods[i];
		if (w->shrinkage_r_pct == 0)
			continue;
		/* the file gives five decimals */
		CLOSE(w->species.c_r_per_pct, coefficient(w->shrinkage_r_pct, w->start_pct), 5.1e-6,
			w->title);
		CLOSE(w->species.c_t_per_pct, coefficient(w->shrinkage_t_pct, w->start_pct), 5.1e-6,
			w->title);
		checked++;
	}
	assert_int_equal(lib->n_woods, 59);
	assert_int_equal(checked, 54);
}

static void species_have_the_published_values(void **state)
{
	(void)state;
	static const struct {
		const char *src, *name;
		double c_r, c_t, moe_gpa, er_el, et_el;
	} rows[] = {
		{ "WH tables 13-5 (memory), 5-3, 5-1 (quoted)", "sitka_spruce", 0.00148, 0.00263,
			9.9, 0.078, 0.043 },
		{ "WH table 13-5 (read), 5-3 (memory), 5-1 (quoted)", "maple_sugar", 0.00165,
			0.00353, 12.6, 0.132, 0.065 },
		{ "WH table 13-5 (read), 5-3 (quoted), 5-1 (memory)", "walnut_black", 0.00190,
			0.00274, 11.6, 0.106, 0.056 },
		{ "WH table 13-5 (quoted), FPL sheet (read), 5-1 (memory)", "mahogany_honduras",
			0.00172, 0.00238, 10.3, 0.107, 0.064 },
		{ "FPL sheet (read): S 2.7/5.8, 1,780 kpsi", "rosewood_indian", 0.00092, 0.00201,
			12.3, 0.132, 0.065 },
		{ "CIRAD sheet (read): S 5.9/9.1 from 22 % MC", "wenge", 0.00277, 0.00435, 21.0,
			0.132, 0.065 },
		{ "WH table 13-5 (read), 5-3 (quoted), 5-1 (memory)", "birch_yellow", 0.00256,
			0.00338, 13.9, 0.078, 0.05 },
		{ "WH table 13-5 (read), 5-3 (memory), ratios of sugar maple (quoted)", "persimmon",
			0.00278, 0.00403, 13.9, 0.132, 0.065 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		const struct wood *w = library_wood(lib, rows[i].name);
		assert_non_null(w);
		CLOSE(w->species.c_r_per_pct, rows[i].c_r, 5e-6, rows[i].src);
		CLOSE(w->species.c_t_per_pct, rows[i].c_t, 5e-6, rows[i].src);
		/* E_L = 1.10 MOE: Wood Handbook ch. 5 (memory); the file rounds */
		CLOSE(w->species.e_l_pa / 1e9, 1.10 * rows[i].moe_gpa, 0.051, rows[i].src);
		CLOSE(w->species.e_r_pa / 1e9, 1.10 * rows[i].moe_gpa * rows[i].er_el, 0.0051,
			rows[i].src);
		CLOSE(w->species.e_t_pa / 1e9, 1.10 * rows[i].moe_gpa * rows[i].et_el, 0.0051,
			rows[i].src);
	}
}

static void every_species_says_how_sure_its_values_are(void **state)
{
	(void)state;
	for (size_t i = 0; i < lib->n_woods; i++) {
		const char *source = lib->woods[i].source;
		const struct species *w = &lib->woods[i].species;
		assert_true(strstr(source, "(read)") || strstr(source, "(quoted)") ||
			    strstr(source, "from memory"));
		assert_true(w->c_t_per_pct > w->c_r_per_pct && w->c_r_per_pct > w->c_l_per_pct);
		/* solid wood from balsa's neighbours to the heaviest that sink; from memory */
		assert_true(w->specific_gravity >= 0.2 && w->specific_gravity <= 1.2);
		assert_true(w->e_l_pa > 4e9 && w->e_l_pa < 25e9);
		bool plywood = strstr(lib->woods[i].title, "plywood");
		assert_true(w->e_l_pa > (plywood ? 1.5 : 5) * w->e_r_pa);
		if (plywood) /* Wood Handbook ch. 12: about 0.02 % per 1 % MC (quoted) */
			CLOSE(w->c_r_per_pct, 0.0002, 0.00003, w->name);
	}
}

/* Mean uptake of a plane sheet of half thickness l with surface resistance: Crank, The
 * Mathematics of Diffusion (1975) eqs 4.50-4.53. */
static double uptake(double s_m_s, double t_s)
{
	const double l = 0.008, d = 1.73e-10; /* see conf/finishes.conf */
	double b = l * s_m_s / d, rest = 0;
	for (int n = 0; n < 40; n++) {
		double low = n * 3.14159265358979, high = low + 1.57079632679489;
		for (int i = 0; i < 60; i++) {
			double mid = (low + high) / 2;
			*(mid * tan(mid) < b ? &low : &high) = mid;
		}
		double x = low; /* the n-th root of x tan x = b */
		rest += 2 * b * b * exp(-x * x * d * t_s / (l * l)) / (x * x * (x * x + b * b + b));
	}
	return 1 - rest;
}

static double effectiveness_pct(double resistance_s_m, int days)
{
	const double film_m_s = 5.4e-8;
	double coated = 1 / (1 / film_m_s + resistance_s_m);
	return 100 * (1 - uptake(coated, days * 86400.0) / uptake(film_m_s, days * 86400.0));
}

static void finishes_give_back_the_moisture_excluding_effectiveness(void **state)
{
	(void)state;
	/* Feist, Little and Wennesheimer 1985, FPL-RP-462, two coats (quoted); other numbers of coats (memory) */
	static const struct {
		const char *name;
		double pct_7d, pct_14d;
	} rows[] = {
		{ "oil", 2, 0 },
		{ "lacquer", 22, 8 },
		{ "varnish", 36, 15 },
		{ "shellac_thin", 10, 3 },
		{ "lacquer_thick", 37, 19 },
		{ "varnish_thick", 53, 30 },
		{ "shellac_thick", 64, 42 },
		{ "shellac", 43, 20 },
		{ "urethane", 43, 23 },
		{ "polyurethane", 66, 46 },
		{ "polyester", 81, 66 } /* three coats of polyurethane, memory */,
		{ "epoxy", 93, 88 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		const struct finish *x = library_finish(lib, rows[i].name);
		assert_non_null(x);
		CLOSE(effectiveness_pct(x->resistance_s_m, 7), rows[i].pct_7d, 0.6, rows[i].name);
		CLOSE(effectiveness_pct(x->resistance_s_m, 14), rows[i].pct_14d, 4, rows[i].name);
	}
	CLOSE(library_finish(lib, "bare")->resistance_s_m, 0, 0, "bare");
	CLOSE(library_finish(lib, "glued")->resistance_s_m, MOISTURE_SEALED, 0, "glued");
}

/* Frets of equal temperament: fret n lies scale (1 - 2^(-n/12)) from the nut. */
static void relief_spans_reach_from_fret_1_to_the_body_joint(void **state)
{
	(void)state;
	static const struct {
		const char *name;
		int joint, last; /* fret at the joint; where relief ends */
	} rows[] = {
		{ "flat-top", 14, 14 },
		{ "twelve-string", 14, 14 },
		{ "archtop", 14, 14 },
		{ "ukulele", 14, 14 },
		{ "parlour", 12, 12 },
		{ "nylon", 12, 12 },
		{ "mandolin", 12, 12 },
		{ "resonator", 12, 12 },
		{ "set-neck", 16, 16 },
		{ "bass", 16, 16 },
		{ "bolt-on", 17, 17 },
		{ "lute", 8, 8 },
		{ "banjo", 22, 17 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		const struct build *b = library_build(lib, rows[i].name);
		assert_non_null(b);
		double joint_m = b->scale_m * (1 - exp2(-rows[i].joint / 12.0));
		double span_m = b->scale_m * (exp2(-1 / 12.0) - exp2(-rows[i].last / 12.0));
		CLOSE(b->joint_m, joint_m, 1e-3, rows[i].name);
		CLOSE(b->relief_span_m, span_m, 1e-3, rows[i].name);
	}
}

/* The neck is as long to the body as the body is to the bridge by 2 to 3, of a cello 7 to 10; a board reaches some
 * five sixths of the string: common practice, no source. */
static void bowed_instruments_have_their_proportions(void **state)
{
	(void)state;
	static const char *const names[] = { "violin", "viola", "cello", "double-bass" };
	for (size_t i = 0; i < COUNT(names); i++) {
		const struct build *b = library_build(lib, names[i]);
		assert_non_null(b);
		CLOSE(b->joint_m / (b->scale_m - b->joint_m), 2 / 3.0, 0.05, names[i]);
		CLOSE(b->relief_span_m / b->scale_m, 5 / 6.0, 0.04, names[i]);
	}
}

static void usual_settings_are_whole(const struct build *b)
{
	const double *const ranges[] = { b->relief_usual_m, b->action_bass_usual_m,
		b->action_treble_usual_m };
	for (size_t i = 0; i < COUNT(ranges); i++)
		assert_true(
			ranges[i][0] >= 0 && ranges[i][0] < ranges[i][1] && ranges[i][1] < 0.012);
	assert_true(b->action_bass_usual_m[1] > b->action_treble_usual_m[1]);
}

static void builds_are_whole(void **state)
{
	(void)state;
	for (size_t i = 0; i < lib->n_builds; i++) {
		const struct build *b = &lib->builds[i];
		assert_true(b->rh_low_pct >= 35 && b->rh_high_pct <= 60 &&
			    b->string_life_s >= 30 * 86400.0);
		assert_true(b->n_fastenings > 0);
		size_t board = build_member(b, MEMBER_FINGERBOARD),
		       neck = build_member(b, MEMBER_NECK);
		assert_true((board < b->n_members) == (neck < b->n_members));
		if (board < b->n_members) {
			assert_true(build_member(b, MEMBER_HEADSTOCK) < b->n_members);
			CLOSE(b->members[board].finish_s_m[1], MOISTURE_SEALED, 0, b->name);
			CLOSE(b->members[neck].finish_s_m[1], MOISTURE_SEALED, 0, b->name);
			usual_settings_are_whole(b);
		}
		bool box = build_member(b, MEMBER_TOP) < b->n_members;
		assert_true(box == (b->cavity_lag_s > 0));
		for (size_t k = 0; k < b->n_fastenings; k++) {
			assert_true(b->fastenings[k].member < b->n_members);
			if (b->fastenings[k].pitch_m == 0)
				continue;
			CLOSE(b->fastenings[k].snug_strain, 0.004, 0, b->name);
			CLOSE(b->fastenings[k].yield_strain, 0.0075, 0, b->name);
			CLOSE(b->fastenings[k].relax_s, 1.5 * 365 * 86400, 0, b->name);
		}
	}
}

static void every_kind_of_rule_is_shipped_with_a_caution(void **state)
{
	(void)state;
	for (int kind = CARE_PRELOAD; kind <= CARE_CLOCK; kind++) {
		size_t i = 0;
		while (i < lib->n_rules && lib->rules[i].kind != kind)
			i++;
		assert_true(i < lib->n_rules);
		const struct care_rule *rule = &lib->rules[i];
		assert_true(rule->title[0] && rule->advice[0] && rule->caution[0] &&
			    rule->window_s > 0);
	}
	const struct care_rule *check = library_rule(lib, "hygrometer");
	assert_int_equal(check->kind, CARE_CHECK);
	assert_int_equal(check->every_s, 365 * DAY_S);
	assert_string_equal(check->settled_by[0], "checked");
	const struct care_rule *nuts = library_rule(lib, "hardware");
	assert_true(nuts->pressing < nuts->open && nuts->open < nuts->close && nuts->visit);
	assert_null(library_rule(lib, "no-such"));
}

static bool lies_in(const double usual_m[2], double value_m)
{
	return value_m >= usual_m[0] - 1e-6 && value_m <= usual_m[1] + 1e-6;
}

/* Common practice, no source: relief of .010 to .012 in, action of 6/64 in bass and 4/64 to 5/64 in treble at the 12th fret
 * are a healthy steel-string setup. */
static void a_healthy_steel_string_setup_is_usual(void **state)
{
	(void)state;
	static const char *const names[] = { "flat-top", "parlour" };
	for (size_t i = 0; i < COUNT(names); i++) {
		const struct build *b = library_build(lib, names[i]);
		assert_true(lies_in(b->relief_usual_m, 0.010 * 0.0254));
		assert_true(lies_in(b->relief_usual_m, 0.012 * 0.0254));
		assert_true(lies_in(b->action_bass_usual_m, 6.0 / 64 * 0.0254));
		assert_true(lies_in(b->action_treble_usual_m, 4.0 / 64 * 0.0254));
		assert_true(lies_in(b->action_treble_usual_m, 5.0 / 64 * 0.0254));
		assert_false(lies_in(b->relief_usual_m, 0.030 * 0.0254));
	}
}

/* Tools: feeler gauge +-0.03 mm, which is a step of 2 thou either way, evenly spread; ruler likewise half of 1/64 in; 1/24
 * turn by hand; common practice, no source. */
static void learning_starts_from_what_the_tools_can_tell(void **state)
{
	(void)state;
	const struct learn_prior *p = lib->learning;
	CLOSE(p[LEARN_RELIEF].reading_sd, 50.8e-6 / sqrt(3), 1e-6, "relief");
	CLOSE(p[LEARN_ACTION].reading_sd, 0.0254 / 128 / sqrt(3), 1e-6, "action");
	CLOSE(p[LEARN_FRET_ENDS].reading_sd, 30e-6, 1e-12, "fret ends");
	CLOSE(p[LEARN_TUNER_TURN].reading_sd, 1 / 24.0, 0.002, "turn");
	for (int i = 0; i < LEARN_QUANTITIES; i++)
		assert_true(p[i].gain_sd <= p[LEARN_RELIEF].gain_sd && p[i].gain_sd >= 0.2 &&
			    p[i].scatter_sd < p[i].reading_sd);
}

static char *faults_text(const struct faults *f)
{
	char *all = mem_new(FAULTS_MAX, 1400);
	assert_non_null(all);
	size_t len = 0;
	for (size_t i = 0; i < f->n; i++)
		len += (size_t)snprintf(all + len, 1400, "%s\n", f->text[i]);
	return all;
}

static void check_case(const char *folder)
{
	char want_path[300], want[32768] = "";
	(void)snprintf(want_path, sizeof want_path, "%s/want", folder);
	FILE *file = fopen(want_path, "rb");
	if (file) {
		assert_true(fread(want, 1, sizeof want - 1, file) > 0);
		(void)fclose(file);
	}
	const char *dirs[] = { "conf", folder };
	struct library *l = NULL;
	struct faults f = { 0 };
	enum rc rc = library_load(dirs, 2, &l, &f);
	char *got = faults_text(&f);
	if (strcmp(got, want) != 0)
		print_error("%s\n", folder);
	assert_string_equal(got, want);
	assert_int_equal(rc, file ? RC_CONFIG : RC_OK);
	assert_true((l != NULL) == (rc == RC_OK));
	mem_free(got);
	faults_done(&f);
	library_free(l);
}

static void every_folder_of_cases_gives_its_faults(void **state)
{
	(void)state;
	DIR *dir = opendir(CASES);
	assert_non_null(dir);
	int n = 0;
	for (struct dirent *d = readdir(dir); d; d = readdir(dir)) {
		if (d->d_name[0] == '.')
			continue;
		check_case(support_path(CASES, d->d_name));
		n++;
	}
	closedir(dir);
	assert_true(n >= 7);
}

static void a_later_folder_adds_and_replaces(void **state)
{
	(void)state;
	const char *dirs[] = { "conf", "nowhere", CASES "/good-own" };
	struct library *l = NULL;
	struct faults f = { 0 };
	assert_int_equal(library_load(dirs, 3, &l, &f), RC_OK);
	assert_int_equal(l->n_woods, lib->n_woods + 1);
	CLOSE(library_wood(l, "sitka_spruce")->species.c_r_per_pct, 0.0016, 0, "replaced");
	const struct build *shipped = library_build(l, "flat-top");
	CLOSE(shipped->members[build_member(shipped, MEMBER_TOP)].wood.c_r_per_pct, 0.0016, 0,
		"a shipped build uses it");
	const struct build *own = library_build(l, "own");
	CLOSE(own->members[0].ring_deg, 30, 0, "cut in degrees");
	CLOSE(own->members[0].finish_s_m[0], 0, 0, "bare when nothing is said");
	CLOSE(own->fastenings[0].pitch_m, 0.0254 / 32, 1e-12, "pitch as a fraction of an inch");
	CLOSE(own->rh_high_pct, 52.5, 0, "band");
	assert_int_equal(l->n_rules, lib->n_rules);
	CLOSE(l->learning[LEARN_RELIEF].gain_sd, 0.7, 0, "replaced prior");
	CLOSE(l->learning[LEARN_RELIEF].scatter_sd, 0, 0, "as a whole");
	assert_memory_equal(&l->learning[LEARN_ACTION], &lib->learning[LEARN_ACTION],
		sizeof l->learning[LEARN_ACTION]);
	library_free(l);
}

static void the_first_folder_has_to_be_there(void **state)
{
	(void)state;
	const char *dirs[] = { "nowhere" };
	struct library *l = NULL;
	struct faults f = { 0 };
	assert_int_equal(library_load(dirs, 1, &l, &f), RC_CONFIG);
	assert_int_equal(f.n, 1);
	assert_string_equal(f.text[0], "nowhere: no such folder: the folder of species.conf");
	faults_done(&f);
	char *folder = support_folder();
	dirs[0] = folder;
	assert_int_equal(library_load(dirs, 1, &l, &f), RC_CONFIG);
	assert_int_equal(f.n, 4);
	assert_null(l);
	faults_done(&f);
	static const char care[] = "learning = ( { name = \"action\"; gain_sd = 1; reading = "
				   "\"1mm\"; scatter = \"0mm\"; } );\n";
	support_write(support_path(folder, "care.conf"), care, sizeof care - 1);
	assert_int_equal(library_load(dirs, 1, &l, &f), RC_CONFIG);
	assert_int_equal(f.n, 3 + LEARN_QUANTITIES - 1);
	assert_non_null(
		strstr(f.text[2], "learning = [...]: no \"relief\": an entry of that name"));
	faults_done(&f);
	support_folder_remove(folder);
}

static void an_owner_changes_what_he_names(void **state)
{
	(void)state;
	const struct build *base = library_build(lib, "flat-top");
	struct build b;
	struct faults f = { 0 };
	assert_int_equal(
		library_override(lib, base,
			"top = { species = \"engelmann_spruce\"; thickness = \"2.9mm\"; };\n"
			"neck = { cut = \"flat\"; outer = \"oil\"; };\n"
			"band = [42, 50]; tuner_nut = { pitch = \"0.8mm\"; };\n"
			"strap_button = { member = \"body\"; count = 1; pitch = \"1.5mm\"; grip = "
			"\"20mm\"; };\n"
			"body = { species = \"mahogany_honduras\"; cut = \"rift\"; thickness = "
			"\"40mm\"; width = \"60mm\"; };\n"
			"top_brace = { species = \"red_spruce\"; width = \"6mm\"; };\n"
			"bridge_pin = { species = \"ebony_african\"; };\n"
			"relief = [\"3thou\", \"8thou\"]; cavity_lag = \"90 min\"; joint = "
			"\"316mm\";\n"
			"peg = { member = \"headstock\"; count = 1; species = \"rosewood_indian\"; "
			"diameter = \"8mm\"; };",
			"lute", &b, &f),
		RC_OK);
	const struct member *top = &b.members[build_member(&b, MEMBER_TOP)];
	const struct member *was = &base->members[build_member(base, MEMBER_TOP)];
	assert_string_equal(top->wood.name, "engelmann_spruce");
	CLOSE(top->thickness_m, 0.0029, 1e-12, "thickness");
	CLOSE(top->width_m, was->width_m, 0, "width stays");
	CLOSE(top->finish_s_m[0], was->finish_s_m[0], 0, "finish stays");
	const struct member *neck = &b.members[build_member(&b, MEMBER_NECK)];
	CLOSE(neck->ring_deg, 90, 0, "cut");
	CLOSE(neck->finish_s_m[0], 2.6e6, 0, "outer");
	CLOSE(neck->finish_s_m[1], MOISTURE_SEALED, 0, "inner stays");
	CLOSE(b.rh_low_pct, 42, 0, "band");
	CLOSE(b.fastenings[0].pitch_m, 0.0008, 1e-12, "pitch");
	CLOSE(b.fastenings[0].grip_m, base->fastenings[0].grip_m, 0, "grip stays");
	CLOSE(b.fastenings[0].relax_s, base->fastenings[0].relax_s, 0, "relax stays");
	const struct member *brace = &b.members[build_member(&b, MEMBER_TOP_BRACE)];
	assert_string_equal(brace->wood.name, "red_spruce");
	CLOSE(brace->width_m, 0.006, 1e-12, "brace width");
	CLOSE(brace->thickness_m, 0.014, 1e-12, "brace height stays");
	CLOSE(brace->finish_s_m[1], MOISTURE_SEALED, 0, "brace stays glued");
	CLOSE(b.cavity_lag_s, 5400, 0, "cavity");
	CLOSE(b.joint_m, 0.316, 1e-12, "joint");
	CLOSE(b.relief_usual_m[1], 8 * 25.4e-6, 1e-12, "usual relief");
	CLOSE(b.action_bass_usual_m[0], base->action_bass_usual_m[0], 0, "usual action stays");
	CLOSE(b.string_life_s, base->string_life_s, 0, "string life stays");
	assert_int_equal(b.n_members, base->n_members + 1);
	assert_int_equal(b.n_fastenings, base->n_fastenings + 2);
	const struct fastening *pin = &b.fastenings[1], *button = &b.fastenings[2],
			       *peg = &b.fastenings[3];
	assert_int_equal(pin->kind, FASTENING_BRIDGE_PIN);
	assert_string_equal(pin->wood.name, "ebony_african");
	CLOSE(pin->taper, base->fastenings[1].taper, 0, "taper stays");
	assert_int_equal(b.members[button->member].role, MEMBER_BODY);
	assert_int_equal(b.members[peg->member].role, MEMBER_HEADSTOCK);
	assert_string_equal(peg->wood.name, "rosewood_indian");
	/* 1:30; common practice, no source */
	CLOSE(peg->taper, 1 / 30.0, 1e-4, "taper of a reamer");
	assert_string_equal(b.name, "flat-top");
}

static void an_empty_species_makes_pins_of_bone(void **state)
{
	(void)state;
	struct build wooden, bone;
	struct faults f = { 0 };
	assert_int_equal(
		library_override(lib, library_build(lib, "flat-top"),
			"bridge_pin = { species = \"ebony_african\"; };", "x", &wooden, &f),
		RC_OK);
	assert_int_equal(
		library_override(lib, &wooden, "bridge_pin = { species = \"\"; };", "x", &bone, &f),
		RC_OK);
	CLOSE(wooden.fastenings[1].wood.c_t_per_pct, 0.00319, 0, "ebony swells");
	CLOSE(bone.fastenings[1].wood.c_t_per_pct, 0, 0, "bone does not");
}

static void no_changes_give_the_build_itself(void **state)
{
	(void)state;
	const struct build *base = library_build(lib, "nylon");
	struct build b;
	struct faults f = { 0 };
	assert_int_equal(library_override(lib, base, NULL, "x", &b, &f), RC_OK);
	assert_memory_equal(&b, base, sizeof b);
	assert_int_equal(library_override(lib, base, "", "x", &b, &f), RC_OK);
	assert_memory_equal(&b, base, sizeof b);
}

static void impossible_changes_are_faults_and_change_nothing(void **state)
{
	(void)state;
	static const struct {
		const char *text, *want;
	} bad[] = {
		{ "top = { thickness = \"0mm\"; };",
			"lute:1: top: thickness = \"0mm\": too small: 0.3mm to 300mm" },
		{ "top = { thickness = \"-2mm\"; };",
			"lute:1: top: thickness = \"-2mm\": too small: 0.3mm to 300mm" },
		{ "band = [42, 50];\ntop = { thickness = \"30cm\"; };\nneck = { width = \"2m\"; };",
			"lute:3: neck: width = \"2m\": too large: 3mm to 1200mm" },
		{ "top = { thickness = \"0.31m\"; };",
			"lute:1: top: thickness = \"0.31m\": too large: 0.3mm to 300mm" },
		{ "top = { species = \"sitka_spurce\"; };",
			"lute:1: top: species = \"sitka_spurce\": no such species: did you mean "
			"\"sitka_spruce\"?" },
		{ "top = { species = \"spruce\"; };",
			"lute:1: top: species = \"spruce\": no such species: did you mean "
			"\"sitka_spruce\", \"engelmann_spruce\", "
			"\"red_spruce\", \"black_spruce\", ...?" },
		{ "top = { outer = \"laquer\"; };", "lute:1: top: outer = \"laquer\": no such "
						    "finish: did you mean \"lacquer\"?" },
		{ "topp = { };", "lute:1: topp: no such setting: did you mean \"top\"?" },
		{ "top = { thicknes = \"2mm\"; };",
			"lute:1: top: thicknes: no such setting: did you mean \"thickness\"?" },
		{ "name = \"mine\";", "lute:1: name: no such setting: did you mean \"band\"?" },
		{ "top = 3;", "lute:1: top = 3: wrong type: a group { ... }" },
		{ "tuner_nut = { grip = \"16mm\"; };",
			"lute:1: tuner_nut: grip = \"16mm\": too large for thickness of headstock, "
			"15mm: at most that" },
		{ "headstock = { thickness = \"13mm\"; };",
			"lute:1: headstock: thickness = \"13mm\": too small for grip of tuner_nut, "
			"14.5mm: at least that" },
		{ "joint = \"1m\";",
			"lute:1: joint = \"1m\": too large for scale, 645.16mm: less than that" },
		{ "body_length = \"250mm\"; back_span = \"200mm\";",
			"lute:1: body_length = \"250mm\": too small for top_span, 300mm: at least "
			"that" },
		{ "brace_pitch = \"5mm\";", "lute:1: brace_pitch = \"5mm\": too small for width of "
					    "top_brace, 8mm: at least that" },
		{ "fingerboard = { width = \"12cm\"; };",
			"lute:1: fingerboard: width = \"12cm\": too large for twice the width of "
			"neck, 100mm: at most that" },
		{ "bridge_pin = { taper = 5; };",
			"lute:1: bridge_pin: taper = 5: too large: 0.005 to 0.2" },
		{ "under_bridge = { };",
			"lute:1: under_bridge: no such setting: did you mean \"bridge\"?" },
		{ "back_brace = { thickness = \"-1mm\"; };",
			"lute:1: back_brace: thickness = \"-1mm\": too small: 0.3mm to 300mm" },
		{ "action_treble = [\"2mm\", \"1mm\"];",
			"lute:1: action_treble = [...]: the first is not the lower one: two "
			"lengths, "
			"the low one first, such as [\".004in\", \".012in\"], 0mm to 30mm" },
		{ "band = [42, 50]\ntop = {", "lute:2: syntax error: look for a missing ; or , or "
					      "quote, here or on the line "
					      "above" },
		{ "@include \"/etc/passwd\"\n",
			"lute:1: @include \"/etc/passwd\": no includes here" },
	};
	const struct build *base = library_build(lib, "flat-top");
	for (size_t i = 0; i < COUNT(bad); i++) {
		struct build b, untouched;
		memset(&b, 0x5a, sizeof b);
		untouched = b;
		struct faults f = { 0 };
		assert_int_equal(
			library_override(lib, base, bad[i].text, "lute", &b, &f), RC_CONFIG);
		assert_int_equal(f.n, 1);
		assert_string_equal(f.text[0], bad[i].want);
		assert_memory_equal(&b, &untouched, sizeof b);
		faults_done(&f);
	}
}

static void the_example_settings_load(void **state)
{
	(void)state;
	struct settings *s = NULL;
	struct faults f = { 0 };
	enum rc rc = settings_load("conf/seasond.conf.example", &s, &f);
	for (size_t i = 0; i < f.n; i++)
		print_error("%s\n", f.text[i]);
	assert_int_equal(rc, RC_OK);
	assert_int_equal(s->n_places, 3);
	settings_free(s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(coefficients_agree_with_the_shrinkage_they_come_from),
		cmocka_unit_test(species_have_the_published_values),
		cmocka_unit_test(every_species_says_how_sure_its_values_are),
		cmocka_unit_test(finishes_give_back_the_moisture_excluding_effectiveness),
		cmocka_unit_test(relief_spans_reach_from_fret_1_to_the_body_joint),
		cmocka_unit_test(bowed_instruments_have_their_proportions),
		cmocka_unit_test(builds_are_whole),
		cmocka_unit_test(every_kind_of_rule_is_shipped_with_a_caution),
		cmocka_unit_test(a_healthy_steel_string_setup_is_usual),
		cmocka_unit_test(learning_starts_from_what_the_tools_can_tell),
		cmocka_unit_test(every_folder_of_cases_gives_its_faults),
		cmocka_unit_test(a_later_folder_adds_and_replaces),
		cmocka_unit_test(the_first_folder_has_to_be_there),
		cmocka_unit_test(an_owner_changes_what_he_names),
		cmocka_unit_test(an_empty_species_makes_pins_of_bone),
		cmocka_unit_test(no_changes_give_the_build_itself),
		cmocka_unit_test(impossible_changes_are_faults_and_change_nothing),
		cmocka_unit_test(the_example_settings_load),
	};
	return cmocka_run_group_tests(tests, load_shipped, free_shipped);
}
