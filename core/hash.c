#include "hash.h"

#include <string.h>

uint64_t hash_on(uint64_t h, const void *bytes, size_t n)
{
	const unsigned char *p = bytes;
	for (size_t i = 0; i < n; i++)
		h = (h ^ p[i]) * UINT64_C(1099511628211);
	return h;
}

uint64_t hash_text(uint64_t h, const char *text)
{
	return hash_on(h, text, strlen(text) + 1);
}
