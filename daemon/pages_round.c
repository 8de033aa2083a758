#include "daemon/pages_round.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "daemon/store_meta.h"
#include "daemon/text.h"
#include "daemon/when.h"

bool pages_has_round(const struct edition *e)
{
	return e->output->round[0] && !e->client[0];
}

/* The first one after now_s; weekday 0 is Monday. */
static int64_t first_after(const struct zone *zone, int weekday, int32_t clock_s, int64_t now_s)
{
	int64_t day = zone_day(zone, now_s);
	int64_t today = (day % 7 + 7 + 3) % 7; /* 1970-01-01 was a Thursday */
	day += (weekday - today + 7) % 7;
	int64_t at_s = zone_from_wall(zone, day * DAY_S + clock_s).first_s;
	return at_s > now_s ? at_s : zone_from_wall(zone, (day + 7) * DAY_S + clock_s).first_s;
}

/* `UID MADE FIRST ROUND, ZONE`; false: not of our making. */
static bool read_round(const struct meta *m, struct round *r, const char **when)
{
	int used = 0;
	if (sscanf(m->value, "%39s %" SCNd64 " %" SCNd64 " %n", r->uid, &r->made_s, &r->first_s,
		    &used) != 3 ||
		used == 0)
		return false;
	*when = m->value + used;
	return true;
}

enum rc pages_round(struct store *store, const struct edition *e, const struct zone *zone,
	int64_t now_s, struct round *out, struct err *err)
{
	struct meta m = { .value = "" };
	struct round r = { .made_s = now_s };
	const char *was = "";
	char when[NAME_SIZE + ZONE_SIZE + 2];
	bool found = false;
	int weekday = 0;
	int32_t clock_s = 0;
	(void)snprintf(m.name, sizeof m.name, "round %s", e->name);
	(void)snprintf(when, sizeof when, "%s, %s", e->output->round, e->zone);
	enum rc rc = store_meta(store, m.name, &m, &found, err);
	if (rc != RC_OK)
		return rc;
	if (!when_weekly(e->output->round, &weekday, &clock_s))
		return err_set(err, RC_CONFIG, "output \"%s\": round = \"%s\": no time of the week",
			e->output->name, e->output->round);
	found = found && read_round(&m, &r, &was);
	if (!found)
		rc = calendar_uuid(r.uid, err);
	if (rc == RC_OK && (!found || strcmp(was, when) != 0)) {
		r.first_s = first_after(zone, weekday, clock_s, now_s);
		(void)snprintf(m.value, sizeof m.value, "%s %" PRId64 " %" PRId64 " %s", r.uid,
			r.made_s, r.first_s, when);
		rc = store_meta_put(store, &m, err);
	}
	if (rc == RC_OK)
		*out = r;
	return rc;
}

void pages_round_words(const struct settings *set, const struct edition *e, char *buf, size_t size)
{
	const char *before = " (";
	text_add(buf, size, "Read the hygrometers");
	for (size_t i = 0; i < set->n_sensors; i++) {
		const struct sensor *s = &set->sensors[i];
		if (e->place[0] && strcmp(s->place, e->place) != 0)
			continue;
		text_add(buf, size, "%s%s", before, text_or(s->title, s->name));
		before = ", ";
	}
	text_add(buf, size,
		"%s and note what looks odd, refill humidifiers, look for what stands open: cases, "
		"windows, doors.",
		before[0] == ',' ? ")" : "");
}
