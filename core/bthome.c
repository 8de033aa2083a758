#include "bthome.h"

#include <string.h>

/* Limits of the element with room for its error, as in quality.c. */
enum { RH_MAX_CPCT = 10300, TEMP_MIN_CDEGC = -4000, TEMP_MAX_CDEGC = 8500, BATTERY_MAX_PCT = 100 };

enum { INFO_ENCRYPTED = 1, INFO_ADDRESS = 2, VERSION = 2, VERSION_SHIFT = 5 };

enum quantity { NOTHING, PACKET, BATTERY, HUMIDITY, TEMPERATURE };

/* length: bytes of the value, 0 for ids that are not in the table, BY_BYTE: the first one says. */
enum { BY_BYTE = 255 };
struct object {
	uint8_t length;
	bool is_signed;
	uint8_t quantity; /* enum quantity */
	uint8_t factor; /* to hundredths; packet id and battery: to the whole */
};

/* Lengths, signs and factors: object table of the format, read; lengths of 0x53 and 0x54 from memory. */
static const struct object table[] = {
	[0x00] = { 1, false, PACKET, 1 },
	[0x01] = { 1, false, BATTERY, 1 },
	[0x02] = { 2, true, TEMPERATURE, 1 },
	[0x03] = { 2, false, HUMIDITY, 1 },
	[0x04] = { .length = 3 }, /* pressure */
	[0x05] = { .length = 3 }, /* illuminance */
	[0x06] = { .length = 2 }, /* mass */
	[0x07] = { .length = 2 },
	[0x08] = { .length = 2 }, /* dew point: follows from the other two */
	[0x09] = { .length = 1 }, /* count */
	[0x0A] = { .length = 3 }, /* energy */
	[0x0B] = { .length = 3 }, /* power */
	[0x0C] = { .length = 2 }, /* voltage */
	[0x0D] = { .length = 2 }, /* particles */
	[0x0E] = { .length = 2 },
	[0x0F] = { .length = 1 }, /* binary: 0x0F to 0x11 */
	[0x10] = { .length = 1 },
	[0x11] = { .length = 1 },
	[0x12] = { .length = 2 }, /* carbon dioxide */
	[0x13] = { .length = 2 }, /* volatile organics */
	[0x14] = { .length = 2 }, /* moisture: of soil, not of air */
	[0x15] = { .length = 1 }, /* binary: 0x15 to 0x2D */
	[0x16] = { .length = 1 },
	[0x17] = { .length = 1 },
	[0x18] = { .length = 1 },
	[0x19] = { .length = 1 },
	[0x1A] = { .length = 1 },
	[0x1B] = { .length = 1 },
	[0x1C] = { .length = 1 },
	[0x1D] = { .length = 1 },
	[0x1E] = { .length = 1 },
	[0x1F] = { .length = 1 },
	[0x20] = { .length = 1 },
	[0x21] = { .length = 1 },
	[0x22] = { .length = 1 },
	[0x23] = { .length = 1 },
	[0x24] = { .length = 1 },
	[0x25] = { .length = 1 },
	[0x26] = { .length = 1 },
	[0x27] = { .length = 1 },
	[0x28] = { .length = 1 },
	[0x29] = { .length = 1 },
	[0x2A] = { .length = 1 },
	[0x2B] = { .length = 1 },
	[0x2C] = { .length = 1 },
	[0x2D] = { .length = 1 },
	[0x2E] = { 1, false, HUMIDITY, 100 },
	[0x2F] = { .length = 1 }, /* moisture */
	[0x3A] = { .length = 1 }, /* button */
	[0x3C] = { .length = 2 }, /* dimmer */
	[0x3D] = { .length = 2 }, /* count */
	[0x3E] = { .length = 4 },
	[0x3F] = { .length = 2 }, /* rotation */
	[0x40] = { .length = 2 }, /* distance */
	[0x41] = { .length = 2 },
	[0x42] = { .length = 3 }, /* duration */
	[0x43] = { .length = 2 }, /* current */
	[0x44] = { .length = 2 }, /* speed */
	[0x45] = { 2, true, TEMPERATURE, 10 },
	[0x46] = { .length = 1 }, /* ultraviolet */
	[0x47] = { .length = 2 }, /* volume */
	[0x48] = { .length = 2 },
	[0x49] = { .length = 2 }, /* flow */
	[0x4A] = { .length = 2 }, /* voltage */
	[0x4B] = { .length = 3 }, /* gas */
	[0x4C] = { .length = 4 },
	[0x4D] = { .length = 4 }, /* energy */
	[0x4E] = { .length = 4 }, /* volume */
	[0x4F] = { .length = 4 }, /* water */
	[0x50] = { .length = 4 }, /* timestamp */
	[0x51] = { .length = 2 }, /* acceleration */
	[0x52] = { .length = 2 }, /* gyroscope */
	[0x53] = { .length = BY_BYTE }, /* text */
	[0x54] = { .length = BY_BYTE }, /* raw */
	[0x55] = { .length = 4 }, /* volume in store */
	[0x56] = { .length = 2 }, /* conductivity */
	[0x57] = { 1, true, TEMPERATURE, 100 },
	[0x58] = { 1, true, TEMPERATURE, 35 },
	[0x59] = { .length = 1 }, /* count */
	[0x5A] = { .length = 2 },
	[0x5B] = { .length = 4 },
	[0x5C] = { .length = 4 }, /* power */
	[0x5D] = { .length = 2 }, /* current */
	[0x5E] = { .length = 2 }, /* direction */
	[0x5F] = { .length = 2 }, /* precipitation */
	[0x60] = { .length = 1 }, /* channel */
	[0x61] = { .length = 2 }, /* turns */
	[0x62] = { .length = 4 }, /* speed */
	[0x63] = { .length = 4 }, /* acceleration */
	[0x64] = { .length = 1 }, /* light level */
};

