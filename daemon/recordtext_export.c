#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "core/finding.h"
#include "core/mem.h"
#include "daemon/recordtext_int.h"

enum { LINE_SIZE = 4 * OVERRIDES_SIZE + 256, QUOTED = 4 * NOTE_SIZE + 3 };

struct export
{
	struct store *store;
	const struct zone *zone;
	void (*write)(void *arg, const char *text);
	void *arg;
	struct err *err;
};

static void say(const struct export *e, const char *fmt, ...) PRINTF_LIKE(2, 3);
static void say(const struct export *e, const char *fmt, ...)
{
	char line[LINE_SIZE];
	va_list ap;
	va_start(ap, fmt);
	(void)vsnprintf(line, sizeof line, fmt, ap);
	va_end(ap);
	e->write(e->arg, line);
}

/* `note = "...";` on a line of its own; nothing for no text. */
static void say_text(const struct export *e, const char *indent, const char *name, const char *text)
{
	char quoted[QUOTED];
	recordtext_quote(quoted, sizeof quoted, text);
	if (text[0])
		say(e, "%s%s = %s;\n", indent, name, quoted);
}

static void say_time(const struct export *e, const char *indent, const char *name, int64_t t_s)
{
	char text[RECORDTEXT_VALUE];
	if (t_s == TIME_NEVER)
		return;
	recordtext_print_time(text, sizeof text, e->zone, t_s);
	say(e, "%s%s = \"%s\";\n", indent, name, text);
}

/* ---- findings ---- */

static void say_finding(const struct export *e, const struct finding *f)
{
	const struct finding_word *w = &finding_words()[f->kind];
	char value[RECORDTEXT_VALUE] = "";
	switch (w->unit) {
	case FINDING_LENGTH:
		recordtext_length(value, sizeof value, f->value);
		break;
	case FINDING_TURNS:
		recordtext_turns(value, sizeof value, f->value);
		break;
	case FINDING_EVENT:
		say(e, " %s = true;", w->name);
		return;
	}
	say(e, " %s = \"%s\";", w->name, value);
}

/* Findings of one subject: those of one time and note in one group. */
static void say_findings(const struct export *e, const struct finding *f, size_t n)
{
	char text[RECORDTEXT_VALUE], quoted[QUOTED];
	say(e, "\t\tfindings = (");
	for (size_t i = 0; i < n;) {
		recordtext_print_time(text, sizeof text, e->zone, f[i].t_s);
		recordtext_quote(quoted, sizeof quoted, f[i].text);
		size_t first = i;
		say(e, "%s\n\t\t\t{ at = \"%s\";", first ? "," : "", text);
		for (; i < n && f[i].t_s == f[first].t_s && strcmp(f[i].text, f[first].text) == 0;
			i++)
			say_finding(e, &f[i]);
		if (f[first].text[0])
			say(e, " note = %s;", quoted);
		say(e, " }");
	}
	say(e, "\n\t\t);\n");
}

/* ---- instruments ---- */

/* A stay replaced before the instrument came is left out; the one in force then counts from since. */
static void say_stays(const struct export *e, const struct stay *stays, size_t n, int64_t since_s)
{
	char text[RECORDTEXT_VALUE];
	bool more = false;
	for (size_t i = 0; i < n; i++) {
		if (i + 1 < n && stays[i + 1].t_s <= since_s)
			continue;
		recordtext_print_time(text, sizeof text, e->zone,
			stays[i].t_s > since_s ? stays[i].t_s : since_s);
		say(e, "%s\n\t\t\t{ at = \"%s\"; place = \"%s\"; }", more ? "," : "\t\tstays = (",
			text, stays[i].place);
		more = true;
	}
	if (more)
		say(e, "\n\t\t);\n");
}

static enum rc say_overrides(const struct export *e, const struct instrument *x)
{
	config_t cfg;
	struct faults f = { 0 };
	enum rc rc = RC_OK;
	char text[4 * OVERRIDES_SIZE];
	if (schema_open_text(&cfg, x->name, x->overrides, &f)) {
		const config_setting_t *root = config_root_setting(&cfg);
		int n = config_setting_length(root);
		if (n)
			say(e, "\t\toverrides = {\n");
		for (int i = 0; i < n; i++) {
			(void)recordtext_setting(
				text, sizeof text, config_setting_get_elem(root, (unsigned)i));
			say(e, "\t\t\t%s;\n", text);
		}
		if (n)
			say(e, "\t\t};\n");
	} else {
		rc = err_set(e->err, RC_STORE,
			"instrument \"%s\": overrides in the store are no libconfig text: %s",
			x->name, f.n ? f.text[0] : "");
	}
	config_destroy(&cfg);
	faults_done(&f);
	return rc;
}

