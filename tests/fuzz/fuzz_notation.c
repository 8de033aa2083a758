/* Lines that people jot down. The first byte picks the units of the bench. */
#include <ctype.h>
#include <math.h>
#include <string.h>

#include "core/mem.h"
#include "core/notation.h"
#include "tests/fuzz/fuzz.h"

static bool same(const struct notation *a, const struct notation *b, size_t n)
{
	for (size_t i = 0; i < n; i++)
		if (a[i].kind != b[i].kind ||
			(a[i].value != b[i].value && !(isnan(a[i].value) && isnan(b[i].value))))
			return false;
	return true;
}

static void check_found(const struct notation *found, size_t n)
{
	HOLDS(n >= 1 && n <= NOTATION_MAX);
	for (size_t i = 0; i < n; i++) {
		HOLDS(found[i].kind < FINDING_KINDS);
		const struct finding_word *w = &finding_words()[found[i].kind];
		if (w->unit == FINDING_EVENT)
			HOLDS(isnan(found[i].value));
		else
			HOLDS(found[i].value >= w->low && found[i].value <= w->high);
		for (size_t k = 0; k < i; k++) {
			HOLDS(found[k].kind != found[i].kind);
			HOLDS(!finding_contradicts(
				found[k].kind, found[k].value, found[i].kind, found[i].value));
		}
	}
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
	struct notation a[NOTATION_MAX], b[NOTATION_MAX];
	size_t n_a = 0, n_b = 0;
	struct err err = { 0 };
	if (n < 1 || n > 2 * NOTATION_LINE)
		return -1;
	enum bench_units units = bytes[0] & 1 ? BENCH_MM : BENCH_INCH;
	char *line = mem_new(n, 1);
	memcpy(line, bytes + 1, n - 1);
	bool begins = notation_is(line);
	enum rc rc = notation_read(line, units, a, &n_a, &err);
	HOLDS(rc == RC_OK || (rc == RC_INPUT && err.text[0] && n_a == 0));
	if (rc == RC_OK)
		check_found(a, n_a);
	for (char *p = line; *p; p++) /* capitals say the same */
		*p = (char)toupper((unsigned char)*p);
	HOLDS(notation_is(line) == begins);
	HOLDS(notation_read(line, units, b, &n_b, NULL) == rc);
	HOLDS(n_a == n_b && same(a, b, n_a));
	mem_free(line);
	return 0;
}
