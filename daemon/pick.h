/* Readings out of the payload of a source: what was fetched, published, printed or handed in.
 *
 * The streams of the source say where each sensor's values stand (settings.h). json: RFC 6901 pointers, one document of
 * RFC 8259; metrics: Prometheus text 0.0.4 or OpenMetrics 1.0, `name{label="value"}` with labels that have to be there;
 * line: line protocol, `measurement,tag=value field`, any number of times; delimited: the import's guess or the source's
 * layout; plain: one number, relative humidity.
 * A value that is missing, null, no number (NaN, Inf, a word) or out of what an air sensor can mean (-5..105 %,
 * -40..125 degC, as for the kernel's chips) gives no reading and is counted. A temperature that is missing, and a
 * battery (0..100 %) always, leaves the humidity its reading. Of two lines that fit one place none is taken. Text that
 * is a number counts as one in json only. Nothing is guessed.
 * Time: the payload's own where there is one: json at the stream's place, a count since 1970 in s, ms, us or ns, told
 * by its size inside 1973-03-03..2103-02-04, or RFC 3339 text; metrics ms, or s where the text ends with # EOF; line
 * like json's counts. A place of time with no time gives no reading. A time to come is the store's to judge.
 * Caps: the source's size_limit, PICK_DEPTH levels of json, PICK_SAMPLES_MAX samples of a payload. */
#ifndef DAEMON_PICK_H
#define DAEMON_PICK_H

#include "daemon/intake.h"

enum { PICK_DEPTH = 32, PICK_SAMPLES_MAX = 4096 };

struct pick;

/* The streams of one source, their places parsed. Borrows set and source. RC_CONFIG: a place that cannot be in that
 * format, with the stream's name and what would do. */
MUST_USE enum rc pick_new(const struct settings *set, const struct source *source,
	struct pick **out, struct err *err);
void pick_free(struct pick *p);

struct pick_result {
	size_t n; /* samples */
	size_t absent; /* places where no usable value stood */
	char example[160]; /* the first of them, in words */
};

/* Reads bytes[n] (no NUL needed). topic: mqtt, else NULL: only streams whose filter matches it take part. now_s: time of
 * readings that bring none. out has room for max samples. RC_INPUT: the payload is not of its format or has
 * more, RC_ASK: the layout leaves something open (import.h), and nothing is given; RC_MEM. */
MUST_USE enum rc pick_payload(const struct pick *p, const char *topic, const void *bytes, size_t n,
	int64_t now_s, struct intake_sample *out, size_t max, struct pick_result *result,
	struct err *err);

/* MQTT 3.1.1 section 4.7: whether a topic filter is well formed, and matches a topic. */
bool pick_topic_valid(const char *filter);
bool pick_topic_matches(const char *filter, const char *topic);

#endif
