/* Build files and the lines an owner lays over them: the same settings, read by the same rows. */
#include "daemon/library_int.h"

#include <stdio.h>
#include <string.h>

#define YEAR_S 31536000.0

static const char *const role_words[] = {
	[MEMBER_TOP] = "top",
	[MEMBER_BACK] = "back",
	[MEMBER_NECK] = "neck",
	[MEMBER_FINGERBOARD] = "fingerboard",
	[MEMBER_HEADSTOCK] = "headstock",
	[MEMBER_BRIDGE] = "bridge",
	[MEMBER_BODY] = "body",
	[MEMBER_BODY + 1] = NULL,
};

static const char *const fastening_words[] = {
	[FASTENING_TUNER_NUT] = "tuner_nut",
	[FASTENING_BUSHING] = "bushing",
	[FASTENING_STRAP_BUTTON] = "strap_button",
	[FASTENING_SCREW] = "screw",
	[FASTENING_SCREW + 1] = NULL,
};

enum { ROLES = MEMBER_BODY + 1, KINDS = FASTENING_SCREW + 1 };

/* What a build says in words or in other types than struct build holds. */
struct draft {
	struct build build;
	char brace_species[BUILD_NAME];
	int64_t string_life_s;
};

/* An owner's lines have all but the first two. */
enum { ROWS_OF_FILE_ONLY = 2 };
static const struct field build_rows[] = {
	{ "name", FIELD_NAME, FIELD_AT(draft, build.name), 0, 0, NULL, NULL, NULL,
		"short name, used by instruments" },
	{ "title", FIELD_TEXT, FIELD_AT(draft, build.title), 1, 0, NULL, NULL, NULL,
		"name for people" },
	/* rh_low_pct and rh_high_pct stand side by side */
	{ "band", FIELD_PAIR, offsetof(struct draft, build.rh_low_pct), 2 * sizeof(double), 0, 100,
		"% RH", NULL, NULL, "humidity it wants" },
	{ "scale", FIELD_LENGTH, FIELD_AT(draft, build.scale_m), 0.2, 1.5, NULL, NULL, NULL,
		"string length" },
	{ "relief_span", FIELD_LENGTH, FIELD_AT(draft, build.relief_span_m), 0.05, 1.2, NULL, NULL,
		NULL, "over which relief is measured: fret 1 to the body joint" },
	{ "relief_share", FIELD_REAL, FIELD_AT(draft, build.relief_share), 0, 1, NULL, NULL, NULL,
		"of the free bending that strings and rod let through" },
	{ "top_span", FIELD_LENGTH, FIELD_AT(draft, build.top_span_m), 0, 1, NULL, "\"0mm\"", NULL,
		"braced length of top that rises under the bridge; 0mm: solid body" },
	{ "top_share", FIELD_REAL, FIELD_AT(draft, build.top_share), 0, 1, NULL, "0", NULL,
		"of the free rise that edges, arch and braces let through" },
	{ "brace_height", FIELD_LENGTH, FIELD_AT(draft, build.brace_height_m), 0, 0.1, NULL,
		"\"0mm\"", NULL, "of one brace" },
	{ "brace_width", FIELD_LENGTH, FIELD_AT(draft, build.brace_width_m), 0, 0.1, NULL,
		"\"0mm\"", NULL, "of one brace" },
	{ "brace_pitch", FIELD_LENGTH, FIELD_AT(draft, build.brace_pitch_m), 0, 0.5, NULL,
		"\"0mm\"", NULL, "strip of top that one brace carries" },
	{ "brace_species", FIELD_NAME, FIELD_AT(draft, brace_species), 0, 0, NULL, "\"\"", NULL,
		"wood of the braces" },
	{ "string_life", FIELD_SPAN, FIELD_AT(draft, string_life_s), 86400, 10 * YEAR_S, NULL, NULL,
		NULL, "how long a set lasts in ordinary playing" },
	{ "top", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "members: what is made of wood" },
	{ "back", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "" },
	{ "neck", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL,
		"the shaft under the fingerboard" },
	{ "fingerboard", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "" },
	{ "headstock", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "" },
	{ "bridge", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "" },
	{ "body", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "solid body" },
	{ "tuner_nut", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "hardware clamped on wood" },
	{ "bushing", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "" },
	{ "strap_button", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "" },
	{ "screw", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "" },
};
enum { BUILD_ROWS = sizeof build_rows / sizeof build_rows[0] };

