#include "daemon/ctl_change.h"

#include <math.h>
#include <string.h>

#include "core/mem.h"
#include "core/number.h"
#include "daemon/agenda.h"
#include "daemon/recordtext.h"
#include "daemon/when.h"

static enum rc check_name(struct ctl *c, const char *name)
{
	size_t n = strspn(name, "abcdefghijklmnopqrstuvwxyz0123456789-_");
	if (n == 0 || name[n] || n >= NAME_SIZE || name[0] == '-' || name[0] == '_')
		return err_set(c->err, RC_USAGE,
			"name \"%.40s\": 1..%d lower-case letters, digits, - and _, a letter or "
			"digit first",
			name, NAME_SIZE - 1);
	return RC_OK;
}

static enum rc unknown_key(struct ctl *c, const char *key, const char *const *known, size_t n)
{
	const char *near = faults_nearest(key, known, n);
	return err_set(c->err, RC_USAGE, "unknown word \"%.40s\"%s%s%s", key,
		near ? ": did you mean " : "", near ? near : "", near ? "?" : "");
}

/* ---- clients ---- */

static enum rc parse_time(struct ctl *c, const char *text, int64_t *out)
{
	return when_parse(text, engine_zone(c->desk.engine, NULL), c->now_s, out, c->err);
}

static enum rc set_agreed(struct ctl *c, const char *value, int64_t *agreed_s)
{
	int64_t t = c->at_s;
	if (strcmp(value, "no") == 0) {
		*agreed_s = 0;
		return RC_OK;
	}
	enum rc rc = strcmp(value, "yes") == 0 ? RC_OK : parse_time(c, value, &t);
	if (rc == RC_OK)
		rc = ctl_check_past(c, "agreed", t);
	if (rc == RC_OK && t <= 0)
		rc = err_set(c->err, RC_INPUT, "agreed lies before 1970: later");
	if (rc == RC_OK)
		*agreed_s = t;
	return rc;
}

static enum rc put_client(struct ctl *c, void *arg)
{
	return record_put_client(c->desk.store, arg, NULL, c->err);
}

enum rc ctl_client(struct ctl *c)
{
	static const char *const keys[] = { "title", "address", "note", "email", "agreed" };
	struct client x = { 0 };
	enum rc rc = ctl_arguments(c,
		"client NAME [title=...] [address=...] [note=...] [email=...] [agreed=yes|no|TIME]",
		1, -1);
	if (rc == RC_OK)
		rc = check_name(c, c->argv[0]);
	if (rc == RC_OK && record_client(c->desk.store, c->argv[0], &x, NULL) != RC_OK)
		(void)snprintf(x.name, sizeof x.name, "%s", c->argv[0]);
	for (int i = 1; rc == RC_OK && i < c->argc; i++) {
		char *key = c->argv[i], *value = ctl_split(key);
		if (value && strcmp(key, "title") == 0)
			rc = ctl_set_text(c, key, value, x.title, sizeof x.title);
		else if (value && strcmp(key, "address") == 0)
			rc = ctl_set_text(c, key, value, x.address, sizeof x.address);
		else if (value && strcmp(key, "note") == 0)
			rc = ctl_set_text(c, key, value, x.note, sizeof x.note);
		else if (value && strcmp(key, "email") == 0)
			rc = ctl_set_text(c, key, value, x.email, sizeof x.email);
		else if (value && strcmp(key, "agreed") == 0)
			rc = set_agreed(c, value, &x.agreed_s);
		else
			rc = unknown_key(c, key, keys, sizeof keys / sizeof keys[0]);
	}
	return rc == RC_OK ? ctl_transaction(c, put_client, &x) : rc;
}

/* ---- instruments ---- */

struct instrument_change {
	struct instrument x;
	struct stay stay; /* place "" : none given */
};

static enum rc put_instrument(struct ctl *c, void *arg)
{
	struct instrument_change *ch = arg;
	enum rc rc = record_put_instrument(c->desk.store, &ch->x, NULL, c->err);
	if (rc == RC_OK && ch->stay.place[0])
		rc = record_put_stay(c->desk.store, ch->x.name, &ch->stay, NULL, c->err);
	return rc;
}

