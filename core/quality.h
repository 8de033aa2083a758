/* Is a reading to be believed? Flags of a stored reading are a function of the readings of its
 * sensor round it in time, never of the order in which they came, so that any import order gives
 * the same flags.
 * Units: centi-percent RH, centi-degC, seconds UTC.
 * Sources of the limits: general metrology and data sheets, from memory; see each constant. */
#ifndef CORE_QUALITY_H
#define CORE_QUALITY_H

#include <stddef.h>
#include <stdint.h>

#define QUALITY_NO_TEMP INT32_MIN /* the reading carries no temperature */

enum quality_flag {
	QUALITY_RANGE = 1,  /* outside what the element can measure, or a bus-fault sentinel */
	QUALITY_FUTURE = 2, /* later than the clock when it came in; set at intake, kept */
	QUALITY_JUMP = 4,   /* far off its neighbours on both sides: a spike */
	QUALITY_STUCK = 8   /* the same values for too long */
};

struct quality_reading {
	int64_t t_s;
	int32_t rh_cpct;
	int32_t temp_cdegc; /* or QUALITY_NO_TEMP */
	uint32_t flags;     /* enum quality_flag */
};

/* Time round a reading that can change its flags: judge a stretch with this much on both sides.
 * A stuck run longer than this is judged by each reading's own surroundings. */
#define QUALITY_CONTEXT_S (INT64_C(26) * 3600)

/* Sets RANGE, JUMP and STUCK of r[0..n), which must be in time order; FUTURE is left as it is.
 * Flags of readings nearer than QUALITY_CONTEXT_S to either end are only right when no more
 * readings lie beyond that end. */
void quality_judge(struct quality_reading *r, size_t n);

/* Words for the flags, `out of range, stuck`; empty for 0. */
void quality_words(char *buf, size_t n, uint32_t flags);

#endif
