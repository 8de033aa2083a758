#include "daemon/gate_unix.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include "core/mem.h"

/* Method: a client is either read from or, while an answer waits for it to read, written to; never both. So one answer
 * at a time is kept, and what a client does not read stops what it can send. */

enum { READ_SIZE = 4096, BACKLOG = 16, PAUSE_MS = 1000 };

struct visitor {
	struct gate_unix *door; /* NULL: free */
	int fd;
	uint32_t watched; /* EPOLLIN, EPOLLOUT or 0 */
	struct timer limit;
	bool eof; /* it sends no more */
	bool last; /* the answer that waits is the last */
	struct gate_frame frame;
	char *in;
	size_t n_in, in_size;
	char out[GATE_WORDS_SIZE + 1];
	size_t n_out, sent;
	char who[32]; /* for the log */
};

struct gate_unix {
	struct gate *gate;
	struct loop *loop;
	int fd;
	dev_t device; /* of the socket file */
	ino_t inode;
	struct timer pause;
	struct visitor clients[GATE_CLIENTS_MAX];
};

static const struct source *source_of(const struct gate_unix *u)
{
	return u->gate->feed->source;
}

static void drop(struct visitor *c)
{
	loop_unset(&c->limit);
	loop_unwatch(c->door->loop, c->fd);
	(void)close(c->fd);
	mem_free(c->in);
	*c = (struct visitor){ 0 };
}

static void patient(struct visitor *c)
{
	loop_after(c->door->loop, &c->limit, source_of(c->door)->time_limit_s * 1000);
}

static void too_slow(void *arg, int64_t now_s)
{
	struct visitor *c = arg;
	(void)now_s;
	if (c->n_in) {
		static const char words[] = "error: it took too long\n";
		(void)send(c->fd, words, sizeof words - 1, MSG_NOSIGNAL | MSG_DONTWAIT);
	}
	drop(c);
}

static void say(struct visitor *c, const char *words)
{
	int n = snprintf(c->out, sizeof c->out, "%s\n", words);
	c->n_out = (size_t)n < sizeof c->out ? (size_t)n : sizeof c->out - 1;
	c->sent = 0;
}

/* ---- payloads ---- */

static bool is_blank(const char *bytes, size_t n)
{
	for (size_t i = 0; i < n; i++)
		if (!memchr(" \t\r\n", bytes[i], 4))
			return false;
	return true;
}

static void answer(struct visitor *c, size_t n, int64_t now_s)
{
	char words[GATE_WORDS_SIZE];
	struct gate *g = c->door->gate;
	int64_t wait_s = gate_wait_s(g);
	if (wait_s)
		(void)snprintf(words, sizeof words,
			"error: more than %d payloads a minute: again in %" PRId64 " s",
			g->feed->source->rate_limit, wait_s);
	else
		gate_take(g, c->in, n, c->who, now_s, words);
	say(c, words);
	patient(c);
}

static void refuse_size(struct visitor *c)
{
	char words[GATE_WORDS_SIZE];
	(void)snprintf(
		words, sizeof words, "error: more than %d bytes", source_of(c->door)->size_limit);
	say(c, words);
	c->last = true;
}

/* Answers the next payload that is whole. False when there is none. */
static bool answer_next(struct visitor *c, int64_t now_s)
{
	size_t limit = (size_t)source_of(c->door)->size_limit;
	size_t n = gate_frame_next(&c->frame, c->in, c->n_in);
	if (n == 0 && c->eof)
		n = c->n_in;
	size_t payload = n && c->in[n - 1] == '\n' ? n - 1 : n;
	if (payload > limit || (n == 0 && c->n_in > limit)) {
		refuse_size(c);
		return true;
	}
	if (n == 0)
		return false;
	if (!is_blank(c->in, payload))
		answer(c, payload, now_s);
	c->n_in -= n;
	memmove(c->in, c->in + n, c->n_in);
	return true;
}

/* ---- the two directions ---- */

/* False when it is gone. */
static bool flush(struct visitor *c)
{
	while (c->sent < c->n_out) {
		ssize_t n = send(c->fd, c->out + c->sent, c->n_out - c->sent, MSG_NOSIGNAL);
		if (n < 0 && errno == EINTR)
			continue;
		if (n < 0)
			return errno == EAGAIN;
		c->sent += (size_t)n;
	}
	c->n_out = c->sent = 0;
	return true;
}

static void ready(void *arg, uint32_t events, int64_t now_s);

static bool watch(struct visitor *c, uint32_t events)
{
	if (c->watched == events)
		return true;
	loop_unwatch(c->door->loop, c->fd);
	c->watched = events;
	return loop_watch(c->door->loop, c->fd, events, ready, c, NULL) == RC_OK;
}

/* As far as it goes without waiting for the client. */
static void advance(struct visitor *c, int64_t now_s)
{
	bool here = flush(c);
	while (here && c->n_out == 0 && !c->last && answer_next(c, now_s))
		here = flush(c);
	bool over = c->n_out == 0 && (c->last || c->eof);
	if (!here || over || !watch(c, c->n_out ? EPOLLOUT : EPOLLIN))
		drop(c);
}

static bool has_room(struct visitor *c)
{
	if (c->in_size - c->n_in >= READ_SIZE)
		return true;
	size_t size = c->in_size ? c->in_size * 2 : 2 * (size_t)READ_SIZE;
	char *grown = mem_grow(c->in, size, 1);
	if (!grown)
		return false;
	c->in = grown;
	c->in_size = size;
	return true;
}

