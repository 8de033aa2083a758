/* Humidity chips behind kernel drivers: hwmon and IIO files below /sys.
 *
 * hwmon: humidityY_input, tempY_input, whole thousandths of a percent RH and of a degree Celsius
 * (kernel Documentation/ABI/testing/sysfs-class-hwmon). IIO: in_humidityrelative_input and
 * in_temp_input likewise, or (raw + offset) * scale with offset and scale as decimal text
 * (sysfs-bus-iio). A chip is looked for by its name and label at every reading: the numbers in
 * hwmonN and iio:deviceN mean nothing after a reboot or a re-plug, and looking costs less than a
 * bus transfer.
 *
 * Some drivers break the ABI and speak percent. Values that can only be that (above 0 up to
 * KERNEL_SMALL thousandths) are refused with the setting named, never guessed. */
#ifndef DAEMON_KERNEL_H
#define DAEMON_KERNEL_H

#include <stddef.h>
#include <stdint.h>

#include "core/err.h"
#include "core/quality.h"

enum { KERNEL_TEXT_MAX = 64, KERNEL_SMALL = 110 };

struct kernel_at {
	const char *root; /* "/sys" */
	const char *chip; /* text of the `name` file */
	const char *
		label; /* "": any; else text of `label`, humidityY_label, in_humidityrelative_label,
			* or the name of the device behind, such as 1-0044 */
	int unit; /* KERNEL_MILLI or KERNEL_PERCENT of settings.h; for percent: temperature in
		   * thousandths from _input files, in degrees from raw, offset and scale, as the
		   * drivers known to do it give them */
	/* Reads a small file: 0 and its text with NUL, or errno. NULL: the file system. */
	int (*text)(const char *path, char *buf, size_t n);
};

/* One reading, stamped now_s. EAGAIN, EIO and ETIMEDOUT are tried twice: on some one-wire chips
 * they are normal. Errors: RC_UNKNOWN no such chip (the text lists those there are), RC_ASK two of
 * that name and label, or a value in the wrong unit, RC_INPUT a text that is no number or a value
 * no chip can mean (RH -5..105 %, -40..125 degC), RC_IO the driver failed. */
MUST_USE enum rc kernel_read(
	const struct kernel_at *where, int64_t now_s, struct quality_reading *out, struct err *err);

#endif
