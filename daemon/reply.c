#include "daemon/reply.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "core/mem.h"
#include "core/number.h"
#include "daemon/state.h"

/* One content line (RFC 5545 3.1), taken apart in place. */
struct line {
	char *name, *parameters, *value;
};

struct answer {
	struct reply *out;
	int depth; /* of BEGIN */
	int events; /* begun */
	int attendees;
	bool in_event; /* the first one */
	bool is_reply, stamped, of_instance;
};

/* Joins folded lines (RFC 5545 3.1), in place; NULs and CRs go. */
static void unfold(char *text, size_t n)
{
	char *out = text;
	for (size_t i = 0; i < n; i++) {
		if (text[i] == '\r' || text[i] == '\0')
			continue;
		if (text[i] == '\n' && i + 1 < n && (text[i + 1] == ' ' || text[i + 1] == '\t'))
			i++;
		else
			*out++ = text[i];
	}
	*out = '\0';
}

/* False when there is no value. */
static bool take_apart(char *text, struct line *l)
{
	bool quoted = false;
	char *p = text;
	*l = (struct line){ .name = text, .parameters = text + strlen(text) };
	for (; *p && (quoted || *p != ':'); p++) {
		if (*p == '"')
			quoted = !quoted;
		if (*p == ';' && !quoted && !*l->parameters) {
			*p = '\0';
			l->parameters = p + 1;
		}
	}
	if (!*p)
		return false;
	*p = '\0';
	l->value = p + 1;
	return true;
}

/* The parameter's value, its length in *n; NULL: not there. */
static const char *parameter(const char *all, const char *name, size_t *n)
{
	size_t length = strlen(name);
	while (*all) {
		bool quoted = false;
		size_t end = 0;
		for (; all[end] && (quoted || all[end] != ';'); end++)
			if (all[end] == '"')
				quoted = !quoted;
		if (strncasecmp(all, name, length) == 0 && all[length] == '=') {
			*n = end - length - 1;
			return all + length + 1;
		}
		all += end + (all[end] == ';');
	}
	return NULL;
}

static int answer_of(const char *parameters)
{
	static const struct {
		const char *word;
		int answer;
	} words[] = { { "ACCEPTED", ANSWER_ACCEPTED }, { "DECLINED", ANSWER_DECLINED },
		{ "TENTATIVE", ANSWER_TENTATIVE } };
	size_t n = 0;
	const char *said = parameter(parameters, "PARTSTAT", &n);
	for (size_t i = 0; said && i < sizeof words / sizeof words[0]; i++)
		if (n == strlen(words[i].word) && strncasecmp(said, words[i].word, n) == 0)
			return words[i].answer;
	return ANSWER_NONE;
}

/* 20260420T070000Z (RFC 5545 3.3.5, form 2) */
static bool read_stamp(const char *text, int64_t *t_s)
{
	struct civil c;
	char end = 0;
	if (strlen(text) != 16 || strspn(text, "0123456789TZ") != 16 || text[8] != 'T' ||
		sscanf(text, "%4d%2d%2dT%2d%2d%2d%c", &c.year, &c.month, &c.day, &c.hour, &c.minute,
			&c.second, &end) != 7 ||
		end != 'Z')
		return false;
	c.second = c.second == 60 ? 59 : c.second;
	if (!civil_valid(&c))
		return false;
	*t_s = civil_seconds(&c);
	return true;
}

static void copy(char *buf, size_t size, const char *text)
{
	if (strlen(text) < size)
		(void)snprintf(buf, size, "%s", text);
}

static void take_attendee(struct answer *a, const struct line *l)
{
	static const char scheme[] = "mailto:";
	a->attendees++;
	if (strncasecmp(l->value, scheme, sizeof scheme - 1) != 0)
		return;
	copy(a->out->attendee, sizeof a->out->attendee, l->value + sizeof scheme - 1);
	a->out->answer = answer_of(l->parameters);
}

static void take_property(struct answer *a, const struct line *l)
{
	int64_t number = 0;
	if (a->depth == 1 && strcasecmp(l->name, "METHOD") == 0)
		a->is_reply = strcasecmp(l->value, "REPLY") == 0;
	if (!a->in_event || a->depth != 2)
		return;
	if (strcasecmp(l->name, "UID") == 0)
		copy(a->out->uid, sizeof a->out->uid, l->value);
	else if (strcasecmp(l->name, "DTSTAMP") == 0)
		a->stamped = read_stamp(l->value, &a->out->stamp_s);
	else if (strcasecmp(l->name, "SEQUENCE") == 0 && number_int(l->value, &number) &&
		 number >= 0 && number <= INT32_MAX)
		a->out->sequence = (int)number;
	else if (strcasecmp(l->name, "RECURRENCE-ID") == 0)
		a->of_instance = true;
	else if (strcasecmp(l->name, "ATTENDEE") == 0)
		take_attendee(a, l);
}

static void take_line(struct answer *a, char *text)
{
	struct line l;
	if (!take_apart(text, &l))
		return;
	if (strcasecmp(l.name, "BEGIN") == 0) {
		a->depth++;
		if (a->depth == 2 && strcasecmp(l.value, "VEVENT") == 0)
			a->in_event = ++a->events == 1;
	} else if (strcasecmp(l.name, "END") == 0) {
		a->depth -= a->depth > 0;
		a->in_event = a->in_event && a->depth >= 2;
	} else
		take_property(a, &l);
}

static enum rc judge(const struct answer *a, struct err *err)
{
	const char *why = !a->is_reply           ? "not METHOD:REPLY"
			  : a->events != 1       ? "not one event"
			  : a->of_instance       ? "about one of several times, which we never have"
			  : !a->out->uid[0]      ? "no UID"
			  : !a->stamped          ? "no DTSTAMP in UTC"
			  : a->attendees != 1    ? "not one attendee"
			  : !a->out->attendee[0] ? "its attendee is no mail address"
						 : NULL;
	return why ? err_set(err, RC_INPUT, "answer: %s", why) : RC_OK;
}

enum rc reply_read(const char *text, size_t n, struct reply *out, struct err *err)
{
	struct answer a = { .out = out };
	*out = (struct reply){ 0 };
	char *own = mem_new(n + 1, 1);
	if (!own)
		return err_set(err, RC_MEM, "answer: out of memory");
	memcpy(own, text, n);
	unfold(own, n);
	for (char *p = own; *p;) {
		char *end = p + strcspn(p, "\n");
		bool more = *end == '\n';
		*end = '\0';
		take_line(&a, p);
		p = end + more;
	}
	mem_free(own);
	return judge(&a, err);
}
