#include "daemon/engine_int.h"

#include <math.h>
#include <stdio.h>

#include "core/sorption.h"
#include "daemon/state.h"

static const struct track_hour *air_at(
	const struct engine *e, const struct follow *f, int64_t hour, bool *stop)
{
	const struct stay *stay = engine_stay_at(f, hour);
	const struct place_air *a = stay ? engine_place(e, stay->place) : NULL;
	*stop = !a;
	if (!a || hour < a->track.from || hour >= a->track.from + (int64_t)a->track.n)
		return NULL;
	const struct track_hour *at = &a->track.at[hour - a->track.from];
	bool current = stay == &f->stays[f->n_stays - 1];
	*stop = at->mark == TRACK_HELD && current;
	return *stop || at->mark == TRACK_NONE ? NULL : at;
}

/* Starting moisture: equilibrium with the mean air of the first BEGIN_H hours from the first known one. */
static bool begin(const struct engine *e, struct follow *f, int64_t target)
{
	int64_t hour = civil_floor(f->pub.record.since_s, HOUR_S);
	bool stop = false;
	while (hour <= target && !air_at(e, f, hour, &stop) && !stop)
		hour++;
	double rh_pct = 0, t_degc = 0;
	int64_t n = 0;
	for (int64_t h = hour; h <= target && h < hour + BEGIN_H; h++) {
		const struct track_hour *at = air_at(e, f, h, &stop);
		if (at && at->mark == TRACK_KNOWN) {
			rh_pct += at->rh_pct;
			t_degc += at->t_degc;
			n++;
		}
	}
	if (n == 0)
		return false;
	f->start.fingerprint = f->fingerprint;
	instrument_begin(f->pub.model, &f->start.state, hour - 1,
		sorption_mc_pct(t_degc / (double)n, rh_pct / (double)n / 100));
	return true;
}

static void apply_findings(
	const struct follow *f, struct instrument_state *s, int64_t from_hour, int64_t to_hour)
{
	for (size_t i = 0; i < f->n_findings; i++) {
		const struct finding *x = &f->findings[i];
		int64_t hour = civil_floor(x->t_s, HOUR_S);
		if (hour >= from_hour && hour <= to_hour)
			instrument_finding(f->pub.model, s, hour, (enum finding_kind)x->kind,
				isnan(x->value) ? 0 : x->value);
	}
}

static enum rc keep_condition(struct engine *e, const struct follow *f, struct err *err)
{
	const struct instrument_state *s = &f->start.state;
	struct condition c;
	instrument_condition(f->pub.model, s, &c);
	bool any = c.slackest < instrument_model_build(f->pub.model)->n_fastenings;
	const double values[STATE_QUANTITIES] = {
		[STATE_PRELOAD] = any ? c.hardware[c.slackest].preload : 1,
		[STATE_GAP_M] = any ? c.hardware[c.slackest].gap_m : 0,
		[STATE_TURNS] = any ? c.hardware[c.slackest].turns : 0,
		[STATE_RELIEF_M] = c.relief_m,
		[STATE_ACTION_M] = c.action_m,
		[STATE_FRET_END_M] = c.fret_end_m,
		[STATE_MC_PCT] = c.mc_pct[instrument_carrier(f->pub.model)],
	};
	enum rc rc = RC_OK;
	for (size_t q = 0; rc == RC_OK && q < STATE_QUANTITIES; q++)
		rc = state_condition_put(e->store, f->pub.record.id, s->hour,
			(enum state_quantity)q, values[q], err);
	return rc;
}

static enum rc keep_snapshot(struct engine *e, struct follow *f, struct err *err)
{
	f->start.sum = engine_snapshot_sum(&f->start);
	return state_snapshot_put(
		e->store, f->pub.record.id, f->start.state.hour, &f->start, sizeof f->start, err);
}

static enum rc cut_from(struct engine *e, const struct follow *f, int64_t hour, struct err *err)
{
	enum rc rc = state_snapshot_cut(e->store, f->pub.record.id, hour, err);
	return rc == RC_OK ? state_condition_cut(e->store, f->pub.record.id, hour, err) : rc;
}

