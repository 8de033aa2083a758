#include "daemon/fetch_int.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "core/mem.h"

/* Method: a page is a transfer with a header, a body and redirects of our own. */

struct fetch {
	struct transfers *transfers;
};

/* ---- callbacks of a transfer ---- */

static size_t take_body(char *bytes, size_t one, size_t n, void *arg)
{
	struct fetch_page *p = arg;
	(void)one;
	if (n > p->at.size_limit - p->n)
		return 0;
	if (p->n + n > p->room) {
		size_t room = p->room ? p->room : 4096;
		while (room < p->n + n)
			room *= 2;
		char *grown = mem_grow(p->body, room, 1);
		if (!grown) {
			p->no_memory = true;
			return 0;
		}
		p->body = grown;
		p->room = room;
	}
	memcpy(p->body + p->n, bytes, n);
	p->n += n;
	return n;
}

/* One header, without its name and the blanks round it. It is sent back: what is too long or no etag counts as none. */
static void take_etag(struct fetch_page *p, const char *value, size_t n)
{
	while (n && isspace((unsigned char)value[0]))
		value++, n--;
	while (n && isspace((unsigned char)value[n - 1]))
		n--;
	n = n < sizeof p->etag ? n : 0;
	for (size_t i = 0; i < n; i++)
		if (!isgraph((unsigned char)value[i]))
			n = 0;
	memcpy(p->etag, value, n);
	p->etag[n] = '\0';
}

/* Header blocks of interim answers (1xx) come through here too: the last one counts. */
static size_t take_header(char *line, size_t one, size_t n, void *arg)
{
	static const char name[] = "etag:";
	struct fetch_page *p = arg;
	(void)one;
	p->header_bytes += n;
	if (p->header_bytes > FETCH_HEADERS_MAX)
		return 0;
	if (n >= 5 && memcmp(line, "HTTP/", 5) == 0)
		p->etag[0] = '\0';
	if (n >= sizeof name - 1 && strncasecmp(line, name, sizeof name - 1) == 0)
		take_etag(p, line + sizeof name - 1, n - (sizeof name - 1));
	return n;
}

/* ---- one fetch ---- */

static void tell(
	struct fetch_page *p, enum rc rc, const struct err *why, long status, int64_t now_s)
{
	curl_off_t retry_after_s = 0;
	char *url = NULL;
	(void)curl_easy_getinfo(p->easy, CURLINFO_RETRY_AFTER, &retry_after_s);
	(void)curl_easy_getinfo(p->easy, CURLINFO_EFFECTIVE_URL, &url);
	const struct fetch_answer answer = {
		.rc = rc,
		.why = why->text,
		.status = (int)status,
		.unchanged = status == 304,
		.url = url ? url : p->at.url,
		.n = rc == RC_OK ? p->n : 0,
		.body = rc == RC_OK ? p->body : NULL,
		.etag = p->etag,
		.retry_after_s = status >= 400 ? retry_after_s : 0,
	};
	char *body = p->body;
	p->body = NULL;
	p->n = p->room = 0;
	p->at.done(p->at.arg, &answer, now_s);
	mem_free(body);
}

/* A request leaves the server of the page for no other. */
static enum rc check_home(const struct fetch_page *p, const char *url, struct err *err)
{
	struct fetch_origin there;
	if (!p->request.method)
		return RC_OK;
	if (!fetch_origin_of(url, &there))
		return err_set(err, RC_INPUT, "%s: leads to what is no address of http or https",
			p->here.host);
	if (!fetch_origin_same(&there, &p->home))
		return err_set(err, RC_INPUT,
			"%s: leads to %s://%s:%s, where the credential is not shown: that as %s, "
			"if it is trusted",
			p->here.host, there.scheme, there.host, there.port, fetch_key(&p->at));
	return RC_OK;
}

static bool begin(void *arg, int64_t now_s)
{
	struct fetch_page *p = arg;
	struct err err = { 0 };
	const char *url = p->request.method ? p->request.url : p->at.url;
	p->redirects = 0;
	p->left_ms = p->at.limit_s * 1000;
	p->here = p->home;
	enum rc rc = check_home(p, url, &err);
	if (rc == RC_OK)
		rc = fetch_send_head(p, &err);
	if (rc == RC_OK)
		rc = fetch_send_to(p, url, &err);
	if (rc == RC_OK)
		return true;
	fetch_unsend(p);
	tell(p, rc, &err, 0, now_s);
	return false;
}

/* Where a redirect leads, if it may be followed. */
static enum rc follow(struct fetch_page *p, const char *url, long status, struct err *err)
{
	struct fetch_origin there;
	const char *host = p->here.host;
	if (p->request.method && status == 303)
		return err_set(err, RC_INPUT,
			"%s: status 303: answers with another page: the address of the server "
			"itself, as %s",
			host, fetch_key(&p->at));
	if (++p->redirects > FETCH_REDIRECTS_MAX)
		return err_set(err, RC_INPUT,
			"%s: more than %d redirects: the address it leads to, as %s", host,
			FETCH_REDIRECTS_MAX, fetch_key(&p->at));
	if (!url || !fetch_origin_of(url, &there))
		return err_set(
			err, RC_INPUT, "%s: redirects to what is no page of http or https", host);
	if (strcmp(p->here.scheme, "https") == 0 && strcmp(there.scheme, "https") != 0)
		return err_set(err, RC_INPUT,
			"%s: redirects from https to http, where anyone could change what is read",
			host);
	if (!fetch_origin_same(&there, &p->home) && p->shown)
		fetch_send_bare(p);
	enum rc rc = check_home(p, url, err);
	if (rc != RC_OK)
		return rc;
	p->here = there;
	rc = fetch_send_to(p, url, err);
	return rc == RC_OK ? transfer_again(p->transfer, err) : rc;
}

