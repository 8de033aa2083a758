/* Lengths and turns as people at the bench write and read them.
 * Inside everything is metres and whole turns. */
#ifndef CORE_UNITS_H
#define CORE_UNITS_H

#include <stdbool.h>
#include <stddef.h>

#define METRE_PER_INCH 0.0254 /* exact, international inch */
#define METRE_PER_THOU 25.4e-6

enum bench_units {
	BENCH_INCH, /* thousandths and 64ths of an inch */
	BENCH_MM
};

/* A length: a number or a fraction (`6/64`, `4 1/2/64` is not one) and a unit: in, ", thou, mm, cm,
 * m, um; blanks between are allowed. Signs are allowed. A bare fraction means inches (common
 * practice); a bare decimal is refused, because .25 may be inches or millimetres.
 * *m only on success. */
bool units_length(const char *text, double *m);

/* Turns of a nut or a rod: `1/6`, `0.25`, `-1/8`, with an optional word `turn` or `turns`. */
bool units_turns(const char *text, double *turns);

/* Small gaps (relief, looseness): `0.010 in`, or `0.25 mm`. Writes at most n bytes with the NUL. */
void units_print_gap(char *buf, size_t n, double m, enum bench_units u);

/* Changes and their spread, finer than a gauge reads: `1.2 thou`, or `0.03 mm`. */
void units_print_change(char *buf, size_t n, double m, enum bench_units u);

/* The same of string heights: `1.2/64 in`, or `0.48 mm`. */
void units_print_rise(char *buf, size_t n, double m, enum bench_units u);

/* String heights: 64ths to the nearest half, `5.5/64 in`, or `2.2 mm`. */
void units_print_height(char *buf, size_t n, double m, enum bench_units u);

/* A turn as the nearest fraction a hand can follow (1/24, 1/16, 1/12, 1/8, 1/6, 1/4, 1/3, 1/2, ...,
 * or whole turns with a fraction): `1/12 turn`. Under 1/48 turn: `no turn`. */
void units_print_turns(char *buf, size_t n, double turns);

#endif
