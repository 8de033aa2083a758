/* Records as one readable libconfig text: clients, instruments with overrides, stays and findings, and
 * findings of sensors. What export writes, apply takes back unchanged. Lengths and turns are in bench notation,
 * times are local with their offset. */
#ifndef DAEMON_RECORDTEXT_H
#define DAEMON_RECORDTEXT_H

#include "daemon/library.h"
#include "daemon/record.h"

/* Takes the text at path into the store, inside the caller's transaction: adds and changes, never removes. Everything is
 * checked first; on any fault nothing is written and the result is RC_CONFIG. Applying twice changes nothing the second
 * time. zone: for times without an offset. *changed counts records that differed. */
MUST_USE enum rc recordtext_apply(struct store *s, const struct settings *set, const struct library *lib,
	const struct zone *zone, int64_t now_s, const char *path, size_t *changed, struct faults *f, struct err *err);

/* Writes every record, piece by piece. */
MUST_USE enum rc recordtext_export(struct store *s, const struct zone *zone, void (*write)(void *arg, const char *text),
	void *arg, struct err *err);

/* One finding as a person writes it: `relief` and `.010in`, `restrung` and NULL. *value is NAN for events. RC_UNKNOWN (nearest
 * word offered), RC_INPUT (unreadable, or outside what can be true of an instrument). */
MUST_USE enum rc recordtext_finding(const char *word, const char *value, bool of_sensor, int *kind, double *out,
	struct err *err);

#endif
