/* AES-128-CCM with a tag of 4 bytes and no associated data (NIST SP 800-38C), by libcrypto: how advertisements of
 * sensors are sealed. */
#ifndef DAEMON_UNSEAL_H
#define DAEMON_UNSEAL_H

#include "core/bthome.h"

/* sealed[n] into plain[n], n > 0. RC_INPUT: the tag is not that of these bytes under this key, or n is 0; plain is
 * wiped. RC_IO: libcrypto fails. */
MUST_USE enum rc unseal(const uint8_t key[BTHOME_KEY], const uint8_t nonce[BTHOME_NONCE],
	const uint8_t *sealed, size_t n, const uint8_t tag[BTHOME_TAG], uint8_t *plain,
	struct err *err);

#endif
