/* care.conf: rules and priors of learning, read by rows; what else one needs depends on its kind or quantity. */
#include "daemon/library_int.h"

#include <string.h>

#include "core/finding.h"
#include "core/mem.h"

#define ONE_DAY_S 86400.0

static const char *const kind_words[] = {
	[CARE_PRELOAD] = "preload",
	[CARE_AFTER_DRY] = "after-dry",
	[CARE_BEFORE_DRY] = "before-dry",
	[CARE_RELIEF] = "relief",
	[CARE_ACTION] = "action",
	[CARE_FRET_END] = "fret-end",
	[CARE_CRACK] = "crack",
	[CARE_GLUE] = "glue",
	[CARE_PEGS] = "pegs",
	[CARE_AIR_DRY] = "air-dry",
	[CARE_AIR_DAMP] = "air-damp",
	[CARE_CHECK] = "check",
	[CARE_SILENT] = "silent",
	[CARE_STRINGS] = "strings",
	[CARE_SETTLE] = "settle",
	[CARE_DISAGREE] = "disagree",
	[CARE_DRIFT] = "drift",
	[CARE_WET] = "wet",
	[CARE_BATTERY] = "battery",
	[CARE_CLOCK] = "clock",
	[CARE_CLOCK + 1] = NULL,
};

static const struct field rule_rows[] = {
	{ "name", FIELD_NAME, FIELD_AT(care_rule, name), 0, 0, NULL, NULL, NULL, "short name" },
	{ "kind", FIELD_WORD, FIELD_AT(care_rule, kind), 0, 0, NULL, NULL, kind_words,
		"what is watched" },
	{ "title", FIELD_TEXT, FIELD_AT(care_rule, title), 1, 0, NULL, NULL, NULL,
		"what to do, in a few words" },
	{ "advice", FIELD_TEXT, FIELD_AT(care_rule, advice), 1, 0, NULL, NULL, NULL, "how" },
	{ "caution", FIELD_TEXT, FIELD_AT(care_rule, caution), 0, 0, NULL, "\"\"", NULL,
		"what can go wrong, who to ask" },
	{ "open", FIELD_OTHER, 0, 0, 0, 0, "a level by kind", NULL, NULL,
		"beyond it the job is called for" },
	{ "close", FIELD_OTHER, 0, 0, 0, 0, "a level by kind", NULL, NULL,
		"inside it the job is taken back" },
	{ "pressing", FIELD_OTHER, 0, 0, 0, 0, "a level by kind", NULL, NULL,
		"beyond it the job is pressing" },
	{ "every", FIELD_SPAN, FIELD_AT(care_rule, every_s), 3600, 3650 * ONE_DAY_S, NULL, "", NULL,
		"check, settle: how long after" },
	{ "lead", FIELD_SPAN, FIELD_AT(care_rule, lead_s), 0, 365 * ONE_DAY_S, NULL, "0", NULL,
		"levels: to the earliest sensible day; dates: how long before its day it is "
		"shown" },
	{ "window", FIELD_SPAN, FIELD_AT(care_rule, window_s), 0, 365 * ONE_DAY_S, NULL, NULL, NULL,
		"from there to the latest day" },
	{ "rest", FIELD_SPAN, FIELD_AT(care_rule, rest_s), 0, 3650 * ONE_DAY_S, NULL, "0", NULL,
		"after it was done or put aside" },
	{ "settled_by", FIELD_NAMES, offsetof(struct care_rule, settled_by), CARE_NAME, 0,
		CARE_SETTLERS, NULL, "[]", NULL, "findings that close it" },
	{ "visit", FIELD_BOOL, FIELD_AT(care_rule, visit), 0, 0, NULL, "false", NULL,
		"may join the other jobs of the same client" },
};

static const struct schema_list rule_list = { "rules", "rule", FIELD_ROWS(rule_rows),
	sizeof(struct care_rule), 0, LIBRARY_MAX };

