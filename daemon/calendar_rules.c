/* What may stand where in the calendars of seasond (RFC 5545 3.6 to 3.8, RFC 7986 5), and what
 * values look like. Narrower than the standard: only what seasond writes. */
#include "daemon/calendar_int.h"

#include <string.h>

#include "core/number.h"

static const struct calendar_component components[] = {
	{ "VCALENDAR", NULL, true,
		{
			{ "VERSION", OFTEN_ONCE, FORM_WORD, "2.0" },
			{ "PRODID", OFTEN_ONCE, FORM_TEXT, NULL },
			{ "CALSCALE", OFTEN_MAYBE, FORM_WORD, "GREGORIAN" },
			{ "NAME", OFTEN_MAYBE, FORM_TEXT, NULL },
			{ "DESCRIPTION", OFTEN_MAYBE, FORM_TEXT, NULL },
			{ "COLOR", OFTEN_MAYBE, FORM_TEXT, NULL },
			{ "REFRESH-INTERVAL", OFTEN_MAYBE, FORM_DURATION, NULL },
			{ "X-WR-CALNAME", OFTEN_MAYBE, FORM_ANY, NULL },
			{ "X-WR-CALDESC", OFTEN_MAYBE, FORM_ANY, NULL },
			{ "X-WR-TIMEZONE", OFTEN_MAYBE, FORM_ANY, NULL },
			{ "X-PUBLISHED-TTL", OFTEN_MAYBE, FORM_X_DURATION, NULL },
		} },
	{ "VEVENT", "VCALENDAR", false,
		{
			{ "UID", OFTEN_ONCE, FORM_UID, NULL },
			{ "DTSTAMP", OFTEN_ONCE, FORM_UTC, NULL },
			{ "DTSTART", OFTEN_ONCE, FORM_WHEN, NULL },
			{ "DTEND", OFTEN_MAYBE, FORM_WHEN, NULL },
			{ "CREATED", OFTEN_MAYBE, FORM_UTC, NULL },
			{ "LAST-MODIFIED", OFTEN_MAYBE, FORM_UTC, NULL },
			{ "SEQUENCE", OFTEN_MAYBE, FORM_NUMBER, NULL },
			{ "SUMMARY", OFTEN_MAYBE, FORM_TEXT, NULL },
			{ "DESCRIPTION", OFTEN_MAYBE, FORM_TEXT, NULL },
			{ "LOCATION", OFTEN_MAYBE, FORM_TEXT, NULL },
			{ "CONTACT", OFTEN_MANY, FORM_TEXT, NULL },
			{ "CATEGORIES", OFTEN_MANY, FORM_TEXTS, NULL },
			{ "PRIORITY", OFTEN_MAYBE, FORM_DIGIT, NULL },
			{ "STATUS", OFTEN_MAYBE, FORM_WORD, "TENTATIVE CONFIRMED CANCELLED" },
			{ "TRANSP", OFTEN_MAYBE, FORM_WORD, "OPAQUE TRANSPARENT" },
		} },
	{ "VTODO", "VCALENDAR", false,
		{
			{ "UID", OFTEN_ONCE, FORM_UID, NULL },
			{ "DTSTAMP", OFTEN_ONCE, FORM_UTC, NULL },
			{ "DTSTART", OFTEN_MAYBE, FORM_WHEN, NULL },
			/* ours: a to-do without DUE shows every day */
			{ "DUE", OFTEN_ONCE, FORM_WHEN, NULL },
			{ "COMPLETED", OFTEN_MAYBE, FORM_UTC, NULL },
			{ "CREATED", OFTEN_MAYBE, FORM_UTC, NULL },
			{ "LAST-MODIFIED", OFTEN_MAYBE, FORM_UTC, NULL },
			{ "SEQUENCE", OFTEN_MAYBE, FORM_NUMBER, NULL },
			{ "SUMMARY", OFTEN_MAYBE, FORM_TEXT, NULL },
			{ "DESCRIPTION", OFTEN_MAYBE, FORM_TEXT, NULL },
			{ "LOCATION", OFTEN_MAYBE, FORM_TEXT, NULL },
			{ "CONTACT", OFTEN_MANY, FORM_TEXT, NULL },
			{ "CATEGORIES", OFTEN_MANY, FORM_TEXTS, NULL },
			{ "PRIORITY", OFTEN_MAYBE, FORM_DIGIT, NULL },
			{ "STATUS", OFTEN_MAYBE, FORM_WORD,
				"NEEDS-ACTION IN-PROCESS COMPLETED CANCELLED" },
			{ "PERCENT-COMPLETE", OFTEN_MAYBE, FORM_PERCENT, NULL },
		} },
	{ "VALARM", "VEVENT VTODO", false,
		{
			{ "ACTION", OFTEN_ONCE, FORM_WORD, "DISPLAY" },
			{ "TRIGGER", OFTEN_ONCE, FORM_TRIGGER, NULL },
			{ "DESCRIPTION", OFTEN_ONCE, FORM_TEXT, NULL },
		} },
	{ "VTIMEZONE", "VCALENDAR", true,
		{
			{ "TZID", OFTEN_ONCE, FORM_TEXT, NULL },
		} },
	{ "STANDARD", "VTIMEZONE", false,
		{
			{ "DTSTART", OFTEN_ONCE, FORM_LOCAL, NULL },
			{ "TZOFFSETFROM", OFTEN_ONCE, FORM_OFFSET, NULL },
			{ "TZOFFSETTO", OFTEN_ONCE, FORM_OFFSET, NULL },
			{ "TZNAME", OFTEN_MANY, FORM_TEXT, NULL },
			{ "RRULE", OFTEN_MAYBE, FORM_ANY, NULL },
		} },
	{ "DAYLIGHT", "VTIMEZONE", false,
		{
			{ "DTSTART", OFTEN_ONCE, FORM_LOCAL, NULL },
			{ "TZOFFSETFROM", OFTEN_ONCE, FORM_OFFSET, NULL },
			{ "TZOFFSETTO", OFTEN_ONCE, FORM_OFFSET, NULL },
			{ "TZNAME", OFTEN_MANY, FORM_TEXT, NULL },
			{ "RRULE", OFTEN_MAYBE, FORM_ANY, NULL },
		} },
};

