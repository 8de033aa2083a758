#include "tests/unit/support.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

#include "daemon/beacon.h"
#include "daemon/unseal.h"

/* Key, address and encrypted advertisements: tests of the format's reference reader, read, and deciphered beforehand by
 * another implementation of AES-CCM with the same result, 25.06 degC and 50.55 %. */
static const uint8_t key[BTHOME_KEY] = { 0x23, 0x1d, 0x39, 0xc1, 0xd7, 0xcc, 0x1a, 0xb1, 0xae, 0xe2,
	0x24, 0xcd, 0x09, 0x6d, 0xb9, 0x32 };
static const char key_text[] = "231d39c1d7cc1ab1aee224cd096db932\n";
static const uint8_t address[BTHOME_ADDRESS] = { 0x54, 0x48, 0xE6, 0x8F, 0x80, 0xA5 };
/* counter 1122867 */
static const uint8_t early[] = { 0x41, 0xE4, 0x45, 0xF3, 0xC9, 0x96, 0x2B, 0x33, 0x22, 0x11, 0x00,
	0x6C, 0x7C, 0x45, 0x19 };
/* counter 857870592 */
static const uint8_t late[] = { 0x41, 0xA4, 0x72, 0x66, 0xC9, 0x5F, 0x73, 0x00, 0x11, 0x22, 0x33,
	0x78, 0x23, 0x72, 0x14 };
/* the same counter, with the address in the payload */
static const uint8_t named[] = { 0x43, 0xA5, 0x80, 0x8F, 0xE6, 0x48, 0x54, 0xF1, 0x96, 0xC0, 0x6F,
	0xFB, 0x49, 0x00, 0x11, 0x22, 0x33, 0xF0, 0x8E, 0xCB, 0xDE };

static char *folder;
static char key_path[256];
static struct beacon beacon;

static void write_key(const char *text)
{
	support_write(key_path, text, strlen(text));
	assert_int_equal(chmod(key_path, 0600), 0);
}

static int begin(void **state)
{
	(void)state;
	folder = support_folder();
	(void)snprintf(key_path, sizeof key_path, "%s", support_path(folder, "key"));
	write_key(key_text);
	beacon_init(&beacon, address, key_path);
	return 0;
}

static int end(void **state)
{
	(void)state;
	beacon_done(&beacon);
	support_folder_remove(folder);
	return 0;
}

static enum rc hear(const uint8_t *bytes, size_t n, int64_t at_s, struct bthome_said *said,
	bool *repeat, struct err *err)
{
	struct bthome_frame f;
	*err = (struct err){ 0 };
	OK(bthome_frame(bytes, n, &f, err), err);
	return beacon_hear(&beacon, &f, (struct mono){ at_s * 1000 }, said, repeat, err);
}

static void believes(const uint8_t *bytes, size_t n, int64_t at_s)
{
	struct bthome_said said;
	struct err err;
	bool repeat;
	OK(hear(bytes, n, at_s, &said, &repeat, &err), &err);
	assert_false(repeat);
	assert_int_equal(said.temp_cdegc, 2506);
	assert_int_equal(said.rh_cpct, 5055);
}

static void refuses(const uint8_t *bytes, size_t n, int64_t at_s, enum rc rc, const char *text)
{
	struct bthome_said said;
	struct err err;
	bool repeat;
	assert_int_equal(hear(bytes, n, at_s, &said, &repeat, &err), rc);
	if (!strstr(err.text, text))
		fail_msg("\"%s\" without \"%s\"", err.text, text);
}

static void repeats(const uint8_t *bytes, size_t n, int64_t at_s)
{
	struct bthome_said said;
	struct err err;
	bool repeat;
	OK(hear(bytes, n, at_s, &said, &repeat, &err), &err);
	assert_true(repeat);
}

static void the_reference_is_deciphered(void **state)
{
	(void)state;
	believes(early, sizeof early, 0);
	believes(late, sizeof late, 1);
	beacon_init(&beacon, address, key_path);
	believes(named, sizeof named, 2);
}

static void a_changed_bit_is_noticed(void **state)
{
	(void)state;
	/* any bit of cipher text, counter or tag changed: refused, and nothing of it is left */
	for (size_t bit = 8; bit < 8 * sizeof late; bit++) {
		uint8_t changed[sizeof late];
		memcpy(changed, late, sizeof late);
		changed[bit / 8] ^= (uint8_t)(1 << bit % 8);
		refuses(changed, sizeof changed, 0, RC_INPUT, "not encrypted with this key");
	}
	believes(late, sizeof late, 0);
	uint8_t plain[6], nonce[BTHOME_NONCE] = { 0 }, zeros[6] = { 0 };
	memset(plain, 1, sizeof plain);
	assert_int_equal(
		unseal(key, nonce, late + 1, sizeof plain, late + 11, plain, NULL), RC_INPUT);
	assert_memory_equal(plain, zeros, sizeof plain);
	assert_int_equal(unseal(key, nonce, late + 1, 0, late + 11, plain, NULL), RC_INPUT);
}

