/* What the store knows of calendars on servers: collections, resources, lines of people that were answered. All writes
 * happen inside an open transaction. */
#ifndef DAEMON_STORE_SHARE_H
#define DAEMON_STORE_SHARE_H

#include "daemon/calendar.h"
#include "daemon/dav.h"
#include "daemon/edition.h"

struct collection {
	char edition[EDITION_NAME];
	int kind; /* enum calendar_kind */
	char server[URL_SIZE]; /* the setting by which it was found */
	char url[DAV_HREF]; /* "" : not found yet */
	char token[DAV_TOKEN];
	int64_t tried_s, worked_s; /* TIME_NEVER: never */
	int failures; /* in a row */
	char error[256]; /* "" since the last that worked */
};

/* A resource's state; `outcome` says in words what became of it last. */
enum resource_state {
	RESOURCE_KEPT, /* in step, or waiting to be put */
	RESOURCE_ELSEWHERE, /* moved by a person to another collection, read there */
	RESOURCE_UNWANTED, /* deleted by a person */
	RESOURCE_STUCK /* the server does not take it; see outcome */
};

enum { RESOURCE_OUTCOME = 200 };

struct resource {
	char uid[40];
	int state;
	char href[DAV_HREF]; /* "" : not there, as far as we know */
	char etag[DAV_ETAG];
	char *sent; /* our own text as last put */
	char *trying; /* as it is being put: it may have arrived or not */
	char *seen; /* the text there as last read or put; these three owned, NULL: none */
	char outcome[RESOURCE_OUTCOME]; /* "" : nothing to tell */
	int64_t t_s; /* of the outcome; TIME_NEVER: none */
};

MUST_USE enum rc store_collection(struct store *s, const char *edition, enum calendar_kind kind,
	struct collection *c, bool *found, struct err *err);
MUST_USE enum rc store_collection_put(struct store *s, const struct collection *c, struct err *err);
/* All of them in order of edition and kind; the caller's (mem_free). */
MUST_USE enum rc store_collections(
	struct store *s, struct collection **out, size_t *n, struct err *err);

/* In order of uid; store_resources_free releases them. */
MUST_USE enum rc store_resources(struct store *s, const char *edition, enum calendar_kind kind,
	struct resource **out, size_t *n, struct err *err);
void store_resources_free(struct resource *r, size_t n);
MUST_USE enum rc store_resource_put(struct store *s, const char *edition, enum calendar_kind kind,
	const struct resource *r, struct err *err);
MUST_USE enum rc store_resource_remove(struct store *s, const char *edition,
	enum calendar_kind kind, const char *uid, struct err *err);

/* What was answered to a line in the entry of that uid; *found false: not yet. */
MUST_USE enum rc store_noted(struct store *s, const char *uid, const char *line, char *answer,
	size_t size, bool *found, struct err *err);
MUST_USE enum rc store_noted_put(struct store *s, const char *uid, const char *line, int64_t t_s,
	const char *answer, struct err *err);
/* Forgets what was noted before that time. */
MUST_USE enum rc store_noted_forget(struct store *s, int64_t before_s, struct err *err);
/* All answers to lines of that entry, oldest first: calls each. */
MUST_USE enum rc store_noted_each(struct store *s, const char *uid,
	void (*each)(void *arg, const char *line, const char *answer, int64_t t_s), void *arg,
	struct err *err);

#endif
