#include "daemon/gate_http.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <microhttpd.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>
#include <sys/epoll.h>
#include <unistd.h>

#include "core/mem.h"
#include "core/number.h"
#include "daemon/gate_address.h"
#include "daemon/secret.h"

/* Method: the library has an epoll descriptor of its own and no thread; our loop watches that one and keeps one timer
 * for what the library wants to do later and for clients whose time is over. Such a client's socket is shut down; the
 * library then sees it end. */

enum { HEADERS_SIZE = 32768, BACKLOG = 16, FIRST_SIZE = 4096 };

struct visitor {
	struct MHD_Connection *connection; /* NULL: free */
	int64_t since_ms; /* it was let in, or its last request was answered */
};

struct gate_http {
	struct gate *gate;
	struct loop *loop;
	struct MHD_Daemon *daemon;
	int epoll_fd;
	struct timer timer;
	struct visitor clients[GATE_CLIENTS_MAX];
};

/* A body on its way. */
struct body {
	char *bytes;
	size_t n, size;
	enum { BODY_WELL, BODY_TOO_LARGE, BODY_NO_MEMORY } state; /* else the rest is thrown away */
};

static const struct source *source_of(const struct gate_http *h)
{
	return h->gate->feed->source;
}

static int64_t now_ms(const struct gate_http *h)
{
	const struct clock *clock = h->gate->feed->owner.app->clock;
	return clock->mono(clock).ms;
}

/* ---- answers ---- */

struct header {
	const char *name, *value;
};

static enum MHD_Result reply(
	struct MHD_Connection *c, unsigned status, const char *words, const struct header *more)
{
	char text[GATE_WORDS_SIZE + 2];
	int n = snprintf(text, sizeof text, "%s\n", words);
	struct MHD_Response *r =
		MHD_create_response_from_buffer((size_t)n, text, MHD_RESPMEM_MUST_COPY);
	if (!r)
		return MHD_NO;
	enum MHD_Result ok = MHD_add_response_header(r, "Content-Type", "text/plain");
	if (ok == MHD_YES)
		ok = MHD_add_response_header(r, "X-Content-Type-Options", "nosniff");
	if (ok == MHD_YES && more)
		ok = MHD_add_response_header(r, more->name, more->value);
	if (ok == MHD_YES)
		ok = MHD_queue_response(c, status, r);
	MHD_destroy_response(r);
	return ok;
}

static enum MHD_Result reply_later(
	struct MHD_Connection *c, unsigned status, int64_t wait_s, const char *words)
{
	char seconds[24];
	(void)snprintf(seconds, sizeof seconds, "%" PRId64, wait_s);
	return reply(c, status, words, &(struct header){ "Retry-After", seconds });
}

static enum MHD_Result reply_too_large(const struct gate_http *h, struct MHD_Connection *c)
{
	char words[64];
	(void)snprintf(words, sizeof words, "error: more than %d bytes", source_of(h)->size_limit);
	return reply(c, MHD_HTTP_CONTENT_TOO_LARGE, words, NULL);
}

/* ---- who may ---- */

static const char *header_of(struct MHD_Connection *c, const char *name)
{
	return MHD_lookup_connection_value(c, MHD_HEADER_KIND, name);
}

