#include "tests/unit/support.h"

#include <string.h>

#include "core/bthome.h"

/* The format's object table: const.py of its reference reader, read; 0x53 and 0x54 from memory (0: by a byte). */
static const struct {
	uint8_t from, to;
	int length;
} lengths[] = {
	{ 0x00, 0x01, 1 },
	{ 0x02, 0x03, 2 },
	{ 0x04, 0x05, 3 },
	{ 0x06, 0x08, 2 },
	{ 0x09, 0x09, 1 },
	{ 0x0A, 0x0B, 3 },
	{ 0x0C, 0x0E, 2 },
	{ 0x0F, 0x11, 1 },
	{ 0x12, 0x14, 2 },
	{ 0x15, 0x2F, 1 },
	{ 0x30, 0x39, -1 },
	{ 0x3A, 0x3A, 1 },
	{ 0x3B, 0x3B, -1 },
	{ 0x3C, 0x3D, 2 },
	{ 0x3E, 0x3E, 4 },
	{ 0x3F, 0x41, 2 },
	{ 0x42, 0x42, 3 },
	{ 0x43, 0x45, 2 },
	{ 0x46, 0x46, 1 },
	{ 0x47, 0x4A, 2 },
	{ 0x4B, 0x4B, 3 },
	{ 0x4C, 0x50, 4 },
	{ 0x51, 0x52, 2 },
	{ 0x53, 0x54, 0 },
	{ 0x55, 0x55, 4 },
	{ 0x56, 0x56, 2 },
	{ 0x57, 0x59, 1 },
	{ 0x5A, 0x5A, 2 },
	{ 0x5B, 0x5C, 4 },
	{ 0x5D, 0x5F, 2 },
	{ 0x60, 0x60, 1 },
	{ 0x61, 0x61, 2 },
	{ 0x62, 0x63, 4 },
	{ 0x64, 0x64, 1 },
	{ 0x65, 0xFF, -1 },
};

static const struct bthome_said nothing = { BTHOME_NONE, BTHOME_NONE, -1, -1, 0, false };

static void same(const struct bthome_said *got, const struct bthome_said *want)
{
	assert_int_equal(got->rh_cpct, want->rh_cpct);
	assert_int_equal(got->temp_cdegc, want->temp_cdegc);
	assert_int_equal(got->battery_pct, want->battery_pct);
	assert_int_equal(got->packet_id, want->packet_id);
	assert_int_equal(got->faults, want->faults);
	assert_int_equal(got->cut, want->cut);
}

