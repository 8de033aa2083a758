#include "agree.h"

#include <math.h>
#include <stdbool.h>

#include "air.h"

void agree_add(struct agree_sum *sum, const struct agree_said *said)
{
	if (isnan(said->rh_pct))
		return;
	double weight = 1 / (said->sd_pct * said->sd_pct);
	sum->n++;
	sum->only_rh_pct = said->rh_pct;
	if (isnan(said->t_degc)) {
		sum->bare += weight;
		sum->rh += weight * said->rh_pct;
		return;
	}
	sum->n_t++;
	sum->only_t_degc = said->t_degc;
	sum->warm += weight;
	sum->temperature += weight * said->t_degc;
	sum->pressure += weight * air_vapour_pa(said->t_degc, said->rh_pct / 100);
}

double agree_t_degc(const struct agree_sum *sum)
{
	if (sum->n_t == 0)
		return (double)NAN;
	return sum->n_t == 1 ? sum->only_t_degc : sum->temperature / sum->warm;
}

double agree_rh_pct(const struct agree_sum *sum, double t_degc)
{
	if (sum->n == 0)
		return (double)NAN;
	if (sum->n == 1)
		return sum->only_rh_pct;
	double full_pa = air_vapour_pa(t_degc, 1);
	double rh_pct = (100 * sum->pressure / full_pa + sum->rh) / (sum->warm + sum->bare);
	return fmin(fmax(rh_pct, 0), 100);
}

/* One hour of a sensor against the others; false unless both spoke. */
struct pair {
	double pa, others_pa, t_degc, others_t_degc, variance;
};

static bool pair_up(const struct agree_said *said, size_t n, size_t hours, size_t which, size_t h,
	struct pair *out)
{
	struct agree_sum all = { 0 }, others = { 0 };
	const struct agree_said *mine = &said[which * hours + h];
	double precision = 0;
	for (size_t k = 0; k < n; k++) {
		const struct agree_said *x = &said[k * hours + h];
		agree_add(&all, x);
		if (k == which || isnan(x->rh_pct))
			continue;
		agree_add(&others, x);
		precision += 1 / (x->sd_pct * x->sd_pct);
	}
	if (isnan(mine->rh_pct) || others.n == 0)
		return false;
	double shared_degc = all.n_t ? agree_t_degc(&all) : AGREE_ASSUMED_DEGC;
	out->t_degc = isnan(mine->t_degc) ? shared_degc : mine->t_degc;
	out->others_t_degc = others.n_t ? agree_t_degc(&others) : shared_degc;
	out->pa = air_vapour_pa(out->t_degc, mine->rh_pct / 100);
	out->others_pa =
		air_vapour_pa(out->others_t_degc, agree_rh_pct(&others, out->others_t_degc) / 100);
	out->variance = mine->sd_pct * mine->sd_pct + 1 / precision;
	return true;
}

struct agree_off agree_off(const struct agree_said *said, size_t n, size_t hours, size_t which)
{
	struct pair sum = { 0 }, x = { 0 };
	int64_t shared = 0;
	for (size_t h = 0; h < hours; h++) {
		if (!pair_up(said, n, hours, which, h, &x))
			continue;
		shared++;
		sum.pa += x.pa;
		sum.others_pa += x.others_pa;
		sum.t_degc += x.t_degc;
		sum.others_t_degc += x.others_t_degc;
		sum.variance += x.variance;
	}
	if (shared == 0)
		return (struct agree_off){ 0, (double)NAN, (double)NAN, (double)NAN, (double)NAN,
			(double)NAN, (double)NAN };
	double count = (double)shared;
	struct agree_off off = {
		.hours = shared,
		.pa = (sum.pa - sum.others_pa) / count,
		.others_pa = sum.others_pa / count,
		.t_degc = sum.t_degc / count,
		.others_t_degc = sum.others_t_degc / count,
	};
	double full_pa = air_vapour_pa(off.t_degc, 1);
	/* 6 % of the vapour pressure for each K, salt.h, of two thermometers */
	double u_t_pct = 0.06 * (100 * sum.pa / count / full_pa) * AGREE_T_SD_K;
	off.rh_pct = 100 * off.pa / full_pa;
	off.sd_pct = sqrt(sum.variance / count + 2 * u_t_pct * u_t_pct);
	return off;
}
