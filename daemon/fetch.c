#include "daemon/fetch_int.h"

#include <ctype.h>
#include <signal.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>
#include <sys/epoll.h>
#include <sys/socket.h>

#include "core/mem.h"

/* Method: a page keeps one easy handle; connections, names and certificates' stores are kept by the
 * multi handle. libcurl says which sockets it waits for and when it wants to be woken; finished
 * transfers are gathered after each such call and never inside a callback. What is started waits in
 * a queue for the next wake, so that `done` never runs inside a call of the owner. */

enum { CERTIFICATES_KEPT_S = 300 }; /* a file that was put right is read after this at the latest */

enum page_state {
	PAGE_IDLE,
	PAGE_WAITS, /* in the queue */
	PAGE_ACTIVE /* its handle is in the multi handle */
};

struct fetch_page {
	struct fetch *fetch;
	struct fetch_at at;
	struct fetch_origin home; /* of at.url: who may see the credential */
	enum page_state state;
	struct fetch_page *next; /* in the queue */
	CURL *easy;
	char known[FETCH_ETAG_SIZE]; /* etag to ask with */
	/* of the fetch under way */
	struct fetch_origin here;
	int redirects;
	int64_t left_ms; /* of the time limit */
	bool shown; /* the credential is sent */
	char *shown_line; /* FETCH_SHOWN_SIZE; wiped when done */
	char asked_line[FETCH_ETAG_SIZE + 24];
	struct curl_slist headers[2]; /* libcurl borrows them */
	size_t header_bytes;
	char etag[FETCH_ETAG_SIZE];
	size_t n, room;
	char *body;
	bool no_memory; /* for more of the body */
};

struct fetch {
	struct loop *loop;
	CURLM *multi; /* NULL before the first page */
	struct timer curl_timer; /* libcurl's */
	struct timer pump_timer; /* begins what waits */
	size_t n_active;
	struct fetch_page *first, *last; /* that wait */
};

/* A socket libcurl waits for. */
struct wire {
	struct fetch *fetch;
	curl_socket_t fd;
};

/* ---- callbacks of a transfer ---- */

static size_t take_body(char *bytes, size_t one, size_t n, void *arg)
{
	struct fetch_page *p = arg;
	(void)one;
	if (n > p->at.size_limit - p->n)
		return 0;
	if (p->n + n > p->room) {
		size_t room = p->room ? p->room : 4096;
		while (room < p->n + n)
			room *= 2;
		char *grown = mem_grow(p->body, room, 1);
		if (!grown) {
			p->no_memory = true;
			return 0;
		}
		p->body = grown;
		p->room = room;
	}
	memcpy(p->body + p->n, bytes, n);
	p->n += n;
	return n;
}

/* One header, without its name and the blanks round it. It is sent back: what is too long or no etag counts as none. */
static void take_etag(struct fetch_page *p, const char *value, size_t n)
{
	while (n && isspace((unsigned char)value[0]))
		value++, n--;
	while (n && isspace((unsigned char)value[n - 1]))
		n--;
	n = n < sizeof p->etag ? n : 0;
	for (size_t i = 0; i < n; i++)
		if (!isgraph((unsigned char)value[i]))
			n = 0;
	memcpy(p->etag, value, n);
	p->etag[n] = '\0';
}

/* Header blocks of interim answers (1xx) come through here too: the last one counts. */
static size_t take_header(char *line, size_t one, size_t n, void *arg)
{
	static const char name[] = "etag:";
	struct fetch_page *p = arg;
	(void)one;
	p->header_bytes += n;
	if (p->header_bytes > FETCH_HEADERS_MAX)
		return 0;
	if (n >= 5 && memcmp(line, "HTTP/", 5) == 0)
		p->etag[0] = '\0';
	if (n >= sizeof name - 1 && strncasecmp(line, name, sizeof name - 1) == 0)
		take_etag(p, line + sizeof name - 1, n - (sizeof name - 1));
	return n;
}

/* libcurl's own would be inherited by the programs of command sources. */
static curl_socket_t open_socket(void *arg, curlsocktype purpose, struct curl_sockaddr *a)
{
	(void)arg, (void)purpose;
	return socket(a->family, a->socktype | SOCK_CLOEXEC, a->protocol);
}