static void another_key_is_told_and_a_new_one_read(void **state)
{
	(void)state;
	write_key("231d39c1d7cc1ab1aee224cd096db933");
	refuses(early, sizeof early, 0, RC_INPUT, "not encrypted with this key");
	write_key("231d39c1d7cc1ab1aee224cd096db9");
	refuses(early, sizeof early, 0, RC_CONFIG, "no key: 32 hexadecimal digits");
	write_key(key_text);
	believes(early, sizeof early, 0);
	beacon_init(&beacon, address, "");
	refuses(early, sizeof early, 0, RC_CONFIG, "its key is missing");
	beacon_init(&beacon, address, support_path(folder, "none"));
	refuses(early, sizeof early, 0, RC_CONFIG, "none");
}

static void the_address_is_part_of_the_secret(void **state)
{
	(void)state;
	uint8_t other[BTHOME_ADDRESS];
	memcpy(other, address, sizeof other);
	other[5] ^= 1;
	beacon_init(&beacon, other, key_path);
	refuses(early, sizeof early, 0, RC_INPUT, "not encrypted with this key");
}

static void with_a_key_plain_text_is_refused(void **state)
{
	(void)state;
	static const uint8_t plain[] = { 0x40, 0x02, 0xCA, 0x09, 0x03, 0xBF, 0x13 };
	refuses(plain, sizeof plain, 0, RC_INPUT, "not encrypted, though it has a key");
	beacon_init(&beacon, address, "");
	believes(plain, sizeof plain, 0);
	believes(plain, sizeof plain, 0); /* without a packet id nothing is a repeat */
}

static void what_was_recorded_is_not_believed_again(void **state)
{
	(void)state;
	believes(late, sizeof late, 0);
	repeats(late, sizeof late, 1);
	refuses(early, sizeof early, 2, RC_INPUT, "counter 1122867 after 857870592");
	refuses(early, sizeof early, BEACON_RESTART_S - 1, RC_INPUT, "10 min");
	repeats(late, sizeof late, 10 * BEACON_RESTART_S); /* the very same never */
}

static void a_forged_counter_moves_nothing(void **state)
{
	(void)state;
	uint8_t forged[sizeof early];
	memcpy(forged, early, sizeof forged);
	forged[10] = 0xFF; /* highest byte of the counter */
	refuses(forged, sizeof forged, 0, RC_INPUT, "not encrypted with this key");
	believes(early, sizeof early, 1);
}

static void a_restarted_device_is_believed_after_silence(void **state)
{
	(void)state;
	believes(late, sizeof late, 0);
	believes(early, sizeof early, BEACON_RESTART_S);
	repeats(early, sizeof early, BEACON_RESTART_S + 1);
	believes(late, sizeof late, BEACON_RESTART_S + 2); /* counts on from there */
}

static void a_packet_is_heard_once(void **state)
{
	(void)state;
	static const uint8_t first[] = { 0x40, 0x00, 7, 0x02, 0xCA, 0x09, 0x03, 0xBF, 0x13 };
	static const uint8_t second[] = { 0x40, 0x00, 8, 0x02, 0xCA, 0x09, 0x03, 0xBF, 0x13 };
	beacon_init(&beacon, address, "");
	believes(first, sizeof first, 0);
	repeats(first, sizeof first, 0);
	repeats(first, sizeof first, BEACON_REPEAT_S - 1);
	believes(second, sizeof second, BEACON_REPEAT_S - 1);
	believes(first, sizeof first, BEACON_REPEAT_S - 1);
	believes(first, sizeof first, 2 * BEACON_REPEAT_S); /* a byte comes round */
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_setup_teardown(the_reference_is_deciphered, begin, end),
		cmocka_unit_test_setup_teardown(a_changed_bit_is_noticed, begin, end),
		cmocka_unit_test_setup_teardown(another_key_is_told_and_a_new_one_read, begin, end),
		cmocka_unit_test_setup_teardown(the_address_is_part_of_the_secret, begin, end),
		cmocka_unit_test_setup_teardown(with_a_key_plain_text_is_refused, begin, end),
		cmocka_unit_test_setup_teardown(
			what_was_recorded_is_not_believed_again, begin, end),
		cmocka_unit_test_setup_teardown(a_forged_counter_moves_nothing, begin, end),
		cmocka_unit_test_setup_teardown(
			a_restarted_device_is_believed_after_silence, begin, end),
		cmocka_unit_test_setup_teardown(a_packet_is_heard_once, begin, end),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
