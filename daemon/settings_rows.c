#include "daemon/settings_rows.h"

#include "daemon/settings.h"

#define ENTRY_AT(type, member) offsetof(struct type, member), sizeof(((struct type *)0)->member[0])
#define ONE_DAY_S 86400.0

static const char *const unit_words[] = { "inch", "mm", NULL };
const char *const settings_kinds[] = {
	[SOURCE_KERNEL] = "kernel",
	[SOURCE_SPOOL] = "spool",
	[SOURCE_HTTP] = "http",
	[SOURCE_MQTT] = "mqtt",
	[SOURCE_BLUETOOTH] = "bluetooth",
	[SOURCE_COMMAND] = "command",
	[SOURCE_SOCKET] = "socket",
	[SOURCE_SOCKET + 1] = NULL,
};
static const char *const format_words[] = { "json", "metrics", "line", "delimited", "plain", NULL };
static const char *const auth_words[] = { "none", "basic", "bearer", "header", NULL };
static const char *const humidity_words[] = { "percent", "fraction", NULL };
static const char *const temperature_words[] = { "celsius", "fahrenheit", NULL };
static const char *const show_words[] = { "both", "todos", "events", NULL };
static const char *const each_words[] = { "none", "client", "place", NULL };
static const char *const output_unit_words[] = { "own", "inch", "mm", NULL };
static const char *const privacy_words[] = { "public", "private", "confidential", NULL };
static const char *const output_auth_words[] = { "none", "basic", "bearer", NULL };
static const char *const kernel_words[] = { "milli", "percent", NULL };
static const char *const encoding_words[] = { "guess", "utf-8", "utf-16", "latin-1", NULL };
static const char *const order_words[] = { "guess", "ymd", "dmy", "mdy", NULL };
static const char *const rh_words[] = { "guess", "percent", "fraction", NULL };
static const char *const temp_words[] = { "guess", "celsius", "fahrenheit", NULL };
static const char *const delimiter_words[] = { "", "comma", "semicolon", "tab", NULL };
static const char *const decimal_words[] = { "", "point", "comma", NULL };

/* CSS Color Module Level 3, section 4: RFC 7986 section 5.9 asks for these words. */
const char *const settings_colours[SETTINGS_COLOURS + 1] = {
	"none",
	"black",
	"blue",
	"brown",
	"coral",
	"crimson",
	"darkgreen",
	"firebrick",
	"fuchsia",
	"goldenrod",
	"gray",
	"green",
	"indigo",
	"lime",
	"maroon",
	"navy",
	"olive",
	"orange",
	"purple",
	"red",
	"sienna",
	"steelblue",
	"teal",
	"tomato",
	"yellow",
	NULL,
};

const struct field settings_root[SETTINGS_ROOT_ROWS] = {
	{ "store", FIELD_PATH, FIELD_AT(settings, store), 1, 0, NULL,
		"\"/var/lib/seasond/seasond.db\"", NULL,
		"file of all readings, findings and care items" },
	{ "zone", FIELD_TEXT, FIELD_AT(settings, zone), 1, 0, NULL, NULL, NULL,
		"time zone, as Europe/Vienna, of places and calendars that name none" },
	{ "units", FIELD_WORD, FIELD_AT(settings, units), 0, 0, NULL, "\"mm\"", unit_words,
		"what small gaps and heights are printed in" },
	{ "library", FIELD_PATHS, ENTRY_AT(settings, library), 1, LIBRARY_DIRS_MAX, NULL,
		"[\"" DATADIR "\"]", NULL,
		"folders of species, finishes, builds and care rules; an entry of a later folder "
		"replaces one of the "
		"same name" },
	{ "bench", FIELD_TEXT, FIELD_AT(settings, bench_name), 0, 0, NULL, "\"\"", NULL,
		"name of the bench, shown in its calendars" },
	{ "places", FIELD_OTHER, 0, 0, 0, 0, NULL, NULL, NULL,
		"rooms and cases with air of their own" },
	{ "sensors", FIELD_OTHER, 0, 0, 0, 0, NULL, NULL, NULL,
		"streams of readings, each bound to a place" },
	{ "sources", FIELD_OTHER, 0, 0, 0, 0, NULL, NULL, NULL, "how readings reach us" },
	{ "streams", FIELD_OTHER, 0, 0, 0, 0, NULL, NULL, NULL,
		"where a sensor's readings stand in what a source brings" },
	{ "outputs", FIELD_OTHER, 0, 0, 0, 0, NULL, NULL, NULL, "calendars that are written" },
	{ "mail", FIELD_OTHER, 0, 0, 0, 0, "a group", "", NULL,
		"digests to the bench, invitations to clients who agreed" },
	{ "layouts", FIELD_OTHER, 0, 0, 0, 0, NULL, NULL, NULL,
		"named layouts of exports; every setting may be guessed" },
};

