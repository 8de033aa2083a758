/* What an instrument's findings teach about the model: a Bayesian linear regression of what was observed on
 * what the model said.
 *
 * Within one segment (between rod turns, saddle work, snugs) finding i is y_i = a + g x_i + s_i + e_i.
 * x_i: the model's value at that time. a: constant of the segment (strings, rod, geometry), nothing is known
 * of it beforehand. g: gain of the instrument on the model, one for all its segments and lines, prior
 * N(1, gain_sd^2), also below zero. e_i ~ N(0, reading_sd^2): error of the tool. s_i ~ N(0, scatter_sd^2):
 * what the model misses whatever the gain. Where the origin is known (stand-out since dressing, turn since
 * snugging) there is no a: such a quantity has no line, and NULL is handed in its place.
 *
 * With a integrated out, and sums over deviations from each segment's means, g given the findings is normal
 * with precision 1/gain_sd^2 + Sxx/v and mean (1/gain_sd^2 + Sxy/v)/precision, v = reading_sd^2 + scatter_sd^2;
 * the level at the segment's mean x is then normal about its mean y with variance v/n, independent of g.
 * Source: Bishop (2006), Pattern Recognition and Machine Learning, eqs 3.50, 3.51, 3.58, 3.59, from memory.
 *
 * Gain and line are plain bytes without pointers or padding; what they hold does not depend on the prior. x, y
 * and standard deviations of one quantity share one unit (metres or turns). Two lines that share a gain
 * (bass and treble) are taken as independent. */
#ifndef CORE_LEARN_H
#define CORE_LEARN_H

#include <stdbool.h>
#include <stdint.h>

enum learn_quantity {
	LEARN_RELIEF,
	LEARN_ACTION,
	LEARN_FRET_ENDS,
	LEARN_TUNER_TURN,
	LEARN_QUANTITIES
};

struct learn_prior {
	double gain_sd; /* > 0 */
	double reading_sd; /* > 0 */
	double scatter_sd; /* >= 0 */
};

/* Zeroed: it has met no finding. */
struct learn_gain {
	double sxx, sxy; /* of deviations from the means of their segments, or from the origin */
	int64_t findings; /* that met the model: without those that only set a segment's level */
};

struct learn_line {
	double mean_x, mean_y;
	int64_t n;
};

/* value: a length or turn, or a change of it; sd: of its true value, without the reading error. findings:
 * how many the gain has met; 0: the prior speaks. */
struct learn_estimate {
	double value, sd;
	int64_t findings;
};

#define LEARN_OUTLIER 3.0 /* |surprise| beyond: no finding of this segment; judgement, no source */

void learn_new_segment(struct learn_line *line);

/* Takes a finding y where the model said x. false, and nothing is changed, when one is not finite or
 * the sums would not be. */
bool learn_add(struct learn_gain *g, struct learn_line *line, double x, double y);

double learn_gain_mean(const struct learn_prior *p, const struct learn_gain *g);
double learn_gain_sd(const struct learn_prior *p, const struct learn_gain *g);

/* The value where the model says x. Without a finding in the segment the level is unknown: NAN. */
struct learn_estimate learn_predict(const struct learn_prior *p, const struct learn_gain *g,
	const struct learn_line *line, double x);

/* The change between two times of one segment. */
struct learn_estimate learn_change(
	const struct learn_prior *p, const struct learn_gain *g, double x_from, double x_to);

/* How far a finding that is not added yet lies above the prediction, in standard deviations of
 * prediction and reading together. 0 while the level is unknown; NAN when x or y is not finite. */
double learn_surprise(const struct learn_prior *p, const struct learn_gain *g,
	const struct learn_line *line, double x, double y);

#endif
