/* Tables of how things went: the days of a place, the months of an instrument. For ctl_show.c. */
#ifndef DAEMON_CTL_COURSE_H
#define DAEMON_CTL_COURSE_H

#include "daemon/ctl.h"

/* Least, mean and most humidity and mean temperature of each of the last two weeks' days, for every sensor of the
 * place. */
MUST_USE enum rc ctl_course_days(struct ctl *c, const struct place *p);

/* Moisture, hold and movement at the end of each of the last twelve months. */
MUST_USE enum rc ctl_course_months(struct ctl *c, const struct followed *f);

#endif
