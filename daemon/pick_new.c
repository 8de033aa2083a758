#include <string.h>

#include "core/mem.h"
#include "daemon/pick_int.h"

/* ---- places ---- */

static enum rc bad_place(const struct stream *s, const char *setting, const char *text,
	const char *why, struct err *err)
{
	return err_set(
		err, RC_CONFIG, "stream \"%s\": %s = \"%s\": %s", s->name, setting, text, why);
}

/* The labels in their own memory. */
static enum rc keep_key(const struct pick_key *key, struct pick_key *out, struct err *err)
{
	*out = *key;
	out->label = NULL;
	if (key->n == 0)
		return RC_OK;
	out->label = mem_new(key->n, sizeof *key->label);
	if (!out->label)
		return err_set(err, RC_MEM, "streams: out of memory");
	memcpy(out->label, key->label, key->n * sizeof *key->label);
	return RC_OK;
}

static enum rc read_place(
	const struct source *source, struct pick_stream *st, enum pick_want want, struct err *err)
{
	const char *text = pick_place(st->stream, want);
	struct pick_label labels[PICK_LABELS_MAX];
	struct pick_key key = { 0 };
	struct err why = { 0 };
	enum rc rc = RC_OK;
	if (!text[0])
		return RC_OK;
	switch ((enum source_format)source->format) {
	case FORMAT_JSON:
		rc = pick_json_place(text, &why);
		break;
	case FORMAT_METRICS:
		rc = pick_metrics_place(text, labels, &key, &why);
		break;
	case FORMAT_LINE:
		rc = pick_line_place(text, labels, &key, &why);
		break;
	case FORMAT_DELIMITED:
		rc = err_set(&why, RC_CONFIG,
			"columns are named by a layout of the source: leave it out");
		break;
	case FORMAT_PLAIN:
		rc = err_set(&why, RC_CONFIG, "a plain payload is one number: leave it out");
		break;
	}
	if (rc != RC_OK)
		return bad_place(st->stream, pick_word(want), text, why.text, err);
	return keep_key(&key, &st->at[want], err);
}

static enum rc check_topic(const struct stream *s, struct err *err)
{
	int levels = 1;
	if (!pick_topic_valid(s->topic))
		return bad_place(s, "topic", s->topic,
			"no topic filter: + and # stand alone in a level, # comes last", err);
	for (const char *p = s->topic; *p; p++)
		levels += *p == '/';
	if (s->segment > levels && s->topic[strlen(s->topic) - 1] != '#')
		return bad_place(s, "topic", s->topic, "has fewer levels than segment", err);
	return RC_OK;
}

static enum rc read_stream(const struct source *source, struct pick_stream *st, struct err *err)
{
	const struct stream *s = st->stream;
	struct err why = { 0 };
	enum rc rc = source->kind == SOURCE_MQTT ? check_topic(s, err) : RC_OK;
	if (source->format == FORMAT_DELIMITED &&
		(s->humidity_unit != STREAM_PERCENT || s->temperature_unit != STREAM_CELSIUS))
		return err_set(err, RC_CONFIG,
			"stream \"%s\": units stand in a layout of the source: leave them out",
			s->name);
	for (int want = 0; rc == RC_OK && want < PICK_WANTS; want++)
		rc = read_place(source, st, (enum pick_want)want, err);
	if (rc == RC_OK && s->time[0] && pick_json_place(s->time, &why) != RC_OK)
		rc = bad_place(s, "time", s->time, why.text, err);
	return rc;
}

/* ---- the whole ---- */

static size_t count(const struct settings *set, const char *source)
{
	size_t n = 0;
	for (size_t i = 0; i < set->n_streams; i++)
		n += strcmp(set->streams[i].source, source) == 0;
	return n;
}

enum rc pick_new(
	const struct settings *set, const struct source *source, struct pick **out, struct err *err)
{
	struct pick *p = mem_new(1, sizeof *p);
	enum rc rc = RC_OK;
	if (p) {
		*p = (struct pick){ .set = set, .source = source };
		p->streams = mem_new(count(set, source->name), sizeof *p->streams);
	}
	if (!p || !p->streams)
		rc = err_set(err, RC_MEM, "streams: out of memory");
	for (size_t i = 0; rc == RC_OK && i < set->n_streams; i++) {
		const struct stream *s = &set->streams[i];
		if (strcmp(s->source, source->name) != 0)
			continue;
		struct pick_stream *st = &p->streams[p->n++];
		st->stream = s;
		rc = read_stream(source, st, err);
	}
	if (rc == RC_OK)
		*out = p;
	else
		pick_free(p);
	return rc;
}

void pick_free(struct pick *p)
{
	if (!p)
		return;
	for (size_t i = 0; i < p->n; i++)
		for (int want = 0; want < PICK_WANTS; want++)
			mem_free(p->streams[i].at[want].label);
	mem_free(p->streams);
	mem_free(p);
}
