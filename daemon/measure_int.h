/* Inside of measuring, for measure*.c only. */
#ifndef DAEMON_MEASURE_INT_H
#define DAEMON_MEASURE_INT_H

#include "daemon/measure.h"

/* Where the reasons go. */
struct words {
	char *buf;
	size_t size;
};

/* What the wood of a followed instrument says to a rule of that kind; kinds that are not of wood say nothing. */
void measure_wood(const struct measure_context *c, enum care_kind kind, const struct followed *f,
	struct care_measure *m, struct words w);

#endif
