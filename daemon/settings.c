#include "daemon/settings.h"

#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/settings_rows.h"
#include "daemon/zone.h"

enum { NAMES_MAX = 512 }; /* of any list */

/* One entry of a list while it is checked. */
struct entry {
	const config_setting_t *group;
	char what[80];
	const struct settings *settings;
	struct faults *faults;
};

static void fault(const struct entry *e, const char *name, const char *why)
{
	schema_fault(e->faults, e->group, e->what, name, "%s", why);
}

/* The names of a list for hints. Every entry begins with char name[NAME_SIZE], "" when it was
 * faulty. */
static size_t names_of(const void *entries, size_t n, size_t size, const char **names)
{
	size_t named = 0;
	for (size_t i = 0; i < n; i++)
		if (*((const char *)entries + i * size))
			names[named++] = (const char *)entries + i * size;
	return named;
}

static const void *find(const void *entries, size_t n, size_t size, const char *name)
{
	for (size_t i = 0; i < n; i++)
		if (strcmp((const char *)entries + i * size, name) == 0)
			return (const char *)entries + i * size;
	return NULL;
}

const struct place *settings_place(const struct settings *s, const char *name)
{
	return find(s->places, s->n_places, sizeof *s->places, name);
}

const struct sensor *settings_sensor(const struct settings *s, const char *name)
{
	return find(s->sensors, s->n_sensors, sizeof *s->sensors, name);
}

bool settings_has_sensor(const struct settings *s, const char *place)
{
	for (size_t i = 0; i < s->n_sensors; i++)
		if (strcmp(s->sensors[i].place, place) == 0)
			return true;
	return false;
}

const struct layout *settings_layout(const struct settings *s, const char *name)
{
	return find(s->layouts, s->n_layouts, sizeof *s->layouts, name);
}

const char *settings_zone_of(const struct settings *s, const struct place *p)
{
	return p->zone[0] ? p->zone : s->zone;
}

const char *settings_colour(int colour)
{
	return colour > 0 && colour < SETTINGS_COLOURS ? settings_colours[colour] : NULL;
}

static void no_such(const struct entry *e, const char *setting, const char *noun, const char *text,
	const void *entries, size_t n, size_t size)
{
	const char *names[NAMES_MAX];
	char hint[400];
	schema_hint(hint, sizeof hint, text, names, names_of(entries, n, size, names));
	schema_fault(e->faults, e->group, e->what, setting, "no such %s: %s", noun, hint);
}

static void check_place_name(const struct entry *e, const char *setting, const char *text)
{
	const struct settings *s = e->settings;
	if (text[0] && s->n_places && !settings_place(s, text))
		no_such(e, setting, "place", text, s->places, s->n_places, sizeof *s->places);
}

static void check_sensor_name(const struct entry *e, const char *setting, const char *text)
{
	const struct settings *s = e->settings;
	if (text[0] && s->n_sensors && !settings_sensor(s, text))
		no_such(e, setting, "sensor", text, s->sensors, s->n_sensors, sizeof *s->sensors);
}

static void check_zone(const struct entry *e, const char *name)
{
	struct zone *zone = NULL;
	if (name[0] && zone_new(name, &zone, NULL) != RC_OK)
		fault(e, "zone",
			"no such time zone: a name such as \"Europe/Vienna\", \"UTC\" or "
			"\"+02:00\"");
	zone_free(zone);
}

static void check_place(const struct entry *e, size_t i)
{
	const struct place *p = &e->settings->places[i];
	const struct place *room = settings_place(e->settings, p->room);
	check_zone(e, p->zone);
	check_place_name(e, "room", p->room);
	if (p->room[0] && room == p)
		fault(e, "room", "stands in itself: a room");
	else if (p->room[0] && room && room->room[0])
		fault(e, "room", "is a case itself: a room");
}

static void check_sensor(const struct entry *e, size_t i)
{
	check_place_name(e, "place", e->settings->sensors[i].place);
}

/* Settings of one kind only: a fault where the other kind has them. */
static void check_kind(const struct entry *e, const char *setting, const char *kind)
{
	char why[80];
	(void)snprintf(why, sizeof why, "only sources of kind \"%s\" have it: leave it out", kind);
	if (schema_member(e->group, setting))
		fault(e, setting, why);
}

static void check_kernel(const struct entry *e, const struct source *s)
{
	if (!s->chip[0])
		fault(e, "chip", "missing: text of the chip's name file");
	if (!s->sensor[0])
		fault(e, "sensor", "missing: the sensor whose readings they are");
	check_kind(e, "layout", "spool");
}

static void check_spool(const struct entry *e, size_t i)
{
	const struct settings *s = e->settings;
	const struct source *source = &s->sources[i];
	check_kind(e, "chip", "kernel");
	check_kind(e, "label", "kernel");
	check_kind(e, "unit", "kernel");
	if (!source->path[0])
		fault(e, "path", "missing: the folder that files are dropped into");
	if (source->layout[0] && !settings_layout(s, source->layout))
		no_such(e, "layout", "layout", source->layout, s->layouts, s->n_layouts,
			sizeof *s->layouts);
	for (size_t k = 0; k < i; k++) {
		const struct source *other = &s->sources[k];
		if (other->kind == SOURCE_SPOOL && source->path[0] &&
			strcmp(other->path, source->path) == 0)
			fault(e, "path",
				"another source takes the files of this folder: a folder of its "
				"own");
	}
}

