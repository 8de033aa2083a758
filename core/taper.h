/* A tapered peg or pin in its tapered hole: how its fit follows moisture.
 *
 * Method: plain geometry. A hole in swelling wood grows as the wood would where the hole is; both directions of its
 * plane swell differently, so it and a wooden peg go out of round. What the peg gains on the hole it rises out of it,
 * by the taper. Fit counts from when peg and hole last fitted.
 * Units: metres, strains as fractions of the diameter.
 * Source: geometry; that pegs stick in damp and slip in dry is common practice, no source. */
#ifndef CORE_TAPER_H
#define CORE_TAPER_H

/* Strains of a round section along its two axes. */
struct taper_strain {
	double one, other;
};

struct taper_fit {
	double fit_m; /* diameter the peg has gained on the hole: positive sticks and stands higher, negative slips */
	double oval_m; /* how far peg and hole are out of round together, at the worst turn; >= 0 */
	double seat_m; /* fit / taper: how much further out it sits, positive, or sinks in */
};

/* diameter_m > 0, taper > 0 (diameter over length). */
struct taper_fit taper_fit(double diameter_m, double taper, const struct taper_strain *peg,
	const struct taper_strain *hole);

#endif
