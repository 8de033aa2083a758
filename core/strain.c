#include "strain.h"

#include <math.h>

#define RADIAN_PER_DEG 0.017453292519943295 /* pi / 180 */

double strain_linear(double c_per_pct, double mc_from_pct, double mc_to_pct)
{
	return c_per_pct * (mc_to_pct - mc_from_pct);
}

double strain_general(double s_pct, double start_pct, double mc_from_pct, double mc_to_pct)
{
	double from = mc_from_pct > start_pct ? start_pct : mc_from_pct;
	double to = mc_to_pct > start_pct ? start_pct : mc_to_pct;
	return (to - from) / (100 * start_pct / s_pct - start_pct + from);
}

double strain_coefficient(double s_pct, double start_pct)
{
	return 1 / (100 * start_pct / s_pct - (start_pct - 10));
}

double strain_at_angle(double c_r_per_pct, double c_t_per_pct, double ring_deg)
{
	double across = sin(ring_deg * RADIAN_PER_DEG);
	double share = across * across;
	return c_r_per_pct * (1 - share) + c_t_per_pct * share;
}