/* ---- queue ---- */

static void put_last(struct fetch_page *p)
{
	struct fetch *f = p->fetch;
	p->state = PAGE_WAITS;
	p->next = NULL;
	if (f->last)
		f->last->next = p;
	else
		f->first = p;
	f->last = p;
}

static void take_out(struct fetch_page *p)
{
	struct fetch *f = p->fetch;
	struct fetch_page *before = NULL;
	for (struct fetch_page *q = f->first; q != p; q = q->next)
		before = q;
	if (before)
		before->next = p->next;
	else
		f->first = p->next;
	if (f->last == p)
		f->last = before;
	p->state = PAGE_IDLE;
}

static void want_pump(struct fetch *f)
{
	if (f->first && f->n_active < FETCH_ACTIVE_MAX)
		loop_after(f->loop, &f->pump_timer, 0);
}

/* ---- one fetch ---- */

/* Nothing of it stays in memory. */
static void forget(struct fetch_page *p)
{
	if (p->state == PAGE_ACTIVE) {
		(void)curl_multi_remove_handle(p->fetch->multi, p->easy);
		p->fetch->n_active--;
	}
	(void)curl_easy_setopt(p->easy, CURLOPT_HTTPHEADER, NULL);
	if (p->shown_line)
		explicit_bzero(p->shown_line, FETCH_SHOWN_SIZE);
	mem_free(p->shown_line);
	p->shown_line = NULL;
	p->state = PAGE_IDLE;
}

static void tell(struct fetch_page *p, enum rc rc, const struct err *why, long status)
{
	curl_off_t retry_after_s = 0;
	(void)curl_easy_getinfo(p->easy, CURLINFO_RETRY_AFTER, &retry_after_s);
	const struct fetch_answer answer = {
		.rc = rc,
		.why = why->text,
		.unchanged = status == 304,
		.n = rc == RC_OK ? p->n : 0,
		.body = rc == RC_OK ? p->body : NULL,
		.etag = p->etag,
		.retry_after_s = status >= 400 ? retry_after_s : 0,
	};
	char *body = p->body;
	p->body = NULL;
	p->n = p->room = 0;
	p->at.done(p->at.arg, &answer, loop_resample(p->fetch->loop));
	mem_free(body);
}

static enum rc put_headers(struct fetch_page *p, struct err *err)
{
	struct curl_slist *list = NULL;
	p->shown_line = mem_new(FETCH_SHOWN_SIZE, 1);
	if (!p->shown_line)
		return err_set(err, RC_MEM, "%s: out of memory", p->here.host);
	enum rc rc = fetch_show(&p->at, p->shown_line, FETCH_SHOWN_SIZE, err);
	if (rc != RC_OK)
		return rc;
	if (p->known[0]) {
		(void)snprintf(p->asked_line, sizeof p->asked_line, "If-None-Match: %s", p->known);
		p->headers[1] = (struct curl_slist){ .data = p->asked_line };
		list = &p->headers[1];
	}
	p->shown = p->shown_line[0] != '\0';
	if (p->shown) {
		p->headers[0] = (struct curl_slist){ .data = p->shown_line, .next = list };
		list = &p->headers[0];
	}
	(void)curl_easy_setopt(p->easy, CURLOPT_HTTPHEADER, list);
	return RC_OK;
}

/* To url, which libcurl copies. */
static enum rc ask(struct fetch_page *p, const char *url, struct err *err)
{
	int64_t left_ms = p->left_ms > 1 ? p->left_ms : 1, connect_ms = FETCH_CONNECT_S * 1000;
	p->n = p->header_bytes = 0;
	p->no_memory = false;
	p->etag[0] = '\0';
	(void)curl_easy_setopt(p->easy, CURLOPT_TIMEOUT_MS, (long)left_ms);
	(void)curl_easy_setopt(p->easy, CURLOPT_CONNECTTIMEOUT_MS,
		(long)(connect_ms < left_ms ? connect_ms : left_ms));
	if (curl_easy_setopt(p->easy, CURLOPT_URL, url) != CURLE_OK ||
		curl_multi_add_handle(p->fetch->multi, p->easy) != CURLM_OK)
		return err_set(err, RC_MEM, "%s: out of memory", p->here.host);
	p->state = PAGE_ACTIVE;
	p->fetch->n_active++;
	return RC_OK;
}

