/* Is a reading to be believed? Flags of a stored reading are a function of the readings of its
 * sensor round it in time, never of the order in which they came, so that any import order gives
 * the same flags. Readings that are out of range or from the future say nothing about others.
 * Units: centi-percent RH, centi-degC, seconds UTC.
 * Sources of the limits: general metrology and data sheets, from memory; see each constant. */
#ifndef CORE_QUALITY_H
#define CORE_QUALITY_H

#include <stddef.h>
#include <stdint.h>

#define QUALITY_NO_TEMP INT32_MIN /* the reading carries no temperature */

enum quality_flag {
	QUALITY_RANGE = 1, /* outside what the element can measure, or a bus-fault sentinel */
	QUALITY_FUTURE = 2, /* later than the clock when it came in; set at intake, kept */
	QUALITY_JUMP = 4, /* far off its neighbours on both sides: a spike */
	QUALITY_STUCK = 8 /* the same values for too long */
};

struct quality_reading {
	int64_t t_s;
	int32_t rh_cpct;
	int32_t temp_cdegc; /* or QUALITY_NO_TEMP */
	uint32_t flags; /* enum quality_flag */
};

/* Flags by which a reading does not count as a neighbour of others. */
#define QUALITY_ALONE (QUALITY_RANGE | QUALITY_FUTURE)

/* Nothing farther away than this bears on a reading's flags: a run of equal readings is looked at
 * this far to both sides of the reading judged, however long it is. Longer than the longest stuck
 * time, so that readings up to 2 h apart reach it. */
#define QUALITY_CONTEXT_S (INT64_C(50) * 3600)

/* What bears on JUMP: the QUALITY_BESIDE nearest neighbours of each side inside QUALITY_NEAR_S.
 * STUCK of a reading comes from the run of equal RH that it stands in, and nothing else. */
#define QUALITY_NEAR_S (INT64_C(2) * 3600)
enum { QUALITY_BESIDE = 2 };

/* Sets RANGE, JUMP and STUCK of r[0..n), which must be in time order, no time twice; FUTURE is left
 * as it is and every other bit cleared. Flags of readings nearer than QUALITY_CONTEXT_S to either end
 * are only right when no more readings that bear on them lie beyond that end. */
void quality_judge(struct quality_reading *r, size_t n);

/* Words for the flags, `out of range, stuck`; empty for 0. */
void quality_words(char *buf, size_t n, uint32_t flags);

#endif
