/* Small facts that are made once and kept: a name and a line of text. Names begin with the word of who keeps them
 * ("file", "round"). Writes happen inside an open transaction of the caller. */
#ifndef DAEMON_STORE_META_H
#define DAEMON_STORE_META_H

#include "daemon/store.h"

enum { META_NAME = 160, META_VALUE = 160 };

struct meta {
	char name[META_NAME];
	char value[META_VALUE];
};

/* *found false: there is none of that name, and *m is left as it is. */
MUST_USE enum rc store_meta(
	struct store *s, const char *name, struct meta *m, bool *found, struct err *err);
MUST_USE enum rc store_meta_put(struct store *s, const struct meta *m, struct err *err);
MUST_USE enum rc store_meta_remove(struct store *s, const char *name, struct err *err);

/* Those whose names begin with the word and a blank, in order of name. The caller's (mem_free). */
MUST_USE enum rc store_meta_of(
	struct store *s, const char *word, struct meta **out, size_t *n, struct err *err);

#endif
