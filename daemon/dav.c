#include "daemon/dav_int.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "core/mem.h"

/* Method: a call is a chain of requests; each has a step that is given its answer and sends the next request or ends the
 * call. What a call gathers lies in the session and is taken out of it before its done is called, so that done may begin
 * the next call. */

/* ---- making ---- */

static void answered(void *arg, const struct fetch_answer *a, int64_t now_s);

/* scheme://host:port, as it is written. */
static enum rc take_root(struct dav *d, struct err *err)
{
	const char *host = strstr(d->at.url, "://") + 3;
	size_t n = (size_t)(host - d->at.url) + strcspn(host, "/?#");
	if (memchr(d->at.url, '@', n))
		return err_set(err, RC_CONFIG,
			"server: no name or password in the address: user and credential");
	if (n >= sizeof d->root || strlen(dav_path_of(d->at.url)) >= DAV_HREF)
		return err_set(
			err, RC_CONFIG, "server: too long: up to %d characters", URL_SIZE - 1);
	memcpy(d->root, d->at.url, n);
	d->root[n] = '\0';
	return RC_OK;
}

enum rc dav_new(struct fetch *f, const struct dav_at *at, struct dav **out, struct err *err)
{
	struct dav *d = mem_new(1, sizeof *d);
	if (!d)
		return err_set(err, RC_MEM, "calendar server: out of memory");
	d->at = *at;
	const struct fetch_at page = {
		.url = at->url,
		.ca_file = at->ca_file,
		.auth = at->auth,
		.user = at->user,
		.header = "",
		.credential = at->credential,
		.limit_s = at->limit_s,
		.size_limit = DAV_ANSWER_MAX,
		.key = "server",
		.fixed_limits = true,
		.done = answered,
		.arg = d,
	};
	enum rc rc = fetch_page_new(f, &page, &d->page, err);
	if (rc == RC_OK)
		rc = take_root(d, err);
	if (rc != RC_OK) {
		dav_free(d);
		return rc;
	}
	(void)fetch_origin_of(at->url, &d->home);
	*out = d;
	return RC_OK;
}

void dav_free(struct dav *d)
{
	if (!d)
		return;
	fetch_page_free(d->page);
	mem_free(d->body.bytes);
	dav_xml_free(&d->xml);
	dav_listing_free(&d->listing);
	dav_getting_free(&d->getting);
	dav_hunt_free(&d->hunt);
	mem_free(d);
}

/* ---- a call ---- */

enum dav_verdict dav_say(struct dav *d, enum dav_verdict verdict, const char *fmt, ...)
{
	char text[sizeof d->why.text];
	va_list args;
	va_start(args, fmt);
	(void)vsnprintf(text, sizeof text, fmt, args);
	va_end(args);
	(void)err_set(&d->why, RC_INPUT, "%s: %s", d->home.host, text);
	return verdict;
}

void dav_unsay(struct dav *d)
{
	d->why = (struct err){ 0 };
}

struct dav_text *dav_body(struct dav *d)
{
	d->body.n = 0;
	d->body.broken = false;
	return &d->body;
}

void dav_begin(struct dav *d, const char *href, dav_done *done, void *arg)
{
	d->done = done;
	d->arg = arg;
	d->retry_after_s = 0;
	d->result = (struct dav_result){ 0 };
	(void)dav_body(d);
	dav_unsay(d);
	if (dav_lead(&d->home, "/", href, d->path, sizeof d->path) != LEADS_HERE)
		d->path[0] = '\0'; /* no address, as fetch will say */
}

void dav_finish(struct dav *d, enum dav_verdict verdict)
{
	char url[sizeof d->url], token[DAV_TOKEN];
	struct err why = d->why;
	struct dav_entry one = d->one;
	struct dav_xml xml = d->xml;
	struct dav_listing listing = d->listing;
	struct dav_getting getting = d->getting;
	struct dav_hunt hunt = d->hunt;
	struct dav_result r = d->result;
	(void)snprintf(url, sizeof url, "%s%s", d->root, d->here);
	(void)snprintf(token, sizeof token, "%s", listing.token);
	d->xml = (struct dav_xml){ 0 };
	d->listing = (struct dav_listing){ 0 };
	d->getting = (struct dav_getting){ 0 };
	d->hunt = (struct dav_hunt){ 0 };
	r.verdict = verdict;
	r.why = why.text;
	r.retry_after_s = d->retry_after_s;
	r.url = url;
	r.token = token;
	if (verdict != DAV_OK)
		r.n = 0;
	if (r.entries == &d->one)
		r.entries = &one;
	d->done(d->arg, &r, d->now_s);
	dav_xml_free(&xml);
	dav_listing_free(&listing);
	dav_getting_free(&getting);
	dav_hunt_free(&hunt);
}

