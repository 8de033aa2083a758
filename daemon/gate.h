/* The local intake: what its two doors, a Unix socket and HTTP, have in common. */
#ifndef DAEMON_GATE_H
#define DAEMON_GATE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/socket.h>

#include "daemon/feed_int.h"

enum {
	GATE_CLIENTS_MAX = 8, /* at once, of each door */
	GATE_WORDS_SIZE = 256,
	GATE_RETRY_S = 30 /* what a client is told when the store takes nothing */
};

struct gate {
	struct feed *feed; /* borrowed */
	struct pick *pick; /* borrowed */
	int64_t minute_ms; /* monotonic: when this minute of the rate limit began */
	int used; /* payloads in it */
};

/* 0: one more payload may come in this minute, and is counted. Else the seconds until the next minute. */
int64_t gate_wait_s(struct gate *g);

/* Makes a payload durable. words: `ok N` with the number of readings, or `error: ...`: printable ASCII, no line end.
 * RC_OK; RC_INPUT: the payload is at fault; RC_BUSY: the store is, later. Faults are logged and kept for
 * `seasonctl sources`, with who sent it. */
enum rc gate_take(struct gate *g, const char *bytes, size_t n, const char *who, int64_t now_s,
	char words[GATE_WORDS_SIZE]);

/* Where the first payload of a stream of them ends: with the line end, in json one outside of brackets. */
struct gate_frame {
	bool json;
	size_t seen; /* bytes looked at already */
	int depth;
	bool text, escaped; /* inside a string of json */
};

/* Length of the first payload of bytes[n], its line end included; 0: not whole yet, then call again with the same bytes
 * and more. A line end inside a string of json, which can't be, ends the payload too. */
size_t gate_frame_next(struct gate_frame *f, const char *bytes, size_t n);

#endif
