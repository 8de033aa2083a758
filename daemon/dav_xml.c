#include "daemon/dav_xml_int.h"

#include <libxml/parserInternals.h>
#include <string.h>

#include "core/mem.h"

/* Method: libxml2 calls here at each beginning and end of an element; what they mean is dav_xml_element.c's. */

struct parsing {
	xmlParserCtxtPtr parser;
	struct dav_reading meaning;
	int namespaces, declared[DAV_XML_DEPTH]; /* that are open, by each level */
};

/* ---- what libxml2 calls ---- */

static void end_on_trouble(struct parsing *p)
{
	if (p->meaning.trouble != NO_TROUBLE)
		xmlStopParser(p->parser);
}

static void on_start(void *arg, const xmlChar *name, const xmlChar *prefix, const xmlChar *ns,
	int n_ns, const xmlChar **nss, int n, int n_default, const xmlChar **attributes)
{
	struct parsing *p = arg;
	size_t depth = p->meaning.depth;
	(void)prefix, (void)nss, (void)n_default;
	if (p->meaning.trouble == NO_TROUBLE)
		dav_element_begin(&p->meaning, (const char *)name, (const char *)ns, n, attributes);
	if (p->meaning.trouble == NO_TROUBLE) {
		p->declared[depth] = n_ns;
		p->namespaces += n_ns;
		if (p->namespaces > DAV_XML_NAMESPACES)
			p->meaning.trouble = TOO_DEEP;
	}
	end_on_trouble(p);
}

static void on_end(void *arg, const xmlChar *name, const xmlChar *prefix, const xmlChar *ns)
{
	struct parsing *p = arg;
	(void)name, (void)prefix, (void)ns;
	if (p->meaning.trouble == NO_TROUBLE) {
		p->namespaces -= p->declared[p->meaning.depth - 1];
		dav_element_end(&p->meaning);
	}
	end_on_trouble(p);
}

static void on_text(void *arg, const xmlChar *bytes, int n)
{
	struct parsing *p = arg;
	if (p->meaning.trouble == NO_TROUBLE)
		dav_element_text(&p->meaning, (const char *)bytes, (size_t)n);
	end_on_trouble(p);
}

static void on_doctype(
	void *arg, const xmlChar *name, const xmlChar *public_id, const xmlChar *system_id)
{
	struct parsing *p = arg;
	(void)name, (void)public_id, (void)system_id;
	p->meaning.trouble = DOCTYPE;
	end_on_trouble(p);
}

/* ---- tags ---- */

/* libxml2 looks for doubled attributes in a time that grows with the square of their number. */
static const char *end_of_tag(const char *at, const char *end)
{
	char quote = 0;
	for (const char *c = at; c < end && c - at < DAV_XML_TAG; c++)
		if (quote)
			quote = *c == quote ? 0 : quote;
		else if (*c == '"' || *c == '\'')
			quote = *c;
		else if (*c == '>')
			return c + 1;
	return NULL;
}

static const char *after(const char *at, const char *end, const char *mark)
{
	const char *found = memmem(at, (size_t)(end - at), mark, strlen(mark));
	return found ? found + strlen(mark) : end;
}

static bool begins(const char *at, const char *end, const char *with)
{
	return (size_t)(end - at) >= strlen(with) && memcmp(at, with, strlen(with)) == 0;
}

/* libxml2 tells UTF-16 and others by their first bytes, whatever it is bidden; tags could not be told in those. */
static bool is_utf8(const char *bytes, size_t n)
{
	bool mark = begins(bytes, bytes + n, "\xef\xbb\xbf");
	return mark ||
	       (n >= 2 && (bytes[0] == '<' || strchr(" \t\r\n", bytes[0])) && bytes[0] && bytes[1]);
}

static bool tags_are_short(const char *bytes, size_t n)
{
	const char *at = bytes, *end = bytes + n;
	while (at && at < end) {
		at = memchr(at, '<', (size_t)(end - at));
		if (!at)
			return true;
		if (begins(at, end, "<!--"))
			at = after(at + 4, end, "-->");
		else if (begins(at, end, "<![CDATA["))
			at = after(at, end, "]]>");
		else if (begins(at, end, "<?"))
			at = after(at, end, "?>");
		else
			at = end_of_tag(at, end);
	}
	return at != NULL;
}

