#include "daemon/spool.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/inotify.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/mem.h"

/* Method: every pass is a whole scan in name order, and it alone takes files; inotify only marks
 * files as closed and asks for a pass. What is known of a file hangs on its inode and is
 * dropped when size or change time differ, so a name that is written again starts afresh. */

enum { PATH_ROOM = 1024, COPIES_MAX = 10000, FIRST_DELAY_MS = 10000, LAST_DELAY_MS = 600000 };

#define WATCH_MASK (IN_CLOSE_WRITE | IN_MOVED_TO | IN_DELETE_SELF | IN_MOVE_SELF | IN_ONLYDIR)

static bool ends_in(const char *name, const char *ending)
{
	size_t n = strlen(name), e = strlen(ending);
	return n >= e && strcmp(name + n - e, ending) == 0;
}

static bool may_take(const char *name)
{
	return name[0] != '.' && !ends_in(name, ".tmp") && !ends_in(name, ".part");
}

static void path_of(const struct spool *s, const char *name, char path[PATH_ROOM])
{
	(void)snprintf(path, PATH_ROOM, "%s/%.*s", s->folder, NAME_MAX, name);
}

/* False unless it is a regular file. */
static bool look(const struct spool *s, const char *name, struct stat *st)
{
	char path[PATH_ROOM];
	path_of(s, name, path);
	return lstat(path, st) == 0 && S_ISREG(st->st_mode);
}

static int64_t changed_ns(const struct stat *st)
{
	return (int64_t)st->st_ctim.tv_sec * 1000000000 + st->st_ctim.tv_nsec;
}

static bool same(const struct spool_file *f, const struct stat *st)
{
	return f->inode == st->st_ino && f->size == st->st_size && f->changed_ns == changed_ns(st);
}

/* What is known of the file, begun afresh when it changed. NULL: no room, its turn comes later. */
static struct spool_file *file_ref(struct spool *s, const struct stat *st, int64_t now_s)
{
	size_t i = 0;
	while (i < s->n_files && s->files[i].inode != st->st_ino)
		i++;
	if (i == SPOOL_NAMES_MAX)
		return NULL;
	if (i == s->n_files)
		s->n_files++;
	struct spool_file *f = &s->files[i];
	if (!same(f, st))
		*f = (struct spool_file){
			.inode = st->st_ino,
			.size = st->st_size,
			.changed_ns = changed_ns(st),
			.since_s = now_s,
		};
	f->present = true;
	return f;
}

/* ---- moving ---- */

/* A name in folder/below that is free: name, or name-2 and so on before its ending. */
static bool free_path(
	const struct spool *s, const char *below, const char *name, char *path, size_t n)
{
	const char *dot = strrchr(name, '.');
	int stem = dot ? (int)(dot - name) : (int)strlen(name);
	(void)snprintf(path, n, "%s/%s/%s", s->folder, below, name);
	for (int copy = 2; access(path, F_OK) == 0 && copy < COPIES_MAX; copy++)
		(void)snprintf(path, n, "%s/%s/%.*s-%d%s", s->folder, below, stem, name, copy,
			name + stem);
	return access(path, F_OK) != 0;
}

/* The reason stands before the file moves; one without its file means a crash in between. */
static void put_reason(const char *path, const char *reason)
{
	char beside[PATH_ROOM + 8];
	(void)snprintf(beside, sizeof beside, "%s.reason", path);
	int fd = open(beside, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0644);
	if (fd < 0)
		return; /* the log has it too, and the move will fail for the same cause */
	(void)dprintf(fd, "%s\n", reason);
	(void)close(fd);
}

/* Moves the file to where its state says. reason NULL: it is written already. */
static void move(struct spool *s, const char *name, struct spool_file *f, const char *reason)
{
	char from[PATH_ROOM], to[PATH_ROOM];
	const char *below = f->state == SPOOL_TO_DONE ? "done" : "failed";
	(void)snprintf(to, sizeof to, "%s/%s", s->folder, below);
	(void)mkdir(to, 0777); /* there already, mostly; else rename tells */
	path_of(s, name, from);
	bool free_name = free_path(s, below, name, to, sizeof to);
	if (reason && free_name)
		put_reason(to, reason);
	if (free_name && rename(from, to) == 0) {
		f->inode = 0;
		return;
	}
	struct err err = { 0 };
	(void)err_set(&err, RC_IO, "%s: can't be moved to %s/: %s", from, below,
		free_name ? strerror(errno) : "too many files of that name");
	s->news(s->arg, SPOOL_STUCK, name, err.text);
}

