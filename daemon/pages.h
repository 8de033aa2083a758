/* What one edition shows: the agenda's items and visits as calendar entries with their texts, in the edition's
 * language, zone and units, with the sequence and time of change that the store keeps. Both publishers, files and
 * servers, and the preview print from here. */
#ifndef DAEMON_PAGES_H
#define DAEMON_PAGES_H

#include "daemon/calendar.h"
#include "daemon/edition.h"
#include "daemon/engine.h"
#include "daemon/state.h"

enum { SUMMARY_SIZE = 256, DESCRIPTION_SIZE = 6000, PAGES_MAX = 10000 };

/* One entry with the texts it points to, and what it stands for. */
struct page {
	struct calendar_entry entry;
	int64_t item, visit; /* one of them, the other 0; both 0: the weekly round */
	char uid[40];
	char summary[SUMMARY_SIZE];
	char location[TITLE_SIZE + NOTE_SIZE];
	char contact[TITLE_SIZE + NOTE_SIZE];
	char description[DESCRIPTION_SIZE];
};

/* Points to nothing outside but itself and the settings. */
struct pages {
	struct page *at;
	size_t n;
	char zone[ZONE_SIZE];
	char title[2 * TITLE_SIZE + 4];
	char description[TITLE_SIZE + 80]; /* of the calendar */
	struct calendar_head head;
};

/* All of one moment, inside the caller's write transaction: what is new or differs gets its sequence and time of
 * change there. pages_free releases it. */
MUST_USE enum rc pages_make(struct store *store, const struct engine *engine,
	const struct settings *set, const struct library *lib, const struct edition *edition,
	int64_t now_s, struct pages **out, struct err *err);
void pages_free(struct pages *p);

/* The same for many editions: the agenda is read once, then each makes its own from it in the same transaction.
 * Borrows what it is given. */
struct pages_source;
MUST_USE enum rc pages_read(struct store *store, const struct engine *engine,
	const struct settings *set, const struct library *lib, int64_t now_s,
	struct pages_source **out, struct err *err);
MUST_USE enum rc pages_of(struct pages_source *source, const struct edition *edition,
	struct pages **out, struct err *err);
void pages_source_free(struct pages_source *source);

/* Of every entry's meaning, sequence and order, and of the calendar's name; never 0. */
uint64_t pages_digest(const struct pages *p);

/* The words for one item, as entries and `seasonctl agenda` show it. */
void pages_title(const struct engine *engine, const struct settings *set, const struct library *lib,
	const struct item *it, char *buf, size_t size);

#endif
