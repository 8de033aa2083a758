/* The parts of recordtext: what a text says, gathered and checked before anything is written. Used by recordtext*.c. */
#ifndef DAEMON_RECORDTEXT_INT_H
#define DAEMON_RECORDTEXT_INT_H

#include "daemon/recordtext.h"
#include "daemon/schema.h"

enum {
	RECORDTEXT_MAX =
		10000, /* clients, instruments, sensors, and stays or findings of one of them */
	RECORDTEXT_WHAT = 128,
	RECORDTEXT_VALUE = 48 /* bytes of a length, a turn or a time as text */
};

/* Offset and size of a member, for a row. */
#define AT(type, member) offsetof(struct type, member), sizeof(((struct type *)0)->member)
#define ROWS(rows) rows, sizeof(rows) / sizeof((rows)[0])

struct said_stay {
	char instrument[NAME_SIZE];
	struct stay stay;
	const config_setting_t *at; /* where the text says it */
};

struct said_finding {
	struct finding finding;
	const config_setting_t *at;
};

/* One reading of a text. */
struct said {
	struct store *store;
	const struct settings *set;
	const struct library *lib;
	const struct zone *zone;
	int64_t now_s;
	struct faults *faults;
	struct err *err;
	enum rc rc; /* not RC_OK: the store or the memory failed, reading has stopped */

	size_t n_old_clients, n_old_instruments; /* in the store */
	struct client *old_clients;
	struct instrument *old_instruments;

	size_t n_clients, n_instruments, n_stays, n_findings,
		n_corrections; /* in the text, laid over the stored ones */
	struct client *clients;
	struct instrument *instruments;
	struct said_stay *stays;
	struct said_finding *findings;
	struct store_correction *corrections;
};

/* Whose stays and findings are being read. */
struct subject {
	const config_setting_t *group;
	char what[RECORDTEXT_WHAT];
	int kind; /* enum care_subject */
	char name[NAME_SIZE];
	int64_t since_s, until_s; /* INT64_MIN and TIME_NEVER: not known, or without end */
	size_t n_old_stays;
	struct stay *old_stays; /* stored ones of an instrument, in order of time; owned */
};

/* ---- recordtext_read.c ---- */

/* Reads the whole text; every fault is added. Failures go to x->rc. */
void recordtext_read(struct said *x, const config_setting_t *root);

/* ---- recordtext_entry.c: lists, times and stays ---- */

/* The list of groups of that name; NULL when it is not there, empty, or no list (a fault). */
const config_setting_t *recordtext_list(
	struct said *x, const config_setting_t *group, const char *what, const char *name);

/* Element i of a list when it is a group, otherwise NULL and a fault. */
const config_setting_t *recordtext_group(
	struct said *x, const config_setting_t *list, int i, const char *what);

/* A reference to a name that is not there: a fault with the nearest one. */
void recordtext_no_such(struct said *x, const config_setting_t *group, const char *what,
	const char *setting, const char *noun, const char *text, const char *const *names,
	size_t n);

/* The time that the text of a setting names; false after a fault. */
bool recordtext_time(struct said *x, const config_setting_t *group, const char *what,
	const char *name, const char *text, int64_t *t_s);

/* A fault when that time is later than now. */
bool recordtext_past(struct said *x, const config_setting_t *group, const char *what,
	const char *name, int64_t t_s);

/* The time `at` of a stay or finding, which has to lie in the subject's time here; text: what it says. */
bool recordtext_at(struct said *x, const struct subject *s, const config_setting_t *group,
	const char *what, const char *text, int64_t *t_s);

/* The array with room for one more than n; NULL after a failure (x->rc), when the old one stays valid. */
void *recordtext_room(struct said *x, void *array, size_t n, size_t size);

/* Reads `stays`, or `place` as the one stay from since_s (place "": none). */
void recordtext_stays(struct said *x, const struct subject *s, const char *place);

/* ---- recordtext_finding.c ---- */

void recordtext_findings(struct said *x, const struct subject *s);

/* ---- recordtext_correction.c ---- */

void recordtext_corrections(struct said *x, const struct subject *s);

/* ---- recordtext_value.c: values as exact text ---- */

/* Text that units_length and units_turns read back to the same bits. */
void recordtext_length(char *buf, size_t n, double m);
void recordtext_turns(char *buf, size_t n, double turns);

/* `2025-10-01T10:00:00+02:00` */
void recordtext_print_time(char *buf, size_t n, const struct zone *zone, int64_t t_s);

/* ---- recordtext_group.c: groups as canonical text, overrides ---- */

/* One setting on one line, without a semicolon: `band = [42, 55]`. False when it does not fit. */
bool recordtext_setting(char *buf, size_t n, const config_setting_t *setting);

/* Text as a libconfig string with its quotes; n: four times its length, and three. */
void recordtext_quote(char *buf, size_t n, const char *text);

/* Reads `overrides` of an instrument over those in *record and checks them against the build (NULL: not known). */
void recordtext_overrides(struct said *x, const config_setting_t *group, const char *what,
	struct instrument *record, const struct build *base);

#endif
