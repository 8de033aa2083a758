#include "daemon/calendar.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

#include "core/mem.h"
#include "daemon/calendar_int.h"
#include "daemon/zone.h"

enum { WEEKLY_FIRST_YEAR = 1971, WEEKLY_LAST_YEAR = 2098 }; /* zones are known from 1970 to 2100 */
#define WEEK_S (7 * DAY_S)
#define EVENT_MAX_S (31 * DAY_S)

/* Years have four digits, and the day after an event has to fit too. */
#define FIRST_DAY INT64_C(-25567) /* 1900-01-01 */
#define LAST_DAY INT64_C(376198) /* 2999-12-30 */

static bool day_good(int64_t day)
{
	return day >= FIRST_DAY && day <= LAST_DAY;
}

static bool time_good(int64_t s)
{
	return day_good(civil_floor(s, DAY_S));
}

bool calendar_weekly(const struct calendar_entry *e)
{
	return e->length_s > 0 && e->weekly_zone && *e->weekly_zone;
}

bool calendar_shows(enum calendar_kind kind, const struct calendar_entry *e)
{
	return kind == CALENDAR_EVENTS ? e->status == ENTRY_OPEN : !e->event_only;
}

static const char *time_fault(const struct calendar_entry *e)
{
	if (e->length_s < 0 || e->length_s > EVENT_MAX_S)
		return "length not 0 to 31 days";
	if (e->length_s == 0)
		return NULL;
	if (!time_good(e->at_s))
		return "time outside years 1900..2999";
	if (!calendar_weekly(e))
		return NULL;
	if (civil_at(e->at_s).year < WEEKLY_FIRST_YEAR || civil_at(e->at_s).year > WEEKLY_LAST_YEAR)
		return "a weekly event that begins outside years 1971..2098";
	return e->length_s >= DAY_S ? "a weekly event of a day or longer" : NULL;
}

static const char *fault_of(const struct calendar_entry *e)
{
	if (!day_good(e->start_day) || !day_good(e->due_day))
		return "day outside years 1900..2999";
	if (e->due_day < e->start_day)
		return "due before its start";
	if (!time_good(e->created_s) || !time_good(e->modified_s))
		return "time of change outside years 1900..2999";
	if (e->alarm_s != TIME_NEVER && !time_good(e->alarm_s))
		return "alarm outside years 1900..2999";
	if (calendar_weekly(e) && e->alarm_s != TIME_NEVER && llabs(e->alarm_s - e->at_s) > WEEK_S)
		return "alarm more than a week from a weekly event";
	if (e->status == ENTRY_DONE && !time_good(e->done_s))
		return "done without a time";
	if (e->priority < 0 || e->priority > 9)
		return "priority not 0..9";
	return e->sequence < 0 ? "sequence below 0" : time_fault(e);
}

/* The weekly time has to be one that clocks there show once: at the changes of DST readers differ. */
static enum rc check_zone(const struct calendar_entry *e, struct err *err)
{
	int32_t offset_s;
	struct zone_instants wall;
	if (!calendar_zone_name_good(e->weekly_zone))
		return err_set(err, RC_INPUT, "calendar: entry %s: %.40s: no name of a time zone",
			e->uid, e->weekly_zone);
	struct err why = { 0 };
	enum rc rc = calendar_wall(e->weekly_zone, e->at_s, &offset_s, &wall, &why);
	if (rc != RC_OK)
		return err_set(err, rc == RC_UNKNOWN ? RC_INPUT : rc, "calendar: entry %s: %s",
			e->uid, why.text);
	if (wall.fit != ZONE_UNIQUE)
		return err_set(err, RC_INPUT,
			"calendar: entry %s: begins at a time that clocks in %s show twice that "
			"day",
			e->uid, e->weekly_zone);
	return RC_OK;
}

enum rc calendar_check(const struct calendar_entry *e, size_t i, struct err *err)
{
	if (!e->uid || !calendar_uid_good(e->uid))
		return err_set(err, RC_INPUT,
			"calendar: entry %zu: uid is not 1..%d letters, digits and hyphens", i,
			CALENDAR_UID_MAX);
	const char *fault = fault_of(e);
	if (fault)
		return err_set(err, RC_INPUT, "calendar: entry %s: %s", e->uid, fault);
	return calendar_weekly(e) ? check_zone(e, err) : RC_OK;
}

enum rc calendar_sheet_build(
	const struct calendar_sheet *sheet, char **bytes, size_t *len, struct err *err)
{
	size_t size = 0;
	char *text = calendar_print(sheet, &size);
	if (!text)
		return err_set(err, RC_MEM, "calendar: out of memory for %zu entries", sheet->n);
	enum rc rc = sheet->method ? calendar_lint_message(text, size, err)
				   : calendar_lint(text, size, err);
	if (rc == RC_OK && !sheet->head)
		rc = calendar_second_opinion(text, sheet->entries[0].uid, err);
	if (rc != RC_OK) {
		mem_free(text);
		return rc;
	}
	*bytes = text;
	*len = size;
	return RC_OK;
}

enum rc calendar_build(enum calendar_kind kind, const struct calendar_head *head,
	const struct calendar_entry *entries, size_t n, char **bytes, size_t *len, struct err *err)
{
	const struct calendar_sheet sheet = { kind, head, entries, n, NULL, NULL, NULL };
	enum rc rc = RC_OK;
	for (size_t i = 0; i < n && rc == RC_OK; i++)
		rc = calendar_check(&entries[i], i, err);
	return rc == RC_OK ? calendar_sheet_build(&sheet, bytes, len, err) : rc;
}

enum rc calendar_resource(enum calendar_kind kind, const struct calendar_entry *entry, char **bytes,
	size_t *len, struct err *err)
{
	const struct calendar_sheet sheet = { kind, NULL, entry, 1, NULL, NULL, NULL };
	enum rc rc = calendar_check(entry, 0, err);
	if (rc == RC_OK && !calendar_shows(kind, entry))
		return err_set(err, RC_INPUT, "calendar: entry %s: not among the %s", entry->uid,
			kind == CALENDAR_EVENTS ? "events: it is no longer open"
						: "to-dos: it is an event only");
	return rc == RC_OK ? calendar_sheet_build(&sheet, bytes, len, err) : rc;
}

enum rc calendar_uuid(char buf[37], struct err *err)
{
	unsigned char r[16];
	if (getrandom(r, sizeof r, 0) != (ssize_t)sizeof r)
		return err_set(err, RC_IO, "uuid: getrandom: %s", strerror(errno));
	r[6] = (unsigned char)((r[6] & 0x0f) | 0x40); /* RFC 9562 5.4: version 4 */
	r[8] = (unsigned char)((r[8] & 0x3f) | 0x80); /* variant */
	char *out = buf;
	for (size_t i = 0; i < sizeof r; i++) {
		bool dash = i == 4 || i == 6 || i == 8 || i == 10;
		out += snprintf(out, 4, dash ? "-%02x" : "%02x", r[i]);
	}
	return RC_OK;
}
