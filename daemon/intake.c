#include "daemon/intake.h"

#include <ctype.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"

/* Method: a file's rows may change sensor at every line, and the store works best on long runs of
 * one. So rows are gathered per sensor and handed over when BUFFERED_MAX of them have come
 * together. */

enum { BUFFERED_MAX = 1 << 17, FIRST_ROOM = 1024 };

struct run {
	int64_t id; /* the store's number of the sensor */
	size_t n, room;
	struct quality_reading *r;
};

struct intake {
	struct store *store;
	const struct settings *set;
	struct run *runs; /* one per sensor of the settings, in their order */
	size_t buffered;
};

/* ---- sensors ---- */

struct zones {
	size_t n;
	struct zone *zone[PLACES_MAX + 1];
};

static enum rc zone_of(struct zones *zones, const struct settings *set, const struct sensor *sensor,
	const struct zone **out, struct err *err)
{
	const char *name = settings_zone_of(set, settings_place(set, sensor->place));
	size_t i = 0;
	while (i < zones->n && strcmp(zone_name_ref(zones->zone[i]), name) != 0)
		i++;
	if (i == zones->n) {
		enum rc rc = zone_new(name, &zones->zone[i], err);
		if (rc != RC_OK)
			return rc;
		zones->n++;
	}
	*out = zones->zone[i];
	return RC_OK;
}

static enum rc know_sensors(struct intake *in, struct err *err)
{
	struct zones *zones = mem_new(1, sizeof *zones);
	if (!zones)
		return err_set(err, RC_MEM, "sensors: out of memory");
	enum rc rc = store_begin(in->store, err);
	for (size_t i = 0; rc == RC_OK && i < in->set->n_sensors; i++) {
		const struct sensor *sensor = &in->set->sensors[i];
		const struct zone *zone = NULL;
		rc = zone_of(zones, in->set, sensor, &zone, err);
		if (rc == RC_OK)
			rc = store_sensor(in->store, sensor->name, zone, &in->runs[i].id, err);
	}
	if (rc == RC_OK)
		rc = store_commit(in->store, err);
	else
		store_rollback(in->store);
	while (zones->n > 0)
		zone_free(zones->zone[--zones->n]);
	mem_free(zones);
	return rc;
}

enum rc intake_new(
	struct store *store, const struct settings *set, struct intake **out, struct err *err)
{
	struct intake *in = mem_new(1, sizeof *in);
	enum rc rc = RC_OK;
	if (in) {
		*in = (struct intake){ .store = store, .set = set };
		in->runs = mem_new(set->n_sensors, sizeof in->runs[0]);
	}
	if (!in || !in->runs)
		rc = err_set(err, RC_MEM, "sensors: out of memory");
	else
		rc = know_sensors(in, err);
	if (rc != RC_OK)
		intake_free(in);
	else
		*out = in;
	return rc;
}

/* Index into the settings' sensors, -1 when there is none of that name. */
static int sensor_index(const struct intake *in, const char *name)
{
	const struct sensor *s = settings_sensor(in->set, name);
	return s ? (int)(s - in->set->sensors) : -1;
}

/* Samples of one sensor in a row go to the store together. */
static size_t run_length(const struct intake_sample *s, size_t n)
{
	size_t i = 1;
	while (i < n && strcmp(s[i].sensor, s[0].sensor) == 0)
		i++;
	return i;
}

#define SKEW_STEP_S 60 /* less is not worth a write, an hour apart is */

/* Readings come late for many reasons and early only for a wrong clock. So of a clock that is not ahead the freshest that it
 * brought within a day counts, and one that was ahead is believed as soon as it says otherwise. */
static bool is_skew_news(const struct store_health *old, int64_t ahead_s, int64_t now_s)
{
	if (!old->has_ahead)
		return true;
	int64_t age_s = now_s - old->ahead_at_s, step_s = ahead_s - old->ahead_s;
	if (old->ahead_s > 0)
		return step_s >= SKEW_STEP_S || step_s <= -SKEW_STEP_S || age_s >= HOUR_S;
	return step_s >= SKEW_STEP_S || (step_s >= 0 && age_s >= HOUR_S) || age_s >= DAY_S;
}

static enum rc note_health(struct intake *in, int64_t id, const struct intake_sample *s,
	int64_t now_s, struct err *err)
{
	struct store_health h = { .battery_pct = s->battery_pct }, old = { 0 };
	bool found = false;
	enum rc rc = s->sent ? store_health(in->store, id, &old, &found, err) : RC_OK;
	h.ahead_s = s->r.t_s - now_s;
	h.has_ahead = s->sent && is_skew_news(&old, h.ahead_s, now_s);
	if (rc != RC_OK || (h.battery_pct < 0 && !h.has_ahead))
		return rc;
	return store_health_put(in->store, id, &h, now_s, err);
}

