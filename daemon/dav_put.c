/* Putting and taking away one resource (RFC 4791 section 5.3, RFC 9110 section 13). */
#include "daemon/dav_int.h"

#include <stdio.h>
#include <string.h>

static void finish_one(struct dav *d, enum dav_verdict verdict)
{
	d->result.entries = &d->one;
	d->result.n = 1;
	dav_finish(d, verdict);
}

/* It has been put: that its tag can't be learnt is no fault. */
static void tag_told(struct dav *d, const struct fetch_answer *a)
{
	if (dav_judge_multistatus(d, a) == DAV_OK)
		for (size_t i = 0; i < d->xml.n; i++)
			if (dav_href_same(d->xml.entries[i].href, d->here))
				memcpy(d->one.etag, d->xml.entries[i].etag, sizeof d->one.etag);
	dav_unsay(d);
	finish_one(d, DAV_OK);
}

static void put_told(struct dav *d, const struct fetch_answer *a)
{
	static const struct dav_ask ask = { .method = "PROPFIND", .depth = "0" };
	enum dav_verdict verdict = dav_judge_change(d, a);
	dav_etag(a->etag, strlen(a->etag), d->one.etag);
	if (verdict != DAV_OK || d->one.etag[0]) {
		finish_one(d, verdict);
		return;
	}
	struct dav_text *t = dav_body(d);
	struct dav_ask q = ask;
	dav_text_open(t, "D:propfind");
	dav_text_add(t, "<D:prop><D:getetag/></D:prop></D:propfind>");
	q.path = d->path;
	dav_send(d, &q, tag_told);
}

static void begin_one(struct dav *d, const char *href, dav_done *done, void *arg)
{
	dav_begin(d, href, done, arg);
	d->one = (struct dav_entry){ 0 };
	(void)snprintf(d->one.href, sizeof d->one.href, "%s", dav_path_of(href));
}

void dav_put(struct dav *d, const char *href, const char *etag, const char *text, dav_done *done,
	void *arg)
{
	begin_one(d, href, done, arg);
	const struct dav_ask q = { .method = "PUT",
		.path = d->path,
		.match = etag,
		.create = !etag,
		.type = "text/calendar; charset=utf-8",
		.body = text };
	dav_send(d, &q, put_told);
}

static void delete_told(struct dav *d, const struct fetch_answer *a)
{
	finish_one(d, dav_judge_change(d, a));
}

void dav_delete(struct dav *d, const char *href, const char *etag, dav_done *done, void *arg)
{
	begin_one(d, href, done, arg);
	const struct dav_ask q = { .method = "DELETE", .path = d->path, .match = etag };
	dav_send(d, &q, delete_told);
}
