/* print_air: core/air.c over a grid, one point a line: t_degc rh p_pa, then saturation over water
 * and over ice, vapour pressure, dew point, humidity ratio, absolute humidity. nan: outside a
 * function's range. */
#include <stdio.h>

#include "core/air.h"

int main(void)
{
	static const double rh[] = { 0.01, 0.05, 0.1, 0.2, 0.3, 0.4, 0.45, 0.5, 0.6, 0.7, 0.8, 0.9,
		0.99, 1 };
	static const double p_pa[] = { 101325, 95000, 80000 };
	(void)puts("t_degc rh p_pa water_pa ice_pa vapour_pa dew_degc ratio absolute_g_m3");
	for (int half = -120; half <= 120; half++)
		for (size_t i = 0; i < sizeof rh / sizeof rh[0]; i++)
			for (size_t j = 0; j < sizeof p_pa / sizeof p_pa[0]; j++) {
				double t = 0.5 * half + 0.02; /* past the triple point, not on it */
				(void)printf(
					"%.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g\n",
					t, rh[i], p_pa[j], air_saturation_water_pa(t),
					air_saturation_ice_pa(t), air_vapour_pa(t, rh[i]),
					air_dew_point_degc(t, rh[i]),
					air_humidity_ratio(t, rh[i], p_pa[j]),
					air_absolute_humidity_g_m3(t, rh[i]));
			}
	return 0;
}