/* ---- taking ---- */

enum fate { FATE_DONE, FATE_FAILED, FATE_LATER };

static enum fate fate_of(enum rc rc)
{
	switch (rc) {
	case RC_OK:
		return FATE_DONE;
	case RC_STORE:
	case RC_BUSY:
	case RC_FULL:
	case RC_MEM:
		return FATE_LATER;
	case RC_USAGE:
	case RC_CONFIG:
	case RC_INPUT:
	case RC_ASK:
	case RC_UNKNOWN:
	case RC_IO:
		break;
	}
	return FATE_FAILED;
}

/* False when the others had better wait too. */
static bool take(struct spool *s, const char *name, struct spool_file *f)
{
	char path[PATH_ROOM];
	char summary[SPOOL_SUMMARY_MAX] = "";
	struct err err = { 0 };
	struct stat st;
	path_of(s, name, path);
	enum fate fate = fate_of(s->take(s->arg, path, summary, sizeof summary, &err));
	if (fate == FATE_LATER) {
		s->news(s->arg, SPOOL_LATER, name, err.text);
		return false;
	}
	if (!look(s, name, &st) ||
		!same(f, &st)) { /* written to or replaced meanwhile: again, when quiet */
		f->inode = 0;
		return true;
	}
	f->state = fate == FATE_DONE ? SPOOL_TO_DONE : SPOOL_TO_FAILED;
	s->news(s->arg, fate == FATE_DONE ? SPOOL_DONE : SPOOL_FAILED, name,
		fate == FATE_DONE ? summary : err.text);
	move(s, name, f, fate == FATE_DONE ? NULL : err.text);
	return true;
}

static bool is_quiet(const struct spool *s, const struct spool_file *f, int64_t now_s)
{
	return f->state == SPOOL_CLOSED || now_s - f->since_s >= s->quiet_s ||
	       now_s - f->changed_ns / 1000000000 >= s->quiet_s;
}

/* ---- a pass ---- */

struct names {
	size_t n;
	bool beyond; /* there were more than fit */
	char *name[SPOOL_NAMES_MAX];
};

static int by_name(const void *a, const void *b)
{
	return strcmp(*(char *const *)a, *(char *const *)b);
}

static enum rc list(const struct spool *s, struct names *names, struct err *err)
{
	DIR *dir = opendir(s->folder);
	if (!dir)
		return err_set(err, RC_IO, "%s: %s: a folder that the service may read is expected",
			s->folder, strerror(errno));
	const struct dirent *e;
	while (!names->beyond && (e = readdir(dir))) {
		struct stat st;
		if (!may_take(e->d_name) || !look(s, e->d_name, &st))
			continue;
		char *name = names->n < SPOOL_NAMES_MAX ? mem_text(e->d_name) : NULL;
		if (name)
			names->name[names->n++] = name;
		else
			names->beyond = true;
	}
	(void)closedir(dir);
	qsort(names->name, names->n, sizeof names->name[0], by_name);
	return RC_OK;
}

struct tally {
	size_t taken;
	bool later;
};

static void consider(struct spool *s, const char *name, int64_t now_s, struct tally *t)
{
	struct stat st;
	struct spool_file *f = look(s, name, &st) ? file_ref(s, &st, now_s) : NULL;
	if (!f)
		return;
	if (f->state == SPOOL_TO_DONE || f->state == SPOOL_TO_FAILED)
		move(s, name, f, NULL);
	else if (!is_quiet(s, f, now_s))
		s->waiting++;
	else if (t->taken == SPOOL_PASS_MAX)
		s->more = true;
	else if (!t->later) {
		t->taken++;
		t->later = !take(s, name, f);
	}
}

/* Drops what is known of files that are gone. */
static void forget_absent(struct spool *s)
{
	size_t kept = 0;
	for (size_t i = 0; i < s->n_files; i++)
		if (s->files[i].inode && s->files[i].present) {
			s->files[kept] = s->files[i];
			s->files[kept++].present = false;
		}
	s->n_files = kept;
}

