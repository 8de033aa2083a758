/* Streams of payloads of the local intake: the first byte says whether they are json and how many bytes come at a time. Cut
 * piecewise or at once they fall into the same payloads, and nothing is lost. */
#include <string.h>

#include "daemon/gate.h"
#include "tests/fuzz/fuzz.h"

enum { SIZE_MAX_BYTES = 4096 };

/* Ends of the payloads of bytes[n], step bytes coming at a time. */
static size_t cut(bool json, const char *bytes, size_t n, size_t step, size_t *ends)
{
	struct gate_frame f = { .json = json };
	size_t n_ends = 0, begin = 0, length;
	for (size_t here = 0; here < n;) {
		here = n - here < step ? n : here + step;
		while ((length = gate_frame_next(&f, bytes + begin, here - begin)) > 0) {
			begin += length;
			HOLDS(begin <= here && bytes[begin - 1] == '\n');
			ends[n_ends++] = begin;
		}
	}
	return n_ends;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
	static size_t whole[SIZE_MAX_BYTES], parts[SIZE_MAX_BYTES];
	char text[SIZE_MAX_BYTES];
	if (n < 2 || n > SIZE_MAX_BYTES)
		return -1;
	bool json = bytes[0] & 1;
	size_t step = 1U + (bytes[0] >> 1U), lines = 0;
	memcpy(text, bytes + 1, --n);
	for (size_t i = 0; i < n; i++)
		lines += text[i] == '\n';
	size_t n_whole = cut(json, text, n, n, whole);
	HOLDS(cut(json, text, n, step, parts) == n_whole);
	HOLDS(memcmp(whole, parts, n_whole * sizeof *whole) == 0);
	HOLDS(json ? n_whole <= lines : n_whole == lines);
	return 0;
}
