/* What the elements of CalDAV's answers mean. */
#include "daemon/dav_xml_int.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"

/* Method: a stack of the elements that are open, as words of ours; text is gathered for elements whose text counts; what a
 * propstat says is kept apart until its status is known. */

static const char dav_ns[] = "DAV:", caldav_ns[] = "urn:ietf:params:xml:ns:caldav";

static const struct {
	const char *ns, *name;
	enum dav_element element;
} names[] = {
	{ dav_ns, "multistatus", EL_MULTISTATUS },
	{ dav_ns, "response", EL_RESPONSE },
	{ dav_ns, "href", EL_HREF },
	{ dav_ns, "status", EL_STATUS },
	{ dav_ns, "propstat", EL_PROPSTAT },
	{ dav_ns, "prop", EL_PROP },
	{ dav_ns, "getetag", EL_ETAG },
	{ dav_ns, "resourcetype", EL_TYPE },
	{ dav_ns, "collection", EL_COLLECTION },
	{ dav_ns, "current-user-principal", EL_PRINCIPAL },
	{ dav_ns, "sync-token", EL_TOKEN },
	{ dav_ns, "error", EL_ERROR },
	{ dav_ns, "resource-must-be-null", EL_EXISTS },
	{ dav_ns, "quota-not-exceeded", EL_QUOTA }, /* RFC 4331 section 6 */
	{ dav_ns, "sufficient-disk-space", EL_QUOTA },
	{ caldav_ns, "calendar", EL_CALENDAR },
	{ caldav_ns, "calendar-data", EL_DATA },
	{ caldav_ns, "calendar-home-set", EL_HOME },
	{ caldav_ns, "supported-calendar-component-set", EL_COMPONENTS },
	{ caldav_ns, "comp", EL_COMPONENT },
	{ caldav_ns, "no-uid-conflict", EL_UID_TAKEN },
	{ caldav_ns, "max-resource-size", EL_TOO_LARGE },
};

/* The first counts. */
static void stop(struct dav_reading *r, enum dav_trouble trouble)
{
	if (r->trouble == NO_TROUBLE)
		r->trouble = trouble;
}

/* ---- texts ---- */

/* The text gathered, without blanks round it; "" when it does not fit. */
static void copy_text(const struct dav_reading *r, char *out, size_t size)
{
	const char *text = r->text;
	size_t n = r->n;
	while (n && isspace((unsigned char)text[0]))
		text++, n--;
	while (n && isspace((unsigned char)text[n - 1]))
		n--;
	out[0] = '\0';
	if (n && n < size && !memchr(text, '\0', n)) {
		memcpy(out, text, n);
		out[n] = '\0';
	}
}

/* "HTTP/1.1 404 Not Found" */
static int status_of(const struct dav_reading *r)
{
	char line[64], *space;
	copy_text(r, line, sizeof line);
	space = strchr(line, ' ');
	long status = space ? strtol(space, NULL, 10) : 0;
	return status >= 100 && status <= 999 ? (int)status : 0;
}

static bool good(int status)
{
	return status >= 200 && status < 300;
}

/* ---- responses ---- */

static void add_entry(struct dav_reading *r, const char *href)
{
	struct dav_xml *x = r->out;
	if (x->n == DAV_ENTRIES_MAX) {
		stop(r, TOO_MANY);
		return;
	}
	if (x->n == x->room) {
		size_t room = x->room ? x->room * 2 : 16;
		struct dav_entry *entries = mem_grow(x->entries, room, sizeof *entries);
		x->entries = entries ? entries : x->entries;
		struct dav_facts *facts = entries ? mem_grow(x->facts, room, sizeof *facts) : NULL;
		x->facts = facts ? facts : x->facts;
		if (!facts) {
			stop(r, NO_MEMORY);
			return;
		}
		x->room = room;
	}
	x->entries[x->n] = (struct dav_entry){ 0 };
	x->facts[x->n] = (struct dav_facts){ 0 };
	memcpy(x->entries[x->n].href, href, strlen(href) + 1);
	x->n++;
}

