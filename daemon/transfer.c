#include "daemon/transfer.h"

#include <signal.h>
#include <sys/epoll.h>
#include <sys/socket.h>
#include <time.h>

#include "core/mem.h"

/* Method: each transfer keeps one easy handle; connections, names and certificates' stores are kept by the multi handle.
 * libcurl says which sockets it waits for and when it wants to be woken; finished transfers are gathered after each such
 * call and never inside a callback. What is wanted waits in a queue for the next wake, so that no owner's function runs
 * inside a call of the owner. */

enum { CERTIFICATES_KEPT_S = 300 }; /* a file that was put right is read after this at the latest */

/* Two waits of so long within one call are a goodbye without an answer; one may be the machine's. libcurl asks once a
 * second while it waits. */
enum { GOODBYE_WAIT_MS = 500, GOODBYE_WAITS = 2 };

enum turn {
	TURN_NONE,
	TURN_WAITS, /* in the queue */
	TURN_RUNS /* its handle is in the multi handle */
};

struct transfer {
	struct transfers *all;
	struct transfer_to to;
	enum turn turn;
	struct transfer *next; /* in the queue */
	CURL *easy;
};

struct transfers {
	struct loop *loop;
	CURLM *multi; /* NULL before the first transfer */
	struct timer curl_timer; /* libcurl's */
	struct timer pump_timer; /* begins what waits */
	size_t n_running;
	int64_t asked_ms; /* when libcurl was called, or called us from within that call */
	int waits; /* in that call */
	struct transfer *first, *last; /* that wait */
};

/* A socket libcurl waits for. */
struct wire {
	struct transfers *all;
	curl_socket_t fd;
};

/* ---- queue ---- */

static void put_last(struct transfer *x)
{
	struct transfers *t = x->all;
	x->turn = TURN_WAITS;
	x->next = NULL;
	if (t->last)
		t->last->next = x;
	else
		t->first = x;
	t->last = x;
}

static void take_out(struct transfer *x)
{
	struct transfers *t = x->all;
	struct transfer *before = NULL;
	for (struct transfer *q = t->first; q != x; q = q->next)
		before = q;
	if (before)
		before->next = x->next;
	else
		t->first = x->next;
	if (t->last == x)
		t->last = before;
	x->turn = TURN_NONE;
}

static void want_pump(struct transfers *t)
{
	if (t->first && t->n_running < TRANSFERS_MAX)
		loop_after(t->loop, &t->pump_timer, 0);
}

/* ---- goodbyes ---- */

