#include "daemon/zone.h"

#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/outfile.h"
#include "daemon/zone_file.h"

#define ZONEINFO "/usr/share/zoneinfo/"
#define FIRST_S INT64_C(0) /* 1970-01-01 */
#define LAST_S INT64_C(4102444800) /* 2100-01-01 */
#define OFFSET_MAX_S (14 * 3600) /* Pacific/Kiritimati */
#define REACH_S (26 * HOUR_S) /* a wall clock is never further than this from UTC */

enum { NAME_MAX_BYTES = 48, TRANSITIONS_MAX = 2000, FILE_MAX = 1 << 16 };

/* From at_s on the clock is offset_s ahead of UTC. The first entry holds from the beginning. */
struct transition {
	int64_t at_s;
	int32_t offset_s;
};

struct zone {
	char name[NAME_MAX_BYTES];
	size_t n;
	struct transition *table;
};

/* Two digits at p. */
static int two(const char *p)
{
	return (p[0] - '0') * 10 + p[1] - '0';
}

/* `+2`, `+02`, `+0200`, `+02:00`. */
static bool read_offset(const char *p, int32_t *out)
{
	int sign = *p == '-' ? -1 : 1;
	if (*p != '+' && *p != '-')
		return false;
	p++;
	size_t n = strspn(p, "0123456789");
	int hours, minutes = 0;
	if (n == 1 || n == 2) {
		hours = n == 2 ? two(p) : p[0] - '0';
		if (p[n] == ':' && strspn(p + n + 1, "0123456789") == 2) {
			minutes = two(p + n + 1);
			n += 3;
		}
	} else if (n == 4) {
		hours = two(p);
		minutes = two(p + 2);
	} else {
		return false;
	}
	if (p[n] || minutes > 59 || hours * 3600 + minutes * 60 > OFFSET_MAX_S)
		return false;
	*out = sign * (hours * 3600 + minutes * 60);
	return true;
}

static bool fixed_offset(const char *name, int32_t *out)
{
	if (strcmp(name, "Z") == 0 || strcmp(name, "UTC") == 0 || strcmp(name, "GMT") == 0) {
		*out = 0;
		return true;
	}
	bool prefix = strncmp(name, "UTC", 3) == 0 || strncmp(name, "GMT", 3) == 0;
	return read_offset(name + (prefix ? 3 : 0), out);
}

/* Does the system know the zone? The C library takes UTC for unknown names without a word. `right/`
 * zones count leap seconds, which no export does. */
static bool zone_file(const char *name, char *path, size_t n)
{
	if (!*name || *name == '/' || strstr(name, "..") || strncmp(name, "right/", 6) == 0)
		return false;
	(void)snprintf(path, n, ZONEINFO "%s", name);
	FILE *f = fopen(path, "rbe");
	if (!f)
		return false;
	char magic[4];
	bool good = fread(magic, sizeof magic, 1, f) == 1 && memcmp(magic, "TZif", 4) == 0;
	(void)fclose(f);
	return good;
}

static bool add(struct zone *z, int64_t at_s, int32_t offset_s)
{
	if (z->n == TRANSITIONS_MAX)
		return false;
	struct transition *more = mem_grow(z->table, z->n + 1, sizeof *more);
	if (!more)
		return false;
	z->table = more;
	z->table[z->n++] = (struct transition){ at_s, offset_s };
	return true;
}

struct filling {
	struct zone *z;
	bool full; /* no room for one more */
};

/* Keeps changes later than FIRST_S; what held then is the first entry. */
static bool take(void *arg, int64_t at_s, int32_t offset_s)
{
	struct filling *f = arg;
	struct transition *last = f->z->n > 0 ? &f->z->table[f->z->n - 1] : NULL;
	if (last && at_s <= FIRST_S)
		last->offset_s = offset_s;
	if (last && last->offset_s == offset_s)
		return true;
	f->full = !add(f->z, last ? at_s : INT64_MIN, offset_s);
	return !f->full;
}

static enum rc fill_from(struct zone *z, const char *path, struct err *err)
{
	struct filling f = { .z = z };
	char *bytes = NULL;
	size_t n = 0;
	enum rc rc = outfile_read(path, FILE_MAX, &bytes, &n, err);
	if (rc != RC_OK)
		return rc;
	bool good = zone_file_read(bytes, n, LAST_S - 1, take, &f);
	mem_free(bytes);
	if (f.full)
		return err_set(err, RC_MEM, "time zone: %s: out of memory", z->name);
	return good ? RC_OK : err_set(err, RC_IO, "time zone: %s: no time zone file", path);
}

