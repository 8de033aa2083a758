#include "daemon/library_int.h"

#include <dirent.h>
#include <fnmatch.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "core/mem.h"
#include "core/moisture.h"

enum { PATH_BYTES = 600 };

/* Moduli are read in GPa and scaled afterwards. */
static const struct field wood_rows[] = {
	{ "name", FIELD_NAME, FIELD_AT(wood, species.name), 0, 0, NULL, NULL, NULL,
		"short name, used by builds" },
	{ "title", FIELD_TEXT, FIELD_AT(wood, title), 1, 0, NULL, NULL, NULL, "name for people" },
	{ "specific_gravity", FIELD_REAL, FIELD_AT(wood, species.specific_gravity), 0.1, 1.3, NULL,
		NULL, NULL, "at 12 % MC" },
	{ "c_r", FIELD_REAL, FIELD_AT(wood, species.c_r_per_pct), 0, 0.01, NULL, NULL, NULL,
		"radial swelling, fraction per 1 % MC" },
	{ "c_t", FIELD_REAL, FIELD_AT(wood, species.c_t_per_pct), 0, 0.01, NULL, NULL, NULL,
		"tangential swelling" },
	{ "c_l", FIELD_REAL, FIELD_AT(wood, species.c_l_per_pct), 0, 0.002, NULL, NULL, NULL,
		"swelling along the grain" },
	{ "e_l", FIELD_REAL, FIELD_AT(wood, species.e_l_pa), 0.5, 60, "GPa", NULL, NULL,
		"modulus along the grain" },
	{ "e_r", FIELD_REAL, FIELD_AT(wood, species.e_r_pa), 0.02, 10, "GPa", NULL, NULL,
		"radial modulus" },
	{ "e_t", FIELD_REAL, FIELD_AT(wood, species.e_t_pa), 0.02, 10, "GPa", NULL, NULL,
		"tangential modulus" },
	{ "shrinkage_r", FIELD_REAL, FIELD_AT(wood, shrinkage_r_pct), 0.5, 15, "%", "", NULL,
		"radial shrinkage, green to oven-dry, when c_r comes from it" },
	{ "shrinkage_t", FIELD_REAL, FIELD_AT(wood, shrinkage_t_pct), 0.5, 20, "%", "", NULL,
		"tangential shrinkage likewise" },
	{ "shrinkage_start", FIELD_REAL, FIELD_AT(wood, start_pct), 15, 40, "% MC", "30", NULL,
		"moisture at which shrinkage begins" },
	{ "source", FIELD_TEXT, FIELD_AT(wood, source), 1, 0, NULL, NULL, NULL,
		"what each value rests on" },
};

struct coat {
	struct finish finish;
	char source[LIBRARY_SOURCE];
};

static const struct field coat_rows[] = {
	{ "name", FIELD_NAME, FIELD_AT(coat, finish.name), 0, 0, NULL, NULL, NULL,
		"short name, used by builds" },
	{ "resistance", FIELD_REAL, FIELD_AT(coat, finish.resistance_s_m), 0, MOISTURE_SEALED,
		"s/m", NULL, NULL,
		"to vapour, in series with the air film; 1e30 lets nothing through" },
	{ "source", FIELD_TEXT, FIELD_AT(coat, source), 1, 0, NULL, NULL, NULL,
		"what the value rests on" },
};

static const struct schema_list wood_list = { "species", "species", FIELD_ROWS(wood_rows),
	sizeof(struct wood), 0, LIBRARY_MAX };
static const struct schema_list coat_list = { "finishes", "finish", FIELD_ROWS(coat_rows),
	sizeof(struct coat), 0, LIBRARY_MAX };

/* One loading. */
struct load {
	struct library *lib;
	struct faults *faults;
	const char *dir;
	bool first; /* folder: its files must be there */
	bool from_here[LIBRARY_MAX]; /* builds[i] comes from this folder */
};

void *library_find(void *entries, size_t n, size_t size, const char *name)
{
	for (size_t i = 0; i < n; i++)
		if (strcmp((char *)entries + i * size, name) == 0)
			return (char *)entries + i * size;
	return NULL;
}

