/* What the store costs: a million readings in, ten years of daily figures out.
 * Baselines: the sqlite3 shell's own .import of the same file, and GROUP BY over the raw rows.
 * Both sides of a pair run one after the other in this run; the middle ratio of the pairs is printed. */
#include <math.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "daemon/import.h"
#include "daemon/store_int.h"

enum { ROWS = 1000000, BATCH = 50000, PAIRS = 7, YEARS_MINUTES = 3652 * 1440 };

#define START_S INT64_C(1451606400) /* 2016-01-01T00:00:00Z */
#define LATER INT64_C(4000000000)

extern char **environ;

static char folder[256];

static void stop(const char *what, const char *why)
{
	(void)fprintf(stderr, "intake: %s: %s\n", what, why);
	exit(1);
}

static void need(enum rc rc, const struct err *err)
{
	if (rc != RC_OK)
		stop("store", err->text);
}

static const char *in_folder(char buf[320], const char *name)
{
	(void)snprintf(buf, 320, "%s/%s", folder, name);
	return buf;
}

static double now_s(void)
{
	struct timespec t;
	(void)clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

/* A room: seasons, days, and some noise; a value in a hundred is a spike. */
static struct quality_reading reading_at(int64_t minute, uint64_t *seed)
{
	*seed = *seed * 6364136223846793005U + 1442695040888963407U;
	int64_t noise = (int64_t)(*seed >> 33) % 200;
	double day = (double)minute / 1440;
	double rh = 4500 + 1200 * sin(day * 0.0172) + 300 * sin(day * 6.2832);
	double temp = 2000 + 300 * sin(day * 0.0172 - 1) + 150 * sin(day * 6.2832 + 1);
	return (struct quality_reading){ START_S + minute * 60,
		(int32_t)rh + (int32_t)noise + (noise == 7 ? 3000 : 0),
		(int32_t)temp + (int32_t)noise % 20, 0 };
}

static void write_csv(const char *path)
{
	FILE *f = fopen(path, "w");
	if (!f)
		stop(path, "cannot be made");
	(void)fprintf(f, "sensor,time,humidity,temperature\n");
	uint64_t seed = 1;
	for (int64_t i = 0; i < ROWS; i++) {
		struct quality_reading r = reading_at(i, &seed);
		struct civil c = civil_at(r.t_s);
		(void)fprintf(f, "bench,%04d-%02d-%02dT%02d:%02d:%02dZ,%d.%02d,%d.%02d\n", c.year,
			c.month, c.day, c.hour, c.minute, c.second, r.rh_cpct / 100,
			r.rh_cpct % 100, r.temp_cdegc / 100, r.temp_cdegc % 100);
	}
	if (fclose(f))
		stop(path, "cannot be written");
}

static int64_t sensor_new(struct store *s)
{
	struct zone *zone = NULL;
	struct err err = { 0 };
	int64_t id = 0;
	need(zone_new("Europe/Berlin", &zone, &err), &err);
	need(store_sensor(s, "bench", zone, &id, &err), &err);
	zone_free(zone);
	return id;
}

struct intake {
	struct store *s;
	int64_t sensor;
	struct store_count count;
	size_t n;
	struct quality_reading r[BATCH];
};

static int one_sensor(void *arg, const char *name)
{
	(void)arg, (void)name;
	return 0;
}

static enum rc put_off(struct intake *in, struct err *err)
{
	size_t n = in->n;
	in->n = 0;
	return store_readings(in->s, in->sensor, in->r, n, LATER, NULL, NULL, &in->count, err);
}

static enum rc take(
	void *arg, int sensor, const struct quality_reading *r, int64_t line, struct err *err)
{
	(void)sensor, (void)line;
	struct intake *in = arg;
	in->r[in->n++] = *r;
	return in->n == BATCH ? put_off(in, err) : RC_OK;
}

static void import_ours(const char *store, const char *csv)
{
	static struct intake in;
	struct err err = { 0 };
	struct import_result result = { 0 };
	const struct import_sink sink = { .arg = &in, .sensor = one_sensor, .reading = take };
	need(store_open(store, STORE_WRITE, &in.s, &err), &err);
	in.sensor = sensor_new(in.s);
	need(store_begin(in.s, &err), &err);
	need(import_file(csv, NULL, &sink, &result, &err), &err);
	need(put_off(&in, &err), &err);
	need(store_commit(in.s, &err), &err);
	store_close(in.s);
	if (in.count.stored != ROWS)
		stop("import", "rows are missing");
}

static double timed_ours(const char *store, const char *csv)
{
	double start_s = now_s();
	pid_t child = fork();
	if (child == 0) {
		import_ours(store, csv);
		_exit(0);
	}
	int status = 0;
	if (child < 0 || waitpid(child, &status, 0) != child || status)
		stop("import", "failed");
	return now_s() - start_s;
}

static double timed_shell(const char *store, const char *csv)
{
	char import[400];
	(void)snprintf(import, sizeof import, ".import --skip 1 %s r", csv);
	const char *words[] = { "sqlite3", store,
		"CREATE TABLE r(sensor TEXT, time TEXT, rh REAL, temp REAL, PRIMARY KEY(sensor, "
		"time))",
		".mode csv", import, NULL };
	char *argv[6] = { 0 };
	for (size_t i = 0; words[i]; i++)
		argv[i] = strdup(words[i]);
	double start_s = now_s();
	pid_t child = 0;
	int status = 0;
	if (posix_spawnp(&child, "sqlite3", NULL, NULL, argv, environ) ||
		waitpid(child, &status, 0) != child || status)
		stop("sqlite3", "the shell failed: is it installed?");
	double took_s = now_s() - start_s;
	for (size_t i = 0; argv[i]; i++)
		free(argv[i]);
	return took_s;
}

static int by_value(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;
	return x < y ? -1 : x > y;
}

static double middle(double *v, size_t n)
{
	qsort(v, n, sizeof v[0], by_value);
	return v[n / 2];
}

static void remove_store(const char *path)
{
	char side[340];
	(void)unlink(path);
	(void)snprintf(side, sizeof side, "%s-wal", path);
	(void)unlink(side);
	(void)snprintf(side, sizeof side, "%s-shm", path);
	(void)unlink(side);
}

static void bench_import(void)
{
	char csv[320], ours[320], shell[320];
	double ratio[PAIRS];
	write_csv(in_folder(csv, "readings.csv"));
	for (size_t i = 0; i < PAIRS; i++) {
		double ours_s = timed_ours(in_folder(ours, "ours.db"), csv);
		ratio[i] = ours_s / timed_shell(in_folder(shell, "shell.db"), csv);
		remove_store(ours);
		remove_store(shell);
	}
	(void)unlink(csv);
	(void)printf("bench import-million %.3f ratio goal <= 1.0\n", middle(ratio, PAIRS));
}

static void fill_years(struct store *s, int64_t sensor)
{
	static struct quality_reading r[BATCH];
	struct err err = { 0 };
	struct store_count count = { 0 };
	uint64_t seed = 1;
	need(store_begin(s, &err), &err);
	for (int64_t i = 0; i < YEARS_MINUTES;) {
		size_t n = 0;
		while (n < BATCH && i < YEARS_MINUTES)
			r[n++] = reading_at(i++, &seed);
		need(store_readings(s, sensor, r, n, LATER, NULL, NULL, &count, &err), &err);
	}
	need(store_commit(s, &err), &err);
}

/* The figures of each day by whole days of UTC, as one would ask the raw rows for. */
static size_t days_of_raw(struct store *s, int64_t sensor)
{
	struct err err = { 0 };
	sqlite3_stmt *q = store_statement(s,
		"SELECT t / 86400, min(rh), avg(rh), max(rh), min(temp), avg(temp), max(temp) FROM "
		"reading"
		" WHERE sensor = ?1 AND flags = 0 GROUP BY t / 86400",
		&err);
	if (!q)
		stop("store", err.text);
	sqlite3_bind_int64(q, 1, sensor);
	size_t n = 0;
	while (sqlite3_step(q) == SQLITE_ROW)
		n++;
	(void)sqlite3_reset(q);
	return n;
}

static void bench_days(void)
{
	static struct store_sum rows[5000];
	char path[320];
	struct store *s = NULL;
	struct err err = { 0 };
	double ratio[PAIRS];
	need(store_open(in_folder(path, "years.db"), STORE_REPLAY, &s, &err), &err);
	int64_t sensor = sensor_new(s);
	fill_years(s, sensor);
	for (size_t i = 0; i < PAIRS; i++) {
		size_t n = 0;
		double start_s = now_s();
		need(store_days(s, sensor, 0, INT64_MAX, rows, 5000, &n, &err), &err);
		double middle_s = now_s();
		size_t raw = days_of_raw(s, sensor);
		ratio[i] = (now_s() - middle_s) / (middle_s - start_s);
		if (n < 3652 || raw < 3652)
			stop("days", "rows are missing");
	}
	store_close(s);
	remove_store(path);
	(void)printf("bench daily-ten-years %.0f times goal >= 200\n", middle(ratio, PAIRS));
}

int main(void)
{
	const char *base = getenv("TMPDIR");
	(void)snprintf(folder, sizeof folder, "%s/seasond-bench-XXXXXX", base ? base : "/tmp");
	if (!mkdtemp(folder))
		stop(folder, "cannot be made");
	bench_import();
	bench_days();
	(void)rmdir(folder);
	return 0;
}
