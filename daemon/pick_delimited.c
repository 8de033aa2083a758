#include <string.h>

#include "daemon/pick_int.h"

/* Method: the importer reads the rows, by the source's layout or by its guesses; units stand in the layout. A file that
 * names no sensor belongs to the source's one stream; in one that names some, a name is that of a stream or of its
 * sensor, as a short name. */

static int take_sensor(void *arg, const char *name)
{
	const struct pick *p = ((struct pick_job *)arg)->pick;
	char shorter[NAME_SIZE];
	intake_short_name(name, shorter, sizeof shorter);
	if (!name[0])
		return p->n == 1 ? 0 : -1;
	for (size_t i = 0; i < p->n; i++) {
		const struct stream *s = p->streams[i].stream;
		if (strcmp(s->name, shorter) == 0 || strcmp(s->sensor, shorter) == 0)
			return (int)i;
	}
	return -1;
}

static enum rc take_reading(
	void *arg, int sensor, const struct quality_reading *r, int64_t line, struct err *err)
{
	struct pick_job *job = arg;
	(void)line, (void)err; /* the importer's own err is job->err */
	struct pick_sent sent[PICK_WANTS] = {
		[PICK_RH] = { true, r->rh_cpct / 100.0 },
		[PICK_TEMP] = { r->temp_cdegc != QUALITY_NO_TEMP, r->temp_cdegc / 100.0 },
	};
	return pick_make(job, job->pick->streams[sensor].stream, sent, &r->t_s);
}

static void take_refused(void *arg, int64_t line, const char *reason)
{
	struct pick_job *job = arg;
	pick_absent(
		job, job->pick->streams[0].stream, "", "line %lld: %s", (long long)line, reason);
}

enum rc pick_delimited(struct pick_job *job, struct span body)
{
	const struct source *source = job->pick->source;
	const struct layout *known = settings_layout(job->pick->set, source->layout);
	struct import_sink sink = { .arg = job };
	struct import_result result;
	sink.sensor = take_sensor;
	sink.reading = take_reading;
	sink.refused = take_refused;
	return import_bytes(source->name, body.p, body.n, known, &sink, &result, job->err);
}
