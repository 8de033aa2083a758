/* What the service costs while nothing happens, and how long it takes to start.
 *
 *   idle SEASOND [SECONDS]
 *
 * The baseline is this program run again as a skeleton that loads and initialises the same
 * libraries and waits. Memory is read from smaps_rollup; wake-ups are voluntary context switches
 * over SECONDS (default 90) with a watchdog of 3 min and one watched spool. Start is the time from
 * exec to READY=1, the median of STARTS, on a store of ten years of five-minute readings against an
 * empty one. */
#include <curl/curl.h>
#include <errno.h>
#include <libconfig.h>
#include <libical/ical.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <systemd/sd-daemon.h>
#include <time.h>
#include <unistd.h>

#include "core/civil.h"

enum { STARTS = 7, TEN_YEARS_ROWS = 10 * 365 * 288 };

static char folder[] = "/tmp/seasond-bench-XXXXXX";
static int manager; /* datagram socket that hears READY=1 */

static void die(const char *what)
{
	(void)fprintf(stderr, "idle: %s: %s\n", what, strerror(errno));
	exit(1);
}

static const char *in_folder(const char *name)
{
	static char ring[4][256];
	static size_t next;
	char *buf = ring[next++ % 4];
	(void)snprintf(buf, sizeof ring[0], "%s/%s", folder, name);
	return buf;
}

static int skeleton(void)
{
	sqlite3 *db = NULL;
	config_t config;
	(void)curl_global_init(CURL_GLOBAL_DEFAULT);
	(void)sqlite3_open(":memory:", &db);
	config_init(&config);
	icalcomponent *calendar = icalcomponent_new_vcalendar();
	(void)sd_notify(0, "READY=1");
	(void)pause();
	icalcomponent_free(calendar);
	config_destroy(&config);
	(void)sqlite3_close(db);
	return 0;
}

static double now_ms(void)
{
	struct timespec t;
	(void)clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec * 1e3 + (double)t.tv_nsec / 1e6;
}

static void wait_ready(void)
{
	char text[512];
	do {
		ssize_t n = recv(manager, text, sizeof text - 1, 0);
		if (n < 0)
			die("no READY=1 within a minute");
		text[n] = '\0';
	} while (!strstr(text, "READY=1"));
}

/* Starts a program and returns when it says it is ready. */
static pid_t start(const char *program, const char *option, const char *value, double *took_ms)
{
	double began_ms = now_ms();
	pid_t pid = fork();
	if (pid == 0) {
		if (!freopen(
			    "/dev/null", "w", stderr)) /* a start and a stop are logged each time */
			_exit(126);
		(void)execl(program, program, option, value, (char *)NULL);
		_exit(127);
	}
	wait_ready();
	*took_ms = now_ms() - began_ms;
	return pid;
}

static void stop(pid_t pid)
{
	int status;
	(void)kill(pid, SIGTERM);
	(void)waitpid(pid, &status, 0);
}

/* A number after a key in a file of /proc. */
static double proc_number(pid_t pid, const char *file, const char *key)
{
	char path[64], line[256];
	double value = -1;
	(void)snprintf(path, sizeof path, "/proc/%d/%s", (int)pid, file);
	FILE *f = fopen(path, "r");
	while (f && fgets(line, sizeof line, f))
		if (strncmp(line, key, strlen(key)) == 0)
			value = strtod(line + strlen(key), NULL);
	if (f)
		(void)fclose(f);
	return value;
}

static void open_manager(void)
{
	struct sockaddr_un at = { .sun_family = AF_UNIX };
	const struct timeval patience = { .tv_sec = 60 };
	(void)snprintf(at.sun_path, sizeof at.sun_path, "%s", in_folder("notify"));
	manager = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
	if (manager < 0 || bind(manager, (struct sockaddr *)&at, sizeof at) != 0 ||
		setsockopt(manager, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience) != 0)
		die("notify socket");
	(void)setenv("NOTIFY_SOCKET", at.sun_path, 1);
	(void)setenv("WATCHDOG_USEC", "180000000", 1);
}

/* name.conf with a store and a spool of that name. */
static void put_settings(const char *name)
{
	char file[64], cwd[256];
	(void)snprintf(file, sizeof file, "%s.spool", name);
	if (mkdir(in_folder(file), 0700) != 0)
		die("mkdir");
	(void)snprintf(file, sizeof file, "%s.conf", name);
	FILE *f = fopen(in_folder(file), "w");
	if (!f)
		die(file);
	(void)fprintf(f,
		"store = \"%s.db\";\nzone = \"Europe/Vienna\";\nplaces = ( { name = \"shop\"; } "
		");\n",
		name);
	(void)fprintf(f, "sensors = ( { name = \"bench\"; place = \"shop\"; } );\n");
	(void)fprintf(f,
		"sources = ( { name = \"drop\"; kind = \"spool\"; path = \"%s.spool\"; sensor = "
		"\"bench\"; } );\n",
		name);
	if (access("conf/species.conf", R_OK) == 0 && getcwd(cwd, sizeof cwd))
		(void)fprintf(f, "library = [\"%s/conf\"];\n", cwd);
	(void)fclose(f);
}

