/* What workings rest on: the wood as it is, formulas with their documents, species with theirs. */
#include "daemon/ctl_workings.h"

#include <string.h>

#include "daemon/ctl_wood.h"

/* What is glued to what: the first lies on the second, and its last cell on the other's first. */
static const enum member_role glued[][2] = {
	{ MEMBER_FINGERBOARD, MEMBER_NECK },
	{ MEMBER_BRIDGE, MEMBER_UNDER_BRIDGE },
	{ MEMBER_UNDER_TOP_BRACE, MEMBER_TOP_BRACE },
	{ MEMBER_UNDER_BACK_BRACE, MEMBER_BACK_BRACE },
};

static void face_words(
	const struct library *l, double resistance_s_m, const char *on, char *buf, size_t n)
{
	char name[64];
	ctl_wood_finish(name, sizeof name, l, resistance_s_m);
	if (on)
		(void)snprintf(buf, n, "on %s", on);
	else if (resistance_s_m > 0 && resistance_s_m < MOISTURE_SEALED)
		(void)snprintf(buf, n, "%s %.2g", name, resistance_s_m);
	else
		(void)snprintf(buf, n, "%s", name);
}

/* The faces in the order of the cells: of what lies under another piece the glue comes first, then the face that
 * shows. */
static void print_faces(const struct library *l, const struct build *b, const struct member *m)
{
	char face[2][96];
	const char *on[2] = { NULL, NULL };
	double resistance_s_m[2] = { m->finish_s_m[0], m->finish_s_m[1] };
	for (size_t i = 0; i < sizeof glued / sizeof glued[0]; i++) {
		size_t upper = build_member(b, glued[i][0]), lower = build_member(b, glued[i][1]);
		if (upper == b->n_members || lower == b->n_members)
			continue;
		if (m->role == glued[i][0])
			on[1] = library_role(glued[i][1]);
		if (m->role == glued[i][1]) {
			on[0] = library_role(glued[i][0]);
			if (m->role != MEMBER_UNDER_BRIDGE)
				resistance_s_m[1] = m->finish_s_m[0];
		}
	}
	for (size_t i = 0; i < 2; i++)
		face_words(l, resistance_s_m[i], on[i], face[i], sizeof face[i]);
	if (strcmp(face[0], face[1]) == 0)
		(void)printf("  %s both\n", face[0]);
	else
		(void)printf("  %s | %s\n", face[0], face[1]);
}

void workings_wood(const struct workings *w)
{
	(void)puts("  wood: moisture % of dry mass at one face, middle, other face, mean; these "
		   "faces' "
		   "finish, s/m");
	for (size_t i = 0; i < w->b->n_members; i++) {
		const struct member *m = &w->b->members[i];
		const double *mc = w->f->state.mc_pct[i];
		if (!w->used[i])
			continue;
		(void)printf("    %-16s %-20s %5.2f %5.2f %5.2f  %6.3f", library_role(m->role),
			m->wood.name, mc[0], mc[MOISTURE_CELLS / 2], mc[MOISTURE_CELLS - 1],
			moisture_mean(mc, MOISTURE_CELLS));
		print_faces(w->ctl->desk.lib, w->b, m);
	}
}

/* ---- sources ---- */