static enum rc known_place(struct ctl *c, const char *name)
{
	if (settings_place(c->desk.set, name))
		return RC_OK;
	const char *names[PLACES_MAX];
	for (size_t i = 0; i < c->desk.set->n_places; i++)
		names[i] = c->desk.set->places[i].name;
	const char *near = faults_nearest(name, names, c->desk.set->n_places);
	return err_set(c->err, RC_UNKNOWN, "place \"%.40s\": not in the settings%s%s%s", name,
		near ? ": did you mean " : "", near ? near : "", near ? "?" : "");
}

static enum rc known_build(struct ctl *c, const char *name)
{
	const struct library *lib = c->desk.lib;
	if (library_build(lib, name))
		return RC_OK;
	struct err *err = c->err;
	enum rc rc =
		err_set(err, RC_UNKNOWN, "build \"%.40s\": not in the library; there are:", name);
	for (size_t i = 0; i < lib->n_builds; i++) {
		size_t used = strlen(err->text);
		(void)snprintf(err->text + used, sizeof err->text - used, "%s %s", i ? "," : "",
			lib->builds[i].name);
	}
	return rc;
}

static enum rc set_instrument(
	struct ctl *c, struct instrument_change *ch, const char *key, const char *value)
{
	static const char *const keys[] = { "build", "place", "client", "title", "since", "until",
		"note", "overrides" };
	struct instrument *x = &ch->x;
	if (!value)
		return err_set(c->err, RC_USAGE, "\"%.40s\": write %.40s=VALUE", key, key);
	if (strcmp(key, "build") == 0)
		return known_build(c, value) == RC_OK
			       ? ctl_set_text(c, key, value, x->build, sizeof x->build)
			       : RC_UNKNOWN;
	if (strcmp(key, "place") == 0)
		return known_place(c, value) == RC_OK
			       ? ctl_set_text(c, key, value, ch->stay.place, sizeof ch->stay.place)
			       : RC_UNKNOWN;
	if (strcmp(key, "client") == 0)
		return ctl_set_text(c, key, value, x->client, sizeof x->client);
	if (strcmp(key, "title") == 0)
		return ctl_set_text(c, key, value, x->title, sizeof x->title);
	if (strcmp(key, "note") == 0)
		return ctl_set_text(c, key, value, x->note, sizeof x->note);
	if (strcmp(key, "overrides") == 0)
		return ctl_set_text(c, key, value, x->overrides, sizeof x->overrides);
	if (strcmp(key, "since") == 0)
		return parse_time(c, value, &x->since_s);
	if (strcmp(key, "until") == 0 && value[0])
		return parse_time(c, value, &x->until_s);
	if (strcmp(key, "until") == 0) {
		x->until_s = TIME_NEVER;
		return RC_OK;
	}
	return unknown_key(c, key, keys, sizeof keys / sizeof keys[0]);
}

static enum rc check_times(struct ctl *c, const struct instrument_change *ch)
{
	enum rc rc = ctl_check_past(c, "since", ch->x.since_s);
	if (rc == RC_OK && ch->x.until_s <= ch->x.since_s)
		rc = err_set(c->err, RC_INPUT,
			"until does not lie after since: later, or until= for still here");
	if (rc == RC_OK && ch->stay.place[0])
		rc = ctl_check_past(c, "--at", ch->stay.t_s);
	return rc == RC_OK && ch->stay.place[0] ? ctl_check_here(c, &ch->x, ch->stay.t_s) : rc;
}

static enum rc check_overrides(struct ctl *c, const struct instrument *x)
{
	const struct build *base = library_build(c->desk.lib, x->build);
	struct build merged;
	struct faults f = { 0 };
	if (!base)
		return err_set(
			c->err, RC_USAGE, "instrument \"%s\": build=NAME is missing", x->name);
	enum rc rc = library_override(c->desk.lib, base, x->overrides, x->name, &merged, &f);
	if (rc != RC_OK)
		rc = faults_result(&f, c->err);
	faults_done(&f);
	return rc;
}