static void begin(struct fetch_page *p)
{
	struct err err = { 0 };
	p->here = p->home;
	p->redirects = 0;
	p->left_ms = p->at.limit_s * 1000;
	enum rc rc = put_headers(p, &err);
	if (rc == RC_OK)
		rc = ask(p, p->at.url, &err);
	if (rc == RC_OK)
		return;
	forget(p);
	tell(p, rc, &err, 0);
}

/* Where a redirect leads, if it may be followed. */
static enum rc follow(struct fetch_page *p, const char *url, struct err *err)
{
	struct fetch_origin there;
	const char *host = p->here.host;
	if (++p->redirects > FETCH_REDIRECTS_MAX)
		return err_set(err, RC_INPUT,
			"%s: more than %d redirects: the address it leads to, as url", host,
			FETCH_REDIRECTS_MAX);
	if (!url || !fetch_origin_of(url, &there))
		return err_set(
			err, RC_INPUT, "%s: redirects to what is no page of http or https", host);
	if (strcmp(p->here.scheme, "https") == 0 && strcmp(there.scheme, "https") != 0)
		return err_set(err, RC_INPUT,
			"%s: redirects from https to http, where anyone could change what is read",
			host);
	if (!fetch_origin_same(&there, &p->home) && p->shown) {
		p->shown = false;
		(void)curl_easy_setopt(
			p->easy, CURLOPT_HTTPHEADER, p->known[0] ? &p->headers[1] : NULL);
	}
	p->here = there;
	return ask(p, url, err);
}

static bool is_redirect(long status)
{
	return status == 301 || status == 302 || status == 303 || status == 307 || status == 308;
}

static enum rc judge(struct fetch_page *p, CURLcode verdict, long status, struct err *err)
{
	if (verdict == CURLE_WRITE_ERROR && p->header_bytes > FETCH_HEADERS_MAX)
		return err_set(err, RC_INPUT, "%s: more than %d bytes of headers", p->here.host,
			FETCH_HEADERS_MAX);
	if (p->no_memory)
		return err_set(err, RC_MEM, "%s: out of memory", p->here.host);
	if (verdict != CURLE_OK)
		return fetch_fault(p->easy, verdict, &p->at, &p->here,
			p->at.limit_s * 1000 - p->left_ms, p->n, err);
	if (status != 200 && status != 304)
		return fetch_status(status, &p->at, &p->here, p->shown, err);
	return RC_OK;
}

static void finished(struct fetch_page *p, CURLcode verdict)
{
	struct err err = { 0 };
	long status = 0;
	char *url = NULL;
	curl_off_t took_us = 0;
	enum rc rc;
	(void)curl_easy_getinfo(p->easy, CURLINFO_RESPONSE_CODE, &status);
	(void)curl_easy_getinfo(p->easy, CURLINFO_REDIRECT_URL, &url);
	(void)curl_easy_getinfo(p->easy, CURLINFO_TOTAL_TIME_T, &took_us);
	p->left_ms -= took_us / 1000;
	if (verdict == CURLE_OK && is_redirect(status)) {
		(void)curl_multi_remove_handle(p->fetch->multi, p->easy);
		p->fetch->n_active--;
		p->state = PAGE_IDLE;
		rc = follow(p, url, &err);
		if (rc == RC_OK)
			return;
	} else
		rc = judge(p, verdict, status, &err);
	forget(p);
	tell(p, rc, &err, status);
}

static void gather(struct fetch *f)
{
	int more;
	CURLMsg *m;
	while ((m = curl_multi_info_read(f->multi, &more))) {
		struct fetch_page *p = NULL;
		CURLcode verdict = m->data.result;
		if (m->msg != CURLMSG_DONE)
			continue;
		(void)curl_easy_getinfo(m->easy_handle, CURLINFO_PRIVATE, (char **)&p);
		finished(p, verdict);
	}
	want_pump(f);
}

/* ---- the loop's side ---- */

