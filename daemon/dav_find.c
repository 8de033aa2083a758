/* Where an account's calendars are (RFC 6764 section 6, RFC 5397, RFC 4791 section 6.2.1), and making one. */
#include "daemon/dav_int.h"

#include <stdio.h>
#include <string.h>

static const char well_known[] = "/.well-known/caldav";

void dav_look(struct dav *d, const char *path, const char *depth, dav_step *step)
{
	struct dav_text *t = dav_body(d);
	const struct dav_ask q = { .method = "PROPFIND", .path = path, .depth = depth };
	dav_text_open(t, "D:propfind");
	dav_text_add(t, "<D:prop><D:resourcetype/><D:current-user-principal/><C:calendar-home-set/>"
			"<C:supported-calendar-component-set/></D:prop></D:propfind>");
	dav_send(d, &q, step);
}

/* ---- the homes of an account ---- */

static enum dav_verdict add_home(struct dav *d, const char *href)
{
	struct dav_search *s = &d->search;
	char *to = s->homes[s->n_homes];
	switch (dav_lead(&d->home, d->here, href, to, DAV_HREF)) {
	case LEADS_HERE:
		s->n_homes++;
		return DAV_OK;
	case LEADS_ELSEWHERE:
		return dav_say(d, DAV_ODD,
			"the account's calendars are at %s: that as server, if it is trusted", to);
	case LEADS_NOWHERE:
		break;
	}
	return DAV_OK;
}

static enum dav_verdict add_homes(struct dav *d)
{
	enum dav_verdict verdict = DAV_OK;
	for (size_t i = 0; i < d->xml.n_homes && verdict == DAV_OK; i++)
		verdict = add_home(d, d->xml.homes[i]);
	return verdict;
}

static void principal_told(struct dav *d, const struct fetch_answer *a)
{
	enum dav_verdict verdict = dav_judge_multistatus(d, a);
	if (verdict == DAV_OK)
		verdict = add_homes(d);
	if (verdict == DAV_OK && d->search.n_homes == 0)
		verdict = dav_say(d, DAV_ODD,
			"does not say where the account's calendars are: the address of one, as "
			"server");
	if (verdict == DAV_OK)
		d->search.home_known(d);
	else
		dav_finish(d, verdict);
}

/* d->xml tells of a place that is no calendar, or whose account's other calendars are wanted. */
static void leave_place(struct dav *d)
{
	char principal[DAV_HREF];
	enum dav_verdict verdict = add_homes(d);
	if (verdict != DAV_OK) {
		dav_finish(d, verdict);
		return;
	}
	if (d->search.n_homes) {
		d->search.home_known(d);
		return;
	}
	switch (dav_lead(&d->home, d->here, d->xml.principal, principal, sizeof principal)) {
	case LEADS_HERE:
		dav_look(d, principal, "0", principal_told);
		return;
	case LEADS_ELSEWHERE:
		dav_finish(d, dav_say(d, DAV_ODD,
				      "the account is at %s: that as server, if it is trusted",
				      principal));
		return;
	case LEADS_NOWHERE:
		break;
	}
	if (d->xml.n && d->xml.facts[0].collection && !d->xml.facts[0].calendar) {
		(void)add_home(d, d->here);
		d->search.home_known(d);
		return;
	}
	dav_finish(
		d, dav_say(d, DAV_ODD,
			   "is no calendar and leads to none: the address of a CalDAV server, an "
			   "account or a calendar, as server"));
}

/* ---- the collection ---- */

/* name: "" when the address of the settings is it, whose path may be a secret. */
static enum dav_verdict check_kind(struct dav *d, const struct dav_facts *f, const char *name)
{
	enum calendar_kind kind = d->search.kind;
	bool takes = !f->limited || (kind == CALENDAR_EVENTS ? f->events : f->todos);
	char called[TITLE_SIZE + 8] = "";
	if (name[0])
		(void)snprintf(called, sizeof called, " \"%.*s\"", TITLE_SIZE, name);
	if (!f->calendar)
		return dav_say(
			d, DAV_ODD, "what is called%s there is no calendar: another name", called);
	if (takes)
		return DAV_OK;
	if (kind == CALENDAR_TODOS)
		return dav_say(d, DAV_ODD,
			"the calendar%s takes no to-dos: show = \"events\", or another calendar",
			called);
	return dav_say(d, DAV_ODD,
		"the calendar%s takes no events: show = \"todos\", or another calendar", called);
}

static void found(struct dav *d, const char *path, const struct dav_facts *f, const char *name)
{
	enum dav_verdict verdict = check_kind(d, f, name);
	if (path != d->here)
		(void)snprintf(d->here, sizeof d->here, "%s", path);
	dav_finish(d, verdict);
}

static enum dav_verdict judge_made(struct dav *d, const struct fetch_answer *a)
{
	enum dav_verdict verdict = dav_judge(d, a);
	const char *name = d->search.name;
	int status = a->status;
	if (verdict != DAV_OK && (dav_is_final(d, a) || verdict == DAV_FULL))
		return verdict;
	verdict = dav_judge_change(d, a);
	if (d->xml.exists) {
		dav_unsay(d);
		return dav_say(d, DAV_ODD,
			"something else is called \"%.200s\" there, no calendar can be made: "
			"another name",
			name);
	}
	if (a->rc == RC_OK &&
		(verdict == DAV_ODD || verdict == DAV_GONE || verdict == DAV_REFUSED)) {
		dav_unsay(d);
		return dav_say(d, verdict == DAV_REFUSED ? DAV_REFUSED : DAV_ODD,
			"status %d: makes no calendar \"%.200s\": one made there by hand, its "
			"address as server",
			status, name);
	}
	return verdict;
}

