/* An entry that a person has moved: looked for by its UID in the account's other calendars (calendar-query, RFC 4791
 * section 7.8). */
#include "daemon/dav_int.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

#include "core/mem.h"

void dav_hunt_free(struct dav_hunt *h)
{
	mem_free(h->rooms);
	h->rooms = NULL;
}

/* ---- what servers find is looked through again: not all of them heed the filter ---- */

/* The next character of a content line, unfolded (RFC 5545 section 3.1). 0: its end. */
static char next_of_line(const char **at)
{
	while (at[0][0] == '\n' && (at[0][1] == ' ' || at[0][1] == '\t'))
		*at += 2;
	return **at && **at != '\n' ? *(*at)++ : '\0';
}

/* NAME[;parameters]:value */
static bool line_is(const char *line, const char *name, const char *value)
{
	char c = next_of_line(&line);
	for (; *name; name++, c = next_of_line(&line))
		if (toupper((unsigned char)c) != *name)
			return false;
	for (bool quoted = false; c == ';' || (c && (quoted || c != ':')); c = next_of_line(&line))
		quoted ^= c == '"';
	if (c != ':')
		return false;
	for (c = next_of_line(&line); *value; value++, c = next_of_line(&line))
		if (c != *value)
			return false;
	return c == '\0';
}

static bool has_uid(const char *text, const char *uid)
{
	for (const char *line = text; line; line = strchr(line, '\n')) {
		line += *line == '\n';
		if (line_is(line, "UID", uid))
			return true;
	}
	return false;
}

/* ---- one calendar after the other ---- */

static void ask_room(struct dav *d);

static void ask_next(struct dav *d)
{
	struct dav_hunt *h = &d->hunt;
	if (h->kind == CALENDAR_EVENTS)
		h->kind = CALENDAR_TODOS;
	else {
		h->kind = CALENDAR_EVENTS;
		h->at++;
	}
	ask_room(d);
}

static void room_told(struct dav *d, const struct fetch_answer *a)
{
	enum dav_verdict verdict = dav_judge_multistatus(d, a);
	if (verdict != DAV_OK && dav_is_final(d, a)) {
		dav_finish(d, verdict);
		return;
	}
	for (size_t i = 0; verdict == DAV_OK && i < d->xml.n; i++)
		if (d->xml.entries[i].text && has_uid(d->xml.entries[i].text, d->hunt.uid)) {
			d->result.entries = &d->xml.entries[i];
			d->result.n = 1;
			dav_finish(d, DAV_OK);
			return;
		}
	dav_unsay(d);
	ask_next(d);
}

static void ask_room(struct dav *d)
{
	struct dav_hunt *h = &d->hunt;
	while (h->at < h->n &&
		!(h->kind == CALENDAR_EVENTS ? h->rooms[h->at].events : h->rooms[h->at].todos)) {
		if (h->kind == CALENDAR_TODOS)
			h->at++;
		h->kind = h->kind == CALENDAR_EVENTS ? CALENDAR_TODOS : CALENDAR_EVENTS;
	}
	if (h->at == h->n) {
		dav_finish(d, DAV_OK);
		return;
	}
	struct dav_text *t = dav_body(d);
	dav_text_open(t, "C:calendar-query");
	dav_text_add(t,
		"<D:prop><D:getetag/><C:calendar-data/></D:prop><C:filter>"
		"<C:comp-filter name=\"VCALENDAR\"><C:comp-filter name=\"%s\">"
		"<C:prop-filter name=\"UID\"><C:text-match collation=\"i;octet\">",
		h->kind == CALENDAR_EVENTS ? "VEVENT" : "VTODO");
	dav_text_escaped(t, h->uid);
	dav_text_add(t, "</C:text-match></C:prop-filter></C:comp-filter></C:comp-filter></C:filter>"
			"</C:calendar-query>");
	const struct dav_ask q = { .method = "REPORT", .path = h->rooms[h->at].path, .depth = "1" };
	dav_send(d, &q, room_told);
}

/* ---- which there are ---- */

static bool is_left_out(const struct dav_hunt *h, const char *href)
{
	for (size_t i = 0; i < h->n_but; i++)
		if (dav_href_same(href, h->but[i]))
			return true;
	return false;
}

static bool add_rooms(struct dav *d)
{
	struct dav_hunt *h = &d->hunt;
	if (!h->rooms)
		h->rooms = mem_new(DAV_ROOMS_MAX, sizeof *h->rooms);
	if (!h->rooms)
		return false;
	for (size_t i = 0; i < d->xml.n && h->n < DAV_ROOMS_MAX; i++) {
		const struct dav_facts *f = &d->xml.facts[i];
		const char *href = d->xml.entries[i].href;
		if (!f->calendar || is_left_out(h, href))
			continue;
		struct dav_room *room = &h->rooms[h->n++];
		(void)snprintf(room->path, sizeof room->path, "%s", href);
		room->events = !f->limited || f->events;
		room->todos = !f->limited || f->todos;
	}
	return true;
}

static void home_listed(struct dav *d, const struct fetch_answer *a)
{
	struct dav_search *s = &d->search;
	enum dav_verdict verdict = dav_judge_multistatus(d, a);
	if (verdict == DAV_OK && !add_rooms(d))
		verdict = dav_say(d, DAV_UNREACHED, "out of memory");
	if (verdict != DAV_OK)
		dav_finish(d, verdict);
	else if (++s->home < s->n_homes)
		dav_look(d, s->homes[s->home], "1", home_listed);
	else
		ask_room(d);
}

static void list_home(struct dav *d)
{
	dav_look(d, d->search.homes[0], "1", home_listed);
}

void dav_elsewhere(struct dav *d, const char *const *but, size_t n_but, const char *uid,
	dav_done *done, void *arg)
{
	dav_begin(d, "/", done, arg);
	d->search = (struct dav_search){ 0 };
	d->hunt = (struct dav_hunt){ .uid = uid, .but = but, .n_but = n_but };
	dav_find_home(d, list_home);
}
