/* A Bluetooth sensor that the settings name: what of its advertisements is believed and new.
 *
 * With a key only what is encrypted with it counts: plain text with the same address may be anyone's. The key is read
 * when it is first needed, and again after it did not fit.
 *
 * Counter of encrypted advertisements: one that is not above the last is refused, so that what was recorded can not be
 * sent again. A device that restarts (a new battery) counts from the beginning: a lower counter is believed once no
 * higher one has come for BEACON_RESTART_S. So a restart costs that much, and to repeat old air someone needs a device
 * that is silent for as long, or the service's own start, which begins anew. Judgement, no source; the reference reader
 * believes any lower counter below 100 at once (from memory), which a recording of the first hour meets. */
#ifndef DAEMON_BEACON_H
#define DAEMON_BEACON_H

#include "core/bthome.h"
#include "daemon/clock.h"

/* A packet id that comes again within BEACON_REPEAT_S is the same packet; later it is news: ids have one byte.
 * Bursts of one packet last seconds; judgement. */
enum { BEACON_RESTART_S = 600, BEACON_REPEAT_S = 60 };

struct beacon {
	uint8_t address[BTHOME_ADDRESS];
	const char *credential; /* of the key; "": comes in plain. Borrowed */
	bool has_key;
	uint8_t key[BTHOME_KEY];
	bool counted; /* counter and counted_at hold */
	uint32_t counter;
	struct mono counted_at;
	int packet_id; /* < 0: none yet */
	struct mono packet_at;
};

void beacon_init(struct beacon *b, const uint8_t address[BTHOME_ADDRESS], const char *credential);
void beacon_done(struct beacon *b); /* wipes the key */

/* What the frame of this device says. *repeat: nothing new, and *out is not set. RC_INPUT: not to be believed, or
 * malformed; RC_CONFIG: the key is missing, unreadable or no key; RC_IO. */
MUST_USE enum rc beacon_hear(struct beacon *b, const struct bthome_frame *f, struct mono now,
	struct bthome_said *out, bool *repeat, struct err *err);

#endif