static void objects_say_what_the_format_says(void **state)
{
	(void)state;
	static const struct {
		const char *src;
		size_t n;
		uint8_t bytes[16];
		struct bthome_said want;
	} rows[] = {
		{ "bthome.io example: 25.00 degC, 50.55 %", 6,
			{ 0x02, 0xC4, 0x09, 0x03, 0xBF, 0x13 }, { 5055, 2500, -1, -1, 0, false } },
		{ "reference reader: battery 97 %", 2, { 0x01, 0x61 },
			{ BTHOME_NONE, BTHOME_NONE, 97, -1, 0, false } },
		{ "reference reader: humidity 35 %", 2, { 0x2E, 0x23 },
			{ 3500, BTHOME_NONE, -1, -1, 0, false } },
		{ "reference reader: dew point 17.38 degC, which is passed over", 3,
			{ 0x08, 0xCA, 0x06 }, { BTHOME_NONE, BTHOME_NONE, -1, -1, 0, false } },
		{ "object table: 0x45 in tenths; -27.3 degC by hand", 3, { 0x45, 0xEF, 0xFE },
			{ BTHOME_NONE, -2730, -1, -1, 0, false } },
		{ "object table: 0x57 in whole degrees; -22 degC by hand", 2, { 0x57, 0xEA },
			{ BTHOME_NONE, -2200, -1, -1, 0, false } },
		{ "object table: 0x58 in 0.35 degC; -22 * 0.35 = -7.7 degC by hand", 2,
			{ 0x58, 0xEA }, { BTHOME_NONE, -770, -1, -1, 0, false } },
		{ "object table: packet id", 2, { 0x00, 0x09 },
			{ BTHOME_NONE, BTHOME_NONE, -1, 9, 0, false } },
		{ "nothing said", 0, { 0 }, { BTHOME_NONE, BTHOME_NONE, -1, -1, 0, false } },
		{ "judgement: the first of a quantity counts", 12,
			{ 0x02, 0xC4, 0x09, 0x02, 0x00, 0x00, 0x03, 0xBF, 0x13, 0x2E, 0x63, 0x65 },
			{ 5055, 2500, -1, -1, 0, true } },
		{ "655.35 % is a fault", 6, { 0x02, 0xC4, 0x09, 0x03, 0xFF, 0xFF },
			{ BTHOME_NONE, 2500, -1, -1, 1, false } },
		{ "lowest number there is: a fault", 6, { 0x02, 0x00, 0x80, 0x03, 0xBF, 0x13 },
			{ 5055, BTHOME_NONE, -1, -1, 1, false } },
		{ "255 % of charge and of humidity are faults", 4, { 0x01, 0xFF, 0x2E, 0xFF },
			{ BTHOME_NONE, BTHOME_NONE, -1, -1, 2, false } },
		{ "format: an unknown id ends the reading", 6,
			{ 0x01, 0x61, 0x30, 0x03, 0xBF, 0x13 },
			{ BTHOME_NONE, BTHOME_NONE, 97, -1, 0, true } },
		{ "text of three bytes is passed over", 7, { 0x53, 3, 0x2E, 0x23, 0x01, 0x57, 21 },
			{ BTHOME_NONE, 2100, -1, -1, 0, false } },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct err err = { 0 };
		struct bthome_said got;
		OK(bthome_objects(rows[i].bytes, rows[i].n, &got, &err), &err);
		same(&got, &rows[i].want);
	}
}

static void limits_are_those_of_an_air_sensor(void **state)
{
	(void)state;
	/* the limits of quality.c, data sheets from memory */
	static const struct {
		uint8_t id;
		int raw;
		int32_t want;
	} rows[] = {
		{ 0x03, 0, 0 },
		{ 0x03, 10300, 10300 },
		{ 0x03, 10301, BTHOME_NONE },
		{ 0x02, 8500, 8500 },
		{ 0x02, 8501, BTHOME_NONE },
		{ 0x02, -4000, -4000 },
		{ 0x02, -4001, BTHOME_NONE },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		uint8_t bytes[] = { rows[i].id, (uint8_t)(rows[i].raw & 0xFF),
			(uint8_t)(rows[i].raw >> 8 & 0xFF) };
		struct bthome_said got;
		struct err err = { 0 };
		OK(bthome_objects(bytes, sizeof bytes, &got, &err), &err);
		assert_int_equal(rows[i].id == 0x03 ? got.rh_cpct : got.temp_cdegc, rows[i].want);
		assert_int_equal(got.faults, rows[i].want == BTHOME_NONE);
	}
}

