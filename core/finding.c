#include "finding.h"

#include <string.h>

/* Ranges: wider than anything set up to play, narrower than a slip of the unit. Common practice, no source. */
static const struct finding_word words[FINDING_KINDS] = {
	[FINDING_RELIEF] = { "relief", FINDING_LENGTH, -1.5e-3, 3e-3, false,
		"gap under the string at fret 7, held at fret 1 and the body joint" },
	[FINDING_ACTION_BASS] = { "action_bass", FINDING_LENGTH, 0.2e-3, 15e-3, false,
		"string height over the 12th fret, bass side" },
	[FINDING_ACTION_TREBLE] = { "action_treble", FINDING_LENGTH, 0.2e-3, 15e-3, false,
		"string height over the 12th fret, treble side" },
	[FINDING_FIRST_FRET_BASS] = { "first_fret_bass", FINDING_LENGTH, 0, 3e-3, false,
		"string clearance over fret 1, bass side" },
	[FINDING_FIRST_FRET_TREBLE] = { "first_fret_treble", FINDING_LENGTH, 0, 3e-3, false,
		"string clearance over fret 1, treble side" },
	[FINDING_FRET_ENDS] = { "fret_ends", FINDING_LENGTH, 0, 2e-3, false,
		"how far fret ends stand out per side; 0 after dressing" },
	[FINDING_TUNER_TURN] = { "tuner_turn", FINDING_TURNS, 0, 5, false,
		"turn that made the tuner nuts snug" },
	[FINDING_SNUG] = { "snug", FINDING_EVENT, 0, 0, false, "hardware found or made snug" },
	[FINDING_TRUSS_TURN] = { "truss_turn", FINDING_TURNS, -2, 2, false,
		"turn of the truss rod, tighter is positive" },
	[FINDING_SADDLE] = { "saddle", FINDING_LENGTH, -5e-3, 5e-3, false,
		"change of saddle height" },
	[FINDING_RESTRUNG] = { "restrung", FINDING_EVENT, 0, 0, false, "new strings" },
	[FINDING_SETTLED] = { "settled", FINDING_EVENT, 0, 0, false,
		"looked over after the new strings settled" },
	[FINDING_CHECKED] = { "checked", FINDING_EVENT, 0, 0, true,
		"hygrometer compared with a reference" },
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
