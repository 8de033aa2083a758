/* Inside of talking CalDAV, for dav*.c only: requests, what their answers come to, addresses, bodies. */
#ifndef DAEMON_DAV_INT_H
#define DAEMON_DAV_INT_H

#include "daemon/dav.h"
#include "daemon/dav_xml.h"
#include "daemon/fetch_int.h"

/* ---- texts that grow ---- */

struct dav_text {
	char *bytes; /* the owner's, mem_free; NULL before the first */
	size_t n, room;
	bool broken; /* out of memory */
};
void dav_text_add(struct dav_text *t, const char *fmt, ...) PRINTF_LIKE(2, 3);
/* As XML text or attribute; NULL counts as "". Characters XML has not are left out. */
void dav_text_escaped(struct dav_text *t, const char *text);
/* <?xml ...?> and an element with our namespaces, D: for DAV: and C: for CalDAV. */
void dav_text_open(struct dav_text *t, const char *element);

/* ---- addresses ---- */

enum dav_lead {
	LEADS_HERE, /* out is the path, percent-encoded */
	LEADS_ELSEWHERE, /* out is the other host */
	LEADS_NOWHERE /* empty or too long */
};
/* Where an href in the answer of base (a path) leads; it may be a path, a full address or relative. */
enum dav_lead dav_lead(const struct fetch_origin *home, const char *base, const char *href,
	char *out, size_t size);
/* Whether twice, decoded once, is the same as href: some servers encode what is encoded already. */
bool dav_href_same_twice(const char *twice, const char *href);
/* The path of an address, with a slash at least. */
const char *dav_path_of(const char *url);
/* The path's last segment, decoded, without a slash at its end; false when it does not fit. */
bool dav_last_segment(const char *path, char *out, size_t size);
/* Appends segment, encoded. False when it does not fit. */
bool dav_append_segment(char *path, size_t size, const char *segment);

/* ---- the session ---- */

enum { DAV_LINE = DAV_ETAG + 32 };

/* A request. */
struct dav_ask {
	const char *method, *path;
	const char *depth; /* "0", "1"; NULL: none */
	const char *match; /* If-Match; NULL and "" : none */
	bool create; /* If-None-Match: * */
	const char *type; /* of the body */
	const char *body; /* NULL: that of the session when it has one */
};

typedef void dav_step(struct dav *d, const struct fetch_answer *a);

/* Looking for a collection, or for an entry in all of them. */
struct dav_search {
	enum calendar_kind kind;
	const char *name;
	const struct calendar_head *head;
	void (*home_known)(struct dav *d); /* what follows */
	size_t n_homes, home; /* the one looked through */
	char homes[DAV_HOMES_MAX][DAV_HREF];
};

struct dav_listing {
	bool whole;
	int pages;
	struct dav_xml all; /* of the pages so far */
	char token[DAV_TOKEN];
};

struct dav_getting {
	const char *const *hrefs;
	size_t n, at; /* got one by one: which */
	bool *had; /* those that have been told about */
	struct dav_xml got;
};

enum { DAV_ROOMS_MAX = 200 }; /* others are not looked through */
struct dav_room {
	char path[DAV_HREF];
	bool events, todos;
};

struct dav_hunt {
	const char *uid;
	const char *const *but; /* collections not to look through */
	size_t n_but;
	size_t n, at;
	enum calendar_kind kind;
	struct dav_room *rooms; /* collections to look through */
};

struct dav {
	struct dav_at at;
	struct fetch_page *page;
	struct fetch_origin home;
	char root[URL_SIZE]; /* https://host:port as in the settings */
	/* the request under way */
	dav_step *step;
	struct dav_text body;
	char url[URL_SIZE + DAV_HREF], lines[4][DAV_LINE];
	/* its answer */
	char here[DAV_HREF]; /* path of what answered, after redirects */
	struct dav_xml xml;
	/* the call under way */
	dav_done *done;
	void *arg;
	char path[DAV_HREF]; /* what it is about */
	struct err why;
	int64_t retry_after_s, now_s;
	struct dav_result result;
	struct dav_entry one; /* of put and delete */
	struct dav_search search;
	struct dav_listing listing;
	struct dav_getting getting;
	struct dav_hunt hunt;
};

/* Begins a call about href. */
void dav_begin(struct dav *d, const char *href, dav_done *done, void *arg);
void dav_send(struct dav *d, const struct dav_ask *q, dav_step *step);
/* An empty body to write, for the next dav_send. */
struct dav_text *dav_body(struct dav *d);
void dav_finish(struct dav *d, enum dav_verdict verdict);

/* Sets why, the first one is kept; returns verdict. */
enum dav_verdict dav_say(struct dav *d, enum dav_verdict verdict, const char *fmt, ...)
	PRINTF_LIKE(3, 4);
void dav_unsay(struct dav *d);

/* What an answer comes to by its status, DAV_OK for 2xx; why is said. */
enum dav_verdict dav_judge(struct dav *d, const struct fetch_answer *a);
/* The same of one that has to be a multistatus: it is then in d->xml, hrefs as paths. */
enum dav_verdict dav_judge_multistatus(struct dav *d, const struct fetch_answer *a);
/* Of PUT, DELETE and MKCALENDAR, whose multistatus tells what failed. */
enum dav_verdict dav_judge_change(struct dav *d, const struct fetch_answer *a);
/* Such an answer, judged, ends a call, whatever else could be tried: not reached, not let in, asked to come later, out of
 * memory. */
bool dav_is_final(const struct dav *d, const struct fetch_answer *a);
/* A page for people. */
bool dav_is_html(const struct fetch_answer *a);

/* PROPFIND with everything that looking for calendars needs. */
void dav_look(struct dav *d, const char *path, const char *depth, dav_step *step);
/* Up to the calendar homes of the account, in d->search; then home_known. Ends the call when there are none. */
void dav_find_home(struct dav *d, void (*home_known)(struct dav *d));

void dav_listing_free(struct dav_listing *l);
void dav_getting_free(struct dav_getting *g);
void dav_hunt_free(struct dav_hunt *h);

#endif