/* ---- a request ---- */

static void answered(void *arg, const struct fetch_answer *a, int64_t now_s)
{
	struct dav *d = arg;
	d->now_s = now_s;
	dav_xml_free(&d->xml);
	if (a->status)
		(void)snprintf(d->here, sizeof d->here, "%s", dav_path_of(a->url));
	else
		(void)snprintf(d->here, sizeof d->here, "%s", d->path);
	if (a->retry_after_s)
		d->retry_after_s = a->retry_after_s;
	if (d->body.broken)
		dav_finish(d, dav_say(d, DAV_UNREACHED, "out of memory"));
	else
		d->step(d, a);
}

void dav_send(struct dav *d, const struct dav_ask *q, dav_step *step)
{
	struct fetch_request r = { .method = q->method, .url = d->url, .body = q->body };
	size_t n = 0;
	d->step = step;
	(void)snprintf(d->url, sizeof d->url, "%s%s", q->path[0] ? d->root : "", q->path);
	if (d->body.broken)
		d->url[0] = '\0'; /* comes back at once */
	if (!r.body && d->body.n)
		r.body = d->body.bytes;
	if (q->depth)
		(void)snprintf(d->lines[n++], DAV_LINE, "Depth: %s", q->depth);
	if (q->match && q->match[0])
		(void)snprintf(d->lines[n++], DAV_LINE, "If-Match: %s", q->match);
	if (q->create)
		(void)snprintf(d->lines[n++], DAV_LINE, "If-None-Match: *");
	if (r.body)
		(void)snprintf(d->lines[n++], DAV_LINE, "Content-Type: %s",
			q->type ? q->type : "application/xml; charset=utf-8");
	for (size_t i = 0; i < n; i++)
		r.headers[i] = d->lines[i];
	r.n = r.body ? strlen(r.body) : 0;
	fetch_page_ask(d->page, &r);
}

/* ---- what answers come to ---- */

bool dav_is_final(const struct dav *d, const struct fetch_answer *a)
{
	return d->why.code == RC_MEM || a->rc == RC_IO || a->rc == RC_CONFIG || a->rc == RC_MEM ||
	       a->status == 401 || a->status == 429 || a->status == 503;
}

static const char *skip_blanks(const struct fetch_answer *a, size_t *n)
{
	const char *at = a->body ? a->body : "";
	*n = a->n;
	if (*n >= 3 && memcmp(at, "\xef\xbb\xbf", 3) == 0)
		at += 3, *n -= 3;
	while (*n && strchr(" \t\r\n", *at) && *at)
		at++, --*n;
	return at;
}

bool dav_is_html(const struct fetch_answer *a)
{
	size_t n;
	const char *at = skip_blanks(a, &n);
	return (n >= 14 && strncasecmp(at, "<!doctype html", 14) == 0) ||
	       (n >= 5 && strncasecmp(at, "<html", 5) == 0);
}

/* The conditions an error names (RFC 4918 section 16); what can't be read names none. */
static void read_conditions(struct dav *d, const struct fetch_answer *a)
{
	struct err err = { 0 };
	if ((a->status == 403 || a->status == 409 || a->status == 412 || a->status == 507) && a->n)
		(void)!dav_xml_read(d->home.host, a->body, a->n, &d->xml, &err);
}

static enum dav_verdict judge_status(struct dav *d, int status)
{
	if (status >= 200 && status < 300)
		return DAV_OK;
	switch (status) {
	case 401:
		return dav_say(d, DAV_REFUSED,
			"status 401: does not know who asks: auth, user and credential");
	case 403:
		return dav_say(d, DAV_REFUSED,
			"status 403: does not allow it: may the user see and write there?");
	case 404:
	case 410:
		return dav_say(d, DAV_GONE,
			"status %d: nothing is there for this user: as server the host "
			"alone, or the address of the account or a calendar",
			status);
	case 409:
		return dav_say(d, DAV_GONE, "status 409: its calendar is not there");
	case 412:
		return dav_say(d, DAV_CHANGED, "status 412: others have changed it");
	case 413:
	case 507:
		return dav_say(d, DAV_FULL, "status %d: it is too large, or there is no room left",
			status);
	case 429:
		return dav_say(
			d, DAV_UNREACHED, "status 429: is asked too often: a longer interval");
	case 408:
	case 423:
		return dav_say(d, DAV_UNREACHED, "status %d: has no time for it now", status);
	case 405:
	case 501:
		return dav_say(d, DAV_ODD,
			"status %d: does not do this: is server the address of a CalDAV server?",
			status);
	case 503:
		return dav_say(d, DAV_UNREACHED, "status 503: has no time now");
	default:
		if (status >= 500)
			return dav_say(d, DAV_UNREACHED,
				"status %d: has a fault of its own: its log will tell", status);
		return dav_say(d, DAV_ODD,
			"status %d: does not take it: is server the address of a CalDAV server?",
			status);
	}
}

