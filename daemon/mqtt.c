#include "daemon/mqtt.h"

#include <errno.h>
#include <poll.h>
#include <stdio.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/socket.h>

#include <mosquitto.h>

#include "core/mem.h"
#include "daemon/utf8.h"

/* Method: libmosquitto 2.0.11 answers a QoS 1 PUBLISH with PUBACK before it calls on_message, and by default writes
 * that PUBACK to the socket at once: seen with a broker that looks at the order of bytes. Told that the program has
 * threads (mosquitto_threaded_set), it only queues what it has to send, and mosquitto_loop_write alone puts it on the
 * wire. There are no threads here; the option is what holds acknowledgements back:
 *
 *   a wake: read packets while the socket has some, up to MQTT_BATCH -> keep: one transaction -> loop_write
 *
 * So mosquitto_loop_write is called in flush alone, and flush only while nothing is unkept. test_mqtt.py holds the
 * store shut and watches that no PUBACK comes; it would show a library that works otherwise.
 *
 * Batches are as large as what the broker has on the way unanswered. From a full queue mosquitto 2.0.11 (limit 20 in
 * flight) gives 9 to 17 thousand readings a second, limits of 5, 100, 1000 or none the same within the noise of a
 * loaded machine: the store's own work bounds it, and neither a larger window (MQTT 5) nor a journal before the store
 * would help. With a limit of 1, a transaction for each, it is 100 to 400.
 *
 * A connection has a library object of its own, so that acknowledgements never sent die with it.
 *
 * Whether the broker has handed out all that waited: an UNSUBSCRIBE of a topic nobody has is answered (MQTT 3.1.1
 * section 3.10.4) after what an acknowledgement before it set free. When nothing came between the question and its answer,
 * no more waits; else it is asked again. */

enum {
	KEEPALIVE_S =
		180, /* judgement: three looks fit into the 1.5 times after which a broker gives us up */
	LOOK_MS = 60000,
	ANSWER_MS = 30000, /* a broker that is silent for so long before we are up is given up */
	WAITED_MS = 30000, /* a stream that never pauses is taken for new from then on */
	WHY_SIZE = 256
};

struct mqtt {
	struct loop *loop;
	const struct clock *clock;
	struct mqtt_news news;
	struct mosquitto *client; /* NULL: down */
	int fd; /* watched */
	uint32_t events; /* it is watched for */
	struct timer look;
	char *const *filters;
	size_t n_filters;
	bool up;
	bool connected; /* CONNACK came */
	bool lost; /* as the library says */
	bool refused; /* the owner can't keep what came */
	bool unkept; /* something came since the last keep */
	bool asked; /* the question whether more waits is out */
	int question; /* its packet identifier */
	size_t came; /* since the question */
	int64_t now_s; /* of this wake */
	struct mono began, heard; /* connecting; last progress before up */
	char why[WHY_SIZE]; /* the first that explains a loss */
	char nobody[64]; /* topic of the question */
};

static void explain(struct mqtt *m, const char *text)
{
	char clean[WHY_SIZE];
	(void)utf8_clean(text, clean, sizeof clean);
	clean[strcspn(clean, "\n")] = '\0';
	size_t n = strlen(clean);
	if (n > 0 && clean[n - 1] == '.')
		clean[n - 1] = '\0';
	if (!m->why[0])
		(void)snprintf(m->why, sizeof m->why, "%s", clean);
}

/* ---- what the library calls ---- */

static void ask(struct mqtt *m)
{
	m->came = 0;
	m->asked = mosquitto_unsubscribe(m->client, &m->question, m->nobody) == MOSQ_ERR_SUCCESS;
}

static void on_connect(struct mosquitto *client, void *arg, int rc)
{
	struct mqtt *m = arg;
	if (rc != 0) {
		explain(m, mosquitto_connack_string(rc));
		return;
	}
	m->connected = true;
	rc = mosquitto_subscribe_multiple(client, NULL, (int)m->n_filters, m->filters, 1, 0, NULL);
	if (rc != MOSQ_ERR_SUCCESS) {
		explain(m, mosquitto_strerror(rc));
		m->refused = true;
		return;
	}
	ask(m);
}

static void on_subscribe(struct mosquitto *client, void *arg, int mid, int n, const int *granted)
{
	struct mqtt *m = arg;
	char text[WHY_SIZE];
	(void)client, (void)mid;
	for (int i = 0; i < n && (size_t)i < m->n_filters; i++) {
		if (granted[i] == 1)
			continue;
		(void)snprintf(text, sizeof text, "topic \"%s\": %s", m->filters[i],
			granted[i] == 0 ? "the broker grants only QoS 0: what comes while we are "
					  "away is lost"
					: "the broker refuses it");
		m->news.told(m->news.arg, text);
	}
}

