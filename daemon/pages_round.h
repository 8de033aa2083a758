/* The weekly humidity round of an edition, for pages.c only. */
#ifndef DAEMON_PAGES_ROUND_H
#define DAEMON_PAGES_ROUND_H

#include "daemon/pages.h"
#include "daemon/zone.h"

/* What was made once: kept in the store, so that it stays the same event. */
struct round {
	char uid[40];
	int64_t made_s; /* when it was first shown */
	int64_t first_s; /* its first occurrence: the first one after that, or after its time of the week was changed */
};

/* Whether the edition has one: a calendar of one client does not. */
bool pages_has_round(const struct edition *e);

/* Reads it, and makes or changes it when need be, in the caller's write transaction. */
MUST_USE enum rc pages_round(struct store *store, const struct edition *e, const struct zone *zone,
	int64_t now_s, struct round *out, struct err *err);

/* Which hygrometers to read and what else to look for. */
void pages_round_words(const struct settings *set, const struct edition *e, char *buf, size_t size);

#endif