static int64_t mono_ms(void)
{
	struct timespec t;
	(void)clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* Before each call that may end a connection. */
static void enter(struct transfers *t)
{
	t->asked_ms = mono_ms();
	t->waits = 0;
}

static int still_wait(
	void *arg, curl_off_t down, curl_off_t down_now, curl_off_t up, curl_off_t up_now)
{
	struct transfer *x = arg;
	struct transfers *t = x->all;
	int64_t now_ms = mono_ms();
	(void)down, (void)down_now, (void)up, (void)up_now;
	t->waits += now_ms - t->asked_ms >= GOODBYE_WAIT_MS;
	t->asked_ms = now_ms;
	return t->waits >= GOODBYE_WAITS;
}

/* ---- one transfer ---- */

static bool run(struct transfer *x)
{
	if (curl_multi_add_handle(x->all->multi, x->easy) != CURLM_OK)
		return false;
	x->turn = TURN_RUNS;
	x->all->n_running++;
	return true;
}

static void halt(struct transfer *x)
{
	enter(x->all);
	(void)curl_multi_remove_handle(x->all->multi, x->easy);
	x->all->n_running--;
	x->turn = TURN_NONE;
}

static void begin(struct transfer *x)
{
	if (x->to.begin(x->to.arg, loop_resample(x->all->loop)) && !run(x))
		x->to.done(x->to.arg, CURLE_OUT_OF_MEMORY, loop_resample(x->all->loop));
}

static void gather(struct transfers *t)
{
	int more;
	CURLMsg *m;
	while ((m = curl_multi_info_read(t->multi, &more))) {
		struct transfer *x = NULL;
		CURLcode verdict = m->data.result;
		if (m->msg != CURLMSG_DONE)
			continue;
		(void)curl_easy_getinfo(m->easy_handle, CURLINFO_PRIVATE, (char **)&x);
		halt(x);
		x->to.done(x->to.arg, verdict, loop_resample(t->loop));
	}
	want_pump(t);
}

/* ---- the loop's side ---- */

static void pump(void *arg, int64_t now_s)
{
	struct transfers *t = arg;
	(void)now_s;
	/* a begin that gives up may want again: so many a wake */
	for (int n = 0; n < TRANSFERS_MAX && t->first && t->n_running < TRANSFERS_MAX; n++) {
		struct transfer *x = t->first;
		take_out(x);
		begin(x);
	}
	want_pump(t);
}

static void curl_time(void *arg, int64_t now_s)
{
	struct transfers *t = arg;
	int running;
	(void)now_s;
	enter(t);
	(void)curl_multi_socket_action(t->multi, CURL_SOCKET_TIMEOUT, 0, &running);
	gather(t);
}

static int set_timer(CURLM *multi, long ms, void *arg)
{
	struct transfers *t = arg;
	(void)multi;
	if (ms < 0)
		loop_unset(&t->curl_timer);
	else
		loop_after(t->loop, &t->curl_timer, ms);
	return 0;
}

static void wire_ready(void *arg, uint32_t events, int64_t now_s)
{
	struct wire *w = arg;
	struct transfers *t = w->all;
	int running, mask = 0;
	(void)now_s;
	if (events & EPOLLIN)
		mask |= CURL_CSELECT_IN;
	if (events & EPOLLOUT)
		mask |= CURL_CSELECT_OUT;
	if (events & (EPOLLERR | EPOLLHUP))
		mask |= CURL_CSELECT_ERR;
	enter(t);
	(void)curl_multi_socket_action(t->multi, w->fd, mask, &running); /* may free w */
	gather(t);
}

/* A socket that can't be watched lets its transfer run into the time limit: to return a failure
 * from here would end every transfer, now and later. */
static int set_socket(CURL *easy, curl_socket_t fd, int what, void *arg, void *wire)
{
	struct transfers *t = arg;
	struct wire *w = wire;
	struct err err = { 0 };
	(void)easy;
	loop_unwatch(t->loop, fd);
	if (what == CURL_POLL_REMOVE) {
		mem_free(w);
		return 0;
	}
	if (!w) {
		w = mem_new(1, sizeof *w);
		if (!w || curl_multi_assign(t->multi, fd, w) != CURLM_OK) {
			mem_free(w);
			return 0;
		}
		*w = (struct wire){ t, fd };
	}
	uint32_t events =
		(what & CURL_POLL_IN ? EPOLLIN : 0U) | (what & CURL_POLL_OUT ? EPOLLOUT : 0U);
	(void)!loop_watch(t->loop, fd, events, wire_ready, w, &err);
	return 0;
}

/* ---- making ---- */

enum rc transfers_new(struct loop *loop, struct transfers **out, struct err *err)
{
	struct transfers *t = mem_new(1, sizeof *t);
	if (!t)
		return err_set(err, RC_MEM, "fetching: out of memory");
	*t = (struct transfers){
		.loop = loop,
		.curl_timer = { .fire = curl_time, .arg = t },
		.pump_timer = { .fire = pump, .arg = t },
	};
	*out = t;
	return RC_OK;
}

static enum rc open_multi(struct transfers *t, struct err *err)
{
	if (t->multi)
		return RC_OK;
	(void)signal(SIGPIPE, SIG_IGN); /* OpenSSL writes without MSG_NOSIGNAL */
	if (curl_global_init(CURL_GLOBAL_DEFAULT) != CURLE_OK)
		return err_set(err, RC_MEM, "fetching: libcurl can't be started");
	t->multi = curl_multi_init();
	if (!t->multi) {
		curl_global_cleanup();
		return err_set(err, RC_MEM, "fetching: out of memory");
	}
	(void)curl_multi_setopt(t->multi, CURLMOPT_SOCKETFUNCTION, set_socket);
	(void)curl_multi_setopt(t->multi, CURLMOPT_SOCKETDATA, t);
	(void)curl_multi_setopt(t->multi, CURLMOPT_TIMERFUNCTION, set_timer);
	(void)curl_multi_setopt(t->multi, CURLMOPT_TIMERDATA, t);
	(void)curl_multi_setopt(t->multi, CURLMOPT_MAXCONNECTS, (long)TRANSFERS_MAX);
	return RC_OK;
}

void transfers_free(struct transfers *t)
{
	if (!t)
		return;
	if (t->multi) {
		(void)curl_multi_cleanup(t->multi);
		curl_global_cleanup();
	}
	loop_unset(&t->curl_timer);
	loop_unset(&t->pump_timer);
	mem_free(t);
}

/* libcurl's own would be inherited by the programs of command sources. */
static curl_socket_t open_socket(void *arg, curlsocktype purpose, struct curl_sockaddr *a)
{
	(void)arg, (void)purpose;
	return socket(a->family, a->socktype | SOCK_CLOEXEC, a->protocol);
}

static void set_up(struct transfer *x, const char *ca_file)
{
	CURL *e = x->easy;
	(void)curl_easy_setopt(e, CURLOPT_PRIVATE, x);
	(void)curl_easy_setopt(e, CURLOPT_NOSIGNAL, 1L);
	/* else the end of a time limit waits for the thread that resolves a name */
	(void)curl_easy_setopt(e, CURLOPT_QUICK_EXIT, 1L);
	(void)curl_easy_setopt(e, CURLOPT_DISALLOW_USERNAME_IN_URL, 1L);
	(void)curl_easy_setopt(e, CURLOPT_PROXY, ""); /* not that of the environment either */
	(void)curl_easy_setopt(e, CURLOPT_NETRC, CURL_NETRC_IGNORED);
	(void)curl_easy_setopt(e, CURLOPT_SSL_VERIFYPEER, 1L);
	(void)curl_easy_setopt(e, CURLOPT_SSL_VERIFYHOST, 2L);
	if (ca_file[0]) {
		(void)curl_easy_setopt(e, CURLOPT_CAINFO, ca_file);
		(void)curl_easy_setopt(e, CURLOPT_CAPATH, NULL);
	}
	(void)curl_easy_setopt(e, CURLOPT_CA_CACHE_TIMEOUT, (long)CERTIFICATES_KEPT_S);
	(void)curl_easy_setopt(e, CURLOPT_OPENSOCKETFUNCTION, open_socket);
	(void)curl_easy_setopt(e, CURLOPT_FORBID_REUSE, 1L);
	(void)curl_easy_setopt(e, CURLOPT_XFERINFOFUNCTION, still_wait);
	(void)curl_easy_setopt(e, CURLOPT_XFERINFODATA, x);
	(void)curl_easy_setopt(e, CURLOPT_NOPROGRESS, 0L);
}

enum rc transfer_new(struct transfers *t, const struct transfer_to *to, const char *ca_file,
	struct transfer **out, struct err *err)
{
	enum rc rc = open_multi(t, err);
	if (rc != RC_OK)
		return rc;
	struct transfer *x = mem_new(1, sizeof *x);
	CURL *easy = curl_easy_init();
	if (!x || !easy) {
		mem_free(x);
		curl_easy_cleanup(easy);
		return err_set(err, RC_MEM, "fetching: out of memory");
	}
	*x = (struct transfer){ .all = t, .to = *to, .easy = easy };
	set_up(x, ca_file);
	*out = x;
	return RC_OK;
}

void transfer_keep(struct transfer *x)
{
	(void)curl_easy_setopt(x->easy, CURLOPT_FORBID_REUSE, 0L);
	(void)curl_easy_setopt(x->easy, CURLOPT_NOPROGRESS, 1L);
}

void transfer_free(struct transfer *x)
{
	if (!x)
		return;
	transfer_drop(x);
	curl_easy_cleanup(x->easy);
	mem_free(x);
}

/* ---- turns ---- */

CURL *transfer_easy(struct transfer *x)
{
	return x->easy;
}

void transfer_want(struct transfer *x)
{
	if (x->turn != TURN_NONE)
		return;
	put_last(x);
	want_pump(x->all);
}

enum rc transfer_again(struct transfer *x, struct err *err)
{
	return run(x) ? RC_OK : err_set(err, RC_MEM, "fetching: out of memory");
}

void transfer_drop(struct transfer *x)
{
	if (x->turn == TURN_WAITS)
		take_out(x);
	else if (x->turn == TURN_RUNS)
		halt(x);
	want_pump(x->all);
}

bool transfer_idle(const struct transfer *x)
{
	return x->turn == TURN_NONE;
}
