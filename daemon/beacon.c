#include "daemon/beacon.h"

#include <inttypes.h>
#include <string.h>

#include "daemon/secret.h"
#include "daemon/unseal.h"

void beacon_init(struct beacon *b, const uint8_t address[BTHOME_ADDRESS], const char *credential)
{
	*b = (struct beacon){ .credential = credential, .packet_id = -1 };
	memcpy(b->address, address, sizeof b->address);
}

static void forget_key(struct beacon *b)
{
	b->has_key = false;
	explicit_bzero(b->key, sizeof b->key);
}

void beacon_done(struct beacon *b)
{
	forget_key(b);
}

static enum rc need_key(struct beacon *b, struct err *err)
{
	struct secret s;
	if (b->has_key)
		return RC_OK;
	if (!b->credential[0])
		return err_set(err, RC_CONFIG, "encrypted: its key is missing");
	enum rc rc = secret_read(b->credential, &s, err);
	if (rc != RC_OK)
		return rc;
	b->has_key = bthome_key(s.text, b->key);
	secret_wipe(&s);
	if (b->has_key)
		return RC_OK;
	forget_key(b);
	return err_set(err, RC_CONFIG, "credential \"%.200s\": no key: 32 hexadecimal digits",
		b->credential);
}

static bool within(struct mono since, int64_t span_s, struct mono now)
{
	return now.ms - since.ms < span_s * 1000;
}

/* Before deciphering: whether it may be believed at all. */
static enum rc check_counter(
	const struct beacon *b, const struct bthome_frame *f, struct mono now, struct err *err)
{
	if (!b->counted || f->counter > b->counter || !within(b->counted_at, BEACON_RESTART_S, now))
		return RC_OK;
	return err_set(err, RC_INPUT,
		"counter %" PRIu32 " after %" PRIu32
		": sent again by someone, or the device has restarted, then it is believed %d min "
		"after the last higher one",
		f->counter, b->counter, BEACON_RESTART_S / 60);
}

/* plain has room for f->n bytes. */
static enum rc decipher(struct beacon *b, const struct bthome_frame *f, struct mono now,
	uint8_t *plain, struct err *err)
{
	uint8_t nonce[BTHOME_NONCE];
	enum rc rc = check_counter(b, f, now, err);
	if (rc == RC_OK)
		rc = need_key(b, err);
	if (rc != RC_OK)
		return rc;
	bthome_nonce(f, b->address, nonce);
	rc = unseal(b->key, nonce, f->body, f->n, f->tag, plain, err);
	if (rc != RC_OK) {
		forget_key(b);
		return rc;
	}
	b->counted = true;
	b->counter = f->counter;
	b->counted_at = now;
	return RC_OK;
}

static bool packet_again(struct beacon *b, int packet_id, struct mono now)
{
	if (packet_id < 0)
		return false;
	if (packet_id == b->packet_id && within(b->packet_at, BEACON_REPEAT_S, now))
		return true;
	b->packet_id = packet_id;
	b->packet_at = now;
	return false;
}

enum rc beacon_hear(struct beacon *b, const struct bthome_frame *f, struct mono now,
	struct bthome_said *out, bool *repeat, struct err *err)
{
	uint8_t plain[BTHOME_MAX];
	const uint8_t *body = f->body;
	*repeat = f->encrypted && b->counted && f->counter == b->counter;
	if (*repeat)
		return RC_OK;
	if (!f->encrypted && b->credential[0])
		return err_set(err, RC_INPUT, "not encrypted, though it has a key");
	enum rc rc = f->encrypted ? decipher(b, f, now, plain, err) : RC_OK;
	if (rc == RC_OK && f->encrypted)
		body = plain;
	struct bthome_said said;
	if (rc == RC_OK)
		rc = bthome_objects(body, f->n, &said, err);
	if (rc != RC_OK)
		return rc;
	*repeat = packet_again(b, said.packet_id, now);
	if (!*repeat)
		*out = said;
	return RC_OK;
}
