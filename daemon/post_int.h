/* Inside of mail: post.c says when, post_send.c hands letters to the server, post_read.c reads answers, post_inbox.c fetches
 * them by IMAP. */
#ifndef DAEMON_POST_INT_H
#define DAEMON_POST_INT_H

#include "daemon/post.h"
#include "daemon/store_post.h"

enum {
	POST_LIMIT_S = 120, /* of one letter, or one question to the inbox */
	POST_CONNECT_S = 20,
	POST_WAIT_S = 60, /* after the first failure, doubled each time ... */
	POST_WAIT_MAX_S = 3600, /* ... up to this */
	POST_FILES_MAX = 200, /* of a maildir in one look */
	POST_INBOX_MAX = 50, /* of an inbox likewise */
	POST_INBOX_DAYS = 60 /* what is older is left alone */
};

struct post_out; /* letters on their way */
struct post_in; /* an inbox being read */

struct post {
	struct post_owner owner;
	int lock_fd; /* whoever holds it sends and reads; -1: another seasond does */
	struct timer digest, look, due;
	struct post_out *out;
	struct post_in *in;
	bool once; /* post_now waits for both to fall idle */
};

/* The settings in force. */
const struct mail *post_mail(const struct post *p);
/* Either has nothing more to do now. */
void post_idle(struct post *p);

/* ---- post_send.c ---- */

MUST_USE enum rc post_out_new(struct post *p, struct post_out **out, struct err *err);
void post_out_free(struct post_out *o);
/* Begins with the first letter whose time has come, when none is under way. */
void post_out_go(struct post_out *o, int64_t now_s);
bool post_out_idle(const struct post_out *o);

/* User and password of the settings onto a handle; "" user: none. */
MUST_USE enum rc post_login(CURL *easy, const char *user, const char *credential, struct err *err);
/* What libcurl's verdict means and would help, never secrets. said: the server's last line. */
void post_fault(CURLcode verdict, const char *url, const char *said, char *buf, size_t size);

/* ---- post_read.c ---- */

/* What was made of a mail. */
enum post_taken {
	TAKEN_NOTHING, /* not for us */
	TAKEN_ANSWER,
	TAKEN_STOP,
	TAKEN_BEFORE, /* was read already */
	TAKEN_UNFIT /* an answer, but not to be believed or too late: why is in the log */
};

/* One mail, by a name of its own, in a transaction. On failure it is to be read again. */
MUST_USE enum rc post_take(struct post *p, const char *id, const char *bytes, size_t n,
	int64_t now_s, enum post_taken *what, struct err *err);
/* Whether that name was read; *heard false on any failure. */
bool post_heard(struct post *p, const char *id);

/* Everything new in the maildir. */
void post_read_maildir(struct post *p, int64_t now_s);

/* ---- post_inbox.c ---- */

MUST_USE enum rc post_in_new(struct post *p, struct post_in **out, struct err *err);
void post_in_free(struct post_in *in);
void post_in_look(struct post_in *in, int64_t now_s);
bool post_in_idle(const struct post_in *in);

#endif
