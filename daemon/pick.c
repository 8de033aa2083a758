#include "daemon/pick.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "core/number.h"
#include "daemon/pick_int.h"
#include "daemon/utf8.h"

/* Method: each format finds numbers as they were sent; what they mean, whether they can be meant and whose they are is
 * decided here. Limits are those of the kernel's chips (kernel.c): beyond them it is a fault of sensor or line, and
 * such a value gives nothing. */

enum { NUMBER_MAX = 63, PLAIN_MAX = 64 };

static const struct {
	const char *word;
	double low, high;
	const char *unit;
} wants[PICK_WANTS] = {
	[PICK_RH] = { "humidity", -5, 105, "% RH" },
	[PICK_TEMP] = { "temperature", -40, 125, "degC" },
	[PICK_BATTERY] = { "battery", 0, 100, "%" },
};

/* ---- what formats share ---- */

const char *pick_word(enum pick_want want)
{
	return wants[want].word;
}

const char *pick_place(const struct stream *s, enum pick_want want)
{
	switch (want) {
	case PICK_RH:
		return s->humidity;
	case PICK_TEMP:
		return s->temperature;
	case PICK_BATTERY:
		return s->battery;
	case PICK_WANTS:
		break;
	}
	return "";
}

static char next_char(struct span *s, const char *escaped)
{
	char c = *s->p;
	if (c == '\\' && s->n > 1 && s->p[1] && strchr(escaped, s->p[1])) {
		s->p++, s->n--;
		c = *s->p == 'n' ? '\n' : *s->p;
	}
	s->p++, s->n--;
	return c;
}

bool pick_same(struct span a, struct span b, const char *escaped)
{
	while (a.n > 0 && b.n > 0)
		if (next_char(&a, escaped) != next_char(&b, escaped))
			return false;
	return a.n == 0 && b.n == 0;
}

static bool has_label(
	const struct pick_key *line, const struct pick_label *want, const char *escaped)
{
	for (size_t i = 0; i < line->n; i++)
		if (pick_same(line->label[i].key, want->key, escaped))
			return pick_same(line->label[i].value, want->value, escaped);
	return false;
}

bool pick_fits(const struct pick_key *place, const struct pick_key *line, const char *escaped)
{
	if (place->name.n == 0 || !pick_same(place->name, line->name, escaped))
		return false;
	for (size_t i = 0; i < place->n; i++)
		if (!has_label(line, &place->label[i], escaped))
			return false;
	return true;
}

struct span pick_next_line(struct span *body)
{
	const char *end = memchr(body->p, '\n', body->n);
	struct span line = { body->p, end ? (size_t)(end - body->p) : body->n };
	size_t taken = line.n + (end != NULL);
	body->p += taken;
	body->n -= taken;
	if (line.n > 0 && line.p[line.n - 1] == '\r')
		line.n--;
	return line;
}

bool pick_takes_part(const struct pick_job *job, const struct stream *s)
{
	return !job->topic || pick_topic_matches(s->topic, job->topic);
}

void pick_absent(
	struct pick_job *job, const struct stream *s, const char *place, const char *fmt, ...)
{
	char text[2 * sizeof job->result->example];
	va_list ap;
	if (job->result->absent++ > 0)
		return;
	(void)snprintf(
		text, sizeof text, "stream \"%s\": %.64s%s", s->name, place, place[0] ? ": " : "");
	size_t n = strlen(text);
	va_start(ap, fmt);
	(void)vsnprintf(text + n, sizeof text - n, fmt, ap);
	va_end(ap);
	(void)utf8_clean(text, job->result->example, sizeof job->result->example);
}

enum meant { MEANT, NOTHING, FAULT };

static enum meant meaning(struct pick_job *job, const struct stream *s, enum pick_want want,
	const struct pick_sent *sent, double *out)
{
	double value = sent->value;
	if (!sent->there)
		return NOTHING;
	if (want == PICK_RH && s->humidity_unit == STREAM_FRACTION)
		value *= 100;
	if (want == PICK_TEMP && s->temperature_unit == STREAM_FAHRENHEIT)
		value = (value - 32) * 5 / 9;
	if (isfinite(value) && value >= wants[want].low && value <= wants[want].high) {
		*out = value;
		return MEANT;
	}
	pick_absent(job, s, pick_place(s, want), "%s is %.6g %s (%g..%g)", wants[want].word, value,
		wants[want].unit, wants[want].low, wants[want].high);
	return isfinite(sent->value) ? FAULT : NOTHING;
}

/* The sensor of a stream for this payload. */
static bool sensor_of(struct pick_job *job, const struct stream *s, char name[NAME_SIZE])
{
	const char *level = job->topic;
	if (s->sensor[0]) {
		memcpy(name, s->sensor, NAME_SIZE);
		return true;
	}
	for (int i = 1; level && i < s->segment; i++) {
		level = strchr(level, '/');
		level = level ? level + 1 : NULL;
	}
	size_t n = level && s->segment > 0 ? strcspn(level, "/") : 0;
	if (n == 0 || n >= NAME_SIZE) {
		pick_absent(job, s, "", "level %d of topic \"%.40s\" is no sensor's name",
			s->segment, job->topic ? job->topic : "");
		return false;
	}
	memcpy(name, level, n);
	name[n] = '\0';
	return true;
}

