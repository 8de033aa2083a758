/* What the store knows of mail: the outbox, invitations, and which answers were read. All writes happen inside an open
 * transaction. */
#ifndef DAEMON_STORE_POST_H
#define DAEMON_STORE_POST_H

#include "daemon/letter.h"
#include "daemon/record.h"

enum letter_kind { LETTER_DIGEST, LETTER_REQUEST, LETTER_CANCEL };

enum letter_state {
	LETTER_WAITS,
	LETTER_UNDER_WAY, /* handed to the server, whose word is not in the store yet */
	LETTER_SENT,
	LETTER_REFUSED, /* the server will never take it */
	LETTER_GIVEN_UP, /* not taken for LETTER_LIFE_S */
	LETTER_DROPPED /* ours: overtaken, or the client does not agree any more */
};

enum {
	LETTER_LIFE_S = 5 * 86400,
	LETTERS_KEPT_S = 400 * 86400, /* finished ones, and what was read */
	LETTERS_WAITING_MAX = 1000,
	LETTER_SUBJECT = 256,
	LETTER_ERROR = 320
};

struct letter {
	int64_t id;
	int kind; /* enum letter_kind */
	int64_t client, visit; /* 0: the bench's own, of no visit */
	char message_id[LETTER_ID_SIZE];
	char recipient[TITLE_SIZE];
	char subject[LETTER_SUBJECT];
	int64_t made_s;
	int state; /* enum letter_state */
	int tries;
	int64_t next_s; /* not before */
	int64_t sent_s; /* TIME_NEVER: not */
	char error[LETTER_ERROR]; /* of the last try; why it was dropped */
};

/* Sets id. RC_FULL: LETTERS_WAITING_MAX wait already. */
MUST_USE enum rc store_letter_add(
	struct store *s, struct letter *l, const char *body, struct err *err);
/* State, tries, next_s, sent_s and error. */
MUST_USE enum rc store_letter_put(struct store *s, const struct letter *l, struct err *err);
/* The first that waits and whose time has come; *found false: none. */
MUST_USE enum rc store_letter_next(
	struct store *s, int64_t now_s, struct letter *out, bool *found, struct err *err);
/* When the next one's time comes; TIME_NEVER: none waits. */
MUST_USE enum rc store_letter_due(struct store *s, int64_t *at_s, struct err *err);
/* The caller's (mem_free); RC_UNKNOWN. */
MUST_USE enum rc store_letter_body(
	struct store *s, int64_t id, char **body, size_t *n, struct err *err);
/* Those that wait or are under way, and others made at or after since_s, oldest first. The caller's (mem_free). */
MUST_USE enum rc store_letters(
	struct store *s, int64_t since_s, struct letter **out, size_t *n, struct err *err);
/* Those under way wait again: whoever sent them is gone. */
MUST_USE enum rc store_letters_resume(struct store *s, int64_t *n, struct err *err);
/* Drops those of that kind and visit that wait; never one that is under way. *n: how many. */
MUST_USE enum rc store_letters_drop(struct store *s, enum letter_kind kind, int64_t visit,
	const char *why, int64_t *n, struct err *err);
/* Whether a letter that tells of the visit has reached the client, or may have. */
MUST_USE enum rc store_letters_reached(
	struct store *s, int64_t visit, bool *reached, struct err *err);
/* Forgets what is older than LETTERS_KEPT_S. */
MUST_USE enum rc store_post_tidy(struct store *s, int64_t now_s, struct err *err);

enum invitation_state {
	INVITED,
	CALLED_OFF,
	UNTOLD /* its letter was dropped before it went out */
};

struct invitation {
	int64_t visit;
	char recipient[TITLE_SIZE];
	int sequence;
	int64_t start_s, length_s; /* as told; length_s 0: the day of start_s */
	int state; /* enum invitation_state */
	int64_t answered_stamp_s; /* DTSTAMP of the answer that counts; TIME_NEVER: none */
};
MUST_USE enum rc store_invitation(
	struct store *s, int64_t visit, struct invitation *out, bool *found, struct err *err);
MUST_USE enum rc store_invitation_put(struct store *s, const struct invitation *i, struct err *err);

/* Mail that was read, by a name of its own. */
enum { HEARD_SIZE = 256 };
MUST_USE enum rc store_heard(struct store *s, const char *id, bool *found, struct err *err);
MUST_USE enum rc store_heard_put(struct store *s, const char *id, int64_t t_s, struct err *err);

/* When the last digest was due that has been written; TIME_NEVER: none was asked for yet. */
MUST_USE enum rc store_digest_due(struct store *s, int64_t *due_s, struct err *err);
MUST_USE enum rc store_digest_due_put(struct store *s, int64_t due_s, struct err *err);

/* What sources and calendars on servers last had to complain about: calls each. */
MUST_USE enum rc store_complaints(struct store *s,
	void (*each)(void *arg, const char *who, const char *why), void *arg, struct err *err);

#endif
