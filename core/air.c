#include "air.h"

#include <math.h>

#define KELVIN_AT_0_DEGC 273.15         /* K; exact, SI definition */
#define VAPOUR_GAS_CONSTANT 461.52      /* J/(kg K) */
#define MASS_RATIO 0.621945             /* water to dry air; ASHRAE 2017 ch. 1 eq. 20 */
#define LEAST_RH 0.001                  /* below it the dew point runs away */
#define NEWTON_ROUNDS 60                /* bisection alone would be done by then */

/* ln p over liquid water and its slope per kelvin, eq. 6, without a range check. */
static double ln_water(double t_k, double *slope)
{
	static const double c8 = -5.8002206e3, c9 = 1.3914993, c10 = -4.8640239e-2,
			    c11 = 4.1764768e-5, c12 = -1.4452093e-8, c13 = 6.5459673;
	*slope = -c8 / (t_k * t_k) + c10 + t_k * (2 * c11 + t_k * 3 * c12) + c13 / t_k;
	return c8 / t_k + c9 + t_k * (c10 + t_k * (c11 + t_k * c12)) + c13 * log(t_k);
}

double air_saturation_water_pa(double t_degc)
{
	if (!(t_degc >= -60 && t_degc <= 200))
		return NAN;
	double slope;
	return exp(ln_water(t_degc + KELVIN_AT_0_DEGC, &slope));
}

double air_saturation_ice_pa(double t_degc)
{
	static const double c1 = -5.6745359e3, c2 = 6.3925247, c3 = -9.677843e-3, c4 = 6.2215701e-7,
			    c5 = 2.0747825e-9, c6 = -9.484024e-13, c7 = 4.1635019;
	if (!(t_degc >= -100 && t_degc <= 0.01))
		return NAN;
	double t_k = t_degc + KELVIN_AT_0_DEGC;
	return exp(c1 / t_k + c2 + t_k * (c3 + t_k * (c4 + t_k * (c5 + t_k * c6))) + c7 * log(t_k));
}

double air_vapour_pa(double t_degc, double rh)
{
	if (!(rh >= 0 && rh <= 1))
		return NAN;
	return rh * air_saturation_water_pa(t_degc);
}

double air_dew_point_degc(double t_degc, double rh)
{
	if (!(t_degc >= -60 && t_degc <= 100 && rh >= 0 && rh <= 1))
		return NAN;
	double slope;
	double high = t_degc + KELVIN_AT_0_DEGC;
	double low = high - 120; /* lower than any dew point at LEAST_RH */
	double goal = ln_water(high, &slope) + log(rh < LEAST_RH ? LEAST_RH : rh);
	double t_k = high;
	for (int i = 0; i < NEWTON_ROUNDS; i++) {
		double miss = ln_water(t_k, &slope) - goal;
		if (miss > 0)
			high = t_k;
		else
			low = t_k;
		double next = t_k - miss / slope;
		if (!(next > low && next < high))
			next = 0.5 * (low + high);
		if (fabs(next - t_k) < 1e-10)
			break;
		t_k = next;
	}
	return t_k - KELVIN_AT_0_DEGC;
}

double air_humidity_ratio(double t_degc, double rh, double p_pa)
{
	double e_pa = air_vapour_pa(t_degc, rh);
	if (!(e_pa < p_pa))
		return NAN;
	return MASS_RATIO * e_pa / (p_pa - e_pa);
}

double air_absolute_humidity_g_m3(double t_degc, double rh)
{
	return 1000 * air_vapour_pa(t_degc, rh) /
	       (VAPOUR_GAS_CONSTANT * (t_degc + KELVIN_AT_0_DEGC));
}
