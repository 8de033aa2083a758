/* How a delimited export is laid out: what is known beforehand and what was guessed. */
#ifndef DAEMON_LAYOUT_H
#define DAEMON_LAYOUT_H

#include <stdbool.h>

enum layout_encoding { ENCODING_GUESS, ENCODING_UTF8, ENCODING_UTF16, ENCODING_LATIN1 };
enum layout_order { ORDER_GUESS, ORDER_YMD, ORDER_DMY, ORDER_MDY };
enum layout_rh { RH_GUESS, RH_PERCENT, RH_FRACTION };
enum layout_temp { TEMP_GUESS, TEMP_CELSIUS, TEMP_FAHRENHEIT };

/* Every field may be left at its zero value: then it is guessed. Columns are given by header text or
 * by number (`#3`, the first is #1). */
struct layout {
	char name[32];
	int encoding; /* enum layout_encoding */
	char delimiter[16]; /* "comma", "semicolon", "tab", "" */
	char decimal[8]; /* "point", "comma", "" */
	int header_rows; /* 0, -1: guess */
	char time[64]; /* column of date and time, or of the date alone */
	char clock[64]; /* column of the time of day when it stands apart */
	char format[48]; /* strptime-like, or "serial", "epoch", "epoch-ms"; "": guess */
	int order; /* enum layout_order: of all-digit dates */
	char zone[48]; /* IANA or fixed offset; "" : from the file, else ask */
	char rh[64];
	char temp[64];
	int rh_unit; /* enum layout_rh */
	int temp_unit; /* enum layout_temp */
	char sensor_column[64]; /* a column whose text names the sensor */
	char sensor[32]; /* the one sensor of the file */
};

#endif
