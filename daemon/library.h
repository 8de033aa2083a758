/* The library: data files that people extend - species.conf, finishes.conf, care.conf, builds/ *.conf -
 * read from the folders of the settings in order; a later entry of the same name replaces an earlier. */
#ifndef DAEMON_LIBRARY_H
#define DAEMON_LIBRARY_H

#include <stddef.h>

#include "core/build.h"
#include "core/care.h"
#include "core/learn.h"
#include "daemon/faults.h"

enum { LIBRARY_MAX = 512, LIBRARY_SOURCE = 640 }; /* entries of one sort; bytes of a source text */

/* A species and, for people, what stands behind its values. Shrinkage: percent, green to oven-dry; 0 when
 * the coefficients do not come from it. start_pct: the moisture at which shrinkage begins. */
struct wood {
	struct species species;
	char title[BUILD_TITLE];
	double shrinkage_r_pct, shrinkage_t_pct, start_pct;
	char source[LIBRARY_SOURCE];
};

struct library {
	size_t n_woods, n_finishes, n_builds, n_rules;
	struct wood *woods;
	struct finish *finishes;
	struct build *builds;
	struct care_rule *rules;
	struct learn_prior learning[LEARN_QUANTITIES]; /* metres; LEARN_TUNER_TURN: turns */
};

/* dirs: n folders, the shipped one first. A folder or file that is not there is a fault for the first
 * folder only. Every fault is reported; on faults *out is NULL. library_free releases it. */
MUST_USE enum rc library_load(
	const char *const *dirs, size_t n, struct library **out, struct faults *f);
void library_free(struct library *l);

/* NULL when there is none of that name. Borrowed. */
const struct wood *library_wood(const struct library *l, const char *name);
const struct finish *library_finish(const struct library *l, const char *name);
const struct build *library_build(const struct library *l, const char *name);
const struct care_rule *library_rule(const struct library *l, const char *name);

/* The name of a member or of hardware in a build file; of a member that the model makes, words. */
const char *library_role(enum member_role role);
const char *library_kind(enum fastening_kind kind);

/* A copy of the build with an owner's changes laid over it: libconfig text such as
 * `top = { species = "engelmann_spruce"; thickness = "2.9mm"; }; band = [42, 55];`, with the settings of a
 * build file except name and title. NULL or "": none. what names the instrument in faults. */
MUST_USE enum rc library_override(const struct library *l, const struct build *base,
	const char *text, const char *what, struct build *out, struct faults *f);

#endif