int bthome_length(uint8_t id)
{
	if (id >= sizeof table / sizeof *table || table[id].length == 0)
		return -1;
	return table[id].length == BY_BYTE ? 0 : table[id].length;
}

enum rc bthome_frame(const uint8_t *bytes, size_t n, struct bthome_frame *out, struct err *err)
{
	if (n == 0)
		return err_set(err, RC_INPUT, "no bytes");
	struct bthome_frame f = { .info = bytes[0] };
	int version = f.info >> VERSION_SHIFT;
	if (version != VERSION)
		return err_set(
			err, RC_INPUT, "version %d of the format, which is not read: 2", version);
	f.encrypted = f.info & INFO_ENCRYPTED;
	f.has_address = f.info & INFO_ADDRESS;
	size_t head = 1 + (f.has_address ? BTHOME_ADDRESS : 0);
	size_t tail = f.encrypted ? sizeof f.counter_bytes + BTHOME_TAG : 0;
	if (n < head + tail || n > BTHOME_MAX)
		return err_set(err, RC_INPUT, "%zu bytes, which can not be whole", n);
	for (size_t i = 0; f.has_address && i < BTHOME_ADDRESS; i++)
		f.address[i] = bytes[head - 1 - i]; /* on air the last byte comes first */
	f.body = bytes + head;
	f.n = n - head - tail;
	if (f.encrypted) {
		const uint8_t *c = f.body + f.n;
		memcpy(f.counter_bytes, c, sizeof f.counter_bytes);
		f.counter =
			c[0] | (uint32_t)c[1] << 8 | (uint32_t)c[2] << 16 | (uint32_t)c[3] << 24;
		f.tag = c + sizeof f.counter_bytes;
	}
	*out = f;
	return RC_OK;
}

void bthome_nonce(const struct bthome_frame *f, const uint8_t address[BTHOME_ADDRESS],
	uint8_t nonce[BTHOME_NONCE])
{
	memcpy(nonce, address, BTHOME_ADDRESS);
	nonce[6] = 0xD2;
	nonce[7] = 0xFC;
	nonce[8] = f->info;
	memcpy(nonce + 9, f->counter_bytes, sizeof f->counter_bytes);
}