static const struct field place_rows[] = {
	{ "name", FIELD_NAME, FIELD_AT(place, name), 0, 0, NULL, NULL, NULL,
		"short name, used by sensors and commands" },
	{ "title", FIELD_TEXT, FIELD_AT(place, title), 0, 0, NULL, "\"\"", NULL,
		"name shown to people" },
	{ "room", FIELD_NAME, FIELD_AT(place, room), 0, 0, NULL, "\"\"", NULL,
		"of a case: the place it stands in" },
	{ "zone", FIELD_TEXT, FIELD_AT(place, zone), 0, 0, NULL, "\"\"", NULL,
		"time zone when it is another" },
	/* rh_low_pct and rh_high_pct stand side by side */
	{ "band", FIELD_PAIR, offsetof(struct place, rh_low_pct), 2 * sizeof(double), 0, 100,
		"% RH", "", NULL,
		"humidity the place should keep; left out, its instruments decide" },
};

static const struct field sensor_rows[] = {
	{ "name", FIELD_NAME, FIELD_AT(sensor, name), 0, 0, NULL, NULL, NULL,
		"short name, used by sources and commands" },
	{ "title", FIELD_TEXT, FIELD_AT(sensor, title), 0, 0, NULL, "\"\"", NULL,
		"name shown to people" },
	{ "place", FIELD_NAME, FIELD_AT(sensor, place), 0, 0, NULL, NULL, NULL,
		"the place whose air it measures" },
	{ "silent_after", FIELD_SPAN, FIELD_AT(sensor, silent_after_s), 600, 90 * ONE_DAY_S, NULL,
		"\"1 d\"", NULL, "no reading for so long calls for a look" },
	{ "accuracy", FIELD_REAL, FIELD_AT(sensor, accuracy_pct), 0.1, 20, "% RH", "2", NULL,
		"one standard deviation of its humidity, as its maker or a check says" },
};

