#include "daemon/bell.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/inotify.h>
#include <unistd.h>

static void path_of(const char *store_path, char *buf, size_t n)
{
	(void)snprintf(buf, n, "%s.bell", store_path);
}

static void touch(const char *path)
{
	int fd = open(path, O_WRONLY | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0660);
	if (fd >= 0)
		(void)close(fd);
}

void bell_ring(const char *store_path)
{
	char path[sizeof((struct bell *)0)->path];
	path_of(store_path, path, sizeof path);
	touch(path);
}

/* Somebody may remove the file; it is made and watched anew. It may also be another's, who rang
 * first: listening needs no right to ring. */
static enum rc hang(struct bell *b, struct err *err)
{
	if (b->watch >= 0)
		return RC_OK;
	touch(b->path);
	b->watch = inotify_add_watch(
		b->inotify_fd, b->path, IN_CLOSE_WRITE | IN_DELETE_SELF | IN_MOVE_SELF);
	return b->watch >= 0 ? RC_OK
			     : err_set(err, RC_IO, "%s: watching: %s", b->path, strerror(errno));
}

static void heard(void *arg, uint32_t events, int64_t now_s)
{
	struct bell *b = arg;
	(void)events;
	_Alignas(struct inotify_event) char buf[16 * (sizeof(struct inotify_event) + NAME_MAX + 1)];
	ssize_t n = read(b->inotify_fd, buf, sizeof buf);
	for (ssize_t at = 0; at < n;) {
		const struct inotify_event *e = (const void *)(buf + at);
		if (e->mask & IN_MOVE_SELF)
			(void)inotify_rm_watch(b->inotify_fd, e->wd);
		if (e->mask & IN_IGNORED)
			b->watch = -1;
		at += (ssize_t)(sizeof *e + e->len);
	}
	(void)hang(b, NULL); /* in vain: the full hours remain */
	b->rung(b->arg, now_s);
}

enum rc bell_start(struct bell *b, struct loop *l, const char *store_path, struct err *err)
{
	path_of(store_path, b->path, sizeof b->path);
	b->watch = -1;
	b->inotify_fd = inotify_init1(IN_CLOEXEC | IN_NONBLOCK);
	if (b->inotify_fd < 0)
		return err_set(err, RC_IO, "%s: watching: %s", b->path, strerror(errno));
	enum rc rc = hang(b, err);
	if (rc == RC_OK)
		rc = loop_watch(l, b->inotify_fd, EPOLLIN, heard, b, err);
	if (rc != RC_OK)
		(void)close(b->inotify_fd);
	else
		b->loop = l;
	return rc;
}

void bell_stop(struct bell *b)
{
	if (!b->loop)
		return;
	loop_unwatch(b->loop, b->inotify_fd);
	(void)close(b->inotify_fd);
	b->loop = NULL;
}