static void check_source(const struct entry *e, size_t i)
{
	const struct source *s = &e->settings->sources[i];
	check_sensor_name(e, "sensor", s->sensor);
	if (!schema_is_word(e->group, "kind", settings_kinds))
		return; /* a fault already */
	switch (s->kind) {
	case SOURCE_KERNEL:
		check_kernel(e, s);
		break;
	case SOURCE_SPOOL:
		check_spool(e, i);
		break;
	}
}

static void check_column(const struct entry *e, const char *setting, const char *text)
{
	if (text[0] == '#' && text[1 + strspn(text + 1, "0")] == '\0')
		fault(e, setting, "no column: a heading, or #1 for the first column");
}

static void check_format(const struct entry *e, const char *text)
{
	bool word = strcmp(text, "serial") == 0 || strcmp(text, "epoch") == 0 ||
		    strcmp(text, "epoch-ms") == 0;
	if (text[0] && !word && !strchr(text, '%'))
		fault(e, "format",
			"no format: serial, epoch, epoch-ms or a pattern such as %d.%m.%Y %H:%M");
}

static void check_layout(const struct entry *e, size_t i)
{
	const struct layout *l = &e->settings->layouts[i];
	check_zone(e, l->zone);
	check_column(e, "time", l->time);
	check_column(e, "clock", l->clock);
	check_column(e, "rh", l->rh);
	check_column(e, "temp", l->temp);
	check_column(e, "sensor_column", l->sensor_column);
	check_format(e, l->format);
	check_sensor_name(e, "sensor", l->sensor);
	if (l->sensor[0] && l->sensor_column[0])
		fault(e, "sensor", "sensor_column is given too: one of the two");
}

static void check_entries(const config_setting_t *root, enum settings_list which, size_t n,
	void (*check)(const struct entry *, size_t), const struct settings *s, struct faults *f)
{
	const struct schema_list *list = &settings_lists[which];
	for (size_t i = 0; i < n; i++) {
		struct entry e = { .settings = s, .faults = f };
		e.group = config_setting_get_elem(schema_member(root, list->name), (unsigned)i);
		schema_what(e.what, sizeof e.what, e.group, list->noun);
		if (config_setting_is_group(e.group))
			check(&e, i);
	}
}

static void read_all(const config_setting_t *root, struct settings *s, struct faults *f)
{
	void *list[LIST_COUNT];
	size_t n[LIST_COUNT];
	schema_read(root, settings_root, SETTINGS_ROOT_ROWS, s, "", f);
	for (size_t i = 0; i < LIST_COUNT; i++)
		n[i] = schema_read_list(root, &settings_lists[i], &list[i], f);
	s->places = list[LIST_PLACES], s->n_places = n[LIST_PLACES];
	s->sensors = list[LIST_SENSORS], s->n_sensors = n[LIST_SENSORS];
	s->sources = list[LIST_SOURCES], s->n_sources = n[LIST_SOURCES];
	s->outputs = list[LIST_OUTPUTS], s->n_outputs = n[LIST_OUTPUTS];
	s->layouts = list[LIST_LAYOUTS], s->n_layouts = n[LIST_LAYOUTS];
}

static void check_all(const config_setting_t *root, const struct settings *s, struct faults *f)
{
	const struct entry whole = { .group = root, .what = "", .settings = s, .faults = f };
	check_zone(&whole, s->zone);
	check_entries(root, LIST_PLACES, s->n_places, check_place, s, f);
	check_entries(root, LIST_SENSORS, s->n_sensors, check_sensor, s, f);
	check_entries(root, LIST_SOURCES, s->n_sources, check_source, s, f);
	check_entries(root, LIST_LAYOUTS, s->n_layouts, check_layout, s, f);
}

/* The kernel's tree is /sys unless another is given (tests do). */
static void fill_paths(struct settings *s)
{
	for (size_t i = 0; i < s->n_sources; i++)
		if (s->sources[i].kind == SOURCE_KERNEL && !s->sources[i].path[0])
			(void)snprintf(s->sources[i].path, PATH_SIZE, "/sys");
}

enum rc settings_load(const char *path, struct settings **out, struct faults *f)
{
	config_t cfg;
	size_t before = f->n + f->beyond;
	struct settings *s = mem_new(1, sizeof *s);
	if (!s)
		faults_add(f, path, 0, "out of memory");
	if (schema_open(&cfg, path, f) && s) {
		read_all(config_root_setting(&cfg), s, f);
		check_all(config_root_setting(&cfg), s, f);
		fill_paths(s);
	}
	config_destroy(&cfg);
	if (f->n + f->beyond == before) {
		*out = s;
		return RC_OK;
	}
	settings_free(s);
	*out = NULL;
	return RC_CONFIG;
}

void settings_free(struct settings *s)
{
	if (!s)
		return;
	mem_free(s->places);
	mem_free(s->sensors);
	mem_free(s->sources);
	mem_free(s->outputs);
	mem_free(s->layouts);
	mem_free(s);
}

void settings_print_help(void (*line)(void *arg, const char *text), void *arg)
{
	schema_print(settings_root, SETTINGS_ROOT_ROWS, "", line, arg);
	for (size_t i = 0; i < LIST_COUNT; i++) {
		char prefix[32];
		(void)snprintf(prefix, sizeof prefix, "%s.", settings_lists[i].name);
		schema_print(settings_lists[i].rows, settings_lists[i].n_rows, prefix, line, arg);
	}
}