static enum rc store_run_of(struct intake *in, int64_t id, const struct intake_sample *s, size_t n,
	int64_t now_s, struct store_count *count, struct err *err)
{
	enum { PART = 64 };
	struct quality_reading r[PART];
	enum rc rc = RC_OK;
	for (size_t from = 0; rc == RC_OK && from < n; from += PART) {
		size_t part = n - from < PART ? n - from : PART;
		for (size_t i = 0; i < part; i++)
			r[i] = s[from + i].r;
		rc = store_readings(in->store, id, r, part, now_s, NULL, NULL, count, err);
	}
	return rc == RC_OK ? note_health(in, id, &s[n - 1], now_s, err) : rc;
}

enum rc intake_samples(struct intake *in, const char *source, const struct intake_sample *samples,
	size_t n, int64_t now_s, struct store_count *count, size_t *unknown, struct err *err)
{
	struct store_count own = { 0 };
	size_t lost = 0;
	enum rc rc = store_begin(in->store, err);
	if (rc != RC_OK)
		return rc;
	for (size_t i = 0, run = 0; rc == RC_OK && i < n; i += run) {
		int at = sensor_index(in, samples[i].sensor);
		run = run_length(&samples[i], n - i);
		if (at < 0)
			lost += run;
		else
			rc = store_run_of(in, in->runs[at].id, &samples[i], run, now_s,
				count ? count : &own, err);
	}
	if (rc == RC_OK)
		rc = store_source_worked(in->store, source, (int64_t)(n - lost), now_s, err);
	if (rc == RC_OK)
		rc = store_commit(in->store, err);
	else
		store_rollback(in->store);
	if (rc == RC_OK && unknown)
		*unknown = lost;
	return rc;
}

static void drop_runs(struct intake *in)
{
	for (size_t i = 0; i < in->set->n_sensors; i++) {
		mem_free(in->runs[i].r);
		in->runs[i].r = NULL;
		in->runs[i].n = in->runs[i].room = 0;
	}
	in->buffered = 0;
}

void intake_free(struct intake *in)
{
	if (in && in->runs)
		drop_runs(in);
	if (in)
		mem_free(in->runs);
	mem_free(in);
}

enum rc intake_readings(struct intake *in, const char *sensor, const struct quality_reading *r,
	size_t n, int64_t now_s, struct store_count *count, struct err *err)
{
	struct store_count own = { 0 };
	int i = sensor_index(in, sensor);
	if (i < 0)
		return err_set(err, RC_UNKNOWN, "sensor \"%.32s\": not in the settings", sensor);
	enum rc rc = store_begin(in->store, err);
	if (rc != RC_OK)
		return rc;
	rc = store_readings(
		in->store, in->runs[i].id, r, n, now_s, NULL, NULL, count ? count : &own, err);
	if (rc != RC_OK) {
		store_rollback(in->store);
		return rc;
	}
	return store_commit(in->store, err);
}

/* ---- files ---- */

struct job {
	struct intake *in;
	const struct intake_file *what;
	struct intake_result result;
};

static void take_differs(void *arg, int64_t t_s)
{
	const struct import_sink *hear = ((struct job *)arg)->what->hear;
	struct civil c = civil_at(t_s);
	char text[128];
	(void)snprintf(text, sizeof text,
		"%04d-%02d-%02d %02d:%02d:%02d UTC is stored with other values: the first was kept",
		c.year, c.month, c.day, c.hour, c.minute, c.second);
	if (hear && hear->refused)
		hear->refused(hear->arg, 0, text);
}

/* RC_IO would say that the file can't be read. */
static enum rc of_store(enum rc rc)
{
	return rc == RC_IO ? RC_STORE : rc;
}

static enum rc flush(struct job *j, struct err *err)
{
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < j->in->set->n_sensors; i++) {
		struct run *run = &j->in->runs[i];
		if (run->n)
			rc = store_readings(j->in->store, run->id, run->r, run->n, j->what->now_s,
				take_differs, j, &j->result.store, err);
		run->n = 0;
	}
	j->in->buffered = 0;
	return of_store(rc);
}

static enum rc take_reading(
	void *arg, int sensor, const struct quality_reading *r, int64_t line, struct err *err)
{
	struct job *j = arg;
	struct run *run = &j->in->runs[sensor];
	(void)line;
	if (run->n == run->room) {
		size_t room = run->room ? run->room * 2 : FIRST_ROOM;
		struct quality_reading *grown = mem_grow(run->r, room, sizeof *grown);
		if (!grown)
			return err_set(err, RC_MEM, "%s: out of memory", j->what->path);
		run->r = grown;
		run->room = room;
	}
	run->r[run->n++] = *r;
	return ++j->in->buffered < BUFFERED_MAX ? RC_OK : flush(j, err);
}

static void take_guess(void *arg, const char *text)
{
	const struct import_sink *hear = ((struct job *)arg)->what->hear;
	if (hear && hear->guess)
		hear->guess(hear->arg, text);
}

void intake_short_name(const char *text, char *buf, size_t size)
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

