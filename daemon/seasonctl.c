#include <getopt.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "daemon/bell.h"
#include "daemon/calendar.h"
#include "daemon/ctl.h"
#include "daemon/exitcode.h"
#include "daemon/phrase.h"
#include "daemon/when.h"

static const struct ctl_command commands[] = {
	{ "check", "", "read settings, library and store, and report every fault", CTL_NOTHING,
		ctl_check },
	{ "import", "FILE... [--sensor NAME] [--zone ZONE] [--order ymd|dmy|mdy] ...",
		"take readings out of delimited exports", CTL_STORE, ctl_import },
	{ "log", "SENSOR RH [TEMPERATURE]", "note one reading by hand", CTL_STORE, ctl_log },
	{ "records", "export | apply FILE", "write all records as text, or take such a text in",
		CTL_STORE, ctl_records },
	{ "client", "NAME [title=...] [address=...] [note=...] [email=...] [agreed=yes|no|TIME]",
		"add or change a client", CTL_STORE, ctl_client },
	{ "instrument", "NAME [build=...] [place=...] [client=...] [title=...] [since=...] ...",
		"add or change an instrument", CTL_STORE, ctl_instrument },
	{ "move", "INSTRUMENT PLACE", "an instrument stays in another room or case from now on",
		CTL_STORE, ctl_move },
	{ "finding", "INSTRUMENT|SENSOR WHAT[=VALUE]... [note=...]",
		"note what was measured or done", CTL_STORE, ctl_finding },
	{ "salt", "SENSOR [SALT SHOWN [SALT SHOWN] --temp TEMPERATURE] [--dry-run]",
		"a hygrometer was checked over saturated salt: correct it from then on", CTL_STORE,
		ctl_salt },
	{ "remove",
		"client NAME | instrument NAME | finding SUBJECT WHAT --at TIME | correction "
		"SENSOR --at TIME",
		"take a record back", CTL_STORE, ctl_remove },
	{ "agenda", "", "what is open, in order of day", CTL_STORE, ctl_agenda },
	{ "done", "NUMBER", "close an open item: it was done", CTL_STORE, ctl_done },
	{ "aside", "NUMBER", "close an open item: not wanted this time", CTL_STORE, ctl_aside },
	{ "visit", "NUMBER TIME [--length LENGTH] | NUMBER --drop",
		"make an appointment for a client's visit, or drop it", CTL_STORE, ctl_visit },
	{ "status", "[NAME]", "air of every place, condition of every instrument", CTL_STORE,
		ctl_status },
	{ "explain", "NUMBER|INSTRUMENT", "the readings, formulas and sources behind an item",
		CTL_STORE, ctl_explain },
	{ "calendars", "[--preview]",
		"the calendars that are made; --preview: what would go to whom, nothing goes",
		CTL_STORE, ctl_calendars },
	{ "sources", "", "what each source did last, and its last error", CTL_STORE, ctl_sources },
	{ "try", "SOURCE", "ask a source once and show what it would store", CTL_STORE, ctl_try },
	{ "mail", "[NUMBER]", "letters that wait, went out or failed; one of them as it goes out",
		CTL_STORE, ctl_mail },
	{ "build", "[NAME]",
		"builds, or the anatomy of one or of an instrument and what to expect of it",
		CTL_LIBRARY, ctl_build },
};
enum { COMMANDS = sizeof commands / sizeof commands[0] };

static void print_help(FILE *out)
{
	(void)fprintf(out,
		"seasonctl: work with the humidity watch and care agenda of stringed "
		"instruments\n\n"
		"usage: seasonctl [--config FILE] [--at TIME] [--quiet] COMMAND ...\n\n");
	for (size_t i = 0; i < COMMANDS; i++)
		(void)fprintf(out, "  %s%s%s\n      %s\n", commands[i].name,
			commands[i].usage[0] ? " " : "", commands[i].usage, commands[i].help);
	(void)fprintf(out, "\n  --config FILE  settings (" SYSCONFDIR
			   "/seasond/seasond.conf, or SEASOND_CONFIG)\n"
			   "  --at TIME      when it happened: 2026-03-01, \"2026-03-01 14:30\", "
			   "or with an offset\n"
			   "  --quiet        no progress\n  --version, --help\n\n"
			   "Exit codes are those of sysexits.h. See seasonctl(1), seasond(8), "
			   "seasond.conf(5).\n");
}

char *ctl_split(char *word)
{
	char *eq = strchr(word, '=');
	if (eq)
		*eq++ = '\0';
	return eq;
}

const char *ctl_option(struct ctl *c, const char *name)
{
	size_t n = strlen(name);
	for (int i = 0; i < c->argc; i++) {
		const char *word = c->argv[i];
		if (strncmp(word, "--", 2) != 0 || strncmp(word + 2, name, n) != 0)
			continue;
		bool joined = word[2 + n] == '=';
		int words = joined ? 1 : 2;
		if ((!joined && word[2 + n]) || i + words > c->argc)
			continue;
		const char *value = joined ? word + n + 3 : c->argv[i + 1];
		memmove(&c->argv[i], &c->argv[i + words],
			(size_t)(c->argc - i - words) * sizeof *c->argv);
		c->argc -= words;
		return value;
	}
	return NULL;
}

