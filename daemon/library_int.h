/* The parts of the library's loader; used by library*.c. */
#ifndef DAEMON_LIBRARY_INT_H
#define DAEMON_LIBRARY_INT_H

#include <stdbool.h>

#include "daemon/library.h"
#include "daemon/schema.h"

/* The entry of that name, NULL when there is none. Every entry begins with char
 * name[BUILD_NAME]. */
void *library_find(void *entries, size_t n, size_t size, const char *name);

/* A reference to a name that is not there: a fault with the nearest. */
void library_no_such(struct faults *f, const config_setting_t *group, const char *what,
	const char *setting, const char *noun, const char *text, const void *entries, size_t n,
	size_t size);

/* Reads a build file's root over *b (zeroed for a new build). overlay: what is not given stays. */
void library_read_build(const struct library *l, const config_setting_t *root, bool overlay,
	struct build *b, struct faults *f);

/* Adds a fault for each thing about a build that cannot be: what lies, sticks or spans where nothing
 * holds it. root: the text that made it so. */
void library_check_build(const struct build *b, const config_setting_t *root, struct faults *f);

/* The rules of care.conf; memory as by schema_read_list. */
size_t library_read_rules(const config_setting_t *root, void **rules, struct faults *f);

/* Its priors, each over that of the same quantity. whole: one that is not there is a fault. */
void library_read_learning(const config_setting_t *root, bool whole,
	struct learn_prior learning[LEARN_QUANTITIES], struct faults *f);

#endif
