/* make_calendar FOLDER: writes calendars of random entries and, as want.tsv, what went in.
 *
 * Files: todos.ics, events.ics, none.ics (nothing due). hard.ics: to-dos with a backslash before
 * n or N, which python3-icalendar 4.0.3 takes for a newline. later.ics: weekly events after 2037, where
 * the lists of changes of the system end. zones.ics: many calendars, resources of one weekly event for
 * each zone of the system. messages.ics: many calendars, one invitation each. want.tsv: one entry a
 * line, texts as hexadecimal of the octets given to calendar_build, times as numbers. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/calendar.h"
#include "daemon/zone.h"

enum {
	ENTRIES = 3000,
	TEXTS = 5,
	TEXT_SIZE = 700,
	HARD = 200,
	LATER = 100,
	MESSAGES = 300,
	ZONES = 600
};
#define YEAR_S INT64_C(31556952)

/* Both hemispheres; daylight saving of an hour, of half an hour, negative, by lists, and none. */
static const char *const zone_names[] = { "Europe/Berlin", "Europe/Dublin", "America/New_York",
	"America/St_Johns", "America/Santiago", "America/Asuncion", "Australia/Sydney",
	"Australia/Lord_Howe", "Pacific/Auckland", "Pacific/Chatham", "Africa/Casablanca",
	"Africa/Cairo", "Asia/Kolkata", "America/Havana", "Asia/Jerusalem", "UTC" };

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

/* An instant that clocks there show as a quarter of an hour from 04:00 to 22:45, in those years after 1970. */
static int64_t draw_wall(const char *zone, int64_t from_year, int64_t years)
{
	struct zone *z = NULL;
	int64_t quarter = 16 + (int64_t)draw(76);
	int64_t day = (from_year * YEAR_S + (int64_t)draw((uint64_t)(years * YEAR_S))) / DAY_S;
	if (zone_new(zone, &z, NULL) != RC_OK)
		return 0;
	int64_t at_s = zone_from_wall(z, day * DAY_S + quarter * 900).first_s;
	zone_free(z);
	return at_s;
}

static void draw_weekly(
	struct calendar_entry *e, const char *zone, int64_t from_year, int64_t years)
{
	e->weekly_zone = zone;
	e->at_s = draw_wall(zone, from_year, years);
	e->length_s = 60 * (1 + (int64_t)draw(24 * 60 - 1));
	if (e->alarm_s != TIME_NEVER)
		e->alarm_s = e->at_s + 60 * ((int64_t)draw(1500) - 1440);
}

static void draw_time(struct calendar_entry *e)
{
	switch (draw(3)) {
	case 0:
		draw_weekly(e, zone_names[draw(sizeof zone_names / sizeof zone_names[0])], 42, 24);
		break;
	case 1:
		e->at_s = (int64_t)draw(4000000000U);
		e->length_s = 1 + (int64_t)draw(31 * 86400);
		break;
	default:
		break;
	}
}

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
		.class = (enum calendar_class)draw(3),
		.event_only = draw(20) == 0,
	};
	e.due_day = e.start_day + (int64_t)draw(4);
	draw_time(&e);
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
		"\t%" PRId64 "\t%d\t%d\t%" PRId64 "\t%" PRId64 "\t%s",
		e->start_day, e->due_day, e->alarm_s == TIME_NEVER ? -1 : e->alarm_s, e->priority,
		e->sequence, e->created_s, e->modified_s, e->done_s, (int)e->status, (int)e->class,
		e->at_s, e->length_s, e->weekly_zone ? e->weekly_zone : "");
}

/* Adds to a file, which is then not one calendar but several. */
static enum rc add_file(const char *folder, const char *file, const char *bytes, size_t len)
{
	char path[1024];
	(void)snprintf(path, sizeof path, "%s/%s", folder, file);
	FILE *f = fopen(path, "ab");
	if (!f)
		return RC_IO;
	size_t written = fwrite(bytes, 1, len, f);
	return fclose(f) == 0 && written == len ? RC_OK : RC_IO;
}

static enum rc write_calendar(const char *folder, const char *file, FILE *want,
	enum calendar_kind kind, const struct calendar_entry *entries, size_t n, struct err *err)
{
	static const struct calendar_head head = { .title = "Gr\u00fc\u00dfe, bench; \U0001f3bb",
		.description = "Care that is due,\nby date",
		.zone = "Europe/Berlin",
		.colour = "teal",
		.refresh_s = 12 * 3600 };
	char *bytes = NULL;
	size_t len = 0;
	enum rc rc = calendar_build(kind, &head, entries, n, &bytes, &len, err);
	if (rc == RC_OK)
		rc = add_file(folder, file, bytes, len);
	mem_free(bytes);
	for (size_t i = 0; i < n; i++)
		if (kind == CALENDAR_TODOS ? !entries[i].event_only
					   : entries[i].status == ENTRY_OPEN) {
			print_want(want, file, &entries[i]);
			(void)fputc('\n', want);
		}
	return rc;
}

