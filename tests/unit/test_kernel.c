#include "tests/unit/support.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/kernel.h"
#include "daemon/settings.h"

/* A tree like /sys in the test's own folder. */
static char *root;

static int make_root(void **state)
{
	(void)state;
	root = support_folder();
	static const char *const folders[] = { "class", "class/hwmon", "bus", "bus/iio",
		"bus/iio/devices" };
	for (size_t i = 0; i < COUNT(folders); i++)
		assert_int_equal(mkdir(support_path(root, folders[i]), 0700), 0);
	return 0;
}

static int remove_root(void **state)
{
	(void)state;
	support_folder_remove(root);
	return 0;
}

struct file {
	const char *name, *text;
};

enum { FILES = 9 };

static void make_chip(const char *folder, const char *name, const struct file *files, size_t n)
{
	char path[128];
	assert_int_equal(mkdir(support_path(root, folder), 0700), 0);
	(void)snprintf(path, sizeof path, "%s/name", folder);
	support_write(support_path(root, path), name, strlen(name));
	for (size_t i = 0; i < n && files[i].name; i++) {
		(void)snprintf(path, sizeof path, "%s/%s", folder, files[i].name);
		support_write(support_path(root, path), files[i].text, strlen(files[i].text));
	}
}

static struct kernel_at at(const char *chip, const char *label)
{
	return (struct kernel_at){ .root = root, .chip = chip, .label = label };
}

/* kernel ABI: Documentation/ABI/testing/sysfs-class-hwmon and sysfs-bus-iio; scales and offsets as
 * in drivers/iio/humidity/hdc100x.c and si7020.c, values worked by hand from (raw + offset) *
 * scale; old bmp280-core.c gave comp / 1024, percent with a fraction. */
static void values_are_those_of_the_drivers(void **state)
{
	(void)state;
	static const struct {
		const char *src, *folder;
		struct file files[FILES];
		int unit;
		int32_t rh_cpct, temp_cdegc;
	} rows[] = {
		{ "hwmon, thousandths", "class/hwmon/hwmon0",
			{ { "humidity1_input", "45230\n" }, { "temp1_input", "-5250\n" } },
			KERNEL_MILLI, 4523, -525 },
		{ "hwmon without temperature", "class/hwmon/hwmon0",
			{ { "humidity1_input", "45230\n" } }, KERNEL_MILLI, 4523, QUALITY_NO_TEMP },
		{ "hdc100x: raw 26214 is 39999.4 and 25999.0", "bus/iio/devices/iio:device0",
			{ { "in_humidityrelative_raw", "26214\n" },
				{ "in_humidityrelative_scale", "1.525878906\n" },
				{ "in_temp_raw", "26214\n" }, { "in_temp_scale", "2.517700195\n" },
				{ "in_temp_offset", "-15887.515151\n" } },
			KERNEL_MILLI, 4000, 2600 },
		{ "si7020: raw 6684 is 44998, raw 6557 is 23477", "bus/iio/devices/iio:device3",
			{ { "in_humidityrelative_raw", "6684\n" },
				{ "in_humidityrelative_scale", "7.629394531\n" },
				{ "in_humidityrelative_offset", "-786\n" },
				{ "in_temp_raw", "6557\n" }, { "in_temp_scale", "10.725097656\n" },
				{ "in_temp_offset", "-4368\n" } },
			KERNEL_MILLI, 4500, 2348 },
		{ "bme280 as the ABI says", "bus/iio/devices/iio:device0",
			{ { "in_humidityrelative_input", "46333\n" },
				{ "in_temp_input", "23640\n" } },
			KERNEL_MILLI, 4633, 2364 },
		{ "bme280 of old kernels, percent but thousandths of a degree",
			"bus/iio/devices/iio:device0",
			{ { "in_humidityrelative_input", "46.333\n" },
				{ "in_temp_input", "23640\n" } },
			KERNEL_PERCENT, 4633, 2364 },
		{ "hdc3020 at first: raw 29491 is 45.0 percent; 26214 is 25.0 degC",
			"bus/iio/devices/iio:device0",
			{ { "in_humidityrelative_raw", "29491\n" },
				{ "in_humidityrelative_scale", "0.001525878\n" },
				{ "in_temp_raw", "26214\n" }, { "in_temp_scale", "0.002670288\n" },
				{ "in_temp_offset", "-16852\n" } },
			KERNEL_PERCENT, 4500, 2500 },
		{ "missing offset and scale are 0 and 1", "bus/iio/devices/iio:device0",
			{ { "in_humidityrelative_raw", "51500\n" } }, KERNEL_MILLI, 5150,
			QUALITY_NO_TEMP },
		{ "peak and trough are not channels", "bus/iio/devices/iio:device0",
			{ { "in_humidityrelative_raw", "51500\n" },
				{ "in_humidityrelative_peak_raw", "60000\n" },
				{ "in_humidityrelative_trough_raw", "3\n" } },
			KERNEL_MILLI, 5150, QUALITY_NO_TEMP },
		{ "zero is handed on: the quality check judges it", "class/hwmon/hwmon0",
			{ { "humidity1_input", "0\n" } }, KERNEL_MILLI, 0, QUALITY_NO_TEMP },
		{ "slightly below zero by rounding", "class/hwmon/hwmon0",
			{ { "humidity1_input", "-300\n" } }, KERNEL_MILLI, -30, QUALITY_NO_TEMP },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		make_chip(rows[i].folder, "chip\n", rows[i].files, FILES);
		struct kernel_at where = at("chip", "");
		where.unit = rows[i].unit;
		struct quality_reading r;
		struct err err = { 0 };
		print_message("%s\n", rows[i].src);
		OK(kernel_read(&where, 1234, &r, &err), &err);
		assert_int_equal(r.t_s, 1234);
		assert_int_equal(r.rh_cpct, rows[i].rh_cpct);
		assert_int_equal(r.temp_cdegc, rows[i].temp_cdegc);
		assert_int_equal(r.flags, 0);
		(void)remove_root(NULL);
		(void)make_root(NULL);
	}
}

