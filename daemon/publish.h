/* The agenda as calendar files: for each edition NAME two files in its output's folder, NAME-events.ics (VEVENT only)
 * and NAME-todos.ics (VTODO only), or one of them when the output shows only that. Nothing new gives the same bytes.
 * Files of an edition that is no more are removed: those whose names we wrote down when we made them, from the folders of
 * outputs. An output that left the settings leaves its files where its folder left with it. */
#ifndef DAEMON_PUBLISH_H
#define DAEMON_PUBLISH_H

#include "daemon/engine.h"
#include "daemon/state.h"

struct publish_mark;

/* What a program remembers of its last publishing, so that an unchanged agenda costs no printing. Zeroed at first;
 * publish_forget releases it. At most EDITIONS_MAX marks. */
struct publish_memory {
	size_t n;
	struct publish_mark *at; /* in the order of editions */
	uint64_t names; /* of the files written down */
};
void publish_forget(struct publish_memory *memory);

/* Writes every output that has a folder. A failing output does not stop the others; the first error is returned.
 * *changed counts the files that were replaced or removed. */
MUST_USE enum rc publish_all(struct store *store, const struct engine *engine,
	const struct settings *set, const struct library *lib, int64_t now_s,
	struct publish_memory *memory, size_t *changed, struct err *err);

#endif
