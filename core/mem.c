#include "mem.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

void *mem_new(size_t n, size_t size)
{
	return calloc(n ? n : 1, size);
}

void *mem_grow(void *p, size_t n, size_t size)
{
	if (size && n > SIZE_MAX / size)
		return NULL;
	return realloc(p, n && size ? n * size : 1);
}

char *mem_text(const char *text)
{
	if (!text)
		return NULL;
	size_t len = strlen(text) + 1;
	char *copy = mem_new(len, 1);
	if (copy)
		memcpy(copy, text, len);
	return copy;
}

void mem_free(void *p)
{
	free(p);
}