/* Levels in the unit of the kind. */
static const struct field preload_rows[] = {
	{ "open", FIELD_REAL, FIELD_AT(care_rule, open), -5, 1, "of the snug squeeze", NULL, NULL,
		"" },
	{ "close", FIELD_REAL, FIELD_AT(care_rule, close), -5, 1, "of the snug squeeze", NULL, NULL,
		"" },
	{ "pressing", FIELD_REAL, FIELD_AT(care_rule, pressing), -5, 1, "of the snug squeeze", NULL,
		NULL, "" },
};
static const struct field length_rows[] = {
	{ "open", FIELD_LENGTH, FIELD_AT(care_rule, open), 0, 0.01, NULL, NULL, NULL, "" },
	{ "close", FIELD_LENGTH, FIELD_AT(care_rule, close), 0, 0.01, NULL, NULL, NULL, "" },
	{ "pressing", FIELD_LENGTH, FIELD_AT(care_rule, pressing), 0, 0.01, NULL, NULL, NULL, "" },
};
static const struct field strain_rows[] = {
	{ "open", FIELD_REAL, FIELD_AT(care_rule, open), 0, 5, "of the yield strain", NULL, NULL,
		"" },
	{ "close", FIELD_REAL, FIELD_AT(care_rule, close), 0, 5, "of the yield strain", NULL, NULL,
		"" },
	{ "pressing", FIELD_REAL, FIELD_AT(care_rule, pressing), 0, 5, "of the yield strain", NULL,
		NULL, "" },
};
/* Points of humidity outside the band; below zero is inside. */
static const struct field air_rows[] = {
	{ "open", FIELD_REAL, FIELD_AT(care_rule, open), -20, 50, "% RH", NULL, NULL, "" },
	{ "close", FIELD_REAL, FIELD_AT(care_rule, close), -20, 50, "% RH", NULL, NULL, "" },
	{ "pressing", FIELD_REAL, FIELD_AT(care_rule, pressing), -20, 50, "% RH", NULL, NULL, "" },
};
static const struct field ratio_rows[] = {
	{ "open", FIELD_REAL, FIELD_AT(care_rule, open), 0, 100, "times what is expected", NULL,
		NULL, "" },
	{ "close", FIELD_REAL, FIELD_AT(care_rule, close), 0, 100, "times what is expected", NULL,
		NULL, "" },
	{ "pressing", FIELD_REAL, FIELD_AT(care_rule, pressing), 0, 100, "times what is expected",
		NULL, NULL, "" },
};
static const struct field drift_rows[] = {
	{ "open", FIELD_REAL, FIELD_AT(care_rule, open), 0, 50, "% RH a month", NULL, NULL, "" },
	{ "close", FIELD_REAL, FIELD_AT(care_rule, close), 0, 50, "% RH a month", NULL, NULL, "" },
	{ "pressing", FIELD_REAL, FIELD_AT(care_rule, pressing), 0, 50, "% RH a month", NULL, NULL,
		"" },
};
static const struct field hours_rows[] = {
	{ "open", FIELD_REAL, FIELD_AT(care_rule, open), 0, 96, "hours", NULL, NULL, "" },
	{ "close", FIELD_REAL, FIELD_AT(care_rule, close), 0, 96, "hours", NULL, NULL, "" },
	{ "pressing", FIELD_REAL, FIELD_AT(care_rule, pressing), 0, 96, "hours", NULL, NULL, "" },
};
static const struct field battery_rows[] = {
	{ "open", FIELD_REAL, FIELD_AT(care_rule, open), 0, 100, "percent", NULL, NULL, "" },
	{ "close", FIELD_REAL, FIELD_AT(care_rule, close), 0, 100, "percent", NULL, NULL, "" },
	{ "pressing", FIELD_REAL, FIELD_AT(care_rule, pressing), 0, 100, "percent", NULL, NULL,
		"" },
};
static const struct field clock_rows[] = {
	{ "open", FIELD_REAL, FIELD_AT(care_rule, open), 0, 86400, "seconds", NULL, NULL, "" },
	{ "close", FIELD_REAL, FIELD_AT(care_rule, close), 0, 86400, "seconds", NULL, NULL, "" },
	{ "pressing", FIELD_REAL, FIELD_AT(care_rule, pressing), 0, 86400, "seconds", NULL, NULL,
		"" },
};
enum { LEVELS = 3 };

