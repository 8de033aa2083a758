#include "daemon/desk.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/publish.h"

enum { BATCH = 65536, FILE_SENSORS_MAX = 64 };

enum rc desk_read(const char *settings_path, struct desk *d, struct faults *f, struct err *err)
{
	*d = (struct desk){ 0 };
	enum rc rc = settings_load(settings_path, &d->set, f);
	if (rc == RC_OK) {
		const char *dirs[LIBRARY_DIRS_MAX];
		size_t n = 0;
		while (n < LIBRARY_DIRS_MAX && d->set->library[n][0]) {
			dirs[n] = d->set->library[n];
			n++;
		}
		rc = library_load(dirs, n, &d->lib, f);
	}
	if (rc != RC_OK) {
		desk_close(d);
		return faults_result(f, err) == RC_OK ? err_set(err, rc, "settings: out of memory") : RC_CONFIG;
	}
	return RC_OK;
}

enum rc desk_open(struct desk *d, enum store_mode mode, struct err *err)
{
	enum rc rc = store_open(d->set->store, mode, &d->store, err);
	return rc == RC_OK ? engine_new(d->store, d->set, d->lib, &d->engine, err) : rc;
}

void desk_close(struct desk *d)
{
	engine_free(d->engine);
	store_close(d->store);
	library_free(d->lib);
	settings_free(d->set);
	*d = (struct desk){ 0 };
}

enum rc desk_settle(struct desk *d, int64_t now_s, const struct agenda_news *news, size_t *changed,
	struct err *err)
{
	size_t files = 0;
	enum rc rc = engine_follow(d->engine, now_s, err);
	if (rc == RC_OK)
		rc = agenda_judge(d->store, d->engine, d->set, d->lib, now_s, news, err);
	if (rc == RC_OK)
		rc = publish_all(d->store, d->engine, d->set, d->lib, now_s, &files, err);
	if (changed)
		*changed = files;
	return rc;
}

/* ---- taking readings in ---- */

/* Readings of one sensor of the file waiting to be stored. */
struct heap {
	char name[64]; /* as the file says it */
	int64_t sensor;
	size_t n;
	struct quality_reading *at; /* BATCH of them */
};

struct intake {
	struct desk *desk;
	const char *path;
	const struct desk_import *how;
	int64_t now_s;
	struct heap heaps[FILE_SENSORS_MAX];
	size_t n_heaps;
	struct desk_imported *result;
	struct err *err;
	enum rc rc; /* of the sensor look-up, whose callback has no error channel */
};

/* `Rack 2 (left)` as a short name: `rack-2-left`. */
static void short_name(const char *text, char *buf, size_t size)
{
	size_t n = 0;
	for (; *text && n + 1 < size; text++) {
		if (isalnum((unsigned char)*text) || *text == '_')
			buf[n++] = (char)tolower((unsigned char)*text);
		else if (n > 0 && buf[n - 1] != '-')
			buf[n++] = '-';
	}
	while (n > 0 && buf[n - 1] == '-')
		n--;
	buf[n] = '\0';
}

/* A file that names no sensor speaks for the one it was said to, else for the one it is called after. */
static const struct sensor *sensor_of_file(const struct intake *in)
{
	char stem[NAME_SIZE * 4], shorter[NAME_SIZE];
	if (in->how->known && in->how->known->sensor[0])
		return settings_sensor(in->desk->set, in->how->known->sensor);
	const char *base = strrchr(in->path, '/');
	(void)snprintf(stem, sizeof stem, "%s", base ? base + 1 : in->path);
	stem[strcspn(stem, ".")] = '\0';
	short_name(stem, shorter, sizeof shorter);
	const struct sensor *sensor = settings_sensor(in->desk->set, shorter);
	if (sensor && in->how->guess) {
		char text[NAME_SIZE * 2];
		(void)snprintf(text, sizeof text, "sensor: %s, by the file's name", shorter);
		in->how->guess(in->how->arg, text);
	}
	return sensor;
}

static const struct sensor *sensor_for(const struct intake *in, const char *name)
{
	char shorter[NAME_SIZE];
	if (!name[0])
		return sensor_of_file(in);
	for (size_t i = 0; i < in->how->n_aliases; i++)
		if (strcmp(in->how->aliases[i].file_name, name) == 0)
			return settings_sensor(in->desk->set, in->how->aliases[i].sensor);
	short_name(name, shorter, sizeof shorter);
	return settings_sensor(in->desk->set, shorter);
}

static enum rc store_id(struct desk *d, const struct sensor *sensor, int64_t *id, struct err *err)
{
	return store_sensor(d->store, sensor->name, engine_zone(d->engine, sensor->place), id, err);
}