static const struct field source_rows[] = {
	{ "name", FIELD_NAME, FIELD_AT(source, name), 0, 0, NULL, NULL, NULL,
		"short name, used in messages" },
	{ "kind", FIELD_WORD, FIELD_AT(source, kind), 0, 0, NULL, NULL, settings_kinds,
		"kernel: a sensor the kernel knows; spool: a folder that files are dropped into; "
		"http: a page that is fetched; mqtt: topics of a broker; bluetooth: advertisements "
		"in the open BTHome format; command: a program that is run; socket: readings that "
		"local programs hand in" },
	{ "interval", FIELD_SPAN, FIELD_AT(source, interval_s), 10, 1 * ONE_DAY_S, NULL,
		"\"5 min\"", NULL,
		"kernel, http, command: time between readings; bluetooth: between two that are "
		"kept; spool: between looks besides the kernel's notices" },
	{ "sensor", FIELD_NAME, FIELD_AT(source, sensor), 0, 0, NULL, "\"\"", NULL,
		"whose readings they are; spool: for files that name none" },
	{ "chip", FIELD_TEXT, FIELD_AT(source, chip), 0, 0, NULL, "\"\"", NULL,
		"kernel: text of the chip's name file" },
	{ "label", FIELD_TEXT, FIELD_AT(source, label), 0, 0, NULL, "\"\"", NULL,
		"kernel: text of the label file, to tell two chips apart" },
	{ "path", FIELD_PATH, FIELD_AT(source, path), 0, 0, NULL, "\"\"", NULL,
		"spool: the folder; kernel: root of the kernel's tree, /sys when left out; socket: "
		"the Unix socket" },
	{ "layout", FIELD_NAME, FIELD_AT(source, layout), 0, 0, NULL, "\"\"", NULL,
		"spool: layout of the files" },
	{ "unit", FIELD_WORD, FIELD_AT(source, unit), 0, 0, NULL, "\"milli\"", kernel_words,
		"kernel: percent for drivers that do not give thousandths" },
	{ "format", FIELD_WORD, FIELD_AT(source, format), 0, 0, NULL, "\"json\"", format_words,
		"http, mqtt, command, socket: of what it brings" },
	{ "url", FIELD_TEXT, FIELD_AT(source, url), 0, 0, NULL, "\"\"", NULL,
		"http: what is fetched" },
	{ "host", FIELD_TEXT, FIELD_AT(source, host), 0, 0, NULL, "\"\"", NULL,
		"mqtt: the broker" },
	{ "port", FIELD_INT, FIELD_AT(source, port), 0, 65535, NULL, "0", NULL,
		"mqtt: its port; 0: 1883, or 8883 with tls" },
	{ "tls", FIELD_BOOL, FIELD_AT(source, tls), 0, 0, NULL, "false", NULL,
		"mqtt: encrypted, and the broker's certificate is checked" },
	{ "ca_file", FIELD_PATH, FIELD_AT(source, ca_file), 0, 0, NULL, "\"\"", NULL,
		"http, mqtt: certificates of an authority of your own" },
	{ "auth", FIELD_WORD, FIELD_AT(source, auth), 0, 0, NULL, "\"none\"", auth_words,
		"http, mqtt: how the credential is shown; mqtt: none or basic; socket: none or "
		"bearer" },
	{ "user", FIELD_TEXT, FIELD_AT(source, user), 0, 0, NULL, "\"\"", NULL,
		"http, mqtt: name beside a password" },
	{ "header", FIELD_TEXT, FIELD_AT(source, header), 0, 0, NULL, "\"\"", NULL,
		"http: name of the header that carries the credential" },
	{ "credential", FIELD_TEXT, FIELD_AT(source, credential), 0, 0, NULL, "\"\"", NULL,
		"http, mqtt, socket: password or token: name of a credential of the service "
		"manager, or path of a file that only its owner may read" },
	{ "client_id", FIELD_TEXT, FIELD_AT(source, client_id), 0, 0, NULL, "\"\"", NULL,
		"mqtt: name of the session that the broker keeps; seasond-NAME when left out" },
	{ "jitter", FIELD_SPAN, FIELD_AT(source, jitter_s), 0, 3600, NULL, "0", NULL,
		"http, command: up to so much later each time" },
	{ "time_limit", FIELD_SPAN, FIELD_AT(source, time_limit_s), 1, 600, NULL, "\"20 s\"", NULL,
		"http, command: for one try; socket: for what a client sends at once" },
	{ "size_limit", FIELD_INT, FIELD_AT(source, size_limit), 64, 999999, "bytes", "262144",
		NULL, "http, mqtt, command, socket: of one payload" },
	{ "program", FIELD_PATH, FIELD_AT(source, program), 0, 0, NULL, "\"\"", NULL,
		"command: what is run, without a shell" },
	{ "arguments", FIELD_TEXTS, ENTRY_AT(source, arguments), 0, ARGUMENTS_MAX, NULL, "[]", NULL,
		"command: its arguments" },
	{ "adapter", FIELD_TEXT, FIELD_AT(source, adapter), 0, 0, NULL, "\"hci0\"", NULL,
		"bluetooth: which of the machine's" },
	{ "listen", FIELD_TEXT, FIELD_AT(source, listen), 0, 0, NULL, "\"\"", NULL,
		"socket: address:port for HTTP POST, as 127.0.0.1:8086; none when left out" },
	{ "rate_limit", FIELD_INT, FIELD_AT(source, rate_limit), 1, 100000, NULL, "600", NULL,
		"socket: requests a minute" },
};