enum rc pick_make(struct pick_job *job, const struct stream *s,
	const struct pick_sent sent[PICK_WANTS], const int64_t *t_s)
{
	double value[PICK_WANTS];
	enum meant meant[PICK_WANTS];
	struct intake_sample x = { .battery_pct = -1, .sent = t_s != NULL };
	for (int want = 0; want < PICK_WANTS; want++)
		meant[want] = meaning(job, s, (enum pick_want)want, &sent[want], &value[want]);
	if (meant[PICK_RH] != MEANT || meant[PICK_TEMP] == FAULT || !sensor_of(job, s, x.sensor))
		return RC_OK;
	if (job->result->n == job->max)
		return err_set(job->err, RC_INPUT, "more than %zu readings at once", job->max);
	x.r.t_s = t_s ? *t_s : job->now_s;
	x.r.rh_cpct = (int32_t)lround(value[PICK_RH] * 100);
	x.r.temp_cdegc = meant[PICK_TEMP] == MEANT ? (int32_t)lround(value[PICK_TEMP] * 100)
						   : QUALITY_NO_TEMP;
	if (meant[PICK_BATTERY] == MEANT)
		x.battery_pct = (int)lround(value[PICK_BATTERY]);
	job->out[job->result->n++] = x;
	return RC_OK;
}

bool pick_time_fits(int64_t t_s)
{
	return t_s >= INT64_C(100000000) && t_s < INT64_C(4200000000);
}

bool pick_epoch(int64_t count, int64_t *t_s)
{
	int64_t value = count;
	for (int thousands = 0; thousands < 4; thousands++, value /= 1000) {
		if (pick_time_fits(value)) {
			*t_s = value;
			return true;
		}
	}
	return false;
}

bool pick_real(struct span text, double *out)
{
	char copy[NUMBER_MAX + 1];
	if (text.n > NUMBER_MAX || memchr(text.p, '\0', text.n))
		return false;
	memcpy(copy, text.p, text.n);
	copy[text.n] = '\0';
	return number_real(copy, out);
}

/* ---- plain ---- */

static bool is_word(struct span text)
{
	for (size_t i = 0; i < text.n; i++)
		if (text.p[i] < ' ' || text.p[i] > '~')
			return false;
	return text.n <= PLAIN_MAX;
}

static enum rc pick_plain(struct pick_job *job, struct span body)
{
	struct pick_sent sent[PICK_WANTS] = { 0 };
	while (body.n > 0 && (body.p[body.n - 1] == '\n' || body.p[body.n - 1] == '\r'))
		body.n--;
	sent[PICK_RH].there = pick_real(body, &sent[PICK_RH].value);
	if (!sent[PICK_RH].there && !is_word(body))
		return err_set(job->err, RC_INPUT, "not one number as plain text");
	for (size_t i = 0; i < job->pick->n; i++) {
		const struct stream *s = job->pick->streams[i].stream;
		if (!pick_takes_part(job, s))
			continue;
		if (!sent[PICK_RH].there)
			pick_absent(job, s, "", "\"%.*s\" is no number", (int)body.n, body.p);
		enum rc rc = pick_make(job, s, sent, NULL);
		if (rc != RC_OK)
			return rc;
	}
	return RC_OK;
}

/* ---- the whole ---- */

static bool anyone(const struct pick_job *job)
{
	for (size_t i = 0; i < job->pick->n; i++)
		if (pick_takes_part(job, job->pick->streams[i].stream))
			return true;
	return false;
}

static enum rc read_payload(struct pick_job *job, struct span body)
{
	int limit = job->pick->source->size_limit;
	if (!anyone(job))
		return RC_OK;
	if (body.n > (size_t)limit)
		return err_set(job->err, RC_INPUT, "%zu bytes (size_limit = %d)", body.n, limit);
	switch ((enum source_format)job->pick->source->format) {
	case FORMAT_JSON:
		return pick_json(job, body);
	case FORMAT_METRICS:
		return pick_metrics(job, body);
	case FORMAT_LINE:
		return pick_line(job, body);
	case FORMAT_DELIMITED:
		return pick_delimited(job, body);
	case FORMAT_PLAIN:
		break;
	}
	return pick_plain(job, body);
}

enum rc pick_payload(const struct pick *p, const char *topic, const void *bytes, size_t n,
	int64_t now_s, struct intake_sample *out, size_t max, struct pick_result *result,
	struct err *err)
{
	struct pick_job job = { p, topic, now_s, out, max, result, err };
	*result = (struct pick_result){ 0 };
	if (job.max > PICK_SAMPLES_MAX)
		job.max = PICK_SAMPLES_MAX;
	enum rc rc = read_payload(&job, (struct span){ n > 0 ? bytes : "", n });
	if (rc != RC_OK)
		*result = (struct pick_result){ 0 };
	return rc;
}
