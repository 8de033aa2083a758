/* The desk: settings, library, store, intake and engine opened together, and what every program does with them: settle -
 * follow the wood, judge the rules, publish the calendars. The service and seasonctl both work through it, at the
 * same time when need be: each step is a transaction of its own and gives the same result whoever takes it. */
#ifndef DAEMON_DESK_H
#define DAEMON_DESK_H

#include "daemon/agenda.h"
#include "daemon/engine.h"
#include "daemon/intake.h"
#include "daemon/publish.h"

struct desk {
	struct settings *set;
	struct library *lib;
	struct store *store;
	struct intake *intake;
	struct engine *engine;
	struct publish_memory printed;
};

/* Reads settings and library; every fault goes to f. RC_CONFIG when there are any. d is zeroed first. */
MUST_USE enum rc desk_read(
	const char *settings_path, struct desk *d, struct faults *f, struct err *err);

/* Opens the store, makes intake and engine; after desk_read. */
MUST_USE enum rc desk_open(struct desk *d, enum store_mode mode, struct err *err);

/* Reads settings and library again and swaps them in over the open store. On any fault the old ones stay in force:
 * RC_CONFIG. Another store needs a restart: RC_CONFIG. What was borrowed from d before is gone on success. */
MUST_USE enum rc desk_reload(
	const char *settings_path, struct desk *d, struct faults *f, struct err *err);

/* Releases what is there; harmless on a zeroed desk. */
void desk_close(struct desk *d);

/* Follow, judge (telling news, NULL allowed), publish. *changed (NULL allowed) counts replaced calendar files. A failing
 * output is reported after everything else is done. */
MUST_USE enum rc desk_settle(struct desk *d, int64_t now_s, const struct agenda_news *news,
	size_t *changed, struct err *err);

#endif
