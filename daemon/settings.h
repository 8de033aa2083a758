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
	double accuracy_pct; /* % RH, one standard deviation, unless a salt check says better */
};

enum source_kind {
	SOURCE_KERNEL,
	SOURCE_SPOOL,
	SOURCE_HTTP,
	SOURCE_MQTT,
	SOURCE_BLUETOOTH,
	SOURCE_COMMAND,
	SOURCE_SOCKET /* the local intake: a Unix socket and, when asked, HTTP POST */
};

/* How a payload is read; see pick.h. */
enum source_format {
	FORMAT_JSON, /* RFC 6901 pointers */
	FORMAT_METRICS, /* Prometheus or OpenMetrics text: metric{label="value"} */
	FORMAT_LINE, /* line protocol: measurement,tag=value field */
	FORMAT_DELIMITED, /* rows with headings, see layout */
	FORMAT_PLAIN /* one bare number: relative humidity */
};

enum source_auth { AUTH_NONE, AUTH_BASIC, AUTH_BEARER, AUTH_HEADER };

enum { ARGUMENTS_MAX = 8, ARGUMENT_SIZE = 128, URL_SIZE = 512, PICK_SIZE = 128 };

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
	int format; /* http, mqtt, command, socket: enum source_format */
	char url[URL_SIZE]; /* http: http:// or https:// */
	char host[TITLE_SIZE]; /* mqtt: the broker */
	int port; /* mqtt; 0: 1883, with tls 8883 */
	bool tls; /* mqtt */
	char ca_file[PATH_SIZE]; /* http, mqtt: own authority, "" : the system's */
	int auth; /* http: enum source_auth; mqtt: AUTH_NONE or AUTH_BASIC */
	char user[TITLE_SIZE]; /* basic */
	char header[TITLE_SIZE]; /* header: its name */
	char credential
		[PATH_SIZE]; /* name of a systemd credential, or a file only its owner reads */
	char client_id[NAME_SIZE]; /* mqtt: of the durable session */
	int64_t jitter_s; /* http, command: up to so much later, so that not all come at once */
	int64_t time_limit_s; /* http, command: one try */
	int size_limit; /* http, mqtt, command, socket: bytes of one payload */
	char program[PATH_SIZE]; /* command: run without a shell */
	char arguments[ARGUMENTS_MAX][ARGUMENT_SIZE];
	char adapter[NAME_SIZE]; /* bluetooth: hci0 */
	char listen[TITLE_SIZE]; /* socket: address:port of HTTP POST, "" : none */
	int rate_limit; /* socket: requests a minute */
};
enum { KERNEL_MILLI, KERNEL_PERCENT };

/* Where a sensor's readings stand in what a source brings. */
struct stream {
	char name[NAME_SIZE];
	char source[NAME_SIZE];
	char sensor[NAME_SIZE]; /* "" : the topic's segment names it */
	char topic[PICK_SIZE]; /* mqtt: topic filter */
	int segment; /* mqtt: level of the topic that is the sensor's name, from 1; 0: sensor says */
	char address[NAME_SIZE]; /* bluetooth: AA:BB:CC:DD:EE:FF */
	char key[PATH_SIZE]; /* bluetooth: credential that holds the 16 byte key in hex; "" : plain */
	char humidity[PICK_SIZE], temperature[PICK_SIZE], time[PICK_SIZE], battery[PICK_SIZE];
	int humidity_unit; /* STREAM_PERCENT, STREAM_FRACTION */
	int temperature_unit; /* STREAM_CELSIUS, STREAM_FAHRENHEIT */
};
enum { STREAM_PERCENT, STREAM_FRACTION };
enum { STREAM_CELSIUS, STREAM_FAHRENHEIT };

