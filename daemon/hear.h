/* What people did to an entry in their own calendar, taken into the agenda: a tick is done at that time, a moved day is
 * kept, a deleted entry is not wanted this time, a line in the trade's notation is a finding. Each inside the caller's
 * transaction, by the UID of an item or a visit; of a visit all its open items are meant. Heard again it changes nothing. */
#ifndef DAEMON_HEAR_H
#define DAEMON_HEAR_H

#include "daemon/engine.h"
#include "daemon/state.h"

/* *heard false: no such entry, or not open any more. at_s: by the clock of whoever did it, so a caller gives the lesser
 * of that and its own now (TIME_NEVER among them: not said); before an item opened it counts as the moment it opened.
 * From then the rest of its rule runs. A visit closes when its items are settled next (agenda.h). */
MUST_USE enum rc hear_done(
	struct store *s, const char *uid, int64_t at_s, bool *heard, struct err *err);
MUST_USE enum rc hear_unwanted(
	struct store *s, const char *uid, int64_t at_s, bool *heard, struct err *err);

/* The last day is moved there (a UTC time within that local day). It holds until the reason grows heavier or moves by a
 * quarter of the way from open to pressing, as with the words of an item (agenda.h). */
MUST_USE enum rc hear_moved(
	struct store *s, const char *uid, int64_t by_s, bool *heard, struct err *err);

/* A line written into the entry, open or not, at_s: when it was seen. Of a visit with several instruments it begins with
 * the name or title of one (`cedar: relief .010`). A finding is noted with the text "from the calendar". *answer is what
 * is said back: what was noted, or politely that it could not be and how it would; "" : a remark, to which nothing is
 * said, or no such entry. */
enum { HEAR_ANSWER = 400 };
MUST_USE enum rc hear_line(struct store *s, const struct engine *engine, const struct settings *set,
	const char *uid, const char *line, enum bench_units units, int64_t at_s,
	char answer[HEAR_ANSWER], struct err *err);

#endif
