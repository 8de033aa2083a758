/* The one door to the heap, so that tests can make any allocation fail by linking another mem.c. */
#ifndef CORE_MEM_H
#define CORE_MEM_H

#include <stddef.h>

/* Zeroed memory for n items of size bytes, NULL when there is none or n * size overflows. */
void *mem_new(size_t n, size_t size);

/* Grows p (NULL allowed) to n items of size bytes; new bytes are not zeroed. On failure NULL is
 * returned and p stays valid. */
void *mem_grow(void *p, size_t n, size_t size);

/* A copy of text, NULL when out of memory or text is NULL. */
char *mem_text(const char *text);

/* NULL is allowed. */
void mem_free(void *p);

#endif
