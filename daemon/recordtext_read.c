#include <string.h>

#include "core/mem.h"
#include "daemon/address.h"
#include "daemon/recordtext_int.h"

static const struct field root_rows[] = {
	{ "clients", FIELD_OTHER, 0, 0, 0, 0, NULL, "", NULL, "whose instruments they are" },
	{ "instruments", FIELD_OTHER, 0, 0, 0, 0, NULL, "", NULL, "with their stays and findings" },
	{ "sensors", FIELD_OTHER, 0, 0, 0, 0, NULL, "", NULL, "their findings and corrections" },
};

struct client_text {
	struct client record;
	char agreed[RECORDTEXT_VALUE];
};

static const struct field client_rows[] = {
	{ "name", FIELD_NAME, AT(client_text, record.name), 0, 0, NULL, NULL, NULL, "short name" },
	{ "title", FIELD_TEXT, AT(client_text, record.title), 0, 0, NULL, "", NULL,
		"name for people" },
	{ "address", FIELD_TEXT, AT(client_text, record.address), 0, 0, NULL, "", NULL,
		"where visits are" },
	{ "note", FIELD_TEXT, AT(client_text, record.note), 0, 0, NULL, "", NULL, "for people" },
	{ "email", FIELD_TEXT, AT(client_text, record.email), 0, 0, NULL, "", NULL,
		"where mail goes" },
	{ "agreed", FIELD_TEXT, AT(client_text, agreed), 0, 0, NULL, "", NULL,
		"when they agreed to mail" },
};

struct instrument_text {
	struct instrument record;
	char since[RECORDTEXT_VALUE], until[RECORDTEXT_VALUE];
	char place[NAME_SIZE];
};

static const struct field instrument_rows[] = {
	{ "name", FIELD_NAME, AT(instrument_text, record.name), 0, 0, NULL, NULL, NULL,
		"short name" },
	{ "title", FIELD_TEXT, AT(instrument_text, record.title), 0, 0, NULL, "", NULL,
		"name for people" },
	{ "client", FIELD_NAME, AT(instrument_text, record.client), 0, 0, NULL, "", NULL,
		"whose it is; \"\": the bench's" },
	{ "build", FIELD_NAME, AT(instrument_text, record.build), 0, 0, NULL, NULL, NULL,
		"its anatomy, from the library" },
	{ "since", FIELD_TEXT, AT(instrument_text, since), 1, 0, NULL, NULL, NULL,
		"followed from then on" },
	{ "until", FIELD_TEXT, AT(instrument_text, until), 0, 0, NULL, "", NULL,
		"when it went; \"\": still here" },
	{ "place", FIELD_NAME, AT(instrument_text, place), 0, 0, NULL, "", NULL,
		"where it is from since on" },
	{ "note", FIELD_TEXT, AT(instrument_text, record.note), 0, 0, NULL, "", NULL,
		"for people" },
	{ "overrides", FIELD_OTHER, 0, 0, 0, 0, NULL, "", NULL, "what is other than in the build" },
	{ "stays", FIELD_OTHER, 0, 0, 0, 0, NULL, "", NULL, "where it was from when on" },
	{ "findings", FIELD_OTHER, 0, 0, 0, 0, NULL, "", NULL, "what was measured and done" },
};

struct sensor_text {
	char name[NAME_SIZE];
};

static const struct field sensor_rows[] = {
	{ "name", FIELD_NAME, AT(sensor_text, name), 0, 0, NULL, NULL, NULL,
		"a sensor of the settings" },
	{ "findings", FIELD_OTHER, 0, 0, 0, 0, NULL, "", NULL, "what was done with it" },
	{ "corrections", FIELD_OTHER, 0, 0, 0, 0, NULL, "", NULL, "what checks over salt gave" },
};

static const char *text_of(const config_setting_t *group, const char *name)
{
	const config_setting_t *s = schema_member(group, name);
	const char *text = s ? config_setting_get_string(s) : NULL;
	return text ? text : "";
}

static void require(struct said *x, const config_setting_t *group, const char *what,
	const char *name, const char *hint)
{
	if (!schema_member(group, name))
		schema_fault(x->faults, group, what, name, "missing: %s", hint);
}

/* Entry n of a list must not repeat the name of an earlier one. */
static void check_again(struct said *x, const config_setting_t *list, int n, const char *what)
{
	const config_setting_t *group = config_setting_get_elem(list, (unsigned)n);
	const char *name = text_of(group, "name");
	for (int i = 0; name[0] && i < n; i++) {
		const config_setting_t *other = config_setting_get_elem(list, (unsigned)i);
		if (!config_setting_is_group(other) || strcmp(text_of(other, "name"), name) != 0)
			continue;
		schema_fault(x->faults, group, what, "name", "given before at %s:%d: once",
			schema_file_ref(other), schema_line(other));
		return;
	}
}

