/* The agenda: care rules judged for every subject, items opened, kept, closed, and gathered into visits.
 *
 * An item opens when its rule calls, keeps its day while nothing weighs more, is done by a finding that settles
 * it, is withdrawn when its reason is gone, and can be put aside by a person. Its reasons are rewritten only when
 * the weight grows or the value has moved by a quarter of the way to "pressing", so calendars stay calm.
 *
 * A last day that a person moved (item.moved_s, visit.moved_s) holds as long: an item's until its weight grows or its
 * value is that far from what it was then; a visit's until one of its open items grows heavier or is freed of its own
 * moved day, or one joins it that is to be done before that day. Visits reckon with the moved days of their items. */
#ifndef DAEMON_AGENDA_H
#define DAEMON_AGENDA_H

#include "daemon/engine.h"
#include "daemon/state.h"

/* Told of every item that opens, grows heavier or closes while judging; it may be NULL. */
struct agenda_news {
	void *arg;
	void (*item)(void *arg, const struct item *it, int64_t now_s);
};

/* The window of an item or visit as it holds: to moved_s when a person moved its last day (TIME_NEVER: nobody did), and
 * beginning no later than it ends. */
void agenda_window(int64_t from_s, int64_t by_s, int64_t moved_s, int64_t *from, int64_t *by);

/* `accepted` and so on, of enum visit_answer. */
const char *agenda_answer_words(int answer);

/* Judges everything at now_s, in the transaction in which engine_follow_within was called for the same now_s: what
 * another program enters in between would be judged by wood and records from before it. */
MUST_USE enum rc agenda_judge(struct store *store, const struct engine *engine,
	const struct settings *set, const struct library *lib, int64_t now_s,
	const struct agenda_news *news, struct err *err);

/* Forgets every item and visit opened at or after from_s, and opens again what was closed since: a replay of that time
 * tells its own story. */
MUST_USE enum rc agenda_forget(struct store *store, int64_t from_s, struct err *err);

/* Closes an open item by its number: ITEM_DONE or ITEM_PUT_ASIDE, at at_s. RC_UNKNOWN: no such open item. Inside the
 * caller's transaction. */
MUST_USE enum rc agenda_close(
	struct store *store, int64_t item, enum item_state how, int64_t at_s, struct err *err);

#endif
