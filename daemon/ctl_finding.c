#include "daemon/ctl_change.h"

#include <string.h>

#include "core/mem.h"
#include "daemon/measure.h"
#include "daemon/recordtext.h"

enum { FINDINGS_MAX = 32 };

struct findings {
	struct finding at[FINDINGS_MAX];
	size_t n;
};

static enum rc put_findings(struct ctl *c, void *arg)
{
	struct findings *f = arg;
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < f->n; i++)
		rc = record_put_finding(c->desk.store, &f->at[i], NULL, c->err);
	return rc;
}

static enum rc add_finding(
	struct ctl *c, struct findings *f, bool sensor, char *key, const char *value)
{
	if (f->n == FINDINGS_MAX)
		return err_set(c->err, RC_USAGE, "more than %d findings at once", FINDINGS_MAX);
	struct finding *x = &f->at[f->n++];
	x->t_s = c->at_s;
	x->subject_kind = sensor ? CARE_OF_SENSOR : CARE_OF_INSTRUMENT;
	(void)snprintf(x->subject, sizeof x->subject, "%s", c->argv[0]);
	return recordtext_finding(key, value, sensor, &x->kind, &x->value, c->err);
}

/* Two findings of one time that cannot both be true. */
static enum rc contradiction(struct ctl *c, const struct finding *a, const struct finding *b)
{
	const char *first = finding_words()[a->kind].name, *second = finding_words()[b->kind].name;
	if (!finding_contradicts(
		    (enum finding_kind)a->kind, a->value, (enum finding_kind)b->kind, b->value))
		return RC_OK;
	if (a->kind == b->kind)
		return err_set(c->err, RC_INPUT,
			"%s: two values for one time: remove the wrong one first, or give another "
			"--at",
			first);
	return err_set(c->err, RC_INPUT,
		"%s and %s cannot both be: the string stands higher over the 12th fret than over "
		"the first",
		first, second);
}

static enum rc check_findings(struct ctl *c, bool sensor, const struct findings *f)
{
	struct finding *kept = NULL;
	size_t n = 0;
	enum rc rc = record_findings(c->desk.store, sensor ? CARE_OF_SENSOR : CARE_OF_INSTRUMENT,
		c->argv[0], &kept, &n, c->err);
	for (size_t i = 0; rc == RC_OK && i < f->n; i++) {
		for (size_t k = 0; rc == RC_OK && k < i; k++)
			rc = contradiction(c, &f->at[i], &f->at[k]);
		for (size_t k = 0; rc == RC_OK && k < n; k++)
			if (kept[k].t_s == f->at[i].t_s)
				rc = contradiction(c, &f->at[i], &kept[k]);
	}
	mem_free(kept);
	return rc;
}

/* A finding that does not fit is kept, and asked about. */
static void tell_surprises(const struct ctl *c)
{
	char text[512];
	const struct followed *f = engine_find(c->desk.engine, c->argv[0]);
	for (size_t i = 0; f && f->known && i < LINES; i++)
		if (f->state.surprises[i].hour == civil_floor(c->at_s, HOUR_S)) {
			measure_surprise(f, (enum line)i, c->desk.set->units, text, sizeof text);
			(void)printf("%s\n", text);
		}
}

static enum rc check_finding_time(struct ctl *c, bool sensor)
{
	struct instrument x;
	enum rc rc = ctl_check_past(c, "--at", c->at_s);
	if (rc == RC_OK && !sensor)
		rc = record_instrument(c->desk.store, c->argv[0], &x, c->err);
	return rc == RC_OK && !sensor ? ctl_check_here(c, &x, c->at_s) : rc;
}

enum rc ctl_finding(struct ctl *c)
{
	struct findings f = { .n = 0 };
	const char *note = "";
	enum rc rc = ctl_arguments(
		c, "finding INSTRUMENT|SENSOR WHAT[=VALUE]... [note=...] [--at TIME]", 2, -1);
	if (rc != RC_OK)
		return rc;
	bool sensor = settings_sensor(c->desk.set, c->argv[0]) != NULL &&
		      record_instrument(
			      c->desk.store, c->argv[0], &(struct instrument){ 0 }, NULL) != RC_OK;
	rc = check_finding_time(c, sensor);
	for (int i = 1; rc == RC_OK && i < c->argc; i++) {
		char *key = c->argv[i], *value = ctl_split(key);
		if (strcmp(key, "note") == 0 && value)
			note = value;
		else
			rc = add_finding(c, &f, sensor, key, value);
	}
	if (rc == RC_OK && f.n == 0)
		rc = err_set(c->err, RC_USAGE, "nothing found: write for example relief=.010in");
	for (size_t i = 0; rc == RC_OK && i < f.n; i++)
		rc = ctl_set_text(c, "note", note, f.at[i].text, sizeof f.at[i].text);
	if (rc == RC_OK)
		rc = check_findings(c, sensor, &f);
	if (rc == RC_OK)
		rc = ctl_transaction(c, put_findings, &f);
	if (rc == RC_OK && !sensor)
		tell_surprises(c);
	return rc;
}
