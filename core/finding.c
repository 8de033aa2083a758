#include "finding.h"

#include <string.h>

/* Ranges: wider than anything set up to play, narrower than a slip of the unit. Common practice, no source. */
static const struct finding_word words[FINDING_KINDS] = {
	[FINDING_RELIEF] = { "relief", FINDING_LENGTH, -1.5e-3, 3e-3, false,
		"gap under the string at fret 7, held at fret 1 and the body joint",
		"measured at pitch, with the string held at fret 1 and the body joint" },
	[FINDING_ACTION_BASS] = { "action_bass", FINDING_LENGTH, 0.2e-3, 15e-3, false,
		"string height over the 12th fret, bass side",
		"measured at pitch in playing position, from the top of the 12th fret, on the bass "
		"side" },
	[FINDING_ACTION_TREBLE] = { "action_treble", FINDING_LENGTH, 0.2e-3, 15e-3, false,
		"string height over the 12th fret, treble side",
		"measured at pitch in playing position, from the top of the 12th fret, on the "
		"treble side" },
	[FINDING_FIRST_FRET_BASS] = { "first_fret_bass", FINDING_LENGTH, 0, 3e-3, false,
		"string clearance over fret 1, bass side", NULL },
	[FINDING_FIRST_FRET_TREBLE] = { "first_fret_treble", FINDING_LENGTH, 0, 3e-3, false,
		"string clearance over fret 1, treble side", NULL },
	[FINDING_FRET_ENDS] = { "fret_ends", FINDING_LENGTH, 0, 2e-3, false,
		"how far fret ends stand out per side; 0 after dressing",
		"felt on the bare wood, on both sides, and not dressed in between" },
	[FINDING_TUNER_TURN] = { "tuner_turn", FINDING_TURNS, 0, 5, false,
		"turn that made the tuner nuts snug",
		"counted from finger tight or from where it stood, and the same on all of them" },
	[FINDING_SNUG] = { "snug", FINDING_EVENT, 0, 0, false, "hardware found or made snug",
		NULL },
	[FINDING_TRUSS_TURN] = { "truss_turn", FINDING_TURNS, -2, 2, false,
		"turn of the truss rod, tighter is positive", NULL },
	[FINDING_SADDLE] = { "saddle", FINDING_LENGTH, -5e-3, 5e-3, false,
		"change of saddle height", NULL },
	[FINDING_NUT] = { "nut", FINDING_LENGTH, -2e-3, 2e-3, false,
		"change of string height at the nut", NULL },
	[FINDING_RESTRUNG] = { "restrung", FINDING_EVENT, 0, 0, false, "new strings", NULL },
	[FINDING_PEGS] = { "pegs", FINDING_EVENT, 0, 0, false,
		"pegs or pins eased, fitted or pushed home", NULL },
	[FINDING_INSPECTED] = { "inspected", FINDING_EVENT, 0, 0, false,
		"top, back, seams, bridge and braces looked over", NULL },
	[FINDING_SETTLED] = { "settled", FINDING_EVENT, 0, 0, false,
		"looked over after the new strings settled", NULL },
	[FINDING_CHECKED] = { "checked", FINDING_EVENT, 0, 0, true,
		"hygrometer compared with a reference", NULL },
	[FINDING_BATTERY] = { "battery", FINDING_EVENT, 0, 0, true, "battery changed or charged",
		NULL },
};

const struct finding_word *finding_words(void)
{
	return words;
}

enum finding_kind finding_by_name(const char *name)
{
	size_t i = 0;
	while (i < FINDING_KINDS && strcmp(words[i].name, name) != 0)
		i++;
	return (enum finding_kind)i;
}

static bool is_nearer(
	enum finding_kind first, double first_m, enum finding_kind twelfth, double twelfth_m)
{
	bool bass = first == FINDING_FIRST_FRET_BASS && twelfth == FINDING_ACTION_BASS;
	bool treble = first == FINDING_FIRST_FRET_TREBLE && twelfth == FINDING_ACTION_TREBLE;
	return (bass || treble) && first_m >= twelfth_m;
}

bool finding_contradicts(enum finding_kind a, double a_value, enum finding_kind b, double b_value)
{
	if (a == b)
		return words[a].unit != FINDING_EVENT && a_value != b_value;
	return is_nearer(a, a_value, b, b_value) || is_nearer(b, b_value, a, a_value);
}