static const struct field stream_rows[] = {
	{ "name", FIELD_NAME, FIELD_AT(stream, name), 0, 0, NULL, NULL, NULL,
		"short name, used in messages" },
	{ "source", FIELD_NAME, FIELD_AT(stream, source), 0, 0, NULL, NULL, NULL,
		"the source that brings it" },
	{ "sensor", FIELD_NAME, FIELD_AT(stream, sensor), 0, 0, NULL, "\"\"", NULL,
		"whose readings they are; left out, the topic's segment says" },
	{ "topic", FIELD_TEXT, FIELD_AT(stream, topic), 0, 0, NULL, "\"\"", NULL,
		"mqtt: topic, with + for any one level and # for all below" },
	{ "segment", FIELD_INT, FIELD_AT(stream, segment), 0, 64, NULL, "0", NULL,
		"mqtt: level of the topic that is the sensor's name, the first is 1" },
	{ "address", FIELD_TEXT, FIELD_AT(stream, address), 0, 0, NULL, "\"\"", NULL,
		"bluetooth: of the device, as A4:C1:38:00:11:22" },
	{ "key", FIELD_TEXT, FIELD_AT(stream, key), 0, 0, NULL, "\"\"", NULL,
		"bluetooth: credential that holds the device's key, 32 hexadecimal digits" },
	{ "humidity", FIELD_TEXT, FIELD_AT(stream, humidity), 0, 0, NULL, "\"\"", NULL,
		"where relative humidity stands: json a pointer such as /air/rh, metrics a name "
		"with labels, line a measurement with tags and a field" },
	{ "temperature", FIELD_TEXT, FIELD_AT(stream, temperature), 0, 0, NULL, "\"\"", NULL,
		"where temperature stands, likewise" },
	{ "time", FIELD_TEXT, FIELD_AT(stream, time), 0, 0, NULL, "\"\"", NULL,
		"json: where its time stands; left out, the time of arrival" },
	{ "battery", FIELD_TEXT, FIELD_AT(stream, battery), 0, 0, NULL, "\"\"", NULL,
		"where the battery's charge in percent stands, likewise" },
	{ "humidity_unit", FIELD_WORD, FIELD_AT(stream, humidity_unit), 0, 0, NULL, "\"percent\"",
		humidity_words, "of relative humidity" },
	{ "temperature_unit", FIELD_WORD, FIELD_AT(stream, temperature_unit), 0, 0, NULL,
		"\"celsius\"", temperature_words, "of temperature" },
};