static const struct field *levels_of(enum care_kind kind)
{
	switch (kind) {
	case CARE_PRELOAD:
	case CARE_AFTER_DRY:
		return preload_rows;
	case CARE_RELIEF:
	case CARE_ACTION:
	case CARE_FRET_END:
	case CARE_PEGS:
		return length_rows;
	case CARE_CRACK:
	case CARE_GLUE:
		return strain_rows;
	case CARE_AIR_DRY:
	case CARE_AIR_DAMP:
		return air_rows;
	case CARE_DISAGREE:
		return ratio_rows;
	case CARE_DRIFT:
		return drift_rows;
	case CARE_WET:
		return hours_rows;
	case CARE_BATTERY:
		return battery_rows;
	case CARE_CLOCK:
		return clock_rows;
	case CARE_BEFORE_DRY:
	case CARE_CHECK:
	case CARE_SILENT:
	case CARE_STRINGS:
	case CARE_SETTLE:
		return NULL;
	}
	return NULL;
}

/* One rule while it is checked. */
struct check {
	const config_setting_t *group;
	char what[80];
	struct faults *faults;
};

static void fault(const struct check *c, const char *setting, const char *why)
{
	schema_fault(c->faults, c->group, c->what, setting, "%s", why);
}

/* Preload and batteries are healthy when high, everything else when low. */
static void read_levels(const struct check *c, const struct field *rows, struct care_rule *rule)
{
	size_t before = c->faults->n + c->faults->beyond;
	for (size_t i = 0; i < LEVELS; i++)
		schema_read_one(c->group, &rows[i], rule, c->what, c->faults);
	if (c->faults->n + c->faults->beyond > before)
		return;
	bool high = rows == preload_rows || rows == battery_rows;
	double sign = high ? -1 : 1;
	if (sign * rule->close >= sign * rule->open)
		fault(c, "close",
			high ? "not above open: nearer to healthy"
			     : "not below open: nearer to healthy");
	if (sign * rule->pressing <= sign * rule->open)
		fault(c, "pressing",
			high ? "not below open: further from healthy"
			     : "not above open: further from healthy");
}

static void forbid_levels(const struct check *c)
{
	for (size_t i = 0; i < LEVELS; i++)
		if (schema_member(c->group, preload_rows[i].name))
			fault(c, preload_rows[i].name,
				"rules of this kind have no levels: leave it out");
}

static void check_every(const struct check *c, const struct care_rule *rule)
{
	bool needed = rule->kind == CARE_CHECK || rule->kind == CARE_SETTLE;
	bool given = schema_member(c->group, "every");
	if (needed && !given)
		fault(c, "every", "missing: a time, such as \"365 d\"");
	else if (!needed && given)
		fault(c, "every", "only rules of kind check and settle have it: leave it out");
}

static bool is_among(const char *word, const char *const *words, size_t n)
{
	size_t i = 0;
	while (i < n && strcmp(words[i], word) != 0)
		i++;
	return i < n;
}

/* The findings that can be about such a subject; room for FINDING_KINDS names. */
static size_t findings_about(enum care_subject subject, const char **names)
{
	size_t n = 0;
	for (size_t i = 0; subject != CARE_OF_PLACE && i < FINDING_KINDS; i++)
		if (finding_words()[i].of_sensor == (subject == CARE_OF_SENSOR))
			names[n++] = finding_words()[i].name;
	return n;
}

static void check_settlers(const struct check *c, const struct care_rule *rule)
{
	enum care_kind kind = (enum care_kind)rule->kind;
	enum care_subject subject = care_subject_of(kind);
	const char *words[FINDING_KINDS];
	size_t n = findings_about(subject, words);
	if (!rule->settled_by[0][0] && subject != CARE_OF_PLACE && kind != CARE_SILENT)
		fault(c, "settled_by", "missing: findings that close the job");
	for (size_t i = 0; i < CARE_SETTLERS && rule->settled_by[i][0]; i++) {
		char hint[300];
		if (is_among(rule->settled_by[i], words, n))
			continue;
		schema_hint(hint, sizeof hint, rule->settled_by[i], words, n);
		schema_fault(c->faults, c->group, c->what, "settled_by",
			"\"%s\" is no finding for this kind: %s", rule->settled_by[i], hint);
	}
}

static void check_rule(const struct check *c, struct care_rule *rule)
{
	const struct field *levels = levels_of((enum care_kind)rule->kind);
	if (levels)
		read_levels(c, levels, rule);
	else
		forbid_levels(c);
	check_every(c, rule);
	check_settlers(c, rule);
}

