#include "daemon/schema.h"

#include <assert.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/field.h"
#include "daemon/splice.h"

/* The root's hook is the splice of its text: it says where a line came from. */
static const struct splice *splice_of(const config_setting_t *s)
{
	const config_setting_t *root = config_root_setting(s->config);
	return root ? config_setting_get_hook(root) : NULL;
}

const char *schema_file_ref(const config_setting_t *s)
{
	int line;
	return splice_where_ref(splice_of(s), (int)config_setting_source_line(s), &line);
}

int schema_line(const config_setting_t *s)
{
	int line;
	(void)splice_where_ref(splice_of(s), (int)config_setting_source_line(s), &line);
	return line;
}

/* Where libconfig's own words leave people alone. */
static const char *syntax_hint(const char *text)
{
	if (strcmp(text, "syntax error") == 0)
		return "syntax error: look for a missing ; or , or quote, here or on the line "
		       "above";
	if (strncmp(text, "mismatched element type", 23) == 0)
		return "unlike values between [ ]: write all alike, [40.0, 55.5], or use ( )";
	return text;
}

static void free_splice(void *sp)
{
	splice_free(sp);
}

static bool parse(config_t *cfg, struct splice *sp, struct faults *f)
{
	if (!sp)
		return false;
	config_set_destructor(cfg, free_splice);
	config_set_include_dir(cfg, "/dev/null"); /* splice took every include; none may slip by */
	if (config_read_string(cfg, splice_text_ref(sp)) == CONFIG_TRUE) {
		config_setting_set_hook(config_root_setting(cfg), sp);
		return true;
	}
	int line;
	const char *file = splice_where_ref(sp, config_error_line(cfg), &line);
	faults_add(f, file, line, "%s", syntax_hint(config_error_text(cfg)));
	splice_free(sp);
	return false;
}

bool schema_open(config_t *cfg, const char *path, struct faults *f)
{
	config_init(cfg);
	return parse(cfg, splice_file(path, f), f);
}

bool schema_open_text(config_t *cfg, const char *name, const char *text, struct faults *f)
{
	config_init(cfg);
	return parse(cfg, splice_memory(name, text, f), f);
}

config_setting_t *schema_member(const config_setting_t *group, const char *name)
{
	return config_setting_get_member(group, name);
}

void schema_what(char *buf, size_t n, const config_setting_t *group, const char *noun)
{
	const config_setting_t *name =
		config_setting_is_group(group) ? schema_member(group, "name") : NULL;
	const char *text = name ? config_setting_get_string(name) : NULL;
	if (text)
		(void)snprintf(buf, n, "%s \"%.40s\"", noun, text);
	else
		(void)snprintf(buf, n, "%s %d", noun, config_setting_index(group) + 1);
}

static void fault_at(struct faults *f, const config_setting_t *at, const char *what,
	const char *name, const char *why, const char *accepts)
{
	char value[80];
	field_value(value, sizeof value, at);
	faults_add(f, schema_file_ref(at), schema_line(at), "%s%s%s = %s: %s%s%s", what,
		*what ? ": " : "", name, value, why, *accepts ? ": " : "", accepts);
}

void schema_fault(struct faults *f, const config_setting_t *group, const char *what,
	const char *name, const char *fmt, ...)
{
	char why[512];
	va_list ap;
	va_start(ap, fmt);
	(void)vsnprintf(why, sizeof why, fmt, ap);
	va_end(ap);
	const config_setting_t *s = name ? schema_member(group, name) : NULL;
	if (s)
		fault_at(f, s, what, name, why, "");
	else
		faults_add(f, schema_file_ref(group), schema_line(group), "%s%s%s%s%s", what,
			*what ? ": " : "", name ? name : "", name ? ": " : "", why);
}

bool schema_is_word(const config_setting_t *group, const char *name, const char *const *words)
{
	const config_setting_t *s = schema_member(group, name);
	const char *text = s ? config_setting_get_string(s) : NULL;
	while (text && *words && strcmp(*words, text) != 0)
		words++;
	return text && *words;
}

/* Appends at most `most` of the names that contain text (all when it is NULL); returns how many
 * there are. */