static void on_unsubscribe(struct mosquitto *client, void *arg, int mid)
{
	struct mqtt *m = arg;
	(void)client;
	if (m->asked && mid == m->question)
		m->asked = false;
}

static void on_message(struct mosquitto *client, void *arg, const struct mosquitto_message *raw)
{
	struct mqtt *m = arg;
	const struct mqtt_message message = {
		.topic = raw->topic,
		.bytes = raw->payload,
		.n = (size_t)raw->payloadlen,
		.retained = raw->retain,
		.waited = !m->up,
	};
	(void)client;
	m->unkept = true;
	m->came += !raw->retain;
	if (!m->refused && !m->news.message(m->news.arg, &message, m->now_s))
		m->refused = true;
}

static void on_log(struct mosquitto *client, void *arg, int level, const char *text)
{
	(void)client;
	if (level == MOSQ_LOG_ERR)
		explain(arg, text);
}

/* ---- the connection ---- */

/* What the library still had to send is not sent. */
static void cut(struct mqtt *m)
{
	loop_unset(&m->look);
	loop_unwatch(m->loop, m->fd);
	if (mosquitto_socket(m->client) >= 0)
		(void)shutdown(mosquitto_socket(m->client), SHUT_RDWR);
	mosquitto_destroy(m->client);
	m->client = NULL;
	m->fd = -1;
	m->up = false;
}

static void lose(struct mqtt *m)
{
	cut(m);
	m->news.down(
		m->news.arg, m->why[0] ? m->why : "the broker closed the connection", m->now_s);
}

static void heed(struct mqtt *m, int rc)
{
	if (rc == MOSQ_ERR_SUCCESS)
		return;
	m->lost = true;
	explain(m, rc == MOSQ_ERR_ERRNO ? strerror(errno) : mosquitto_strerror(rc));
}

static bool readable(const struct mqtt *m)
{
	struct pollfd p = { .fd = m->fd, .events = POLLIN };
	return poll(&p, 1, 0) > 0;
}

static void receive(struct mqtt *m)
{
	for (int i = 0; i < MQTT_BATCH && !m->lost && !m->refused && (i == 0 || readable(m)); i++)
		heed(m, mosquitto_loop_read(m->client, 1));
}

/* Also what came right before a loss is kept: it comes again, and is known then. */
static void keep(struct mqtt *m)
{
	if (m->unkept && !m->refused && !m->news.keep(m->news.arg, m->now_s))
		m->refused = true;
	m->unkept = m->unkept && m->refused;
}

static void flush(struct mqtt *m)
{
	if (!m->unkept && !m->lost && mosquitto_want_write(m->client))
		heed(m, mosquitto_loop_write(m->client, 1));
}

/* After all that came is acknowledged. */
static void look_whether_up(struct mqtt *m)
{
	if (m->up || !m->connected || m->asked || m->lost || m->refused)
		return;
	m->heard = m->clock->mono(m->clock);
	if (m->came > 0 && m->heard.ms - m->began.ms < WAITED_MS) {
		ask(m);
		flush(m);
		return;
	}
	m->up = true;
	m->news.up(m->news.arg, m->now_s);
}

static void ready(void *arg, uint32_t events, int64_t now_s);

static enum rc watch(struct mqtt *m, struct err *err)
{
	uint32_t events = EPOLLIN | (mosquitto_want_write(m->client) ? EPOLLOUT : 0);
	if (events == m->events)
		return RC_OK;
	loop_unwatch(m->loop, m->fd);
	m->events = events;
	return loop_watch(m->loop, m->fd, events, ready, m, err);
}

static void ready(void *arg, uint32_t events, int64_t now_s)
{
	struct mqtt *m = arg;
	struct err err = { 0 };
	m->now_s = now_s;
	if (events & (EPOLLIN | EPOLLERR | EPOLLHUP))
		receive(m);
	keep(m);
	flush(m);
	look_whether_up(m);
	if (!m->lost && !m->refused && watch(m, &err) != RC_OK) {
		m->lost = true;
		explain(m, err.text);
	}
	if (m->lost || m->refused)
		lose(m);
}

static bool too_late(const struct mqtt *m)
{
	return !m->up && m->clock->mono(m->clock).ms - m->heard.ms >= ANSWER_MS;
}

static void look(void *arg, int64_t now_s)
{
	struct mqtt *m = arg;
	m->now_s = now_s;
	if (too_late(m)) {
		explain(m, "no answer from the broker");
		lose(m);
		return;
	}
	heed(m, mosquitto_loop_misc(m->client));
	ready(m, 0, now_s);
}

/* ---- making ---- */

