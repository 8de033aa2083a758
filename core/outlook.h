/* What a build is expected to do in one dry season: everything settled at 50 % RH, then OUTLOOK_DRY_RH for 90 days, then
 * 90 days back, at 20 degC throughout. The answer is the model's own, before any finding of a real instrument. */
#ifndef CORE_OUTLOOK_H
#define CORE_OUTLOOK_H

#include "instrument.h"

#define OUTLOOK_RH 0.50
#define OUTLOOK_DRY_RH 0.30 /* a heated room in winter; judgement, no source */
#define OUTLOOK_DEGC 20.0

/* Days in the dry air at which it is looked at; the last look is as long again after the return. */
enum { OUTLOOK_LOOKS = 5 };
extern const int outlook_days[OUTLOOK_LOOKS];

struct outlook {
	struct build build; /* as modelled, with the plates under what is glued on them */
	struct condition at[OUTLOOK_LOOKS];
	double settling_h
		[BUILD_MEMBERS]; /* until the mean of a member has gone 1 - 1/e of the way; NAN: not in
	                                   * the 90 days */
};

/* RC_MEM when out of memory. */
MUST_USE enum rc outlook_of(const struct build *b,
	const struct learn_prior priors[LEARN_QUANTITIES], struct outlook *out, struct err *err);

#endif
