/* A heap that fails on demand: including this in a test's one file puts these mem_* in the place of core/mem.c. */
#ifndef TESTS_UNIT_FAULTY_MEM_H
#define TESTS_UNIT_FAULTY_MEM_H

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"

static int left = -1; /* allocations until one fails; < 0: none does */
static int held; /* not yet freed */

static bool fails(void)
{
	return left >= 0 && left-- == 0;
}

void *mem_new(size_t n, size_t size)
{
	void *p = fails() ? NULL : calloc(n ? n : 1, size);
	held += p != NULL;
	return p;
}

void *mem_grow(void *p, size_t n, size_t size)
{
	if (fails())
		return NULL;
	held += p == NULL;
	return realloc(p, n > 0 ? n * size : 1);
}

char *mem_text(const char *text)
{
	char *copy = text && !fails() ? strdup(text) : NULL;
	held += copy != NULL;
	return copy;
}

void mem_free(void *p)
{
	held -= p != NULL;
	free(p);
}

#endif
