#include <stdio.h>
#include <string.h>

#include "core/finding.h"
#include "core/mem.h"
#include "daemon/recordtext_int.h"
#include "daemon/when.h"

enum { CLOCK_SLACK_S = 300 }; /* clocks differ */

const config_setting_t *recordtext_list(
	struct said *x, const config_setting_t *group, const char *what, const char *name)
{
	const config_setting_t *s = schema_member(group, name);
	int n = s && config_setting_is_aggregate(s) ? config_setting_length(s) : 0;
	bool list = s && (config_setting_is_list(s) || (config_setting_is_array(s) && n == 0));
	if (s && !list)
		schema_fault(x->faults, group, what, name,
			"wrong type: a list of groups ( { ... }, { ... } )");
	else if (n > RECORDTEXT_MAX)
		schema_fault(x->faults, group, what, name, "too many: at most %d", RECORDTEXT_MAX);
	else
		return n > 0 ? s : NULL;
	return NULL;
}

const config_setting_t *recordtext_group(
	struct said *x, const config_setting_t *list, int i, const char *what)
{
	const config_setting_t *s = config_setting_get_elem(list, (unsigned)i);
	if (config_setting_is_group(s))
		return s;
	faults_add(x->faults, schema_file_ref(s), schema_line(s), "%s: wrong type: a group { ... }",
		what);
	return NULL;
}

void recordtext_no_such(struct said *x, const config_setting_t *group, const char *what,
	const char *setting, const char *noun, const char *text, const char *const *names, size_t n)
{
	char hint[400];
	schema_hint(hint, sizeof hint, text, names, n);
	schema_fault(x->faults, group, what, setting, "no such %s: %s", noun, hint);
}

bool recordtext_time(struct said *x, const config_setting_t *group, const char *what,
	const char *name, const char *text, int64_t *t_s)
{
	struct err err = { 0 };
	int64_t t = 0;
	if (strcmp(text, "now") == 0) {
		schema_fault(x->faults, group, what, name,
			"is another time whenever it is read: a date");
		return false;
	}
	if (when_parse(text, x->zone, x->now_s, &t, &err) != RC_OK) {
		const config_setting_t *s = schema_member(group, name);
		faults_add(x->faults, schema_file_ref(s), schema_line(s), "%s: %s: %s", what, name,
			err.text);
		return false;
	}
	if (t < 0) {
		schema_fault(x->faults, group, what, name, "too early: 1970 or later");
		return false;
	}
	*t_s = t;
	return true;
}

bool recordtext_past(struct said *x, const config_setting_t *group, const char *what,
	const char *name, int64_t t_s)
{
	if (t_s <= x->now_s + CLOCK_SLACK_S)
		return true;
	char now[24];
	zone_print_minute(x->zone, x->now_s, now, sizeof now);
	schema_fault(x->faults, group, what, name, "in the future: it is %s", now);
	return false;
}

/* The time `at` of a stay or finding, which has to lie in the subject's time here. */
bool recordtext_at(struct said *x, const struct subject *s, const config_setting_t *group,
	const char *what, const char *text, int64_t *t_s)
{
	int64_t t = 0;
	char limit[24];
	if (!text[0]) {
		if (!schema_member(group, "at"))
			schema_fault(x->faults, group, what, "at", "missing: a date and time");
		return false;
	}
	if (!recordtext_time(x, group, what, "at", text, &t) ||
		!recordtext_past(x, group, what, "at", t))
		return false;
	if (t < s->since_s) {
		zone_print_minute(x->zone, s->since_s, limit, sizeof limit);
		schema_fault(x->faults, group, what, "at",
			"before it came: it is followed since %s", limit);
	} else if (t > s->until_s) {
		zone_print_minute(x->zone, s->until_s, limit, sizeof limit);
		schema_fault(
			x->faults, group, what, "at", "after it went: it was here until %s", limit);
	} else {
		*t_s = t;
		return true;
	}
	return false;
}

/* The array with room for one more than n; NULL after a failure, when the old one stays valid. */
void *recordtext_room(struct said *x, void *array, size_t n, size_t size)
{
	bool full = n == 0 || (n >= 16 && (n & (n - 1)) == 0);
	void *more = full ? mem_grow(array, n ? 2 * n : 16, size) : array;
	if (!more)
		x->rc = err_set(x->err, RC_MEM, "records: out of memory");
	return more;
}

