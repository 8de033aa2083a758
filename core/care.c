#include "care.h"

#include <math.h>

#include "civil.h"

enum care_subject care_subject_of(enum care_kind kind)
{
	switch (kind) {
	case CARE_AIR_DRY:
	case CARE_AIR_DAMP:
		return CARE_OF_PLACE;
	case CARE_CHECK:
	case CARE_SILENT:
	case CARE_DISAGREE:
	case CARE_DRIFT:
	case CARE_WET:
	case CARE_BATTERY:
	case CARE_CLOCK:
		return CARE_OF_SENSOR;
	case CARE_PRELOAD:
	case CARE_AFTER_DRY:
	case CARE_BEFORE_DRY:
	case CARE_RELIEF:
	case CARE_ACTION:
	case CARE_FRET_END:
	case CARE_CRACK:
	case CARE_GLUE:
	case CARE_PEGS:
	case CARE_STRINGS:
	case CARE_SETTLE:
		return CARE_OF_INSTRUMENT;
	}
	return CARE_OF_INSTRUMENT;
}

/* Kinds whose value is a level between close (healthy) and open. */
static bool is_level(enum care_kind kind)
{
	switch (kind) {
	case CARE_PRELOAD:
	case CARE_RELIEF:
	case CARE_ACTION:
	case CARE_FRET_END:
	case CARE_CRACK:
	case CARE_GLUE:
	case CARE_PEGS:
	case CARE_AIR_DRY:
	case CARE_AIR_DAMP:
	case CARE_DISAGREE:
	case CARE_DRIFT:
	case CARE_WET:
	case CARE_BATTERY:
	case CARE_CLOCK:
		return true;
	case CARE_AFTER_DRY:
	case CARE_BEFORE_DRY:
	case CARE_CHECK:
	case CARE_SILENT:
	case CARE_STRINGS:
	case CARE_SETTLE:
		return false;
	}
	return false;
}

/* How far value is beyond limit in the unhealthy direction, which is the one from close to open. */
static double beyond(const struct care_rule *r, double value, double limit)
{
	return r->open < r->close ? limit - value : value - limit;
}

static enum care_weight weigh(const struct care_rule *r, double value)
{
	double all = beyond(r, r->pressing, r->open);
	double now = beyond(r, value, r->open);
	if (isnan(value) || !(all > 0))
		return CARE_LEISURE;
	return now >= all ? CARE_PRESSING : now >= all / 2 ? CARE_SOON : CARE_LEISURE;
}

static bool is_due(const struct care_rule *r, const struct care_measure *m, int64_t now_s)
{
	switch ((enum care_kind)r->kind) {
	case CARE_PRELOAD:
	case CARE_RELIEF:
	case CARE_ACTION:
	case CARE_FRET_END:
	case CARE_CRACK:
	case CARE_GLUE:
	case CARE_PEGS:
	case CARE_AIR_DRY:
	case CARE_AIR_DAMP:
	case CARE_DISAGREE:
	case CARE_DRIFT:
	case CARE_WET:
	case CARE_BATTERY:
	case CARE_CLOCK:
		return beyond(r, m->value, r->open) > 0;
	case CARE_AFTER_DRY:
		return m->event && beyond(r, m->value, r->open) > 0;
	case CARE_BEFORE_DRY:
		return m->event;
	case CARE_CHECK:
	case CARE_STRINGS:
	case CARE_SILENT:
	case CARE_SETTLE:
		return m->since_s != TIME_NEVER && now_s >= m->since_s + m->every_s - r->lead_s;
	}
	return false;
}

/* Withdrawn items: a level back on the healthy side of close; for the others, when the reason is gone. */
static bool is_over(const struct care_rule *r, const struct care_measure *m, int64_t now_s)
{
	if (is_level((enum care_kind)r->kind))
		return beyond(r, m->value, r->close) < 0;
	switch ((enum care_kind)r->kind) {
	case CARE_CHECK:
	case CARE_STRINGS:
	case CARE_SILENT:
	case CARE_SETTLE:
		return !is_due(r, m, now_s);
	case CARE_AFTER_DRY:
	case CARE_BEFORE_DRY:
	case CARE_PRELOAD:
	case CARE_RELIEF:
	case CARE_ACTION:
	case CARE_FRET_END:
	case CARE_CRACK:
	case CARE_GLUE:
	case CARE_PEGS:
	case CARE_AIR_DRY:
	case CARE_AIR_DAMP:
	case CARE_DISAGREE:
	case CARE_DRIFT:
	case CARE_WET:
	case CARE_BATTERY:
	case CARE_CLOCK:
		return false;
	}
	return false;
}

struct care_judgement care_judge(const struct care_rule *rule, const struct care_measure *m,
	bool is_open, int64_t last_closed_s, int64_t now_s)
{
	struct care_judgement j = { CARE_NOTHING, weigh(rule, m->value) };
	bool rests = last_closed_s != TIME_NEVER && now_s - last_closed_s < rule->rest_s;
	if (is_open)
		j.verdict = is_over(rule, m, now_s) ? CARE_WITHDRAW : CARE_KEEP;
	else if (!rests && is_due(rule, m, now_s))
		j.verdict = CARE_OPEN;
	return j;
}

void care_count_done(const struct care_rule *rule, struct care_measure *m, int64_t done_s)
{
	if (m->since_s == TIME_NEVER || done_s == TIME_NEVER || done_s < m->since_s)
		return;
	if (rule->kind == CARE_CHECK || rule->kind == CARE_STRINGS)
		m->since_s = done_s;
	else if (rule->kind == CARE_SETTLE)
		m->since_s = TIME_NEVER;
}

void care_window(const struct care_rule *rule, const struct care_measure *m, enum care_weight w,
	int64_t now_s, int64_t *from_s, int64_t *by_s)
{
	if (is_level((enum care_kind)rule->kind) || m->event) {
		*from_s = now_s + (w == CARE_PRESSING ? 0 : rule->lead_s);
		*by_s = *from_s + rule->window_s / (w == CARE_PRESSING      ? 4
							   : w == CARE_SOON ? 2
									    : 1);
	} else {
		int64_t day_s = m->since_s + m->every_s;
		*from_s = day_s > now_s ? day_s : now_s;
		*by_s = *from_s + rule->window_s;
	}
}

const char *care_weight_words(enum care_weight w)
{
	switch (w) {
	case CARE_LEISURE:
		return "at leisure";
	case CARE_SOON:
		return "soon";
	case CARE_PRESSING:
		return "pressing";
	}
	return "";
}