static int sensor_by_file_name(struct job *j)
{
	char stem[4 * NAME_SIZE], name[NAME_SIZE], text[2 * NAME_SIZE + 24];
	const char *base = strrchr(j->what->path, '/');
	(void)snprintf(stem, sizeof stem, "%s", base ? base + 1 : j->what->path);
	stem[strcspn(stem, ".")] = '\0';
	intake_short_name(stem, name, sizeof name);
	int i = sensor_index(j->in, name);
	(void)snprintf(text, sizeof text, "sensor: %s, by the file's name", name);
	if (i >= 0)
		take_guess(j, text);
	return i;
}

static int sensor_by_name(const struct job *j, const char *name)
{
	char shorter[NAME_SIZE];
	for (size_t k = 0; k < j->what->n_aliases; k++)
		if (strcmp(j->what->aliases[k].file_name, name) == 0)
			return sensor_index(j->in, j->what->aliases[k].sensor);
	intake_short_name(name, shorter, sizeof shorter);
	return sensor_index(j->in, shorter);
}

static int take_sensor(void *arg, const char *name)
{
	struct job *j = arg;
	const struct layout *known = j->what->known;
	const char *said = known && known->sensor[0] ? known->sensor : j->what->sensor;
	int i = name[0]   ? sensor_by_name(j, name)
		: said[0] ? sensor_index(j->in, said)
			  : sensor_by_file_name(j);
	if (i < 0 && j->result.unknown++ == 0)
		(void)snprintf(j->result.example, sizeof j->result.example, "%.*s",
			(int)sizeof j->result.example - 1, name);
	return i;
}

static void take_refused(void *arg, int64_t line, const char *reason)
{
	const struct import_sink *hear = ((struct job *)arg)->what->hear;
	if (hear && hear->refused)
		hear->refused(hear->arg, line, reason);
}

static void take_progress(void *arg, int64_t done_bytes, int64_t all_bytes)
{
	const struct import_sink *hear = ((struct job *)arg)->what->hear;
	if (hear && hear->progress)
		hear->progress(hear->arg, done_bytes, all_bytes);
}

/* Why a file gave nothing: sensors the settings do not know explain more than unread rows. */
static enum rc nothing_known(const struct job *j, struct err *err)
{
	if (!j->result.example[0])
		return err_set(err, RC_ASK,
			"%s: names no sensor: call the file after it, say --sensor NAME, or set "
			"sensor of the "
			"source or layout",
			j->what->path);
	return err_set(err, RC_UNKNOWN,
		"%s: sensor \"%s\": not in the settings%s: add it there, or say --as \"%s=SENSOR\"",
		j->what->path, j->result.example,
		j->result.unknown > 1 ? ", nor are its others" : "", j->result.example);
}

enum rc intake_file(struct intake *in, const struct intake_file *what, struct intake_result *result,
	struct err *err)
{
	struct job j = { .in = in, .what = what };
	struct err why = { 0 };
	const struct import_sink sink = {
		.arg = &j,
		.sensor = take_sensor,
		.reading = take_reading,
		.guess = take_guess,
		.refused = take_refused,
		.progress = take_progress,
	};
	enum rc rc = of_store(store_begin(in->store, &why));
	if (rc != RC_OK)
		return err_set(err, rc, "%s", why.text);
	rc = import_file(what->path, what->known, &sink, &j.result.file, &why);
	if (rc == RC_OK)
		rc = flush(&j, &why);
	bool strange = j.result.unknown && j.result.store.stored + j.result.store.known == 0 &&
		       j.result.store.differs == 0 && (rc == RC_OK || rc == RC_INPUT);
	if (strange)
		rc = nothing_known(&j, err);
	else if (rc == RC_OK)
		rc = of_store(store_commit(in->store, &why));
	if (rc != RC_OK)
		store_rollback(in->store);
	drop_runs(in);
	if (rc != RC_OK)
		return err_set(err, rc, "%s", why.text);
	*result = j.result;
	return RC_OK;
}

void intake_summary(const struct intake_result *r, char *buf, size_t n)
{
	static const char *const words[] = { "known", "differing, first kept", "suspect",
		"rows refused", "unknown sensors" };
	const int64_t counts[] = { r->store.known, r->store.differs, r->store.flagged,
		r->file.refused, (int64_t)r->unknown };
	int used = snprintf(
		buf, n, "%" PRId64 " readings, %" PRId64 " new", r->file.readings, r->store.stored);
	for (size_t i = 0; i < sizeof words / sizeof words[0] && used >= 0 && (size_t)used < n; i++)
		if (counts[i])
			used += snprintf(buf + used, n - (size_t)used, ", %" PRId64 " %s",
				counts[i], words[i]);
	if (r->unknown && used >= 0 && (size_t)used < n)
		(void)snprintf(buf + used, n - (size_t)used, " (\"%s\"%s)", r->example,
			r->unknown > 1 ? " and more" : "");
}