const struct calendar_component *calendar_component_named(const char *name)
{
	for (size_t i = 0; i < sizeof components / sizeof components[0]; i++)
		if (strcmp(components[i].name, name) == 0)
			return &components[i];
	return NULL;
}

bool calendar_among(const char *words, const char *word)
{
	size_t n = strlen(word);
	for (const char *p = words; p; p = strchr(p, ' ')) {
		p += *p == ' ';
		if (strncmp(p, word, n) == 0 && (p[n] == ' ' || p[n] == '\0'))
			return true;
	}
	return false;
}

/* TEXT escapes backslash, semicolon, comma and newline (RFC 5545 3.3.11); commas part the texts of
 * a list. */
static const char *text_fault(const char *p, bool list)
{
	for (; *p; p++) {
		if (*p == ';' || (*p == ',' && !list))
			return "comma or semicolon without a backslash";
		if (*p == '\\' && (!p[1] || !strchr("\\;,nN", *++p)))
			return "backslash before a character that takes none";
	}
	return NULL;
}

bool calendar_uid_good(const char *uid)
{
	static const char allowed[] =
		"abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-";
	size_t n = strspn(uid, allowed);
	return n > 0 && n <= CALENDAR_UID_MAX && uid[n] == '\0';
}

static bool digits(const char *p, size_t n, int *value)
{
	*value = 0;
	for (size_t i = 0; i < n; i++) {
		if (p[i] < '0' || p[i] > '9')
			return false;
		*value = 10 * *value + (p[i] - '0');
	}
	return true;
}

/* Takes YYYYMMDD or YYYYMMDDTHHMMSS from p; the result is what follows it, NULL: no such time. */
static const char *take_time(const char *p, bool clock)
{
	struct civil c = { 0 };
	if (strlen(p) < (clock ? 15 : 8) || !digits(p, 4, &c.year) || !digits(p + 4, 2, &c.month) ||
		!digits(p + 6, 2, &c.day))
		return NULL;
	if (clock && (p[8] != 'T' || !digits(p + 9, 2, &c.hour) || !digits(p + 11, 2, &c.minute) ||
			     !digits(p + 13, 2, &c.second)))
		return NULL;
	return civil_valid(&c) ? p + (clock ? 15 : 8) : NULL;
}

