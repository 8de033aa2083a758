#include "daemon/ctl.h"

#include <sys/stat.h>
#include <unistd.h>

/* Folders that have to be there and be writable. */
static void check_folder(
	struct faults *f, const char *config, const char *what, const char *name, const char *path)
{
	struct stat st;
	if (stat(path, &st) != 0 || !S_ISDIR(st.st_mode))
		faults_add(f, config, 0,
			"%s \"%s\": folder %s is not there: make it, or name another", what, name,
			path);
	else if (access(path, W_OK) != 0)
		faults_add(f, config, 0, "%s \"%s\": folder %s cannot be written by this user",
			what, name, path);
}

static void check_folders(const struct ctl *c, struct faults *f)
{
	const struct settings *set = c->desk.set;
	for (size_t i = 0; i < set->n_outputs; i++)
		if (set->outputs[i].folder[0])
			check_folder(f, c->config, "output", set->outputs[i].name,
				set->outputs[i].folder);
	for (size_t i = 0; i < set->n_sources; i++)
		if (set->sources[i].kind == SOURCE_SPOOL)
			check_folder(
				f, c->config, "source", set->sources[i].name, set->sources[i].path);
}

/* Outputs for a client whom nobody has entered. */
static enum rc check_clients(struct ctl *c, struct faults *f)
{
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < c->desk.set->n_outputs; i++) {
		const struct output *o = &c->desk.set->outputs[i];
		struct client client;
		struct err unknown = { 0 };
		rc = o->client[0] ? record_client(c->desk.store, o->client, &client, &unknown)
				  : RC_OK;
		if (rc == RC_UNKNOWN) {
			faults_add(f, c->config, 0,
				"output \"%s\": client \"%s\": not in the records: no calendar "
				"until it is entered",
				o->name, o->client);
			rc = RC_OK;
		}
		if (rc != RC_OK)
			(void)err_set(c->err, rc, "%s", unknown.text);
	}
	return rc;
}

/* Instruments whose build cannot be used or that stay where the settings know nothing. */
static enum rc check_records(struct ctl *c, struct faults *f)
{
	size_t n = 0;
	if (access(c->desk.set->store, F_OK) != 0)
		return RC_OK;
	enum rc rc = desk_open(&c->desk, STORE_WRITE, c->err);
	if (rc == RC_OK)
		rc = store_check(c->desk.store, c->err);
	if (rc == RC_OK)
		rc = check_clients(c, f);
	if (rc == RC_OK)
		rc = engine_follow(c->desk.engine, c->now_s, c->err);
	const struct followed *list = rc == RC_OK ? engine_followed(c->desk.engine, &n) : NULL;
	for (size_t i = 0; rc == RC_OK && i < n; i++) {
		if (list[i].trouble[0])
			faults_add(f, NULL, 0, "instrument \"%s\": %s", list[i].record.name,
				list[i].trouble);
		else if (!settings_place(c->desk.set, list[i].place))
			faults_add(f, NULL, 0,
				"instrument \"%s\": place \"%s\": not in the settings",
				list[i].record.name, list[i].place);
	}
	return rc;
}

enum rc ctl_check(struct ctl *c)
{
	struct faults f = { 0 };
	enum rc rc = ctl_arguments(c, "check", 0, 0);
	if (rc != RC_OK)
		return rc;
	rc = desk_read(c->config, &c->desk, &f, NULL);
	if (rc == RC_OK) {
		check_folders(c, &f);
		rc = check_records(c, &f);
	}
	for (size_t i = 0; i < f.n; i++)
		(void)puts(f.text[i]);
	if (f.beyond)
		(void)printf("... and %zu more\n", f.beyond);
	size_t all = f.n + f.beyond;
	faults_done(&f);
	if (all)
		return err_set(c->err, RC_CONFIG, "%zu fault%s", all, all == 1 ? "" : "s");
	if (rc == RC_OK)
		(void)printf("%s: %zu places, %zu sensors, %zu sources, %zu outputs: no faults\n",
			c->config, c->desk.set->n_places, c->desk.set->n_sensors,
			c->desk.set->n_sources, c->desk.set->n_outputs);
	return rc;
}
