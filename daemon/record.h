/* Records in the store: who and what comes and goes. Clients, instruments with build and overrides, stays
 * in places, findings. All writes happen inside an open transaction of the caller (store_begin).
 * Names are short (lower-case letters, digits, - and _) and unique per kind. */
#ifndef DAEMON_RECORD_H
#define DAEMON_RECORD_H

#include "core/care.h"
#include "daemon/settings.h"
#include "daemon/store.h"

enum { OVERRIDES_SIZE = 1024, NOTE_SIZE = 256 };

struct client {
	int64_t id;
	char name[NAME_SIZE];
	char title[TITLE_SIZE];
	char address[NOTE_SIZE];
	char note[NOTE_SIZE];
	char email[TITLE_SIZE]; /* as address_good; "" : none */
	int64_t agreed_s; /* when they agreed to be written to; 0: they did not */
};

struct instrument {
	int64_t id;
	char name[NAME_SIZE];
	char title[TITLE_SIZE];
	char client[NAME_SIZE]; /* "" : the bench's own */
	int64_t client_id; /* 0: none; filled by reading */
	char build[NAME_SIZE];
	char overrides[OVERRIDES_SIZE]; /* libconfig text laid over the build */
	int64_t since_s; /* followed from here on */
	int64_t until_s; /* TIME_NEVER: still here */
	char note[NOTE_SIZE];
};

/* From t_s on the instrument is in that place. */
struct stay {
	int64_t t_s;
	char place[NAME_SIZE];
};

struct finding {
	int64_t id;
	int subject_kind; /* enum care_subject */
	char subject[NAME_SIZE];
	int64_t t_s;
	int kind; /* enum finding_kind */
	double value; /* metres or turns; NAN for events */
	char text[NOTE_SIZE];
};

/* Adds or replaces by name. *changed (NULL allowed) tells whether anything differed. An instrument whose
 * build, overrides, since or until changed is followed anew from its start. RC_UNKNOWN: its client is not there.
 * RC_INPUT, here and below: a title, address or note holds a control character; email is no address, or missing where
 * they agreed. */
MUST_USE enum rc record_put_client(
	struct store *s, const struct client *c, bool *changed, struct err *err);
MUST_USE enum rc record_put_instrument(
	struct store *s, const struct instrument *i, bool *changed, struct err *err);

/* The same time again replaces the place. The instrument is followed anew from t_s, or from its start when there is
 * no earlier stay: the first one also holds before its time. */
MUST_USE enum rc record_put_stay(struct store *s, const char *instrument, const struct stay *stay,
	bool *changed, struct err *err);

/* The same subject, time and kind again replaces the value. An instrument is followed anew from t_s. */
MUST_USE enum rc record_put_finding(
	struct store *s, const struct finding *f, bool *changed, struct err *err);

/* Removes by name; RC_UNKNOWN when absent, RC_INPUT when a client still has instruments. */
MUST_USE enum rc record_remove_client(struct store *s, const char *name, struct err *err);
MUST_USE enum rc record_remove_instrument(struct store *s, const char *name, struct err *err);
MUST_USE enum rc record_remove_finding(struct store *s, int subject_kind, const char *subject,
	int64_t t_s, int kind, struct err *err);

/* All of them in order of name (stays: of time; findings: of time, and at one time what changes the
 * instrument - rod, saddle - before what is measured on it). Findings of subject NULL: of all subjects of that
 * kind, in order of their names. Arrays are the caller's (mem_free). */
MUST_USE enum rc record_clients(struct store *s, struct client **out, size_t *n, struct err *err);
MUST_USE enum rc record_instruments(
	struct store *s, struct instrument **out, size_t *n, struct err *err);
MUST_USE enum rc record_stays(
	struct store *s, int64_t instrument, struct stay **out, size_t *n, struct err *err);
MUST_USE enum rc record_findings(struct store *s, int subject_kind, const char *subject,
	struct finding **out, size_t *n, struct err *err);

/* The one of that number among them, NULL: there is none. */
const struct client *record_client_by_id(const struct client *all, size_t n, int64_t id);

/* One by name; RC_UNKNOWN with the nearest names offered. */
MUST_USE enum rc record_instrument(
	struct store *s, const char *name, struct instrument *out, struct err *err);
MUST_USE enum rc record_client(
	struct store *s, const char *name, struct client *out, struct err *err);

/* The earliest hour from which an instrument has to be followed anew because its records changed. */
MUST_USE enum rc record_dirty_hour(
	struct store *s, int64_t instrument, int64_t *hour, struct err *err);
MUST_USE enum rc record_clear_dirty(struct store *s, int64_t instrument, struct err *err);

#endif