struct member_draft {
	char species[BUILD_NAME];
	double thickness_m, width_m;
	char outer[BUILD_NAME], inner[BUILD_NAME];
};

static const struct field member_rows[] = {
	{ "species", FIELD_NAME, FIELD_AT(member_draft, species), 0, 0, NULL, NULL, NULL,
		"a name out of species.conf" },
	{ "cut", FIELD_OTHER, 0, 0, 0, 0, "quarter, rift, flat or degrees", NULL, NULL,
		"growth rings to the width" },
	{ "thickness", FIELD_LENGTH, FIELD_AT(member_draft, thickness_m), 0.0003, 0.3, NULL, NULL,
		NULL, "" },
	{ "width", FIELD_LENGTH, FIELD_AT(member_draft, width_m), 0.003, 1.2, NULL, NULL, NULL,
		"across the grain" },
	{ "outer", FIELD_NAME, FIELD_AT(member_draft, outer), 0, 0, NULL, "\"bare\"", NULL,
		"finish of the outer face" },
	{ "inner", FIELD_NAME, FIELD_AT(member_draft, inner), 0, 0, NULL, "\"bare\"", NULL,
		"finish of the inner face" },
};

struct fastening_draft {
	struct fastening fastening;
	int role;
	int64_t relax_s;
};

static const struct field fastening_rows[] = {
	{ "member", FIELD_WORD, FIELD_AT(fastening_draft, role), 0, 0, NULL, NULL, role_words,
		"the wood it clamps" },
	{ "count", FIELD_INT, FIELD_AT(fastening_draft, fastening.count), 1, 48, NULL, NULL, NULL,
		"how many" },
	{ "thread", FIELD_TEXT, FIELD_AT(fastening_draft, fastening.thread), 0, 0, NULL, "\"\"",
		NULL, "as people say it" },
	{ "pitch", FIELD_LENGTH, FIELD_AT(fastening_draft, fastening.pitch_m), 0.0002, 0.005, NULL,
		NULL, NULL, "of the thread" },
	{ "grip", FIELD_LENGTH, FIELD_AT(fastening_draft, fastening.grip_m), 0.001, 0.1, NULL, NULL,
		NULL, "wood between the jaws" },
	/* Hoadley in The Structural Conservation of Panel Paintings (Getty 1998): transverse
	 * compression is elastic up to 0.5-1 %; the snug strain and the time of relaxation are
	 * judgement, no source */
	{ "snug_strain", FIELD_REAL, FIELD_AT(fastening_draft, fastening.snug_strain), 0.0005, 0.02,
		NULL, "0.004", NULL, "strain of the wood right after snugging" },
	{ "yield_strain", FIELD_REAL, FIELD_AT(fastening_draft, fastening.yield_strain), 0.001,
		0.05, NULL, "0.0075", NULL, "strain at which the wood crushes" },
	{ "relax", FIELD_SPAN, FIELD_AT(fastening_draft, relax_s), 86400, 50 * YEAR_S, NULL,
		"\"1.5 y\"", NULL, "time in which squeezed wood gives way" },
};

/* The group being read and what faults call it. */
struct reader {
	const struct library *lib;
	const config_setting_t *group;
	const char *what;
	bool overlay;
	struct faults *faults;
};

static void fault(const struct reader *r, const char *setting, const char *why)
{
	schema_fault(r->faults, r->group, r->what, setting, "%s", why);
}