bool ctl_flag(struct ctl *c, const char *name)
{
	for (int i = 0; i < c->argc; i++) {
		const char *word = c->argv[i];
		if (strncmp(word, "--", 2) != 0 || strcmp(word + 2, name) != 0)
			continue;
		memmove(&c->argv[i], &c->argv[i + 1], (size_t)(c->argc - i - 1) * sizeof *c->argv);
		c->argc--;
		return true;
	}
	return false;
}

enum rc ctl_arguments(struct ctl *c, const char *usage, int low, int high)
{
	for (int i = 0; i < c->argc; i++)
		if (strncmp(c->argv[i], "--", 2) == 0)
			return err_set(c->err, RC_USAGE,
				"%.60s: no such option here, or its value is missing: usage: "
				"seasonctl %s",
				c->argv[i], usage);
	if (c->argc < low || (high >= 0 && c->argc > high))
		return err_set(c->err, RC_USAGE, "usage: seasonctl %s", usage);
	return RC_OK;
}

enum rc ctl_changed(struct ctl *c)
{
	struct err why = { 0 };
	enum rc rc = desk_settle(&c->desk, c->now_s, NULL, NULL, &why);
	bell_ring(c->desk.set->store);
	return rc == RC_OK ? RC_OK : err_set(c->err, rc, "stored; but then: %s", why.text);
}

static enum rc open_desk(struct ctl *c, enum ctl_need need)
{
	struct faults f = { 0 };
	enum rc rc = desk_read(c->config, &c->desk, &f, NULL);
	for (size_t i = 0; i < f.n; i++)
		(void)fprintf(stderr, "%s\n", f.text[i]);
	faults_done(&f);
	if (rc != RC_OK)
		return err_set(c->err, rc, "the settings have faults: nothing was done");
	return need == CTL_STORE ? desk_open(&c->desk, STORE_WRITE, c->err) : RC_OK;
}

static enum rc parse_at(struct ctl *c)
{
	c->now_s = (int64_t)time(NULL);
	c->at_s = c->now_s;
	if (!c->at)
		return RC_OK;
	struct zone *z = NULL;
	enum rc rc = zone_new(c->desk.set ? c->desk.set->zone : "UTC", &z, c->err);
	if (rc == RC_OK)
		rc = when_parse(c->at, z, c->now_s, &c->at_s, c->err);
	zone_free(z);
	return rc;
}

static enum rc run(struct ctl *c, const struct ctl_command *command)
{
	enum rc rc = command->need == CTL_NOTHING ? RC_OK : open_desk(c, command->need);
	if (rc == RC_OK)
		rc = parse_at(c);
	if (rc == RC_OK)
		rc = command->run(c);
	desk_close(&c->desk);
	calendar_done();
	phrase_done();
	if (rc == RC_OK && fflush(stdout) != 0)
		rc = err_set(c->err, RC_IO, "standard output: cannot be written");
	return rc;
}

static const struct ctl_command *find(const char *name)
{
	for (size_t i = 0; i < COMMANDS; i++)
		if (strcmp(commands[i].name, name) == 0)
			return &commands[i];
	return NULL;
}

static int unknown_command(const char *name)
{
	const char *names[COMMANDS];
	for (size_t i = 0; i < COMMANDS; i++)
		names[i] = commands[i].name;
	const char *near = faults_nearest(name, names, COMMANDS);
	(void)fprintf(stderr, "seasonctl: no command \"%.40s\"%s%s%s, see seasonctl --help\n", name,
		near ? ": did you mean " : "", near ? near : "", near ? "?" : "");
	return exitcode_of(RC_USAGE);
}

int main(int argc, char **argv)
{
	static const struct option options[] = {
		{ "config", required_argument, NULL, 'c' },
		{ "at", required_argument, NULL, 'a' },
		{ "quiet", no_argument, NULL, 'q' },
		{ "help", no_argument, NULL, 'h' },
		{ "version", no_argument, NULL, 'V' },
		{ NULL, 0, NULL, 0 },
	};
	struct err err = { 0 };
	struct ctl c = { .config = getenv("SEASOND_CONFIG"), .err = &err };
	if (!c.config)
		c.config = SYSCONFDIR "/seasond/seasond.conf";
	(void)signal(SIGXFSZ, SIG_IGN); /* a write past a limit fails instead, and is told */
	int opt;
	while ((opt = getopt_long(argc, argv, "+c:a:qhV", options, NULL)) != -1) {
		switch (opt) {
		case 'c':
			c.config = optarg;
			break;
		case 'a':
			c.at = optarg;
			break;
		case 'q':
			c.quiet = true;
			break;
		case 'h':
			print_help(stdout);
			return 0;
		case 'V':
			(void)puts("seasonctl " VERSION);
			return 0;
		default:
			return exitcode_of(RC_USAGE);
		}
	}
	if (optind == argc) {
		print_help(stderr);
		return exitcode_of(RC_USAGE);
	}
	const struct ctl_command *command = find(argv[optind]);
	if (!command)
		return unknown_command(argv[optind]);
	c.argc = argc - optind - 1;
	c.argv = argv + optind + 1;
	const char *at = ctl_option(&c, "at");
	c.at = at ? at : c.at;
	enum rc rc = run(&c, command);
	if (rc != RC_OK)
		(void)fprintf(stderr, "seasonctl %s: %s\n", command->name,
			err.text[0] ? err.text : "failed");
	return exitcode_of(rc);
}
