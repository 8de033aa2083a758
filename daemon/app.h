/* What both live run and replay work on: settings, store, and the steps from readings to calendars.
 * The service (daemon/service.h) decides when; here stands what. */
#ifndef DAEMON_APP_H
#define DAEMON_APP_H

#include <stdbool.h>
#include <stdint.h>

#include "daemon/clock.h"
#include "daemon/desk.h"
#include "daemon/log.h"

struct app {
	/* set before app_open, borrowed */
	const char *settings_path;
	struct clock *clock;
	struct log *log;
	bool replay; /* the store is opened for replay */
	int64_t replay_to_s; /* readings up to here are no readings from the future */
	/* owned from app_open on */
	struct desk desk;
};

/* Reads the settings (every fault is logged) and opens the store. app_close also after a failure.
 */
MUST_USE enum rc app_open(struct app *app, struct err *err);
void app_close(struct app *app);

/* Reads the settings again. On faults each is logged and all stays as it was: RC_CONFIG. On success
 * what was borrowed from app->desk before is gone. */
MUST_USE enum rc app_reload(struct app *app, struct err *err);

/* A file of a spool into the store, durable on RC_OK; summary is one line for people. */
MUST_USE enum rc app_take_file(struct app *app, const struct source *source, const char *path,
	int64_t now_s, char *summary, size_t n, struct err *err);

/* What a source brought into the store, durable on RC_OK. Samples of sensors the settings do not know are left out
 * and told in the log. */
MUST_USE enum rc app_take_samples(struct app *app, const struct source *source,
	const struct intake_sample *samples, size_t n, int64_t now_s, struct err *err);

/* From the store to the calendars: follows the air, judges the rules, writes what changed.
 * Idempotent. Called after each intake, after the bell, and shortly after each full hour. */
MUST_USE enum rc app_settle(struct app *app, int64_t now_s, struct err *err);

#endif