static void plan(struct spool *s, const struct tally *t)
{
	s->delay_ms = !t->later ? 0 : s->delay_ms == 0 ? FIRST_DELAY_MS : s->delay_ms * 2;
	if (s->delay_ms > LAST_DELAY_MS)
		s->delay_ms = LAST_DELAY_MS;
	int64_t ms = s->interval_s * 1000;
	if (s->waiting && s->quiet_s * 1000 < ms)
		ms = s->quiet_s * 1000;
	if (t->later)
		ms = s->delay_ms;
	else if (s->more)
		ms = 0;
	loop_after(s->loop, &s->timer, ms);
}

static void renew_watch(struct spool *s)
{
	if (s->watch < 0)
		s->watch = inotify_add_watch(s->inotify_fd, s->folder, WATCH_MASK);
}

void spool_pass(struct spool *s, int64_t now_s)
{
	struct names *names = mem_new(1, sizeof *names);
	struct err err = { 0 };
	struct tally t = { 0 };
	renew_watch(s); /* before the scan: what comes between is seen by one of them */
	s->more = false;
	s->waiting = 0;
	if (!names)
		(void)err_set(&err, RC_MEM, "%s: out of memory", s->folder);
	else if (list(s, names, &err) == RC_OK)
		for (size_t i = 0; i < names->n; i++)
			consider(s, names->name[i], now_s, &t);
	if (err.code != RC_OK)
		s->news(s->arg, SPOOL_STUCK, "", err.text);
	s->more = s->more || (names && names->beyond && t.taken);
	for (size_t i = 0; names && i < names->n; i++)
		mem_free(names->name[i]);
	mem_free(names);
	forget_absent(s);
	plan(s, &t);
}

/* ---- the loop's calls ---- */

static void timer_fired(void *arg, int64_t now_s)
{
	spool_pass(arg, now_s);
}

static void hear(struct spool *s, const struct inotify_event *e, int64_t now_s)
{
	struct stat st;
	if (e->mask & IN_MOVE_SELF)
		(void)inotify_rm_watch(s->inotify_fd, e->wd);
	if (e->mask & IN_IGNORED)
		s->watch = -1;
	if (e->len == 0 || !may_take(e->name) || !look(s, e->name, &st))
		return;
	struct spool_file *f = file_ref(s, &st, now_s);
	if (f && f->state == SPOOL_WAITING)
		f->state = SPOOL_CLOSED;
}

static void inotify_ready(void *arg, uint32_t events, int64_t now_s)
{
	struct spool *s = arg;
	(void)events;
	_Alignas(struct inotify_event) char buf[16 * (sizeof(struct inotify_event) + NAME_MAX + 1)];
	ssize_t n = read(s->inotify_fd, buf, sizeof buf);
	for (ssize_t at = 0; at < n;) {
		const struct inotify_event *e = (const void *)(buf + at);
		hear(s, e, now_s);
		at += (ssize_t)(sizeof *e + e->len);
	}
	if (s->delay_ms == 0) /* else the store is not ready: new files wait with the others */
		spool_pass(s, now_s);
}

enum rc spool_start(struct spool *s, struct loop *l, struct err *err)
{
	s->loop = l;
	s->watch = -1;
	s->timer = (struct timer){ .fire = timer_fired, .arg = s };
	s->inotify_fd = inotify_init1(IN_CLOEXEC | IN_NONBLOCK);
	if (s->inotify_fd < 0)
		return err_set(err, RC_IO, "%s: watching: %s", s->folder, strerror(errno));
	enum rc rc = loop_watch(l, s->inotify_fd, EPOLLIN, inotify_ready, s, err);
	if (rc != RC_OK) {
		(void)close(s->inotify_fd);
		return rc;
	}
	renew_watch(s); /* a file that is closed before the first pass need not prove its quiet */
	loop_after(l, &s->timer, 0);
	return RC_OK;
}

void spool_stop(struct spool *s)
{
	if (!s->loop)
		return;
	loop_unset(&s->timer);
	loop_unwatch(s->loop, s->inotify_fd);
	(void)close(s->inotify_fd);
	s->loop = NULL;
}
