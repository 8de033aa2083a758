/* Calendars: whatever stands in them, the linters judge it alike twice, what may be printed may also come back, and what a
 * server hands out can always be taken apart. */
#include <string.h>

#include "core/mem.h"
#include "daemon/calendar_int.h"
#include "daemon/calendar_seen.h"
#include "tests/fuzz/fuzz.h"

/* Every line lies behind the one before it, its texts within the room that was given. */
static size_t walk(enum calendar_manner manner, const char *bytes, size_t n)
{
	struct calendar_lines lines = { .bytes = bytes, .len = n, .manner = manner };
	struct calendar_line line;
	size_t count = 0, end = 0;
	enum rc rc = RC_OK;
	lines.text = mem_new(n + 1, 1);
	HOLDS(lines.text);
	while (lines.at < n && (rc = calendar_line_next(&lines, &line, NULL)) == RC_OK) {
		HOLDS(line.from >= end && line.to > line.from && line.to <= n);
		HOLDS(lines.at == line.to && lines.used <= n + 1);
		HOLDS(strlen(line.name) + strlen(line.value) < line.to - line.from + 1);
		HOLDS((line.type == NULL) == (calendar_parameter(&line, "VALUE") == NULL));
		HOLDS((line.tzid == NULL) == (calendar_parameter(&line, "TZID") == NULL));
		end = line.to;
		count++;
	}
	HOLDS(manner != MANNER_SEEN || (rc == RC_OK && (n == 0 || end == n)));
	mem_free(lines.text);
	return rc == RC_OK ? count : 0;
}

/* The longest lines that can be refolded are: what was a line of ours stays one. */
static void refold(const char *bytes, size_t n)
{
	struct calendar_lines lines = { .bytes = bytes, .len = n, .manner = MANNER_OURS };
	struct calendar_line line;
	lines.text = mem_new(n + 1, 1);
	char *flat = mem_new(n + 1, 1), *out = mem_new(n + 3 * (n / 71) + 1, 1);
	HOLDS(lines.text && flat && out);
	while (lines.at < n) {
		HOLDS(calendar_line_next(&lines, &line, NULL) == RC_OK);
		size_t len = 0;
		for (size_t i = line.from; i < line.to; i++) {
			bool fold = bytes[i] == '\r' && i + 2 < line.to;
			if (fold)
				i += 2;
			else
				flat[len++] = bytes[i];
		}
		size_t folded = (size_t)(calendar_fold(out, flat, len) - out);
		HOLDS(walk(MANNER_OURS, out, folded) == 1);
	}
	mem_free(out);
	mem_free(flat);
	mem_free(lines.text);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
	const char *text = (const char *)bytes;
	struct err a = { 0 }, b = { 0 };
	enum rc ours = calendar_lint(text, n, &a);
	HOLDS(ours == calendar_lint(text, n, &b) && strcmp(a.text, b.text) == 0);
	HOLDS(ours == RC_OK || ours == RC_INPUT);
	HOLDS((ours == RC_OK) == (a.text[0] == '\0'));
	enum rc message = calendar_lint_message(text, n, NULL);
	enum rc foreign = calendar_lint_foreign(text, n, NULL);
	HOLDS(ours != RC_OK || foreign == RC_OK); /* what we write may come back */
	HOLDS(ours != RC_OK || message != RC_OK); /* METHOD is there or not */
	HOLDS(message != RC_OK || foreign != RC_OK); /* no METHOD on a server */
	size_t seen = walk(MANNER_SEEN, text, n);
	size_t taken = walk(MANNER_FOREIGN, text, n);
	HOLDS(taken == 0 || taken == seen);
	HOLDS(foreign != RC_OK || taken > 0);
	if (ours == RC_OK || message == RC_OK)
		refold(text, n);
	return 0;
}
