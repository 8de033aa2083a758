/* Texts of resources: calendar-multiget (RFC 4791 section 7.9), or GET of each. */
#include "daemon/dav_int.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "core/mem.h"

void dav_getting_free(struct dav_getting *g)
{
	dav_xml_free(&g->got);
	mem_free(g->had);
	g->had = NULL;
}

static void finish_get(struct dav *d, enum dav_verdict verdict)
{
	d->result.entries = d->getting.got.entries;
	d->result.n = d->getting.got.n;
	dav_finish(d, verdict);
}

static enum dav_verdict no_memory(struct dav *d)
{
	return dav_say(d, DAV_UNREACHED, "out of memory");
}

static struct dav_entry *add_got(struct dav *d, size_t which, char *text, size_t n)
{
	struct dav_getting *g = &d->getting;
	struct dav_entry *e = &g->got.entries[g->got.n];
	*e = (struct dav_entry){ .text = text, .n = n };
	(void)snprintf(e->href, sizeof e->href, "%s", dav_path_of(g->hrefs[which]));
	g->got.facts[g->got.n++] = (struct dav_facts){ .text = text };
	g->had[which] = true;
	return e;
}

/* ---- one by one ---- */

static void get_next(struct dav *d);

static bool is_calendar(const char *text, size_t n)
{
	static const char begin[] = "BEGIN:VCALENDAR";
	while (n && strchr(" \t\r\n\xef\xbb\xbf", *text) && *text)
		text++, n--;
	return n >= sizeof begin - 1 && strncasecmp(text, begin, sizeof begin - 1) == 0;
}

static enum dav_verdict take_text(struct dav *d, const struct fetch_answer *a)
{
	char *text = mem_new(a->n + 1, 1);
	if (!text)
		return no_memory(d);
	memcpy(text, a->body, a->n);
	size_t n = dav_lines(text, a->n);
	text[n] = '\0';
	struct dav_entry *e = add_got(d, d->getting.at, text, n);
	dav_etag(a->etag, strlen(a->etag), e->etag);
	return DAV_OK;
}

static void text_told(struct dav *d, const struct fetch_answer *a)
{
	enum dav_verdict verdict = dav_judge(d, a);
	if (verdict == DAV_GONE && a->status != 409) {
		dav_unsay(d);
		verdict = DAV_OK;
	} else if (verdict == DAV_OK && (a->status != 200 || !is_calendar(a->body, a->n)))
		verdict = dav_say(d, DAV_ODD,
			"status %d: answers with what is no calendar%s: the address of the CalDAV "
			"server itself, as server",
			a->status, dav_is_html(a) ? ", a login page perhaps" : "");
	else if (verdict == DAV_OK)
		verdict = take_text(d, a);
	if (verdict != DAV_OK) {
		finish_get(d, verdict);
		return;
	}
	d->getting.at++;
	get_next(d);
}

static void get_next(struct dav *d)
{
	struct dav_getting *g = &d->getting;
	while (g->at < g->n && g->had[g->at])
		g->at++;
	if (g->at == g->n) {
		finish_get(d, DAV_OK);
		return;
	}
	if (dav_lead(&d->home, "/", g->hrefs[g->at], d->path, sizeof d->path) != LEADS_HERE)
		d->path[0] = '\0';
	const struct dav_ask q = { .method = "GET", .path = d->path };
	(void)dav_body(d);
	dav_send(d, &q, text_told);
}

/* ---- all at once ---- */

static size_t which_of(const struct dav_getting *g, const char *href)
{
	for (size_t i = 0; i < g->n; i++)
		if (!g->had[i] && dav_href_same(href, g->hrefs[i]))
			return i;
	for (size_t i = 0; i < g->n; i++)
		if (!g->had[i] && dav_href_same_twice(href, g->hrefs[i]))
			return i;
	return g->n;
}

static void take_told(struct dav *d)
{
	struct dav_xml *x = &d->xml;
	struct dav_getting *g = &d->getting;
	for (size_t i = 0; i < x->n; i++) {
		struct dav_facts *f = &x->facts[i];
		size_t which = which_of(g, x->entries[i].href);
		if (which == g->n)
			continue;
		if (f->text) {
			struct dav_entry *e = add_got(d, which, f->text, x->entries[i].n);
			memcpy(e->etag, x->entries[i].etag, sizeof e->etag);
			f->text = NULL; /* its owner is the other list now */
		} else if (f->status == 404 || f->status == 410)
			g->had[which] = true;
	}
}

/* What it leaves out, or all when it refuses, is got one by one. */
static void all_told(struct dav *d, const struct fetch_answer *a)
{
	enum dav_verdict verdict = dav_judge_multistatus(d, a);
	if (verdict != DAV_OK && dav_is_final(d, a)) {
		finish_get(d, verdict);
		return;
	}
	if (verdict == DAV_OK)
		take_told(d);
	dav_unsay(d);
	get_next(d);
}

void dav_get(struct dav *d, const char *collection, const char *const *hrefs, size_t n,
	dav_done *done, void *arg)
{
	struct dav_getting *g = &d->getting;
	dav_begin(d, collection, done, arg);
	*g = (struct dav_getting){ .hrefs = hrefs, .n = n < DAV_GET_MAX ? n : DAV_GET_MAX };
	g->had = mem_new(g->n, sizeof *g->had);
	g->got.entries = mem_new(g->n, sizeof *g->got.entries);
	g->got.facts = mem_new(g->n, sizeof *g->got.facts);
	struct dav_text *t = dav_body(d);
	t->broken = !g->had || !g->got.entries || !g->got.facts;
	dav_text_open(t, "C:calendar-multiget");
	dav_text_add(t, "<D:prop><D:getetag/><C:calendar-data/></D:prop>");
	for (size_t i = 0; i < g->n; i++) {
		dav_text_add(t, "<D:href>");
		dav_text_escaped(t, dav_path_of(hrefs[i]));
		dav_text_add(t, "</D:href>");
	}
	dav_text_add(t, "</C:calendar-multiget>");
	const struct dav_ask q = { .method = "REPORT", .path = d->path, .depth = "1" };
	dav_send(d, &q, all_told);
}
