/* The vocabulary of findings: what a person can enter about an instrument or a sensor, and what it does
 * to the fold. Pure table; parsing of values is in units. */
#ifndef CORE_FINDING_H
#define CORE_FINDING_H

#include <stdbool.h>
#include <stddef.h>

enum finding_kind {
	FINDING_RELIEF,
	FINDING_ACTION_BASS,
	FINDING_ACTION_TREBLE,
	FINDING_FIRST_FRET_BASS,
	FINDING_FIRST_FRET_TREBLE,
	FINDING_FRET_ENDS, /* stand-out per side as felt or dressed: 0 after dressing */
	FINDING_TUNER_TURN, /* the turn that made the nuts snug */
	FINDING_SNUG, /* hardware was found or made snug */
	FINDING_TRUSS_TURN, /* turn of the truss rod, positive tightens */
	FINDING_SADDLE, /* saddle height changed by */
	FINDING_NUT, /* string height at the nut changed by */
	FINDING_RESTRUNG,
	FINDING_PEGS, /* pegs or pins eased, fitted, pushed home */
	FINDING_INSPECTED, /* plates, seams, bridge and braces looked over */
	FINDING_SETTLED, /* looked over after restringing */
	FINDING_CHECKED, /* hygrometer compared with a reference */
	FINDING_BATTERY, /* a sensor's battery was changed or charged */
	FINDING_KINDS
};

enum finding_unit { FINDING_LENGTH, FINDING_TURNS, FINDING_EVENT };

struct finding_word {
	const char *name;
	enum finding_unit unit;
	double low, high; /* metres or turns that can be true of an instrument */
	bool of_sensor; /* said of a sensor, not of an instrument */
	const char *help;
	const char *
		doubt; /* what to ask when it is not what was expected; NULL: nothing is expected */
};

/* One row per enum finding_kind, in its order. */
const struct finding_word *finding_words(void);

/* FINDING_KINDS when the name is unknown. */
enum finding_kind finding_by_name(const char *name);

/* Two findings of one moment that cannot both be true: one quantity with two values, or a string nearer to the 12th
 * fret than to the first. Values in metres or turns; equal findings do not contradict. */
bool finding_contradicts(enum finding_kind a, double a_value, enum finding_kind b, double b_value);

#endif
