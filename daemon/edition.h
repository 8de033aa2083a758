/* Editions: the calendars that the settings' outputs come to. An output with `each` is one for every client or place. */
#ifndef DAEMON_EDITION_H
#define DAEMON_EDITION_H

#include "daemon/calendar.h"
#include "daemon/record.h"

enum { EDITIONS_MAX = 1024, EDITION_NAME = 2 * NAME_SIZE + 2 };

struct edition {
	const struct output *output; /* borrowed from the settings */
	char name
		[EDITION_NAME]; /* the output's, or OUTPUT-SUBJECT: stem of files, last part of an address */
	char title[2 * TITLE_SIZE + 4]; /* for people */
	char client[NAME_SIZE]; /* only that client's instruments; "" : all */
	char place[NAME_SIZE]; /* only what is in that place; "" : all */
	const char *zone; /* IANA name in force */
	enum bench_units units;
};

/* In the order of the outputs, within one in order of name. The caller's (mem_free). A client that an output names and
 * the records do not have makes no edition. */
MUST_USE enum rc editions(struct store *s, const struct settings *set, struct edition **out,
	size_t *n, struct err *err);

/* Whether an edition has a calendar of that kind: its output shows both, to-dos or events. */
bool edition_shows(const struct edition *e, enum calendar_kind kind);

#endif
