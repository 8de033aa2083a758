#include "strip.h"

#include <math.h>

/* Depth of the axis that stays unstressed in pure bending, from the first layer's outer face. */
static double neutral_depth_m(const struct strip_layer *layers, size_t n)
{
	double stiffness = 0, moment = 0, top_m = 0;
	for (size_t i = 0; i < n; i++) {
		const struct strip_layer *l = &layers[i];
		double ea = l->modulus_pa * l->width_m * l->thickness_m;
		stiffness += ea;
		moment += ea * (top_m + l->thickness_m / 2);
		top_m += l->thickness_m;
	}
	return moment / stiffness;
}

double strip_curvature_per_m(const struct strip_layer *layers, size_t n)
{
	if (n == 0)
		return NAN;
	double axis_m = neutral_depth_m(layers, n);
	double moment = 0, bending = 0, top_m = 0;
	for (size_t i = 0; i < n; i++) {
		const struct strip_layer *l = &layers[i];
		double ea = l->modulus_pa * l->width_m * l->thickness_m;
		double above_m = axis_m - (top_m + l->thickness_m / 2);
		moment += ea * l->free_strain * above_m;
		bending += ea * (l->thickness_m * l->thickness_m / 12 + above_m * above_m);
		top_m += l->thickness_m;
	}
	return moment / bending;
}

double strip_sagitta_m(double curvature_per_m, double span_m)
{
	return curvature_per_m * span_m * span_m / 8;
}
