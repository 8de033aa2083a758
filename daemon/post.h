/* Mail: a weekly digest to the bench, and invitations of clients to their visits (RFC 5546, 6047), by any submission server;
 * their answers from a maildir or by IMAP. The outbox is the store's: a letter is written whole in the transaction that
 * decides on it, has one Message-ID for ever, and is sent until the server said it took it. That it is under way is in the
 * store before the first octet, that it was taken right after the server's word. Only when seasond or the connection ends
 * between the last octet and that word - which no one can tell over SMTP - it goes out twice, under the same Message-ID.
 * Nobody receives mail whose record does not say that they agreed, asked again right before each letter goes out: who takes
 * it back gets nothing from then on. Every letter says how to stop it, and an answer that says stop does.
 *
 * One seasond at a time deals with mail, held by a lock beside the store (STORE.mail). */
#ifndef DAEMON_POST_H
#define DAEMON_POST_H

#include "daemon/app.h"
#include "daemon/store_post.h"
#include "daemon/transfer.h"

struct post;

struct post_owner {
	struct app *app;
	struct loop *loop;
	struct transfers *transfers;
	void (*heard)(void *arg); /* an answer changed a visit: settle soon */
	void *arg;
};

/* Nothing goes out and nothing is read in a replay. */
MUST_USE enum rc post_new(const struct post_owner *owner, struct post **out, struct err *err);
void post_free(struct post *p);

/* After each settling: letters that the agenda calls for are written, and go out. */
void post_settled(struct post *p, int64_t now_s);

/* One round, for `seasond --once`: answers are read, letters written, each that waits is tried once. */
MUST_USE enum rc post_now(struct post *p, int64_t now_s, struct err *err);

/* What would go out now: every letter that waits or that the agenda calls for, oldest first. Inside a transaction that the
 * caller rolls back. */
MUST_USE enum rc post_preview(struct desk *d, int64_t now_s,
	void (*each)(void *arg, const struct letter *l, const char *body), void *arg,
	struct err *err);

#endif