static void ready(void *arg, uint32_t events, int64_t now_s)
{
	struct visitor *c = arg;
	(void)events;
	if (c->watched == EPOLLIN) {
		ssize_t n = has_room(c) ? recv(c->fd, c->in + c->n_in, READ_SIZE, 0) : -1;
		if (n < 0 && (errno == EAGAIN || errno == EINTR))
			return;
		if (n < 0) {
			drop(c);
			return;
		}
		c->n_in += (size_t)n;
		c->eof = n == 0;
	}
	advance(c, now_s);
}

/* ---- the door ---- */

static struct visitor *free_client(struct gate_unix *u)
{
	for (size_t i = 0; i < GATE_CLIENTS_MAX; i++)
		if (!u->clients[i].door)
			return &u->clients[i];
	return NULL;
}

static void admit(struct gate_unix *u, int fd)
{
	struct visitor *c = free_client(u);
	struct ucred peer = { 0 };
	socklen_t size = sizeof peer;
	if (!c) {
		static const char words[] = "error: too many clients at once: again in a moment\n";
		(void)send(fd, words, sizeof words - 1, MSG_NOSIGNAL);
		(void)close(fd);
		return;
	}
	*c = (struct visitor){ .door = u,
		.fd = fd,
		.limit = { .fire = too_slow, .arg = c },
		.frame = { .json = source_of(u)->format == FORMAT_JSON } };
	(void)getsockopt(fd, SOL_SOCKET, SO_PEERCRED, &peer, &size);
	(void)snprintf(c->who, sizeof c->who, "user %u", (unsigned)peer.uid);
	patient(c);
	if (!watch(c, EPOLLIN))
		drop(c);
}

static void knocked(void *arg, uint32_t events, int64_t now_s);

static void pause_over(void *arg, int64_t now_s)
{
	struct gate_unix *u = arg;
	(void)now_s;
	if (loop_watch(u->loop, u->fd, EPOLLIN, knocked, u, NULL) != RC_OK)
		loop_after(u->loop, &u->pause, PAUSE_MS);
}

static void knocked(void *arg, uint32_t events, int64_t now_s)
{
	struct gate_unix *u = arg;
	(void)events, (void)now_s;
	int fd = accept4(u->fd, NULL, NULL, SOCK_NONBLOCK | SOCK_CLOEXEC);
	if (fd >= 0) {
		admit(u, fd);
		return;
	}
	if (errno == EAGAIN || errno == EINTR || errno == ECONNABORTED)
		return;
	loop_unwatch(u->loop, u->fd); /* no descriptor left: it would call again at once */
	loop_after(u->loop, &u->pause, PAUSE_MS);
}

/* Removes a socket file that nobody listens to. */
static enum rc clear_stale(const struct sockaddr_un *at, struct err *err)
{
	struct stat st;
	if (lstat(at->sun_path, &st) != 0 && errno == ENOENT)
		return RC_OK;
	if (!S_ISSOCK(st.st_mode))
		return err_set(err, RC_IO, "%s: no socket lies there: another path", at->sun_path);
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
	if (fd < 0)
		return err_set(err, RC_IO, "%s: %s", at->sun_path, strerror(errno));
	bool stale =
		connect(fd, (const struct sockaddr *)at, sizeof *at) != 0 && errno == ECONNREFUSED;
	(void)close(fd);
	if (!stale)
		return err_set(
			err, RC_IO, "%s: somebody listens there: another path", at->sun_path);
	if (unlink(at->sun_path) != 0)
		return err_set(err, RC_IO, "%s: %s", at->sun_path, strerror(errno));
	return RC_OK;
}

static enum rc open_door(struct gate_unix *u, struct err *err)
{
	const char *path = source_of(u)->path;
	struct sockaddr_un at = { .sun_family = AF_UNIX };
	struct stat st;
	if (strlen(path) >= sizeof at.sun_path)
		return err_set(err, RC_CONFIG, "%s: too long for a socket: at most %zu bytes", path,
			sizeof at.sun_path - 1);
	memcpy(at.sun_path, path, strlen(path) + 1);
	enum rc rc = clear_stale(&at, err);
	if (rc != RC_OK)
		return rc;
	u->fd = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
	mode_t before = umask(0117); /* 0660 from the first moment on */
	bool bound = u->fd >= 0 && bind(u->fd, (struct sockaddr *)&at, sizeof at) == 0;
	int why = errno;
	(void)umask(before);
	if (!bound)
		return err_set(err, RC_IO, "%s: %s", path, strerror(why));
	if (lstat(path, &st) == 0)
		u->device = st.st_dev, u->inode = st.st_ino;
	if (listen(u->fd, BACKLOG) != 0)
		return err_set(err, RC_IO, "%s: %s", path, strerror(errno));
	return loop_watch(u->loop, u->fd, EPOLLIN, knocked, u, err);
}

enum rc gate_unix_new(struct gate *g, struct gate_unix **out, struct err *err)
{
	struct gate_unix *u = mem_new(1, sizeof *u);
	if (!u)
		return err_set(err, RC_MEM, "out of memory");
	*u = (struct gate_unix){ .gate = g,
		.loop = g->feed->owner.loop,
		.fd = -1,
		.pause = { .fire = pause_over, .arg = u } };
	enum rc rc = open_door(u, err);
	if (rc != RC_OK)
		gate_unix_free(u);
	else
		*out = u;
	return rc;
}

void gate_unix_free(struct gate_unix *u)
{
	struct stat st;
	if (!u)
		return;
	for (size_t i = 0; i < GATE_CLIENTS_MAX; i++)
		if (u->clients[i].door)
			drop(&u->clients[i]);
	loop_unset(&u->pause);
	if (u->inode && lstat(source_of(u)->path, &st) == 0 && st.st_dev == u->device &&
		st.st_ino == u->inode)
		(void)unlink(source_of(u)->path);
	if (u->fd >= 0) {
		loop_unwatch(u->loop, u->fd);
		(void)close(u->fd);
	}
	mem_free(u);
}
