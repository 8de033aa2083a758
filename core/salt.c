#include "salt.h"

#include <math.h>
#include <string.h>

enum { STEPS = 9 }; /* 0, 5 .. 40 degC */
#define STEP_K 5.0

static const struct salt_word words[SALTS] = {
	[SALT_LICL] = { "licl", "lithium chloride", 0, 40,
		"harmful when swallowed and an irritant: gloves, and keep it from children and "
		"food" },
	[SALT_MGCL2] = { "mgcl2", "magnesium chloride", 0, 40,
		"draws water from the room and may overflow its dish: fill it half" },
	[SALT_K2CO3] = { "k2co3", "potassium carbonate", 0, 30,
		"alkaline, burns eyes and skin and finishes: eye protection and gloves" },
	[SALT_MGNO3] = { "mgno3", "magnesium nitrate", 0, 40,
		"oxidising: keep it from solvents, rags and anything that burns, and from food" },
	[SALT_NABR] = { "nabr", "sodium bromide", 5, 40,
		"harmful when swallowed: keep it from children and food" },
	[SALT_NACL] = { "nacl", "sodium chloride (table salt)", 0, 40,
		"harmless on the table, but it rusts strings, tuners and tools" },
	[SALT_KCL] = { "kcl", "potassium chloride", 0, 40,
		"not for eating by the spoon: keep it from children and food" },
	[SALT_K2SO4] = { "k2so4", "potassium sulphate", 0, 40,
		"near saturation a tenth of a degree wets the sensor: a steady room, hours of "
		"waiting" },
};

struct row {
	double rh_pct[STEPS], u_pct[STEPS];
};
#define NONE ((double)NAN)
/* Greenspan 1977, table 2, 0 to 40 degC. */
static const struct row table[SALTS] = {
	[SALT_LICL] = { { 11.23, 11.26, 11.29, 11.30, 11.31, 11.30, 11.28, 11.25, 11.21 },
		{ 0.54, 0.47, 0.41, 0.35, 0.31, 0.27, 0.24, 0.22, 0.21 } },
	[SALT_MGCL2] = { { 33.66, 33.60, 33.47, 33.30, 33.07, 32.78, 32.44, 32.05, 31.60 },
		{ 0.33, 0.28, 0.24, 0.21, 0.18, 0.16, 0.14, 0.13, 0.13 } },
	[SALT_K2CO3] = { { 43.13, 43.13, 43.14, 43.15, 43.16, 43.16, 43.17, NONE, NONE },
		{ 0.66, 0.50, 0.39, 0.33, 0.33, 0.39, 0.50, NONE, NONE } },
	[SALT_MGNO3] = { { 60.35, 58.86, 57.36, 55.87, 54.38, 52.89, 51.40, 49.91, 48.42 },
		{ 0.55, 0.43, 0.33, 0.27, 0.23, 0.22, 0.24, 0.29, 0.37 } },
	[SALT_NABR] = { { NONE, 63.51, 62.15, 60.68, 59.14, 57.57, 56.03, 54.55, 53.17 },
		{ NONE, 0.72, 0.60, 0.51, 0.44, 0.40, 0.38, 0.38, 0.41 } },
	[SALT_NACL] = { { 75.51, 75.65, 75.67, 75.61, 75.47, 75.29, 75.09, 74.87, 74.68 },
		{ 0.34, 0.27, 0.22, 0.18, 0.14, 0.12, 0.11, 0.12, 0.13 } },
	[SALT_KCL] = { { 88.61, 87.67, 86.77, 85.92, 85.11, 84.34, 83.62, 82.95, 82.32 },
		{ 0.53, 0.45, 0.39, 0.33, 0.29, 0.26, 0.25, 0.25, 0.25 } },
	[SALT_K2SO4] = { { 98.77, 98.48, 98.18, 97.89, 97.59, 97.30, 97.00, 96.71, 96.41 },
		{ 1.10, 0.91, 0.76, 0.63, 0.53, 0.45, 0.40, 0.38, 0.38 } },
};

const struct salt_word *salt_words(void)
{
	return words;
}

enum salt salt_by_name(const char *name)
{
	size_t i = 0;
	while (i < SALTS && strcmp(words[i].name, name) != 0)
		i++;
	return (enum salt)i;
}

static double between(double a, double b, double w)
{
	return w > 0 ? a + w * (b - a) : a; /* the step beyond may be NAN */
}

