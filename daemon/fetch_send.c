/* What a request is sent with. */
#include "daemon/fetch_int.h"

#include <stdio.h>
#include <string.h>

#include "core/mem.h"

/* Before the others; line stays the caller's. */
static struct curl_slist *add_header(
	struct fetch_page *p, size_t at, char *line, struct curl_slist *others)
{
	p->headers[at] = (struct curl_slist){ .data = line, .next = others };
	return &p->headers[at];
}

/* All but the credential. */
static struct curl_slist *list_headers(struct fetch_page *p)
{
	static char no_wait[] = "Expect:"; /* for a word before the body is sent */
	struct curl_slist *list = NULL;
	size_t at = 1;
	if (p->known[0]) {
		(void)snprintf(p->asked_line, sizeof p->asked_line, "If-None-Match: %s", p->known);
		list = add_header(p, at++, p->asked_line, list);
	}
	if (p->request.body)
		list = add_header(p, at++, no_wait, list);
	for (size_t i = 0; i < FETCH_OWN_HEADERS_MAX && p->request.headers[i]; i++)
		list = add_header(p, at++, p->request.headers[i], list);
	return list;
}

/* A body given so is sent again after redirects, and without waiting for leave. */
static void set_method(struct fetch_page *p)
{
	const struct fetch_request *r = &p->request;
	(void)curl_easy_setopt(p->easy, CURLOPT_HTTPGET, 1L);
	if (r->body) {
		(void)curl_easy_setopt(p->easy, CURLOPT_POST, 1L);
		(void)curl_easy_setopt(p->easy, CURLOPT_POSTFIELDSIZE_LARGE, (curl_off_t)r->n);
		(void)curl_easy_setopt(p->easy, CURLOPT_POSTFIELDS, r->body);
	}
	(void)curl_easy_setopt(p->easy, CURLOPT_CUSTOMREQUEST, r->method);
}

enum rc fetch_send_head(struct fetch_page *p, struct err *err)
{
	p->shown_line = mem_new(FETCH_SHOWN_SIZE, 1);
	if (!p->shown_line)
		return err_set(err, RC_MEM, "%s: out of memory", p->here.host);
	enum rc rc = fetch_show(&p->at, p->shown_line, FETCH_SHOWN_SIZE, err);
	if (rc != RC_OK)
		return rc;
	struct curl_slist *list = list_headers(p);
	p->shown = p->shown_line[0] != '\0';
	if (p->shown)
		list = add_header(p, 0, p->shown_line, list);
	(void)curl_easy_setopt(p->easy, CURLOPT_HTTPHEADER, list);
	set_method(p);
	return RC_OK;
}

void fetch_send_bare(struct fetch_page *p)
{
	p->shown = false;
	(void)curl_easy_setopt(p->easy, CURLOPT_HTTPHEADER, p->headers[0].next);
}

enum rc fetch_send_to(struct fetch_page *p, const char *url, struct err *err)
{
	int64_t left_ms = p->left_ms > 1 ? p->left_ms : 1, connect_ms = FETCH_CONNECT_S * 1000;
	p->n = p->header_bytes = 0;
	p->no_memory = false;
	p->etag[0] = '\0';
	(void)curl_easy_setopt(p->easy, CURLOPT_TIMEOUT_MS, (long)left_ms);
	(void)curl_easy_setopt(p->easy, CURLOPT_CONNECTTIMEOUT_MS,
		(long)(connect_ms < left_ms ? connect_ms : left_ms));
	if (curl_easy_setopt(p->easy, CURLOPT_URL, url) != CURLE_OK)
		return err_set(err, RC_MEM, "%s: out of memory", p->here.host);
	return RC_OK;
}

/* Nothing of it stays in memory. */
void fetch_unsend(struct fetch_page *p)
{
	(void)curl_easy_setopt(p->easy, CURLOPT_HTTPHEADER, NULL);
	if (p->shown_line)
		explicit_bzero(p->shown_line, FETCH_SHOWN_SIZE);
	mem_free(p->shown_line);
	p->shown_line = NULL;
}