/* ---- reading ---- */

static void silent(void *arg, xmlErrorPtr error)
{
	(void)arg, (void)error;
}

static enum rc told(const struct parsing *p, const char *host, struct err *err)
{
	const xmlError *last = xmlCtxtGetLastError(p->parser);
	switch (p->meaning.trouble) {
	case NO_MEMORY:
		return err_set(err, RC_MEM, "%s: out of memory", host);
	case DOCTYPE:
		return err_set(err, RC_INPUT,
			"%s: answers in XML with a document type, which no calendar server sends: "
			"is it the right address?",
			host);
	case TOO_DEEP:
		return err_set(err, RC_INPUT,
			"%s: answers in XML of more than %d levels or %d namespaces: is it the "
			"right address?",
			host, DAV_XML_DEPTH, DAV_XML_NAMESPACES);
	case TOO_MANY:
		return err_set(err, RC_INPUT,
			"%s: more than %d entries: a calendar of its own for these", host,
			DAV_ENTRIES_MAX);
	case NO_TROUBLE:
		break;
	}
	if (last && last->code == XML_ERR_NO_MEMORY)
		return err_set(err, RC_MEM, "%s: out of memory", host);
	return err_set(err, RC_INPUT,
		"%s: its answer is no XML, from line %d on: is it the address of a CalDAV server?",
		host, last ? last->line : 1);
}

static xmlParserCtxtPtr new_parser(const char *bytes, size_t n, struct parsing *arg)
{
	xmlParserCtxtPtr p = xmlCreateMemoryParserCtxt(bytes, (int)n);
	if (!p)
		return NULL;
	*p->sax = (xmlSAXHandler){
		.initialized = XML_SAX2_MAGIC,
		.internalSubset = on_doctype,
		.startElementNs = on_start,
		.endElementNs = on_end,
		.characters = on_text,
		.ignorableWhitespace = on_text,
		.cdataBlock = on_text,
		.serror = silent,
	};
	(void)xmlCtxtUseOptions(p,
		XML_PARSE_NONET | XML_PARSE_NOERROR | XML_PARSE_NOWARNING | XML_PARSE_IGNORE_ENC);
	p->userData = arg;
	return p;
}

enum rc dav_xml_read(
	const char *host, const char *bytes, size_t n, struct dav_xml *out, struct err *err)
{
	struct parsing r = { .meaning = { .out = out } };
	enum rc rc = RC_OK;
	*out = (struct dav_xml){ 0 };
	if (n == 0)
		return err_set(err, RC_INPUT,
			"%s: its answer is empty: is it the address of a CalDAV server?", host);
	if (n > DAV_ANSWER_MAX || !is_utf8(bytes, n) || !tags_are_short(bytes, n))
		return err_set(err, RC_INPUT,
			"%s: its answer is no XML that a CalDAV server sends: is it the right "
			"address?",
			host);
	r.parser = new_parser(bytes, n, &r);
	if (!r.parser)
		return err_set(err, RC_MEM, "%s: out of memory", host);
	int bad = xmlParseDocument(r.parser);
	if (r.meaning.trouble != NO_TROUBLE || bad || !r.parser->wellFormed ||
		!r.parser->nsWellFormed)
		rc = told(&r, host, err);
	dav_reading_free(&r.meaning);
	xmlFreeDoc(r.parser->myDoc); /* made for an entity, though nobody asked for it */
	xmlFreeParserCtxt(r.parser);
	return rc;
}

void dav_xml_free(struct dav_xml *x)
{
	for (size_t i = 0; i < x->n; i++)
		mem_free(x->facts[i].text);
	mem_free(x->entries);
	mem_free(x->facts);
	*x = (struct dav_xml){ 0 };
}

void dav_end(void)
{
	xmlCleanupParser();
}
