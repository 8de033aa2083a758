/* A strip of bonded layers that swell unequally bends.
 * Units: metres, pascal, strains as fractions, curvature 1/m. Positive curvature: the first layer
 * grows longer than the last (its face becomes convex).
 * Source: balance of force and moment over the layers; with two layers of one width it is
 * Timoshenko (1925) J. Opt. Soc. Am. 11:233 eq. 4. */
#ifndef CORE_STRIP_H
#define CORE_STRIP_H

#include <stddef.h>

struct strip_layer {
	double thickness_m;
	double width_m;
	double modulus_pa;
	double free_strain; /* what the layer would do alone */
};

/* Curvature of n layers stacked from the first down, including each layer's own stiffness. */
double strip_curvature_per_m(const struct strip_layer *layers, size_t n);

/* Rise of an arc of that curvature over a chord: kappa L^2 / 8 (small deflections). */
double strip_sagitta_m(double curvature_per_m, double span_m);

#endif
