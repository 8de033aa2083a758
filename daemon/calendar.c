#include "daemon/calendar.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

#include "core/mem.h"
#include "daemon/calendar_int.h"

/* libical 3.0.16 writes no year past 2999, and the day after an event has to fit too. */
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
	if (e->status == ENTRY_DONE && !time_good(e->done_s))
		return "done without a time";
	if (e->priority < 0 || e->priority > 9)
		return "priority not 0..9";
	return e->sequence < 0 ? "sequence below 0" : NULL;
}

static enum rc check_entries(const struct calendar_entry *entries, size_t n, struct err *err)
{
	for (size_t i = 0; i < n; i++) {
		if (!entries[i].uid || !calendar_uid_good(entries[i].uid))
			return err_set(err, RC_INPUT,
				"calendar: entry %zu: uid is not 1..%d letters, digits and hyphens",
				i, CALENDAR_UID_MAX);
		const char *fault = fault_of(&entries[i]);
		if (fault)
			return err_set(
				err, RC_INPUT, "calendar: entry %s: %s", entries[i].uid, fault);
	}
	return RC_OK;
}

enum rc calendar_build(enum calendar_kind kind, const struct calendar_head *head,
	const struct calendar_entry *entries, size_t n, char **bytes, size_t *len, struct err *err)
{
	enum rc rc = check_entries(entries, n, err);
	if (rc != RC_OK)
		return rc;
	size_t size = 0;
	char *text = calendar_print(kind, head, entries, n, &size);
	if (!text)
		return err_set(err, RC_MEM, "calendar: out of memory for %zu entries", n);
	rc = calendar_lint(text, size, err);
	if (rc != RC_OK) {
		mem_free(text);
		return rc;
	}
	*bytes = text;
	*len = size;
	return RC_OK;
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