static void forget_said(struct dav_reading *r)
{
	mem_free(r->said.facts.text);
	r->said = (struct dav_said){ 0 };
}

/* What is there of it goes to the response's entry. */
static void end_propstat(struct dav_reading *r)
{
	struct dav_xml *x = r->out;
	struct dav_said *s = &r->said;
	if (good(s->status) && x->n > r->first) {
		struct dav_facts *f = &x->facts[r->first];
		struct dav_entry *e = &x->entries[r->first];
		f->found = true;
		f->collection |= s->facts.collection;
		f->calendar |= s->facts.calendar;
		f->limited |= s->facts.limited;
		f->events |= s->facts.events;
		f->todos |= s->facts.todos;
		if (s->facts.text && !f->text) {
			e->text = f->text = s->facts.text;
			e->n = s->n_text;
			s->facts.text = NULL;
		}
		if (s->etag[0])
			memcpy(e->etag, s->etag, sizeof e->etag);
		if (!x->token[0])
			memcpy(x->token, s->token, sizeof x->token);
		if (!x->principal[0])
			memcpy(x->principal, s->principal, sizeof x->principal);
		for (size_t i = 0; i < s->n_homes && x->n_homes < DAV_HOMES_MAX; i++)
			memcpy(x->homes[x->n_homes++], s->homes[i], sizeof s->homes[i]);
	}
	forget_said(r);
}

static void end_response(struct dav_reading *r)
{
	for (size_t i = r->first; i < r->out->n; i++)
		r->out->facts[i].status = r->status;
}

/* ---- elements ---- */

static enum dav_element element_of(const char *name, const char *ns)
{
	for (size_t i = 0; ns && i < sizeof names / sizeof names[0]; i++)
		if (strcmp(ns, names[i].ns) == 0 && strcmp(name, names[i].name) == 0)
			return names[i].element;
	return EL_OTHER;
}

/* The element k levels above the innermost. */
static enum dav_element above(const struct dav_reading *r, size_t k)
{
	return r->depth > k ? r->open[r->depth - 1 - k] : EL_OTHER;
}

static bool text_counts(const struct dav_reading *r)
{
	enum dav_element parent = above(r, 1);
	switch ((int)above(r, 0)) {
	case EL_HREF:
		return parent == EL_RESPONSE || parent == EL_PRINCIPAL || parent == EL_HOME;
	case EL_STATUS:
		return parent == EL_RESPONSE || parent == EL_PROPSTAT;
	case EL_TOKEN:
		return parent == EL_PROP || parent == EL_MULTISTATUS;
	case EL_ETAG:
	case EL_DATA:
		return parent == EL_PROP && above(r, 2) == EL_PROPSTAT;
	default:
		return false;
	}
}

static void take_component(struct dav_reading *r, int n, const unsigned char **attributes)
{
	for (int i = 0; i < n; i++) {
		const char *name = (const char *)attributes[5 * i];
		const char *value = (const char *)attributes[5 * i + 3];
		size_t length = (size_t)(attributes[5 * i + 4] - attributes[5 * i + 3]);
		if (strcmp(name, "name") != 0)
			continue;
		r->said.facts.events |= length == 6 && memcmp(value, "VEVENT", 6) == 0;
		r->said.facts.todos |= length == 5 && memcmp(value, "VTODO", 5) == 0;
	}
}