enum rc ctl_instrument(struct ctl *c)
{
	struct instrument_change ch = { 0 };
	enum rc rc = ctl_arguments(c,
		"instrument NAME [build=...] [place=...] [client=...] [title=...] [since=...] "
		"[until=...] [note=...] [overrides=...]",
		1, -1);
	if (rc == RC_OK)
		rc = check_name(c, c->argv[0]);
	bool fresh =
		rc == RC_OK && record_instrument(c->desk.store, c->argv[0], &ch.x, NULL) != RC_OK;
	if (fresh) {
		ch.x = (struct instrument){ .since_s = c->at_s, .until_s = TIME_NEVER };
		(void)snprintf(ch.x.name, sizeof ch.x.name, "%s", c->argv[0]);
	}
	for (int i = 1; rc == RC_OK && i < c->argc; i++) {
		char *key = c->argv[i];
		rc = set_instrument(c, &ch, key, ctl_split(key));
	}
	ch.stay.t_s = fresh ? ch.x.since_s : c->at_s;
	if (rc == RC_OK)
		rc = check_times(c, &ch);
	if (rc == RC_OK)
		rc = check_overrides(c, &ch.x);
	return rc == RC_OK ? ctl_transaction(c, put_instrument, &ch) : rc;
}

struct move {
	const char *instrument;
	struct stay stay;
};

static enum rc put_stay(struct ctl *c, void *arg)
{
	struct move *m = arg;
	return record_put_stay(c->desk.store, m->instrument, &m->stay, NULL, c->err);
}

enum rc ctl_move(struct ctl *c)
{
	struct move m = { .stay = { .t_s = c->at_s } };
	struct instrument x;
	enum rc rc = ctl_arguments(c, "move INSTRUMENT PLACE [--at TIME]", 2, 2);
	if (rc == RC_OK)
		rc = known_place(c, c->argv[1]);
	if (rc == RC_OK)
		rc = ctl_check_past(c, "--at", c->at_s);
	if (rc == RC_OK)
		rc = record_instrument(c->desk.store, c->argv[0], &x, c->err);
	if (rc == RC_OK)
		rc = ctl_check_here(c, &x, c->at_s);
	if (rc != RC_OK)
		return rc;
	m.instrument = c->argv[0];
	(void)snprintf(m.stay.place, sizeof m.stay.place, "%s", c->argv[1]);
	return ctl_transaction(c, put_stay, &m);
}

/* The one of that minute, as `seasonctl salt SENSOR` lists them. */
static enum rc remove_correction(struct ctl *c, const char *sensor)
{
	struct store_correction *all = NULL;
	size_t n = 0, i = 0;
	int64_t id = 0;
	enum rc rc = store_sensor_find(c->desk.store, sensor, &id, c->err);
	if (rc == RC_OK)
		rc = store_corrections(c->desk.store, id, &all, &n, c->err);
	while (i < n && civil_floor(all[i].check.t_s, 60) != civil_floor(c->at_s, 60))
		i++;
	if (rc == RC_OK && i == n)
		rc = err_set(c->err, RC_UNKNOWN,
			"no correction of %s at that time: see `seasonctl salt %s`", sensor,
			sensor);
	if (rc == RC_OK)
		rc = store_correction_remove(c->desk.store, id, all[i].check.t_s, c->err);
	mem_free(all);
	return rc;
}

