#include "clamp.h"

#include <math.h>

void clamp_snug(const struct clamp_wood *w, struct clamp *c, double mc_pct)
{
	c->touch = w->c_per_pct * mc_pct - w->snug_strain;
}

void clamp_step(const struct clamp_wood *w, struct clamp *c, double mc_pct, double dt_s)
{
	double contact = w->c_per_pct * mc_pct - c->touch;
	if (contact > w->yield_strain) {
		c->touch += contact - w->yield_strain;
		contact = w->yield_strain;
	}
	if (contact > 0)
		c->touch -= contact * expm1(-dt_s / w->relax_s);
}

struct clamp_state clamp_state(const struct clamp_wood *w, const struct clamp *c, double mc_pct)
{
	double contact = w->c_per_pct * mc_pct - c->touch;
	double gap_m = contact < 0 ? -contact * w->grip_m : 0;
	double hold = contact / w->snug_strain;
	if (hold > 1)
		hold = 1;
	return (struct clamp_state){
		.hold = hold,
		.preload = hold > 0 ? hold : 0,
		.gap_m = gap_m,
		.turns = gap_m / w->pitch_m,
		.snug_turns = (1 - hold) * w->snug_strain * w->grip_m / w->pitch_m,
	};
}