size_t library_read_rules(const config_setting_t *root, void **rules, struct faults *f)
{
	size_t n = schema_read_list(root, &rule_list, rules, f);
	for (size_t i = 0; i < n; i++) {
		struct check c = { .faults = f };
		c.group = config_setting_get_elem(schema_member(root, rule_list.name), (unsigned)i);
		schema_what(c.what, sizeof c.what, c.group, rule_list.noun);
		if (config_setting_is_group(c.group) && schema_is_word(c.group, "kind", kind_words))
			check_rule(&c, &((struct care_rule *)*rules)[i]);
	}
	return n;
}

static const char *const quantity_words[] = {
	[LEARN_RELIEF] = "relief",
	[LEARN_ACTION] = "action",
	[LEARN_FRET_ENDS] = "fret_ends",
	[LEARN_TUNER_TURN] = "tuner_turn",
	[LEARN_QUANTITIES] = NULL,
};

struct learning {
	int quantity; /* enum learn_quantity */
	struct learn_prior prior;
};

static const struct field learning_rows[] = {
	{ "name", FIELD_WORD, FIELD_AT(learning, quantity), 0, 0, NULL, NULL, quantity_words,
		"what was found" },
	{ "gain_sd", FIELD_REAL, FIELD_AT(learning, prior.gain_sd), 0.01, 10, NULL, NULL, NULL,
		"spread of true over predicted change" },
	{ "reading", FIELD_OTHER, 0, 0, 0, 0, "by quantity", NULL, NULL, "error of the tool" },
	{ "scatter", FIELD_OTHER, 0, 0, 0, 0, "by quantity", NULL, NULL,
		"what the model misses whatever the gain" },
};

static const struct schema_list learning_list = { "learning", "learning", FIELD_ROWS(learning_rows),
	sizeof(struct learning), 0, LIBRARY_MAX };

/* Errors in the unit of the quantity. */
static const struct field error_length_rows[] = {
	{ "reading", FIELD_LENGTH, FIELD_AT(learning, prior.reading_sd), 1e-6, 0.005, NULL, NULL,
		NULL, "" },
	{ "scatter", FIELD_LENGTH, FIELD_AT(learning, prior.scatter_sd), 0, 0.005, NULL, NULL, NULL,
		"" },
};
static const struct field error_turn_rows[] = {
	{ "reading", FIELD_REAL, FIELD_AT(learning, prior.reading_sd), 0.001, 1, "turn", NULL, NULL,
		"" },
	{ "scatter", FIELD_REAL, FIELD_AT(learning, prior.scatter_sd), 0, 1, "turn", NULL, NULL,
		"" },
};
enum { ERRORS = 2 };

/* One entry of the list and, when its name is known, its prior into place. */
static void take_learning(const struct check *c, struct learning *entry,
	struct learn_prior learning[LEARN_QUANTITIES], bool seen[LEARN_QUANTITIES])
{
	bool turns = entry->quantity == LEARN_TUNER_TURN;
	const struct field *rows = turns ? error_turn_rows : error_length_rows;
	for (size_t i = 0; i < ERRORS; i++)
		schema_read_one(c->group, &rows[i], entry, c->what, c->faults);
	learning[entry->quantity] = entry->prior;
	seen[entry->quantity] = true;
}

void library_read_learning(const config_setting_t *root, bool whole,
	struct learn_prior learning[LEARN_QUANTITIES], struct faults *f)
{
	void *entries;
	bool seen[LEARN_QUANTITIES] = { false };
	size_t n = schema_read_list(root, &learning_list, &entries, f);
	for (size_t i = 0; i < n; i++) {
		struct check c = { .faults = f };
		c.group = config_setting_get_elem(
			schema_member(root, learning_list.name), (unsigned)i);
		schema_what(c.what, sizeof c.what, c.group, learning_list.noun);
		if (config_setting_is_group(c.group) &&
			schema_is_word(c.group, "name", quantity_words))
			take_learning(&c, &((struct learning *)entries)[i], learning, seen);
	}
	for (size_t i = 0; whole && i < LEARN_QUANTITIES; i++)
		if (!seen[i])
			schema_fault(f, root, "", learning_list.name,
				"no \"%s\": an entry of that name", quantity_words[i]);
	mem_free(entries);
}
