/* A fuzz target is one file fuzz_NAME.c with LLVMFuzzerTestOneInput; it also states what has to hold of whatever comes out.
 * make fuzz links it with libFuzzer, make check with replay.c, which plays what has been kept. */
#ifndef TESTS_FUZZ_FUZZ_H
#define TESTS_FUZZ_FUZZ_H

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

/* Always, also with NDEBUG. */
#define HOLDS(condition)                                                                           \
	do {                                                                                       \
		if (!(condition)) {                                                                \
			(void)fprintf(stderr, "%s:%d: does not hold: %s\n", __FILE__, __LINE__,    \
				#condition);                                                       \
			abort();                                                                   \
		}                                                                                  \
	} while (0)

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n);

#endif
