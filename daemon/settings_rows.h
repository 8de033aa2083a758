/* The rows of seasond.conf; used by settings.c. */
#ifndef DAEMON_SETTINGS_ROWS_H
#define DAEMON_SETTINGS_ROWS_H

#include "daemon/schema.h"

enum { SETTINGS_ROOT_ROWS = 12, SETTINGS_MAIL_ROWS = 12, SETTINGS_COLOURS = 25 };
extern const struct field settings_root[SETTINGS_ROOT_ROWS];
extern const struct field settings_mail[SETTINGS_MAIL_ROWS]; /* of the group `mail` */

enum settings_list {
	LIST_PLACES,
	LIST_SENSORS,
	LIST_SOURCES,
	LIST_STREAMS,
	LIST_OUTPUTS,
	LIST_LAYOUTS,
	LIST_COUNT
};
extern const struct schema_list settings_lists[LIST_COUNT];

/* "none" and CSS3 colour words, NULL-terminated. */
extern const char *const settings_colours[SETTINGS_COLOURS + 1];

/* Words of enum source_kind, NULL-terminated. */
extern const char *const settings_kinds[];

#endif
