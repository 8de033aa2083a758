/* What has to hold of the readings that pick makes of any bytes. */
#ifndef TESTS_FUZZ_PAYLOAD_H
#define TESTS_FUZZ_PAYLOAD_H

#include <string.h>

#include "daemon/pick.h"
#include "daemon/utf8.h"
#include "tests/fuzz/fuzz.h"

enum { PAYLOAD_ROOM = 32, PAYLOAD_NOW_S = 1700000000 };

/* Limits of pick.h, in hundredths; times are the arrival's or 1973-03-03..2103-02-04, in a layout any. */
static inline void payload_sample(const struct intake_sample *x, bool any_time)
{
	HOLDS(x->r.rh_cpct >= -500 && x->r.rh_cpct <= 10500);
	HOLDS(x->r.temp_cdegc == QUALITY_NO_TEMP ||
		(x->r.temp_cdegc >= -4000 && x->r.temp_cdegc <= 12500));
	HOLDS(x->battery_pct >= -1 && x->battery_pct <= 100);
	HOLDS(x->r.flags == 0);
	HOLDS(x->sent || x->r.t_s == PAYLOAD_NOW_S);
	HOLDS(any_time || (x->r.t_s >= 100000000 && x->r.t_s < 4200000000));
	HOLDS(memchr(x->sensor, '\0', sizeof x->sensor) && x->sensor[0]);
}

/* A text for logs: no controls, UTF-8. */
static inline void payload_clean(const char *text, size_t size)
{
	char clean[1024];
	HOLDS(memchr(text, '\0', size));
	HOLDS(strcmp(utf8_clean(text, clean, sizeof clean), text) == 0);
}

/* Reads the bytes twice; both times it has to come to the same. */
static inline void payload_check(struct stream *streams, size_t n_streams,
	enum source_format format, const uint8_t *bytes, size_t n)
{
	struct source source = { .name = "src", .kind = SOURCE_HTTP, .size_limit = 65536 };
	struct settings set = { .sources = &source, .n_sources = 1 };
	struct pick *p = NULL;
	struct intake_sample out[2][PAYLOAD_ROOM];
	struct pick_result result[2];
	enum rc rc[2];
	source.format = (int)format;
	set.streams = streams;
	set.n_streams = n_streams;
	for (size_t i = 0; i < n_streams; i++)
		(void)snprintf(streams[i].source, sizeof streams[i].source, "src");
	HOLDS(pick_new(&set, &source, &p, NULL) == RC_OK);
	memset(out, 0, sizeof out);
	for (int i = 0; i < 2; i++) {
		struct err err = { 0 };
		rc[i] = pick_payload(
			p, NULL, bytes, n, PAYLOAD_NOW_S, out[i], PAYLOAD_ROOM, &result[i], &err);
		HOLDS(rc[i] == RC_OK || rc[i] == RC_INPUT || rc[i] == RC_ASK);
		HOLDS(rc[i] == RC_OK || (err.text[0] && result[i].n == 0 && result[i].absent == 0));
		payload_clean(result[i].example, sizeof result[i].example);
		HOLDS((result[i].absent > 0) == (result[i].example[0] != '\0'));
	}
	HOLDS(rc[0] == rc[1] && result[0].n == result[1].n && result[0].absent == result[1].absent);
	HOLDS(result[0].n <= PAYLOAD_ROOM);
	HOLDS(memcmp(out[0], out[1], sizeof out[0]) == 0);
	for (size_t i = 0; i < result[0].n; i++)
		payload_sample(&out[0][i], format == FORMAT_DELIMITED);
	pick_free(p);
}

#endif
