/* BTHome service data: as it comes, and its objects as if they had been deciphered. */
#include <string.h>

#include "core/bthome.h"
#include "tests/fuzz/fuzz.h"

static void check_objects(const uint8_t *bytes, size_t n)
{
	struct bthome_said a, b;
	memset(&a, 0, sizeof a);
	memset(&b, 0, sizeof b);
	enum rc rc = bthome_objects(bytes, n, &a, NULL);
	HOLDS(rc == RC_OK || rc == RC_INPUT);
	HOLDS(bthome_objects(bytes, n, &b, NULL) == rc);
	if (rc != RC_OK)
		return;
	HOLDS(a.rh_cpct == b.rh_cpct && a.temp_cdegc == b.temp_cdegc && a.cut == b.cut);
	HOLDS(a.battery_pct == b.battery_pct && a.packet_id == b.packet_id && a.faults == b.faults);
	HOLDS(a.rh_cpct == BTHOME_NONE || (a.rh_cpct >= 0 && a.rh_cpct <= 10300));
	HOLDS(a.temp_cdegc == BTHOME_NONE || (a.temp_cdegc >= -4000 && a.temp_cdegc <= 8500));
	HOLDS(a.battery_pct <= 100 && a.packet_id <= 255 && a.faults <= n);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
	struct bthome_frame f;
	struct err err = { 0 };
	uint8_t nonce[BTHOME_NONCE];
	if (n > BTHOME_MAX)
		return -1;
	check_objects(bytes, n);
	enum rc rc = bthome_frame(bytes, n, &f, &err);
	HOLDS(rc == RC_OK || (rc == RC_INPUT && err.text[0]));
	if (rc != RC_OK)
		return 0;
	HOLDS(f.info >> 5 == 2);
	HOLDS(f.body >= bytes && f.n <= n && f.body + f.n <= bytes + n);
	if (f.encrypted) {
		HOLDS(f.tag >= bytes && f.tag + BTHOME_TAG <= bytes + n);
		bthome_nonce(&f, f.has_address ? f.address : (const uint8_t[BTHOME_ADDRESS]){ 0 },
			nonce);
	} else {
		check_objects(f.body, f.n);
	}
	return 0;
}
