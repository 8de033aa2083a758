/* Inside of measuring, for measure*.c only. */
#ifndef DAEMON_MEASURE_INT_H
#define DAEMON_MEASURE_INT_H

#include "daemon/measure.h"

/* Where the reasons go, as a phrase (phrase.h). */
struct words {
	char *buf;
	size_t size;
};

/* What the wood of a followed instrument says to a rule of that kind; kinds that are not of wood say nothing. */
void measure_wood(
	enum care_kind kind, const struct followed *f, struct care_measure *m, struct words w);

/* What is known of a sensor. */
MUST_USE enum rc measure_sensor(const struct measure_context *c, const struct care_rule *rule,
	const struct subject *s, struct care_measure *m, struct words w, struct err *err);

/* The last finding of that kind up to now, TIME_NEVER when there is none. */
MUST_USE enum rc measure_last_finding(const struct measure_context *c, const struct subject *s,
	enum finding_kind kind, int64_t *t_s, struct err *err);

#endif