enum dav_verdict dav_judge(struct dav *d, const struct fetch_answer *a)
{
	if (a->rc != RC_OK) {
		(void)err_set(&d->why, a->rc, "%s", a->why);
		return a->rc == RC_INPUT    ? DAV_ODD
		       : a->rc == RC_CONFIG ? DAV_REFUSED
					    : DAV_UNREACHED;
	}
	read_conditions(d, a);
	if (d->xml.uid_taken)
		return dav_say(
			d, DAV_TAKEN, "status %d: another entry there has that UID", a->status);
	if (d->xml.full)
		return judge_status(d, 507);
	return judge_status(d, a->status);
}

/* A strange host is not asked, and nothing of its answer is taken. */
static enum dav_verdict take_hrefs(struct dav *d, struct dav_xml *x)
{
	size_t n = 0;
	char path[DAV_HREF];
	for (size_t i = 0; i < x->n; i++) {
		struct dav_entry *e = &x->entries[i];
		enum dav_lead lead = dav_lead(&d->home, d->here, e->href, path, sizeof path);
		if (lead == LEADS_ELSEWHERE)
			return dav_say(d, DAV_ODD,
				"names an address at %s: that as server, if it is trusted", path);
		if (lead == LEADS_NOWHERE) {
			mem_free(x->facts[i].text);
			continue;
		}
		memcpy(e->href, path, sizeof path);
		x->entries[n] = *e;
		x->facts[n++] = x->facts[i];
	}
	x->n = n;
	return DAV_OK;
}

static enum dav_verdict odd_page(struct dav *d, const struct fetch_answer *a)
{
	if (dav_is_html(a))
		return dav_say(d, DAV_ODD,
			"status %d: answers with a page for people, of a login perhaps: the "
			"address of the CalDAV server itself, as server",
			a->status);
	return dav_say(d, DAV_ODD,
		"status %d, not with what a CalDAV server answers: is server the address of one?",
		a->status);
}

enum dav_verdict dav_judge_multistatus(struct dav *d, const struct fetch_answer *a)
{
	enum dav_verdict verdict = dav_judge(d, a);
	if (verdict != DAV_OK)
		return verdict;
	if (a->status != 207 || dav_is_html(a))
		return odd_page(d, a);
	enum rc rc = dav_xml_read(d->home.host, a->body ? a->body : "", a->n, &d->xml, &d->why);
	if (rc != RC_OK)
		return rc == RC_MEM ? DAV_UNREACHED : DAV_ODD;
	if (!d->xml.multistatus)
		return odd_page(d, a);
	return take_hrefs(d, &d->xml);
}

/* RFC 4918 section 13: what failed has a status of its own. */
static enum dav_verdict judge_parts(struct dav *d, const struct fetch_answer *a)
{
	enum rc rc = dav_xml_read(d->home.host, a->body ? a->body : "", a->n, &d->xml, &d->why);
	if (rc != RC_OK)
		return rc == RC_MEM ? DAV_UNREACHED : DAV_ODD;
	if (d->xml.uid_taken)
		return dav_say(d, DAV_TAKEN, "another entry there has that UID");
	for (size_t i = 0; i < d->xml.n; i++) {
		int status = d->xml.facts[i].status;
		enum dav_verdict verdict = status ? judge_status(d, status) : DAV_OK;
		if (verdict != DAV_OK)
			return verdict;
	}
	return dav_say(d, DAV_ODD, "status 207: does not say whether it was done");
}

enum dav_verdict dav_judge_change(struct dav *d, const struct fetch_answer *a)
{
	enum dav_verdict verdict = dav_judge(d, a);
	if (verdict != DAV_OK)
		return verdict;
	if (a->status == 207)
		return judge_parts(d, a);
	if (dav_is_html(a))
		return odd_page(d, a);
	if (a->status != 200 && a->status != 201 && a->status != 204)
		return dav_say(
			d, DAV_ODD, "status %d: does not say whether it was done", a->status);
	return DAV_OK;
}