static bool is_redirect(long status)
{
	return status == 301 || status == 302 || status == 303 || status == 307 || status == 308;
}

static enum rc judge(struct fetch_page *p, CURLcode verdict, long status, struct err *err)
{
	if (verdict == CURLE_WRITE_ERROR && p->header_bytes > FETCH_HEADERS_MAX)
		return err_set(err, RC_INPUT, "%s: more than %d bytes of headers", p->here.host,
			FETCH_HEADERS_MAX);
	if (p->no_memory)
		return err_set(err, RC_MEM, "%s: out of memory", p->here.host);
	if (verdict != CURLE_OK)
		return fetch_fault(p->easy, verdict, &p->at, &p->here,
			p->at.limit_s * 1000 - p->left_ms, p->n, err);
	if (!p->request.method && status != 200 && status != 304)
		return fetch_status(status, &p->at, &p->here, p->shown, err);
	return RC_OK;
}

static void finished(void *arg, CURLcode verdict, int64_t now_s)
{
	struct fetch_page *p = arg;
	struct err err = { 0 };
	long status = 0;
	char *url = NULL;
	curl_off_t took_us = 0;
	enum rc rc;
	(void)curl_easy_getinfo(p->easy, CURLINFO_RESPONSE_CODE, &status);
	(void)curl_easy_getinfo(p->easy, CURLINFO_REDIRECT_URL, &url);
	(void)curl_easy_getinfo(p->easy, CURLINFO_TOTAL_TIME_T, &took_us);
	p->left_ms -= took_us / 1000;
	if (verdict == CURLE_OK && is_redirect(status)) {
		rc = follow(p, url, status, &err);
		if (rc == RC_OK)
			return;
	} else
		rc = judge(p, verdict, status, &err);
	fetch_unsend(p);
	tell(p, rc, &err, status, now_s);
}

/* ---- making ---- */

enum rc fetch_new(struct transfers *transfers, struct fetch **out, struct err *err)
{
	struct fetch *f = mem_new(1, sizeof *f);
	if (!f)
		return err_set(err, RC_MEM, "fetching: out of memory");
	f->transfers = transfers;
	*out = f;
	return RC_OK;
}

void fetch_free(struct fetch *f)
{
	mem_free(f);
}

/* What stays for the page's life. */
static void set_up(struct fetch_page *p)
{
	CURL *e = p->easy;
	(void)curl_easy_setopt(e, CURLOPT_PROTOCOLS_STR, "http,https");
	(void)curl_easy_setopt(e, CURLOPT_HTTP_VERSION, CURL_HTTP_VERSION_1_1);
	(void)curl_easy_setopt(e, CURLOPT_USERAGENT, "seasond/" VERSION);
	(void)curl_easy_setopt(e, CURLOPT_LOW_SPEED_LIMIT, (long)FETCH_SLOW_BYTES);
	(void)curl_easy_setopt(e, CURLOPT_LOW_SPEED_TIME, (long)FETCH_SLOW_S);
	(void)curl_easy_setopt(e, CURLOPT_MAXFILESIZE_LARGE, (curl_off_t)p->at.size_limit);
	(void)curl_easy_setopt(e, CURLOPT_WRITEFUNCTION, take_body);
	(void)curl_easy_setopt(e, CURLOPT_WRITEDATA, p);
	(void)curl_easy_setopt(e, CURLOPT_HEADERFUNCTION, take_header);
	(void)curl_easy_setopt(e, CURLOPT_HEADERDATA, p);
}

enum rc fetch_page_new(
	struct fetch *f, const struct fetch_at *at, struct fetch_page **out, struct err *err)
{
	enum rc rc = fetch_check(at, err);
	if (rc != RC_OK)
		return rc;
	struct fetch_page *p = mem_new(1, sizeof *p);
	if (!p)
		return err_set(err, RC_MEM, "fetching: out of memory");
	*p = (struct fetch_page){ .at = *at };
	(void)fetch_origin_of(at->url, &p->home);
	const struct transfer_to to = { .begin = begin, .done = finished, .arg = p };
	rc = transfer_new(f->transfers, &to, at->ca_file, &p->transfer, err);
	if (rc != RC_OK) {
		mem_free(p);
		return rc;
	}
	p->easy = transfer_easy(p->transfer);
	transfer_keep(p->transfer);
	set_up(p);
	*out = p;
	return RC_OK;
}

void fetch_page_free(struct fetch_page *p)
{
	if (!p)
		return;
	transfer_drop(p->transfer);
	fetch_unsend(p);
	transfer_free(p->transfer);
	mem_free(p->body);
	mem_free(p);
}

void fetch_page_get(struct fetch_page *p, const char *etag)
{
	if (!transfer_idle(p->transfer))
		return;
	(void)snprintf(p->known, sizeof p->known, "%s", etag);
	p->request = (struct fetch_request){ 0 };
	transfer_want(p->transfer);
}

void fetch_page_ask(struct fetch_page *p, const struct fetch_request *r)
{
	if (!transfer_idle(p->transfer))
		return;
	p->known[0] = '\0';
	p->request = *r;
	transfer_want(p->transfer);
}
