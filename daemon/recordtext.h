/* Records as one readable libconfig text: clients, instruments with overrides, stays and findings, and
 * findings and corrections of sensors. What export writes, apply takes back unchanged. Lengths and turns are in bench notation,
 * times are local with their offset.
 *
 *	clients = ( { name = "alder"; title = "Alder School"; address = "1 Hill Lane"; note = "..."; } );
 *	instruments = ( {
 *		name = "parlour-1"; title = "..."; client = "alder"; build = "parlour"; note = "...";
 *		since = "2025-09-01 12:00"; until = "2026-06-30";
 *		overrides = { top = { thickness = "2.4mm"; }; };
 *		stays = ( { at = "2025-09-01"; place = "shop"; } );
 *		findings = ( { at = "2025-10-01 10:00"; relief = ".010in"; tuner_turn = "1/6"; snug = true; note = "..."; } );
 *	} );
 *	sensors = ( { name = "left"; findings = ( { at = "2025-12-01"; checked = true; } );
 *		corrections = ( { at = "2025-12-01"; gain = 1.0154; offset = -2.69; u = 0.45; note = "..."; } ); } );
 *
 * `place` beside since stands for one stay from since on. Of a record that is in the store already, what is not given
 * stays as it is, and "" takes it away; a new one needs build and since. */
#ifndef DAEMON_RECORDTEXT_H
#define DAEMON_RECORDTEXT_H

#include "daemon/library.h"
#include "daemon/record.h"

/* Takes the text at path into the store, inside the caller's transaction: adds and changes, never removes. Everything is
 * checked first; on any fault nothing is written and the result is RC_CONFIG with every fault in f. Applying twice
 * changes nothing the second time. zone: for times without an offset. *changed counts records that differed.
 * Places and sensors that are gone from the settings are taken when the store knows them. */
MUST_USE enum rc recordtext_apply(struct store *s, const struct settings *set,
	const struct library *lib, const struct zone *zone, int64_t now_s, const char *path,
	size_t *changed, struct faults *f, struct err *err);

/* Writes every record, piece by piece. */
MUST_USE enum rc recordtext_export(struct store *s, const struct zone *zone,
	void (*write)(void *arg, const char *text), void *arg, struct err *err);

/* One finding as a person writes it: `relief` and `.010in`, `restrung` and NULL (or "", "yes", "true"). *value is NAN for
 * events. RC_UNKNOWN (nearest word offered), RC_INPUT (unreadable, or outside what can be true of an instrument). */
MUST_USE enum rc recordtext_finding(const char *word, const char *value, bool of_sensor, int *kind,
	double *out, struct err *err);

#endif
