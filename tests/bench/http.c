/* A thousand pages polled by the service: is each answered in its interval, what does it cost, does memory stay flat?
 *
 *   http SEASOND INTERVAL_S ROUNDS
 *
 * A server in a process of its own gives each page its JSON over kept connections and notes when it was asked. The
 * baseline is a bare libcurl multi loop that fetches the same pages once, evenly over one interval, and throws them
 * away; the service reads each page, makes its reading durable, and settles what follows. */
#include <arpa/inet.h>
#include <curl/curl.h>
#include <errno.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/mman.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { PAGES = 1000, PLACES = 250, ABREAST = 64, LOST_AFTER_S = 60 };

static char folder[] = "/tmp/seasond-bench-XXXXXX";
static int port;

/* Shared with the server. */
static struct page {
	int64_t last_ms, gap_ms; /* 0: not yet; longest time between two */
	int asked;
} * pages;

static void die(const char *what)
{
	(void)fprintf(stderr, "http: %s: %s\n", what, strerror(errno));
	exit(1);
}

static int64_t now_ms(void)
{
	struct timespec t;
	(void)clock_gettime(CLOCK_MONOTONIC, &t);
	return t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* ---- the server ---- */

static void note(int which)
{
	struct page *p = &pages[which];
	int64_t at_ms = now_ms();
	if (p->last_ms && at_ms - p->last_ms > p->gap_ms)
		p->gap_ms = at_ms - p->last_ms;
	p->last_ms = at_ms;
	p->asked++;
}

static void answer(int fd)
{
	char text[2048], body[128];
	ssize_t n = recv(fd, text, sizeof text - 1, 0);
	if (n <= 0) {
		(void)close(fd);
		return;
	}
	text[n] = '\0';
	long which = strncmp(text, "GET /", 5) == 0 ? strtol(text + 5, NULL, 10) : -1;
	if (which < 0 || which >= PAGES)
		die("a request that is none of ours");
	note((int)which);
	int asked = pages[which].asked;
	int size = snprintf(body, sizeof body, "{\"air\": {\"rh\": %d.%d, \"t\": 20.%d}}",
		40 + (int)which % 10, (asked * 3 + (int)which) % 10, asked % 10);
	n = snprintf(text, sizeof text,
		"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n%s",
		size, body);
	(void)!send(fd, text, (size_t)n, MSG_NOSIGNAL);
}

static void serve(int listener)
{
	struct epoll_event e = { .events = EPOLLIN, .data.fd = listener };
	int epoll = epoll_create1(EPOLL_CLOEXEC), one = 1;
	if (epoll < 0 || epoll_ctl(epoll, EPOLL_CTL_ADD, listener, &e) != 0)
		die("server");
	for (;;) {
		if (epoll_wait(epoll, &e, 1, -1) < 1)
			continue;
		if (e.data.fd != listener) {
			answer(e.data.fd);
			continue;
		}
		e.data.fd = accept(listener, NULL, NULL);
		(void)setsockopt(e.data.fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
		(void)epoll_ctl(epoll, EPOLL_CTL_ADD, e.data.fd, &e);
	}
}

static pid_t start_server(void)
{
	struct sockaddr_in at = { .sin_family = AF_INET,
		.sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	socklen_t size = sizeof at;
	int listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
	pages = mmap(NULL, PAGES * sizeof *pages, PROT_READ | PROT_WRITE,
		MAP_SHARED | MAP_ANONYMOUS, -1, 0);
	if (pages == MAP_FAILED || bind(listener, (struct sockaddr *)&at, sizeof at) != 0 ||
		listen(listener, PAGES) != 0 ||
		getsockname(listener, (struct sockaddr *)&at, &size) != 0)
		die("server");
	port = ntohs(at.sin_port);
	pid_t pid = fork();
	if (pid == 0)
		serve(listener);
	(void)close(listener);
	return pid;
}

/* ---- the baseline ---- */

static size_t throw_away(char *bytes, size_t one, size_t n, void *arg)
{
	(void)bytes, (void)arg;
	return one * n;
}

static void fetch_evenly(CURLM *multi, CURL **easy, int interval_s)
{
	int64_t begun_ms = now_ms();
	int begun = 0, ended = 0, running, more;
	CURLMsg *m;
	while (ended < PAGES) {
		int64_t next_ms = begun_ms + (int64_t)begun * interval_s * 1000 / PAGES;
		if (begun < PAGES && now_ms() >= next_ms)
			(void)curl_multi_add_handle(multi, easy[begun++]);
		(void)curl_multi_perform(multi, &running);
		while ((m = curl_multi_info_read(multi, &more))) {
			if (m->data.result != CURLE_OK)
				die("the baseline's fetch");
			(void)curl_multi_remove_handle(multi, m->easy_handle);
			ended++;
		}
		int64_t wait_ms = begun < PAGES ? next_ms - now_ms() : 1000;
		(void)curl_multi_poll(multi, NULL, 0, wait_ms > 0 ? (int)wait_ms : 0, NULL);
	}
}

/* CPU seconds of one round. */
static double bare_loop(int interval_s)
{
	CURL *easy[PAGES];
	struct rusage before, after;
	(void)curl_global_init(CURL_GLOBAL_DEFAULT);
	CURLM *multi = curl_multi_init();
	(void)curl_multi_setopt(multi, CURLMOPT_MAXCONNECTS, (long)ABREAST);
	for (int i = 0; i < PAGES; i++) {
		char url[64];
		(void)snprintf(url, sizeof url, "http://127.0.0.1:%d/%d", port, i);
		easy[i] = curl_easy_init();
		(void)curl_easy_setopt(easy[i], CURLOPT_URL, url);
		(void)curl_easy_setopt(easy[i], CURLOPT_WRITEFUNCTION, throw_away);
	}
	(void)getrusage(RUSAGE_SELF, &before);
	fetch_evenly(multi, easy, interval_s);
	(void)getrusage(RUSAGE_SELF, &after);
	for (int i = 0; i < PAGES; i++)
		curl_easy_cleanup(easy[i]);
	(void)curl_multi_cleanup(multi);
	return (double)(after.ru_utime.tv_sec - before.ru_utime.tv_sec + after.ru_stime.tv_sec -
			before.ru_stime.tv_sec) +
	       (double)(after.ru_utime.tv_usec - before.ru_utime.tv_usec + after.ru_stime.tv_usec -
			before.ru_stime.tv_usec) /
		       1e6;
}

/* ---- the service ---- */

static const char *in_folder(const char *name)
{
	static char path[256];
	(void)snprintf(path, sizeof path, "%s/%s", folder, name);
	return path;
}

static void put_settings(int interval_s)
{
	char cwd[256];
	FILE *f = fopen(in_folder("seasond.conf"), "w");
	if (!f || !getcwd(cwd, sizeof cwd))
		die("settings");
	(void)fprintf(f, "store = \"bench.db\";\nzone = \"UTC\";\n");
	if (access("conf/species.conf", R_OK) == 0)
		(void)fprintf(f, "library = [\"%s/conf\"];\n", cwd);
	(void)fprintf(f, "places = (");
	for (int i = 0; i < PLACES; i++)
		(void)fprintf(f, "%s { name = \"p%d\"; }", i ? "," : "", i);
	(void)fprintf(f, " );\nsensors = (");
	for (int i = 0; i < PAGES; i++)
		(void)fprintf(
			f, "%s { name = \"s%d\"; place = \"p%d\"; }", i ? "," : "", i, i % PLACES);
	(void)fprintf(f, " );\nsources = (");
	for (int i = 0; i < PAGES; i++)
		(void)fprintf(f,
			"%s { name = \"h%d\"; kind = \"http\"; url = \"http://127.0.0.1:%d/%d\"; "
			"interval = \"%d s\"; time_limit = \"5 s\"; }\n",
			i ? "," : "", i, port, i, interval_s);
	(void)fprintf(f, " );\nstreams = (");
	for (int i = 0; i < PAGES; i++)
		(void)fprintf(f,
			"%s { name = \"x%d\"; source = \"h%d\"; sensor = \"s%d\"; humidity = "
			"\"/air/rh\"; temperature = \"/air/t\"; }\n",
			i ? "," : "", i, i, i);
	(void)fprintf(f, " );\n");
	if (fclose(f) != 0)
		die("settings");
}

static pid_t start(const char *seasond)
{
	pid_t pid = fork();
	if (pid == 0) {
		if (!freopen("/dev/null", "w", stderr)) /* each start and stop is logged */
			_exit(126);
		(void)execl(seasond, seasond, "--config", in_folder("seasond.conf"), (char *)NULL);
		_exit(127);
	}
	return pid;
}

/* The number after a key in a file of /proc. */
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

/* User and system time so far: fields 14 and 15 of proc(5) stat, counted after the name. */
static double cpu_s(pid_t pid)
{
	char path[64], line[1024];
	(void)snprintf(path, sizeof path, "/proc/%d/stat", (int)pid);
	FILE *f = fopen(path, "r");
	if (!f || !fgets(line, sizeof line, f))
		die(path);
	(void)fclose(f);
	char *field = strrchr(line, ')');
	for (int i = 2; i < 14; i++)
		field = strchr(field + 1, ' ');
	double user = strtod(field, &field), system_time = strtod(field, NULL);
	return (user + system_time) / (double)sysconf(_SC_CLK_TCK);
}

static int asked_in_all(void)
{
	int n = 0;
	for (int i = 0; i < PAGES; i++)
		n += pages[i].asked;
	return n;
}

static void wait_for_each(void)
{
	for (int i = 0; i < PAGES; i++)
		for (int64_t end_ms = now_ms() + LOST_AFTER_S * 2000; pages[i].asked == 0;) {
			if (now_ms() > end_ms)
				die("a page that is never asked for");
			(void)usleep(10000);
		}
}

static int readings(void)
{
	sqlite3 *db = NULL;
	sqlite3_stmt *q = NULL;
	int n = -1;
	if (sqlite3_open(in_folder("bench.db"), &db) == SQLITE_OK &&
		sqlite3_prepare_v2(db, "SELECT count(*) FROM reading", -1, &q, NULL) == SQLITE_OK &&
		sqlite3_step(q) == SQLITE_ROW)
		n = sqlite3_column_int(q, 0);
	(void)sqlite3_finalize(q);
	(void)sqlite3_close(db);
	return n;
}

static void stop(pid_t pid)
{
	int status;
	(void)kill(pid, SIGTERM);
	(void)waitpid(pid, &status, 0);
}

static void bench_service(const char *seasond, int interval_s, int rounds, double bare_s)
{
	int64_t worst_ms = 0;
	pid_t pid = start(seasond);
	wait_for_each();
	(void)sleep(3); /* what the first round left to settle */
	double rss = proc_number(pid, "smaps_rollup", "Rss:");
	double anonymous = proc_number(pid, "smaps_rollup", "Anonymous:");
	double before_s = cpu_s(pid);
	int before = asked_in_all();
	(void)sleep((unsigned)(interval_s * rounds));
	int fetched = asked_in_all() - before;
	double spent_s = cpu_s(pid) - before_s;
	double rss_after = proc_number(pid, "smaps_rollup", "Rss:");
	double anonymous_after = proc_number(pid, "smaps_rollup", "Anonymous:");
	stop(pid);
	for (int i = 0; i < PAGES; i++)
		worst_ms = pages[i].gap_ms > worst_ms ? pages[i].gap_ms : worst_ms;
	(void)printf("# every %d s: %d fetches, %d asked for, %d stored; CPU %.2f s, %.1f %%; bare "
		     "loop %.3f s a thousand\n",
		interval_s, fetched, asked_in_all(), readings(), spent_s,
		100 * spent_s / (interval_s * rounds), bare_s);
	(void)printf("# resident %.0f KiB after the first round, %.0f after the last; anonymous "
		     "%.0f, %.0f\n",
		rss, rss_after, anonymous, anonymous_after);
	(void)printf("bench http_%ds_worst_gap %.2f intervals goal <= 1.2\n", interval_s,
		(double)worst_ms / 1000 / interval_s);
	(void)printf("bench http_%ds_stored %.4f ratio goal >= 0.99\n", interval_s,
		(double)readings() / asked_in_all());
	(void)printf("bench http_%ds_memory %.3f ratio goal <= 1.05\n", interval_s,
		anonymous_after / anonymous);
	(void)printf("bench http_%ds_cpu %.1f ratio goal <= 10\n", interval_s,
		spent_s / fetched * PAGES / bare_s);
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
	int interval_s = argc == 4 ? (int)strtol(argv[2], NULL, 10) : 0;
	int rounds = argc == 4 ? (int)strtol(argv[3], NULL, 10) : 0;
	if (interval_s < 10 || rounds < 1) {
		(void)fprintf(stderr, "usage: http SEASOND INTERVAL_S ROUNDS\n");
		return 64;
	}
	if (!mkdtemp(folder))
		die(folder);
	pid_t server = start_server();
	double bare_s = bare_loop(interval_s);
	memset(pages, 0, PAGES * sizeof *pages);
	put_settings(interval_s);
	bench_service(argv[1], interval_s, rounds, bare_s);
	stop(server);
	remove_folder();
	return 0;
}