static void pump(void *arg, int64_t now_s)
{
	struct fetch *f = arg;
	(void)now_s;
	while (f->first && f->n_active < FETCH_ACTIVE_MAX) {
		struct fetch_page *p = f->first;
		take_out(p);
		begin(p);
	}
}

static void curl_time(void *arg, int64_t now_s)
{
	struct fetch *f = arg;
	int running;
	(void)now_s;
	(void)curl_multi_socket_action(f->multi, CURL_SOCKET_TIMEOUT, 0, &running);
	gather(f);
}

static int set_timer(CURLM *multi, long ms, void *arg)
{
	struct fetch *f = arg;
	(void)multi;
	if (ms < 0)
		loop_unset(&f->curl_timer);
	else
		loop_after(f->loop, &f->curl_timer, ms);
	return 0;
}

static void wire_ready(void *arg, uint32_t events, int64_t now_s)
{
	struct wire *w = arg;
	struct fetch *f = w->fetch;
	int running, mask = 0;
	(void)now_s;
	if (events & EPOLLIN)
		mask |= CURL_CSELECT_IN;
	if (events & EPOLLOUT)
		mask |= CURL_CSELECT_OUT;
	if (events & (EPOLLERR | EPOLLHUP))
		mask |= CURL_CSELECT_ERR;
	(void)curl_multi_socket_action(f->multi, w->fd, mask, &running); /* may free w */
	gather(f);
}

/* A socket that can't be watched lets its transfer run into the time limit: to return a failure
 * from here would end every transfer, now and later. */
static int set_socket(CURL *easy, curl_socket_t fd, int what, void *arg, void *wire)
{
	struct fetch *f = arg;
	struct wire *w = wire;
	struct err err = { 0 };
	(void)easy;
	loop_unwatch(f->loop, fd);
	if (what == CURL_POLL_REMOVE) {
		mem_free(w);
		return 0;
	}
	if (!w) {
		w = mem_new(1, sizeof *w);
		if (!w || curl_multi_assign(f->multi, fd, w) != CURLM_OK) {
			mem_free(w);
			return 0;
		}
		*w = (struct wire){ f, fd };
	}
	uint32_t events =
		(what & CURL_POLL_IN ? EPOLLIN : 0U) | (what & CURL_POLL_OUT ? EPOLLOUT : 0U);
	(void)!loop_watch(f->loop, fd, events, wire_ready, w, &err);
	return 0;
}

/* ---- making ---- */

enum rc fetch_new(struct loop *loop, struct fetch **out, struct err *err)
{
	struct fetch *f = mem_new(1, sizeof *f);
	if (!f)
		return err_set(err, RC_MEM, "fetching: out of memory");
	*f = (struct fetch){
		.loop = loop,
		.curl_timer = { .fire = curl_time, .arg = f },
		.pump_timer = { .fire = pump, .arg = f },
	};
	*out = f;
	return RC_OK;
}

static enum rc open_multi(struct fetch *f, struct err *err)
{
	if (f->multi)
		return RC_OK;
	(void)signal(SIGPIPE, SIG_IGN); /* OpenSSL writes without MSG_NOSIGNAL */
	if (curl_global_init(CURL_GLOBAL_DEFAULT) != CURLE_OK)
		return err_set(err, RC_MEM, "fetching: libcurl can't be started");
	f->multi = curl_multi_init();
	if (!f->multi) {
		curl_global_cleanup();
		return err_set(err, RC_MEM, "fetching: out of memory");
	}
	(void)curl_multi_setopt(f->multi, CURLMOPT_SOCKETFUNCTION, set_socket);
	(void)curl_multi_setopt(f->multi, CURLMOPT_SOCKETDATA, f);
	(void)curl_multi_setopt(f->multi, CURLMOPT_TIMERFUNCTION, set_timer);
	(void)curl_multi_setopt(f->multi, CURLMOPT_TIMERDATA, f);
	(void)curl_multi_setopt(f->multi, CURLMOPT_MAXCONNECTS, (long)FETCH_ACTIVE_MAX);
	return RC_OK;
}

