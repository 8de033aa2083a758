/* The desk: settings, library, store and engine opened together, and the two things every program does with them:
 * take readings in, and settle - follow the wood, judge the rules, publish the calendars. The service and
 * seasonctl both work through it, at the same time when need be: each step is a transaction of its own and
 * gives the same result whoever takes it. */
#ifndef DAEMON_DESK_H
#define DAEMON_DESK_H

#include "daemon/agenda.h"
#include "daemon/engine.h"
#include "daemon/import.h"

struct desk {
	struct settings *set;
	struct library *lib;
	struct store *store;
	struct engine *engine;
};

/* Reads settings and library; every fault goes to f. RC_CONFIG when there are any. d is zeroed first. */
MUST_USE enum rc desk_read(const char *settings_path, struct desk *d, struct faults *f, struct err *err);

/* Opens the store and makes the engine; after desk_read. */
MUST_USE enum rc desk_open(struct desk *d, enum store_mode mode, struct err *err);

/* Releases what is there; harmless on a zeroed desk. */
void desk_close(struct desk *d);

/* Follow, judge (telling news, NULL allowed), publish. *changed (NULL allowed) counts replaced calendar files. A failing output is reported after
 * everything else is done. */
MUST_USE enum rc desk_settle(struct desk *d, int64_t now_s, const struct agenda_news *news, size_t *changed,
	struct err *err);

/* `file name = sensor name` pairs for files that name their sensors otherwise. */
struct desk_alias {
	const char *file_name;
	const char *sensor;
};

struct desk_import {
	const struct layout *known;     /* NULL: guess everything */
	const struct desk_alias *aliases;
	size_t n_aliases;
	/* For the person: each may be NULL. */
	void *arg;
	void (*guess)(void *arg, const char *text);
	void (*refused)(void *arg, int64_t line, const char *reason);
	void (*progress)(void *arg, int64_t done, int64_t all);
};

struct desk_imported {
	struct import_result file;
	struct store_count store;
};

/* Imports a delimited export as one transaction: all of it or nothing. */
MUST_USE enum rc desk_import(struct desk *d, const char *path, const struct desk_import *how, int64_t now_s,
	struct desk_imported *result, struct err *err);

/* Stores readings of one sensor of the settings as one transaction. */
MUST_USE enum rc desk_log(struct desk *d, const char *sensor, const struct quality_reading *r, size_t n, int64_t now_s,
	struct store_count *count, struct err *err);

#endif