static enum rc prepare_tls(struct mqtt *m, const struct mqtt_at *at, struct err *err)
{
	int rc = at->ca_file[0] ? mosquitto_tls_set(m->client, at->ca_file, NULL, NULL, NULL, NULL)
				: mosquitto_int_option(m->client, MOSQ_OPT_TLS_USE_OS_CERTS, 1);
	if (rc ==
		MOSQ_ERR_SUCCESS) /* 1: SSL_VERIFY_PEER; the host name is checked unless told not to */
		rc = mosquitto_tls_opts_set(m->client, 1, NULL, NULL);
	if (rc == MOSQ_ERR_SUCCESS)
		return RC_OK;
	return err_set(err, RC_CONFIG, "ca_file \"%s\": %s", at->ca_file,
		rc == MOSQ_ERR_INVAL ? "can't be read" : mosquitto_strerror(rc));
}

static enum rc prepare(struct mqtt *m, const struct mqtt_at *at, struct err *err)
{
	m->client = mosquitto_new(at->client_id, false, m);
	if (!m->client)
		return err_set(err, RC_MEM, "broker: %s", strerror(errno));
	mosquitto_connect_callback_set(m->client, on_connect);
	mosquitto_subscribe_callback_set(m->client, on_subscribe);
	mosquitto_unsubscribe_callback_set(m->client, on_unsubscribe);
	mosquitto_message_callback_set(m->client, on_message);
	mosquitto_log_callback_set(m->client, on_log);
	if (mosquitto_threaded_set(m->client, true) != MOSQ_ERR_SUCCESS ||
		mosquitto_int_option(m->client, MOSQ_OPT_TCP_NODELAY, 1) != MOSQ_ERR_SUCCESS)
		return err_set(err, RC_IO, "broker: the library can't do what is needed");
	if (at->user &&
		mosquitto_username_pw_set(m->client, at->user, at->password) != MOSQ_ERR_SUCCESS)
		return err_set(
			err, RC_CONFIG, "user \"%s\": not in UTF-8, or out of memory", at->user);
	return at->tls ? prepare_tls(m, at, err) : RC_OK;
}

static enum rc begin(struct mqtt *m, const struct mqtt_at *at, struct err *err)
{
	int port = at->port ? at->port : at->tls ? 8883 : 1883;
	heed(m, mosquitto_connect_async(m->client, at->host, port, KEEPALIVE_S));
	m->fd = mosquitto_socket(m->client);
	if (m->lost || m->fd < 0)
		return err_set(err, RC_IO, "%s port %d: %s", at->host, port,
			m->why[0] ? m->why : "can't be reached");
	return watch(m, err);
}

enum rc mqtt_connect(struct mqtt *m, const struct mqtt_at *at, struct err *err)
{
	m->filters = at->filters;
	m->n_filters = at->n_filters;
	m->connected = m->lost = m->refused = m->unkept = m->asked = false;
	m->events = 0;
	m->why[0] = '\0';
	m->began = m->heard = m->clock->mono(m->clock);
	(void)snprintf(m->nobody, sizeof m->nobody, "%s/nobody", at->client_id);
	enum rc rc = prepare(m, at, err);
	if (rc == RC_OK)
		rc = begin(m, at, err);
	if (rc == RC_OK)
		loop_every(m->loop, &m->look, ANSWER_MS, LOOK_MS);
	else
		cut(m);
	return rc;
}

bool mqtt_await_up(struct mqtt *m, int64_t limit_ms)
{
	int64_t end_ms = m->clock->mono(m->clock).ms + limit_ms;
	while (m->client && !m->up) {
		int64_t left_ms = end_ms - m->clock->mono(m->clock).ms;
		struct pollfd p = { .fd = m->fd, .events = POLLIN };
		p.events |= (short)(mosquitto_want_write(m->client) ? POLLOUT : 0);
		if (left_ms <= 0 || poll(&p, 1, (int)left_ms) <= 0) {
			explain(m, "no answer from the broker");
			lose(m);
		} else
			ready(m, (uint32_t)p.revents, clock_now_s(m->clock));
	}
	return m->up;
}

enum rc mqtt_new(struct loop *loop, const struct clock *clock, const struct mqtt_news *news,
	struct mqtt **out, struct err *err)
{
	struct mqtt *m = mem_new(1, sizeof *m);
	if (!m || mosquitto_lib_init() != MOSQ_ERR_SUCCESS) {
		mem_free(m);
		return err_set(err, RC_MEM, "broker: out of memory");
	}
	*m = (struct mqtt){ .loop = loop, .clock = clock, .news = *news, .fd = -1 };
	m->look = (struct timer){ .fire = look, .arg = m };
	*out = m;
	return RC_OK;
}

void mqtt_free(struct mqtt *m)
{
	if (!m)
		return;
	if (m->client) {
		if (mosquitto_disconnect(m->client) == MOSQ_ERR_SUCCESS)
			flush(m);
		cut(m);
	}
	(void)mosquitto_lib_cleanup();
	mem_free(m);
}