static void read_rows(const struct reader *r, const struct field *rows, size_t n, void *target)
{
	if (r->overlay)
		schema_overlay(r->group, rows, n, target, r->what, r->faults);
	else
		schema_read(r->group, rows, n, target, r->what, r->faults);
}

static void look_up_wood(
	const struct reader *r, const char *setting, const char *name, struct species *out)
{
	const struct wood *w = name[0] ? library_wood(r->lib, name) : NULL;
	if (w)
		*out = w->species;
	else if (name[0])
		library_no_such(r->faults, r->group, r->what, setting, "species", name,
			r->lib->woods, r->lib->n_woods, sizeof *r->lib->woods);
}

static void look_up_finish(
	const struct reader *r, const char *setting, const char *name, double *out)
{
	const struct finish *x = name[0] ? library_finish(r->lib, name) : NULL;
	if (x)
		*out = x->resistance_s_m;
	else if (name[0])
		library_no_such(r->faults, r->group, r->what, setting, "finish", name,
			r->lib->finishes, r->lib->n_finishes, sizeof *r->lib->finishes);
}

static void read_cut(const struct reader *r, double *ring_deg)
{
	static const char *const words[] = { "quarter", "rift", "flat", NULL };
	static const double degrees[] = { 0, 45, 90 };
	static const char *const accepts = "\"quarter\", \"rift\", \"flat\" or degrees, 0 to 90";
	const config_setting_t *s = schema_member(r->group, "cut");
	static const struct field word = { "cut", FIELD_WORD, 0, sizeof(int), 0, 0, NULL, NULL,
		words, "" };
	static const struct field number = { "cut", FIELD_REAL, 0, sizeof(double), 0, 90, "degrees",
		NULL, NULL, "" };
	int chosen = 0;
	if (!s && !r->overlay)
		schema_fault(r->faults, r->group, r->what, "cut", "missing: %s", accepts);
	if (!s)
		return;
	if (config_setting_type(s) == CONFIG_TYPE_STRING) {
		schema_read_one(r->group, &word, &chosen, r->what, r->faults);
		*ring_deg = degrees[chosen];
	} else {
		schema_read_one(r->group, &number, ring_deg, r->what, r->faults);
	}
}

/* The group of that name; a fault when it is something else. */
static const config_setting_t *group_of(const struct reader *r, const char *name)
{
	const config_setting_t *s = schema_member(r->group, name);
	if (!s || config_setting_is_group(s))
		return s;
	fault(r, name, "wrong type: a group { ... }");
	return NULL;
}

static void read_member(const struct reader *outer, int role, struct build *b)
{
	struct reader r = *outer;
	r.what = role_words[role];
	r.group = group_of(outer, r.what);
	if (!r.group)
		return;
	size_t at = build_member(b, (enum member_role)role);
	r.overlay = at < b->n_members;
	struct member m =
		r.overlay ? b->members[at] : (struct member){ .role = (enum member_role)role };
	struct member_draft draft = { .thickness_m = m.thickness_m, .width_m = m.width_m };
	read_rows(&r, FIELD_ROWS(member_rows), &draft);
	read_cut(&r, &m.ring_deg);
	look_up_wood(&r, "species", draft.species, &m.wood);
	look_up_finish(&r, "outer", draft.outer, &m.finish_s_m[0]);
	look_up_finish(&r, "inner", draft.inner, &m.finish_s_m[1]);
	m.thickness_m = draft.thickness_m;
	m.width_m = draft.width_m;
	b->members[at] = m;
	b->n_members += at == b->n_members;
}

static size_t fastening_at(const struct build *b, int kind)
{
	size_t i = 0;
	while (i < b->n_fastenings && (int)b->fastenings[i].kind != kind)
		i++;
	return i;
}

static void check_fastening(
	const struct reader *r, const struct build *b, const struct fastening_draft *d)
{
	if (schema_member(r->group, "member") && d->fastening.member == b->n_members)
		fault(r, "member", "this build has no such member: a member it has");
	if (d->fastening.yield_strain <= d->fastening.snug_strain)
		fault(r, "yield_strain", "not above snug_strain: more");
}

