/* Reasons as a store of any age may hold them: shown whole or cut, never beyond the room, never half a character of what was
 * whole, in the same words again; a quoted text comes back as it was. */
#include <string.h>

#include "daemon/phrase.h"
#include "daemon/utf8.h"
#include "tests/fuzz/fuzz.h"

enum { LONGEST = 400, ROOM = 64 };

static bool is_valid(const char *text)
{
	bool valid = true;
	for (size_t n = strlen(text); valid && n > 0;) {
		size_t step = utf8_step(text, n, &valid);
		text += step;
		n -= step;
	}
	return valid;
}

static void check(const char *text, const char *language, const struct zone *zone)
{
	char whole[PHRASE_SIZE * 8], again[PHRASE_SIZE * 8], cut[ROOM];
	phrase_show(text, BENCH_INCH, language, zone, whole, sizeof whole);
	phrase_show(text, BENCH_INCH, language, zone, again, sizeof again);
	HOLDS(strcmp(whole, again) == 0);
	HOLDS(!is_valid(text) || is_valid(whole));
	phrase_show(text, BENCH_INCH, language, zone, cut, sizeof cut);
	HOLDS(strncmp(cut, whole, strlen(cut)) == 0);
	HOLDS(!is_valid(text) || is_valid(cut));
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
	static struct zone *zone;
	char text[LONGEST + 1], quoted[2 * LONGEST + 2], back[2 * LONGEST + 2];
	if (!zone)
		HOLDS(zone_new("Europe/Berlin", &zone, NULL) == RC_OK);
	n = n < LONGEST ? n : LONGEST;
	memcpy(text, bytes, n);
	text[n] = '\0';
	check(text, "", zone);
	check(text, "de", zone);
	check(text, "ar", zone);
	phrase_quote(text, quoted, sizeof quoted);
	phrase_show(quoted, BENCH_MM, "de", zone, back, sizeof back);
	HOLDS(strcmp(back, text) == 0 || !is_valid(text));
	return 0;
}
