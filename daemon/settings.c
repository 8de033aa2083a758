#include "daemon/settings.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "core/bthome.h"
#include "core/mem.h"
#include "daemon/address.h"
#include "daemon/bluez.h"
#include "daemon/gate_address.h"
#include "daemon/phrase.h"
#include "daemon/settings_rows.h"
#include "daemon/when.h"
#include "daemon/zone.h"

enum { NAMES_MAX = STREAMS_MAX }; /* of any list */

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

const struct source *settings_source(const struct settings *s, const char *name)
{
	return find(s->sources, s->n_sources, sizeof *s->sources, name);
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

/* Settings that only sources of some kinds have. */
enum {
	KERNEL = 1 << SOURCE_KERNEL,
	SPOOL = 1 << SOURCE_SPOOL,
	HTTP = 1 << SOURCE_HTTP,
	MQTT = 1 << SOURCE_MQTT,
	BLUETOOTH = 1 << SOURCE_BLUETOOTH,
	COMMAND = 1 << SOURCE_COMMAND,
	SOCKET = 1 << SOURCE_SOCKET,
	PAYLOAD = HTTP | MQTT | COMMAND | SOCKET
};
static const struct {
	const char *setting;
	unsigned kinds;
} owners[] = {
	{ "chip", KERNEL },
	{ "label", KERNEL },
	{ "unit", KERNEL },
	{ "sensor", KERNEL | SPOOL },
	{ "path", KERNEL | SPOOL | SOCKET },
	{ "layout", SPOOL | HTTP | COMMAND },
	{ "format", PAYLOAD },
	{ "size_limit", PAYLOAD },
	{ "url", HTTP },
	{ "header", HTTP },
	{ "ca_file", HTTP | MQTT },
	{ "user", HTTP | MQTT },
	{ "auth", HTTP | MQTT | SOCKET },
	{ "credential", HTTP | MQTT | SOCKET },
	{ "jitter", HTTP | COMMAND },
	{ "time_limit", HTTP | COMMAND | SOCKET },
	{ "host", MQTT },
	{ "port", MQTT },
	{ "tls", MQTT },
	{ "client_id", MQTT },
	{ "program", COMMAND },
	{ "arguments", COMMAND },
	{ "adapter", BLUETOOTH },
	{ "listen", SOCKET },
	{ "rate_limit", SOCKET },
};

static void check_owner(const struct entry *e, const char *setting, unsigned kinds)
{
	char why[200] = "only sources of kind ";
	size_t len = strlen(why), shown = 0;
	for (unsigned i = 0; settings_kinds[i]; i++)
		if (kinds & 1U << i)
			len += (size_t)snprintf(why + len, sizeof why - len, "%s\"%s\"",
				shown++ ? ", " : "", settings_kinds[i]);
	(void)snprintf(why + len, sizeof why - len, " have it: leave it out");
	fault(e, setting, why);
}

static void check_owners(const struct entry *e, enum source_kind kind)
{
	for (size_t i = 0; i < sizeof owners / sizeof owners[0]; i++)
		if (schema_member(e->group, owners[i].setting) && !(owners[i].kinds & 1U << kind))
			check_owner(e, owners[i].setting, owners[i].kinds);
}

static bool has_stream(const struct settings *s, const struct source *source)
{
	for (size_t i = 0; i < s->n_streams; i++)
		if (strcmp(s->streams[i].source, source->name) == 0)
			return true;
	return false;
}

static void check_layout_name(const struct entry *e, const char *name)
{
	const struct settings *s = e->settings;
	if (name[0] && !settings_layout(s, name))
		no_such(e, "layout", "layout", name, s->layouts, s->n_layouts, sizeof *s->layouts);
}

static void check_auth(const struct entry *e, const struct source *s)
{
	if (s->auth != AUTH_NONE && !s->credential[0])
		fault(e, "credential", "missing: where the password or token is kept");
	if (s->auth == AUTH_NONE && s->credential[0])
		fault(e, "auth", "missing: how the credential is shown");
	if (s->auth == AUTH_BASIC && !s->user[0])
		fault(e, "user", "missing: the name beside the password");
	if (s->auth == AUTH_HEADER && !s->header[0])
		fault(e, "header", "missing: name of the header that carries the credential");
	if (s->kind == SOURCE_MQTT && s->auth > AUTH_BASIC)
		fault(e, "auth", "not for mqtt: none or basic");
	if (s->kind == SOURCE_SOCKET && s->auth != AUTH_NONE && s->auth != AUTH_BEARER)
		fault(e, "auth", "not for socket: none or bearer");
}

static void check_kernel(const struct entry *e, const struct source *s)
{
	if (!s->chip[0])
		fault(e, "chip", "missing: text of the chip's name file");
	if (!s->sensor[0])
		fault(e, "sensor", "missing: the sensor whose readings they are");
}

static void check_spool(const struct entry *e, size_t i)
{
	const struct settings *s = e->settings;
	const struct source *source = &s->sources[i];
	if (!source->path[0])
		fault(e, "path", "missing: the folder that files are dropped into");
	check_layout_name(e, source->layout);
	for (size_t k = 0; k < i; k++) {
		const struct source *other = &s->sources[k];
		if (other->kind == SOURCE_SPOOL && source->path[0] &&
			strcmp(other->path, source->path) == 0)
			fault(e, "path",
				"another source takes the files of this folder: a folder of its "
				"own");
	}
}

static void check_http(const struct entry *e, const struct source *s)
{
	/* what may hold a password is not shown */
	if (strchr(s->url, '@'))
		fault(e, NULL,
			"url: a user or password in here would be seen: user and credential");
	else if (strncmp(s->url, "http://", 7) != 0 && strncmp(s->url, "https://", 8) != 0)
		fault(e, "url", "http:// or https:// and where to find it");
	if (strncmp(s->url, "http://", 7) == 0 && s->auth != AUTH_NONE)
		fault(e, "auth", "the credential would travel unencrypted: https:// for it");
	check_layout_name(e, s->layout);
}

static void check_mqtt(const struct entry *e, const struct source *s)
{
	if (!s->host[0])
		fault(e, "host", "missing: the broker");
	if (s->format == FORMAT_DELIMITED)
		fault(e, "format", "not for mqtt: json, plain, metrics or line");
}

static void check_command(const struct entry *e, const struct source *s)
{
	if (!s->program[0])
		fault(e, "program", "missing: what is run");
	check_layout_name(e, s->layout);
}

static void check_socket(const struct entry *e, const struct source *s)
{
	struct gate_address address;
	if (!s->path[0] && !s->listen[0])
		fault(e, "path", "missing: a Unix socket, or listen");
	if (s->listen[0] && s->auth != AUTH_BEARER)
		fault(e, "auth", "missing: bearer, since anyone on the machine can reach listen");
	if (s->listen[0] && !gate_address_parse(s->listen, &address))
		fault(e, "listen", "no address:port: 127.0.0.1:8086, [::1]:8086 or 8086");
	if (s->format != FORMAT_JSON && s->format != FORMAT_LINE)
		fault(e, "format", "not for socket: json or line");
}

static void check_source(const struct entry *e, size_t i)
{
	const struct source *s = &e->settings->sources[i];
	check_sensor_name(e, "sensor", s->sensor);
	if (!schema_is_word(e->group, "kind", settings_kinds))
		return; /* a fault already */
	check_owners(e, s->kind);
	check_auth(e, s);
	switch (s->kind) {
	case SOURCE_KERNEL:
		check_kernel(e, s);
		return;
	case SOURCE_SPOOL:
		check_spool(e, i);
		return;
	case SOURCE_HTTP:
		check_http(e, s);
		break;
	case SOURCE_MQTT:
		check_mqtt(e, s);
		break;
	case SOURCE_BLUETOOTH:
		if (!bluez_adapter_valid(s->adapter))
			fault(e, "adapter", "no adapter's name: letters and digits, as hci0");
		break;
	case SOURCE_COMMAND:
		check_command(e, s);
		break;
	case SOURCE_SOCKET:
		check_socket(e, s);
		break;
	}
	if (!has_stream(e->settings, s))
		fault(e, NULL, "no stream of it: at least one entry in streams");
}

static void check_stream_source(
	const struct entry *e, const struct stream *x, const struct source *source)
{
	bool mqtt = source->kind == SOURCE_MQTT, ble = source->kind == SOURCE_BLUETOOTH;
	uint8_t address[BTHOME_ADDRESS];
	if (source->kind == SOURCE_KERNEL || source->kind == SOURCE_SPOOL)
		fault(e, "source", "a kernel or spool source, which has no streams: another");
	if (mqtt && !x->topic[0])
		fault(e, "topic", "missing: the topic it comes on");
	if (!mqtt && (x->topic[0] || x->segment))
		fault(e, x->topic[0] ? "topic" : "segment",
			"only streams of an mqtt source have it: leave it out");
	if (ble && !x->address[0])
		fault(e, "address", "missing: of the device");
	if (ble && x->address[0] && !bthome_address(x->address, address))
		fault(e, "address",
			"no address: six pairs of hexadecimal digits, as A4:C1:38:00:11:22");
	if (!ble && (x->address[0] || x->key[0]))
		fault(e, x->address[0] ? "address" : "key",
			"only streams of a bluetooth source have it: leave it out");
	if (!ble && source->format != FORMAT_PLAIN && source->format != FORMAT_DELIMITED &&
		!x->humidity[0])
		fault(e, "humidity", "missing: where relative humidity stands");
	if (source->format != FORMAT_JSON && x->time[0])
		fault(e, "time", "only json has it: leave it out");
}

static void check_stream(const struct entry *e, size_t i)
{
	const struct settings *s = e->settings;
	const struct stream *x = &s->streams[i];
	const struct source *source = settings_source(s, x->source);
	check_sensor_name(e, "sensor", x->sensor);
	if (x->source[0] && !source)
		no_such(e, "source", "source", x->source, s->sources, s->n_sources,
			sizeof *s->sources);
	if (source)
		check_stream_source(e, x, source);
	if (x->sensor[0] && x->segment)
		fault(e, "segment", "sensor is given too: one of the two");
	if (!x->sensor[0] && !x->segment)
		fault(e, "sensor", "missing: whose readings they are");
}

/* A calendar whose name another output would also give to one of its own. */
static void check_output_name(const struct entry *e, const struct output *o)
{
	const struct settings *s = e->settings;
	for (size_t i = 0; i < s->n_outputs; i++) {
		const struct output *other = &s->outputs[i];
		size_t n = strlen(other->name);
		if (other != o && n && other->each != EACH_NONE &&
			strncmp(o->name, other->name, n) == 0 && o->name[n] == '-')
			fault(e, "name",
				"begins like the calendars of another output with each: another "
				"name");
	}
}

static void check_subject(const struct entry *e, const struct output *o)
{
	check_place_name(e, "place", o->place);
	if (o->each == EACH_CLIENT && o->client[0])
		fault(e, "client", "each is \"client\": leave one of the two out");
	if (o->each == EACH_PLACE && o->place[0])
		fault(e, "place", "each is \"place\": leave one of the two out");
}

/* Around a change of the clock some times of the night come twice or not at all, and calendars do not agree on which. */
static void check_round(const struct entry *e, const struct output *o)
{
	enum { EARLIEST_S = 4 * 3600 };
	int weekday;
	int32_t clock_s;
	if (!o->round[0])
		return;
	if (!when_weekly(o->round, &weekday, &clock_s))
		fault(e, "round", "no time of the week: as Mon 09:00");
	else if (clock_s < EARLIEST_S)
		fault(e, "round",
			"before 04:00 clocks are put forward and back, and a time may come twice "
			"or "
			"not at all: 04:00 or later");
	if (o->client[0] || o->each == EACH_CLIENT)
		fault(e, "round", "of the bench, and a client's calendar has none: leave it out");
	if (o->show == SHOW_TODOS)
		fault(e, "round", "an event, and show is \"todos\": both or events");
}

/* The host of http://host:port/path is this machine. */
static bool is_loopback(const char *url)
{
	static const char *const hosts[] = { "127.0.0.1", "[::1]", "localhost" };
	const char *host = strstr(url, "://");
	host = host ? host + 3 : url;
	size_t n = host[0] == '[' ? strcspn(host, "]") + 1 : strcspn(host, ":/?#");
	for (size_t i = 0; i < sizeof hosts / sizeof hosts[0]; i++)
		if (strlen(hosts[i]) == n && strncasecmp(host, hosts[i], n) == 0)
			return true;
	return false;
}

static void check_server(const struct entry *e, const struct output *o)
{
	bool plain = strncmp(o->server, "http://", 7) == 0;
	if (strchr(o->server, '@')) /* what may hold a password is not shown */
		fault(e, NULL,
			"server: a user or password in here would be seen: user and credential");
	else if (!plain && strncmp(o->server, "https://", 8) != 0)
		fault(e, "server", "https:// and the name of the host");
	if (plain && o->auth != AUTH_NONE && !is_loopback(o->server))
		fault(e, "auth", "the credential would travel unencrypted: https:// for it");
	if (o->auth != AUTH_NONE && !o->credential[0])
		fault(e, "credential", "missing: where the password or token is kept");
	if (o->auth == AUTH_NONE && o->credential[0])
		fault(e, "auth", "missing: how the credential is shown");
	if (o->auth == AUTH_BASIC && !o->user[0])
		fault(e, "user", "missing: the name beside the password");
}

static void check_no_server(const struct entry *e, const struct output *o)
{
	static const char *const of_server[] = { "auth", "user", "ca_file", "interval" };
	if (!o->folder[0])
		fault(e, NULL, "goes nowhere: a folder for its files, a server, or both");
	for (size_t i = 0; i < sizeof of_server / sizeof of_server[0]; i++)
		if (schema_member(e->group, of_server[i]))
			fault(e, of_server[i], "only for a server: leave it out");
	if (o->credential[0]) /* not shown: it may be the password itself by mistake */
		fault(e, NULL, "credential: only for a server: leave it out");
}

static void check_output(const struct entry *e, size_t i)
{
	const struct output *o = &e->settings->outputs[i];
	check_output_name(e, o);
	check_subject(e, o);
	check_zone(e, o->zone);
	if (!phrase_language(o->language))
		fault(e, "language", "no language known here: a tag such as de, fr-CA or en-GB");
	check_round(e, o);
	if (o->server[0])
		check_server(e, o);
	else
		check_no_server(e, o);
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

/* Left out, it holds the defaults: no mail. */
static void read_mail(const config_setting_t *root, struct settings *s, struct faults *f)
{
	config_t none;
	const config_setting_t *group = schema_member(root, "mail");
	config_init(&none);
	if (group && !config_setting_is_group(group))
		schema_fault(f, root, "", "mail", "wrong type: a group, { ... }");
	else
		schema_read(group ? group : config_root_setting(&none), settings_mail,
			SETTINGS_MAIL_ROWS, &s->mail, "mail", f);
	config_destroy(&none);
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
	s->streams = list[LIST_STREAMS], s->n_streams = n[LIST_STREAMS];
	s->outputs = list[LIST_OUTPUTS], s->n_outputs = n[LIST_OUTPUTS];
	s->layouts = list[LIST_LAYOUTS], s->n_layouts = n[LIST_LAYOUTS];
	read_mail(root, s, f);
}

/* What may hold a password is not shown. */
static bool check_mail_url(const struct entry *e, const char *name, const char *url,
	const char *plain, const char *secure)
{
	char why[160];
	const char *schemes[] = { plain, secure };
	for (size_t i = 0; i < 2; i++) {
		size_t n = strlen(schemes[i]);
		bool ours = strncmp(url, schemes[i], n) == 0;
		if (ours && !strchr(url, '@') && url[n] && url[n] != '/' && url[n] != ':' &&
			!url[strcspn(url, " \t\"\\?;")])
			return true;
	}
	(void)snprintf(why, sizeof why,
		"%s: %s or %s and its host%s; user and password have settings of their own", name,
		plain, secure, strcmp(name, "inbox") == 0 ? ", then /INBOX" : "");
	fault(e, strchr(url, '@') ? NULL : name, strchr(url, '@') ? why : why + strlen(name) + 2);
	return false;
}

static void check_mail_address(const struct entry *e, const char *name, const char *text)
{
	if (text[0] && !address_good(text))
		fault(e, name, "no address: a plain one, as name@example.org");
}

static void check_inbox(const struct entry *e, const struct mail *m)
{
	const char *host = strstr(m->inbox, "://"), *path = host ? strchr(host + 3, '/') : NULL;
	if (!check_mail_url(e, "inbox", m->inbox, "imap://", "imaps://"))
		return;
	if (!path || !path[1])
		fault(e, "inbox", "no mailbox behind the host: /INBOX");
	if (!m->user[0] && !m->inbox_user[0])
		fault(e, "inbox_user", "missing: whose inbox it is");
}

/* Mail needs somewhere to go to and someone whom it is from. */
static void check_mail_out(const struct entry *e, const struct mail *m)
{
	const char *what = m->invite ? "invite" : m->digest_to[0] ? "digest_to" : NULL;
	char why[80];
	if (what && !m->server[0]) {
		(void)snprintf(why, sizeof why, "missing: %s needs where mail is handed in", what);
		fault(e, "server", why);
	}
	if ((what || m->server[0]) && !m->from[0])
		fault(e, "from", "missing: the address mail comes from");
	if ((m->user[0] || m->inbox[0]) && !m->credential[0])
		fault(e, "credential", "missing: where the password is kept");
	if (m->server[0] && m->credential[0] && !m->user[0])
		fault(e, "user", "missing: the name beside the password");
}

static void check_mail(const config_setting_t *root, const struct settings *s, struct faults *f)
{
	const struct mail *m = &s->mail;
	const struct entry e = {
		.group = schema_member(root, "mail"), .what = "mail", .settings = s, .faults = f
	};
	int weekday;
	int32_t clock_s;
	if (!e.group || !config_setting_is_group(e.group))
		return;
	if (m->server[0])
		(void)check_mail_url(&e, "server", m->server, "smtp://", "smtps://");
	if (m->inbox[0])
		check_inbox(&e, m);
	check_mail_address(&e, "from", m->from);
	check_mail_address(&e, "digest_to", m->digest_to);
	check_mail_out(&e, m);
	if (m->digest[0] && !when_weekly(m->digest, &weekday, &clock_s))
		fault(&e, "digest", "no time of the week: as Mon 07:00");
}

static void check_all(const config_setting_t *root, const struct settings *s, struct faults *f)
{
	const struct entry whole = { .group = root, .what = "", .settings = s, .faults = f };
	check_zone(&whole, s->zone);
	check_entries(root, LIST_PLACES, s->n_places, check_place, s, f);
	check_entries(root, LIST_SENSORS, s->n_sensors, check_sensor, s, f);
	check_entries(root, LIST_SOURCES, s->n_sources, check_source, s, f);
	check_entries(root, LIST_STREAMS, s->n_streams, check_stream, s, f);
	check_entries(root, LIST_OUTPUTS, s->n_outputs, check_output, s, f);
	check_entries(root, LIST_LAYOUTS, s->n_layouts, check_layout, s, f);
	check_mail(root, s, f);
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
	mem_free(s->streams);
	mem_free(s->outputs);
	mem_free(s->layouts);
	mem_free(s);
}

void settings_print_help(void (*line)(void *arg, const char *text), void *arg)
{
	schema_print(settings_root, SETTINGS_ROOT_ROWS, "", line, arg);
	schema_print(settings_mail, SETTINGS_MAIL_ROWS, "mail.", line, arg);
	for (size_t i = 0; i < LIST_COUNT; i++) {
		char prefix[32];
		(void)snprintf(prefix, sizeof prefix, "%s.", settings_lists[i].name);
		schema_print(settings_lists[i].rows, settings_lists[i].n_rows, prefix, line, arg);
	}
}
