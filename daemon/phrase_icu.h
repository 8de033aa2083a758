/* Numbers, units and days in a language, by ICU; for phrase.c only. What cannot be made says false. */
#ifndef DAEMON_PHRASE_ICU_H
#define DAEMON_PHRASE_ICU_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* What a number is of. */
enum phrase_unit {
	PHRASE_PLAIN,
	PHRASE_PERCENT,
	PHRASE_CELSIUS,
	PHRASE_PASCAL,
	PHRASE_MM,
	PHRASE_INCH,
	PHRASE_HOURS,
	PHRASE_DAYS,
	PHRASE_MINUTES,
	PHRASE_UNITS
};

enum { PHRASE_DECIMALS_MAX = 3 }; /* of a number; more are cut to these */

/* with_sign: + too. */
bool phrase_icu_number(const char *language, enum phrase_unit unit, int decimals, bool with_sign,
	double value, char *buf, size_t size);

/* wall_s: seconds of the clock there. */
bool phrase_icu_date(
	const char *language, bool with_minute, int64_t wall_s, char *buf, size_t size);

bool phrase_icu_language(const char *tag);

void phrase_icu_done(void);

#endif
