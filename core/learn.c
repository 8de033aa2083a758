/* Method: sums are kept as by Welford (1962): a new finding deviates by d from the mean of the n before it and
 * adds n/(n+1) d^2 to the centred sum, so a segment's share stays in the totals after its line is reset. The
 * posterior is written with k = v/gain_sd^2, which nothing divides but the sums themselves. */
#include "learn.h"

#include <math.h>

void learn_new_segment(struct learn_line *line)
{
	*line = (struct learn_line){ 0 };
}

bool learn_add(struct learn_gain *g, struct learn_line *line, double x, double y)
{
	double n = line ? (double)line->n : 0;
	double dx = line ? x - line->mean_x : x;
	double dy = line ? y - line->mean_y : y;
	double share = line ? n / (n + 1) : 1;
	double sxx = g->sxx + share * dx * dx;
	double sxy = g->sxy + share * dx * dy;
	if (!isfinite(x) || !isfinite(y) || !isfinite(sxx) || !isfinite(sxy))
		return false;
	g->sxx = sxx;
	g->sxy = sxy;
	g->findings += !line || line->n > 0;
	if (line) {
		line->mean_x += dx / (n + 1);
		line->mean_y += dy / (n + 1);
		line->n++;
	}
	return true;
}

/* Variance of one finding about its line. */
static double finding_variance(const struct learn_prior *p)
{
	return p->reading_sd * p->reading_sd + p->scatter_sd * p->scatter_sd;
}

double learn_gain_mean(const struct learn_prior *p, const struct learn_gain *g)
{
	double k = finding_variance(p) / (p->gain_sd * p->gain_sd);
	return (k + g->sxy) / (k + g->sxx);
}

double learn_gain_sd(const struct learn_prior *p, const struct learn_gain *g)
{
	double v = finding_variance(p);
	return sqrt(v / (v / (p->gain_sd * p->gain_sd) + g->sxx));
}

struct learn_estimate learn_predict(const struct learn_prior *p, const struct learn_gain *g,
	const struct learn_line *line, double x)
{
	struct learn_estimate e = {
		.value = (double)NAN, .sd = (double)NAN, .findings = g->findings
	};
	if (!isfinite(x) || (line && line->n == 0))
		return e;
	double dx = line ? x - line->mean_x : x;
	double gain_part = learn_gain_sd(p, g) * dx;
	double level_variance = line ? finding_variance(p) / (double)line->n : 0;
	e.value = learn_gain_mean(p, g) * dx + (line ? line->mean_y : 0);
	e.sd = sqrt(gain_part * gain_part + level_variance + p->scatter_sd * p->scatter_sd);
	return e;
}

struct learn_estimate learn_change(
	const struct learn_prior *p, const struct learn_gain *g, double x_from, double x_to)
{
	double dx = x_to - x_from;
	double gain_part = learn_gain_sd(p, g) * dx;
	return (struct learn_estimate){
		.value = learn_gain_mean(p, g) * dx,
		.sd = sqrt(gain_part * gain_part + 2 * p->scatter_sd * p->scatter_sd),
		.findings = g->findings,
	};
}

double learn_surprise(const struct learn_prior *p, const struct learn_gain *g,
	const struct learn_line *line, double x, double y)
{
	if (!isfinite(x) || !isfinite(y))
		return (double)NAN;
	if (line && line->n == 0)
		return 0;
	struct learn_estimate e = learn_predict(p, g, line, x);
	return (y - e.value) / hypot(e.sd, p->reading_sd);
}