/* What every entry of the three lists begins with: a group, words about it, a name given once. */
static const config_setting_t *begin(struct said *x, const config_setting_t *list, int i,
	const char *noun, char what[RECORDTEXT_WHAT])
{
	schema_what(what, RECORDTEXT_WHAT, config_setting_get_elem(list, (unsigned)i), noun);
	const config_setting_t *group = recordtext_group(x, list, i, what);
	if (!group)
		return NULL;
	require(x, group, what, "name", "lower-case letters, digits, - and _");
	check_again(x, list, i, what);
	return group;
}

/* ---- clients ---- */

static const struct client *find_client(const struct client *all, size_t n, const char *name)
{
	for (size_t i = 0; i < n; i++)
		if (strcmp(all[i].name, name) == 0)
			return &all[i];
	return NULL;
}

/* "" and "no" : they did not. */
static void read_agreed(struct said *x, const config_setting_t *group, const char *what,
	const char *text, struct client *c)
{
	int64_t t = 0;
	if (!schema_member(group, "agreed"))
		return;
	if (!text[0] || strcmp(text, "no") == 0)
		c->agreed_s = 0;
	else if (recordtext_time(x, group, what, "agreed", text, &t) &&
		 recordtext_past(x, group, what, "agreed", t))
		c->agreed_s = t;
}

static void check_mail(
	struct said *x, const config_setting_t *group, const char *what, const struct client *c)
{
	if (c->email[0] && !address_good(c->email))
		schema_fault(x->faults, group, what, "email",
			"no address: a plain one, as name@example.org");
	else if (!c->email[0] && c->agreed_s)
		schema_fault(x->faults, group, what,
			schema_member(group, "email") ? "email" : "agreed",
			"agreed to mail without an address: email too, or agreed = \"no\"");
}

static void read_client(struct said *x, const config_setting_t *list, int i)
{
	struct client_text text = { 0 };
	char what[RECORDTEXT_WHAT];
	const config_setting_t *group = begin(x, list, i, "client", what);
	struct client *c = &x->clients[x->n_clients++];
	if (!group)
		return;
	const struct client *old =
		find_client(x->old_clients, x->n_old_clients, text_of(group, "name"));
	if (old)
		text.record = *old;
	schema_overlay(group, ROWS(client_rows), &text, what, x->faults);
	read_agreed(x, group, what, text.agreed, &text.record);
	check_mail(x, group, what, &text.record);
	*c = text.record;
}

static void check_client(
	struct said *x, const config_setting_t *group, const char *what, const char *name)
{
	size_t n = 0;
	if (!name[0] || find_client(x->clients, x->n_clients, name) ||
		find_client(x->old_clients, x->n_old_clients, name))
		return;
	const char **names = mem_new(x->n_clients + x->n_old_clients, sizeof *names);
	if (!names) {
		x->rc = err_set(x->err, RC_MEM, "records: out of memory");
		return;
	}
	for (size_t i = 0; i < x->n_old_clients; i++)
		names[n++] = x->old_clients[i].name;
	for (size_t i = 0; i < x->n_clients; i++)
		if (x->clients[i].id == 0 && x->clients[i].name[0])
			names[n++] = x->clients[i].name; /* new ones without a fault */
	recordtext_no_such(x, group, what, "client", "client", name, names, n);
	mem_free(names);
}

/* ---- instruments ---- */

static const struct instrument *find_old(const struct said *x, const char *name)
{
	for (size_t i = 0; i < x->n_old_instruments; i++)
		if (strcmp(x->old_instruments[i].name, name) == 0)
			return &x->old_instruments[i];
	return NULL;
}

static const struct build *check_build(
	struct said *x, const config_setting_t *group, const char *what, const char *name)
{
	const struct build *b = name[0] ? library_build(x->lib, name) : NULL;
	if (b || !name[0])
		return b;
	const char **names = mem_new(x->lib->n_builds, sizeof *names);
	if (!names) {
		x->rc = err_set(x->err, RC_MEM, "records: out of memory");
		return NULL;
	}
	for (size_t i = 0; i < x->lib->n_builds; i++)
		names[i] = x->lib->builds[i].name;
	recordtext_no_such(x, group, what, "build", "build", name, names, x->lib->n_builds);
	mem_free(names);
	return NULL;
}

static void read_times(struct said *x, const config_setting_t *group,
	const struct instrument_text *text, struct subject *s, struct instrument *record)
{
	bool past = true;
	s->since_s = record->since_s;
	s->until_s = record->until_s;
	if (schema_member(group, "since")) {
		bool read = text->since[0] &&
			    recordtext_time(x, group, s->what, "since", text->since, &s->since_s);
		past = read && recordtext_past(x, group, s->what, "since", s->since_s);
		s->since_s = past ? s->since_s : INT64_MIN;
	}
	if (schema_member(group, "until")) {
		s->until_s = TIME_NEVER;
		if (text->until[0] &&
			recordtext_time(x, group, s->what, "until", text->until, &s->until_s) &&
			s->until_s <= s->since_s) {
			schema_fault(x->faults, group, s->what, "until",
				"not after since: later, or \"\" for still here");
			s->until_s = TIME_NEVER;
		}
	}
	record->since_s = s->since_s;
	record->until_s = s->until_s;
}

