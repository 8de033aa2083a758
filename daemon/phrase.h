/* Sentences whose numbers and days wait for their reader. Reasons of items are stored so that each calendar can show them
 * in its own units, zone and language: numbers and days stand in them as neutral tokens, in braces.
 *
 *	{gap M} {height M} {change M} {rise M}	metres, shown as the functions of core/units.h do
 *	{turns T}				turns, shown as units_print_turns does
 *	{day S} {minute S}			seconds UTC, shown as the day or the minute there
 *	{n X} {pct X} {degc X} {pa X} {mm X} {h X} {days X} {min X}
 *		a number with the decimals it is written with, and its sign when it begins with + or -: plain, percent,
 *		degrees Celsius, pascal, millimetres, hours, days, minutes
 *
 * A brace of people's own is written {{ (phrase_quote). What is no token is shown as it stands, so texts from before there
 * were tokens stay as they are; one that was cut off at the end is left out.
 *
 * Language "": ISO days, point decimals, the units' plain words. Else a BCP 47 tag: days in the language's long form,
 * numbers and units as the Unicode CLDR writes them (ICU). What CLDR does not have - thousandths, 64ths and turns - keeps
 * its words, and the sentence round the tokens stays as it was written. */
#ifndef DAEMON_PHRASE_H
#define DAEMON_PHRASE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "core/units.h"
#include "daemon/zone.h"

enum { PHRASE_LANGUAGES_MAX = 64 }; /* in use at the same time; further ones are shown as "" */

/* Writes text with its tokens shown; cut between characters when buf (size >= 4) is too small. One thread only. */
void phrase_show(const char *text, enum bench_units units, const char *language,
	const struct zone *zone, char *buf, size_t size);

/* A day and a minute alone; buffers of at least 80 bytes. */
enum { PHRASE_DATE = 80 };
void phrase_day(const char *language, const struct zone *zone, int64_t utc_s, char *buf, size_t n);
void phrase_minute(
	const char *language, const struct zone *zone, int64_t utc_s, char *buf, size_t n);

/* Room for any reasons shown. */
enum { PHRASE_SIZE = 1200 };

/* People's own text made fit to stand in a phrase: { becomes {{. */
void phrase_quote(const char *text, char *buf, size_t size);

/* Whether it is a language tag whose language ICU knows; "" is. */
bool phrase_language(const char *tag);

/* Gives back what ICU keeps between calls; nothing when no language was ever shown. */
void phrase_done(void);

#endif
