/* The way of readings into the store, for the service and for `seasonctl import` alike: which
 * sensor is meant, batches, one transaction. What a call returned RC_OK for is durable. */
#ifndef DAEMON_INTAKE_H
#define DAEMON_INTAKE_H

#include <stddef.h>
#include <stdint.h>

#include "daemon/import.h"
#include "daemon/settings.h"
#include "daemon/store.h"

struct intake;

/* Borrows both for its life. Makes every sensor of the settings known to the store, with the zone
 * of its place. RC_CONFIG for a zone that is not known. */
MUST_USE enum rc intake_new(
	struct store *store, const struct settings *set, struct intake **out, struct err *err);
void intake_free(struct intake *in);

/* Readings of one sensor of the settings, in a transaction of its own. count (NULL allowed) is
 * added to. RC_UNKNOWN: no such sensor. */
MUST_USE enum rc intake_readings(struct intake *in, const char *sensor,
	const struct quality_reading *r, size_t n, int64_t now_s, struct store_count *count,
	struct err *err);

/* One reading of a source that brings several sensors, and what the sensor says of itself. */
struct intake_sample {
	char sensor[NAME_SIZE];
	struct quality_reading r;
	int battery_pct; /* < 0: not said */
	bool sent; /* r.t_s is the sender's own time, not that of arrival */
};

/* What a source brought: samples of any sensors, in the order they came, and that the source worked, in one
 * transaction; RC_OK: all of it is durable. Samples of sensors the settings do not know are left out and counted in
 * *unknown (NULL allowed); count (NULL allowed) is added to. */
MUST_USE enum rc intake_samples(struct intake *in, const char *source,
	const struct intake_sample *samples, size_t n, int64_t now_s, struct store_count *count,
	size_t *unknown, struct err *err);

/* `name in the file = sensor` for files that call their sensors otherwise. */
struct intake_alias {
	const char *file_name, *sensor;
};

/* Whose a nameless file is: the layout's sensor, else `sensor`, else the one whose name the file bears
 * (`case-left.csv`). Names in a file are matched as they are, then as short names: `Case left` is case-left. */
struct intake_file {
	const char *path;
	const struct layout *known; /* what is fixed beforehand; NULL: guess everything */
	const char *sensor; /* "": none said */
	const struct intake_alias *aliases;
	size_t n_aliases;
	int64_t now_s;
	const struct import_sink
		*hear; /* guess, refused, progress and their arg are passed on; NULL: none */
};

struct intake_result {
	struct import_result file;
	struct store_count store;
	size_t unknown; /* names in the file that are no sensor of the settings */
	char example[64]; /* the first of them */
};

/* A whole file, all of it or nothing. Errors of import_file: the file is at fault; RC_UNKNOWN when it
 * only holds sensors the settings do not know. RC_STORE, RC_BUSY, RC_FULL, RC_MEM: the store is. */
MUST_USE enum rc intake_file(struct intake *in, const struct intake_file *what,
	struct intake_result *result, struct err *err);

/* A name in a file as a short name: `Rack 2 (left)` is rack-2-left. Cut to size. */
void intake_short_name(const char *text, char *buf, size_t size);

/* `1204 readings, 1200 new, 4 known`, with what else is to be told. */
void intake_summary(const struct intake_result *r, char *buf, size_t n);

#endif
