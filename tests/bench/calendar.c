/* calendar FOLDER: how fast calendars of ITEMS to-dos are written and read, against bare libical.
 *
 * Written: calendar_build, with its cleaning and its own linter over the bytes, against the same properties
 * made, printed and freed with libical, in the faster of two ways: each to-do alone, or all in one tree.
 * Read: uid, status, completion, due day and unescaped description of each to-do of that file, by
 * calendar_line_next and by icalparser_parse_string with the getters. Both sides alternate, the median of
 * ROUNDS counts. FOLDER receives todos.ics and, one item a line, items.tsv for calendar_icalendar.py. */
#include <libical/ical.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "core/mem.h"
#include "daemon/calendar_int.h"

enum { ITEMS = 10000, ROUNDS = 9, TEXT = 512, KEPT = 1024 };

struct item {
	char uid[40], summary[TEXT], description[TEXT];
};

static struct item items[ITEMS];
static struct calendar_entry entries[ITEMS];

/* What reading has to come to, summed over all items; both sides have to agree. */
struct sums {
	size_t items, done, due_days, octets;
	unsigned long hash;
};

static double now_s(void)
{
	struct timespec t;
	(void)clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static void die(const char *what)
{
	(void)fprintf(stderr, "calendar: %s\n", what);
	exit(1);
}

static void make_items(void)
{
	for (size_t i = 0; i < ITEMS; i++) {
		struct item *it = &items[i];
		(void)snprintf(
			it->uid, sizeof it->uid, "3f8c1e52-7a40-4c55-9d0e-%012zx", i * 2654435761U);
		(void)snprintf(
			it->summary, TEXT, "Snug the tuner nuts: flat-top no. %zu, G\u00e4ste", i);
		(void)snprintf(it->description, TEXT,
			"Headstock lost 0.%zu %% moisture since October; the washers have let go "
			"by "
			"about 0.02 mm.\nBest between 12 and 26 January; next week is early "
			"enough.\n"
			"A sixth of a turn, no more: stop when it is snug.",
			i % 90 + 10);
		entries[i] = (struct calendar_entry){ .uid = it->uid,
			.summary = it->summary,
			.description = it->description,
			.location = "Room 2",
			.contact = "Bench customer",
			.categories = "seasonal care",
			.start_day = 20563 + (int64_t)(i % 200),
			.due_day = 20570 + (int64_t)(i % 200),
			.alarm_s = i % 4 ? TIME_NEVER : 1776664800 + (int64_t)i,
			.priority = 5,
			.sequence = (int)(i % 5),
			.created_s = 1767600000,
			.modified_s = 1767686400 + (int64_t)i,
			.done_s = 1767686400,
			.status = i % 5 ? ENTRY_OPEN : ENTRY_DONE };
	}
}

/* ---- bare libical ---- */

static struct icaltimetype time_of(int64_t s, bool date)
{
	struct icaltimetype t =
		icaltime_from_timet_with_zone((time_t)s, date, icaltimezone_get_utc_timezone());
	return t;
}

static icalcomponent *bare_alarm(const struct calendar_entry *e)
{
	struct icaltriggertype trigger = { .time = time_of(e->alarm_s, false) };
	return icalcomponent_vanew(ICAL_VALARM_COMPONENT,
		icalproperty_new_action(ICAL_ACTION_DISPLAY), icalproperty_new_trigger(trigger),
		icalproperty_new_description(e->summary), (void *)0);
}

static icalcomponent *bare_todo(const struct calendar_entry *e)
{
	bool done = e->status == ENTRY_DONE;
	icalcomponent *c = icalcomponent_vanew(ICAL_VTODO_COMPONENT, icalproperty_new_uid(e->uid),
		icalproperty_new_dtstamp(time_of(e->modified_s, false)),
		icalproperty_new_created(time_of(e->created_s, false)),
		icalproperty_new_lastmodified(time_of(e->modified_s, false)),
		icalproperty_new_sequence(e->sequence),
		icalproperty_new_dtstart(time_of(e->start_day * DAY_S, true)),
		icalproperty_new_due(time_of(e->due_day * DAY_S, true)),
		icalproperty_new_status(done ? ICAL_STATUS_COMPLETED : ICAL_STATUS_NEEDSACTION),
		icalproperty_new_summary(e->summary), icalproperty_new_description(e->description),
		icalproperty_new_location(e->location), icalproperty_new_contact(e->contact),
		icalproperty_new_categories(e->categories), icalproperty_new_priority(e->priority),
		(void *)0);
	if (done) {
		icalcomponent_add_property(
			c, icalproperty_new_completed(time_of(e->done_s, false)));
		icalcomponent_add_property(c, icalproperty_new_percentcomplete(100));
	} else if (e->alarm_s != TIME_NEVER) {
		icalcomponent_add_component(c, bare_alarm(e));
	}
	return c;
}

static size_t write_alone(void)
{
	size_t n = 0;
	for (size_t i = 0; i < ITEMS; i++) {
		icalcomponent *c = bare_todo(&entries[i]);
		char *text = icalcomponent_as_ical_string_r(c);
		n += strlen(text);
		free(text);
		icalcomponent_free(c);
	}
	return n;
}

static size_t write_tree(void)
{
	icalcomponent *calendar = icalcomponent_vanew(ICAL_VCALENDAR_COMPONENT,
		icalproperty_new_version("2.0"), icalproperty_new_prodid("-//a//b//EN"), (void *)0);
	for (size_t i = 0; i < ITEMS; i++)
		icalcomponent_add_component(calendar, bare_todo(&entries[i]));
	char *text = icalcomponent_as_ical_string_r(calendar);
	size_t n = strlen(text);
	free(text);
	icalcomponent_free(calendar);
	return n;
}

static void add_text(struct sums *s, const char *text)
{
	for (; *text; text++, s->octets++)
		s->hash = s->hash * 31 + (unsigned char)*text;
}

static struct sums read_bare(const char *text)
{
	struct sums s = { 0 };
	icalcomponent *calendar = icalparser_parse_string(text);
	for (icalcomponent *c = icalcomponent_get_first_component(calendar, ICAL_VTODO_COMPONENT);
		c; c = icalcomponent_get_next_component(calendar, ICAL_VTODO_COMPONENT)) {
		icalproperty *p = icalcomponent_get_first_property(c, ICAL_COMPLETED_PROPERTY);
		struct icaltimetype due = icalcomponent_get_due(c);
		s.items++;
		s.done += icalcomponent_get_status(c) == ICAL_STATUS_COMPLETED && p &&
			  icalproperty_get_completed(p).year == 2026;
		s.due_days += (size_t)due.day;
		add_text(&s, icalcomponent_get_uid(c));
		add_text(&s, icalcomponent_get_description(c));
	}
	icalcomponent_free(calendar);
	return s;
}

/* ---- ours ---- */

static size_t write_ours(char **bytes)
{
	const struct calendar_head head = { .title = "Bench" };
	size_t len = 0;
	struct err err = { 0 };
	if (calendar_build(CALENDAR_TODOS, &head, entries, ITEMS, bytes, &len, &err) != RC_OK)
		die(err.text);
	return len;
}

struct todo {
	const char *uid, *status, *completed, *due;
	char description[KEPT];
};

/* TEXT without its backslashes (RFC 5545 3.3.11). */
static void unescape(const char *value, char *out, size_t size)
{
	size_t n = 0;
	for (; *value && n + 1 < size; value++) {
		if (*value == '\\' && value[1])
			value++, out[n++] = *value == 'n' || *value == 'N' ? '\n' : *value;
		else
			out[n++] = *value;
	}
	out[n] = '\0';
}

static void take(struct todo *t, const struct calendar_line *line)
{
	switch (line->name[0]) {
	case 'U':
		t->uid = strcmp(line->name, "UID") == 0 ? line->value : t->uid;
		break;
	case 'S':
		t->status = strcmp(line->name, "STATUS") == 0 ? line->value : t->status;
		break;
	case 'C':
		t->completed = strcmp(line->name, "COMPLETED") == 0 ? line->value : t->completed;
		break;
	case 'D':
		if (strcmp(line->name, "DUE") == 0)
			t->due = line->value;
		if (strcmp(line->name, "DESCRIPTION") == 0)
			unescape(line->value, t->description, sizeof t->description);
		break;
	default:
		break;
	}
}

static void add_todo(struct sums *s, const struct todo *t)
{
	if (!t->uid || !t->status || !t->due)
		die("a to-do without uid, status or due");
	s->items++;
	s->done += strcmp(t->status, "COMPLETED") == 0 && t->completed &&
		   civil_at(calendar_digits_s(t->completed)).year == 2026;
	s->due_days += (size_t)civil_at(calendar_digits_s(t->due)).day;
	add_text(s, t->uid);
	add_text(s, t->description);
}

static struct sums read_ours(const char *text, size_t len)
{
	struct sums s = { 0 };
	struct calendar_lines lines = { .bytes = text, .len = len, .manner = MANNER_SEEN };
	struct calendar_line line;
	struct todo t = { 0 };
	size_t depth = 0;
	lines.text = mem_new(len + 1, 1);
	if (!lines.text)
		die("out of memory");
	while (lines.at < len && calendar_line_next(&lines, &line, NULL) == RC_OK) {
		if (strcmp(line.name, "BEGIN") == 0) {
			depth++;
		} else if (strcmp(line.name, "END") == 0) {
			if (depth-- == 2 && strcmp(line.value, "VTODO") == 0)
				add_todo(&s, &t);
			if (depth == 1) {
				t = (struct todo){ 0 };
				lines.used = 0;
			}
		} else if (depth == 2) { /* not of an alarm */
			take(&t, &line);
		}
	}
	mem_free(lines.text);
	return s;
}

/* ---- measuring ---- */

static int by_size(const void *a, const void *b)
{
	double x = *(const double *)a, y = *(const double *)b;
	return (x > y) - (x < y);
}

static double median(double *times)
{
	qsort(times, ROUNDS, sizeof *times, by_size);
	return times[ROUNDS / 2];
}

static double time_ours(void)
{
	char *bytes = NULL;
	double start = now_s();
	(void)write_ours(&bytes);
	mem_free(bytes);
	return now_s() - start;
}

static double time_bare(size_t (*write)(void))
{
	double start = now_s();
	(void)write();
	return now_s() - start;
}

/* Each side is timed at its second go: the first has to find room among what the other left. */
static void measure_writing(double *ours)
{
	static double t[3][ROUNDS];
	for (size_t i = 0; i < ROUNDS; i++) {
		(void)time_ours();
		t[0][i] = time_ours();
		(void)time_bare(write_alone);
		t[1][i] = time_bare(write_alone);
		(void)time_bare(write_tree);
		t[2][i] = time_bare(write_tree);
	}
	double alone = median(t[1]), tree = median(t[2]);
	*ours = median(t[0]);
	(void)printf("bench calendar_write_item %.2f us\n", *ours / ITEMS * 1e6);
	(void)printf("bench calendar_write_to_libical %.2f ratio goal <= 1.2\n",
		*ours / (alone < tree ? alone : tree));
}

static void measure_reading(const char *text, size_t len, double *ours)
{
	static double t[2][ROUNDS];
	for (size_t i = 0; i < ROUNDS; i++) {
		(void)read_ours(text, len);
		double start = now_s();
		struct sums a = read_ours(text, len);
		t[0][i] = now_s() - start;
		start = now_s();
		struct sums b = read_bare(text);
		t[1][i] = now_s() - start;
		if (a.items != ITEMS || a.items != b.items || a.done != b.done ||
			a.due_days != b.due_days || a.octets != b.octets || a.hash != b.hash)
			die("both readers do not find the same");
	}
	*ours = median(t[0]);
	(void)printf("bench calendar_read_item %.2f us\n", *ours / ITEMS * 1e6);
	(void)printf(
		"bench calendar_read_to_libical %.3f ratio goal <= 1.2\n", *ours / median(t[1]));
}

static FILE *open_in(const char *folder, const char *name)
{
	char path[1024];
	(void)snprintf(path, sizeof path, "%s/%s", folder, name);
	FILE *f = fopen(path, "wb");
	if (!f)
		die(path);
	return f;
}

static void write_files(const char *folder, const char *text, size_t len)
{
	FILE *f = open_in(folder, "todos.ics");
	bool good = fwrite(text, 1, len, f) == len;
	good = fclose(f) == 0 && good;
	f = open_in(folder, "items.tsv");
	for (size_t i = 0; i < ITEMS; i++) {
		const struct calendar_entry *e = &entries[i];
		char flat[TEXT];
		(void)snprintf(flat, sizeof flat, "%s", e->description);
		for (char *p = flat; *p; p++)
			*p = *p == '\n' ? '\v' : *p;
		(void)fprintf(f, "%s\t%s\t%s\t%lld\t%lld\t%lld\t%d\t%lld\t%lld\t%d\n", e->uid,
			e->summary, flat, (long long)e->start_day, (long long)e->due_day,
			e->alarm_s == TIME_NEVER ? -1LL : (long long)e->alarm_s, e->sequence,
			(long long)e->modified_s, (long long)e->done_s, (int)e->status);
	}
	if (fclose(f) != 0 || !good)
		die("cannot write");
}

int main(int argc, char **argv)
{
	if (argc != 2)
		return 64; /* EX_USAGE */
	make_items();
	char *text = NULL;
	size_t len = write_ours(&text);
	write_files(argv[1], text, len);
	double wrote = 0, did_read = 0;
	measure_writing(&wrote);
	measure_reading(text, len, &did_read);
	(void)printf("# seconds %.6f %.6f\n", wrote, did_read);
	mem_free(text);
	calendar_done();
	return 0;
}
