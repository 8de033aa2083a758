/* seasond: the service. Options, exit status, and which clock. */
#include <getopt.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "daemon/app.h"
#include "daemon/calendar.h"
#include "daemon/dav.h"
#include "daemon/exitcode.h"
#include "daemon/phrase.h"
#include "daemon/replay.h"
#include "daemon/service.h"

static const char help[] =
	"usage: seasond [--config FILE] [--once | --replay FROM..TO]\n"
	"Logs humidity round stringed instruments and keeps a calendar of their care.\n"
	"\n"
	"  -c, --config FILE      settings (" SYSCONFDIR "/seasond/seasond.conf,\n"
	"                         or SEASOND_CONFIG)\n"
	"      --once             read every source once, bring the calendars up to date, exit\n"
	"      --replay FROM..TO  run through this time as fast as can be, on the readings in the "
	"store and\n"
	"                         the spools; dates as 2025-10-01 or 2025-10-01T06:00, in UTC\n"
	"      --print-settings   list every setting with its range and default, exit\n"
	"      --version          print the version, exit\n"
	"  -h, --help             print this, exit\n"
	"\n"
	"Signals: HUP reads the settings again, TERM and INT stop.\n"
	"Exit status as in sysexits.h: 64 usage, 65 data, 70 store, 73 disk full, 74 input or "
	"output,\n"
	"75 store busy, 78 settings.\n";

struct options {
	const char *config;
	const char *replay; /* NULL: live */
	bool once;
	bool done; /* an option that only prints has printed */
};

enum { OPTION_ONCE = 256, OPTION_REPLAY, OPTION_PRINT_SETTINGS, OPTION_VERSION };

static const struct option table[] = {
	{ "config", required_argument, NULL, 'c' },
	{ "once", no_argument, NULL, OPTION_ONCE },
	{ "replay", required_argument, NULL, OPTION_REPLAY },
	{ "print-settings", no_argument, NULL, OPTION_PRINT_SETTINGS },
	{ "version", no_argument, NULL, OPTION_VERSION },
	{ "help", no_argument, NULL, 'h' },
	{ 0 },
};

static void print_line(void *arg, const char *text)
{
	(void)arg;
	(void)puts(text);
}

static void print_only(int option)
{
	if (option == OPTION_PRINT_SETTINGS)
		settings_print_help(print_line, NULL);
	else
		(void)fputs(option == OPTION_VERSION ? "seasond " VERSION "\n" : help, stdout);
}

static enum rc parse(int argc, char **argv, struct options *o, struct err *err)
{
	int c;
	opterr = 0;
	while ((c = getopt_long(argc, argv, "c:h", table, NULL)) != -1) {
		if (c == 'c')
			o->config = optarg;
		else if (c == OPTION_ONCE)
			o->once = true;
		else if (c == OPTION_REPLAY)
			o->replay = optarg;
		else if (c == '?')
			return err_set(err, RC_USAGE,
				"\"%.60s\": no such option, or its value is missing or too much, "
				"see seasond --help",
				argv[optind - 1]);
		else {
			print_only(c);
			o->done = true;
			return RC_OK;
		}
	}
	if (optind < argc)
		return err_set(err, RC_USAGE,
			"\"%.60s\": no argument is expected, see seasond --help", argv[optind]);
	if (o->once && o->replay)
		return err_set(err, RC_USAGE, "--once and --replay exclude each other");
	return RC_OK;
}

static enum rc serve(struct app *app, const struct options *o, struct err *err)
{
	struct service *service = NULL;
	enum rc rc = app_open(app, err);
	if (rc == RC_OK)
		rc = service_new(app, &service, err);
	if (rc == RC_OK)
		rc = o->once ? service_once(service, err)
			     : service_run(service, app->replay_to_s, err);
	service_free(service);
	app_close(app);
	calendar_done();
	dav_end();
	phrase_done();
	return rc;
}

static enum rc run(const struct options *o, struct log *log, struct clock *clock, struct err *err)
{
	struct app app = {
		.settings_path = o->config, .clock = clock, .log = log, .replay_to_s = TIME_NEVER
	};
	if (o->replay) {
		int64_t from_s;
		enum rc rc = replay_span(o->replay, &from_s, &app.replay_to_s, err);
		if (rc != RC_OK)
			return rc;
		app.replay = true;
		*clock = clock_virtual(from_s);
	}
	return serve(&app, o, err);
}

int main(int argc, char **argv)
{
	const char *named = getenv("SEASOND_CONFIG");
	struct options o = { .config = named ? named : SYSCONFDIR "/seasond/seasond.conf" };
	struct clock clock = clock_real();
	struct log log;
	struct err err = { 0 };
	(void)signal(SIGXFSZ, SIG_IGN); /* a write past a limit fails instead, and is told */
	log_init(&log, STDERR_FILENO, &clock);
	enum rc rc = parse(argc, argv, &o, &err);
	if (rc == RC_OK && !o.done)
		rc = run(&o, &log, &clock, &err);
	if (rc == RC_OK && (fflush(stdout) != 0 || ferror(stdout)))
		rc = err_set(&err, RC_IO, "standard output: can't be written");
	if (rc != RC_OK)
		log_line(&log, LEVEL_ERROR, NULL, "%s", err.text);
	return exitcode_of(rc);
}
