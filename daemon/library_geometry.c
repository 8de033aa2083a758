/* What cannot be in a build: found out once all of it has been read. */
#include "daemon/library_int.h"

#include <stdio.h>

#include "core/moisture.h"

struct check {
	const struct build *build;
	const config_setting_t *root;
	struct faults *faults;
};

/* A length and where it is written; group "": at the top of the text. */
struct measure {
	const char *group, *setting;
	double m;
};

static const config_setting_t *group_of(const struct check *c, const char *group)
{
	const config_setting_t *g = *group ? schema_member(c->root, group) : c->root;
	return g && config_setting_is_group(g) ? g : NULL;
}

static bool given(const struct check *c, struct measure x)
{
	const config_setting_t *g = group_of(c, x.group);
	return g && schema_member(g, x.setting);
}

static void fault(const struct check *c, const char *group, const char *setting, const char *why)
{
	const config_setting_t *g = group_of(c, group);
	schema_fault(c->faults, g ? g : c->root, group, setting, "%s", why);
}

static bool has(const struct check *c, enum member_role role)
{
	return build_member(c->build, role) < c->build->n_members;
}

static const struct member *member(const struct check *c, enum member_role role)
{
	return &c->build->members[build_member(c->build, role)];
}

/* The part must not exceed the whole, or with less: stay below it. Blames the one of the two that
 * the text at hand gives. */
static void within(const struct check *c, struct measure part, struct measure whole, bool less)
{
	char why[200];
	if (less ? part.m < whole.m : part.m <= whole.m * 1.0001) /* room for rounding of inches */
		return;
	bool blame_whole = !given(c, part) && given(c, whole);
	struct measure bad = blame_whole ? whole : part, other = blame_whole ? part : whole;
	(void)snprintf(why, sizeof why, "%s %s%s%s, %gmm: %s",
		blame_whole ? "too small for" : "too large for", other.setting,
		*other.group ? " of " : "", other.group, other.m * 1e3,
		less          ? blame_whole ? "more than that" : "less than that"
		: blame_whole ? "at least that"
			      : "at most that");
	fault(c, bad.group, bad.setting, why);
}

static void check_lengths(const struct check *c)
{
	const struct build *b = c->build;
	const struct measure scale = { "", "scale", b->scale_m };
	const struct measure box = { "", "body_length", b->body_length_m };
	within(c, (struct measure){ "", "relief_span", b->relief_span_m }, scale, true);
	within(c, (struct measure){ "", "joint", b->joint_m }, scale, true);
	if (box.m > 0) {
		within(c, (struct measure){ "", "top_span", b->top_span_m }, box, false);
		within(c, (struct measure){ "", "back_span", b->back_span_m }, box, false);
	}
	if (box.m > 0 && !(b->body_depth_m > 0))
		fault(c, "", "body_length", "there is no body_depth: both or neither");
	if (b->body_depth_m > 0 && !(box.m > 0))
		fault(c, "", "body_depth", "there is no body_length: both or neither");
}

static void check_grips(const struct check *c)
{
	for (size_t i = 0; i < c->build->n_fastenings; i++) {
		const struct fastening *x = &c->build->fastenings[i];
		const struct member *m = &c->build->members[x->member];
		const struct measure wood = { library_role(m->role), "thickness", m->thickness_m };
		within(c, (struct measure){ library_kind(x->kind), "grip", x->grip_m }, wood,
			false);
	}
}

/* A plate that spans needs braces, and braces room. */
static void check_span(const struct check *c, struct measure span, struct measure pitch,
	enum member_role plate, enum member_role brace)
{
	char why[100];
	const struct {
		bool there;
		const char *name;
	} needs[] = {
		{ has(c, plate), library_role(plate) },
		{ has(c, brace), library_role(brace) },
		{ pitch.m > 0, pitch.setting },
	};
	if (!(span.m > 0))
		return;
	for (size_t i = 0; i < sizeof needs / sizeof needs[0]; i++) {
		(void)snprintf(why, sizeof why, "there is no %s: one, or no %s", needs[i].name,
			span.setting);
		if (!needs[i].there)
			fault(c, "", span.setting, why);
	}
	if (has(c, brace) && pitch.m > 0)
		within(c,
			(struct measure){ library_role(brace), "width", member(c, brace)->width_m },
			pitch, false);
}

static void check_spans(const struct check *c)
{
	const struct build *b = c->build;
	check_span(c, (struct measure){ "", "top_span", b->top_span_m },
		(struct measure){ "", "brace_pitch", b->brace_pitch_m }, MEMBER_TOP,
		MEMBER_TOP_BRACE);
	check_span(c, (struct measure){ "", "back_span", b->back_span_m },
		(struct measure){ "", "back_brace_pitch", b->back_brace_pitch_m }, MEMBER_BACK,
		MEMBER_BACK_BRACE);
}

/* What lies on what: the first is made to be glued on the second. */
static void check_carriers(const struct check *c)
{
	static const enum member_role pairs[][2] = {
		{ MEMBER_FINGERBOARD, MEMBER_NECK },
		{ MEMBER_TOP_BRACE, MEMBER_TOP },
		{ MEMBER_BACK_BRACE, MEMBER_BACK },
	};
	char why[100];
	for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
		const char *on = library_role(pairs[i][1]);
		(void)snprintf(why, sizeof why, "there is no %s: a member %s", on, on);
		if (has(c, pairs[i][0]) && !has(c, pairs[i][1]))
			fault(c, "", library_role(pairs[i][0]), why);
	}
	if (has(c, MEMBER_FINGERBOARD) && has(c, MEMBER_NECK))
		within(c,
			(struct measure){
				"fingerboard", "width", member(c, MEMBER_FINGERBOARD)->width_m },
			(struct measure){
				"neck", "twice the width", 2 * member(c, MEMBER_NECK)->width_m },
			false);
}

/* A sealed face of these lies on one of the others. */
static void check_glue(const struct check *c)
{
	static const struct {
		enum member_role role, on[2];
	} rows[] = {
		{ MEMBER_TOP, { MEMBER_BODY, MEMBER_BODY } },
		{ MEMBER_BACK, { MEMBER_BODY, MEMBER_BODY } },
		{ MEMBER_NECK, { MEMBER_FINGERBOARD, MEMBER_FINGERBOARD } },
		{ MEMBER_BRIDGE, { MEMBER_TOP, MEMBER_BODY } },
		{ MEMBER_BODY, { MEMBER_TOP, MEMBER_BACK } },
	};
	char why[100];
	for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
		const char *on = library_role(rows[i].on[0]), *alt = library_role(rows[i].on[1]);
		if (!has(c, rows[i].role) || has(c, rows[i].on[0]) || has(c, rows[i].on[1]))
			continue;
		bool alike = on == alt;
		(void)snprintf(why, sizeof why, "nothing to be glued to: a member %s%s%s", on,
			alike ? "" : " or ", alike ? "" : alt);
		for (int face = 0; face < 2; face++)
			if (member(c, rows[i].role)->finish_s_m[face] >= MOISTURE_SEALED)
				fault(c, library_role(rows[i].role), face ? "inner" : "outer", why);
	}
}

void library_check_build(const struct build *b, const config_setting_t *root, struct faults *f)
{
	const struct check c = { b, root, f };
	if (b->n_members == 0)
		schema_fault(f, root, "", NULL,
			"no members: top, neck, fingerboard, headstock and so on");
	check_lengths(&c);
	check_grips(&c);
	check_spans(&c);
	check_carriers(&c);
	check_glue(&c);
}