static void read_fastening(const struct reader *outer, int kind, struct build *b)
{
	struct reader r = *outer;
	r.what = fastening_words[kind];
	r.group = group_of(outer, r.what);
	if (!r.group)
		return;
	size_t at = fastening_at(b, kind);
	r.overlay = at < b->n_fastenings;
	struct fastening_draft d = { .fastening = { .kind = (enum fastening_kind)kind,
					     .member = b->n_members } };
	if (r.overlay)
		d.fastening = b->fastenings[at];
	d.role = d.fastening.member < b->n_members ? (int)b->members[d.fastening.member].role
						   : ROLES;
	d.relax_s = (int64_t)d.fastening.relax_s;
	read_rows(&r, FIELD_ROWS(fastening_rows), &d);
	d.fastening.member = build_member(b, (enum member_role)d.role);
	d.fastening.relax_s = (double)d.relax_s;
	check_fastening(&r, b, &d);
	b->fastenings[at] = d.fastening;
	b->n_fastenings += at == b->n_fastenings;
}

static void check_braces(const struct reader *r, const struct build *b)
{
	if (!(b->top_span_m > 0))
		return;
	if (build_member(b, MEMBER_TOP) == b->n_members)
		fault(r, "top", "missing: the top that rises over top_span");
	if (!(b->brace_height_m > 0))
		fault(r, "brace_height", "missing: more than 0mm");
	if (!(b->brace_width_m > 0))
		fault(r, "brace_width", "missing: more than 0mm");
	if (b->brace_pitch_m < b->brace_width_m)
		fault(r, "brace_pitch", "less than brace_width: at least that");
	if (!(b->brace_e_pa > 0))
		fault(r, "brace_species", "missing: a name out of species.conf");
}

static void check_whole(const struct reader *r, const struct build *b)
{
	if (b->n_members == 0)
		fault(r, NULL, "no members: top, neck, fingerboard, headstock and so on");
	if (b->relief_span_m >= b->scale_m)
		fault(r, "relief_span", "not under scale: fret 1 to the body joint");
	for (size_t i = 0; i < b->n_fastenings; i++) {
		const struct fastening *x = &b->fastenings[i];
		const struct member *m = &b->members[x->member];
		const config_setting_t *group = schema_member(r->group, fastening_words[x->kind]);
		if (x->grip_m > m->thickness_m * 1.0001) /* room for rounding of inches */
			schema_fault(r->faults, group ? group : r->group, fastening_words[x->kind],
				NULL,
				"grip %gmm is more than the thickness of %s, %gmm: a grip within "
				"the wood",
				x->grip_m * 1e3, role_words[m->role], m->thickness_m * 1e3);
	}
	check_braces(r, b);
}

void library_read_build(const struct library *l, const config_setting_t *root, bool overlay,
	struct build *b, struct faults *f)
{
	const struct reader r = { l, root, "", overlay, f };
	size_t before = f->n + f->beyond;
	size_t skip = overlay ? ROWS_OF_FILE_ONLY : 0;
	struct species brace = { .e_l_pa = b->brace_e_pa };
	struct draft d = { .build = *b, .string_life_s = (int64_t)b->string_life_s };
	read_rows(&r, build_rows + skip, BUILD_ROWS - skip, &d);
	look_up_wood(&r, "brace_species", d.brace_species, &brace);
	d.build.brace_e_pa = brace.e_l_pa;
	d.build.string_life_s = (double)d.string_life_s;
	for (int role = 0; role < ROLES; role++)
		read_member(&r, role, &d.build);
	for (int kind = 0; kind < KINDS; kind++)
		read_fastening(&r, kind, &d.build);
	if (f->n + f->beyond == before)
		check_whole(&r, &d.build);
	*b = d.build;
}