static void what_can_not_be_air_is_refused_with_its_reason(void **state)
{
	(void)state;
	static const struct {
		struct file files[3];
		int unit;
		enum rc want;
		const char *says;
	} rows[] = {
		{ { { "in_humidityrelative_input", "46.333\n" } }, KERNEL_MILLI, RC_ASK,
			"unit = \"percent\"" },
		{ { { "in_humidityrelative_input", "46\n" } }, KERNEL_MILLI, RC_ASK, "0.046 % RH" },
		{ { { "in_humidityrelative_input", "45230\n" } }, KERNEL_PERCENT, RC_ASK,
			"unit = \"milli\"" },
		{ { { "in_humidityrelative_input", "" } }, KERNEL_MILLI, RC_INPUT, "\"\"" },
		{ { { "in_humidityrelative_input", "45230 %\n" } }, KERNEL_MILLI, RC_INPUT,
			"\"45230 %\"" },
		{ { { "in_humidityrelative_input", "nan\n" } }, KERNEL_MILLI, RC_INPUT, "\"nan\"" },
		{ { { "in_humidityrelative_input", "0x1f40\n" } }, KERNEL_MILLI, RC_INPUT,
			"0x1f40" },
		/* sht4x with all bits set: -6 + 125 % and -45 + 175 degC */
		{ { { "in_humidityrelative_input", "119000\n" } }, KERNEL_MILLI, RC_INPUT,
			"119 % RH (-5..105)" },
		{ { { "in_humidityrelative_input", "45000\n" }, { "in_temp_input", "130000\n" } },
			KERNEL_MILLI, RC_INPUT, "130 degC (-40..125)" },
		{ { { "in_temp_input", "20000\n" } }, KERNEL_MILLI, RC_UNKNOWN, "none" },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		make_chip("bus/iio/devices/iio:device0", "chip\n", rows[i].files, 3);
		struct kernel_at where = at("chip", "");
		where.unit = rows[i].unit;
		struct quality_reading r = { .rh_cpct = -1 };
		struct err err = { 0 };
		assert_int_equal(kernel_read(&where, 0, &r, &err), rows[i].want);
		print_message("%s\n", err.text);
		assert_non_null(strstr(err.text, rows[i].says));
		assert_int_equal(r.rh_cpct, -1);
		(void)remove_root(NULL);
		(void)make_root(NULL);
	}
}

static void two_of_one_name_are_told_apart_by_label_or_device(void **state)
{
	(void)state;
	static const struct file attic[] = { { "humidity1_input", "31000\n" },
		{ "label", "attic\n" } };
	static const struct file shop[] = { { "humidity1_input", "42000\n" },
		{ "humidity1_label", "shop\n" } };
	make_chip("1-0044", "x\n", NULL, 0);
	make_chip("class/hwmon/hwmon2", "sht3x\n", attic, COUNT(attic));
	make_chip("class/hwmon/hwmon5", "sht3x\n", shop, COUNT(shop));
	assert_int_equal(
		symlink("../../../1-0044", support_path(root, "class/hwmon/hwmon5/device")), 0);
	static const struct {
		const char *label;
		enum rc want;
		int32_t rh_cpct;
	} rows[] = {
		{ "", RC_ASK, 0 },
		{ "attic", RC_OK, 3100 },
		{ "shop", RC_OK, 4200 },
		{ "1-0044", RC_OK, 4200 },
		{ "cellar", RC_UNKNOWN, 0 },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct kernel_at where = at("sht3x", rows[i].label);
		struct quality_reading r = { 0 };
		struct err err = { 0 };
		assert_int_equal(kernel_read(&where, 0, &r, &err), rows[i].want);
		assert_int_equal(r.rh_cpct, rows[i].rh_cpct);
		if (rows[i].want != RC_ASK)
			continue;
		print_message("%s\n", err.text);
		assert_non_null(strstr(err.text, "hwmon2/humidity1"));
		assert_non_null(strstr(err.text, "hwmon5/humidity1 (device 1-0044)"));
		assert_non_null(strstr(err.text, "set label"));
	}
}