/* Up to two bytes, which all the quantities we take have. */
static int32_t value_of(const struct object *o, const uint8_t *bytes)
{
	int32_t v = o->length == 1 ? bytes[0] : bytes[0] | bytes[1] << 8;
	int32_t span = o->length == 1 ? 1 << 8 : 1 << 16;
	if (o->is_signed && v >= span / 2)
		v -= span;
	return v * o->factor;
}

static void take(struct bthome_said *said, int32_t *to, int32_t v, int32_t least, int32_t most)
{
	if (v < least || v > most)
		said->faults++;
	else if (*to == BTHOME_NONE)
		*to = v;
}

static void hear(struct bthome_said *said, const struct object *o, const uint8_t *bytes)
{
	int32_t whole = BTHOME_NONE;
	switch ((enum quantity)o->quantity) {
	case NOTHING:
		break;
	case PACKET:
		said->packet_id = bytes[0];
		break;
	case BATTERY:
		take(said, &whole, value_of(o, bytes), 0, BATTERY_MAX_PCT);
		if (whole != BTHOME_NONE && said->battery_pct < 0)
			said->battery_pct = whole;
		break;
	case HUMIDITY:
		take(said, &said->rh_cpct, value_of(o, bytes), 0, RH_MAX_CPCT);
		break;
	case TEMPERATURE:
		take(said, &said->temp_cdegc, value_of(o, bytes), TEMP_MIN_CDEGC, TEMP_MAX_CDEGC);
		break;
	}
}

/* Bytes of the object at bytes[n], its id with it; n + 1 and more when it is cut short. */
static size_t object_size(const uint8_t *bytes, size_t n)
{
	int length = bthome_length(bytes[0]);
	if (length > 0)
		return 1 + (size_t)length;
	return n < 2 ? n + 1 : 2 + (size_t)bytes[1];
}

enum rc bthome_objects(const uint8_t *plain, size_t n, struct bthome_said *out, struct err *err)
{
	struct bthome_said said = {
		.rh_cpct = BTHOME_NONE,
		.temp_cdegc = BTHOME_NONE,
		.battery_pct = -1,
		.packet_id = -1,
	};
	uint8_t last = 0;
	for (size_t at = 0; at < n;) {
		uint8_t id = plain[at];
		if (bthome_length(id) < 0) {
			said.cut = true;
			break;
		}
		if (id < last)
			return err_set(
				err, RC_INPUT, "object 0x%02X after 0x%02X: ids descend", id, last);
		size_t size = object_size(plain + at, n - at);
		if (size > n - at)
			return err_set(err, RC_INPUT, "object 0x%02X is cut short", id);
		hear(&said, &table[id], plain + at + 1);
		last = id;
		at += size;
	}
	*out = said;
	return RC_OK;
}

static int digit(char c)
{
	static const char digits[] = "0123456789abcdef", capitals[] = "0123456789ABCDEF";
	const char *at = c ? strchr(digits, c) : NULL;
	if (at)
		return (int)(at - digits);
	at = c ? strchr(capitals, c) : NULL;
	return at ? (int)(at - capitals) : -1;
}

/* n bytes, each step characters after the one before, with a colon between them where step is 3. */
static bool hexadecimal(const char *text, size_t step, uint8_t *out, size_t n)
{
	if (strlen(text) != n * step - (step - 2))
		return false;
	for (size_t i = 0; i < n; i++, text += step) {
		int high = digit(text[0]), low = digit(text[1]);
		if (high < 0 || low < 0 || (step == 3 && i + 1 < n && text[2] != ':'))
			return false;
		out[i] = (uint8_t)(high * 16 + low);
	}
	return true;
}

bool bthome_address(const char *text, uint8_t out[BTHOME_ADDRESS])
{
	return hexadecimal(text, 3, out, BTHOME_ADDRESS);
}

bool bthome_key(const char *text, uint8_t out[BTHOME_KEY])
{
	return hexadecimal(text, 2, out, BTHOME_KEY);
}
