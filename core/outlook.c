#include "outlook.h"

#include <math.h>

#include "sorption.h"

enum { DAY_H = 24, SEASON_D = 90 };
const int outlook_days[OUTLOOK_LOOKS] = { 1, 7, 30, SEASON_D, 2 * SEASON_D };
#define SETTLED (1 - exp(-1.0)) /* the way a first-order lag goes in its time constant */

/* Notes which members have come far enough, by a straight line between the hours. */
static void note_settled(const struct instrument_state *s, double from_pct, double to_pct,
	double *gone, struct outlook *out)
{
	for (size_t i = 0; i < out->build.n_members; i++) {
		double now = (from_pct - moisture_mean(s->mc_pct[i], MOISTURE_CELLS)) /
			     (from_pct - to_pct);
		if (isnan(out->settling_h[i]) && now >= SETTLED)
			out->settling_h[i] = (double)s->hour - (now - SETTLED) / (now - gone[i]);
		gone[i] = now;
	}
}

static void live(const struct instrument_model *m, struct instrument_state *s, struct outlook *out)
{
	const double usual_pct = sorption_mc_pct(OUTLOOK_DEGC, OUTLOOK_RH);
	const double dry_pct = sorption_mc_pct(OUTLOOK_DEGC, OUTLOOK_DRY_RH);
	double gone[BUILD_MEMBERS] = { 0 };
	size_t look = 0;
	instrument_begin(m, s, 0, usual_pct);
	while (look < OUTLOOK_LOOKS) {
		bool dry = s->hour < SEASON_D * DAY_H;
		const struct instrument_air air = { dry ? dry_pct : usual_pct, OUTLOOK_DEGC,
			false };
		instrument_step(m, s, &air);
		if (dry)
			note_settled(s, usual_pct, dry_pct, gone, out);
		if (s->hour == outlook_days[look] * DAY_H)
			instrument_condition(m, s, &out->at[look++]);
	}
}

enum rc outlook_of(const struct build *b, const struct learn_prior priors[LEARN_QUANTITIES],
	struct outlook *out, struct err *err)
{
	struct instrument_model *m = NULL;
	struct instrument_state s;
	enum rc rc = instrument_model_new(b, priors, &m, err);
	if (rc != RC_OK)
		return rc;
	*out = (struct outlook){ .build = *instrument_model_build(m) };
	for (size_t i = 0; i < BUILD_MEMBERS; i++)
		out->settling_h[i] = (double)NAN;
	live(m, &s, out);
	instrument_model_free(m);
	return RC_OK;
}
