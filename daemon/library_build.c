/* Build files and the lines an owner lays over them: the same settings, read by the same rows. */
#include "daemon/library_int.h"

#include <stdio.h>
#include <string.h>

#define YEAR_S 31536000.0

/* Those up to the pin block may stand in a file. */
static const char *const role_words[] = {
	[MEMBER_TOP] = "top",
	[MEMBER_BACK] = "back",
	[MEMBER_NECK] = "neck",
	[MEMBER_FINGERBOARD] = "fingerboard",
	[MEMBER_HEADSTOCK] = "headstock",
	[MEMBER_BRIDGE] = "bridge",
	[MEMBER_BODY] = "body",
	[MEMBER_TOP_BRACE] = "top_brace",
	[MEMBER_BACK_BRACE] = "back_brace",
	[MEMBER_PIN_BLOCK] = "pin_block",
	[MEMBER_PIN_BLOCK + 1] = NULL,
};

static const char *const kind_words[] = {
	[FASTENING_TUNER_NUT] = "tuner_nut",
	[FASTENING_BUSHING] = "bushing",
	[FASTENING_STRAP_BUTTON] = "strap_button",
	[FASTENING_SCREW] = "screw",
	[FASTENING_TUNING_PIN] = "tuning_pin",
	[FASTENING_PEG] = "peg",
	[FASTENING_BRIDGE_PIN] = "bridge_pin",
};

enum { ROLES = MEMBER_PIN_BLOCK + 1, PIECES = 300 };

const char *library_role(enum member_role role)
{
	switch ((int)role) {
	case MEMBER_UNDER_BRIDGE:
		return "under bridge";
	case MEMBER_UNDER_TOP_BRACE:
		return "under brace";
	case MEMBER_UNDER_BACK_BRACE:
		return "under back brace";
	default:
		return (int)role < ROLES ? role_words[role] : "";
	}
}

const char *library_kind(enum fastening_kind kind)
{
	return kind_words[kind];
}

/* What a build says in words or in other types than struct build holds. */
struct draft {
	struct build build;
	int64_t string_life_s, cavity_lag_s;
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
	{ "joint", FIELD_LENGTH, FIELD_AT(draft, build.joint_m), 0, 1.2, NULL, "\"0mm\"", NULL,
		"nut to body joint" },
	{ "relief_span", FIELD_LENGTH, FIELD_AT(draft, build.relief_span_m), 0, 1.2, NULL, NULL,
		NULL, "over which relief is measured: fret 1 to the body joint" },
	{ "relief_share", FIELD_REAL, FIELD_AT(draft, build.relief_share), 0, 1, NULL, NULL, NULL,
		"of the free bending that strings and rod let through" },
	{ "top_span", FIELD_LENGTH, FIELD_AT(draft, build.top_span_m), 0, 1, NULL, "\"0mm\"", NULL,
		"braced length of top that rises under the bridge; 0mm: solid body" },
	{ "top_share", FIELD_REAL, FIELD_AT(draft, build.top_share), 0, 1, NULL, "0", NULL,
		"of the free rise that edges, arch and braces let through" },
	{ "brace_pitch", FIELD_LENGTH, FIELD_AT(draft, build.brace_pitch_m), 0, 0.5, NULL,
		"\"0mm\"", NULL, "strip of top that one brace carries" },
	{ "back_span", FIELD_LENGTH, FIELD_AT(draft, build.back_span_m), 0, 1, NULL, "\"0mm\"",
		NULL, "braced length of back that rises likewise; 0mm: none" },
	{ "back_share", FIELD_REAL, FIELD_AT(draft, build.back_share), 0, 1, NULL, "0", NULL,
		"of its free rise" },
	{ "back_brace_pitch", FIELD_LENGTH, FIELD_AT(draft, build.back_brace_pitch_m), 0, 0.5, NULL,
		"\"0mm\"", NULL, "strip of back that one brace carries" },
	{ "body_length", FIELD_LENGTH, FIELD_AT(draft, build.body_length_m), 0, 1.5, NULL,
		"\"0mm\"", NULL, "of the box that carries the neck; 0mm: solid" },
	{ "body_depth", FIELD_LENGTH, FIELD_AT(draft, build.body_depth_m), 0, 0.5, NULL, "\"0mm\"",
		NULL, "of that box" },
	{ "cavity_lag", FIELD_SPAN, FIELD_AT(draft, cavity_lag_s), 0, 30 * 86400, NULL, "\"0 s\"",
		NULL, "how long the air inside trails the air outside; 0 s: no cavity" },
	{ "sorption_ratio", FIELD_REAL, FIELD_AT(draft, build.sorption_ratio), 0.7, 1, NULL, "1",
		NULL, "moisture of wood getting damper over that of wood drying, in the same air" },
	{ "relief", FIELD_LENGTHS, FIELD_AT(draft, build.relief_usual_m), 0, 0.03, NULL, "", NULL,
		"relief that is usual" },
	{ "action_bass", FIELD_LENGTHS, FIELD_AT(draft, build.action_bass_usual_m), 0, 0.03, NULL,
		"", NULL, "usual height of the lowest string" },
	{ "action_treble", FIELD_LENGTHS, FIELD_AT(draft, build.action_treble_usual_m), 0, 0.03,
		NULL, "", NULL, "of the highest" },
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
	{ "top_brace", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL,
		"one of the braces under the top" },
	{ "back_brace", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "" },
	{ "pin_block", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "what holds tuning pins" },
	{ "tuner_nut", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL,
		"hardware clamped on wood or driven into it" },
	{ "bushing", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "" },
	{ "strap_button", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "" },
	{ "screw", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "" },
	{ "tuning_pin", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "" },
	{ "peg", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "friction pegs" },
	{ "bridge_pin", FIELD_OTHER, 0, 0, 0, 0, "a group", NULL, NULL, "" },
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
		NULL, "of a brace its height" },
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
	char species[BUILD_NAME];
};