enum output_show { SHOW_BOTH, SHOW_TODOS, SHOW_EVENTS };
enum output_each { EACH_NONE, EACH_CLIENT, EACH_PLACE };
enum output_units { OUTPUT_UNITS_OWN, OUTPUT_UNITS_INCH, OUTPUT_UNITS_MM };
enum output_privacy { PRIVACY_PUBLIC, PRIVACY_PRIVATE, PRIVACY_CONFIDENTIAL };

/* A calendar, or one for each client or place; in a folder, on a CalDAV server, or both. */
struct output {
	char name[NAME_SIZE]; /* also the stem of the two files */
	char title[TITLE_SIZE]; /* calendar name shown to people */
	char folder[PATH_SIZE]; /* "" : no files */
	int show; /* enum output_show */
	int each; /* enum output_each: one calendar each, NAME-SUBJECT */
	char client[NAME_SIZE]; /* only that client's instruments; "" : all */
	char place[NAME_SIZE]; /* only what is in that place; "" : all */
	char zone[ZONE_SIZE]; /* IANA; "" : the settings' */
	char language
		[NAME_SIZE]; /* BCP 47, of dates, numbers and units; "" : ISO dates and plain numbers */
	int units; /* enum output_units */
	int privacy; /* enum output_privacy */
	char round[NAME_SIZE]; /* "Mon 09:00": a weekly event for the humidity round; "" : none */
	char server[URL_SIZE]; /* of CalDAV: host, account or one collection; "" : none */
	char ca_file[PATH_SIZE]; /* own authority, "" : the system's */
	int auth; /* enum source_auth: none, basic or bearer */
	char user[TITLE_SIZE];
	char credential[PATH_SIZE]; /* see struct source */
	int64_t interval_s; /* between looks at the server */
	bool alarms;
	int64_t alarm_before_s; /* before the due moment; the hour is 09:00 local */
	int colour; /* 0: none; for settings_colour */
	int64_t keep_done_s; /* how long a done to-do stays in the file */
};

/* Mail to people: digests and invitations. */
struct mail {
	char server
		[URL_SIZE]; /* smtp://host:587 (STARTTLS) or smtps://host; "" : no mail is sent */
	char ca_file[PATH_SIZE]; /* of both servers; "" : the system's */
	char user[TITLE_SIZE], credential[PATH_SIZE]; /* "" : none */
	char from[TITLE_SIZE]; /* the bench's address; also ORGANIZER */
	char digest_to[TITLE_SIZE]; /* the bench's, who by naming it here agrees; "" : no digest */
	char digest[NAME_SIZE]; /* "Mon 07:00", in the settings' zone */
	bool invite; /* clients who agreed are invited to their visits */
	char replies[PATH_SIZE]; /* a maildir that answers arrive in; "" : none */
	char inbox[URL_SIZE]; /* imaps://host/INBOX or imap:// with STARTTLS; "" : none */
	char inbox_user[TITLE_SIZE]; /* "" : user; the credential is that of server */
	int64_t interval_s; /* between looks for answers */
};

enum {
	PLACES_MAX = 256,
	SENSORS_MAX = 2048,
	SOURCES_MAX = 2048,
	STREAMS_MAX = 4096,
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
	size_t n_places, n_sensors, n_sources, n_streams, n_outputs, n_layouts;
	struct place *places;
	struct sensor *sensors;
	struct source *sources;
	struct stream *streams;
	struct output *outputs;
	struct layout *layouts; /* named import layouts */
	struct mail mail;
};

/* Paths come out absolute, or relative to the current folder when path itself is.
 * Reads the whole file and reports every fault. On faults *out is NULL and the result RC_CONFIG.
 * settings_free releases it. */
MUST_USE enum rc settings_load(const char *path, struct settings **out, struct faults *f);
void settings_free(struct settings *s);

/* NULL when there is none of that name. Borrowed. */
const struct place *settings_place(const struct settings *s, const char *name);
const struct sensor *settings_sensor(const struct settings *s, const char *name);
const struct source *settings_source(const struct settings *s, const char *name);
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
