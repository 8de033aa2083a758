/* The one checked number parser: the whole text must be the number, blanks round it allowed.
 * Always in the C locale's notation (the programs never call setlocale for numbers). */
#ifndef CORE_NUMBER_H
#define CORE_NUMBER_H

#include <stdbool.h>
#include <stdint.h>

/* A finite decimal number ("nan", "inf" and hexadecimal are refused). *out only on success. */
bool number_real(const char *text, double *out);

/* A whole number in decimal. *out only on success. */
bool number_int(const char *text, int64_t *out);

#endif
