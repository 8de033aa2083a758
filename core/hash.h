/* FNV-1a, 64 bit (Fowler, Noll, Vo): tells whether bytes are the same as before. Not against anyone who means harm. */
#ifndef CORE_HASH_H
#define CORE_HASH_H

#include <stddef.h>
#include <stdint.h>

#define HASH_START UINT64_C(14695981039346656037)

/* Goes on from h (HASH_START, or an earlier result) over n bytes. */
uint64_t hash_on(uint64_t h, const void *bytes, size_t n);

/* The same over a text with its NUL, so that "ab" + "c" differs from "a" + "bc". */
uint64_t hash_text(uint64_t h, const char *text);

#endif
