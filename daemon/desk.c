#include "daemon/desk.h"

#include <string.h>

static enum rc read_library(struct desk *d, struct faults *f)
{
	const char *dirs[LIBRARY_DIRS_MAX];
	size_t n = 0;
	for (; n < LIBRARY_DIRS_MAX && d->set->library[n][0]; n++)
		dirs[n] = d->set->library[n];
	return library_load(dirs, n, &d->lib, f);
}

enum rc desk_read(const char *settings_path, struct desk *d, struct faults *f, struct err *err)
{
	*d = (struct desk){ 0 };
	enum rc rc = settings_load(settings_path, &d->set, f);
	if (rc == RC_OK)
		rc = read_library(d, f);
	if (rc == RC_OK)
		return RC_OK;
	desk_close(d);
	return faults_result(f, err) == RC_OK ? err_set(err, rc, "settings: out of memory")
					      : RC_CONFIG;
}

static enum rc open_over(struct desk *d, struct err *err)
{
	enum rc rc = intake_new(d->store, d->set, &d->intake, err);
	return rc == RC_OK ? engine_new(d->store, d->set, d->lib, &d->engine, err) : rc;
}

enum rc desk_open(struct desk *d, enum store_mode mode, struct err *err)
{
	enum rc rc = store_open(d->set->store, mode, &d->store, err);
	return rc == RC_OK ? open_over(d, err) : rc;
}

void desk_close(struct desk *d)
{
	publish_forget(&d->printed);
	engine_free(d->engine);
	intake_free(d->intake);
	store_close(d->store);
	library_free(d->lib);
	settings_free(d->set);
	*d = (struct desk){ 0 };
}

enum rc desk_reload(const char *settings_path, struct desk *d, struct faults *f, struct err *err)
{
	struct desk fresh;
	enum rc rc = desk_read(settings_path, &fresh, f, err);
	if (rc == RC_OK && strcmp(fresh.set->store, d->set->store) != 0)
		rc = err_set(err, RC_CONFIG,
			"%s: store = \"%s\": in use is %s: a restart changes it", settings_path,
			fresh.set->store, d->set->store);
	fresh.store = d->store;
	if (rc == RC_OK)
		rc = open_over(&fresh, err);
	struct desk *old = rc == RC_OK ? d : &fresh;
	struct store *kept = d->store;
	old->store = NULL;
	struct desk in_force = rc == RC_OK ? fresh : *d;
	desk_close(old);
	*d = in_force;
	d->store = kept;
	return rc;
}

static enum rc follow_and_judge(
	struct desk *d, int64_t now_s, const struct agenda_news *news, struct err *err)
{
	enum rc rc = store_begin(d->store, err);
	if (rc != RC_OK)
		return rc;
	rc = engine_follow_within(d->engine, now_s, err);
	if (rc == RC_OK)
		rc = agenda_judge(d->store, d->engine, d->set, d->lib, now_s, news, err);
	if (rc == RC_OK)
		return store_commit(d->store, err);
	store_rollback(d->store);
	return rc;
}

enum rc desk_settle(struct desk *d, int64_t now_s, const struct agenda_news *news, size_t *changed,
	struct err *err)
{
	size_t files = 0;
	enum rc rc = follow_and_judge(d, now_s, news, err);
	if (rc == RC_OK)
		rc = publish_all(
			d->store, d->engine, d->set, d->lib, now_s, &d->printed, &files, err);
	if (changed)
		*changed = files;
	return rc;
}
