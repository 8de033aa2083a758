/* IANA time zones: offsets and local days.
 *
 * Method: zone_new reads the system's file of the zone (zone_file.h) into a sorted table of the changes
 * 1970..2100; afterwards lookups are pure. The environment, which the C library would want changed, is
 * left alone. */
#ifndef DAEMON_ZONE_H
#define DAEMON_ZONE_H

#include <stdbool.h>
#include <stddef.h>

#include "core/civil.h"
#include "core/err.h"

struct zone;

/* name: IANA (`Europe/Berlin`), `UTC`, `Z`, or a fixed offset of at most 14 h: `+02:00`, `-0330`,
 * `+2`, `UTC+2`, `GMT+01:00` (plus is east). Unknown: RC_UNKNOWN. zone_free releases it. */
MUST_USE enum rc zone_new(const char *name, struct zone **out, struct err *err);
void zone_free(struct zone *z);

const char *zone_name_ref(const struct zone *z);

/* Seconds east of UTC at that instant. */
int32_t zone_offset_s(const struct zone *z, int64_t utc_s);

/* The first change of the offset later than that instant and before 2100; false: there is none. */
struct zone_change {
	int64_t at_s;
	int32_t from_s, to_s; /* seconds east of UTC before and from then on */
};
bool zone_next_change(const struct zone *z, int64_t after_s, struct zone_change *out);

/* What a wall-clock reading (civil seconds without zone) can mean. */
enum zone_fit {
	ZONE_UNIQUE, /* one instant: first */
	ZONE_TWICE, /* the clock showed it twice: first and second */
	ZONE_GAP /* the clock never showed it: first is the instant by the offset before the gap */
};
struct zone_instants {
	enum zone_fit fit;
	int64_t first_s, second_s;
};
struct zone_instants zone_from_wall(const struct zone *z, int64_t wall_s);

/* A stretch of wall-clock readings from_s <= wall < to_s that all mean one instant: wall -
 * offset_s. Empty (from_s == to_s) when wall_s itself is shown twice or never. For callers with
 * many readings in a row. */
struct zone_stretch {
	int64_t from_s, to_s;
	int32_t offset_s;
};
struct zone_stretch zone_plain_stretch(const struct zone *z, int64_t wall_s);

/* Day number (days since 1970-01-01) of that instant on the zone's calendar, and the first instant
 * of a day (of the next one when the zone skipped that day). */
int64_t zone_day(const struct zone *z, int64_t utc_s);
int64_t zone_day_start_s(const struct zone *z, int64_t day);

/* `2026-03-29` and `2026-03-29 02:30` in the zone; buffers of at least 24 bytes. */
void zone_print_day(const struct zone *z, int64_t utc_s, char *buf, size_t n);
void zone_print_minute(const struct zone *z, int64_t utc_s, char *buf, size_t n);

#endif
