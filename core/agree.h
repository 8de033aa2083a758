/* Sensors of one place: one air out of what they say, and how far one stands off the others.
 *
 * What the sensors of one place share is the water in its air, not its warmth: a warm corner shows a lower RH and is no
 * fault. So both means and differences are taken in vapour pressure (core/air.h), never in RH. Sensors weigh 1/sd^2;
 * sums run in the order in which they are added. Units: RH and sd percent, degC, Pa; NAN: not said. */
#ifndef CORE_AGREE_H
#define CORE_AGREE_H

#include <stddef.h>
#include <stdint.h>

/* What one sensor says of one hour; rh_pct NAN: nothing. */
struct agree_said {
	double rh_pct, t_degc, sd_pct;
};

struct agree_sum {
	int n, n_t;
	double warm, pressure,
		temperature; /* weight, and weighted sums, of those with a temperature */
	double bare, rh; /* of those without */
	double only_rh_pct,
		only_t_degc; /* the last: what a single sensor says goes through untouched */
};

void agree_add(struct agree_sum *sum, const struct agree_said *said);

/* The weighted mean temperature of those that have one; NAN: none has. */
double agree_t_degc(const struct agree_sum *sum);

/* The air at t_degc, their mean or a borrowed one: vapour pressure is the weighted mean of theirs; a sensor without
 * temperature is taken to be at t_degc. A single sensor's RH is kept. NAN when nothing was said. */
double agree_rh_pct(const struct agree_sum *sum, double t_degc);

#define AGREE_T_SD_K 0.3 /* of a sensor's temperature: data sheets, from memory */
#define AGREE_ASSUMED_DEGC 20.0 /* when none of them has a temperature: then it is all one */

struct agree_off {
	int64_t hours; /* that it shares with another */
	double rh_pct; /* mean vapour pressure over the others', in RH at its own temperature */
	double pa;
	double sd_pct; /* expected of that difference: both accuracies, and both temperatures */
	double t_degc, others_t_degc, others_pa; /* means over those hours */
};

/* Sensor `which` of n against the weighted mean of the others; said[k * hours + h] is what sensor k says of hour h. Means
 * are NAN without a shared hour. sd_pct does not shrink with the hours: what sensors are off by lasts. */
struct agree_off agree_off(const struct agree_said *said, size_t n, size_t hours, size_t which);

#endif
