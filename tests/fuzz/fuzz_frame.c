/* A stream of payloads as the local intake takes it apart; the first byte says json or lines, the second how it arrives.
 * However it arrives, it has to come apart at the same places. */
#include <string.h>

#include "daemon/gate.h"
#include "tests/fuzz/fuzz.h"

/* Lengths of the payloads of bytes[n] that arrive `step` at a time, as a sum that depends on their order. */
static uint64_t take_apart(const char *bytes, size_t n, bool json, size_t step)
{
	struct gate_frame f = { .json = json };
	uint64_t sum = 0;
	size_t from = 0;
	for (size_t here = 0; here < n;) {
		here = n - here < step ? n : here + step;
		for (size_t length;
			(length = gate_frame_next(&f, bytes + from, here - from)) > 0;) {
			HOLDS(length <= here - from && bytes[from + length - 1] == '\n');
			HOLDS(json || !memchr(bytes + from, '\n', length - 1));
			sum = sum * 31 + length;
			from += length;
		}
	}
	HOLDS(json || !memchr(bytes + from, '\n', n - from));
	return sum;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
	if (n < 2)
		return -1;
	const char *text = (const char *)bytes + 2;
	bool json = bytes[0] == '{';
	size_t step = bytes[1] % 16 + 1;
	HOLDS(take_apart(text, n - 2, json, step) == take_apart(text, n - 2, json, n));
	return 0;
}