static void made(struct dav *d, const struct fetch_answer *a)
{
	enum dav_verdict verdict = judge_made(d, a);
	d->result.made = verdict == DAV_OK;
	dav_finish(d, verdict);
}

static void make(struct dav *d)
{
	const struct dav_search *s = &d->search;
	struct dav_text *t = dav_body(d);
	(void)snprintf(d->path, sizeof d->path, "%s", s->homes[0]);
	if (!dav_append_segment(d->path, sizeof d->path, s->name) ||
		!dav_append_segment(d->path, sizeof d->path, ""))
		d->path[0] = '\0';
	dav_text_open(t, "C:mkcalendar");
	dav_text_add(t, "<D:set><D:prop><D:displayname>");
	dav_text_escaped(t, s->head->title && s->head->title[0] ? s->head->title : s->name);
	dav_text_add(t, "</D:displayname>");
	if (s->head->description && s->head->description[0]) {
		dav_text_add(t, "<C:calendar-description>");
		dav_text_escaped(t, s->head->description);
		dav_text_add(t, "</C:calendar-description>");
	}
	dav_text_add(t, "<C:supported-calendar-component-set><C:comp name=\"%s\"/>",
		s->kind == CALENDAR_EVENTS ? "VEVENT" : "VTODO");
	dav_text_add(t, "</C:supported-calendar-component-set></D:prop></D:set></C:mkcalendar>");
	const struct dav_ask q = { .method = "MKCALENDAR", .path = d->path };
	dav_send(d, &q, made);
}

static void home_listed(struct dav *d, const struct fetch_answer *a)
{
	struct dav_search *s = &d->search;
	char name[DAV_HREF];
	enum dav_verdict verdict = dav_judge_multistatus(d, a);
	if (verdict != DAV_OK) {
		dav_finish(d, verdict);
		return;
	}
	for (size_t i = 0; i < d->xml.n; i++) {
		const char *href = d->xml.entries[i].href;
		if (!dav_href_same(href, d->here) && !dav_href_same(href, s->homes[s->home]) &&
			d->xml.facts[i].found && dav_last_segment(href, name, sizeof name) &&
			strcmp(name, s->name) == 0) {
			found(d, href, &d->xml.facts[i], name);
			return;
		}
	}
	if (++s->home < s->n_homes)
		dav_look(d, s->homes[s->home], "1", home_listed);
	else
		make(d);
}

static void list_home(struct dav *d)
{
	dav_look(d, d->search.homes[0], "1", home_listed);
}

/* ---- the address of the settings ---- */

static void root_told(struct dav *d, const struct fetch_answer *a);

static void look_at_root(struct dav *d)
{
	dav_look(d, dav_path_of(d->at.url), "0", root_told);
}

/* Looking for one collection, the address may be it; looking elsewhere, it only leads to its account. */
static bool is_it(const struct dav *d)
{
	return d->search.name && d->xml.n && d->xml.facts[0].calendar;
}

/* A folder of calendars is meant as it stands, whomever it belongs to; another, as the root of a server's DAV, leads to the
 * account. */
static void inside_told(struct dav *d, const struct fetch_answer *a)
{
	bool holds_calendars = false;
	enum dav_verdict verdict = dav_judge_multistatus(d, a);
	if (verdict != DAV_OK) {
		dav_finish(d, verdict);
		return;
	}
	for (size_t i = 0; i < d->xml.n; i++)
		holds_calendars |= d->xml.facts[i].calendar;
	if (holds_calendars && add_home(d, d->here) == DAV_OK)
		d->search.home_known(d);
	else
		leave_place(d);
}

static bool is_folder(const struct dav *d)
{
	return d->xml.n && d->xml.facts[0].collection && !d->xml.facts[0].calendar &&
	       d->xml.n_homes == 0 && strcmp(d->here, "/") != 0;
}

static void root_told(struct dav *d, const struct fetch_answer *a)
{
	enum dav_verdict verdict = dav_judge_multistatus(d, a);
	if (verdict == DAV_OK)
		dav_unsay(d);
	if (verdict != DAV_OK)
		dav_finish(d, verdict);
	else if (is_it(d))
		found(d, d->here, &d->xml.facts[0], "");
	else if (is_folder(d))
		dav_look(d, d->here, "1", inside_told);
	else
		leave_place(d);
}

/* Few servers' own pages are at the root: what is wrong with the well-known address matters only when that is no better. */
static void well_known_told(struct dav *d, const struct fetch_answer *a)
{
	enum dav_verdict verdict = dav_judge_multistatus(d, a);
	if (verdict == DAV_OK && (d->xml.principal[0] || d->xml.n_homes))
		leave_place(d);
	else if (verdict != DAV_OK && dav_is_final(d, a))
		dav_finish(d, verdict);
	else {
		if (a->rc != RC_INPUT)
			dav_unsay(d);
		look_at_root(d);
	}
}

void dav_find_home(struct dav *d, void (*home_known)(struct dav *d))
{
	const char *path = dav_path_of(d->at.url);
	d->search.home_known = home_known;
	if (strcmp(path, "/") == 0)
		dav_look(d, well_known, "0", well_known_told);
	else
		look_at_root(d);
}

void dav_find(struct dav *d, enum calendar_kind kind, const char *name,
	const struct calendar_head *head, dav_done *done, void *arg)
{
	dav_begin(d, d->at.url, done, arg);
	d->search = (struct dav_search){ .kind = kind, .name = name, .head = head };
	dav_find_home(d, list_home);
}
