/* make_calendar FOLDER: writes calendars of random entries and, as want.tsv, what went in.
 *
 * Files: todos.ics, events.ics, none.ics (nothing due). hard.ics: to-dos with a backslash before
 * n or N, which python3-icalendar 4.0.3 takes for a newline. want.tsv: one entry a line, texts as
 * hexadecimal of the octets given to calendar_build, times as numbers. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/calendar.h"
#include "daemon/outfile.h"

enum { ENTRIES = 1500, TEXTS = 5, TEXT_SIZE = 700, HARD = 200 };

static const char *const parts[] = { "Gr\u00fc\u00dfe", " ", " and ", "\U0001f3bb", ",", ";", ", ",
	"; ", "\\ ", "\n", "\r\n", "\r", "\t", "\a", "\x7f", "\xff", "\xe2\x82", "\xf0\x9f\x8e",
	"\xed\xa0\x80", "\xc0\xaf", ":", "\"", "'", "END:VTODO", "\r\nX-Y:z", "\r\n ", "\u200d",
	"e\u0301", "=", "\xc2\x85", "\u2028", "\ufeff", "^n", "%0A", "<b>", "&amp;", "\u05d0\u05d1",
	"\u4e2d\u6587\u5b57\u7b26", "3/64\u2033", "45 %",
	"Donaudampfschifffahrtsgesellschaftskapit\u00e4nsm\u00fctzenabzeichen", "tuner nuts" };
static const char *const hard_parts[] = { "\\n", "\\N", "\\\\n", "\\", "n", "N", ",", "\n", " x" };

static uint64_t seed;

/* splitmix64, Steele et al. 2014 */
static uint64_t draw(uint64_t below)
{
	uint64_t z = seed += 0x9e3779b97f4a7c15U;
	z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
	z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
	return (z ^ (z >> 31)) % below;
}

static const char *draw_text(char *buf, const char *const *from, size_t n_from, size_t most)
{
	size_t len = 0;
	for (size_t n = draw(most + 1); n > 0; n--) {
		const char *part = from[draw(n_from)];
		size_t add = strlen(part);
		if (len + add >= TEXT_SIZE)
			break;
		memcpy(buf + len, part, add);
		len += add;
	}
	buf[len] = '\0';
	return buf;
}

static char text[ENTRIES][TEXTS][TEXT_SIZE];
static char uid[ENTRIES][37];

static struct calendar_entry draw_entry(size_t i, const char *const *from, size_t n_from)
{
	static const size_t most[TEXTS] = { 12, 40, 6, 4, 8 };
	const char *t[TEXTS];
	for (size_t k = 0; k < TEXTS; k++)
		t[k] = draw_text(text[i][k], from, n_from, most[k]);
	struct calendar_entry e = {
		.uid = uid[i],
		.summary = t[0],
		.description = t[1],
		.location = t[2],
		.contact = t[3],
		.categories = t[4],
		.start_day = (int64_t)draw(40000),
		.alarm_s = draw(2) ? TIME_NEVER : (int64_t)draw(4000000000U),
		.priority = (int)draw(10),
		.sequence = (int)draw(100),
		.created_s = (int64_t)draw(2000000000U),
		.modified_s = (int64_t)draw(4000000000U),
		.done_s = (int64_t)draw(4000000000U),
		.status = (enum entry_status)draw(3),
	};
	e.due_day = e.start_day + (int64_t)draw(4);
	return e;
}

static void print_hex(FILE *f, const char *s)
{
	(void)fputc('\t', f);
	for (; *s; s++)
		(void)fprintf(f, "%02x", (unsigned char)*s);
}

static void print_want(FILE *f, const char *file, const struct calendar_entry *e)
{
	const char *t[TEXTS] = { e->summary, e->description, e->location, e->contact,
		e->categories };
	(void)fprintf(f, "%s\t%s", file, e->uid);
	for (size_t k = 0; k < TEXTS; k++)
		print_hex(f, t[k]);
	(void)fprintf(f,
		"\t%" PRId64 "\t%" PRId64 "\t%" PRId64 "\t%d\t%d\t%" PRId64 "\t%" PRId64
		"\t%" PRId64 "\t%d\n",
		e->start_day, e->due_day, e->alarm_s == TIME_NEVER ? -1 : e->alarm_s, e->priority,
		e->sequence, e->created_s, e->modified_s, e->done_s, (int)e->status);
}

static enum rc write_calendar(const char *folder, const char *file, FILE *want,
	enum calendar_kind kind, const struct calendar_entry *entries, size_t n, struct err *err)
{
	static const struct calendar_head head = { .title = "Gr\u00fc\u00dfe, bench; \U0001f3bb",
		.description = "Care that is due,\nby date",
		.zone = "Europe/Berlin",
		.colour = "teal",
		.refresh_s = 12 * 3600 };
	char path[1024];
	(void)snprintf(path, sizeof path, "%s/%s", folder, file);
	char *bytes = NULL;
	size_t len = 0;
	bool changed;
	enum rc rc = calendar_build(kind, &head, entries, n, &bytes, &len, err);
	if (rc == RC_OK)
		rc = outfile_put(path, bytes, len, NULL, &changed, err);
	mem_free(bytes);
	for (size_t i = 0; i < n; i++)
		if (kind == CALENDAR_TODOS || entries[i].status == ENTRY_OPEN)
			print_want(want, file, &entries[i]);
	return rc;
}

int main(int argc, char **argv)
{
	if (argc != 2)
		return 64; /* EX_USAGE */
	const char *seed_text = getenv("SEED");
	seed = seed_text ? strtoull(seed_text, NULL, 10) : 20261125;
	char path[1024];
	(void)snprintf(path, sizeof path, "%s/want.tsv", argv[1]);
	FILE *want = fopen(path, "wb");
	if (!want)
		return 73; /* EX_CANTCREAT */
	static struct calendar_entry e[ENTRIES], hard[HARD];
	struct err err = { 0 };
	enum rc rc = RC_OK;
	for (size_t i = 0; i < ENTRIES && rc == RC_OK; i++) {
		rc = calendar_uuid(uid[i], &err);
		e[i] = draw_entry(i, parts, sizeof parts / sizeof parts[0]);
	}
	if (rc == RC_OK)
		rc = write_calendar(argv[1], "todos.ics", want, CALENDAR_TODOS, e, ENTRIES, &err);
	if (rc == RC_OK)
		rc = write_calendar(argv[1], "events.ics", want, CALENDAR_EVENTS, e, ENTRIES, &err);
	if (rc == RC_OK)
		rc = write_calendar(argv[1], "none.ics", want, CALENDAR_EVENTS, NULL, 0, &err);
	for (size_t i = 0; i < HARD; i++) /* the texts of e are written by now */
		hard[i] = draw_entry(i, hard_parts, sizeof hard_parts / sizeof hard_parts[0]);
	if (rc == RC_OK)
		rc = write_calendar(argv[1], "hard.ics", want, CALENDAR_TODOS, hard, HARD, &err);
	calendar_done();
	if (fclose(want) != 0 || rc != RC_OK) {
		(void)fprintf(stderr, "make_calendar: seed %" PRIu64 ": %s\n", seed, err.text);
		return 1;
	}
	return 0;
}
