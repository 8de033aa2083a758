#include <stdio.h>
#include <string.h>

#include "core/finding.h"
#include "daemon/recordtext_int.h"

struct finding_text {
	char at[RECORDTEXT_VALUE];
	char note[NOTE_SIZE];
};

enum { FINDING_ROWS = 2 };
static const struct field finding_rows[FINDING_ROWS] = {
	{ "at", FIELD_TEXT, AT(finding_text, at), 1, 0, NULL, "", NULL, "when" },
	{ "note", FIELD_TEXT, AT(finding_text, note), 0, 0, NULL, "", NULL, "for people" },
};

/* The rows of one group of findings: time, note, and the words that can be said of the subject. */
static size_t rows_of(const struct subject *s, struct field rows[FINDING_ROWS + FINDING_KINDS])
{
	const struct finding_word *words = finding_words();
	size_t n = FINDING_ROWS;
	memcpy(rows, finding_rows, sizeof finding_rows);
	for (size_t i = 0; i < FINDING_KINDS; i++)
		if (words[i].of_sensor == (s->kind == CARE_OF_SENSOR))
			rows[n++] = (struct field){ .name = words[i].name, .type = FIELD_OTHER };
	return n;
}

/* The same thing said twice of one time, or two things. */
static bool said_before(
	struct said *x, size_t first, const char *what, const struct said_finding *new)
{
	const struct finding *f = &new->finding;
	for (size_t i = first; i < x->n_findings; i++) {
		const struct finding *old = &x->findings[i].finding;
		const config_setting_t *at = x->findings[i].at;
		if (old->kind != f->kind || old->t_s != f->t_s)
			continue;
		bool same =
			finding_words()[f->kind].unit == FINDING_EVENT || old->value == f->value;
		schema_fault(x->faults, config_setting_parent(new->at), what,
			finding_words()[f->kind].name, "%s:%d %s of the same time: %s",
			schema_file_ref(at), schema_line(at),
			same ? "says so already" : "says otherwise",
			same ? "once is enough" : "one of the two");
		return true;
	}
	return false;
}

static void add_finding(struct said *x, const struct said_finding *new)
{
	struct said_finding *all = recordtext_room(x, x->findings, x->n_findings, sizeof *all);
	if (!all)
		return;
	x->findings = all;
	all[x->n_findings++] = *new;
}

/* A word's value as recordtext_finding takes it; false after a fault. */
static bool value_of(struct said *x, const config_setting_t *s, const char *what,
	const struct finding_word *w, const char **value)
{
	const config_setting_t *group = config_setting_parent(s);
	bool event = w->unit == FINDING_EVENT;
	bool yes = config_setting_type(s) == CONFIG_TYPE_BOOL;
	*value = config_setting_get_string(s);
	if (event && yes && !config_setting_get_bool(s))
		schema_fault(
			x->faults, group, what, w->name, "did not happen: leave it out, or true");
	else if (event && !yes && !*value)
		schema_fault(x->faults, group, what, w->name, "wrong type: true");
	else if (!event && !*value)
		schema_fault(x->faults, group, what, w->name,
			"wrong type: text in quotes, such as %s",
			w->unit == FINDING_LENGTH ? "\".010in\" or \"0.25mm\"" : "\"1/6\"");
	else
		return true;
	return false;
}

/* new: time, note and subject are filled in; timed: the time is good. */
static void read_word(struct said *x, const config_setting_t *s, const char *what, size_t first,
	bool timed, struct said_finding *new)
{
	const char *value = NULL;
	struct err err = { 0 };
	struct finding *f = &new->finding;
	bool of_sensor = f->subject_kind == CARE_OF_SENSOR;
	enum finding_kind kind = finding_by_name(config_setting_name(s));
	if (kind == FINDING_KINDS || finding_words()[kind].of_sensor != of_sensor)
		return; /* time, note, or a fault already */
	new->at = s;
	if (!value_of(x, s, what, &finding_words()[kind], &value))
		return;
	if (recordtext_finding(finding_words()[kind].name, value, of_sensor, &f->kind, &f->value,
		    &err) != RC_OK)
		faults_add(x->faults, schema_file_ref(s), schema_line(s), "%s: %s", what, err.text);
	else if (timed && !said_before(x, first, what, new))
		add_finding(x, new);
}

static void read_finding(
	struct said *x, const struct subject *s, const config_setting_t *list, int i, size_t first)
{
	char what[RECORDTEXT_WHAT];
	struct field rows[FINDING_ROWS + FINDING_KINDS];
	struct finding_text text = { 0 };
	struct said_finding new = { .finding = { .subject_kind = s->kind } };
	(void)snprintf(what, sizeof what, "%.90s: finding %d", s->what, i + 1);
	const config_setting_t *group = recordtext_group(x, list, i, what);
	if (!group)
		return;
	schema_read(group, rows, rows_of(s, rows), &text, what, x->faults);
	bool timed = recordtext_at(x, s, group, what, text.at, &new.finding.t_s);
	(void)snprintf(new.finding.subject, sizeof new.finding.subject, "%s", s->name);
	(void)snprintf(new.finding.text, sizeof new.finding.text, "%s", text.note);
	int words = 0, n = config_setting_length(group);
	for (int k = 0; x->rc == RC_OK && k < n; k++) {
		const config_setting_t *word = config_setting_get_elem(group, (unsigned)k);
		const char *name = config_setting_name(word);
		words += strcmp(name, "at") != 0 && strcmp(name, "note") != 0;
		read_word(x, word, what, first, timed, &new);
	}
	if (words == 0)
		schema_fault(x->faults, group, what, NULL,
			"says nothing: what was found, such as %s",
			s->kind == CARE_OF_SENSOR ? "checked = true" : "relief = \"0.25mm\"");
}

void recordtext_findings(struct said *x, const struct subject *s)
{
	size_t first = x->n_findings;
	const config_setting_t *list = recordtext_list(x, s->group, s->what, "findings");
	int n = list ? config_setting_length(list) : 0;
	for (int i = 0; x->rc == RC_OK && i < n; i++)
		read_finding(x, s, list, i, first);
}
