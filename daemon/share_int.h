/* Inside of share, for share*.c only.
 *
 * An account is an output with a server; it takes its collections in turn: one for each edition and kind. A turn:
 *
 *	find      the collection, when its address is not known or no longer good
 *	look      what changed there, and at what persons moved elsewhere
 *	hunt      for what is gone: in the rest of the collection, then in the account's other collections
 *	read      what changed, taking each in with the store's transaction (share_hear.c)
 *	settle    when the agenda changed: the owner's, and then share_settled goes on
 *	put       what differs from what was last sent (share_plan.c, share_put.c) */
#ifndef DAEMON_SHARE_INT_H
#define DAEMON_SHARE_INT_H

#include "daemon/pages.h"
#include "daemon/share.h"
#include "daemon/store_share.h"

enum {
	SHARE_TRIES = 3, /* of one put in a turn */
	SHARE_HUNT_MAX = 5000, /* entries of others that are read for one that is gone */
	SHARE_LIMIT_S = 60, /* of one request */
	SHARE_FIRST_DELAY_S =
		60, /* after a failure, or the interval when that is shorter; doubled each time */
	SHARE_LONGEST_DELAY_S = 3600,
	SHARE_NAME = EDITION_NAME + 8
};

/* What is told of an entry elsewhere while all is well. */
#define SHARE_AWAY "moved to another calendar, where it is kept in step"

/* ---- one entry, taken in (share_hear.c) ---- */

struct hearing {
	struct app *app;
	const struct edition *edition;
	enum calendar_kind kind;
	const struct zone *zone; /* of the edition's days */
	int64_t now_s;
};

/* What taking in came to. */
struct taken {
	bool heard; /* the agenda changed */
	bool moved; /* a person moved its day, and that was heard */
};

/* Takes what stands there now into the agenda and into r, which is stored; inside the caller's transaction. RC_INPUT does not
 * happen: a text that cannot be read is an outcome. */
MUST_USE enum rc share_take_in(const struct hearing *h, struct resource *r, const char *text,
	size_t n, const char *etag, struct taken *taken, struct err *err);

/* It is gone from the server and found nowhere. */
MUST_USE enum rc share_take_gone(
	const struct hearing *h, struct resource *r, struct taken *taken, struct err *err);

/* The UID of the entry; false: it is none. */
bool share_uid(const char *text, size_t n, const struct zone *zone, char uid[CALENDAR_UID_SIZE]);

/* What a put came to, in words; NULL: nothing to tell any more. */
void share_tell(struct resource *r, const char *outcome, int64_t now_s);

/* text into *to (the old one is freed); NULL: none. False: out of memory. */
bool share_keep_text(char **to, const char *text);

/* ---- addresses (share_href.c) ---- */

/* Decoded, without host: equal for what dav_href_same says is the same resource. */
uint64_t share_href_hash(const char *href);
/* Where an entry of ours is put; false: too long. */
bool share_new_href(const char *collection, const char *uid, char href[DAV_HREF]);
/* The collection a resource is in. */
void share_parent(const char *href, char collection[DAV_HREF]);

/* ---- what to put (share_plan.c) ---- */

enum job_kind { JOB_CREATE, JOB_CHANGE, JOB_DELETE };

struct job {
	enum job_kind kind;
	size_t resource; /* index */
	char *ours; /* owned; NULL: JOB_DELETE */
	int tries;
};

struct known {
	struct resource *r;
	size_t n, cap;
};

struct plan {
	struct job *job;
	size_t n, cap;
	uint64_t digest; /* of the pages it was made from */
};

/* What is to be done so that the server has what the agenda says. New resources are added to known, and each text that is
 * to be put is stored as `trying`. A write transaction of its own. */
MUST_USE enum rc share_plan(
	const struct hearing *h, struct known *known, struct plan *out, struct err *err);
void share_plan_free(struct plan *p);

/* The text to be put for a job now; *text NULL: the server's has all of it already. The caller's (mem_free). RC_INPUT: what
 * stands there cannot be merged. */
MUST_USE enum rc share_text(const struct hearing *h, const struct resource *r, const char *ours,
	bool moved, char **text, struct err *err);