/* A weekly event for each zone of zone.tab, each a resource of its own. */
static enum rc write_zones(const char *folder, FILE *want, struct err *err)
{
	char line[300], name[64];
	FILE *f = fopen("/usr/share/zoneinfo/zone.tab", "r");
	enum rc rc = f ? RC_OK : err_set(err, RC_IO, "no zone.tab");
	for (size_t i = 0; f && i < ZONES && rc == RC_OK && fgets(line, sizeof line, f);) {
		if (line[0] == '#' || sscanf(line, "%*s %*s %63s", name) != 1)
			continue;
		struct calendar_entry e = {
			.uid = uid[i++], .summary = "a", .alarm_s = TIME_NEVER
		};
		e.description = e.location = e.contact = e.categories = "";
		draw_weekly(&e, name, 42, 23);
		char *bytes = NULL;
		size_t len = 0;
		rc = calendar_resource(CALENDAR_EVENTS, &e, &bytes, &len, err);
		if (rc == RC_OK)
			rc = add_file(folder, "zones.ics", bytes, len);
		mem_free(bytes);
		print_want(want, "zones.ics", &e);
		(void)fputc('\n', want);
	}
	if (f)
		(void)fclose(f);
	return rc;
}

static enum rc write_message(const char *folder, FILE *want, size_t i, struct err *err)
{
	static char names[2][TEXT_SIZE];
	size_t n = sizeof parts / sizeof parts[0];
	struct calendar_entry e = draw_entry(i, parts, n);
	enum calendar_method method = draw(2) ? METHOD_REQUEST : METHOD_CANCEL;
	e.status = ENTRY_OPEN;
	e.summary = "visit";
	for (size_t k = 0; k < 2; k++)
		(void)draw_text(names[k], parts, n, 3);
	char *bytes = NULL;
	size_t len = 0;
	enum rc rc = calendar_message(method, &e, "bench+visits@bench.example", names[0],
		"a&b@client.example", names[1], &bytes, &len, err);
	if (rc == RC_OK)
		rc = add_file(folder, "messages.ics", bytes, len);
	mem_free(bytes);
	print_want(want, "messages.ics", &e);
	(void)fprintf(want, "\t%s", method == METHOD_REQUEST ? "REQUEST" : "CANCEL");
	print_hex(want, names[0]);
	print_hex(want, names[1]);
	(void)fputc('\n', want);
	return rc;
}

static enum rc write_all(const char *folder, FILE *want, struct err *err)
{
	static struct calendar_entry e[ENTRIES], hard[HARD], later[LATER];
	enum rc rc = RC_OK;
	for (size_t i = 0; i < ENTRIES && rc == RC_OK; i++) {
		rc = calendar_uuid(uid[i], err);
		e[i] = draw_entry(i, parts, sizeof parts / sizeof parts[0]);
	}
	if (rc == RC_OK)
		rc = write_calendar(folder, "todos.ics", want, CALENDAR_TODOS, e, ENTRIES, err);
	if (rc == RC_OK)
		rc = write_calendar(folder, "events.ics", want, CALENDAR_EVENTS, e, ENTRIES, err);
	if (rc == RC_OK)
		rc = write_calendar(folder, "none.ics", want, CALENDAR_EVENTS, NULL, 0, err);
	for (size_t i = 0; i < LATER; i++) { /* the texts of e are written by now */
		later[i] = draw_entry(i, parts, sizeof parts / sizeof parts[0]);
		later[i].status = ENTRY_OPEN;
		draw_weekly(&later[i], zone_names[draw(9)], 68, 20);
	}
	if (rc == RC_OK)
		rc = write_calendar(folder, "later.ics", want, CALENDAR_EVENTS, later, LATER, err);
	for (size_t i = 0; i < HARD; i++)
		hard[i] = draw_entry(i, hard_parts, sizeof hard_parts / sizeof hard_parts[0]);
	if (rc == RC_OK)
		rc = write_calendar(folder, "hard.ics", want, CALENDAR_TODOS, hard, HARD, err);
	for (size_t i = 0; i < MESSAGES && rc == RC_OK; i++)
		rc = write_message(folder, want, i, err);
	return rc == RC_OK ? write_zones(folder, want, err) : rc;
}

int main(int argc, char **argv)
{
	if (argc != 2)
		return 64; /* EX_USAGE */
	const char *seed_text = getenv("SEED");
	uint64_t began = seed_text ? strtoull(seed_text, NULL, 10) : 20261125;
	seed = began;
	char path[1024];
	(void)snprintf(path, sizeof path, "%s/want.tsv", argv[1]);
	FILE *want = fopen(path, "wb");
	if (!want)
		return 73; /* EX_CANTCREAT */
	struct err err = { 0 };
	enum rc rc = write_all(argv[1], want, &err);
	calendar_done();
	(void)printf("seed %" PRIu64 "\n", began);
	if (fclose(want) != 0 || rc != RC_OK) {
		(void)fprintf(stderr, "make_calendar: seed %" PRIu64 ": %s\n", began, err.text);
		return 1;
	}
	return 0;
}