static void every_object_is_passed_by_its_length(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(lengths); i++)
		for (int id = lengths[i].from; id <= lengths[i].to; id++) {
			assert_int_equal(bthome_length((uint8_t)id), lengths[i].length);
			if (lengths[i].length < 0)
				continue;
			/* the object, zeros, then the same id again and an unknown id */
			uint8_t bytes[16] = { (uint8_t)id };
			size_t size = lengths[i].length > 0 ? 1 + (size_t)lengths[i].length : 2;
			bytes[size] = (uint8_t)id;
			bytes[2 * size] = 0xFF;
			struct bthome_said got;
			struct err err = { 0 };
			OK(bthome_objects(bytes, 2 * size + 1, &got, &err), &err);
			assert_true(got.cut);
			assert_int_equal(got.faults, 0);
			/* one byte less is refused, nothing is given */
			got = nothing;
			assert_int_equal(bthome_objects(bytes, 2 * size - 1, &got, NULL), RC_INPUT);
			same(&got, &nothing);
		}
	/* variable length: the byte counts what follows */
	uint8_t raw[] = { 0x54, 2, 0x03, 0x03, 0x57, 20 };
	struct bthome_said got;
	assert_int_equal(bthome_objects(raw, sizeof raw, &got, NULL), RC_OK);
	assert_int_equal(got.temp_cdegc, 2000);
	raw[1] = 5;
	assert_int_equal(bthome_objects(raw, sizeof raw, &got, NULL), RC_INPUT);
}

static void descending_ids_are_refused(void **state)
{
	(void)state;
	static const uint8_t bytes[] = { 0x03, 0xBF, 0x13, 0x02, 0xC4, 0x09 };
	struct bthome_said got = nothing;
	struct err err = { 0 };
	assert_int_equal(bthome_objects(bytes, sizeof bytes, &got, &err), RC_INPUT);
	assert_string_equal(err.text, "object 0x02 after 0x03: ids descend");
	same(&got, &nothing);
}

static void frames_come_apart(void **state)
{
	(void)state;
	struct bthome_frame f;
	struct err err = { 0 };
	/* bthome.io example */
	static const uint8_t plain[] = { 0x40, 0x02, 0xC4, 0x09, 0x03, 0xBF, 0x13 };
	OK(bthome_frame(plain, sizeof plain, &f, &err), &err);
	assert_false(f.encrypted);
	assert_false(f.has_address);
	assert_ptr_equal(f.body, plain + 1);
	assert_int_equal(f.n, 6);
	/* reference reader, 54:48:E6:8F:80:A5 in the payload */
	static const uint8_t sealed[] = { 0x43, 0xA5, 0x80, 0x8F, 0xE6, 0x48, 0x54, 0xF1, 0x96,
		0xC0, 0x6F, 0xFB, 0x49, 0x00, 0x11, 0x22, 0x33, 0xF0, 0x8E, 0xCB, 0xDE };
	OK(bthome_frame(sealed, sizeof sealed, &f, &err), &err);
	uint8_t address[BTHOME_ADDRESS], nonce[BTHOME_NONCE];
	assert_true(bthome_address("54:48:e6:8F:80:A5", address));
	assert_true(f.encrypted && f.has_address);
	assert_memory_equal(f.address, address, sizeof address);
	assert_int_equal(f.n, 6);
	assert_ptr_equal(f.body, sealed + 7);
	assert_int_equal(f.counter, 0x33221100);
	assert_ptr_equal(f.tag, sealed + sizeof sealed - BTHOME_TAG);
	static const uint8_t want[BTHOME_NONCE] = { 0x54, 0x48, 0xE6, 0x8F, 0x80, 0xA5, 0xD2, 0xFC,
		0x43, 0x00, 0x11, 0x22, 0x33 };
	bthome_nonce(&f, f.address, nonce);
	assert_memory_equal(nonce, want, sizeof want);
}

static void frames_that_cannot_be_are_refused(void **state)
{
	(void)state;
	static const struct {
		size_t n;
		uint8_t bytes[16];
	} rows[] = {
		{ 0, { 0 } }, { 1, { 0x00 } }, /* version 0 */
		{ 1, { 0x20 } }, /* version 1 */
		{ 3, { 0x60, 0x2E, 0x23 } }, /* version 3 */
		{ 1, { 0xE0 } }, { 6, { 0x42, 1, 2, 3, 4, 5 } }, /* an address of five bytes */
		{ 8, { 0x41, 0, 1, 2, 3, 4, 5, 6 } }, /* no room for counter and tag */
		{ 14, { 0x43 } }, /* nor beside an address */
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct bthome_frame f;
		assert_int_equal(bthome_frame(rows[i].bytes, rows[i].n, &f, NULL), RC_INPUT);
	}
	uint8_t long_one[BTHOME_MAX + 1] = { 0x40 };
	struct bthome_frame f;
	assert_int_equal(bthome_frame(long_one, BTHOME_MAX, &f, NULL), RC_OK);
	assert_int_equal(bthome_frame(long_one, BTHOME_MAX + 1, &f, NULL), RC_INPUT);
}

