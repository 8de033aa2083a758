/* Care rules: when a condition, a date or the air calls for a job.
 *
 * A rule is data (conf/care.conf). A measure is what the engine found for one subject. Judging is
 * pure: the same rule, measure, item and time give the same verdict. Hysteresis: a condition opens an
 * item beyond `open` and takes it back inside `close`; after an item was done the same rule rests for
 * rest_s. Times are seconds UTC, lengths metres, RH percent. */
#ifndef CORE_CARE_H
#define CORE_CARE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { CARE_NAME = 32, CARE_TEXT = 120, CARE_LONG = 480, CARE_SETTLERS = 8 };

enum care_kind {
	CARE_PRELOAD, /* least hold of the instrument's hardware (clamp.h: 1 snug, 0 slack, < 0 a gap), under open */
	CARE_AFTER_DRY, /* the driest point has passed and hardware went slack on the way */
	CARE_BEFORE_DRY, /* the dampest point has passed: the dry half of the year begins */
	CARE_RELIEF, /* |predicted relief change| since the last finding, over open */
	CARE_ACTION, /* the same for the action at the 12th fret */
	CARE_FRET_END, /* stand-out of fret ends per side, over open */
	CARE_CRACK, /* tension forced on top or back and their seams, in yield strains (restraint.h), over open */
	CARE_GLUE, /* mismatch in the glue line under the bridge, likewise */
	CARE_PEGS, /* how far the fit of the pegs has changed, over open */
	CARE_AIR_DRY, /* two-day mean RH of a place under its band's low end by open */
	CARE_AIR_DAMP, /* over its band's high end by open */
	CARE_CHECK, /* dated: a hygrometer not checked for every_s */
	CARE_SILENT, /* dated: a sensor without readings for its own silent_after */
	CARE_STRINGS, /* dated: strings older than their life */
	CARE_SETTLE, /* dated: every_s after restringing, until looked over */
	CARE_DISAGREE, /* a sensor off the others of its place, in times what is expected of them (agree.h) */
	CARE_DRIFT, /* how far that has moved in a month, % RH */
	CARE_WET, /* hours a sensor has stood near saturation that nothing else speaks for */
	CARE_BATTERY, /* charge left, percent, under open */
	CARE_CLOCK /* how far the sender's clock is off ours, seconds */
};

enum care_subject { CARE_OF_INSTRUMENT, CARE_OF_PLACE, CARE_OF_SENSOR };

/* How soon, in words of our own. */
enum care_weight {
	CARE_LEISURE, /* "at leisure" */
	CARE_SOON, /* "soon" */
	CARE_PRESSING /* "pressing" */
};

struct care_rule {
	char name[CARE_NAME];
	int kind; /* enum care_kind */
	char title[CARE_TEXT]; /* what to do, in a few words */
	char advice[CARE_LONG]; /* how, in a sentence or two */
	char caution[CARE_LONG]; /* what can go wrong and who to ask */
	double open, close; /* in the unit of the kind; close is nearer to healthy */
	double pressing; /* beyond this the weight is CARE_PRESSING; halfway there CARE_SOON */
	int64_t every_s; /* CARE_CHECK, CARE_SETTLE */
	int64_t lead_s; /* levels: from opening to the earliest sensible day; dated kinds: how long
	                          * before its day the item is opened */
	int64_t window_s; /* from there to the day by which it should be done */
	int64_t rest_s; /* after it was done or put aside */
	char settled_by[CARE_SETTLERS][CARE_NAME]; /* findings that close it */
	bool visit; /* may join the other items of the same client */
};

enum care_subject care_subject_of(enum care_kind kind);

/* What the engine knows about one subject for one rule. */
struct care_measure {
	double value; /* in the rule's unit; NAN: nothing known, never opens, keeps what is open */
	int64_t since_s; /* dated kinds: the last check, restringing, reading; TIME_NEVER: no date runs */
	int64_t every_s; /* dated kinds: due so long after since_s (the rule's own, or the subject's) */
	bool event; /* CARE_AFTER_DRY, CARE_BEFORE_DRY: the turn of the season has been confirmed */
};

enum care_verdict { CARE_NOTHING, CARE_OPEN, CARE_KEEP, CARE_WITHDRAW };

struct care_judgement {
	enum care_verdict verdict;
	enum care_weight weight;
};

/* is_open: an item of this rule and subject stands open. last_closed_s: when the last one was done or put
 * aside, TIME_NEVER when none was. */
struct care_judgement care_judge(const struct care_rule *rule, const struct care_measure *m,
	bool is_open, int64_t last_closed_s, int64_t now_s);

/* A dated job that was done at done_s, whatever was found: its next period runs from then; of a settle check nothing is
 * left to do until the next strings. TIME_NEVER, or before since_s: nothing changes. Silence goes on all the same. */
void care_count_done(const struct care_rule *rule, struct care_measure *m, int64_t done_s);

/* The window of an item opened, or grown heavier, at now_s: by when the job is sensible at the earliest and
 * should be done at the latest; a dated job that is already late begins now. Half the window for CARE_SOON, a quarter and no lead for CARE_PRESSING. */
void care_window(const struct care_rule *rule, const struct care_measure *m, enum care_weight w,
	int64_t now_s, int64_t *from_s, int64_t *by_s);

const char *care_weight_words(enum care_weight w);

#endif