void fetch_free(struct fetch *f)
{
	if (!f)
		return;
	if (f->multi) {
		(void)curl_multi_cleanup(f->multi);
		curl_global_cleanup();
	}
	loop_unset(&f->curl_timer);
	loop_unset(&f->pump_timer);
	mem_free(f);
}

/* What stays for the page's life. */
static void set_up(struct fetch_page *p)
{
	CURL *e = p->easy;
	(void)curl_easy_setopt(e, CURLOPT_PRIVATE, p);
	(void)curl_easy_setopt(e, CURLOPT_NOSIGNAL, 1L);
	/* else the end of a time limit waits for the thread that resolves a name */
	(void)curl_easy_setopt(e, CURLOPT_QUICK_EXIT, 1L);
	(void)curl_easy_setopt(e, CURLOPT_PROTOCOLS_STR, "http,https");
	(void)curl_easy_setopt(e, CURLOPT_DISALLOW_USERNAME_IN_URL, 1L);
	(void)curl_easy_setopt(e, CURLOPT_HTTP_VERSION, CURL_HTTP_VERSION_1_1);
	(void)curl_easy_setopt(e, CURLOPT_PROXY, ""); /* not that of the environment either */
	(void)curl_easy_setopt(e, CURLOPT_NETRC, CURL_NETRC_IGNORED);
	(void)curl_easy_setopt(e, CURLOPT_SSL_VERIFYPEER, 1L);
	(void)curl_easy_setopt(e, CURLOPT_SSL_VERIFYHOST, 2L);
	if (p->at.ca_file[0]) {
		(void)curl_easy_setopt(e, CURLOPT_CAINFO, p->at.ca_file);
		(void)curl_easy_setopt(e, CURLOPT_CAPATH, NULL);
	}
	(void)curl_easy_setopt(e, CURLOPT_CA_CACHE_TIMEOUT, (long)CERTIFICATES_KEPT_S);
	(void)curl_easy_setopt(e, CURLOPT_USERAGENT, "seasond/" VERSION);
	(void)curl_easy_setopt(e, CURLOPT_LOW_SPEED_LIMIT, (long)FETCH_SLOW_BYTES);
	(void)curl_easy_setopt(e, CURLOPT_LOW_SPEED_TIME, (long)FETCH_SLOW_S);
	(void)curl_easy_setopt(e, CURLOPT_MAXFILESIZE_LARGE, (curl_off_t)p->at.size_limit);
	(void)curl_easy_setopt(e, CURLOPT_OPENSOCKETFUNCTION, open_socket);
	(void)curl_easy_setopt(e, CURLOPT_WRITEFUNCTION, take_body);
	(void)curl_easy_setopt(e, CURLOPT_WRITEDATA, p);
	(void)curl_easy_setopt(e, CURLOPT_HEADERFUNCTION, take_header);
	(void)curl_easy_setopt(e, CURLOPT_HEADERDATA, p);
}

enum rc fetch_page_new(
	struct fetch *f, const struct fetch_at *at, struct fetch_page **out, struct err *err)
{
	enum rc rc = fetch_check(at, err);
	if (rc == RC_OK)
		rc = open_multi(f, err);
	if (rc != RC_OK)
		return rc;
	struct fetch_page *p = mem_new(1, sizeof *p);
	CURL *easy = curl_easy_init();
	if (!p || !easy) {
		mem_free(p);
		curl_easy_cleanup(easy);
		return err_set(err, RC_MEM, "fetching: out of memory");
	}
	*p = (struct fetch_page){ .fetch = f, .at = *at, .easy = easy };
	(void)fetch_origin_of(at->url, &p->home);
	set_up(p);
	*out = p;
	return RC_OK;
}

void fetch_page_free(struct fetch_page *p)
{
	if (!p)
		return;
	if (p->state == PAGE_WAITS)
		take_out(p);
	forget(p);
	want_pump(p->fetch);
	curl_easy_cleanup(p->easy);
	mem_free(p->body);
	mem_free(p);
}

void fetch_page_get(struct fetch_page *p, const char *etag)
{
	if (p->state != PAGE_IDLE)
		return;
	(void)snprintf(p->known, sizeof p->known, "%s", etag);
	put_last(p);
	want_pump(p->fetch);
}
