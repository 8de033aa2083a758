#include "restraint.h"

#include <math.h>

void restraint_begin(struct restraint *r, double free_strain)
{
	r->rest = free_strain;
}

void restraint_step(struct restraint *r, double free_strain, double dt_s)
{
	if (free_strain - r->rest > RESTRAINT_CRUSH)
		r->rest = free_strain - RESTRAINT_CRUSH;
	r->rest -= (free_strain - r->rest) * expm1(-dt_s / RESTRAINT_RELAX_S);
}

double restraint_strain(const struct restraint *r, double free_strain)
{
	return r->rest - free_strain;
}