static const struct field clamp_rows[] = {
	{ "member", FIELD_WORD, FIELD_AT(fastening_draft, role), 0, 0, NULL, NULL, role_words,
		"the wood it holds on to" },
	{ "count", FIELD_INT, FIELD_AT(fastening_draft, fastening.count), 1, PIECES, NULL, NULL,
		NULL, "how many" },
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

static const struct field peg_rows[] = {
	{ "member", FIELD_WORD, FIELD_AT(fastening_draft, role), 0, 0, NULL, NULL, role_words,
		"the wood it turns in" },
	{ "count", FIELD_INT, FIELD_AT(fastening_draft, fastening.count), 1, PIECES, NULL, NULL,
		NULL, "how many" },
	{ "species", FIELD_NAME, FIELD_AT(fastening_draft, species), 0, 0, NULL, "\"\"", NULL,
		"its wood; left out: plastic or metal" },
	{ "diameter", FIELD_LENGTH, FIELD_AT(fastening_draft, fastening.diameter_m), 0.002, 0.03,
		NULL, NULL, NULL, "at the wood" },
	/* 1:30, the reamer of the violin family; common practice, no source */
	{ "taper", FIELD_REAL, FIELD_AT(fastening_draft, fastening.taper), 0.005, 0.2, NULL,
		"0.0333", NULL, "diameter over length" },
};

static const struct field pin_rows[] = {
	{ "count", FIELD_INT, FIELD_AT(fastening_draft, fastening.count), 1, PIECES, NULL, NULL,
		NULL, "how many" },
	{ "species", FIELD_NAME, FIELD_AT(fastening_draft, species), 0, 0, NULL, "\"\"", NULL,
		"its wood; left out: bone, plastic or metal" },
	{ "diameter", FIELD_LENGTH, FIELD_AT(fastening_draft, fastening.diameter_m), 0.002, 0.03,
		NULL, NULL, NULL, "at the wood" },
	/* 3 degrees between the sides; common practice, no source */
	{ "taper", FIELD_REAL, FIELD_AT(fastening_draft, fastening.taper), 0.005, 0.2, NULL,
		"0.0524", NULL, "diameter over length" },
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

static void read_member(const struct reader *outer, enum member_role role, struct build *b)
{
	struct reader r = *outer;
	r.what = role_words[role];
	r.group = group_of(outer, r.what);
	if (!r.group)
		return;
	size_t at = build_member(b, role);
	r.overlay = at < b->n_members;
	struct member m = r.overlay ? b->members[at] : (struct member){ .role = role };
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

static size_t fastening_at(const struct build *b, enum fastening_kind kind)
{
	size_t i = 0;
	while (i < b->n_fastenings && b->fastenings[i].kind != kind)
		i++;
	return i;
}

static void check_fastening(
	const struct reader *r, const struct build *b, const struct fastening *x)
{
	if (x->member == b->n_members && x->kind == FASTENING_BRIDGE_PIN)
		schema_fault(
			r->faults, r->group, r->what, NULL, "there is no bridge: a member bridge");
	else if (x->member == b->n_members && schema_member(r->group, "member"))
		fault(r, "member", "this build has no such member: a member it has");
	if (x->pitch_m > 0 && x->yield_strain <= x->snug_strain)
		fault(r, "yield_strain", "not above snug_strain: more");
}

static void read_fastening_rows(const struct reader *r, struct fastening_draft *d)
{
	if (d->fastening.kind == FASTENING_PEG)
		read_rows(r, FIELD_ROWS(peg_rows), d);
	else if (d->fastening.kind == FASTENING_BRIDGE_PIN)
		read_rows(r, FIELD_ROWS(pin_rows), d);
	else
		read_rows(r, FIELD_ROWS(clamp_rows), d);
	if (d->species[0])
		look_up_wood(r, "species", d->species, &d->fastening.wood);
	else if (schema_member(r->group, "species"))
		d->fastening.wood = (struct species){ 0 };
}

static void read_fastening(const struct reader *outer, enum fastening_kind kind, struct build *b)
{
	struct reader r = *outer;
	r.what = kind_words[kind];
	r.group = group_of(outer, r.what);
	if (!r.group)
		return;
	size_t at = fastening_at(b, kind);
	r.overlay = at < b->n_fastenings;
	struct fastening_draft d = { .fastening = { .kind = kind, .member = b->n_members } };
	if (r.overlay)
		d.fastening = b->fastenings[at];
	else if (kind == FASTENING_BRIDGE_PIN)
		d.fastening.member = build_member(b, MEMBER_BRIDGE);
	d.role = d.fastening.member < b->n_members ? (int)b->members[d.fastening.member].role
						   : ROLES;
	d.relax_s = (int64_t)d.fastening.relax_s;
	read_fastening_rows(&r, &d);
	d.fastening.member = build_member(b, (enum member_role)d.role);
	d.fastening.relax_s = (double)d.relax_s;
	check_fastening(&r, b, &d.fastening);
	b->fastenings[at] = d.fastening;
	b->n_fastenings += at == b->n_fastenings;
}

void library_read_build(const struct library *l, const config_setting_t *root, bool overlay,
	struct build *b, struct faults *f)
{
	const struct reader r = { l, root, "", overlay, f };
	size_t before = f->n + f->beyond;
	size_t skip = overlay ? ROWS_OF_FILE_ONLY : 0;
	struct draft d = { *b, (int64_t)b->string_life_s, (int64_t)b->cavity_lag_s };
	read_rows(&r, build_rows + skip, BUILD_ROWS - skip, &d);
	d.build.string_life_s = (double)d.string_life_s;
	d.build.cavity_lag_s = (double)d.cavity_lag_s;
	for (int role = 0; role < ROLES; role++)
		read_member(&r, (enum member_role)role, &d.build);
	for (int kind = 0; kind < FASTENING_KINDS; kind++)
		read_fastening(&r, (enum fastening_kind)kind, &d.build);
	if (f->n + f->beyond == before)
		library_check_build(&d.build, root, f);
	*b = d.build;
}