struct stay_text {
	char at[RECORDTEXT_VALUE];
	char place[NAME_SIZE];
};

static const struct field stay_rows[] = {
	{ "at", FIELD_TEXT, AT(stay_text, at), 1, 0, NULL, "", NULL, "from when on" },
	{ "place", FIELD_NAME, AT(stay_text, place), 0, 0, NULL, NULL, NULL, "where it is" },
};

/* The stored stay in force at t_s. */
static const struct stay *stored_at(const struct subject *s, int64_t t_s)
{
	size_t n = s->n_old_stays;
	while (n > 0 && s->old_stays[n - 1].t_s > t_s)
		n--;
	return n > 0 ? &s->old_stays[n - 1] : NULL;
}

static void check_place(struct said *x, const struct subject *s, const config_setting_t *group,
	const char *what, const struct stay *stay)
{
	const struct stay *old = stored_at(s, stay->t_s);
	bool stored = old && old->t_s == stay->t_s && strcmp(old->place, stay->place) == 0;
	if (stored || settings_place(x->set, stay->place))
		return; /* a place given up since then stays known for its time */
	const char *names[PLACES_MAX];
	for (size_t i = 0; i < x->set->n_places; i++)
		names[i] = x->set->places[i].name;
	recordtext_no_such(x, group, what, "place", "place", stay->place, names, x->set->n_places);
}

static void add_stay(struct said *x, const struct subject *s, const config_setting_t *at,
	const struct stay *stay)
{
	/* A stay at since that says what is in force there anyway (since moved forward) is no news. */
	const struct stay *old = stay->t_s == s->since_s ? stored_at(s, stay->t_s) : NULL;
	if (old && strcmp(old->place, stay->place) == 0)
		return;
	struct said_stay *all = recordtext_room(x, x->stays, x->n_stays, sizeof *all);
	if (!all)
		return;
	x->stays = all;
	struct said_stay *new = &all[x->n_stays++];
	*new = (struct said_stay){ .stay = *stay, .at = at };
	(void)snprintf(new->instrument, sizeof new->instrument, "%s", s->name);
}

static void read_stay(struct said *x, const struct subject *s, const config_setting_t *list, int i,
	int64_t times[])
{
	char what[RECORDTEXT_WHAT];
	struct stay_text text = { 0 };
	struct stay stay = { 0 };
	times[i] = TIME_NEVER;
	(void)snprintf(what, sizeof what, "%.90s: stay %d", s->what, i + 1);
	const config_setting_t *group = recordtext_group(x, list, i, what);
	if (!group)
		return;
	schema_read(group, ROWS(stay_rows), &text, what, x->faults);
	bool timed = recordtext_at(x, s, group, what, text.at, &stay.t_s);
	(void)snprintf(stay.place, sizeof stay.place, "%s", text.place);
	if (stay.place[0])
		check_place(x, s, group, what, &stay);
	if (!timed)
		return;
	times[i] = stay.t_s;
	for (int k = 0; k < i; k++) {
		if (times[k] != stay.t_s)
			continue;
		const config_setting_t *other = config_setting_get_elem(list, (unsigned)k);
		schema_fault(x->faults, group, what, "at",
			"stay %d at line %d is of the same time: one of the two", k + 1,
			schema_line(other));
		return;
	}
	add_stay(x, s, group, &stay);
}

void recordtext_stays(struct said *x, const struct subject *s, const char *place)
{
	struct stay only = { .t_s = s->since_s };
	(void)snprintf(only.place, sizeof only.place, "%s", place);
	if (place[0])
		check_place(x, s, s->group, s->what, &only);
	if (place[0] && schema_member(s->group, "stays"))
		schema_fault(x->faults, s->group, s->what, "place",
			"stays are given too: one of the two");
	else if (place[0])
		add_stay(x, s, s->group, &only);
	const config_setting_t *list = recordtext_list(x, s->group, s->what, "stays");
	int n = list ? config_setting_length(list) : 0;
	int64_t *times = mem_new((size_t)n, sizeof *times);
	if (!times)
		x->rc = err_set(x->err, RC_MEM, "records: out of memory");
	for (int i = 0; x->rc == RC_OK && i < n; i++)
		read_stay(x, s, list, i, times);
	mem_free(times);
}
