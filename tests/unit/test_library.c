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
	assert_int_equal(lib->n_woods, 33);
	assert_int_equal(checked, 31);
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
		assert_true(strstr(source, "(read)") || strstr(source, "(quoted)") ||
			    strstr(source, "from memory"));
		assert_true(lib->woods[i].species.c_t_per_pct > lib->woods[i].species.c_r_per_pct);
		assert_true(lib->woods[i].species.e_l_pa > 5 * lib->woods[i].species.e_r_pa);
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
	/* Feist, Little and Wennesheimer 1985, FPL-RP-462, two coats (quoted) */
	static const struct {
		const char *name;
		double pct_7d, pct_14d;
	} rows[] = {
		{ "oil", 2, 0 },
		{ "lacquer", 22, 8 },
		{ "varnish", 36, 15 },
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

/* Distance from fret 1 to fret n of equal temperament: scale (2^(-1/12) - 2^(-n/12)). */
static void relief_spans_reach_from_fret_1_to_the_body_joint(void **state)
{
	(void)state;
	static const struct {
		const char *name;
		int joint;
	} rows[] = { { "flat-top", 14 }, { "parlour", 12 }, { "nylon", 12 }, { "bolt-on", 17 } };
	assert_int_equal(lib->n_builds, COUNT(rows));
	for (size_t i = 0; i < COUNT(rows); i++) {
		const struct build *b = library_build(lib, rows[i].name);
		assert_non_null(b);
		double span_m = b->scale_m * (exp2(-1 / 12.0) - exp2(-rows[i].joint / 12.0));
		CLOSE(b->relief_span_m, span_m, 1e-3, rows[i].name);
	}
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
		assert_true(board < b->n_members && neck < b->n_members);
		assert_true(build_member(b, MEMBER_HEADSTOCK) < b->n_members);
		CLOSE(b->members[board].finish_s_m[1], MOISTURE_SEALED, 0, b->name);
		CLOSE(b->members[neck].finish_s_m[1], MOISTURE_SEALED, 0, b->name);
		assert_true(b->top_span_m == 0 || b->brace_e_pa > 5e9);
		for (size_t k = 0; k < b->n_fastenings; k++) {
			assert_true(b->fastenings[k].member < b->n_members);
			CLOSE(b->fastenings[k].snug_strain, 0.004, 0, b->name);
			CLOSE(b->fastenings[k].yield_strain, 0.0075, 0, b->name);
			CLOSE(b->fastenings[k].relax_s, 1.5 * 365 * 86400, 0, b->name);
		}
	}
}

static void every_kind_of_rule_is_shipped_with_a_caution(void **state)
{
	(void)state;
	for (int kind = CARE_PRELOAD; kind <= CARE_SETTLE; kind++) {
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

/* Tools: feeler gauge +-0.03 mm or a step of 2 thou, ruler half of 1/64 in, 1/24 turn by hand; common practice, no
 * source. */
static void learning_starts_from_what_the_tools_can_tell(void **state)
{
	(void)state;
	const struct learn_prior *p = lib->learning;
	CLOSE(p[LEARN_RELIEF].reading_sd, 50.8e-6, 1e-12, "relief");
	CLOSE(p[LEARN_ACTION].reading_sd, 0.0254 / 128, 1e-12, "action");
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
			"\"40mm\"; width = \"60mm\"; };",
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
	CLOSE(b.brace_e_pa, base->brace_e_pa, 0, "braces stay");
	CLOSE(b.string_life_s, base->string_life_s, 0, "string life stays");
	assert_int_equal(b.n_members, base->n_members + 1);
	assert_int_equal(b.n_fastenings, 2);
	assert_int_equal(b.members[b.fastenings[1].member].role, MEMBER_BODY);
	assert_string_equal(b.name, "flat-top");
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
			"lute:1: tuner_nut: grip 16mm is more than the thickness of headstock, "
			"15mm: a grip within the wood" },
		{ "headstock = { thickness = \"13mm\"; };",
			"lute: tuner_nut: grip 14.5mm is more than the thickness of headstock, "
			"13mm: a grip within the wood" },
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
		cmocka_unit_test(builds_are_whole),
		cmocka_unit_test(every_kind_of_rule_is_shipped_with_a_caution),
		cmocka_unit_test(learning_starts_from_what_the_tools_can_tell),
		cmocka_unit_test(every_folder_of_cases_gives_its_faults),
		cmocka_unit_test(a_later_folder_adds_and_replaces),
		cmocka_unit_test(the_first_folder_has_to_be_there),
		cmocka_unit_test(an_owner_changes_what_he_names),
		cmocka_unit_test(no_changes_give_the_build_itself),
		cmocka_unit_test(impossible_changes_are_faults_and_change_nothing),
		cmocka_unit_test(the_example_settings_load),
	};
	return cmocka_run_group_tests(tests, load_shipped, free_shipped);
}