static int on_sensor(void *arg, const char *name)
{
	struct intake *in = arg;
	const struct sensor *sensor = sensor_for(in, name);
	if (!sensor) {
		if (!name[0])
			in->rc = err_set(in->err, RC_ASK, "which sensor do these readings belong to? say it with --sensor NAME, or call "
							 "the file after the sensor");
		return -1;
	}
	if (in->n_heaps == FILE_SENSORS_MAX)
		return -1;
	struct heap *h = &in->heaps[in->n_heaps];
	h->at = mem_new(BATCH, sizeof *h->at);
	in->rc = h->at ? store_id(in->desk, sensor, &h->sensor, in->err) :
			 err_set(in->err, RC_MEM, "import: out of memory");
	if (in->rc != RC_OK)
		return -1;
	(void)snprintf(h->name, sizeof h->name, "%s", sensor->name);
	return (int)in->n_heaps++;
}

static void on_differs(void *arg, int64_t t_s)
{
	struct intake *in = arg;
	struct civil c = civil_at(t_s);
	char text[128];
	(void)snprintf(text, sizeof text, "%04d-%02d-%02d %02d:%02d:%02d UTC is stored with other values: the first was kept",
		c.year, c.month, c.day, c.hour, c.minute, c.second);
	if (in->how->refused)
		in->how->refused(in->how->arg, 0, text);
}

static enum rc flush(struct intake *in, struct heap *h, struct err *err)
{
	enum rc rc = store_readings(in->desk->store, h->sensor, h->at, h->n, in->now_s, on_differs, in,
		&in->result->store, err);
	h->n = 0;
	return rc;
}

static enum rc on_reading(void *arg, int sensor, const struct quality_reading *r, int64_t line, struct err *err)
{
	struct intake *in = arg;
	struct heap *h = &in->heaps[sensor];
	(void)line;
	h->at[h->n++] = *r;
	return h->n < BATCH ? RC_OK : flush(in, h, err);
}

static void on_guess(void *arg, const char *text)
{
	struct intake *in = arg;
	if (in->how->guess)
		in->how->guess(in->how->arg, text);
}

static void on_refused(void *arg, int64_t line, const char *reason)
{
	struct intake *in = arg;
	if (in->how->refused)
		in->how->refused(in->how->arg, line, reason);
}

static void on_progress(void *arg, int64_t done, int64_t all)
{
	struct intake *in = arg;
	if (in->how->progress)
		in->how->progress(in->how->arg, done, all);
}

static enum rc take(struct intake *in, const char *path, struct err *err)
{
	const struct import_sink sink = { in, on_sensor, on_reading, on_guess, on_refused, on_progress };
	enum rc rc = import_file(path, in->how->known, &sink, &in->result->file, err);
	if (in->rc != RC_OK)
		rc = in->rc;
	for (size_t i = 0; rc == RC_OK && i < in->n_heaps; i++)
		rc = flush(in, &in->heaps[i], err);
	if (rc == RC_OK && in->n_heaps == 0)
		rc = err_set(err, RC_INPUT, "%s: no sensor in it is in the settings: name it there, or say which with --sensor or --as",
			path);
	return rc;
}

enum rc desk_import(struct desk *d, const char *path, const struct desk_import *how, int64_t now_s,
	struct desk_imported *result, struct err *err)
{
	*result = (struct desk_imported){ 0 };
	struct intake *in = mem_new(1, sizeof *in);
	if (!in)
		return err_set(err, RC_MEM, "import: out of memory");
	*in = (struct intake){ .desk = d, .path = path, .how = how, .now_s = now_s, .result = result, .err = err };
	enum rc rc = store_begin(d->store, err);
	if (rc == RC_OK) {
		rc = take(in, path, err);
		if (rc == RC_OK)
			rc = store_commit(d->store, err);
		else
			store_rollback(d->store);
	}
	for (size_t i = 0; i < in->n_heaps; i++)
		mem_free(in->heaps[i].at);
	mem_free(in);
	return rc;
}

enum rc desk_log(struct desk *d, const char *name, const struct quality_reading *r, size_t n, int64_t now_s,
	struct store_count *count, struct err *err)
{
	const struct sensor *sensor = settings_sensor(d->set, name);
	if (!sensor)
		return err_set(err, RC_UNKNOWN, "sensor \"%s\": not in the settings", name);
	int64_t id = 0;
	enum rc rc = store_begin(d->store, err);
	if (rc != RC_OK)
		return rc;
	rc = store_id(d, sensor, &id, err);
	if (rc == RC_OK)
		rc = store_readings(d->store, id, r, n, now_s, NULL, NULL, count, err);
	if (rc == RC_OK)
		return store_commit(d->store, err);
	store_rollback(d->store);
	return rc;
}
