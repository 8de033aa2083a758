#include "daemon/app.h"

#include <malloc.h>

/* Every fault has a line of its own; what the caller is told counts them. */
static enum rc tell(
	struct app *app, struct faults *faults, enum rc rc, const struct err *why, struct err *err)
{
	size_t all = faults->n + faults->beyond;
	for (size_t i = 0; i < faults->n; i++)
		log_line(app->log, LEVEL_ERROR, faults->text[i], "%s", faults->text[i]);
	faults_done(faults);
	if (rc == RC_OK)
		return RC_OK;
	if (all)
		return err_set(
			err, rc, "%s: %zu fault%s", app->settings_path, all, all == 1 ? "" : "s");
	return err_set(err, rc, "%s", why->text);
}

enum rc app_open(struct app *app, struct err *err)
{
	struct faults faults = { 0 };
	struct err why = { 0 };
	enum rc rc = desk_read(app->settings_path, &app->desk, &faults, &why);
	rc = tell(app, &faults, rc, &why, err);
	if (rc == RC_OK)
		rc = desk_open(&app->desk, app->replay ? STORE_REPLAY : STORE_WRITE, err);
	if (rc == RC_OK && app->replay)
		rc = agenda_forget(app->desk.store, clock_now_s(app->clock), err);
	return rc;
}

void app_close(struct app *app)
{
	desk_close(&app->desk);
}

enum rc app_reload(struct app *app, struct err *err)
{
	struct faults faults = { 0 };
	struct err why = { 0 };
	enum rc rc = desk_reload(app->settings_path, &app->desk, &faults, &why);
	return tell(app, &faults, rc, &why, err);
}

enum rc app_take_file(struct app *app, const struct source *source, const char *path, int64_t now_s,
	char *summary, size_t n, struct err *err)
{
	const struct intake_file what = {
		.path = path,
		.known = settings_layout(app->desk.set, source->layout),
		.sensor = source->sensor,
		.now_s = app->replay ? app->replay_to_s : now_s,
	};
	struct intake_result result;
	enum rc rc = intake_file(app->desk.intake, &what, &result, err);
	if (rc == RC_OK)
		intake_summary(&result, summary, n);
	(void)malloc_trim(0); /* a big file's batches are not kept for an idle service */
	return rc;
}

enum rc app_take_samples(struct app *app, const struct source *source,
	const struct intake_sample *samples, size_t n, int64_t now_s, struct err *err)
{
	size_t unknown = 0;
	enum rc rc = intake_samples(
		app->desk.intake, source->name, samples, n, now_s, NULL, &unknown, err);
	if (rc == RC_OK && unknown)
		log_line(app->log, LEVEL_WARNING, source->name,
			"source \"%s\": %zu readings of sensors that are not in the settings",
			source->name, unknown);
	return rc;
}