/* ---- a turn (share_turn.c, share_look.c, share_hunt.c, share_put.c) ---- */

struct account;

struct listed {
	char href[DAV_HREF], etag[DAV_ETAG];
	uint64_t hash;
	bool gone, known;
};

struct turn {
	struct account *account;
	struct edition edition;
	enum calendar_kind kind;
	char name[SHARE_NAME]; /* of the collection */
	struct calendar_head head;
	struct collection c;
	struct known known;
	unsigned char *mark; /* enum mark of each known */
	char token[DAV_TOKEN]; /* for the next time, stored when all is taken in */
	struct listed *listed;
	size_t n_listed, at; /* at: in whatever is gone through step by step */
	bool whole; /* listed is all there is */
	bool found; /* asked for in this turn */
	bool heard; /* the agenda changed */
	char parent[DAV_HREF];
	const char **asked; /* borrowed hrefs of the read under way */
	size_t n_asked;
	struct collection *all; /* of all editions; but: their addresses */
	const char **but;
	size_t n_but;
	void (*then)(struct turn *t, int64_t now_s); /* after a hunt */
	struct plan plan;
	size_t job, put, refused;
	char *text; /* that is being put */
	char href[DAV_HREF]; /* where */
	bool moved; /* the entry of the job was moved by a person meanwhile */
};

enum mark { MARK_SAME, MARK_CHANGED, MARK_GONE };

/* Begins the turn; it ends in account_turn_over. */
void share_look(struct turn *t, int64_t now_s);
void share_put(struct turn *t, int64_t now_s);
/* Looks for each that is marked gone; those found are taken in, and lose the mark. Goes on with then. */
void share_hunt(struct turn *t, void (*then)(struct turn *t, int64_t now_s), int64_t now_s);
/* Releases what was read from the store and the server. */
void share_forget(struct turn *t);
/* Keeps a listing, in order of hash; the one with that address in it, NULL: none. */
MUST_USE enum rc share_take_list(struct turn *t, const struct dav_result *r, struct err *err);
struct listed *share_listed(const struct turn *t, const char *href);
/* Takes in all known entries of an answer, in one transaction. */
MUST_USE enum rc share_take_entries(
	struct turn *t, const struct dav_result *r, int64_t now_s, struct err *err);

struct hearing share_hearing(const struct turn *t, int64_t now_s);
/* The turn fails: by the server's answer, or by our own error. */
void share_failed(struct turn *t, const struct dav_result *r, int64_t now_s);
void share_broke(struct turn *t, const struct err *err, int64_t now_s);
void share_over(struct turn *t, int64_t now_s); /* it went well */
/* The collection's address is no longer good: it is found again, once in a turn. False: it was already. */
bool share_find_again(struct turn *t, int64_t now_s);

/* ---- accounts (share.c) ---- */

struct printed {
	char edition[EDITION_NAME];
	uint64_t digest[2]; /* of each kind; 0: never */
};

struct account {
	struct share *share;
	const struct output *output;
	struct zone *zone;
	struct dav *dav;
	struct timer timer;
	struct turn *turn; /* NULL: idle */
	struct edition *editions; /* of this round, of all outputs */
	size_t n_editions, edition;
	enum calendar_kind kind;
	bool settling; /* the turn waits for the owner to settle */
	bool news; /* the agenda settled during the round */
	bool looked; /* there was a round since the start */
	bool ill; /* the last round failed, which the log told */
	int failures;
	enum dav_verdict verdict; /* the worst of this round */
	int64_t retry_after_s;
	char why[256];
	struct printed *printed; /* what the pages were when last put */
	size_t n_printed;
};

struct share {
	struct share_owner owner;
	size_t n;
	struct account *at;
	bool once;
};

void account_turn_over(struct account *a, int64_t now_s);
/* The agenda changed: the turn goes on with putting when the owner has settled. */
void account_settle(struct account *a);
/* The agenda changed, and the turn does not wait. */
void account_heard(struct account *a);
/* Remembers what the pages were that the server has. */
void account_printed(struct account *a, const struct turn *t);
/* Whether an edition's collection has that address in the settings in force already. */
MUST_USE enum rc account_other(
	const struct turn *t, const char *url, char edition[EDITION_NAME], struct err *err);

#endif
