/* Delimited exports. The first byte picks a layout when it is a digit; everything else is left to the guesses. */
#include <string.h>

#include "daemon/import.h"
#include "tests/fuzz/fuzz.h"

static const struct layout layouts[] = {
	{ .zone = "+01:00" },
	{ .zone = "Europe/Vienna", .order = ORDER_DMY, .temp_unit = TEMP_FAHRENHEIT },
	{ .zone = "UTC",
		.time = "#1",
		.rh = "#2",
		.temp = "#3",
		.rh_unit = RH_FRACTION,
		.sensor = "a" },
	{ .encoding = ENCODING_UTF16, .zone = "UTC", .format = "epoch", .rh_unit = RH_PERCENT },
	{ .delimiter = "semicolon", .decimal = "comma", .zone = "UTC", .format = "%d.%m.%Y %H:%M" },
	{ .zone = "UTC", .sensor_column = "#2", .rh_unit = RH_PERCENT, .temp_unit = TEMP_CELSIUS },
	{ .zone = "Europe/Vienna", .time = "#1", .clock = "#2", .order = ORDER_MDY },
};

/* What the sink was given, as a sum that depends on the order. */
struct given {
	int64_t readings, refused, names;
	uint64_t sum;
};

static void add(struct given *g, const void *p, size_t n)
{
	const unsigned char *byte = p;
	for (size_t i = 0; i < n; i++)
		g->sum = (g->sum ^ byte[i]) * UINT64_C(1099511628211); /* FNV-1a */
}

static int take_sensor(void *arg, const char *name)
{
	struct given *g = arg;
	add(g, name, strlen(name));
	return name[0] == 'n' ? -1 : (int)g->names++;
}

static enum rc take_reading(
	void *arg, int sensor, const struct quality_reading *r, int64_t line, struct err *err)
{
	struct given *g = arg;
	(void)err;
	HOLDS(sensor >= 0 && sensor < g->names && line >= 1 && r->flags == 0);
	HOLDS(r->rh_cpct > -INT32_MAX && r->rh_cpct < INT32_MAX);
	HOLDS(r->temp_cdegc == QUALITY_NO_TEMP || r->temp_cdegc > -INT32_MAX);
	g->readings++;
	add(g, &r->t_s, sizeof r->t_s);
	add(g, &r->rh_cpct, sizeof r->rh_cpct);
	add(g, &r->temp_cdegc, sizeof r->temp_cdegc);
	add(g, &sensor, sizeof sensor);
	return RC_OK;
}

static void take_refused(void *arg, int64_t line, const char *reason)
{
	struct given *g = arg;
	HOLDS(line >= 1 && reason[0]);
	g->refused++;
	add(g, &line, sizeof line);
}

static void take_guess(void *arg, const char *text)
{
	add(arg, text, strlen(text));
}

static enum rc once(const uint8_t *bytes, size_t n, const struct layout *known, struct given *g)
{
	struct import_sink sink = { .arg = g };
	struct import_result result = { 0 };
	struct err err = { 0 };
	sink.sensor = take_sensor;
	sink.reading = take_reading;
	sink.refused = take_refused;
	sink.guess = take_guess;
	enum rc rc = import_bytes("input", bytes, n, known, &sink, &result, &err);
	HOLDS(rc == RC_OK || rc == RC_INPUT || rc == RC_ASK);
	HOLDS((rc == RC_OK) == (err.text[0] == '\0'));
	HOLDS(result.readings == g->readings && result.refused == g->refused);
	HOLDS(rc != RC_OK || result.readings > 0);
	return rc;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
	const struct layout *known = NULL;
	size_t which = n > 0 ? (size_t)(bytes[0] - '0') : 0;
	struct given a = { 0 }, b = { 0 };
	if (n > 1 && which < sizeof layouts / sizeof layouts[0] && bytes[1] == ':') {
		known = &layouts[which];
		bytes += 2;
		n -= 2;
	}
	HOLDS(once(bytes, n, known, &a) == once(bytes, n, known, &b));
	HOLDS(memcmp(&a, &b, sizeof a) == 0);
	return 0;
}