static size_t add_names(char *buf, size_t n, const char *text, const char *const *names,
	size_t n_names, size_t most)
{
	size_t found = 0;
	for (size_t i = 0; i < n_names; i++) {
		size_t len = strlen(buf);
		if (text && !strstr(names[i], text))
			continue;
		if (found < most)
			(void)snprintf(buf + len, n - len, text ? "%s\"%s\"" : "%s%s",
				found ? ", " : "", names[i]);
		found++;
	}
	size_t len = strlen(buf);
	if (found > most)
		(void)snprintf(buf + len, n - len, ", ...");
	return found;
}

enum { HINT_NEAR = 4, HINT_KNOWN = 24 };

void schema_hint(char *buf, size_t n, const char *text, const char *const *names, size_t n_names)
{
	(void)snprintf(buf, n, "did you mean ");
	const char *near = faults_nearest(text, names, n_names);
	size_t len = strlen(buf);
	if (strlen(text) > 2 && add_names(buf, n, text, names, n_names, HINT_NEAR) > 0) {
		len = strlen(buf);
		(void)snprintf(buf + len, n - len, "?");
	} else if (near) {
		(void)snprintf(buf + len, n - len, "\"%s\"?", near);
	} else {
		(void)snprintf(buf, n, n_names ? "known are " : "there are none");
		(void)add_names(buf, n, NULL, names, n_names, HINT_KNOWN);
	}
}

enum { ROWS_MAX = 64 };

static void check_known(const config_setting_t *group, const struct field *rows, size_t n_rows,
	const char *what, struct faults *f)
{
	const char *names[ROWS_MAX];
	assert(n_rows <= ROWS_MAX);
	for (size_t i = 0; i < n_rows; i++)
		names[i] = rows[i].name;
	for (int i = 0; i < config_setting_length(group); i++) {
		const config_setting_t *s = config_setting_get_elem(group, (unsigned)i);
		const char *name = config_setting_name(s);
		size_t k = 0;
		while (k < n_rows && strcmp(names[k], name) != 0)
			k++;
		if (k < n_rows)
			continue;
		char hint[400];
		schema_hint(hint, sizeof hint, name, names, n_rows);
		faults_add(f, schema_file_ref(s), schema_line(s), "%s%s%s: no such setting: %s",
			what, *what ? ": " : "", name, hint);
	}
}

static void put(const config_setting_t *s, const struct field *row, void *target, const char *what,
	struct faults *f)
{
	struct field_fault bad = field_put(row, s, splice_path_ref(splice_of(s)), target);
	if (!bad.why)
		return;
	char accepts[400];
	const char *text = config_setting_get_string(bad.at);
	size_t n_words = 0;
	while (row->words && row->words[n_words])
		n_words++;
	const char *near = text && n_words ? faults_nearest(text, row->words, n_words) : NULL;
	if (near && *near)
		(void)snprintf(accepts, sizeof accepts, "did you mean \"%s\"?", near);
	else if (bad.why == field_too_small || bad.why == field_too_large)
		field_range(accepts, sizeof accepts, row);
	else
		field_accepts(accepts, sizeof accepts, row);
	fault_at(f, bad.at, what, row->name, bad.why, accepts);
}

/* A default is written like a setting and read like one. */
static void put_fallback(const struct field *row, void *target)
{
	char text[400];
	(void)snprintf(text, sizeof text, "v = %s;", row->fallback);
	config_t cfg;
	config_init(&cfg);
	bool read = config_read_string(&cfg, text) == CONFIG_TRUE;
	struct field_fault bad = { NULL, NULL };
	if (read)
		bad = field_put(row, config_lookup(&cfg, "v"), "", target);
	assert(read && !bad.why); /* a row whose default breaks its own rule */
	config_destroy(&cfg);
}

static void read_row(const config_setting_t *group, const struct field *row, void *target,
	bool overlay, const char *what, struct faults *f)
{
	const config_setting_t *s = schema_member(group, row->name);
	if (row->type == FIELD_OTHER)
		return;
	if (s) {
		put(s, row, target, what, f);
	} else if (!overlay && row->fallback) {
		if (row->fallback[0])
			put_fallback(row, target);
	} else if (!overlay) {
		char accepts[300];
		field_accepts(accepts, sizeof accepts, row);
		schema_fault(f, group, what, row->name, "missing: %s", accepts);
	}
}

void schema_read_one(const config_setting_t *group, const struct field *row, void *target,
	const char *what, struct faults *f)
{
	read_row(group, row, target, false, what, f);
}

