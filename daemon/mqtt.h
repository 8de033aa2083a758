/* A durable MQTT 3.1.1 session with one broker, in the event loop; libmosquitto is seen only by mqtt.c.
 *
 * What the broker delivers is acknowledged once `keep` has said that it is durable, never before; when keep can't, the
 * connection is cut without an acknowledgement and the broker delivers again. A connection that is lost is the owner's
 * to renew: mqtt_connect again after `down`.
 * The name of the broker is looked up in the C library, which may take as long as the system's resolver does. */
#ifndef DAEMON_MQTT_H
#define DAEMON_MQTT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "core/err.h"
#include "daemon/clock.h"
#include "daemon/loop.h"

/* In one wake at most so many packets are read before they are kept. */
enum { MQTT_BATCH = 1000 };

struct mqtt_message {
	const char *topic;
	const void *bytes; /* NULL when n is 0 */
	size_t n;
	bool retained; /* published before we subscribed: nothing new */
	bool waited; /* maybe: it came before the broker had handed out what it kept while we were away */
};

/* Calls mqtt_* only from down. */
struct mqtt_news {
	void *arg;
	/* False: can't be taken, as if keep had said so. */
	bool (*message)(void *arg, const struct mqtt_message *m, int64_t now_s);
	/* All messages so far have to be durable: false when they are not. */
	bool (*keep)(void *arg, int64_t now_s);
	/* Connected, subscribed, and all that the broker kept for us is here. Once a connection. */
	void (*up)(void *arg, int64_t now_s);
	/* What the broker would not do, while the rest goes on. */
	void (*told)(void *arg, const char *text);
	/* The connection is gone or did not come about. */
	void (*down)(void *arg, const char *why, int64_t now_s);
};

struct mqtt_at {
	const char *host, *client_id;
	int port; /* 0: 1883, with tls 8883 */
	bool tls; /* the broker's certificate and its host name are checked */
	const char *ca_file; /* "": the system's authorities */
	const char *user, *password; /* NULL: none; not needed after mqtt_connect */
	char *const *filters; /* subscribed with QoS 1; borrowed until the connection is down */
	size_t n_filters;
};

struct mqtt;

/* Borrows loop and clock, copies news. */
MUST_USE enum rc mqtt_new(struct loop *loop, const struct clock *clock,
	const struct mqtt_news *news, struct mqtt **out, struct err *err);
/* Takes leave of the broker, which keeps the session. NULL allowed. */
void mqtt_free(struct mqtt *m);

/* Begins to connect when down; up or down tell how it went. RC_CONFIG: ca_file is no use; RC_IO: no such host, or the
 * connection was refused at once. */
MUST_USE enum rc mqtt_connect(struct mqtt *m, const struct mqtt_at *at, struct err *err);

/* Without the loop: works until up or down, at most limit_ms. True when up. */
bool mqtt_await_up(struct mqtt *m, int64_t limit_ms);

#endif
