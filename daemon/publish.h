/* The agenda as calendar files: for each output NAME two files in its folder, NAME-events.ics (VEVENT only) and
 * NAME-todos.ics (VTODO only). Items of one client's visit are one entry. SEQUENCE and LAST-MODIFIED come from
 * the store and change only when an entry's meaning does, so nothing new gives the same bytes. */
#ifndef DAEMON_PUBLISH_H
#define DAEMON_PUBLISH_H

#include "daemon/engine.h"
#include "daemon/state.h"

/* What a program remembers of its last publishing, so that an unchanged agenda costs no printing. Zeroed at first. */
struct publish_memory {
	struct {
		uint64_t digest; /* of every entry's meaning, sequence and order */
		int64_t mtime_ns[2], size[2]; /* of the files then written */
	} at[OUTPUTS_MAX];
};

/* Writes every output. A failing output does not stop the others; the first error is returned. *changed counts the
 * files that were replaced. */
MUST_USE enum rc publish_all(struct store *store, const struct engine *engine,
	const struct settings *set, const struct library *lib, int64_t now_s,
	struct publish_memory *memory, size_t *changed, struct err *err);

/* The words for one item, as entries and `seasonctl agenda` show it. */
void publish_title(const struct engine *engine, const struct settings *set,
	const struct library *lib, const struct item *it, char *buf, size_t size);

#endif
