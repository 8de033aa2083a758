#include "taper.h"

#include <math.h>

struct taper_fit taper_fit(double diameter_m, double taper, const struct taper_strain *peg,
	const struct taper_strain *hole)
{
	double gained = (peg->one + peg->other - hole->one - hole->other) / 2;
	double oval = fabs(peg->one - peg->other) + fabs(hole->one - hole->other);
	return (struct taper_fit){
		.fit_m = diameter_m * gained,
		.oval_m = diameter_m * oval,
		.seat_m = diameter_m * gained / taper,
	};
}