static void put_ten_years(void)
{
	FILE *f = fopen(in_folder("full.spool/ten-years.csv"), "w");
	if (!f)
		die("ten-years.csv");
	(void)fputs("time,humidity,temperature\n", f);
	int64_t from_s = civil_days(2016, 1, 1) * DAY_S;
	for (int64_t i = 0; i < TEN_YEARS_ROWS; i++) {
		struct civil c = civil_at(from_s + i * 300);
		(void)fprintf(f, "%04d-%02d-%02dT%02d:%02d:%02dZ,%d.%d,%d.%d\n", c.year, c.month,
			c.day, c.hour, c.minute, c.second, 35 + (int)(i / 288 % 20), (int)(i % 10),
			18 + (int)(i / 36 % 5), (int)(i % 7));
	}
	(void)fclose(f);
}

/* A replay of one day takes the file at once and settles what follows from it. */
static void fill_store(const char *seasond)
{
	int status = 1;
	double began_ms = now_ms();
	put_ten_years();
	pid_t pid = fork();
	if (pid == 0) {
		(void)execl(seasond, seasond, "--replay", "2026-01-01..2026-01-01", "--config",
			in_folder("full.conf"), (char *)NULL);
		_exit(127);
	}
	(void)waitpid(pid, &status, 0);
	struct stat st;
	if (status != 0 || stat(in_folder("full.spool/done/ten-years.csv"), &st) != 0)
		die("filling the store");
	(void)stat(in_folder("full.db"), &st);
	(void)printf("# ten years in: %.1f s, store %.1f MB\n", (now_ms() - began_ms) / 1e3,
		(double)st.st_size / 1e6);
}

static int by_size(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;
	return (x > y) - (x < y);
}

/* In turns, so that both see the same load of the machine. */
static void bench_start(const char *seasond)
{
	static const char *const confs[2] = { "empty.conf", "full.conf" };
	double ms[2][STARTS];
	for (size_t i = 0; i < STARTS; i++)
		for (size_t k = 0; k < 2; k++)
			stop(start(seasond, "--config", in_folder(confs[k]), &ms[k][i]));
	for (size_t k = 0; k < 2; k++)
		qsort(ms[k], STARTS, sizeof ms[k][0], by_size);
	double empty_ms = ms[0][STARTS / 2], full_ms = ms[1][STARTS / 2];
	(void)printf("# start: empty %.1f ms, ten years %.1f ms\n", empty_ms, full_ms);
	(void)printf("bench start_ten_years %.2f ratio goal <= 1.5\n", full_ms / empty_ms);
}

static void bench_idle(const char *seasond, const char *self, int seconds)
{
	double ms;
	pid_t floor = start(self, "--skeleton", NULL, &ms);
	pid_t service = start(seasond, "--config", in_folder("full.conf"), &ms);
	(void)sleep(5); /* the first settling is work, not idling */
	double before = proc_number(service, "status", "voluntary_ctxt_switches:");
	(void)sleep((unsigned)seconds);
	double wakes = proc_number(service, "status", "voluntary_ctxt_switches:") - before;
	double anon = proc_number(service, "smaps_rollup", "Anonymous:");
	double rss = proc_number(service, "smaps_rollup", "Rss:");
	double floor_anon = proc_number(floor, "smaps_rollup", "Anonymous:");
	double floor_rss = proc_number(floor, "smaps_rollup", "Rss:");
	(void)printf("# anonymous %.0f KiB (floor %.0f), resident %.0f KiB (floor %.0f), %.0f "
		     "wake-ups in %d s\n",
		anon, floor_anon, rss, floor_rss, wakes, seconds);
	(void)printf("bench idle_anonymous %.2f ratio goal <= 3\n", anon / floor_anon);
	(void)printf("bench idle_resident %.2f ratio goal <= 1.2\n", rss / floor_rss);
	(void)printf("bench idle_wakeups %.2f per_minute goal <= 2\n", wakes * 60 / seconds);
	stop(service);
	stop(floor);
}

static void remove_folder(void)
{
	pid_t pid = fork();
	if (pid == 0) {
		(void)execlp("rm", "rm", "-rf", folder, (char *)NULL);
		_exit(127);
	}
	(void)waitpid(pid, NULL, 0);
}

int main(int argc, char **argv)
{
	if (argc > 1 && strcmp(argv[1], "--skeleton") == 0)
		return skeleton();
	if (argc < 2) {
		(void)fprintf(stderr, "usage: idle SEASOND [SECONDS]\n");
		return 64;
	}
	long seconds = argc > 2 ? strtol(argv[2], NULL, 10) : 90;
	if (!mkdtemp(folder))
		die(folder);
	open_manager();
	put_settings("empty");
	put_settings("full");
	fill_store(argv[1]);
	bench_start(argv[1]);
	bench_idle(argv[1], argv[0], (int)seconds);
	remove_folder();
	return 0;
}
