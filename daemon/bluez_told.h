/* What messages of BlueZ say, for bluez.c. Errors are negative errno, as sd-bus has them. */
#ifndef DAEMON_BLUEZ_TOLD_H
#define DAEMON_BLUEZ_TOLD_H

#include <systemd/sd-bus.h>

#include "core/bthome.h"

struct bluez_told {
	const uint8_t
		*bytes; /* service data of BLUEZ_BTHOME, borrowed from the message; n 0: none */
	size_t n;
	int powered; /* < 0: not told */
};

/* Reads the a{sv} that comes next; properties of other names or forms are passed over. */
int bluez_read_properties(sd_bus_message *m, struct bluez_told *out);

/* The address in `/org/bluez/hci0/dev_A4_C1_38_00_11_22`. False: path (NULL allowed) is no device of that adapter. */
bool bluez_device(const char *adapter, const char *path, uint8_t address[BTHOME_ADDRESS]);

#endif