void library_no_such(struct faults *f, const config_setting_t *group, const char *what,
	const char *setting, const char *noun, const char *text, const void *entries, size_t n,
	size_t size)
{
	const char *names[LIBRARY_MAX];
	char hint[400];
	for (size_t i = 0; i < n; i++)
		names[i] = (const char *)entries + i * size;
	schema_hint(hint, sizeof hint, text, names, n);
	schema_fault(f, group, what, setting, "no such %s: %s", noun, hint);
}

/* Puts one entry over that of the same name, or behind the others. Returns its index,
 * LIBRARY_MAX when there is no room. */
static size_t put(void **entries, size_t *n, size_t size, const void *entry)
{
	char *old = library_find(*entries, *n, size, entry);
	if (old) {
		memcpy(old, entry, size);
		return (size_t)(old - (char *)*entries) / size;
	}
	void *grown = *n < LIBRARY_MAX ? mem_grow(*entries, *n + 1, size) : NULL;
	if (!grown)
		return LIBRARY_MAX;
	memcpy((char *)grown + *n * size, entry, size);
	*entries = grown;
	return (*n)++;
}

static void no_room(const struct load *ld, const char *what)
{
	faults_add(ld->faults, ld->dir, 0, "%s: no room: at most %d", what, LIBRARY_MAX);
}

static void take_woods(struct load *ld, const config_setting_t *root)
{
	void *list, *all = ld->lib->woods;
	size_t n = schema_read_list(root, &wood_list, &list, ld->faults);
	struct wood *woods = list;
	for (size_t i = 0; i < n; i++) {
		woods[i].species.e_l_pa *= 1e9;
		woods[i].species.e_r_pa *= 1e9;
		woods[i].species.e_t_pa *= 1e9;
		if (put(&all, &ld->lib->n_woods, sizeof woods[i], &woods[i]) == LIBRARY_MAX)
			no_room(ld, "species");
	}
	ld->lib->woods = all;
	mem_free(list);
}

static void take_finishes(struct load *ld, const config_setting_t *root)
{
	void *list, *all = ld->lib->finishes;
	size_t n = schema_read_list(root, &coat_list, &list, ld->faults);
	const struct coat *coats = list;
	for (size_t i = 0; i < n; i++)
		if (put(&all, &ld->lib->n_finishes, sizeof coats[i].finish, &coats[i].finish) ==
			LIBRARY_MAX)
			no_room(ld, "finishes");
	ld->lib->finishes = all;
	mem_free(list);
}

static void take_care(struct load *ld, const config_setting_t *root)
{
	static const struct field known[] = {
		{ .name = "rules", .type = FIELD_OTHER },
		{ .name = "learning", .type = FIELD_OTHER },
	};
	void *list, *all = ld->lib->rules;
	schema_read(root, FIELD_ROWS(known), NULL, "", ld->faults);
	library_read_learning(root, ld->first, ld->lib->learning, ld->faults);
	size_t n = library_read_rules(root, &list, ld->faults);
	const struct care_rule *rules = list;
	for (size_t i = 0; i < n; i++)
		if (put(&all, &ld->lib->n_rules, sizeof rules[i], &rules[i]) == LIBRARY_MAX)
			no_room(ld, "rules");
	ld->lib->rules = all;
	mem_free(list);
}

static void take_build(struct load *ld, const config_setting_t *root)
{
	struct build b = { 0 };
	void *all = ld->lib->builds;
	library_read_build(ld->lib, root, false, &b, ld->faults);
	const struct build *old = library_build(ld->lib, b.name);
	if (old && b.name[0] && ld->from_here[old - ld->lib->builds])
		schema_fault(ld->faults, root, "", "name",
			"another build of this folder has it: a name of its own");
	size_t at = put(&all, &ld->lib->n_builds, sizeof b, &b);
	if (at == LIBRARY_MAX)
		no_room(ld, "builds");
	else
		ld->from_here[at] = true;
	ld->lib->builds = all;
}

/* Reads dir/name, which only the first folder has to have. only: the one setting at its top,
 * NULL: the taker looks itself. */
