/* Advertisements of Bluetooth devices through BlueZ on the system bus (org.bluez.Adapter1 and Device1; doc/adapter-api.txt
 * and device-api.txt of BlueZ, from memory), inside the event loop: nothing here waits but bluez_wait.
 *
 * Asks for discovery of low energy devices with every advertisement told anew, and hears the service data of one UUID.
 * What BlueZ remembers from before is not asked for: it may be old. When BlueZ, the adapter or its power comes back,
 * discovery is asked for again at once (signals of others on the bus than BlueZ are not heard); anything else is the owner's, by bluez_listen. DBUS_SYSTEM_BUS_ADDRESS names
 * another bus. */
#ifndef DAEMON_BLUEZ_H
#define DAEMON_BLUEZ_H

#include "core/bthome.h"
#include "daemon/loop.h"

#define BLUEZ_BTHOME "0000fcd2-0000-1000-8000-00805f9b34fb" /* 0xFCD2 as BlueZ writes it */

struct bluez;

/* Called from the loop, or from bluez_listen and bluez_wait. Must not free the bluez. */
struct bluez_owner {
	struct loop *loop;
	struct clock *clock;
	const char *adapter; /* hci0 */
	void (*heard)(void *arg, const uint8_t address[BTHOME_ADDRESS], const uint8_t *bytes,
		size_t n, int64_t now_s);
	void (*well)(void *arg); /* discovery runs */
	void (*failed)(void *arg, const char *why, int64_t now_s); /* it does not, or no more */
	void *arg;
};

/* Copies owner; its texts are borrowed. RC_MEM. bluez_free ends the discovery. */
MUST_USE enum rc bluez_new(const struct bluez_owner *owner, struct bluez **out, struct err *err);
void bluez_free(struct bluez *b);

/* Asks for discovery, on a new connection where there is none; well or failed tells how it went. */
void bluez_listen(struct bluez *b);

/* Outside the loop: waits up to limit_ms for something to happen, and does what follows from it. */
void bluez_wait(struct bluez *b, int64_t limit_ms);

/* Whether the name can be a part of an object's path, as hci0. */
bool bluez_adapter_valid(const char *name);

#endif
