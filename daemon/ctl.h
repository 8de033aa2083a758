/* seasonctl's commands. Each is one function over an opened desk; main parses what all share. */
#ifndef DAEMON_CTL_H
#define DAEMON_CTL_H

#include <stdbool.h>
#include <stdio.h>

#include "daemon/desk.h"

struct ctl {
	const char *config; /* path of the settings */
	const char *at; /* --at as given, NULL: now */
	bool quiet; /* no progress */
	int64_t now_s;
	int64_t at_s; /* --at parsed, else now_s */
	struct desk desk;
	int argc; /* what follows the command's name */
	char **argv;
	struct err *err;
};

/* What a command needs before it runs. */
enum ctl_need {
	CTL_NOTHING, /* opens what it needs itself */
	CTL_LIBRARY, /* settings and library read; it opens the store when it needs it */
	CTL_STORE, /* desk opened for writing */
};

struct ctl_command {
	const char *name;
	const char *usage; /* arguments */
	const char *help;
	enum ctl_need need;
	enum rc (*run)(struct ctl *c);
};

/* Ends a command that changed something: settles now, publishes, rings the service's bell. */
MUST_USE enum rc ctl_changed(struct ctl *c);

/* `name=value` splits in place: value, or NULL without `=`. */
char *ctl_split(char *word);

/* Option of a command: removes `--NAME VALUE` or `--NAME=VALUE` from argv and returns VALUE, NULL when it is not there. */
const char *ctl_option(struct ctl *c, const char *name);

/* Option without a value: removes `--NAME` and tells whether it was there. */
bool ctl_flag(struct ctl *c, const char *name);

/* `21.5`, `21.5C`, `70.7F`; false: not read, or outside -40..60 degC. */
bool ctl_temperature(const char *text, double *t_degc);

/* RC_USAGE with the command's usage unless low <= argc <= high; high < 0: no limit. */
MUST_USE enum rc ctl_arguments(struct ctl *c, const char *usage, int low, int high);

enum rc ctl_check(struct ctl *c);
enum rc ctl_salt(struct ctl *c);
enum rc ctl_log(struct ctl *c);
enum rc ctl_import(struct ctl *c);
enum rc ctl_records(struct ctl *c);
enum rc ctl_client(struct ctl *c);
enum rc ctl_instrument(struct ctl *c);
enum rc ctl_move(struct ctl *c);
enum rc ctl_finding(struct ctl *c);
enum rc ctl_remove(struct ctl *c);
enum rc ctl_agenda(struct ctl *c);
enum rc ctl_done(struct ctl *c);
enum rc ctl_aside(struct ctl *c);
enum rc ctl_visit(struct ctl *c);
enum rc ctl_status(struct ctl *c);
enum rc ctl_explain(struct ctl *c);
enum rc ctl_sources(struct ctl *c);
enum rc ctl_calendars(struct ctl *c);
enum rc ctl_preview(struct ctl *c); /* of calendars */
enum rc ctl_mail_preview(struct ctl *c); /* part of it, within its transaction */
enum rc ctl_try(struct ctl *c);
enum rc ctl_build(struct ctl *c);
enum rc ctl_mail(struct ctl *c);

#endif