static void random_bytes_never_give_a_value_out_of_range(void **state)
{
	(void)state;
	uint64_t seed = support_seed();
	size_t read = 0, said = 0;
	for (int round = 0; round < 200000; round++) {
		/* exactly as many bytes as there are, so that a sanitizer sees one read too many */
		uint8_t bytes[40];
		size_t n = support_random(&seed) % (sizeof bytes + 1);
		uint8_t *end = bytes + sizeof bytes, *start = end - n;
		for (uint8_t *b = start; b < end; b++)
			*b = (uint8_t)(support_random(&seed) % (round % 2 ? 256 : 0x65));
		if (n > 0 && round % 4)
			*start = (uint8_t)(0x40 | (*start & 0x1F));
		struct bthome_frame f;
		struct bthome_said s;
		if (bthome_frame(start, n, &f, NULL) != RC_OK)
			continue;
		assert_true(f.body >= start && f.body + f.n <= end);
		if (bthome_objects(f.body, f.n, &s, NULL) != RC_OK)
			continue;
		read++;
		said += s.rh_cpct != BTHOME_NONE;
		assert_true(s.rh_cpct == BTHOME_NONE || (s.rh_cpct >= 0 && s.rh_cpct <= 10300));
		assert_true(s.temp_cdegc == BTHOME_NONE ||
			    (s.temp_cdegc >= -4000 && s.temp_cdegc <= 8500));
		assert_true(s.battery_pct >= -1 && s.battery_pct <= 100);
		assert_true(s.packet_id >= -1 && s.packet_id <= 255);
	}
	assert_true(read > 1000 && said > 10);
}

static void addresses_and_keys_are_read_from_text(void **state)
{
	(void)state;
	static const char *const wrong[] = { "", "A4:C1:38:00:11", "A4:C1:38:00:11:2",
		"A4:C1:38:00:11:22:", "A4-C1-38-00-11-22", "A4:C1:38:00:11:2G",
		" 4:C1:38:00:11:22" };
	uint8_t address[BTHOME_ADDRESS], key[BTHOME_KEY];
	static const uint8_t want[] = { 0xA4, 0xC1, 0x38, 0x00, 0x11, 0xFe };
	assert_true(bthome_address("A4:c1:38:00:11:fE", address));
	assert_memory_equal(address, want, sizeof want);
	for (size_t i = 0; i < COUNT(wrong); i++)
		assert_false(bthome_address(wrong[i], address));
	assert_true(bthome_key("231d39c1d7cc1ab1aee224cd096db932", key));
	assert_int_equal(key[0], 0x23);
	assert_int_equal(key[15], 0x32);
	assert_false(bthome_key("231d39c1d7cc1ab1aee224cd096db93", key));
	assert_false(bthome_key("231d39c1d7cc1ab1aee224cd096db9322", key));
	assert_false(bthome_key("231d39c1d7cc1ab1aee224cd096db93 ", key));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(objects_say_what_the_format_says),
		cmocka_unit_test(limits_are_those_of_an_air_sensor),
		cmocka_unit_test(every_object_is_passed_by_its_length),
		cmocka_unit_test(descending_ids_are_refused),
		cmocka_unit_test(frames_come_apart),
		cmocka_unit_test(frames_that_cannot_be_are_refused),
		cmocka_unit_test(random_bytes_never_give_a_value_out_of_range),
		cmocka_unit_test(addresses_and_keys_are_read_from_text),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