static void begin_element(struct dav_reading *r, int n, const unsigned char **attributes)
{
	enum dav_element parent = above(r, 1);
	switch ((int)above(r, 0)) {
	case EL_MULTISTATUS:
		r->out->multistatus |= r->depth == 1;
		break;
	case EL_RESPONSE:
		r->first = r->out->n;
		r->status = 0;
		break;
	case EL_PROPSTAT:
		forget_said(r);
		break;
	case EL_COLLECTION:
		r->said.facts.collection |= parent == EL_TYPE;
		break;
	case EL_CALENDAR:
		r->said.facts.calendar |= parent == EL_TYPE;
		break;
	case EL_COMPONENTS:
		r->said.facts.limited |= parent == EL_PROP;
		break;
	case EL_COMPONENT:
		if (parent == EL_COMPONENTS)
			take_component(r, n, attributes);
		break;
	case EL_UID_TAKEN:
		r->out->uid_taken |= parent == EL_ERROR;
		break;
	case EL_QUOTA:
	case EL_TOO_LARGE:
		r->out->full |= parent == EL_ERROR;
		break;
	case EL_EXISTS:
		r->out->exists |= parent == EL_ERROR;
		break;
	default:
		break;
	}
}

static void end_href(struct dav_reading *r)
{
	struct dav_said *s = &r->said;
	char href[DAV_HREF];
	copy_text(r, href, sizeof href);
	if (above(r, 1) == EL_RESPONSE)
		add_entry(r, href); /* "" : too long, to be passed over by who reads the entries */
	else if (above(r, 1) == EL_PRINCIPAL)
		memcpy(s->principal, href, sizeof href);
	else if (s->n_homes < DAV_HOMES_MAX && href[0])
		memcpy(s->homes[s->n_homes++], href, sizeof href);
}

static void end_data(struct dav_reading *r)
{
	mem_free(r->said.facts.text);
	r->said.n_text = dav_lines(r->text, r->n);
	r->text[r->said.n_text] = '\0';
	r->said.facts.text = r->text;
	r->text = NULL;
	r->room = 0;
}

/* The innermost, whose text has been gathered. */
static void end_text(struct dav_reading *r)
{
	switch ((int)above(r, 0)) {
	case EL_HREF:
		end_href(r);
		break;
	case EL_STATUS:
		*(above(r, 1) == EL_RESPONSE ? &r->status : &r->said.status) = status_of(r);
		break;
	case EL_TOKEN:
		copy_text(r, above(r, 1) == EL_PROP ? r->said.token : r->out->token, DAV_TOKEN);
		break;
	case EL_ETAG:
		dav_etag(r->text, r->n, r->said.etag);
		break;
	case EL_DATA:
		end_data(r);
		break;
	default:
		break;
	}
}

static bool gather(struct dav_reading *r, const char *bytes, size_t n)
{
	if (r->n + n + 1 > r->room) {
		size_t room = r->room ? r->room : 256;
		while (room < r->n + n + 1)
			room *= 2;
		char *grown = mem_grow(r->text, room, 1);
		if (!grown) {
			stop(r, NO_MEMORY);
			return false;
		}
		r->text = grown;
		r->room = room;
	}
	if (n)
		memcpy(r->text + r->n, bytes, n);
	r->n += n;
	return true;
}

void dav_element_begin(struct dav_reading *r, const char *name, const char *ns, int n,
	const unsigned char **attributes)
{
	if (r->depth == DAV_XML_DEPTH) {
		stop(r, TOO_DEEP);
		return;
	}
	r->open[r->depth++] = element_of(name, ns);
	begin_element(r, n, attributes);
	if (!r->gathers && text_counts(r)) {
		r->gathers = r->depth;
		r->n = 0;
		(void)gather(r, "", 0);
	}
}

void dav_element_text(struct dav_reading *r, const char *bytes, size_t n)
{
	if (r->gathers && r->gathers == r->depth)
		(void)gather(r, bytes, n);
}

void dav_element_end(struct dav_reading *r)
{
	if (r->gathers == r->depth) {
		end_text(r);
		r->gathers = 0;
	} else if (above(r, 0) == EL_PROPSTAT)
		end_propstat(r);
	else if (above(r, 0) == EL_RESPONSE)
		end_response(r);
	r->depth--;
}

void dav_reading_free(struct dav_reading *r)
{
	forget_said(r);
	mem_free(r->text);
}
