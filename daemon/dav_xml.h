/* XML that CalDAV servers answer with (RFC 4918 section 14, RFC 4791, RFC 6578): multistatus and error, by namespace and
 * local name, whatever the prefixes. What was not asked for is passed over.
 *
 * libxml2 reads it as events, as UTF-8 whatever it says of itself; a document type ends the reading before anything is
 * declared, so that there are no entities but the five of XML. Caps: DAV_ENTRIES_MAX responses, DAV_XML_DEPTH levels,
 * DAV_XML_TAG bytes of one tag and DAV_XML_NAMESPACES open at once, as libxml2 looks them up one by one. */
#ifndef DAEMON_DAV_XML_H
#define DAEMON_DAV_XML_H

#include "daemon/dav.h"

enum { DAV_XML_DEPTH = 64, DAV_XML_TAG = 16384, DAV_XML_NAMESPACES = 64, DAV_HOMES_MAX = 4 };

/* Of a response, besides its entry. */
struct dav_facts {
	int status; /* of the response itself, 0: it has properties instead */
	bool found; /* some property is there (2xx) */
	bool collection, calendar; /* resourcetype */
	bool limited; /* it says which components it takes: those below and no others */
	bool events, todos;
	char *text; /* calendar-data, that of its entry */
};

struct dav_xml {
	bool multistatus; /* it is one */
	size_t n, room;
	struct dav_entry *entries; /* hrefs as they stand in the XML */
	struct dav_facts *facts;
	char token[DAV_TOKEN]; /* sync-token: of the answer, else the first one */
	char principal[DAV_HREF]; /* current-user-principal, the first one */
	size_t n_homes;
	char homes[DAV_HOMES_MAX][DAV_HREF]; /* calendar-home-set */
	bool uid_taken; /* no-uid-conflict */
	bool full; /* a quota, or larger than it takes */
	bool exists; /* resource-must-be-null */
};

/* RC_INPUT: not XML, or none of these answers; RC_MEM. dav_xml_free in any case. The text begins with host. */
MUST_USE enum rc dav_xml_read(
	const char *host, const char *bytes, size_t n, struct dav_xml *out, struct err *err);
void dav_xml_free(struct dav_xml *x);

/* An entity tag that can be sent back (RFC 9110 section 8.8.3), quotes put round a bare one; "" for a weak one and what
 * is none. */
void dav_etag(const char *text, size_t n, char out[DAV_ETAG]);

/* CRLF to LF in place; the new length. */
size_t dav_lines(char *text, size_t n);

#endif