static void print_peer(struct MHD_Connection *c, char *buf, size_t size)
{
	const union MHD_ConnectionInfo *info =
		MHD_get_connection_info(c, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
	const struct sockaddr *a = info ? info->client_addr : NULL;
	(void)snprintf(buf, size, "somebody");
	if (a && a->sa_family == AF_INET)
		(void)inet_ntop(AF_INET, &((const struct sockaddr_in *)(const void *)a)->sin_addr,
			buf, (socklen_t)size);
	else if (a && a->sa_family == AF_INET6)
		(void)inet_ntop(AF_INET6,
			&((const struct sockaddr_in6 *)(const void *)a)->sin6_addr, buf,
			(socklen_t)size);
}

static bool shows(const char *authorization, const struct secret *token)
{
	static const char scheme[] = "Bearer "; /* of any case: RFC 9110 section 11.1 */
	if (!authorization || strncasecmp(authorization, scheme, sizeof scheme - 1) != 0)
		return false;
	const char *text = authorization + sizeof scheme - 1;
	text += strspn(text, " ");
	return secret_equal(token, text, strlen(text));
}

/* RC_OK: it has the token; RC_INPUT: it has not; else our token can't be read. */
static enum rc authorise(const struct gate_http *h, struct MHD_Connection *c)
{
	const struct source *source = source_of(h);
	struct log *log = h->gate->feed->owner.app->log;
	struct secret token;
	struct err err = { 0 };
	char peer[INET6_ADDRSTRLEN];
	if (secret_read(source->credential, &token, &err) != RC_OK) {
		log_line(log, LEVEL_ERROR, source->name,
			"source \"%s\": %s, nobody is let in by HTTP", source->name, err.text);
		return err.code;
	}
	bool may = shows(header_of(c, "Authorization"), &token);
	secret_wipe(&token);
	if (may)
		return RC_OK;
	print_peer(c, peer, sizeof peer);
	log_line(log, LEVEL_WARNING, source->name,
		"source \"%s\": a request from %s without the right token", source->name, peer);
	return RC_INPUT;
}

/* Answers what is wrong before any of the body is read. *go: nothing is. */
static enum MHD_Result check_head(struct gate_http *h, struct MHD_Connection *c, const char *url,
	const char *method, bool *go)
{
	const char *length = header_of(c, "Content-Length");
	const char *encoding = header_of(c, "Content-Encoding");
	int64_t n, wait_s;
	enum rc rc;
	if (strcmp(url, "/readings") != 0)
		return reply(c, MHD_HTTP_NOT_FOUND, "error: POST /readings is all there is", NULL);
	if (strcmp(method, "POST") != 0)
		return reply(c, MHD_HTTP_METHOD_NOT_ALLOWED, "error: POST is all that may be done",
			&(struct header){ "Allow", "POST" });
	if ((rc = authorise(h, c)) == RC_INPUT)
		return reply(c, MHD_HTTP_UNAUTHORIZED, "error: a bearer token is needed",
			&(struct header){ "WWW-Authenticate", "Bearer realm=\"seasond\"" });
	if (rc != RC_OK)
		return reply_later(c, MHD_HTTP_SERVICE_UNAVAILABLE, GATE_RETRY_S,
			"error: the token can't be read here");
	if (encoding && strcasecmp(encoding, "identity") != 0)
		return reply(c, MHD_HTTP_UNSUPPORTED_MEDIA_TYPE,
			"error: an encoded body: send it plain", NULL);
	if (length && (!number_int(length, &n) || n > source_of(h)->size_limit))
		return reply_too_large(h, c);
	if ((wait_s = gate_wait_s(h->gate)) > 0)
		return reply_later(c, MHD_HTTP_TOO_MANY_REQUESTS, wait_s,
			"error: too many requests in this minute");
	*go = true;
	return MHD_YES;
}

/* ---- bodies ---- */

static void add(const struct gate_http *h, struct body *b, const char *bytes, size_t n)
{
	if (b->state == BODY_WELL && b->n + n > (size_t)source_of(h)->size_limit)
		b->state = BODY_TOO_LARGE;
	if (b->state != BODY_WELL)
		return;
	size_t size = b->size ? b->size : FIRST_SIZE;
	while (size < b->n + n)
		size *= 2;
	char *grown = size > b->size ? mem_grow(b->bytes, size, 1) : b->bytes;
	if (!grown) {
		b->state = BODY_NO_MEMORY;
		return;
	}
	b->bytes = grown;
	b->size = size;
	memcpy(b->bytes + b->n, bytes, n);
	b->n += n;
}

static enum MHD_Result take(struct gate_http *h, struct MHD_Connection *c, const struct body *b)
{
	char words[GATE_WORDS_SIZE], peer[INET6_ADDRSTRLEN];
	if (b->state == BODY_TOO_LARGE)
		return reply_too_large(h, c);
	if (b->state == BODY_NO_MEMORY)
		return reply_later(
			c, MHD_HTTP_SERVICE_UNAVAILABLE, GATE_RETRY_S, "error: out of memory");
	print_peer(c, peer, sizeof peer);
	enum rc rc = gate_take(h->gate, b->bytes ? b->bytes : "", b->n, peer,
		clock_now_s(h->gate->feed->owner.app->clock), words);
	if (rc == RC_BUSY)
		return reply_later(c, MHD_HTTP_SERVICE_UNAVAILABLE, GATE_RETRY_S, words);
	return reply(c, rc == RC_OK ? MHD_HTTP_OK : MHD_HTTP_BAD_REQUEST, words, NULL);
}

/* The library calls it for the head (*work is NULL), for each part of the body, and at its end. */
static enum MHD_Result requested(void *arg, struct MHD_Connection *c, const char *url,
	const char *method, const char *version, const char *bytes, size_t *n, void **work)
{
	struct gate_http *h = arg;
	struct body *b = *work;
	(void)version;
	if (!b) {
		bool go = false;
		enum MHD_Result result = check_head(h, c, url, method, &go);
		if (!go)
			return result;
		*work = mem_new(1, sizeof *b);
		return *work ? MHD_YES : MHD_NO;
	}
	if (*n == 0)
		return take(h, c, b);
	add(h, b, bytes, *n);
	*n = 0;
	return MHD_YES;
}

/* ---- clients and their time ---- */

static struct visitor *visitor_of(struct gate_http *h, const struct MHD_Connection *c)
{
	for (size_t i = 0; i < GATE_CLIENTS_MAX; i++)
		if (h->clients[i].connection == c)
			return &h->clients[i];
	return NULL;
}

static void answered(
	void *arg, struct MHD_Connection *c, void **work, enum MHD_RequestTerminationCode how)
{
	struct gate_http *h = arg;
	struct body *b = *work;
	struct visitor *client = visitor_of(h, c);
	(void)how;
	if (client)
		client->since_ms = now_ms(h);
	if (b)
		mem_free(b->bytes);
	mem_free(b);
	*work = NULL;
}

static void came_or_went(
	void *arg, struct MHD_Connection *c, void **work, enum MHD_ConnectionNotificationCode what)
{
	struct gate_http *h = arg;
	bool came = what == MHD_CONNECTION_NOTIFY_STARTED;
	struct visitor *client = visitor_of(h, came ? NULL : c);
	(void)work;
	if (client)
		*client = (struct visitor){ came ? c : NULL, came ? now_ms(h) : 0 };
}

/* Cuts off whose time is over. Milliseconds until the next one's is; -1: nobody is there. */
static int64_t cut_off(struct gate_http *h)
{
	int64_t limit_ms = source_of(h)->time_limit_s * 1000, next_ms = -1;
	for (size_t i = 0; i < GATE_CLIENTS_MAX; i++) {
		const struct visitor *client = &h->clients[i];
		if (!client->connection)
			continue;
		int64_t left_ms = client->since_ms + limit_ms - now_ms(h);
		if (left_ms <= 0) {
			const union MHD_ConnectionInfo *info = MHD_get_connection_info(
				client->connection, MHD_CONNECTION_INFO_CONNECTION_FD);
			(void)shutdown(info->connect_fd, SHUT_RDWR);
			left_ms = limit_ms;
		}
		if (next_ms < 0 || left_ms < next_ms)
			next_ms = left_ms;
	}
	return next_ms;
}

static void work_on(struct gate_http *h)
{
	MHD_UNSIGNED_LONG_LONG library_ms;
	int64_t next_ms = cut_off(h);
	(void)MHD_run(h->daemon);
	if (next_ms < 0)
		next_ms = cut_off(h); /* somebody may just have come */
	if (MHD_get_timeout(h->daemon, &library_ms) == MHD_YES &&
		(next_ms < 0 || library_ms < (MHD_UNSIGNED_LONG_LONG)next_ms))
		next_ms = (int64_t)library_ms;
	if (next_ms >= 0)
		loop_after(h->loop, &h->timer, next_ms);
	else
		loop_unset(&h->timer);
}

static void ready(void *arg, uint32_t events, int64_t now_s)
{
	(void)events, (void)now_s;
	work_on(arg);
}

static void due(void *arg, int64_t now_s)
{
	(void)now_s;
	work_on(arg);
}

/* ---- opening and closing ---- */

static enum rc listen_at(const struct gate_http *h, int *out, struct err *err)
{
	const char *text = source_of(h)->listen;
	struct gate_address a;
	int yes = 1;
	if (!gate_address_parse(text, &a))
		return err_set(err, RC_CONFIG, "listen: \"%s\": no address:port", text);
	int fd = socket(a.at.ss_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
	if (fd >= 0 && setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes) == 0 &&
		bind(fd, (const struct sockaddr *)&a.at, a.n) == 0 && listen(fd, BACKLOG) == 0) {
		if (!a.loopback)
			log_line(h->gate->feed->owner.app->log, LEVEL_NOTICE, source_of(h)->name,
				"source \"%s\": hears HTTP at %s, which other machines may reach; "
				"what they send is not encrypted",
				source_of(h)->name, text);
		*out = fd;
		return RC_OK;
	}
	int why = errno;
	if (fd >= 0)
		(void)close(fd);
	return err_set(err, RC_IO, "listen: %s: %s", text, strerror(why));
}

static enum rc open_door(struct gate_http *h, struct err *err)
{
	int fd = -1;
	enum rc rc = listen_at(h, &fd, err);
	if (rc != RC_OK)
		return rc;
	h->daemon = MHD_start_daemon(MHD_USE_EPOLL, 0, NULL, NULL, requested, h,
		MHD_OPTION_LISTEN_SOCKET, fd, MHD_OPTION_CONNECTION_LIMIT,
		(unsigned)GATE_CLIENTS_MAX, MHD_OPTION_CONNECTION_MEMORY_LIMIT,
		(size_t)HEADERS_SIZE, MHD_OPTION_STRICT_FOR_CLIENT, 1, MHD_OPTION_NOTIFY_COMPLETED,
		answered, h, MHD_OPTION_NOTIFY_CONNECTION, came_or_went, h, MHD_OPTION_END);
	if (!h->daemon) {
		if (fcntl(fd, F_GETFD) >= 0) /* the library closes it in some cases only */
			(void)close(fd);
		return err_set(err, RC_MEM, "listen: the HTTP library does not start");
	}
	h->epoll_fd = MHD_get_daemon_info(h->daemon, MHD_DAEMON_INFO_EPOLL_FD)->epoll_fd;
	return loop_watch(h->loop, h->epoll_fd, EPOLLIN, ready, h, err);
}

enum rc gate_http_new(struct gate *g, struct gate_http **out, struct err *err)
{
	struct gate_http *h = mem_new(1, sizeof *h);
	if (!h)
		return err_set(err, RC_MEM, "out of memory");
	*h = (struct gate_http){
		.gate = g, .loop = g->feed->owner.loop, .timer = { .fire = due, .arg = h }
	};
	enum rc rc = open_door(h, err);
	if (rc != RC_OK)
		gate_http_free(h);
	else
		*out = h;
	return rc;
}

void gate_http_free(struct gate_http *h)
{
	if (!h)
		return;
	loop_unset(&h->timer);
	if (h->daemon) {
		loop_unwatch(h->loop, h->epoll_fd);
		MHD_stop_daemon(h->daemon);
	}
	mem_free(h);
}