static const struct field output_rows[] = {
	{ "name", FIELD_NAME, FIELD_AT(output, name), 0, 0, NULL, NULL, NULL,
		"short name and stem of the files" },
	{ "title", FIELD_TEXT, FIELD_AT(output, title), 1, 0, NULL, "\"Instrument care\"", NULL,
		"calendar name shown to people" },
	{ "folder", FIELD_PATH, FIELD_AT(output, folder), 0, 0, NULL, "\"\"", NULL,
		"where the calendar files go; left out, only the server has it" },
	{ "show", FIELD_WORD, FIELD_AT(output, show), 0, 0, NULL, "\"both\"", show_words,
		"to-dos, which can be ticked, events, which more programs show, or both" },
	{ "each", FIELD_WORD, FIELD_AT(output, each), 0, 0, NULL, "\"none\"", each_words,
		"client, place: a calendar for each of them, called NAME-CLIENT or NAME-PLACE, "
		"with "
		"nothing of the others in it" },
	{ "client", FIELD_NAME, FIELD_AT(output, client), 0, 0, NULL, "\"\"", NULL,
		"only the instruments of this client" },
	{ "place", FIELD_NAME, FIELD_AT(output, place), 0, 0, NULL, "\"\"", NULL,
		"only what is about this place, its sensors and the instruments that stay there" },
	{ "zone", FIELD_TEXT, FIELD_AT(output, zone), 0, 0, NULL, "\"\"", NULL,
		"time zone of its days and reminders, when it is another" },
	{ "language", FIELD_TEXT, FIELD_AT(output, language), 0, 0, NULL, "\"\"", NULL,
		"of dates, numbers and units: de, fr-CA, en-GB and so on (BCP 47); left out, ISO "
		"dates and plain numbers" },
	{ "units", FIELD_WORD, FIELD_AT(output, units), 0, 0, NULL, "\"own\"", output_unit_words,
		"what gaps and heights are shown in; own: as units at the top" },
	{ "privacy", FIELD_WORD, FIELD_AT(output, privacy), 0, 0, NULL, "\"public\"", privacy_words,
		"what programs are asked to show to others; it keeps nothing secret" },
	{ "round", FIELD_TEXT, FIELD_AT(output, round), 0, 0, NULL, "\"\"", NULL,
		"a weekly event for the round of hygrometers and humidifiers, as Mon 09:00; from "
		"04:00 on" },
	{ "alarms", FIELD_BOOL, FIELD_AT(output, alarms), 0, 0, NULL, "false", NULL,
		"put reminders into the calendar" },
	{ "alarm_before", FIELD_SPAN, FIELD_AT(output, alarm_before_s), 0, 30 * ONE_DAY_S, NULL,
		"\"1 d\"", NULL, "how long before the due day; the reminder comes at 09:00" },
	{ "colour", FIELD_WORD, FIELD_AT(output, colour), 0, 0, NULL, "\"none\"", settings_colours,
		"colour of the calendar" },
	{ "keep_done", FIELD_SPAN, FIELD_AT(output, keep_done_s), 0, 3650 * ONE_DAY_S, NULL,
		"\"30 d\"", NULL, "how long a job that is done stays in the file" },
	{ "server", FIELD_TEXT, FIELD_AT(output, server), 0, 0, NULL, "\"\"", NULL,
		"a CalDAV server, as https://host: its calendars are found or made; or the address "
		"of an account or of one calendar" },
	{ "auth", FIELD_WORD, FIELD_AT(output, auth), 0, 0, NULL, "\"none\"", output_auth_words,
		"how the credential is shown to the server" },
	{ "user", FIELD_TEXT, FIELD_AT(output, user), 0, 0, NULL, "\"\"", NULL,
		"name beside the password" },
	{ "credential", FIELD_TEXT, FIELD_AT(output, credential), 0, 0, NULL, "\"\"", NULL,
		"password or token: name of a credential of the service manager, or path of a file "
		"that only its owner may read" },
	{ "ca_file", FIELD_PATH, FIELD_AT(output, ca_file), 0, 0, NULL, "\"\"", NULL,
		"certificates of an authority of your own" },
	{ "interval", FIELD_SPAN, FIELD_AT(output, interval_s), 10, 1 * ONE_DAY_S, NULL,
		"\"15 min\"", NULL, "between looks at what people changed on the server" },
};

const struct field settings_mail[SETTINGS_MAIL_ROWS] = {
	{ "server", FIELD_TEXT, FIELD_AT(mail, server), 0, 0, NULL, "\"\"", NULL,
		"that takes mail: smtp://host:587, encrypted by STARTTLS, or smtps://host" },
	{ "ca_file", FIELD_PATH, FIELD_AT(mail, ca_file), 0, 0, NULL, "\"\"", NULL,
		"certificates of an authority of your own" },
	{ "user", FIELD_TEXT, FIELD_AT(mail, user), 0, 0, NULL, "\"\"", NULL,
		"name beside the password; left out, none is shown" },
	{ "credential", FIELD_TEXT, FIELD_AT(mail, credential), 0, 0, NULL, "\"\"", NULL,
		"password: name of a credential of the service manager, or path of a file that "
		"only "
		"its owner may read" },
	{ "from", FIELD_TEXT, FIELD_AT(mail, from), 0, 0, NULL, "\"\"", NULL,
		"address that mail comes from and answers go to" },
	{ "digest_to", FIELD_TEXT, FIELD_AT(mail, digest_to), 0, 0, NULL, "\"\"", NULL,
		"address of the weekly digest; none when left out" },
	{ "digest", FIELD_TEXT, FIELD_AT(mail, digest), 1, 0, NULL, "\"Mon 07:00\"", NULL,
		"when the digest goes out" },
	{ "invite", FIELD_BOOL, FIELD_AT(mail, invite), 0, 0, NULL, "false", NULL,
		"invite clients to their visits, those who agreed to mail" },
	{ "replies", FIELD_PATH, FIELD_AT(mail, replies), 0, 0, NULL, "\"\"", NULL,
		"a maildir in which answers arrive" },
	{ "inbox", FIELD_TEXT, FIELD_AT(mail, inbox), 0, 0, NULL, "\"\"", NULL,
		"a mailbox in which answers arrive: imaps://host/INBOX, or imap:// with STARTTLS" },
	{ "inbox_user", FIELD_TEXT, FIELD_AT(mail, inbox_user), 0, 0, NULL, "\"\"", NULL,
		"its user; that of server when left out" },
	{ "interval", FIELD_SPAN, FIELD_AT(mail, interval_s), 10, 1 * ONE_DAY_S, NULL, "\"5 min\"",
		NULL, "between looks for answers" },
};

