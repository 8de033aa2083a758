/* libcurl's multi interface in the one event loop, by its socket and timer callbacks: transfers of every protocol. At
 * most TRANSFERS_MAX run at once, others wait in the order they came.
 *
 * At the end of a connection libcurl says goodbye where the protocol has one (QUIT of SMTP, LOGOUT of IMAP) and waits for
 * the answer in the midst of a call, two minutes if need be. Here it is given up after two seconds, which takes that the
 * connection ends with its transfer: so it does unless transfer_keep. */
#ifndef DAEMON_TRANSFER_H
#define DAEMON_TRANSFER_H

#include <curl/curl.h>
#include <stdbool.h>

#include "daemon/loop.h"

enum { TRANSFERS_MAX = 64 }; /* each has up to two sockets of LOOP_FDS_MAX while it connects */

struct transfers;

/* Nothing of libcurl is loaded into memory before the first transfer_new. RC_MEM. */
MUST_USE enum rc transfers_new(struct loop *loop, struct transfers **out, struct err *err);
/* After its transfers. */
void transfers_free(struct transfers *t);

/* One easy handle and its turn. */
struct transfer;

/* begin: it is its turn, the handle is to be set up (false: it gives up, and has said so itself); done: it has ended, its
 * handle still tells how. Both from the loop and never from within a function here; neither may free the transfer, both
 * may want it again. */
struct transfer_to {
	bool (*begin)(void *arg, int64_t now_s);
	void (*done)(void *arg, CURLcode verdict, int64_t now_s);
	void *arg;
};

/* The handle has what every transfer of ours has: no signals, no proxy, nothing of the environment or .netrc, nothing
 * secret in addresses, certificates checked, sockets that programs of command sources do not inherit. ca_file "" : the
 * system's. CURLOPT_PRIVATE and
 * CURLOPT_XFERINFOFUNCTION are ours. Protocols, limits and what is sent are the owner's. RC_MEM. */
MUST_USE enum rc transfer_new(struct transfers *t, const struct transfer_to *to,
	const char *ca_file, struct transfer **out, struct err *err);
/* NULL is allowed. One under way is dropped. */
void transfer_free(struct transfer *x);

/* Its connection is kept for the next transfer to the same server: only for protocols without a goodbye, as HTTP. */
void transfer_keep(struct transfer *x);

/* Borrowed for the transfer's life. */
CURL *transfer_easy(struct transfer *x);
/* Asks for a turn; nothing when it waits or runs. */
void transfer_want(struct transfer *x);
/* Runs the handle once more at once, from within done: a redirect that is followed. RC_MEM. */
MUST_USE enum rc transfer_again(struct transfer *x, struct err *err);
/* Takes it back; done is not called. */
void transfer_drop(struct transfer *x);
/* Neither waits nor runs. */
bool transfer_idle(const struct transfer *x);

#endif
