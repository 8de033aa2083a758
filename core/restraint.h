/* Wood that is held while it would swell or shrink: the strain that stays in it.
 *
 * Method: the free strain s = C * MC is what the wood would do alone; it is without stress at s = rest, so that
 * rest - s is the strain the holding forces on it, tension positive. Squeezed beyond its elastic limit the wood is
 * crushed (rest follows: compression shrinkage, the crack of the next winter), and stress relaxes slowly (rest
 * creeps towards s).
 * Units: strains as fractions, seconds.
 * Sources: yield strain in tension about 0.004, failure from 0.009: Richard, Mecklenburg and Tumosa in The
 * Structural Conservation of Panel Paintings (Getty 1998), as quoted there for woods, paints and glues; elastic limit
 * of transverse compression 0.005 to 0.010: Hoadley in the same volume. Relaxation time: judgement, no source. */
#ifndef CORE_RESTRAINT_H
#define CORE_RESTRAINT_H

#define RESTRAINT_YIELD 0.004 /* tension across the grain from which wood gives */
#define RESTRAINT_CRUSH                                                                            \
	0.0075 /* compression from which it stays squeezed; middle of Hoadley's range */
#define RESTRAINT_RELAX_S (1.5 * 365 * 86400.0) /* as under hardware; judgement, no source */

struct restraint {
	double rest; /* free strain at which the piece is without stress */
};

/* Stress-free at this free strain. */
void restraint_begin(struct restraint *r, double free_strain);

/* Time passes: the piece would now have free_strain, after dt_s. */
void restraint_step(struct restraint *r, double free_strain, double dt_s);

/* The strain that is forced on it, tension positive. */
double restraint_strain(const struct restraint *r, double free_strain);

#endif
