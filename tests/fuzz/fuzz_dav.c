#include <string.h>

#include "daemon/dav_int.h"
#include "tests/fuzz/fuzz.h"

static void etag_holds(const char *etag)
{
	size_t n = strlen(etag);
	HOLDS(n == 0 || (n >= 3 && etag[0] == '"' && etag[n - 1] == '"'));
	for (size_t i = 1; i + 1 < n; i++)
		HOLDS(etag[i] > ' ' && etag[i] < 0x7f && etag[i] != '"');
}

/* Wherever it leads, it is asked of the server itself, in one line. */
static void href_holds(const char *href)
{
	struct fetch_origin home;
	char path[DAV_HREF], name[DAV_HREF];
	HOLDS(fetch_origin_of("https://cal.example/", &home));
	HOLDS(dav_href_same(href, href));
	(void)dav_last_segment(href, name, sizeof name);
	if (dav_lead(&home, "/base/", href, path, sizeof path) != LEADS_HERE)
		return;
	HOLDS(path[0] == '/');
	for (const char *c = path; *c; c++)
		HOLDS(*c > ' ' && *c < 0x7f);
	HOLDS(dav_href_same(path, path));
}

static void holds(const struct dav_xml *x)
{
	HOLDS(x->n <= DAV_ENTRIES_MAX && x->n_homes <= DAV_HOMES_MAX);
	for (size_t i = 0; i < x->n; i++) {
		const struct dav_entry *e = &x->entries[i];
		const struct dav_facts *f = &x->facts[i];
		HOLDS(memchr(e->href, '\0', sizeof e->href) &&
			memchr(e->etag, '\0', sizeof e->etag));
		HOLDS(f->status == 0 || (f->status >= 100 && f->status <= 999));
		HOLDS(e->text == f->text);
		HOLDS(!e->text || (f->found && e->text[e->n] == '\0'));
		etag_holds(e->etag);
		href_holds(e->href);
	}
	HOLDS(memchr(x->token, '\0', sizeof x->token));
	href_holds(x->principal);
	for (size_t i = 0; i < x->n_homes; i++)
		href_holds(x->homes[i]);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
	struct dav_xml x, again;
	struct err err = { 0 };
	enum rc rc = dav_xml_read("cal.example", (const char *)bytes, n, &x, &err);
	HOLDS(rc == RC_OK || (rc == RC_INPUT && err.text[0]));
	holds(&x);
	HOLDS(dav_xml_read("cal.example", (const char *)bytes, n, &again, NULL) == rc);
	HOLDS(again.n == x.n && strcmp(again.token, x.token) == 0);
	for (size_t i = 0; i < x.n; i++)
		HOLDS(x.entries[i].n == again.entries[i].n &&
			(!x.entries[i].text ||
				strcmp(x.entries[i].text, again.entries[i].text) == 0));
	dav_xml_free(&x);
	dav_xml_free(&again);
	return 0;
}
