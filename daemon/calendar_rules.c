/* What may stand where in the calendars of seasond (RFC 5545 3.6 to 3.8, RFC 7986 5), and what
 * values look like. Narrower than the standard: only what seasond writes. */
#include "daemon/calendar_int.h"

#include <string.h>

static const struct calendar_component components[] = {
	{ "VCALENDAR", NULL, true,
		{
			{ "VERSION", OFTEN_ONCE, FORM_WORD, "2.0" },
			{ "PRODID", OFTEN_ONCE, FORM_TEXT, NULL },
			{ "METHOD", OFTEN_MAYBE, FORM_WORD, "REQUEST CANCEL" },
			{ "CALSCALE", OFTEN_MAYBE, FORM_WORD, "GREGORIAN" },
			{ "NAME", OFTEN_MAYBE, FORM_TEXT, NULL },
			{ "DESCRIPTION", OFTEN_MAYBE, FORM_TEXT, NULL },
			{ "COLOR", OFTEN_MAYBE, FORM_TEXT, NULL },
			{ "REFRESH-INTERVAL", OFTEN_MAYBE, FORM_DURATION, NULL },
			{ "X-WR-CALNAME", OFTEN_MAYBE, FORM_ANY, NULL },
			{ "X-WR-CALDESC", OFTEN_MAYBE, FORM_ANY, NULL },
			{ "X-WR-TIMEZONE", OFTEN_MAYBE, FORM_ANY, NULL },
			{ "X-PUBLISHED-TTL", OFTEN_MAYBE, FORM_PLAIN_DURATION, NULL },
		} },
	{ "VEVENT", "VCALENDAR", false,
		{
			{ "UID", OFTEN_ONCE, FORM_UID, NULL },
			{ "DTSTAMP", OFTEN_ONCE, FORM_UTC, NULL },
			{ "DTSTART", OFTEN_ONCE, FORM_WHEN, NULL },
			{ "DTEND", OFTEN_MAYBE, FORM_WHEN, NULL },
			{ "DURATION", OFTEN_MAYBE, FORM_PLAIN_DURATION, NULL },
			{ "RRULE", OFTEN_MAYBE, FORM_WEEKLY, NULL },
			{ "ORGANIZER", OFTEN_MAYBE, FORM_PERSON, "CN" },
			{ "ATTENDEE", OFTEN_MANY, FORM_PERSON, "CN ROLE PARTSTAT RSVP" },
			{ "CREATED", OFTEN_MAYBE, FORM_UTC, NULL },
			{ "LAST-MODIFIED", OFTEN_MAYBE, FORM_UTC, NULL },
			{ "SEQUENCE", OFTEN_MAYBE, FORM_NUMBER, NULL },
			{ "SUMMARY", OFTEN_MAYBE, FORM_TEXT, NULL },
			{ "DESCRIPTION", OFTEN_MAYBE, FORM_TEXT, NULL },
			{ "LOCATION", OFTEN_MAYBE, FORM_TEXT, NULL },
			{ "CONTACT", OFTEN_MANY, FORM_TEXT, NULL },
			{ "CATEGORIES", OFTEN_MANY, FORM_TEXTS, NULL },
			{ "PRIORITY", OFTEN_MAYBE, FORM_DIGIT, NULL },
			{ "CLASS", OFTEN_MAYBE, FORM_WORD, "PUBLIC PRIVATE CONFIDENTIAL" },
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
			{ "CLASS", OFTEN_MAYBE, FORM_WORD, "PUBLIC PRIVATE CONFIDENTIAL" },
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
			{ "RRULE", OFTEN_MAYBE, FORM_YEARLY, NULL },
			{ "RDATE", OFTEN_MANY, FORM_LOCAL, NULL },
		} },
	{ "DAYLIGHT", "VTIMEZONE", false,
		{
			{ "DTSTART", OFTEN_ONCE, FORM_LOCAL, NULL },
			{ "TZOFFSETFROM", OFTEN_ONCE, FORM_OFFSET, NULL },
			{ "TZOFFSETTO", OFTEN_ONCE, FORM_OFFSET, NULL },
			{ "TZNAME", OFTEN_MANY, FORM_TEXT, NULL },
			{ "RRULE", OFTEN_MAYBE, FORM_YEARLY, NULL },
			{ "RDATE", OFTEN_MANY, FORM_LOCAL, NULL },
		} },
};

/* The form of what we know, once at most; the standard's other properties are theirs. */
#define FOREIGN_ITEM                                                                               \
	{ "UID", OFTEN_ONCE, FORM_ANY, NULL }, { "DTSTAMP", OFTEN_ONCE, FORM_TIME, NULL },         \
		{ "DTSTART", OFTEN_MAYBE, FORM_TIME, NULL },                                       \
		{ "CREATED", OFTEN_MAYBE, FORM_TIME, NULL },                                       \
		{ "LAST-MODIFIED", OFTEN_MAYBE, FORM_TIME, NULL },                                 \
		{ "RECURRENCE-ID", OFTEN_MAYBE, FORM_TIME, NULL },                                 \
		{ "SEQUENCE", OFTEN_MAYBE, FORM_NUMBER, NULL },                                    \
		{ "PRIORITY", OFTEN_MAYBE, FORM_DIGIT, NULL },                                     \
		{ "DURATION", OFTEN_MAYBE, FORM_ANY, NULL },                                       \
		{ "SUMMARY", OFTEN_MAYBE, FORM_ANY, NULL },                                        \
		{ "DESCRIPTION", OFTEN_MAYBE, FORM_ANY, NULL },                                    \
		{ "LOCATION", OFTEN_MAYBE, FORM_ANY, NULL },                                       \
	{                                                                                          \
		"CLASS", OFTEN_MAYBE, FORM_ANY, NULL                                               \
	}

static const struct calendar_component foreign[] = {
	{ "VCALENDAR", NULL, true,
		{
			{ "VERSION", OFTEN_ONCE, FORM_WORD, "2.0" },
			{ "PRODID", OFTEN_ONCE, FORM_ANY, NULL },
		} },
	{ "VEVENT", "VCALENDAR", false,
		{
			FOREIGN_ITEM,
			{ "DTEND", OFTEN_MAYBE, FORM_TIME, NULL },
			{ "STATUS", OFTEN_MAYBE, FORM_WORD, "TENTATIVE CONFIRMED CANCELLED" },
			{ "TRANSP", OFTEN_MAYBE, FORM_WORD, "OPAQUE TRANSPARENT" },
		} },
	{ "VTODO", "VCALENDAR", false,
		{
			FOREIGN_ITEM,
			{ "DUE", OFTEN_MAYBE, FORM_TIME, NULL },
			{ "COMPLETED", OFTEN_MAYBE, FORM_TIME, NULL },
			{ "PERCENT-COMPLETE", OFTEN_MAYBE, FORM_PERCENT, NULL },
			{ "STATUS", OFTEN_MAYBE, FORM_WORD,
				"NEEDS-ACTION IN-PROCESS COMPLETED CANCELLED" },
		} },
};

static const struct calendar_component *named(
	const struct calendar_component *from, size_t n, const char *name)
{
	for (size_t i = 0; i < n; i++)
		if (strcmp(from[i].name, name) == 0)
			return &from[i];
	return NULL;
}

const struct calendar_component *calendar_component_named(const char *name)
{
	return named(components, sizeof components / sizeof components[0], name);
}

const struct calendar_component *calendar_component_foreign(const char *name)
{
	return named(foreign, sizeof foreign / sizeof foreign[0], name);
}