struct salt_point salt_point(enum salt salt, double t_degc)
{
	const struct row *r = &table[salt];
	if (!(t_degc >= words[salt].low_degc && t_degc <= words[salt].high_degc))
		return (struct salt_point){ NONE, NONE };
	size_t i = (size_t)(t_degc / STEP_K);
	size_t k = i + 1 < STEPS ? i + 1 : i;
	double w = t_degc / STEP_K - (double)i;
	return (struct salt_point){ between(r->rh_pct[i], r->rh_pct[k], w),
		between(r->u_pct[i], r->u_pct[k], w) };
}

double salt_reading_u_pct(const struct salt_reading *r, double t_degc)
{
	struct salt_point p = salt_point(r->salt, t_degc);
	double u_t_pct = SALT_T_SLOPE * p.rh_pct * SALT_T_SD_K;
	return sqrt(p.u_pct * p.u_pct + u_t_pct * u_t_pct + r->u_pct * r->u_pct);
}

static enum salt_verdict one_point(
	const struct salt_reading *r, double t_degc, struct salt_correction *out)
{
	double rh_pct = salt_point(r->salt, t_degc).rh_pct;
	double u = salt_reading_u_pct(r, t_degc);
	double far = SALT_GAIN_SD * (SALT_WHERE_PCT - rh_pct);
	*out = (struct salt_correction){ 1, rh_pct - r->shown_pct, sqrt(u * u + far * far) };
	return SALT_GOOD;
}

static enum salt_verdict two_points(
	const struct salt_reading *r, double t_degc, struct salt_correction *out)
{
	double low = salt_point(r[0].salt, t_degc).rh_pct;
	double high = salt_point(r[1].salt, t_degc).rh_pct;
	double shown = r[1].shown_pct - r[0].shown_pct;
	if (fabs(high - low) < SALT_APART_PCT || !((high - low) * shown > 0))
		return SALT_TOO_NEAR;
	double gain = (high - low) / shown;
	double w = (SALT_WHERE_PCT - low) / (high - low);
	double u0 = (1 - w) * salt_reading_u_pct(&r[0], t_degc);
	double u1 = w * salt_reading_u_pct(&r[1], t_degc);
	*out = (struct salt_correction){ gain, low - gain * r[0].shown_pct,
		sqrt(u0 * u0 + u1 * u1) };
	return gain < SALT_GAIN_LOW || gain > SALT_GAIN_HIGH ? SALT_BAD_GAIN : SALT_GOOD;
}

enum salt_verdict salt_correct(
	const struct salt_reading *r, size_t n, double t_degc, struct salt_correction *out)
{
	for (size_t i = 0; i < n; i++)
		if (isnan(salt_point(r[i].salt, t_degc).rh_pct))
			return SALT_NO_POINT;
	enum salt_verdict v = n == 1 ? one_point(r, t_degc, out) : two_points(r, t_degc, out);
	for (size_t i = 0; v == SALT_GOOD && i < n; i++)
		if (fabs(salt_point(r[i].salt, t_degc).rh_pct - r[i].shown_pct) >
			SALT_CHANGE_MAX_PCT)
			v = SALT_BAD_CHANGE;
	return v;
}

double salt_apply(const struct salt_correction *c, double shown_pct)
{
	return fmin(fmax(c->gain * shown_pct + c->offset_pct, 0), 100);
}

static struct salt_correction meet(
	const struct salt_check *a, const struct salt_check *b, int64_t t_s)
{
	double w = (double)(t_s - a->t_s) / (double)(b->t_s - a->t_s);
	double ua = (1 - w) * a->c.u_pct, ub = w * b->c.u_pct;
	return (struct salt_correction){
		between(a->c.gain, b->c.gain, w),
		between(a->c.offset_pct, b->c.offset_pct, w),
		sqrt(ua * ua + ub * ub + SALT_HYSTERESIS_SD_PCT * SALT_HYSTERESIS_SD_PCT),
	};
}

struct salt_correction salt_at(
	const struct salt_check *checks, size_t n, int64_t t_s, double accuracy_pct)
{
	size_t i = 0;
	while (i < n && checks[i].t_s <= t_s)
		i++;
	if (i == 0)
		return (struct salt_correction){ 1, 0, accuracy_pct };
	if (i < n)
		return meet(&checks[i - 1], &checks[i], t_s);
	struct salt_correction c = checks[n - 1].c;
	double drift = SALT_DRIFT_PCT_PER_YEAR * (double)(t_s - checks[n - 1].t_s) / SALT_YEAR_S;
	c.u_pct = sqrt(c.u_pct * c.u_pct + SALT_HYSTERESIS_SD_PCT * SALT_HYSTERESIS_SD_PCT +
		       drift * drift);
	return c;
}
