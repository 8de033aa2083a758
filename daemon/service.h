/* When things happen: sources are read, the spools watched, the bell heard, and the app settles
 * after each intake and two minutes after each full hour. Signals: TERM and INT finish and stop,
 * HUP reads the settings again. What fails is logged with what will be done, and tried again with
 * growing delay. */
#ifndef DAEMON_SERVICE_H
#define DAEMON_SERVICE_H

#include <stdint.h>

#include "daemon/app.h"

struct service;

/* Borrows the opened app. In a replay kernel sources and the bell stay silent, and spool files are
 * taken at once. */
MUST_USE enum rc service_new(struct app *app, struct service **out, struct err *err);
void service_free(struct service *s);

/* Until a signal stops it, or with a virtual clock until until_s. The result is that of the last
 * settling when it never succeeded after. */
MUST_USE enum rc service_run(struct service *s, int64_t until_s, struct err *err);

/* Reads every source once, takes what lies in the spools, settles, keeps calendars on servers in step. RC_OK when all of it went well,
 * else the first failure; the rest is done all the same. */
MUST_USE enum rc service_once(struct service *s, struct err *err);

#endif
