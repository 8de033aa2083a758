/* Numbers in cells of an export: decimal point or comma, a unit behind them, marks for nothing. */
#ifndef DAEMON_CELLNUM_H
#define DAEMON_CELLNUM_H

#include <stddef.h>
#include <stdint.h>

#define CELLNUM_ONE INT64_C(1000000) /* values are in millionths; further digits are cut off */

enum cellnum_kind { CELLNUM_OK, CELLNUM_MISSING, CELLNUM_BAD };
enum cellnum_unit { CELLNUM_PLAIN, CELLNUM_PERCENT, CELLNUM_CELSIUS, CELLNUM_FAHRENHEIT };

struct cellnum {
	enum cellnum_kind kind; /* missing: empty, `--`, `NaN`, `null`, `Err` and the like */
	enum cellnum_unit unit; /* what stands behind the number */
	char decimal; /* '.', ',' or 0: the sign that was in it */
	int64_t micro;
};

/* decimal: '.' or ',' is the one decimal sign; 0: either. Up to 9 digits before it; an exponent is
 * allowed with a point. */
struct cellnum cellnum_read(const char *p, size_t n, char decimal);

/* micro / divisor to the nearest, halves away from zero. divisor > 0. */
int64_t cellnum_round(int64_t micro, int64_t divisor);

#endif