static void take_file(struct load *ld, const char *name, const char *only,
	void (*take)(struct load *, const config_setting_t *))
{
	const struct field known = { .name = only, .type = FIELD_OTHER };
	char path[PATH_BYTES];
	if (snprintf(path, sizeof path, "%s/%s", ld->dir, name) >= PATH_BYTES) {
		faults_add(
			ld->faults, ld->dir, 0, "path too long: at most %d bytes", PATH_BYTES - 1);
		return;
	}
	config_t cfg;
	if (!ld->first && access(path, F_OK) != 0)
		return;
	if (schema_open(&cfg, path, ld->faults)) {
		if (only)
			schema_read(config_root_setting(&cfg), &known, 1, NULL, "", ld->faults);
		take(ld, config_root_setting(&cfg));
	}
	config_destroy(&cfg);
}

static int is_conf(const struct dirent *d)
{
	return fnmatch("*.conf", d->d_name, FNM_PERIOD) == 0;
}

/* The files of dir/builds in the order of their names. */
static void take_builds(struct load *ld)
{
	char path[PATH_BYTES];
	struct dirent **files = NULL;
	(void)snprintf(path, sizeof path, "%s/builds", ld->dir);
	int n = scandir(path, &files, is_conf, alphasort);
	if (n <= 0 && ld->first)
		faults_add(ld->faults, path, 0, "no builds: a folder with files *.conf");
	memset(ld->from_here, 0, sizeof ld->from_here);
	for (int i = 0; i < n; i++) {
		char name[PATH_BYTES];
		(void)snprintf(name, sizeof name, "builds/%s", files[i]->d_name);
		take_file(ld, name, NULL, take_build);
		free(files[i]);
	}
	free(files);
}

/* Builds come last: they may name a species of any folder. */
static void take_folders(struct load *ld, const char *const *dirs, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		ld->dir = dirs[i];
		ld->first = i == 0;
		take_file(ld, "species.conf", "species", take_woods);
		take_file(ld, "finishes.conf", "finishes", take_finishes);
		take_file(ld, "care.conf", NULL, take_care);
	}
	for (size_t i = 0; i < n; i++) {
		ld->dir = dirs[i];
		ld->first = i == 0;
		take_builds(ld);
	}
}

enum rc library_load(const char *const *dirs, size_t n, struct library **out, struct faults *f)
{
	size_t before = f->n + f->beyond;
	struct load *ld = mem_new(1, sizeof *ld);
	struct library *lib = mem_new(1, sizeof *lib);
	*out = NULL;
	if (!ld || !lib) {
		faults_add(f, NULL, 0, "library: out of memory");
	} else if (n == 0 || access(dirs[0], R_OK) != 0) {
		faults_add(f, n ? dirs[0] : "library", 0,
			"no such folder: the folder of species.conf");
	} else {
		ld->lib = lib;
		ld->faults = f;
		take_folders(ld, dirs, n);
	}
	mem_free(ld);
	if (f->n + f->beyond == before) {
		*out = lib;
		return RC_OK;
	}
	library_free(lib);
	return RC_CONFIG;
}

void library_free(struct library *l)
{
	if (!l)
		return;
	mem_free(l->woods);
	mem_free(l->finishes);
	mem_free(l->builds);
	mem_free(l->rules);
	mem_free(l);
}

const struct wood *library_wood(const struct library *l, const char *name)
{
	return library_find(l->woods, l->n_woods, sizeof *l->woods, name);
}

const struct finish *library_finish(const struct library *l, const char *name)
{
	return library_find(l->finishes, l->n_finishes, sizeof *l->finishes, name);
}

const struct build *library_build(const struct library *l, const char *name)
{
	return library_find(l->builds, l->n_builds, sizeof *l->builds, name);
}

const struct care_rule *library_rule(const struct library *l, const char *name)
{
	return library_find(l->rules, l->n_rules, sizeof *l->rules, name);
}

enum rc library_override(const struct library *l, const struct build *base, const char *text,
	const char *what, struct build *out, struct faults *f)
{
	size_t before = f->n + f->beyond;
	struct build b = *base;
	config_t cfg;
	if (text && text[0]) {
		if (schema_open_text(&cfg, what, text, f))
			library_read_build(l, config_root_setting(&cfg), true, &b, f);
		config_destroy(&cfg);
	}
	if (f->n + f->beyond > before)
		return RC_CONFIG;
	*out = b;
	return RC_OK;
}
