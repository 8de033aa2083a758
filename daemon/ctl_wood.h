/* How seasonctl words wood: cuts, finishes, values of species and what they rest on. */
#ifndef DAEMON_CTL_WOOD_H
#define DAEMON_CTL_WOOD_H

#include <stddef.h>

#include "daemon/library.h"

/* `quarter`, `rift`, `flat` or `20 deg`: growth rings to the width. */
void ctl_wood_cut(char *buf, size_t n, double ring_deg);

/* The finishes of the library that have this resistance, `shellac/urethane`; "finish" when none has. */
void ctl_wood_finish(char *buf, size_t n, const struct library *l, double resistance_s_m);

/* Text in lines of at most CTL_COLUMNS, broken at blanks; the first by indent, the others two deeper. */
enum { CTL_COLUMNS = 110 };
void ctl_wood_wrapped(const char *text, int indent);

/* Values and sources of n species, each name once; one without a name, or not in the library, is left out. */
void ctl_wood_sources(const struct library *l, const struct species *const *used, size_t n);

#endif