static const char *const documents[FORMULAS] = {
	[FORMULA_SORPTION] =
		"equilibrium moisture: Hailwood-Horrobin, Wood Handbook FPL-GTR-190 (2010) eq. "
		"4-5. With h "
		"= RH/100, T in degC: 1800/W (K h/(1 - K h) + (K1 K h + 2 K1 K2 K^2 h^2)/(1 + K1 K "
		"h + K1 "
		"K2 K^2 h^2)), W = 349 + 1.29 T + 0.0135 T^2, K = 0.805 + 0.000736 T - 0.00000273 "
		"T^2, K1 "
		"= 6.27 - 0.00938 T - 0.000303 T^2, K2 = 1.91 + 0.0407 T - 0.000293 T^2",
	[FORMULA_TRANSPORT] =
		"moisture in the wood: finite volumes through the thickness, 16 a piece, every "
		"hour; "
		"diffusivity of Siau (1984), surface emission of Toratti (1992, from memory) in "
		"series with "
		"the finish (finishes.conf tells its source); pieces glued face to face share "
		"their water. "
		"Too long for a pocket calculator; the rest starts from the moistures given",
	[FORMULA_SWELLING] =
		"swelling: C x change of moisture, Wood Handbook ch. 13 eq. 13-2 (6 to 14 %); C "
		"across = "
		"C_R cos^2 a + C_T sin^2 a, rings at a to the width (quarter 0, rift 45, flat 90 "
		"deg), C "
		"through the thickness with sin and cos changed over: rotation of strain, exact",
	[FORMULA_BENDING] = "bending: balance of force and moment over the layers; of two of one "
			    "width Timoshenko (1925) "
			    "J. Opt. Soc. Am. 11:233 eq. 4. With A = E x width x thickness, y its "
			    "middle's distance from "
			    "the axis that A balances: kappa = sum(A x free strain x y)/sum(A "
			    "(thickness^2/12 + y^2)), "
			    "sagitta kappa L^2/8; pieces, shares and spans of the build are "
			    "judgement. Swelling along the "
			    "grain is poorly known: size and sign are only sure once findings have "
			    "confirmed them",
	[FORMULA_ACTION] = "action: the string turns about the nut, half of what the bridge rises "
			   "arrives at the 12th "
			   "fret (similar triangles, geometry); a back grown longer than the top "
			   "bends the body as a "
			   "thin-walled box, which turns the neck; half of the relief counts "
			   "(common practice, no "
			   "source)",
	[FORMULA_LEARNING] =
		"learning: Bayesian linear regression, Bishop (2006), Pattern "
		"Recognition and Machine "
		"Learning, eqs 3.50, 3.51, 3.58, 3.59, from memory; sums over deviations "
		"from each segment's "
		"means; k = (reading^2 + scatter^2)/(sd of the prior)^2, what care.conf says of "
		"them is judgement where it says so; a finding more than 3 standard "
		"deviations off begins a segment of "
		"its own (judgement, no source)",
	[FORMULA_CLAMP] = "hardware: one-sided play; wood crushes at 0.5-1 % of transverse "
			  "compression (Hoadley in The "
			  "Structural Conservation of Panel Paintings, Getty 1998); snug strain "
			  "and relaxation are "
			  "judgement, no source",
	[FORMULA_HELD] = "stretched: C x (moisture without stress - moisture), held all round; "
			 "made in the middle of "
			 "the build's band at 20 degC (common practice, no source), from there "
			 "relaxing with 1.5 years "
			 "(judgement, no source); wood gives from about 0.4 % of tension and fails "
			 "from 0.9 % (Richard, "
			 "Mecklenburg and Tumosa in The Structural Conservation of Panel "
			 "Paintings, Getty 1998), stays "
			 "squeezed from 0.5-1 % (Hoadley there)",
	[FORMULA_TAPER] =
		"pegs and pins: geometry of a taper; that the peg holds the moisture of the wood "
		"round it is "
		"judgement; that pegs stick in damp and slip in dry is common practice, no source",
	[FORMULA_SEASON] =
		("turn of the year: moisture smoothed over a week has left its extreme by 0.6 % "
		 "(judgement, no source)"),
};

void workings_sources(const struct workings *w)
{
	const struct species *woods[BUILD_MEMBERS + BUILD_FASTENINGS];
	size_t n = 0;
	for (size_t i = 0; i < w->b->n_members; i++)
		if (w->used[i])
			woods[n++] = &w->b->members[i].wood;
	for (size_t i = 0; i < w->b->n_fastenings; i++)
		if (w->formulas[FORMULA_TAPER] && !fastening_is_clamped(&w->b->fastenings[i]))
			woods[n++] = &w->b->fastenings[i].wood;
	(void)puts("  sources");
	for (size_t i = 0; i < FORMULAS; i++)
		if (w->formulas[i])
			ctl_wood_wrapped(documents[i], 4);
	ctl_wood_sources(w->ctl->desk.lib, woods, n);
}