/* From its snapshot or its beginning; what lies behind is dropped. */
static enum rc start_one(struct engine *e, struct follow *f, int64_t target, struct err *err)
{
	f->goal = target;
	f->going = false;
	if (!f->pub.model)
		return RC_OK;
	if (f->pub.record.until_s != TIME_NEVER &&
		civil_floor(f->pub.record.until_s, HOUR_S) < target)
		f->goal = civil_floor(f->pub.record.until_s, HOUR_S);
	bool anew = f->head == TIME_NEVER;
	f->pub.known = !anew || begin(e, f, f->goal);
	enum rc rc = cut_from(e, f, anew ? INT64_MIN : f->head + 1, err);
	if (rc != RC_OK || !f->pub.known)
		return rc;
	if (anew)
		apply_findings(f, &f->start.state, INT64_MIN, f->start.state.hour);
	f->going = true;
	return RC_OK;
}

static enum rc finish_one(struct engine *e, struct follow *f, struct err *err)
{
	if (!f->pub.model || !f->pub.known)
		return RC_OK;
	bool moved = f->start.state.hour != f->head;
	enum rc rc = moved ? keep_snapshot(e, f, err) : RC_OK;
	bool passed = moved && f->head != TIME_NEVER && f->head % SNAPSHOT_H != 0;
	return rc == RC_OK && passed ? state_snapshot_drop(e->store, f->pub.record.id, f->head, err)
				     : rc;
}

/* Instruments that take the same hour together. */
enum { TOGETHER = 64 };
struct company {
	struct instrument_stepping list[TOGETHER];
	struct follow *who[TOGETHER];
	size_t n;
};

static enum rc step_company(struct engine *e, struct company *c, struct err *err)
{
	enum rc rc = RC_OK;
	instrument_step_many(c->list, c->n);
	for (size_t i = 0; rc == RC_OK && i < c->n; i++) {
		struct follow *f = c->who[i];
		struct instrument_state *s = &f->start.state;
		apply_findings(f, s, s->hour, s->hour);
		if (s->hour % 24 == 23)
			rc = keep_condition(e, f, err);
		if (rc == RC_OK && s->hour % SNAPSHOT_H == 0)
			rc = keep_snapshot(e, f, err);
	}
	c->n = 0;
	return rc;
}

/* An instrument whose air ends here goes no further. */
static void join(const struct engine *e, struct follow *f, int64_t hour, struct company *c)
{
	bool stop = false;
	const struct track_hour *at = hour <= f->goal ? air_at(e, f, hour, &stop) : NULL;
	f->going = at != NULL;
	if (!at)
		return;
	c->who[c->n] = f;
	c->list[c->n++] = (struct instrument_stepping){ f->pub.model, &f->start.state,
		{ at->eq_mc_pct, at->t_degc, at->mark != TRACK_KNOWN } };
}

static enum rc step_hour(struct engine *e, int64_t hour, struct company *c, struct err *err)
{
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < e->n_follows; i++) {
		struct follow *f = &e->follows[i];
		if (f->going && f->start.state.hour + 1 == hour)
			join(e, f, hour, c);
		if (c->n == TOGETHER)
			rc = step_company(e, c, err);
	}
	return rc == RC_OK && c->n ? step_company(e, c, err) : rc;
}

enum rc engine_follow_hours(struct engine *e, int64_t target, struct err *err)
{
	int64_t first = TIME_NEVER;
	struct company company = { .n = 0 };
	enum rc rc = RC_OK;
	for (size_t i = 0; rc == RC_OK && i < e->n_follows; i++) {
		struct follow *f = &e->follows[i];
		rc = start_one(e, f, target, err);
		if (f->going && f->start.state.hour + 1 < first)
			first = f->start.state.hour + 1;
	}
	for (int64_t hour = first; rc == RC_OK && hour <= target; hour++)
		rc = step_hour(e, hour, &company, err);
	for (size_t i = 0; rc == RC_OK && i < e->n_follows; i++)
		rc = finish_one(e, &e->follows[i], err);
	return rc;
}

void engine_show(struct follow *f, int64_t now_s)
{
	struct followed *p = &f->pub;
	const struct stay *stay = f->n_stays ? &f->stays[0] : NULL;
	for (size_t i = 1; i < f->n_stays && f->stays[i].t_s <= now_s; i++)
		stay = &f->stays[i];
	(void)snprintf(p->place, sizeof p->place, "%s", stay ? stay->place : "");
	p->state = f->start.state;
	if (p->known) {
		apply_findings(f, &p->state, p->state.hour + 1, civil_floor(now_s, HOUR_S));
		instrument_condition(p->model, &p->state, &p->condition);
	}
	if (!stay && !p->trouble[0])
		(void)snprintf(p->trouble, sizeof p->trouble,
			"it stays nowhere: tell its place with `seasonctl move %s PLACE`",
			p->record.name);
}