/* What is stored has to lie in the time that the text gives. */
static void check_kept(struct said *x, const struct subject *s, const struct instrument *old)
{
	struct finding *list = NULL;
	size_t n = 0;
	char when[24];
	if (s->since_s <= old->since_s && s->until_s >= old->until_s)
		return;
	x->rc = record_findings(x->store, CARE_OF_INSTRUMENT, old->name, &list, &n, x->err);
	int64_t first = n ? list[0].t_s : TIME_NEVER, last = n ? list[n - 1].t_s : INT64_MIN;
	mem_free(list);
	if (s->n_old_stays && s->old_stays[s->n_old_stays - 1].t_s > last)
		last = s->old_stays[s->n_old_stays - 1].t_s;
	if (first < s->since_s) {
		zone_print_minute(x->zone, first, when, sizeof when);
		schema_fault(x->faults, s->group, s->what, "since",
			"a finding of %s is stored: not later than that", when);
	}
	if (last > s->until_s) {
		zone_print_minute(x->zone, last, when, sizeof when);
		schema_fault(x->faults, s->group, s->what, "until",
			"a stay or finding of %s is stored: not before that", when);
	}
}

static void read_old(struct said *x, struct subject *s, const struct instrument *old)
{
	x->rc = record_stays(x->store, old->id, &s->old_stays, &s->n_old_stays, x->err);
	if (x->rc == RC_OK)
		check_kept(x, s, old);
}

static void read_instrument(struct said *x, const config_setting_t *list, int i)
{
	struct subject s = { .kind = CARE_OF_INSTRUMENT };
	const config_setting_t *group = begin(x, list, i, "instrument", s.what);
	struct instrument *record = &x->instruments[x->n_instruments++];
	if (!group)
		return;
	const struct instrument *old = find_old(x, text_of(group, "name"));
	struct instrument_text text = { .record = { .since_s = INT64_MIN, .until_s = TIME_NEVER } };
	if (old)
		text.record = *old;
	s.group = group;
	schema_overlay(group, ROWS(instrument_rows), &text, s.what, x->faults);
	if (!old) {
		require(x, group, s.what, "build", "a build of the library");
		require(x, group, s.what, "since", "the date from which it is followed");
	}
	memcpy(s.name, text.record.name, sizeof s.name);
	check_client(x, group, s.what, text.record.client);
	const struct build *base = check_build(x, group, s.what, text.record.build);
	recordtext_overrides(x, group, s.what, &text.record, base);
	read_times(x, group, &text, &s, &text.record);
	*record = text.record;
	if (old)
		read_old(x, &s, old);
	if (x->rc == RC_OK)
		recordtext_stays(x, &s, text.place);
	if (x->rc == RC_OK)
		recordtext_findings(x, &s);
	mem_free(s.old_stays);
}

/* ---- sensors ---- */

static void check_sensor(
	struct said *x, const config_setting_t *group, const char *what, const char *name)
{
	int64_t id;
	if (!name[0] || settings_sensor(x->set, name))
		return;
	if (store_sensor_find(x->store, name, &id, NULL) == RC_OK)
		return; /* gone from the settings, but its readings are there */
	const char *names[SENSORS_MAX];
	for (size_t i = 0; i < x->set->n_sensors; i++)
		names[i] = x->set->sensors[i].name;
	recordtext_no_such(x, group, what, "name", "sensor", name, names, x->set->n_sensors);
}

static void read_sensor(struct said *x, const config_setting_t *list, int i)
{
	struct subject s = { .kind = CARE_OF_SENSOR, .since_s = INT64_MIN, .until_s = TIME_NEVER };
	struct sensor_text text = { 0 };
	s.group = begin(x, list, i, "sensor", s.what);
	if (!s.group)
		return;
	schema_overlay(s.group, ROWS(sensor_rows), &text, s.what, x->faults);
	memcpy(s.name, text.name, sizeof s.name);
	check_sensor(x, s.group, s.what, s.name);
	recordtext_findings(x, &s);
	if (x->rc == RC_OK)
		recordtext_corrections(x, &s);
}

/* ---- all ---- */

static int length(const config_setting_t *list)
{
	return list ? config_setting_length(list) : 0;
}

void recordtext_read(struct said *x, const config_setting_t *root)
{
	const char *none = "";
	schema_overlay(root, ROWS(root_rows), x, none, x->faults);
	const config_setting_t *clients = recordtext_list(x, root, none, "clients");
	const config_setting_t *instruments = recordtext_list(x, root, none, "instruments");
	const config_setting_t *sensors = recordtext_list(x, root, none, "sensors");
	x->clients = mem_new((size_t)length(clients), sizeof *x->clients);
	x->instruments = mem_new((size_t)length(instruments), sizeof *x->instruments);
	if (!x->clients || !x->instruments)
		x->rc = err_set(x->err, RC_MEM, "records: out of memory");
	for (int i = 0; x->rc == RC_OK && i < length(clients); i++)
		read_client(x, clients, i);
	for (int i = 0; x->rc == RC_OK && i < length(instruments); i++)
		read_instrument(x, instruments, i);
	for (int i = 0; x->rc == RC_OK && i < length(sensors); i++)
		read_sensor(x, sensors, i);
}