static const struct field layout_rows[] = {
	{ "name", FIELD_NAME, FIELD_AT(layout, name), 0, 0, NULL, NULL, NULL,
		"short name, used by sources and imports" },
	{ "encoding", FIELD_WORD, FIELD_AT(layout, encoding), 0, 0, NULL, "\"guess\"",
		encoding_words, "of the text" },
	{ "delimiter", FIELD_TEXT, FIELD_AT(layout, delimiter), 0, 0, NULL, "\"\"", delimiter_words,
		"between columns" },
	{ "decimal", FIELD_TEXT, FIELD_AT(layout, decimal), 0, 0, NULL, "\"\"", decimal_words,
		"decimal sign" },
	{ "header_rows", FIELD_INT, FIELD_AT(layout, header_rows), -1, 1000, NULL, "-1", NULL,
		"rows of headings right above the data, 1 or 2; -1: guess" },
	{ "time", FIELD_TEXT, FIELD_AT(layout, time), 0, 0, NULL, "\"\"", NULL,
		"column of date and time: its heading, or #1 for the first" },
	{ "clock", FIELD_TEXT, FIELD_AT(layout, clock), 0, 0, NULL, "\"\"", NULL,
		"column of the time of day when it stands apart" },
	{ "format", FIELD_TEXT, FIELD_AT(layout, format), 0, 0, NULL, "\"\"", NULL,
		"of date and time: %d.%m.%Y %H:%M and so on, or serial, epoch, epoch-ms" },
	{ "order", FIELD_WORD, FIELD_AT(layout, order), 0, 0, NULL, "\"guess\"", order_words,
		"of dates made of digits" },
	{ "zone", FIELD_TEXT, FIELD_AT(layout, zone), 0, 0, NULL, "\"\"", NULL,
		"time zone or fixed offset of the times" },
	{ "rh", FIELD_TEXT, FIELD_AT(layout, rh), 0, 0, NULL, "\"\"", NULL,
		"column of relative humidity" },
	{ "temp", FIELD_TEXT, FIELD_AT(layout, temp), 0, 0, NULL, "\"\"", NULL,
		"column of temperature" },
	{ "rh_unit", FIELD_WORD, FIELD_AT(layout, rh_unit), 0, 0, NULL, "\"guess\"", rh_words,
		"of relative humidity" },
	{ "temp_unit", FIELD_WORD, FIELD_AT(layout, temp_unit), 0, 0, NULL, "\"guess\"", temp_words,
		"of temperature" },
	{ "sensor_column", FIELD_TEXT, FIELD_AT(layout, sensor_column), 0, 0, NULL, "\"\"", NULL,
		"column whose text names the sensor" },
	{ "sensor", FIELD_NAME, FIELD_AT(layout, sensor), 0, 0, NULL, "\"\"", NULL,
		"the one sensor of the file" },
};

const struct schema_list settings_lists[LIST_COUNT] = {
	[LIST_PLACES] = { "places", "place", FIELD_ROWS(place_rows), sizeof(struct place), 1,
		PLACES_MAX },
	[LIST_SENSORS] = { "sensors", "sensor", FIELD_ROWS(sensor_rows), sizeof(struct sensor), 1,
		SENSORS_MAX },
	[LIST_SOURCES] = { "sources", "source", FIELD_ROWS(source_rows), sizeof(struct source), 0,
		SOURCES_MAX },
	[LIST_STREAMS] = { "streams", "stream", FIELD_ROWS(stream_rows), sizeof(struct stream), 0,
		STREAMS_MAX },
	[LIST_OUTPUTS] = { "outputs", "output", FIELD_ROWS(output_rows), sizeof(struct output), 0,
		OUTPUTS_MAX },
	[LIST_LAYOUTS] = { "layouts", "layout", FIELD_ROWS(layout_rows), sizeof(struct layout), 0,
		LAYOUTS_MAX },
};