enum rc zone_new(const char *name, struct zone **out, struct err *err)
{
	char path[sizeof ZONEINFO + NAME_MAX_BYTES];
	int32_t offset_s;
	bool fixed = fixed_offset(name, &offset_s);
	if (!fixed && (strlen(name) >= NAME_MAX_BYTES || !zone_file(name, path, sizeof path)))
		return err_set(err, RC_UNKNOWN,
			"time zone: \"%.60s\" is not known here (a name such as Europe/Berlin, "
			"UTC, or an "
			"offset such as +02:00)",
			name);
	struct zone *z = mem_new(1, sizeof *z);
	if (!z)
		return err_set(err, RC_MEM, "time zone: out of memory");
	(void)snprintf(z->name, sizeof z->name, "%s", name);
	enum rc rc = fixed ? RC_OK : fill_from(z, path, err);
	if (fixed && !add(z, INT64_MIN, offset_s))
		rc = err_set(err, RC_MEM, "time zone: %s: out of memory", name);
	if (rc != RC_OK) {
		zone_free(z);
		return rc;
	}
	*out = z;
	return RC_OK;
}

void zone_free(struct zone *z)
{
	if (!z)
		return;
	mem_free(z->table);
	mem_free(z);
}

const char *zone_name_ref(const struct zone *z)
{
	return z->name;
}

/* Index of the entry that holds at that instant. */
static size_t entry_at(const struct zone *z, int64_t utc_s)
{
	size_t low = 0, high = z->n;
	while (high - low > 1) {
		size_t mid = low + (high - low) / 2;
		if (z->table[mid].at_s <= utc_s)
			low = mid;
		else
			high = mid;
	}
	return low;
}

static int64_t end_of(const struct zone *z, size_t i)
{
	return i + 1 < z->n ? z->table[i + 1].at_s : INT64_MAX;
}

int32_t zone_offset_s(const struct zone *z, int64_t utc_s)
{
	return z->table[entry_at(z, utc_s)].offset_s;
}

bool zone_next_change(const struct zone *z, int64_t after_s, struct zone_change *out)
{
	size_t i = entry_at(z, after_s);
	if (i + 1 >= z->n)
		return false;
	*out = (struct zone_change){ z->table[i + 1].at_s, z->table[i].offset_s,
		z->table[i + 1].offset_s };
	return true;
}

struct zone_instants zone_from_wall(const struct zone *z, int64_t wall_s)
{
	struct zone_instants in = { .fit = ZONE_GAP };
	size_t i = entry_at(z, wall_s - REACH_S);
	for (; i < z->n && z->table[i].at_s <= wall_s + REACH_S; i++) {
		int64_t utc_s = wall_s - z->table[i].offset_s;
		bool begun = utc_s >= z->table[i].at_s;
		bool over = utc_s >= end_of(z, i);
		if (begun && !over && in.fit == ZONE_GAP)
			in = (struct zone_instants){ ZONE_UNIQUE, utc_s, utc_s };
		else if (begun && !over)
			in = (struct zone_instants){ ZONE_TWICE, in.first_s, utc_s };
		else if (over && in.fit == ZONE_GAP)
			in.first_s = in.second_s = utc_s;
	}
	return in;
}

struct zone_stretch zone_plain_stretch(const struct zone *z, int64_t wall_s)
{
	struct zone_instants in = zone_from_wall(z, wall_s);
	if (in.fit != ZONE_UNIQUE)
		return (struct zone_stretch){ wall_s, wall_s, 0 };
	size_t i = entry_at(z, in.first_s);
	const struct transition *t = &z->table[i];
	struct zone_stretch s = { INT64_MIN, INT64_MAX, t->offset_s };
	if (i > 0) {
		int32_t before_s = t[-1].offset_s;
		s.from_s = t->at_s + (before_s > t->offset_s ? before_s : t->offset_s);
	}
	if (i + 1 < z->n) {
		int32_t after_s = t[1].offset_s;
		s.to_s = t[1].at_s + (after_s < t->offset_s ? after_s : t->offset_s);
	}
	return s;
}

int64_t zone_day(const struct zone *z, int64_t utc_s)
{
	return civil_floor(utc_s + zone_offset_s(z, utc_s), DAY_S);
}

int64_t zone_day_start_s(const struct zone *z, int64_t day)
{
	struct zone_instants in = zone_from_wall(z, day * DAY_S);
	if (in.fit != ZONE_GAP)
		return in.first_s;
	/* midnight fell into a gap: the day begins where the clock was put forward */
	return z->table[entry_at(z, in.first_s)].at_s;
}

void zone_print_day(const struct zone *z, int64_t utc_s, char *buf, size_t n)
{
	struct civil c = civil_at(utc_s + zone_offset_s(z, utc_s));
	(void)snprintf(buf, n, "%04d-%02d-%02d", c.year, c.month, c.day);
}

void zone_print_minute(const struct zone *z, int64_t utc_s, char *buf, size_t n)
{
	struct civil c = civil_at(utc_s + zone_offset_s(z, utc_s));
	(void)snprintf(
		buf, n, "%04d-%02d-%02d %02d:%02d", c.year, c.month, c.day, c.hour, c.minute);
}