static enum rc say_instrument(const struct export *e, const struct instrument *x)
{
	static const char indent[] = "\t\t";
	struct stay *stays = NULL;
	struct finding *findings = NULL;
	size_t n_stays = 0, n_findings = 0;
	enum rc rc = record_stays(e->store, x->id, &stays, &n_stays, e->err);
	if (rc == RC_OK)
		rc = record_findings(
			e->store, CARE_OF_INSTRUMENT, x->name, &findings, &n_findings, e->err);
	if (rc == RC_OK) {
		say(e, "\t{\n%sname = \"%s\";\n", indent, x->name);
		say_text(e, indent, "title", x->title);
		say_text(e, indent, "client", x->client);
		say_text(e, indent, "build", x->build);
		say_time(e, indent, "since", x->since_s);
		say_time(e, indent, "until", x->until_s);
		say_text(e, indent, "note", x->note);
		rc = say_overrides(e, x);
		say_stays(e, stays, n_stays, x->since_s);
		if (n_findings)
			say_findings(e, findings, n_findings);
		say(e, "\t}");
	}
	mem_free(stays);
	mem_free(findings);
	return rc;
}

static enum rc say_instruments(const struct export *e)
{
	struct instrument *all = NULL;
	size_t n = 0;
	enum rc rc = record_instruments(e->store, &all, &n, e->err);
	for (size_t i = 0; rc == RC_OK && i < n; i++) {
		say(e, i ? ",\n" : "\ninstruments = (\n");
		rc = say_instrument(e, &all[i]);
	}
	if (rc == RC_OK && n)
		say(e, "\n);\n");
	mem_free(all);
	return rc;
}

static enum rc say_clients(const struct export *e)
{
	static const char indent[] = "\t\t";
	struct client *all = NULL;
	size_t n = 0;
	enum rc rc = record_clients(e->store, &all, &n, e->err);
	for (size_t i = 0; rc == RC_OK && i < n; i++) {
		say(e, "%s\t{\n%sname = \"%s\";\n", i ? ",\n" : "\nclients = (\n", indent,
			all[i].name);
		say_text(e, indent, "title", all[i].title);
		say_text(e, indent, "address", all[i].address);
		say_text(e, indent, "note", all[i].note);
		say_text(e, indent, "email", all[i].email);
		if (all[i].agreed_s)
			say_time(e, indent, "agreed", all[i].agreed_s);
		say(e, "\t}");
	}
	if (rc == RC_OK && n)
		say(e, "\n);\n");
	mem_free(all);
	return rc;
}

/* 17 digits come back to the same bits. */
static void say_corrections(const struct export *e, const struct store_correction *c, size_t n)
{
	char text[RECORDTEXT_VALUE], quoted[QUOTED];
	say(e, "\t\tcorrections = (");
	for (size_t i = 0; i < n; i++) {
		const struct salt_correction *k = &c[i].check.c;
		recordtext_print_time(text, sizeof text, e->zone, c[i].check.t_s);
		recordtext_quote(quoted, sizeof quoted, c[i].text);
		say(e, "%s\n\t\t\t{ at = \"%s\"; gain = %.17g; offset = %.17g; u = %.17g;",
			i ? "," : "", text, k->gain, k->offset_pct, k->u_pct);
		if (c[i].text[0])
			say(e, " note = %s;", quoted);
		say(e, " }");
	}
	say(e, "\n\t\t);\n");
}

/* Both in order of names: what they say of the next sensor. */
static void say_sensor(const struct export *e, const struct finding **f,
	const struct finding *f_end, const struct store_correction **c,
	const struct store_correction *c_end)
{
	char name[NAME_SIZE];
	const struct finding *f_from = *f;
	const struct store_correction *c_from = *c;
	bool by_finding = *f < f_end && (*c == c_end || strcmp((*f)->subject, (*c)->sensor) <= 0);
	(void)snprintf(name, sizeof name, "%s", by_finding ? (*f)->subject : (*c)->sensor);
	while (*f < f_end && strcmp((*f)->subject, name) == 0)
		++*f;
	while (*c < c_end && strcmp((*c)->sensor, name) == 0)
		++*c;
	say(e, "\t{\n\t\tname = \"%s\";\n", name);
	if (*f > f_from)
		say_findings(e, f_from, (size_t)(*f - f_from));
	if (*c > c_from)
		say_corrections(e, c_from, (size_t)(*c - c_from));
	say(e, "\t}");
}

static enum rc say_sensors(const struct export *e)
{
	struct finding *findings = NULL;
	struct store_correction *corrections = NULL;
	size_t n = 0, n_corrections = 0;
	enum rc rc = record_findings(e->store, CARE_OF_SENSOR, NULL, &findings, &n, e->err);
	if (rc == RC_OK)
		rc = store_corrections(e->store, 0, &corrections, &n_corrections, e->err);
	const struct finding *f = findings;
	const struct store_correction *c = corrections;
	bool any = rc == RC_OK && (n || n_corrections);
	while (rc == RC_OK && (f < findings + n || c < corrections + n_corrections)) {
		say(e, f > findings || c > corrections ? ",\n" : "\nsensors = (\n");
		say_sensor(e, &f, findings + n, &c, corrections + n_corrections);
	}
	if (any)
		say(e, "\n);\n");
	mem_free(findings);
	mem_free(corrections);
	return rc;
}

enum rc recordtext_export(struct store *s, const struct zone *zone,
	void (*write)(void *arg, const char *text), void *arg, struct err *err)
{
	const struct export e = { s, zone, write, arg, err };
	say(&e, "/* Records of seasond. Apply them with: seasonctl records apply FILE */\n");
	enum rc rc = say_clients(&e);
	if (rc == RC_OK)
		rc = say_instruments(&e);
	return rc == RC_OK ? say_sensors(&e) : rc;
}
