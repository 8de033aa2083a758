/* Inside of reading XML: between libxml2, which only dav_xml.c knows, and what elements mean (dav_xml_element.c). */
#ifndef DAEMON_DAV_XML_INT_H
#define DAEMON_DAV_XML_INT_H

#include "daemon/dav_xml.h"

enum dav_element {
	EL_OTHER,
	EL_MULTISTATUS,
	EL_RESPONSE,
	EL_HREF,
	EL_STATUS,
	EL_PROPSTAT,
	EL_PROP,
	EL_ETAG,
	EL_TYPE,
	EL_COLLECTION,
	EL_PRINCIPAL,
	EL_TOKEN,
	EL_ERROR,
	EL_EXISTS,
	EL_QUOTA,
	EL_CALENDAR,
	EL_DATA,
	EL_HOME,
	EL_COMPONENTS,
	EL_COMPONENT,
	EL_UID_TAKEN,
	EL_TOO_LARGE
};

/* What a propstat says. */
struct dav_said {
	int status;
	struct dav_facts facts;
	size_t n_text;
	char etag[DAV_ETAG], token[DAV_TOKEN], principal[DAV_HREF];
	size_t n_homes;
	char homes[DAV_HOMES_MAX][DAV_HREF];
};

enum dav_trouble { NO_TROUBLE, DOCTYPE, TOO_DEEP, TOO_MANY, NO_MEMORY };

struct dav_reading {
	struct dav_xml *out;
	enum dav_trouble trouble; /* any but none ends the reading */
	size_t depth;
	enum dav_element open[DAV_XML_DEPTH];
	size_t gathers; /* depth of the element whose text is gathered, 0: none */
	char *text;
	size_t n, room;
	size_t first; /* response under way: its first entry; it may have several hrefs */
	int status; /* its own */
	struct dav_said said;
};

/* An element begins: attributes are n times five pointers: name, prefix, namespace, value, end of the value. */
void dav_element_begin(struct dav_reading *r, const char *name, const char *ns, int n,
	const unsigned char **attributes);
void dav_element_text(struct dav_reading *r, const char *bytes, size_t n);
void dav_element_end(struct dav_reading *r);
void dav_reading_free(struct dav_reading *r);

#endif