static enum rc remove_it(struct ctl *c, void *arg)
{
	(void)arg;
	const char *what = c->argv[0], *name = c->argv[1];
	if (strcmp(what, "client") == 0 && c->argc == 2)
		return record_remove_client(c->desk.store, name, c->err);
	if (strcmp(what, "instrument") == 0 && c->argc == 2)
		return record_remove_instrument(c->desk.store, name, c->err);
	if (strcmp(what, "correction") == 0 && c->argc == 2)
		return remove_correction(c, name);
	if (strcmp(what, "finding") != 0 || c->argc != 3)
		return err_set(c->err, RC_USAGE,
			"remove what? client NAME, instrument NAME, finding SUBJECT WHAT --at "
			"TIME, or correction SENSOR --at TIME");
	enum finding_kind kind = finding_by_name(c->argv[2]);
	if (kind == FINDING_KINDS)
		return err_set(c->err, RC_UNKNOWN, "finding \"%.40s\": no such word", c->argv[2]);
	int subject = finding_words()[kind].of_sensor ? CARE_OF_SENSOR : CARE_OF_INSTRUMENT;
	return record_remove_finding(c->desk.store, subject, name, c->at_s, (int)kind, c->err);
}

enum rc ctl_remove(struct ctl *c)
{
	enum rc rc = ctl_arguments(c,
		"remove client NAME | instrument NAME | finding SUBJECT WHAT --at TIME | "
		"correction SENSOR --at TIME",
		2, 3);
	return rc == RC_OK ? ctl_transaction(c, remove_it, NULL) : rc;
}

/* ---- closing items ---- */

static enum rc close_it(struct ctl *c, void *arg)
{
	const enum item_state *how = arg;
	int64_t number = 0;
	if (!number_int(c->argv[0][0] == '#' ? c->argv[0] + 1 : c->argv[0], &number))
		return err_set(c->err, RC_USAGE,
			"item \"%.40s\": give its number as `seasonctl agenda` shows it",
			c->argv[0]);
	return agenda_close(c->desk.store, number, *how, c->at_s, c->err);
}

enum rc ctl_done(struct ctl *c)
{
	enum item_state how = ITEM_DONE;
	enum rc rc = ctl_arguments(c, "done NUMBER [--at TIME]", 1, 1);
	if (rc == RC_OK)
		rc = ctl_check_past(c, "--at", c->at_s);
	return rc == RC_OK ? ctl_transaction(c, close_it, &how) : rc;
}

enum rc ctl_aside(struct ctl *c)
{
	enum item_state how = ITEM_PUT_ASIDE;
	enum rc rc = ctl_arguments(c, "aside NUMBER [--at TIME]", 1, 1);
	if (rc == RC_OK)
		rc = ctl_check_past(c, "--at", c->at_s);
	return rc == RC_OK ? ctl_transaction(c, close_it, &how) : rc;
}

/* ---- the records as text ---- */

static void to_stdout(void *arg, const char *text)
{
	(void)arg;
	(void)fputs(text, stdout);
}

struct applied {
	struct faults faults;
	size_t changed;
};

static enum rc apply(struct ctl *c, void *arg)
{
	struct applied *a = arg;
	return recordtext_apply(c->desk.store, c->desk.set, c->desk.lib,
		engine_zone(c->desk.engine, NULL), c->now_s, c->argv[1], &a->changed, &a->faults,
		c->err);
}

enum rc ctl_records(struct ctl *c)
{
	enum rc rc = ctl_arguments(c, "records export | apply FILE", 1, 2);
	if (rc != RC_OK)
		return rc;
	if (strcmp(c->argv[0], "export") == 0 && c->argc == 1)
		return recordtext_export(
			c->desk.store, engine_zone(c->desk.engine, NULL), to_stdout, NULL, c->err);
	if (strcmp(c->argv[0], "apply") != 0 || c->argc != 2)
		return err_set(c->err, RC_USAGE, "usage: seasonctl records export | apply FILE");
	struct applied a = { .changed = 0 };
	rc = ctl_transaction(c, apply, &a);
	size_t all = a.faults.n + a.faults.beyond;
	for (size_t i = 0; i < a.faults.n; i++)
		(void)fprintf(stderr, "%s\n", a.faults.text[i]);
	faults_done(&a.faults);
	if (all) { /* in place of the first of them */
		*c->err = (struct err){ 0 };
		rc = err_set(
			c->err, rc, "%zu fault%s: nothing was written", all, all == 1 ? "" : "s");
	}
	if (rc == RC_OK)
		(void)printf("%zu record%s changed\n", a.changed, a.changed == 1 ? "" : "s");
	return rc;
}
