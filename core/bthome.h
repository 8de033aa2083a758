/* BTHome v2, the open format of sensors that advertise over Bluetooth: service data of UUID 0xFCD2 in, humidity,
 * temperature and charge out. Bytes are radio from anyone: nothing is believed before its length and range are known.
 * Deciphering is the caller's; nonce and parts are given.
 * Units: hundredths of % RH and of degC. Humidity 0..103 %, temperature -40..85 degC, charge 0..100 %: what an air
 * sensor can mean (the limits of quality.c); anything else is a fault of the sensor and gives no value.
 * Source: bthome.io/format and the object table of the format's reference reader; read. */
#ifndef CORE_BTHOME_H
#define CORE_BTHOME_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "err.h"

enum {
	BTHOME_ADDRESS = 6,
	BTHOME_KEY = 16,
	BTHOME_NONCE = 13,
	BTHOME_TAG = 4, /* bytes of the message's authentication code */
	BTHOME_MAX = 255 /* bytes of service data; an advertisement has no room for more */
};

/* The envelope. Pointers are borrowed from the bytes read. */
struct bthome_frame {
	uint8_t info; /* device information byte */
	bool encrypted;
	bool has_address; /* the sender's address stands in the payload */
	uint8_t address[BTHOME_ADDRESS]; /* as it is written: A4:C1:38:... begins with 0xA4 */
	const uint8_t *body; /* objects, or their cipher text */
	size_t n;
	uint8_t counter_bytes[4]; /* encrypted only, as on air */
	uint32_t counter; /* encrypted only */
	const uint8_t *tag; /* encrypted only: BTHOME_TAG bytes */
};

/* bytes[n]: service data after the UUID. RC_INPUT: not version 2, or too short for what it says it holds. */
MUST_USE enum rc bthome_frame(
	const uint8_t *bytes, size_t n, struct bthome_frame *out, struct err *err);

/* The nonce of AES-128-CCM: address, D2 FC, information byte, counter. */
void bthome_nonce(const struct bthome_frame *f, const uint8_t address[BTHOME_ADDRESS],
	uint8_t nonce[BTHOME_NONCE]);

#define BTHOME_NONE INT32_MIN /* not said, or said out of range */

struct bthome_said {
	int32_t rh_cpct; /* or BTHOME_NONE */
	int32_t temp_cdegc; /* or BTHOME_NONE */
	int battery_pct; /* < 0: not said */
	int packet_id; /* equal to the one before: the same packet again; < 0: not said */
	size_t faults; /* values that were out of range */
	bool cut; /* an unknown id ended the reading; what came before it counts */
};

/* Objects plain[n]. Where a quantity comes more than once the first counts: lower ids are the finer ones. An unknown id
 * ends the reading, since its length is unknown. RC_INPUT, and nothing is given: an object longer than what is left,
 * or ids that descend, which the format forbids. */
MUST_USE enum rc bthome_objects(
	const uint8_t *plain, size_t n, struct bthome_said *out, struct err *err);

/* Bytes of the value of an object; 0: its first byte says how many follow; < 0: unknown id. */
int bthome_length(uint8_t id);

/* `A4:C1:38:00:11:22`, and a key's 32 digits; hexadecimal of either case. False: it is none, and out is spoilt. */
bool bthome_address(const char *text, uint8_t out[BTHOME_ADDRESS]);
bool bthome_key(const char *text, uint8_t out[BTHOME_KEY]);

#endif
