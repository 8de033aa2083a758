/* What changed in a collection: sync-collection (RFC 6578), or a listing of all. */
#include "daemon/dav_int.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/mem.h"

enum { PAGES_MAX = 1000 }; /* of one answer in pieces */

void dav_listing_free(struct dav_listing *l)
{
	dav_xml_free(&l->all);
}

/* ---- entries ---- */

/* Of what the answer names, the resources of the collection; whether it says that there is more. */
static bool pick_entries(struct dav *d)
{
	struct dav_xml *x = &d->xml;
	size_t n = 0;
	bool more = false;
	for (size_t i = 0; i < x->n; i++) {
		const struct dav_facts *f = &x->facts[i];
		bool itself = dav_href_same(x->entries[i].href, d->here);
		bool gone = f->status == 404 || f->status == 410;
		more |= itself && f->status == 507;
		mem_free(f->text);
		x->facts[i].text = NULL;
		if (itself || f->collection || (f->status >= 300 && !gone))
			continue;
		x->entries[n] = x->entries[i];
		x->entries[n].gone = gone;
		x->entries[n].text = NULL;
		x->facts[n++] = x->facts[i];
	}
	for (size_t i = n; i < x->n; i++)
		x->facts[i].text = NULL;
	x->n = n;
	return more;
}

static bool append(struct dav_xml *all, const struct dav_xml *page)
{
	size_t n = all->n + page->n;
	struct dav_entry *entries = mem_grow(all->entries, n, sizeof *entries);
	all->entries = entries ? entries : all->entries;
	struct dav_facts *facts = entries ? mem_grow(all->facts, n, sizeof *facts) : NULL;
	all->facts = facts ? facts : all->facts;
	if (!facts)
		return false;
	memcpy(all->entries + all->n, page->entries, page->n * sizeof *entries);
	memcpy(all->facts + all->n, page->facts, page->n * sizeof *facts);
	all->n = n;
	return true;
}

struct rank {
	const char *href;
	size_t at;
};

static int by_href_and_place(const void *a, const void *b)
{
	const struct rank *x = a, *y = b;
	int order = strcmp(x->href, y->href);
	return order ? order : (x->at > y->at) - (x->at < y->at);
}

/* Of what several pages name the last one counts. */
static bool drop_earlier(struct dav_xml *all)
{
	struct rank *ranks = mem_new(all->n, sizeof *ranks);
	bool *later = mem_new(all->n, sizeof *later);
	size_t n = 0;
	if (ranks && later) {
		for (size_t i = 0; i < all->n; i++)
			ranks[i] = (struct rank){ all->entries[i].href, i };
		qsort(ranks, all->n, sizeof *ranks, by_href_and_place);
		for (size_t i = 0; i + 1 < all->n; i++)
			later[ranks[i].at] = strcmp(ranks[i].href, ranks[i + 1].href) == 0;
		for (size_t i = 0; i < all->n; i++)
			if (!later[i])
				all->entries[n++] = all->entries[i];
		all->n = n;
	}
	bool whole = ranks && later;
	mem_free(ranks);
	mem_free(later);
	return whole;
}

static void finish_listing(struct dav *d, enum dav_verdict verdict)
{
	struct dav_listing *l = &d->listing;
	if (verdict == DAV_OK && l->pages > 1 && !drop_earlier(&l->all))
		verdict = dav_say(d, DAV_UNREACHED, "out of memory");
	d->result.whole = l->whole;
	d->result.entries = l->all.entries;
	d->result.n = l->all.n;
	dav_finish(d, verdict);
}

/* ---- a listing of all ---- */

/* RFC 4918 section 9.1: Depth 1 is the resource and its members. A listing that could be cut short is not believed, as what
 * it leaves out would count as gone. */
static bool has_itself(const struct dav *d)
{
	for (size_t i = 0; i < d->xml.n; i++)
		if (d->xml.facts[i].found && dav_href_same(d->xml.entries[i].href, d->here))
			return true;
	return false;
}

/* Xandikos says so within a 207. */
static bool is_gone(const struct dav *d)
{
	return d->xml.n == 1 && (d->xml.facts[0].status == 404 || d->xml.facts[0].status == 410);
}

static void all_told(struct dav *d, const struct fetch_answer *a)
{
	enum dav_verdict verdict = dav_judge_multistatus(d, a);
	if (verdict == DAV_OK && is_gone(d))
		verdict = dav_say(d, DAV_GONE, "the calendar is not there any more");
	if (verdict == DAV_OK && !has_itself(d))
		verdict = dav_say(d, DAV_ODD,
			"lists what is in the calendar without the calendar: is server the address "
			"of a CalDAV server?");
	if (verdict == DAV_OK) {
		(void)pick_entries(d);
		(void)snprintf(d->listing.token, DAV_TOKEN, "%s", d->xml.token);
		d->listing.all = d->xml;
		d->xml = (struct dav_xml){ 0 };
	}
	finish_listing(d, verdict);
}

/* The token comes with the listing: what changes meanwhile is told once more the next time. */
static void list_all(struct dav *d)
{
	const struct dav_ask q = { .method = "PROPFIND", .path = d->path, .depth = "1" };
	struct dav_text *t = dav_body(d);
	dav_unsay(d);
	dav_listing_free(&d->listing);
	d->listing.whole = true;
	d->listing.pages = 1;
	d->listing.token[0] = '\0';
	dav_text_open(t, "D:propfind");
	dav_text_add(
		t, "<D:prop><D:getetag/><D:resourcetype/><D:sync-token/></D:prop></D:propfind>");
	dav_send(d, &q, all_told);
}

/* ---- changes ---- */

static void ask_changes(struct dav *d);

static void changes_told(struct dav *d, const struct fetch_answer *a)
{
	struct dav_listing *l = &d->listing;
	enum dav_verdict verdict = dav_judge_multistatus(d, a);
	if (verdict != DAV_OK && dav_is_final(d, a)) {
		finish_listing(d, verdict);
		return;
	}
	bool more = verdict == DAV_OK && pick_entries(d);
	bool same = strcmp(d->xml.token, l->token) == 0;
	if (verdict != DAV_OK || !d->xml.token[0] || (more && (same || ++l->pages > PAGES_MAX)) ||
		l->all.n + d->xml.n > DAV_ENTRIES_MAX) {
		list_all(d);
		return;
	}
	if (d->xml.n && !append(&l->all, &d->xml)) {
		finish_listing(d, dav_say(d, DAV_UNREACHED, "out of memory"));
		return;
	}
	memcpy(l->token, d->xml.token, DAV_TOKEN);
	if (more)
		ask_changes(d);
	else
		finish_listing(d, DAV_OK);
}

static void ask_changes(struct dav *d)
{
	const struct dav_ask q = { .method = "REPORT", .path = d->path, .depth = "0" };
	struct dav_text *t = dav_body(d);
	dav_text_open(t, "D:sync-collection");
	dav_text_add(t, "<D:sync-token>");
	dav_text_escaped(t, d->listing.token);
	dav_text_add(t, "</D:sync-token><D:sync-level>1</D:sync-level>"
			"<D:prop><D:getetag/><D:resourcetype/></D:prop></D:sync-collection>");
	dav_send(d, &q, changes_told);
}

void dav_changes(
	struct dav *d, const char *collection, const char *token, dav_done *done, void *arg)
{
	dav_begin(d, collection, done, arg);
	d->listing.pages = 1;
	(void)snprintf(d->listing.token, DAV_TOKEN, "%s", token);
	if (token[0])
		ask_changes(d);
	else
		list_all(d);
}
