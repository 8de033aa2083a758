/* Hardware clamped on wood: how tight it still is.
 *
 * Method: a one-sided play operator. Let s = C * MC be the free swelling strain of the wood in the
 * grip. The nut touches at s = touch; contact strain e = s - touch. Swelling beyond the elastic
 * limit of transverse compression is crushed away (touch follows), squeezed wood relaxes slowly
 * (touch creeps towards s), shrinking below touch opens a gap.
 * Units: strains as fractions, metres, seconds, turns.
 * Sources: elastic limit 0.5-1 % of transverse compression and compression shrinkage: Hoadley in The
 * Structural Conservation of Panel Paintings (Getty 1998). Snug strain and relaxation: judgement,
 * no source. */
#ifndef CORE_CLAMP_H
#define CORE_CLAMP_H

struct clamp_wood {
	double c_per_pct; /* swelling coefficient in the direction of the grip */
	double grip_m; /* thickness of wood between the jaws */
	double snug_strain; /* contact strain right after a person snugs it */
	double yield_strain; /* contact strain at which wood crushes */
	double relax_s; /* time constant of relaxation */
	double pitch_m; /* thread pitch */
};

struct clamp {
	double touch; /* swelling strain at which contact is lost */
};

struct clamp_state {
	double hold; /* contact strain over snug strain, at most 1; negative: a gap, in the same measure */
	double preload; /* hold clipped to 0..1 */
	double gap_m; /* >= 0 */
	double turns; /* that take the gap up: gap / pitch */
	double snug_turns; /* that make it snug again: gap and lost squeeze over pitch, >= 0 */
};

/* A person snugs the hardware at this moisture. */
void clamp_snug(const struct clamp_wood *w, struct clamp *c, double mc_pct);

/* Time passes: the wood now holds mc_pct after dt_s. */
void clamp_step(const struct clamp_wood *w, struct clamp *c, double mc_pct, double dt_s);

struct clamp_state clamp_state(const struct clamp_wood *w, const struct clamp *c, double mc_pct);

#endif
