/* seasond.conf: what is wired. Places, sensors, sources, outputs, layouts, units, zone. */
#ifndef DAEMON_SETTINGS_H
#define DAEMON_SETTINGS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "core/units.h"
#include "daemon/faults.h"
#include "daemon/layout.h"

enum { NAME_SIZE = 32, TITLE_SIZE = 80, PATH_SIZE = 256, ZONE_SIZE = 48 };

struct place {
	char name[NAME_SIZE];
	char title[TITLE_SIZE]; /* "" : the name */
	char room[NAME_SIZE]; /* for a case: the room it stands in; "" for a room */
	char zone[ZONE_SIZE]; /* IANA; "" : the settings' zone */
	double rh_low_pct, rh_high_pct; /* own band; 0: the instruments' bands decide */
};

struct sensor {
	char name[NAME_SIZE];
	char title[TITLE_SIZE];
	char place[NAME_SIZE];
	int64_t silent_after_s; /* no reading for so long calls for a look */
};

enum source_kind { SOURCE_KERNEL, SOURCE_SPOOL };

struct source {
	char name[NAME_SIZE];
	enum source_kind kind;
	int64_t interval_s; /* kernel: how often it is read; spool: rescan besides inotify */
	char sensor[NAME_SIZE]; /* kernel: whose readings; spool: for files that name none */
	char chip[NAME_SIZE]; /* kernel: text of the `name` file */
	char label[NAME_SIZE]; /* kernel: text of a label file, or "" */
	char path[PATH_SIZE]; /* spool: the folder. kernel: root of the sysfs tree, /sys */
	char layout[NAME_SIZE]; /* spool: a named layout or "" to guess */
	int unit; /* kernel: KERNEL_MILLI, KERNEL_PERCENT (driver breaks the ABI) */
};
enum { KERNEL_MILLI, KERNEL_PERCENT };

struct output {
	char name[NAME_SIZE]; /* also the stem of the two files */
	char title[TITLE_SIZE]; /* calendar name shown to people */
	char folder[PATH_SIZE];
	bool alarms;
	int64_t alarm_before_s; /* before the due moment; the hour is 09:00 local */
	int colour; /* 0: none; for settings_colour */
	int64_t keep_done_s; /* how long a done to-do stays in the file */
};

enum {
	PLACES_MAX = 256,
	SENSORS_MAX = 512,
	SOURCES_MAX = 256,
	OUTPUTS_MAX = 16,
	LAYOUTS_MAX = 64,
	LIBRARY_DIRS_MAX = 8
};

struct settings {
	char store[PATH_SIZE]; /* the SQLite file */
	char zone[ZONE_SIZE]; /* for places and calendars that name none */
	enum bench_units units;
	char library[LIBRARY_DIRS_MAX][PATH_SIZE]; /* folders, later ones win */
	char bench_name[TITLE_SIZE];
	size_t n_places, n_sensors, n_sources, n_outputs, n_layouts;
	struct place *places;
	struct sensor *sensors;
	struct source *sources;
	struct output *outputs;
	struct layout *layouts; /* named import layouts */
};

/* Paths come out absolute, or relative to the current folder when path itself is.
 * Reads the whole file and reports every fault. On faults *out is NULL and the result RC_CONFIG.
 * settings_free releases it. */
MUST_USE enum rc settings_load(const char *path, struct settings **out, struct faults *f);
void settings_free(struct settings *s);

/* NULL when there is none of that name. Borrowed. */
const struct place *settings_place(const struct settings *s, const char *name);
const struct sensor *settings_sensor(const struct settings *s, const char *name);
/* Whether any sensor stands in that place. */
bool settings_has_sensor(const struct settings *s, const char *place);
const struct layout *settings_layout(const struct settings *s, const char *name);

/* The CSS3 colour word of an output, NULL for none. */
const char *settings_colour(int colour);

/* The zone name in force for a place. */
const char *settings_zone_of(const struct settings *s, const struct place *p);

/* Prints every known setting with type, range, default and help, for --print-settings and the man page. */
void settings_print_help(void (*line)(void *arg, const char *text), void *arg);

#endif
