#include "sorption.h"

#include <math.h>

#define NEWTON_ROUNDS 60 /* bisection alone would be done by then */

/* The coefficients of eq. 4-5 at one temperature. */
struct isotherm {
	double scale; /* 1800 / W, percent */
	double k, k1, k1k2;
};

/* NAN stays NAN. */
static double clamped(double x, double low, double high)
{
	return x < low ? low : x > high ? high : x;
}

static struct isotherm isotherm_at(double t_degc)
{
	double t = clamped(t_degc, -20, 60);
	double w = 349 + t * (1.29 + t * 0.0135);
	double k1 = 6.27 + t * (-0.00938 + t * -0.000303);
	double k2 = 1.91 + t * (0.0407 + t * -0.000293);
	return (struct isotherm){
		.scale = 1800 / w,
		.k = 0.805 + t * (0.000736 + t * -0.00000273),
		.k1 = k1,
		.k1k2 = k1 * k2,
	};
}

/* Moisture content and its slope per unit of rh. */
static double moisture_at(const struct isotherm *s, double rh, double *slope)
{
	double x = s->k * rh;
	double free = 1 / (1 - x);
	double above = x * (s->k1 + 2 * s->k1k2 * x);
	double below = 1 + x * (s->k1 + s->k1k2 * x);
	double d_above = s->k1 + 4 * s->k1k2 * x;
	double d_below = s->k1 + 2 * s->k1k2 * x;
	double d_bound = (d_above * below - above * d_below) / (below * below);
	*slope = s->scale * s->k * (free * free + d_bound);
	return s->scale * (x * free + above / below);
}

double sorption_mc_pct(double t_degc, double rh)
{
	struct isotherm s = isotherm_at(t_degc);
	double slope;
	return moisture_at(&s, clamped(rh, 0, 1), &slope);
}

double sorption_rh(double t_degc, double mc_pct)
{
	struct isotherm s = isotherm_at(t_degc);
	double slope;
	if (mc_pct <= 0)
		return 0;
	if (mc_pct >= moisture_at(&s, 1, &slope))
		return 1;
	double low = 0, high = 1, rh = 0.5;
	for (int i = 0; i < NEWTON_ROUNDS; i++) {
		double miss = moisture_at(&s, rh, &slope) - mc_pct;
		if (miss > 0)
			high = rh;
		else
			low = rh;
		double next = rh - miss / slope;
		if (next < low || next > high)
			next = 0.5 * (low + high);
		if (fabs(next - rh) < 1e-13)
			return next;
		rh = next;
	}
	return rh;
}
