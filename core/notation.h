/* What people at the bench jot down, as `relief .010 tuner 1/6` or `action 6/64 bass, 4/64 treble`: words of
 * finding.h with their values, and the trade's other names for them. Common practice, no source.
 *
 * In any case; commas, semicolons, `=` and colons part things as blanks do. Sides stand before or behind their
 * value (`bass 6/64 treble 5/64`, alone it is the action). `dressed` makes fret ends 0; `up`, `lowered`, `tighter` and
 * their like give a change its sign. Fractions, signs and inch marks may be those that phones put in their place. */
#ifndef CORE_NOTATION_H
#define CORE_NOTATION_H

#include "err.h"
#include "finding.h"
#include "units.h"

enum { NOTATION_MAX = 12, NOTATION_LINE = 400 };

struct notation {
	enum finding_kind kind;
	double value; /* metres or turns; NAN for events */
};

/* True when the line begins like one: its first word is one of the words. */
bool notation_is(const char *line);

/* A bare decimal of three places with a leading point or 0. (.010) is inches, as feeler gauges are marked; any other bare
 * decimal is of `units`. What is said twice alike counts once. RC_INPUT: what could not be read and what would do, a
 * value that cannot be true (finding_words), two that contradict each other, more than NOTATION_MAX, a line of more
 * than NOTATION_LINE octets; nothing of the line counts then, found and *n stay. */
MUST_USE enum rc notation_read(const char *line, enum bench_units units,
	struct notation found[NOTATION_MAX], size_t *n, struct err *err);

#endif
