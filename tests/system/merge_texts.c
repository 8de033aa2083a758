/* merge_texts make FOLDER: writes sent.ics and ours.ics, two versions of a random to-do as seasond puts them. SEED: another.
 * merge_texts merge SENT THEIRS OURS DAY_OURS: prints what is to be put, nothing when nothing of ours is missing.
 * merge_texts seen FILE: prints done, its time, the day (`-`: none) and the description. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/calendar_seen.h"

enum { TEXT_SIZE = 1200 };

static const char *const parts[] = { "Gr\u00fc\u00dfe", " ", " and ", "\U0001f3bb", ",", ";", ", ",
	"; ", "\n", "\n\n", ":", "\"", "'", "END:VTODO", "e\u0301", "=", "%0A", "<b>", "&amp;",
	"\u4e2d\u6587", "3/64\u2033", "45 %",
	"Donaudampfschifffahrtsgesellschaftskapit\u00e4nsm\u00fctzenabzeichen", "tuner nuts",
	"relief .010" };

static uint64_t seed = 20260420;

/* splitmix64, Steele et al. 2014 */
static uint64_t draw(uint64_t below)
{
	uint64_t z = seed += 0x9e3779b97f4a7c15U;
	z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
	z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
	return (z ^ (z >> 31)) % below;
}

/* Ours never has two lines alike, nor an empty one. */
static const char *draw_text(char *buf, const char *lead, uint64_t most)
{
	size_t len = (size_t)snprintf(buf, TEXT_SIZE, "%s", lead);
	for (uint64_t n = draw(most); n > 0; n--) {
		const char *part = parts[draw(sizeof parts / sizeof parts[0])];
		if (len + strlen(part) < TEXT_SIZE)
			len += (size_t)snprintf(buf + len, TEXT_SIZE - len, "%s", part);
	}
	return buf;
}

static int fail(const struct err *err)
{
	(void)fprintf(stderr, "merge_texts: %s\n", err->text);
	return 1;
}

static int write_file(const char *folder, const char *name, const char *text)
{
	char path[4096];
	(void)snprintf(path, sizeof path, "%s/%s", folder, name);
	FILE *f = fopen(path, "we");
	if (!f)
		return 1;
	(void)fputs(text, f);
	return fclose(f) != 0;
}

static int make(const char *folder)
{
	char summary[2][TEXT_SIZE], description[2][TEXT_SIZE], location[TEXT_SIZE];
	const int64_t day = civil_days(2026, 4, 1) + (int64_t)draw(60);
	struct calendar_entry e = {
		.uid = "3f8c1e52-7a40-4c55-9d0e-5b1f2a6c7d80",
		.summary = draw_text(summary[0], "Snug ", 6),
		.description = draw_text(description[0], "Slack ", 60),
		.location = draw_text(location, "Room ", 3),
		.categories = "wood,neck",
		.start_day = day,
		.due_day = day + 1 + (int64_t)draw(20),
		.alarm_s = day * DAY_S + 7 * HOUR_S,
		.sequence = (int)draw(5),
		.created_s = (day - 20) * DAY_S,
		.modified_s = (day - 10) * DAY_S,
		.done_s = TIME_NEVER,
	};
	const char *const names[] = { "sent.ics", "ours.ics" };
	int status = 0;
	for (size_t i = 0; i < 2 && status == 0; i++) {
		char *bytes = NULL;
		size_t len = 0;
		struct err err = { 0 };
		if (calendar_resource(CALENDAR_TODOS, &e, &bytes, &len, &err) != RC_OK)
			return fail(&err);
		status = write_file(folder, names[i], bytes);
		mem_free(bytes);
		e.summary = draw(2) ? e.summary : draw_text(summary[1], "Snug soon ", 6);
		e.description = draw(3) ? draw_text(description[1], "Loose ", 60) : e.description;
		e.due_day -= (int64_t)draw(2);
		e.alarm_s += draw(2) ? DAY_S : 0;
		e.modified_s += DAY_S;
		e.sequence++;
	}
	return status;
}

static char *read_file(const char *path)
{
	FILE *f = fopen(path, "re");
	char *text = mem_new(SEEN_TEXT_MAX + 1, 1);
	if (!f || !text || fread(text, 1, SEEN_TEXT_MAX, f) == 0)
		exit(2);
	(void)fclose(f);
	return text;
}

static int merge(char **paths, bool day_ours)
{
	char *texts[3], *out = NULL;
	bool changed = false;
	struct err err = { 0 };
	for (size_t i = 0; i < 3; i++)
		texts[i] = read_file(paths[i]);
	if (calendar_merge(texts[0], texts[1], texts[2], day_ours, &out, &changed, &err) != RC_OK)
		return fail(&err);
	if (out)
		(void)fputs(out, stdout);
	for (size_t i = 0; i < 3; i++)
		mem_free(texts[i]);
	mem_free(out);
	return 0;
}

static int see(const char *path)
{
	struct zone *z = NULL;
	struct seen s;
	struct err err = { 0 };
	char *text = read_file(path);
	if (zone_new("Europe/Berlin", &z, &err) != RC_OK ||
		calendar_seen(text, strlen(text), z, &s, &err) != RC_OK)
		return fail(&err);
	(void)printf("%s ", s.done ? "done" : s.cancelled ? "cancelled" : "open");
	(void)printf(s.done_s == TIME_NEVER ? "- " : "%" PRId64 " ", s.done_s);
	(void)printf(s.has_day ? "%" PRId64 "\n" : "-\n", s.day);
	(void)fputs(s.description, stdout);
	zone_free(z);
	mem_free(text);
	return 0;
}

int main(int argc, char **argv)
{
	if (getenv("SEED"))
		seed = strtoull(getenv("SEED"), NULL, 10);
	int status = 2;
	if (argc == 3 && strcmp(argv[1], "make") == 0)
		status = make(argv[2]);
	else if (argc == 6 && strcmp(argv[1], "merge") == 0)
		status = merge(argv + 2, argv[5][0] == '1');
	else if (argc == 3 && strcmp(argv[1], "seen") == 0)
		status = see(argv[2]);
	calendar_done();
	return status;
}