static void channels_of_one_chip_are_told_apart_by_label(void **state)
{
	(void)state;
	static const struct file files[] = {
		{ "humidity1_input", "31000\n" },
		{ "humidity1_label", "in\n" },
		{ "temp1_input", "20000\n" },
		{ "humidity2_input", "42000\n" },
		{ "humidity2_label", "out\n" },
		{ "temp2_input", "10000\n" },
	};
	make_chip("class/hwmon/hwmon0", "pair\n", files, COUNT(files));
	struct quality_reading r;
	struct err err = { 0 };
	struct kernel_at where = at("pair", "out");
	OK(kernel_read(&where, 0, &r, &err), &err);
	assert_int_equal(r.rh_cpct, 4200);
	assert_int_equal(r.temp_cdegc, 1000);
	where.label = "";
	assert_int_equal(kernel_read(&where, 0, &r, &err), RC_ASK);
}

static void renumbering_is_harmless_and_an_absent_chip_lists_the_others(void **state)
{
	(void)state;
	static const struct file files[] = { { "humidity1_input", "31000\n" } };
	make_chip("class/hwmon/hwmon1", "sht4x\n", files, COUNT(files));
	make_chip("class/hwmon/hwmon2", "shtc1\n", files, COUNT(files));
	struct quality_reading r;
	struct err err = { 0 };
	struct kernel_at where = at("sht4x", "");
	OK(kernel_read(&where, 0, &r, &err), &err);
	assert_int_equal(rename(support_path(root, "class/hwmon/hwmon1"),
				 support_path(root, "class/hwmon/hwmon7")),
		0);
	OK(kernel_read(&where, 0, &r, &err), &err);
	where.chip = "hih6130";
	assert_int_equal(kernel_read(&where, 0, &r, &err), RC_UNKNOWN);
	assert_non_null(strstr(err.text, "\"shtc1\""));
	assert_non_null(strstr(err.text, "\"sht4x\""));
}

/* A driver that fails a number of times before it reads. */
static int failures, failure;

static int failing_text(const char *path, char *buf, size_t n)
{
	bool value = strstr(path, "humidity1_input") != NULL;
	if (value && failures-- > 0)
		return failure;
	(void)snprintf(buf, n, "%s\n", value ? "45230" : strstr(path, "/name") ? "chip" : "20000");
	return 0;
}

static void passing_bus_errors_are_tried_twice_and_others_reported(void **state)
{
	(void)state;
	static const struct file files[] = { { "humidity1_input", "" } };
	static const struct {
		int failure, times;
		enum rc want;
		const char *says;
	} rows[] = {
		{ EAGAIN, 1, RC_OK, "" },
		{ EIO, 1, RC_OK, "" },
		{ ETIMEDOUT, 1, RC_OK, "" },
		{ EIO, 2, RC_IO, "Input/output error" },
		{ EBUSY, 1, RC_IO, "busy" },
		{ ENODATA, 1, RC_IO, "humidity1_enable" },
		{ ENODEV, 1, RC_IO, "No such device" },
	};
	make_chip("class/hwmon/hwmon0", "chip\n", files, COUNT(files));
	struct kernel_at where = at("chip", "");
	where.text = failing_text;
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct quality_reading r;
		struct err err = { 0 };
		failures = rows[i].times;
		failure = rows[i].failure;
		assert_int_equal(kernel_read(&where, 0, &r, &err), rows[i].want);
		assert_non_null(strstr(err.text, rows[i].says));
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define IN_TREE(f) cmocka_unit_test_setup_teardown(f, make_root, remove_root)
		IN_TREE(values_are_those_of_the_drivers),
		IN_TREE(what_can_not_be_air_is_refused_with_its_reason),
		IN_TREE(two_of_one_name_are_told_apart_by_label_or_device),
		IN_TREE(channels_of_one_chip_are_told_apart_by_label),
		IN_TREE(renumbering_is_harmless_and_an_absent_chip_lists_the_others),
		IN_TREE(passing_bus_errors_are_tried_twice_and_others_reported),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
