/* Where HTTP is heard: `127.0.0.1:8086`, `[::1]:8086`, or `8086` and `:8086` for 127.0.0.1. Numbers only: no name is
 * looked up, and every address but the loopback has to be written out. */
#ifndef DAEMON_GATE_ADDRESS_H
#define DAEMON_GATE_ADDRESS_H

#include <stdbool.h>
#include <sys/socket.h>

struct gate_address {
	struct sockaddr_storage at;
	socklen_t n;
	bool loopback; /* no other machine reaches it: 127.0.0.0/8 (RFC 1122) or ::1 (RFC 4291) */
};

/* False when text is no such address. */
bool gate_address_parse(const char *text, struct gate_address *out);

#endif
