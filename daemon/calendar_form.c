/* What the values of properties look like (RFC 5545 3.3). Narrower than the standard where only seasond
 * writes, wide where others do. */
#include "daemon/calendar_int.h"

#include <string.h>

#include "core/number.h"

bool calendar_among(const char *words, const char *word)
{
	size_t n = strlen(word);
	for (const char *p = strchr(word, ' ') ? NULL : words; p; p = strchr(p, ' ')) {
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
	for (p += strcspn(p, "\\;,"); *p; p += strcspn(p, "\\;,")) {
		if (*p == ';' || (*p == ',' && !list))
			return "comma or semicolon without a backslash";
		if (*p == '\\' && (!p[1] || !strchr("\\;,nN", *++p)))
			return "backslash before a character that takes none";
		p++;
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

bool calendar_digits(const char *p, size_t n, int *value)
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
	if (strlen(p) < (clock ? 15 : 8) || !calendar_digits(p, 4, &c.year) ||
		!calendar_digits(p + 4, 2, &c.month) || !calendar_digits(p + 6, 2, &c.day))
		return NULL;
	if (clock && (p[8] != 'T' || !calendar_digits(p + 9, 2, &c.hour) ||
			     !calendar_digits(p + 11, 2, &c.minute) ||
			     !calendar_digits(p + 13, 2, &c.second)))
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
	bool good = (n == 5 || n == 7) && (*p == '+' || *p == '-') &&
		    calendar_digits(p + 1, 2, &hour) && calendar_digits(p + 3, 2, &minute) &&
		    calendar_digits(p + 5, n - 5, &second);
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

/* The parts of a rule, each at most once (RFC 5545 3.3.10). */
const char *calendar_rule_part(const char *rule, const char *part)
{
	size_t n = strlen(part);
	for (const char *p = rule; p; p = strchr(p, ';')) {
		p += *p == ';';
		if (strncmp(p, part, n) == 0 && p[n] == '=')
			return p + n + 1;
	}
	return NULL;
}

/* A number from low to high, with a sign before it when low is negative. NULL or what follows it. */
static const char *take_number(const char *p, int low, int high)
{
	bool minus = low < 0 && *p == '-';
	int value = 0;
	p += low < 0 && (*p == '-' || *p == '+');
	size_t n = strspn(p, "0123456789");
	if (n == 0 || n > 3 || !calendar_digits(p, n, &value) || value == 0)
		return NULL;
	value = minus ? -value : value;
	return value >= low && value <= high ? p + n : NULL;
}

/* One weekday, before it the how manieth of the month when ordinal. */
static const char *take_weekday(const char *p, bool ordinal)
{
	char day[3] = "";
	if (ordinal && (*p == '-' || *p == '+' || (*p >= '0' && *p <= '9')))
		p = take_number(p, -5, 5);
	if (!p || strlen(p) < 2)
		return NULL;
	memcpy(day, p, 2);
	return calendar_among("MO TU WE TH FR SA SU", day) ? p + 2 : NULL;
}

/* What follows the value of that part, NULL: it is not good. */
static const char *take_part_value(const char *p, const char *part, bool yearly)
{
	if (strcmp(part, "INTERVAL") == 0 || strcmp(part, "COUNT") == 0)
		return take_number(p, 1, 999);
	if (strcmp(part, "BYMONTH") == 0)
		return yearly ? take_number(p, 1, 12) : NULL;
	if (strcmp(part, "BYDAY") == 0)
		return take_weekday(p, yearly);
	if (strcmp(part, "BYMONTHDAY") == 0) {
		while (p && yearly) {
			p = take_number(p, -31, 31);
			if (!p || *p != ',')
				return p;
			p++;
		}
		return NULL;
	}
	if (strcmp(part, "UNTIL") != 0)
		return NULL;
	const char *end = take_time(p, true);
	if (end && *end == 'Z')
		return end + 1;
	return yearly ? NULL : take_time(p, false);
}

/* FREQ=WEEKLY of an event, FREQ=YEARLY of a time zone, and what they need. */
static const char *rule_fault(const char *rule, bool yearly)
{
	static const char fault[] = "not a recurrence rule that seasond writes";
	static const char freq[] = "FREQ=";
	size_t n = strlen(freq);
	const char *p = rule + n + 6;
	if (strncmp(rule, freq, n) != 0 || strncmp(rule + n, yearly ? "YEARLY" : "WEEKLY", 6) != 0)
		return fault;
	while (*p == ';') {
		char part[12] = "";
		n = strcspn(++p, "=;");
		if (n >= sizeof part || p[n] != '=')
			return fault;
		memcpy(part, p, n);
		if (calendar_rule_part(rule, part) != p + n + 1)
			return "a part of the rule twice";
		p = take_part_value(p + n + 1, part, yearly);
		if (!p)
			return fault;
	}
	if (*p || !calendar_rule_part(rule, yearly ? "BYMONTH" : "BYDAY"))
		return fault;
	bool both = calendar_rule_part(rule, "UNTIL") && calendar_rule_part(rule, "COUNT");
	return both ? "UNTIL and COUNT exclude each other" : NULL;
}

/* mailto: and an address (RFC 6068, narrower), as RFC 6047 2.3 demands. */
static const char *person_fault(const struct calendar_rule *rule, const struct calendar_line *line)
{
	static const char scheme[] = "mailto:";
	const char *p = line->params;
	for (size_t i = 0; i < line->n_params; i++) {
		const char *value = p + strlen(p) + 1;
		if (!calendar_among(rule->words, p))
			return "takes no such parameter";
		p = value + strlen(value) + 1;
	}
	const char *role = calendar_parameter(line, "ROLE");
	const char *part = calendar_parameter(line, "PARTSTAT");
	const char *rsvp = calendar_parameter(line, "RSVP");
	if ((role && strcmp(role, "REQ-PARTICIPANT") != 0) ||
		(part && strcmp(part, "NEEDS-ACTION") != 0) || (rsvp && strcmp(rsvp, "TRUE") != 0))
		return "ROLE, PARTSTAT or RSVP is not what seasond writes";
	if (strncmp(line->value, scheme, strlen(scheme)) != 0)
		return "not mailto:";
	const char *address = line->value + strlen(scheme);
	const char *at = strchr(address, '@');
	size_t plain = strcspn(address, " \t<>\"\\^`{|}/?#[]&;=");
	if (!at || at == address || !at[1] || strchr(at + 1, '@') || address[plain])
		return "not one address";
	return NULL;
}

/* A UTC instant, or an exact time before or after. */
static const char *trigger_fault(const struct calendar_line *line)
{
	if (!line->type)
		return duration_fault(line->value + (*line->value == '-'));
	return strcmp(line->type, "DATE-TIME") == 0 ? time_fault(line->value, false, false)
						    : "VALUE is not DATE-TIME";
}

/* The VALUE parameter a form needs, "": none. */
static const char *type_of(enum calendar_form form)
{
	return form == FORM_DURATION ? "DURATION" : "";
}

static const char uid_fault[] = "not 1..254 letters, digits and hyphens (RFC 7986 5.3)";

static const char *value_fault(const struct calendar_rule *rule, const struct calendar_line *line)
{
	const char *p = line->value;
	switch (rule->form) {
	case FORM_ANY:
	case FORM_TIME:
		return NULL;
	case FORM_WHEN:
		return when_fault(line);
	case FORM_TEXT:
	case FORM_TEXTS:
		return text_fault(p, rule->form == FORM_TEXTS);
	case FORM_WORD:
		return calendar_among(rule->words, p) ? NULL : "none of the allowed words";
	case FORM_UID:
		return calendar_uid_good(p) ? NULL : uid_fault;
	case FORM_UTC:
		return time_fault(p, false, false);
	case FORM_TRIGGER:
		return trigger_fault(line);
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
	case FORM_PLAIN_DURATION:
		return duration_fault(p);
	case FORM_WEEKLY:
	case FORM_YEARLY:
		return rule_fault(p, rule->form == FORM_YEARLY);
	case FORM_PERSON:
		return person_fault(rule, line);
	}
	return NULL;
}

const char *calendar_form_fault(const struct calendar_rule *rule, const struct calendar_line *line)
{
	if (!*line->value)
		return "empty value: leave the property out";
	if (rule->form != FORM_WHEN && line->tzid)
		return "takes no TZID";
	if (rule->form != FORM_WHEN && rule->form != FORM_TRIGGER &&
		strcmp(line->type ? line->type : "", type_of(rule->form)) != 0)
		return "VALUE is not what this property needs";
	if (rule->form != FORM_PERSON &&
		line->n_params > (size_t)(line->type != NULL) + (line->tzid != NULL))
		return "takes no such parameter";
	return value_fault(rule, line);
}

/* A date, or a time: local, UTC or of a zone. Some write a date without VALUE. */
static const char *any_time_fault(const struct calendar_line *line)
{
	const char *rest = take_time(line->value, true);
	bool dated = line->type && strcmp(line->type, "DATE") == 0;
	if (rest && !dated && strcmp(rest, *rest == 'Z' ? "Z" : "") == 0)
		return NULL;
	rest = take_time(line->value, false);
	return rest && !*rest ? NULL : "not a date or time";
}

const char *calendar_foreign_fault(
	const struct calendar_rule *rule, const struct calendar_line *line)
{
	if (rule->form == FORM_TIME)
		return any_time_fault(line);
	if (rule->form != FORM_WORD)
		return value_fault(rule, line);
	char word[32] = ""; /* words may be in small letters (RFC 5545 2) */
	size_t n = strlen(line->value);
	for (size_t i = 0; i < n && i < sizeof word - 1; i++) {
		char c = line->value[i];
		word[i] = c >= 'a' && c <= 'z' ? (char)(c - 'a' + 'A') : c;
	}
	return n < sizeof word && calendar_among(rule->words, word) ? NULL
								    : "none of the allowed words";
}

int64_t calendar_digits_s(const char *value)
{
	struct civil c = { 0 };
	(void)calendar_digits(value, 4, &c.year);
	(void)calendar_digits(value + 4, 2, &c.month);
	(void)calendar_digits(value + 6, 2, &c.day);
	if (value[8] == 'T') {
		(void)calendar_digits(value + 9, 2, &c.hour);
		(void)calendar_digits(value + 11, 2, &c.minute);
		(void)calendar_digits(value + 13, 2, &c.second);
	}
	return civil_seconds(&c);
}
