/* A hygrometer checked over saturated salts: fixed points, the correction that follows, and what it is worth later.
 *
 * Units: RH percent, degC, seconds UTC; u and sd are standard deviations in % RH.
 * Fixed points: Greenspan, J. Res. NBS 81A (1977) 89-96, table 2, with its total uncertainty, which is taken for one
 * standard deviation (on the safe side); linear between its steps of 5 K. Table values from memory, confirmed against
 * published polynomials and a second table (tests/unit/test_salt.c).
 *
 * A correction is true = gain * shown + offset. Between two checks it goes over linearly in time from one to the
 * other: a drift is slow. After the last it is held and trusted less each year; before the first there is none. */
#ifndef CORE_SALT_H
#define CORE_SALT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum salt {
	SALT_LICL,
	SALT_MGCL2,
	SALT_K2CO3,
	SALT_MGNO3,
	SALT_NABR,
	SALT_NACL,
	SALT_KCL,
	SALT_K2SO4,
	SALTS
};

struct salt_word {
	const char *name; /* `nacl` */
	const char *title;
	double low_degc, high_degc; /* where its fixed point is known */
	const char *caution; /* of this salt */
};

/* One row per enum salt, in its order. */
const struct salt_word *salt_words(void);
enum salt salt_by_name(const char *name); /* SALTS when unknown */

struct salt_point {
	double rh_pct, u_pct;
};

/* NAN outside low_degc..high_degc. */
struct salt_point salt_point(enum salt salt, double t_degc);

/* One salt as read: the mean that the sensor showed, and what that is uncertain by beside the salt (rounding of the
 * display, unrest). */
struct salt_reading {
	enum salt salt;
	double shown_pct, u_pct;
};

struct salt_correction {
	double gain, offset_pct; /* true = gain * shown + offset */
	double u_pct; /* of the corrected value at SALT_WHERE_PCT, at the time of the check */
};

#define SALT_WHERE_PCT 50.0 /* where instruments live: judgement, no source */
#define SALT_T_SD_K 0.2 /* sensor and salt shut up together in a steady box: from memory */
#define SALT_T_SLOPE                                                                               \
	0.06 /* 1 K between sensor and salt is 6 % of the reading: saturation curve near 20 degC */
#define SALT_GAIN_SD 0.03 /* of a sensor never seen at a second point: judgement, no source */
#define SALT_APART_PCT                                                                             \
	20.0 /* two salts nearer than this say nothing of the gain: judgement, no source */
#define SALT_GAIN_LOW 0.8 /* beyond these the element is spoiled: common practice, no source */
#define SALT_GAIN_HIGH 1.25
#define SALT_CHANGE_MAX_PCT 15.0 /* likewise; judgement, no source */
#define SALT_HYSTERESIS_SD_PCT 0.7 /* capacitive polymers, 0.5..1 %: from memory */
#define SALT_DRIFT_PCT_PER_YEAR 0.5 /* 0.25..1 % a year: from memory */
#define SALT_YEAR_S 31556952.0 /* s; mean Gregorian year */

enum salt_verdict {
	SALT_GOOD,
	SALT_NO_POINT, /* the temperature lies outside the table of a salt */
	SALT_TOO_NEAR, /* the two fixed points, or the two readings, are not far enough apart */
	SALT_BAD_GAIN,
	SALT_BAD_CHANGE /* a reading is further off than a correction may put right */
};

/* The correction from one (offset) or two readings (gain and offset), all at t_degc. *out is written unless the verdict is
 * SALT_NO_POINT or SALT_TOO_NEAR.
 *
 * At one salt u^2 = u_salt^2 + (SALT_T_SLOPE RH SALT_T_SD_K)^2 + u_read^2 (ISO GUM, independent parts). One point is
 * carried to SALT_WHERE_PCT with SALT_GAIN_SD; two points weigh (1-w)^2 u1^2 + w^2 u2^2 with w its place between them. */
enum salt_verdict salt_correct(
	const struct salt_reading *r, size_t n, double t_degc, struct salt_correction *out);

/* The uncertainty of one salt's comparison, as above. */
double salt_reading_u_pct(const struct salt_reading *r, double t_degc);

/* corrected and within 0..100 */
double salt_apply(const struct salt_correction *c, double shown_pct);

struct salt_check {
	int64_t t_s; /* holds from here on */
	struct salt_correction c;
};

/* What holds at t_s of checks in order of time; without one at or before t_s gain 1, offset 0 and accuracy_pct as u. u_pct
 * of the result is that of a corrected reading then: the check's, hysteresis, and after the last check the drift. */
struct salt_correction salt_at(
	const struct salt_check *checks, size_t n, int64_t t_s, double accuracy_pct);

#endif