/* zoned: a TZID is there. local: neither Z nor TZID is wanted. */
static const char *time_fault(const char *p, bool zoned, bool local)
{
	const char *rest = take_time(p, true);
	if (!rest || strcmp(rest, *rest == 'Z' ? "Z" : "") != 0)
		return "not a time";
	if (local)
		return *rest || zoned ? "not a local time" : NULL;
	if (*rest && zoned)
		return "a TZID on a UTC time";
	return *rest || zoned ? NULL : "floating time: write UTC, a TZID, or VALUE=DATE";
}

static const char *when_fault(const struct calendar_line *line)
{
	if (!line->type)
		return time_fault(line->value, line->tzid, false);
	if (strcmp(line->type, "DATE") != 0)
		return "VALUE is not DATE";
	if (line->tzid)
		return "a TZID on a date";
	const char *rest = take_time(line->value, false);
	return rest && !*rest ? NULL : "not a date";
}

static const char *number_fault(const char *p, int64_t high)
{
	int64_t n;
	bool plain = p[strspn(p, "0123456789")] == '\0'; /* number_int takes blanks and signs too */
	return plain && number_int(p, &n) && n <= high ? NULL : "number out of range";
}

/* +HHMM or -HHMM, seconds allowed (RFC 5545 3.3.14). */
static const char *offset_fault(const char *p)
{
	int hour, minute, second;
	size_t n = strlen(p);
	bool good = (n == 5 || n == 7) && (*p == '+' || *p == '-') && digits(p + 1, 2, &hour) &&
		    digits(p + 3, 2, &minute) && digits(p + 5, n - 5, &second);
	return good && hour < 24 && minute < 60 && second < 60 ? NULL : "not an offset";
}

/* p, or what follows `digits unit` at p. */
static const char *take_part(const char *p, char unit)
{
	size_t n = strspn(p, "0123456789");
	return n > 0 && p[n] == unit ? p + n + 1 : p;
}

/* PnW, PnD, PnDTnHnMnS with some of the parts left out (RFC 5545 3.3.6). */
static const char *duration_fault(const char *text)
{
	static const char fault[] = "not a duration";
	const char *p = text + 1;
	if (*text != 'P')
		return fault;
	const char *weeks = take_part(p, 'W');
	if (weeks != p)
		return *weeks ? fault : NULL;
	const char *days = take_part(p, 'D');
	if (*days != 'T')
		return days == p || *days ? fault : NULL;
	const char *clock = days + 1;
	const char *end = take_part(take_part(take_part(clock, 'H'), 'M'), 'S');
	return end == clock || *end ? fault : NULL;
}

/* The VALUE parameter a form needs, "": none. */
static const char *type_of(enum calendar_form form)
{
	return form == FORM_DURATION ? "DURATION" : form == FORM_TRIGGER ? "DATE-TIME" : "";
}

static const char uid_fault[] = "not 1..254 letters, digits and hyphens (RFC 7986 5.3)";

const char *calendar_form_fault(const struct calendar_rule *rule, const struct calendar_line *line)
{
	const char *p = line->value;
	if (!*p)
		return "empty value: leave the property out";
	if (rule->form == FORM_WHEN)
		return when_fault(line);
	if (line->tzid)
		return "takes no TZID";
	if (strcmp(line->type ? line->type : "", type_of(rule->form)) != 0)
		return "VALUE is not what this property needs";
	switch (rule->form) {
	case FORM_ANY:
	case FORM_WHEN:
		return NULL;
	case FORM_TEXT:
	case FORM_TEXTS:
		return text_fault(p, rule->form == FORM_TEXTS);
	case FORM_WORD:
		return calendar_among(rule->words, p) ? NULL : "none of the allowed words";
	case FORM_UID:
		return calendar_uid_good(p) ? NULL : uid_fault;
	case FORM_UTC:
	case FORM_TRIGGER:
		return time_fault(p, false, false);
	case FORM_LOCAL:
		return time_fault(p, false, true);
	case FORM_NUMBER:
		return number_fault(p, INT32_MAX);
	case FORM_DIGIT:
		return number_fault(p, 9);
	case FORM_PERCENT:
		return number_fault(p, 100);
	case FORM_OFFSET:
		return offset_fault(p);
	case FORM_DURATION:
	case FORM_X_DURATION:
		return duration_fault(p);
	}
	return NULL;
}
