/* The library: data files that people extend - species.conf, finishes.conf, care.conf, builds/ *.conf -
 * read from the folders of the settings in order; a later entry of the same name replaces an earlier. */
#ifndef DAEMON_LIBRARY_H
#define DAEMON_LIBRARY_H

#include <stddef.h>

#include "core/build.h"
#include "core/care.h"
#include "daemon/faults.h"

struct library {
	size_t n_species, n_finishes, n_builds, n_rules;
	struct species *species;
	struct finish *finishes;
	struct build *builds;
	struct care_rule *rules;
};

/* dirs: n folders, the shipped one first. A folder or file that is not there is a fault for the first
 * folder only. Every fault is reported; on faults *out is NULL. library_free releases it. */
MUST_USE enum rc library_load(const char *const *dirs, size_t n, struct library **out, struct faults *f);
void library_free(struct library *l);

const struct species *library_species(const struct library *l, const char *name);
const struct build *library_build(const struct library *l, const char *name);
const struct care_rule *library_rule(const struct library *l, const char *name);

/* A copy of the build with an owner's changes laid over it: libconfig text such as
 * `top = { species = "engelmann_spruce"; thickness = "2.9mm"; }; band = [42, 55];`. NULL or "": none.
 * what names the instrument in faults. */
MUST_USE enum rc library_override(const struct library *l, const struct build *base, const char *text,
	const char *what, struct build *out, struct faults *f);

#endif