void schema_read(const config_setting_t *group, const struct field *rows, size_t n_rows,
	void *target, const char *what, struct faults *f)
{
	check_known(group, rows, n_rows, what, f);
	for (size_t i = 0; i < n_rows; i++)
		read_row(group, &rows[i], target, false, what, f);
}

void schema_overlay(const config_setting_t *group, const struct field *rows, size_t n_rows,
	void *target, const char *what, struct faults *f)
{
	check_known(group, rows, n_rows, what, f);
	for (size_t i = 0; i < n_rows; i++)
		read_row(group, &rows[i], target, true, what, f);
}

static const char *name_of(const config_setting_t *entry)
{
	const config_setting_t *s =
		config_setting_is_group(entry) ? schema_member(entry, "name") : NULL;
	return s ? config_setting_get_string(s) : NULL;
}

/* Entry n must not repeat the name of an earlier one. */
static void check_again(const config_setting_t *s, int n, const char *what, struct faults *f)
{
	const config_setting_t *entry = config_setting_get_elem(s, (unsigned)n);
	const char *name = name_of(entry);
	for (int i = 0; name && i < n; i++) {
		const config_setting_t *other = config_setting_get_elem(s, (unsigned)i);
		const char *taken = name_of(other);
		if (!taken || strcmp(taken, name) != 0)
			continue;
		schema_fault(f, entry, what, "name", "given before at %s:%d: a name of its own",
			schema_file_ref(other), schema_line(other));
		return;
	}
}

static void read_entry(const config_setting_t *s, int i, const struct schema_list *list,
	void *entry, struct faults *f)
{
	const config_setting_t *group = config_setting_get_elem(s, (unsigned)i);
	char what[80];
	schema_what(what, sizeof what, group, list->noun);
	if (!config_setting_is_group(group)) {
		fault_at(f, group, "", what, "wrong type", "a group { ... }");
		return;
	}
	schema_read(group, list->rows, list->n_rows, entry, what, f);
	check_again(s, i, what, f);
}

/* The list's setting when it is there and its shape is right. */
static const config_setting_t *find_list(
	const config_setting_t *root, const struct schema_list *list, struct faults *f)
{
	const config_setting_t *s = schema_member(root, list->name);
	size_t n = s && config_setting_is_aggregate(s) ? (size_t)config_setting_length(s) : 0;
	bool empty_array = s && config_setting_is_array(s) && n == 0;
	if (s && !config_setting_is_list(s) && !empty_array)
		schema_fault(f, root, "", list->name,
			"wrong type: a list of groups ( { ... }, { ... } )");
	else if (n < list->min)
		schema_fault(f, root, "", list->name, "%s: at least %zu", s ? "too few" : "missing",
			list->min);
	else if (n > list->max)
		schema_fault(f, root, "", list->name, "too many: at most %zu", list->max);
	else
		return n ? s : NULL;
	return NULL;
}

size_t schema_read_list(const config_setting_t *root, const struct schema_list *list,
	void **entries, struct faults *f)
{
	*entries = NULL;
	const config_setting_t *s = find_list(root, list, f);
	int n = s ? config_setting_length(s) : 0;
	if (n == 0)
		return 0;
	char *memory = mem_new((size_t)n, list->size);
	if (!memory) {
		schema_fault(f, root, "", list->name, "out of memory");
		return 0;
	}
	for (int i = 0; i < n; i++)
		read_entry(s, i, list, memory + (size_t)i * list->size, f);
	*entries = memory;
	return (size_t)n;
}

void schema_print(const struct field *rows, size_t n_rows, const char *prefix,
	void (*line)(void *arg, const char *text), void *arg)
{
	for (size_t i = 0; i < n_rows; i++) {
		const struct field *row = &rows[i];
		char accepts[300], text[800];
		field_accepts(accepts, sizeof accepts, row);
		const char *given = row->type == FIELD_OTHER || (row->fallback && !row->fallback[0])
					    ? ""
				    : row->fallback ? "default "
						    : "must be given";
		const char *fallback = row->fallback ? row->fallback : "";
		(void)snprintf(text, sizeof text, "%s%s: %s; %s%s%s%s", prefix, row->name, accepts,
			given, fallback, *given ? "; " : "", row->help);
		line(arg, text);
	}
}
