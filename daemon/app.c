#include "daemon/app.h"

#include <malloc.h>
#include <string.h>

/* Loads the settings and logs what is wrong with them. */
static enum rc load(struct app *app, struct settings **out, struct err *err)
{
	struct faults faults = { 0 };
	enum rc rc = settings_load(app->settings_path, out, &faults);
	for (size_t i = 0; i < faults.n; i++)
		log_line(app->log, LEVEL_ERROR, faults.text[i], "%s", faults.text[i]);
	if (rc != RC_OK)
		rc = err_set(err, RC_CONFIG, "%s: %zu fault%s", app->settings_path,
			faults.n + faults.beyond, faults.n + faults.beyond == 1 ? "" : "s");
	faults_done(&faults);
	return rc;
}

enum rc app_open(struct app *app, struct err *err)
{
	enum rc rc = load(app, &app->settings, err);
	if (rc == RC_OK)
		rc = store_open(app->settings->store, app->replay ? STORE_REPLAY : STORE_WRITE,
			&app->store, err);
	if (rc == RC_OK)
		rc = intake_new(app->store, app->settings, &app->intake, err);
	return rc;
}

void app_close(struct app *app)
{
	intake_free(app->intake);
	store_close(app->store);
	settings_free(app->settings);
	app->intake = NULL;
	app->store = NULL;
	app->settings = NULL;
}

enum rc app_reload(struct app *app, struct err *err)
{
	struct settings *settings = NULL;
	struct intake *intake = NULL;
	enum rc rc = load(app, &settings, err);
	if (rc == RC_OK && strcmp(settings->store, app->settings->store) != 0)
		rc = err_set(err, RC_CONFIG,
			"%s: store = \"%s\": in use is %s: a restart changes it",
			app->settings_path, settings->store, app->settings->store);
	if (rc == RC_OK)
		rc = intake_new(app->store, settings, &intake, err);
	if (rc != RC_OK) {
		settings_free(settings);
		return rc;
	}
	intake_free(app->intake);
	settings_free(app->settings);
	app->intake = intake;
	app->settings = settings;
	return RC_OK;
}

enum rc app_take_file(struct app *app, const struct source *source, const char *path, int64_t now_s,
	char *summary, size_t n, struct err *err)
{
	const struct intake_file what = {
		.path = path,
		.layout = source->layout,
		.sensor = source->sensor,
		.now_s = app->replay ? app->replay_to_s : now_s,
	};
	struct intake_result result;
	enum rc rc = intake_file(app->intake, &what, &result, err);
	if (rc == RC_OK)
		intake_summary(&result, summary, n);
	(void)malloc_trim(0); /* a big file's batches are not kept for an idle service */
	return rc;
}

enum rc app_take_readings(struct app *app, const struct source *source,
	const struct quality_reading *r, size_t n, int64_t now_s, struct err *err)
{
	return intake_readings(app->intake, source->sensor, r, n, now_s, NULL, err);
}
