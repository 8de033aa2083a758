/* What the heading of a column says: its quantity, unit, and what tells it apart from its like. */
#ifndef DAEMON_HEADING_H
#define DAEMON_HEADING_H

#include <stdbool.h>
#include <stddef.h>

enum { HEADING_TEXT = 96, HEADING_TAG = 48 };

enum heading_role {
	HEADING_OTHER,
	HEADING_TIME, /* date, time or both */
	HEADING_RH,
	HEADING_TEMP,
	HEADING_NAME /* names a sensor or a room */
};

enum heading_unit { UNIT_NONE, UNIT_PERCENT, UNIT_FRACTION, UNIT_CELSIUS, UNIT_FAHRENHEIT };

struct heading {
	char text[HEADING_TEXT]; /* as written */
	char tag[HEADING_TAG]; /* the words left without quantity and unit: `Kitchen`, `1` */
	enum heading_role role;
	enum heading_unit unit;
	bool named; /* the role stands there in words, not only as a unit */
	bool extreme; /* a minimum or maximum */
	bool units_only; /* nothing but units: a second header row */
};

/* text is UTF-8. Case, punctuation and accents do not matter. Dew point, absolute humidity, set
 * points and the like are HEADING_OTHER. */
void heading_read(const char *text, struct heading *out);

/* Same words, whatever the case and the signs between them. */
bool heading_same(const char *a, const char *b);

#endif
