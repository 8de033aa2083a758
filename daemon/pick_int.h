/* Inside of pick, for pick*.c only: what the formats share. */
#ifndef DAEMON_PICK_INT_H
#define DAEMON_PICK_INT_H

#include "daemon/pick.h"

/* Bytes of a payload or of a setting, borrowed. */
struct span {
	const char *p;
	size_t n;
};

enum pick_want { PICK_RH, PICK_TEMP, PICK_BATTERY, PICK_WANTS };
enum { PICK_LABELS_MAX = 64 };

struct pick_label {
	struct span key, value;
};

/* What a value is called: metrics `name{key="value"}`, line `name,key=value field`. Texts as they are written,
 * escapes and all; name.n == 0: nothing. */
struct pick_key {
	struct span name, field;
	size_t n;
	struct pick_label *label;
};

struct pick_stream {
	const struct stream *stream;
	struct pick_key at[PICK_WANTS]; /* metrics and line */
};

struct pick {
	const struct settings *set;
	const struct source *source;
	size_t n;
	struct pick_stream *streams;
};

/* One payload on its way. */
struct pick_job {
	const struct pick *pick;
	const char *topic;
	int64_t now_s;
	struct intake_sample *out;
	size_t max;
	struct pick_result *result;
	struct err *err;
};

/* `humidity`, and so on: the setting and the quantity. */
const char *pick_word(enum pick_want want);
/* Text of the setting that says where want stands; "": nowhere. */
const char *pick_place(const struct stream *s, enum pick_want want);

/* Whether a stream takes part in this payload. */
bool pick_takes_part(const struct pick_job *job, const struct stream *s);

/* Counts a place without a usable value, and keeps the first one's words. place: of the settings. */
void pick_absent(struct pick_job *job, const struct stream *s, const char *place, const char *fmt,
	...) PRINTF_LIKE(4, 5);

/* A number as it was sent, in the stream's unit. */
struct pick_sent {
	bool there;
	double value; /* also NAN and infinities */
};

/* The sample of a stream out of what was sent, in % RH, degC and %. t_s: the sender's own time, NULL: none.
 * No humidity, or humidity or temperature that no air sensor can mean (-5..105 %, -40..125 degC), gives no sample; a
 * temperature that is not there or no number leaves the humidity as it is, and so does the battery (0..100 %) always.
 * What is there and not usable is counted; what is not there the format has counted. RC_INPUT: no room left. */
MUST_USE enum rc pick_make(struct pick_job *job, const struct stream *s,
	const struct pick_sent sent[PICK_WANTS], const int64_t *t_s);

/* Seconds of a count since 1970-01-01 UTC in s, ms, us or ns: told by its size, since from 1973-03-03 to 2103-02-04
 * (1e8..4.2e9 s) each unit has its own span of numbers. false: none of them. */
bool pick_epoch(int64_t count, int64_t *t_s);
bool pick_time_fits(int64_t t_s); /* inside these years */

/* The whole span as a number; false for anything else, NaN and infinities included. */
bool pick_real(struct span text, double *out);

/* Whether two texts are the same once a backslash before one of the characters in `escaped` is taken off; \n is a line
 * feed where n is one of them. */
bool pick_same(struct span a, struct span b, const char *escaped);
/* Whether line has the name and every label of place. */
bool pick_fits(const struct pick_key *place, const struct pick_key *line, const char *escaped);

/* Takes the next line off body, without its end (LF or CRLF). */
struct span pick_next_line(struct span *body);

/* ---- formats ---- */

/* What stands at text, or RC_CONFIG with what would do. labels: room for PICK_LABELS_MAX. */
MUST_USE enum rc pick_json_place(const char *text, struct err *err);
MUST_USE enum rc pick_metrics_place(
	const char *text, struct pick_label *labels, struct pick_key *out, struct err *err);
MUST_USE enum rc pick_line_place(
	const char *text, struct pick_label *labels, struct pick_key *out, struct err *err);

/* All samples of a payload. */
MUST_USE enum rc pick_json(struct pick_job *job, struct span body);
MUST_USE enum rc pick_metrics(struct pick_job *job, struct span body);
MUST_USE enum rc pick_line(struct pick_job *job, struct span body);
MUST_USE enum rc pick_delimited(struct pick_job *job, struct span body);

#endif
