#include "tests/unit/support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "daemon/dav_int.h"
#include "tests/unit/faulty_mem.h"

static enum rc read_text(const char *text, struct dav_xml *x, struct err *err)
{
	return dav_xml_read("host.example", text, strlen(text), x, err);
}

static void refused(const char *text, size_t n, const char *words)
{
	struct dav_xml x;
	struct err err = { 0 };
	enum rc rc = dav_xml_read("host.example", text, n, &x, &err);
	dav_xml_free(&x);
	if (rc != RC_INPUT || !strstr(err.text, words) ||
		strncmp(err.text, "host.example: ", 14) != 0)
		fail_msg("%d, \"%s\", not \"%s\": %.100s", (int)rc, err.text, words, text);
}

/* ---- answers as the two servers write them ---- */

/* Radicale 3.1.8: DAV: as the default namespace. */
static const char default_namespace[] =
	"<?xml version='1.0' encoding='utf-8'?>\n"
	"<multistatus xmlns=\"DAV:\" xmlns:C=\"urn:ietf:params:xml:ns:caldav\"><response>"
	"<href>/bob/</href><propstat><prop><resourcetype><principal /><collection /></resourcetype>"
	"<current-user-principal><href>/bob/</href></current-user-principal><C:calendar-home-set>"
	"<href>/bob/</href></C:calendar-home-set></prop><status>HTTP/1.1 200 OK</status></propstat>"
	"<propstat><prop><C:supported-calendar-component-set /><sync-token /></prop>"
	"<status>HTTP/1.1 404 Not Found</status></propstat></response><response>"
	"<href>/bob/to%20do/</href><propstat><prop><resourcetype><C:calendar /><collection />"
	"</resourcetype><C:supported-calendar-component-set><C:comp name=\"VTODO\" />"
	"</C:supported-calendar-component-set><sync-token>http://radicale.org/ns/sync/1</"
	"sync-token>"
	"</prop><status>HTTP/1.1 200 OK</status></propstat></response></multistatus>";

static void a_home_in_the_default_namespace(void **state)
{
	(void)state;
	struct dav_xml x;
	struct err err = { 0 };
	OK(read_text(default_namespace, &x, &err), &err);
	assert_true(x.multistatus);
	assert_int_equal(x.n, 2);
	assert_string_equal(x.principal, "/bob/");
	assert_int_equal(x.n_homes, 1);
	assert_string_equal(x.homes[0], "/bob/");
	assert_string_equal(x.entries[1].href, "/bob/to%20do/");
	assert_true(x.facts[0].found && x.facts[0].collection && !x.facts[0].calendar);
	assert_false(x.facts[0].limited); /* said with 404 */
	assert_true(x.facts[1].calendar && x.facts[1].limited && x.facts[1].todos);
	assert_false(x.facts[1].events);
	assert_string_equal(x.token, "http://radicale.org/ns/sync/1");
	dav_xml_free(&x);
}

/* xandikos 0.2.8: prefixes of its own, the status before the properties. */
static const char own_prefixes[] =
	"<ns0:multistatus xmlns:ns0=\"DAV:\" xmlns:ns1=\"urn:ietf:params:xml:ns:caldav\">"
	"<ns0:response><ns0:href>/user/calendars/calendar/a.ics</ns0:href><ns0:propstat>"
	"<ns0:status>HTTP/1.1 200 OK</ns0:status><ns0:prop><ns0:getetag>\"2e19\"</ns0:getetag>"
	"<ns1:calendar-data>BEGIN:VCALENDAR&#13;\nSUMMARY:a &lt; b &amp; c\r\nEND:VCALENDAR\n"
	"</ns1:calendar-data></ns0:prop></ns0:propstat></ns0:response>"
	"<ns0:response><ns0:href>/user/calendars/calendar/b.ics</ns0:href>"
	"<ns0:status>HTTP/1.1 404 Not Found</ns0:status></ns0:response>"
	"<ns0:sync-token>ae44</ns0:sync-token></ns0:multistatus>";

static void texts_with_prefixes_of_its_own(void **state)
{
	(void)state;
	struct dav_xml x;
	struct err err = { 0 };
	OK(read_text(own_prefixes, &x, &err), &err);
	assert_int_equal(x.n, 2);
	assert_string_equal(x.entries[0].etag, "\"2e19\"");
	assert_string_equal(
		x.entries[0].text, "BEGIN:VCALENDAR\nSUMMARY:a < b & c\nEND:VCALENDAR\n");
	assert_int_equal(x.entries[0].n, strlen(x.entries[0].text));
	assert_int_equal(x.facts[0].status, 0);
	assert_int_equal(x.facts[1].status, 404);
	assert_null(x.entries[1].text);
	assert_string_equal(x.token, "ae44");
	dav_xml_free(&x);
}

/* RFC 4918 section 14.24: a response may have several hrefs and one status; RFC 6578 section 3.6: 507 for the collection. */
static void several_hrefs_share_a_status(void **state)
{
	(void)state;
	struct dav_xml x;
	struct err err = { 0 };
	OK(read_text("<multistatus xmlns='DAV:'><response><href>/c/a</href><href> /c/b\n</href>"
		     "<status>HTTP/1.1 404 Gone</status></response><response><href>/c/</href>"
		     "<status>HTTP/1.1 507 "
		     "x</status><error><number-of-matches-within-limits/></error>"
		     "</response><sync-token>t2</sync-token></multistatus>",
		   &x, &err),
		&err);
	assert_int_equal(x.n, 3);
	assert_string_equal(x.entries[1].href, "/c/b");
	assert_int_equal(x.facts[0].status, 404);
	assert_int_equal(x.facts[1].status, 404);
	assert_int_equal(x.facts[2].status, 507);
	dav_xml_free(&x);
}

static void conditions_of_errors(void **state)
{
	static const struct {
		const char *text;
		bool taken, full, exists;
	} rows[] = {
		{ "<C:no-uid-conflict/>", true, false, false }, /* RFC 4791 section 5.3.2.1 */
		{ "<C:no-uid-conflict><href>/c/x.ics</href></C:no-uid-conflict>", true, false,
			false },
		{ "<C:max-resource-size/>", false, true, false }, /* RFC 4791 section 5.3.2.1 */
		{ "<quota-not-exceeded/>", false, true, false }, /* RFC 4331 section 6 */
		{ "<resource-must-be-null/>", false, false, true }, /* RFC 4791 section 5.3.1.1 */
		{ "<valid-sync-token/>", false, false, false }, /* RFC 6578 section 3.2 */
		{ "<no-uid-conflict/>", false, false, false }, /* of another namespace */
	};
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		char text[256];
		struct dav_xml x;
		struct err err = { 0 };
		(void)snprintf(text, sizeof text,
			"<error xmlns='DAV:' xmlns:C='urn:ietf:params:xml:ns:caldav'>%s</error>",
			rows[i].text);
		OK(read_text(text, &x, &err), &err);
		assert_int_equal(x.uid_taken, rows[i].taken);
		assert_int_equal(x.full, rows[i].full);
		assert_int_equal(x.exists, rows[i].exists);
		assert_false(x.multistatus);
		dav_xml_free(&x);
	}
}

static void what_is_not_asked_for_is_passed_over(void **state)
{
	(void)state;
	struct dav_xml x;
	struct err err = { 0 };
	OK(read_text("\xef\xbb\xbf<?xml version='1.0'?><!-- hi > --><multistatus xmlns='DAV:'>"
		     "<x:response xmlns:x='other:'><href>/no</href></x:response>"
		     "<href>/no</href><response><href><![CDATA[/a&b]]></href><propstat><prop>"
		     "<x y='&lt;&#65;'><getetag>\"no\"</getetag></x><getetag>bare</getetag>"
		     "<displayname><href>/no</href></displayname>"
		     "</prop><status>HTTP/1.1 200 OK</status></propstat></response></multistatus>",
		   &x, &err),
		&err);
	assert_int_equal(x.n, 1);
	assert_string_equal(x.entries[0].href, "/a&b");
	assert_string_equal(x.entries[0].etag, "\"bare\"");
	dav_xml_free(&x);
}

/* ---- what is meant to break readers ---- */

/* from memory */
static const char billion_laughs[] =
	"<?xml version='1.0'?><!DOCTYPE m [<!ENTITY a 'ha'><!ENTITY b '&a;&a;&a;&a;&a;&a;&a;'>"
	"<!ENTITY c '&b;&b;&b;&b;&b;&b;&b;&b;'>]><multistatus xmlns='DAV:'>&c;</multistatus>";
static const char outside_entity[] =
	"<!DOCTYPE m [<!ENTITY x SYSTEM 'file:///etc/hostname'>]><multistatus xmlns='DAV:'>"
	"<response><href>&x;</href></response></multistatus>";
static const char outside_declarations[] =
	"<!DOCTYPE m [<!ENTITY % p SYSTEM 'file:///etc/hostname'>%p;]><multistatus xmlns='DAV:'/>";

static void document_types_are_refused(void **state)
{
	static const char *const texts[] = {
		billion_laughs,
		"<!DOCTYPE m SYSTEM 'http://127.0.0.1:9/x.dtd'><multistatus xmlns='DAV:'/>",
		outside_entity,
		outside_declarations,
		"<!DOCTYPE html><html><body>Log in</body></html>",
	};
	(void)state;
	for (size_t i = 0; i < COUNT(texts); i++)
		refused(texts[i], strlen(texts[i]), "with a document type");
}

static void broken_xml_is_refused(void **state)
{
	static const char *const texts[] = {
		"<multistatus xmlns='DAV:'><response>",
		"<multistatus xmlns='DAV:'><response></multistatus>",
		"<multistatus xmlns='DAV:'>&unknown;</multistatus>",
		"<multistatus xmlns='DAV:'>\xff\xfe</multistatus>",
		"<multistatus xmlns='DAV:'>&#0;</multistatus>",
		"<D:multistatus/>",
		"<html><body><p>Log in<br></body></html>",
		"<?xml version='1.0' encoding='UTF-7'?><m xmlns='DAV:'>\xe4</m>",
	};
	(void)state;
	for (size_t i = 0; i < COUNT(texts); i++)
		refused(texts[i], strlen(texts[i]), "its answer is no XML, from line 1 on");
	refused("", 0, "its answer is empty");
	refused("{\"no\": \"xml\"}", 13, "no XML that a CalDAV server sends");
	for (size_t n = 1; n < sizeof default_namespace - 1; n++) /* cut anywhere */
		refused(default_namespace, n, "no XML");
}

/* What libxml2 would tell by its first bytes (XML 1.0 appendix F.1), and where tags could not be counted. */
static void other_encodings_are_refused(void **state)
{
	static const struct {
		const char *bytes;
		size_t n;
	} rows[] = {
		{ "<\0m\0 \0x\0m\0l\0n\0s\0=\0'\0D\0A\0V\0:\0'\0/\0>\0", 36 },
		{ "\xff\xfe<\0m\0/\0>\0", 10 }, { "\xfe\xff\0<\0m\0/\0>", 10 },
		{ "\0<\0?\0x\0m\0l", 10 }, { "\x4c\x6f\xa7\x94\x93", 5 }, /* EBCDIC */
	};
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++)
		refused(rows[i].bytes, rows[i].n, "no XML");
}

static void fill(char *to, size_t *n, const char *with, size_t times)
{
	for (size_t i = 0; i < times; i++) {
		memcpy(to + *n, with, strlen(with));
		*n += strlen(with);
	}
}

static void what_is_too_large_is_refused(void **state)
{
	(void)state;
	char *text = calloc(DAV_ANSWER_MAX + 16, 1);
	static const char open[] = "<multistatus xmlns='DAV:'>",
			  entry[] = "<response><href>/a</href></response>";
	size_t n = 0;
	assert_non_null(text);
	fill(text, &n, open, 1); /* nesting */
	fill(text, &n, "<a>", 100000);
	refused(text, n, "more than 64 levels");
	n = 0;
	fill(text, &n, open, 1); /* a name of a megabyte */
	fill(text, &n, "<", 1);
	fill(text, &n, "abcdefgh", 131072);
	fill(text, &n, "/></multistatus>", 1);
	refused(text, n, "no XML");
	n = 0;
	fill(text, &n, open, 1); /* attributes, whose names are compared each with each */
	fill(text, &n, "<a", 1);
	for (int i = 0; i < 800000; i++)
		n += (size_t)snprintf(text + n, 16, " a%d='>'", i);
	fill(text, &n, "/></multistatus>", 1);
	clock_t begun = clock();
	refused(text, n, "no XML");
	assert_true(clock() - begun < CLOCKS_PER_SEC);
	n = 0;
	fill(text, &n, open, 1);
	fill(text, &n, entry, DAV_ENTRIES_MAX + 1);
	fill(text, &n, "</multistatus>", 1);
	refused(text, n, "more than 20000 entries");
	n = 0;
	fill(text, &n, open, 1); /* namespaces, which are looked up one by one */
	for (int level = 0; level < 60; level++) {
		fill(text, &n, "<a", 1);
		for (int i = 0; i < 500; i++)
			n += (size_t)snprintf(text + n, 32, " xmlns:n%d_%d='u'", level, i);
		fill(text, &n, ">", 1);
	}
	fill(text, &n, "<n0_0:a/>", 1500000);
	fill(text, &n, "</a>", 60);
	fill(text, &n, "</multistatus>", 1);
	begun = clock();
	refused(text, n, "64 namespaces");
	assert_true(clock() - begun < CLOCKS_PER_SEC);
	free(text);
}

static void long_values_count_as_none(void **state)
{
	(void)state;
	char text[8192], path[DAV_HREF + 1];
	struct dav_xml x;
	struct err err = { 0 };
	memset(path, 'p', DAV_HREF);
	path[DAV_HREF] = '\0';
	(void)snprintf(text, sizeof text,
		"<multistatus xmlns='DAV:'><response><href>%s</href><propstat><prop><getetag>\"%s\""
		"</getetag><sync-token>%s</sync-token></prop><status>HTTP/1.1 200 "
		"OK</status></propstat>"
		"</response></multistatus>",
		path, path, path);
	OK(read_text(text, &x, &err), &err);
	assert_int_equal(x.n, 1);
	assert_string_equal(x.entries[0].href, "");
	assert_string_equal(x.entries[0].etag, "");
	assert_string_equal(x.token, "");
	dav_xml_free(&x);
}

static void each_failing_allocation_is_told(void **state)
{
	(void)state;
	for (int nth = 0;; nth++) {
		struct dav_xml x;
		struct err err = { 0 };
		left = nth;
		enum rc rc = read_text(own_prefixes, &x, &err);
		bool untouched = left >= 0;
		left = -1;
		assert_int_equal(rc, untouched ? RC_OK : RC_MEM);
		dav_xml_free(&x);
		assert_int_equal(held, 0);
		if (untouched)
			break;
		assert_true(nth < 100);
	}
}

/* ---- entity tags, line ends ---- */

static void entity_tags(void **state)
{
	static const struct {
		const char *src, *text, *want;
	} rows[] = {
		{ "RFC 9110 section 8.8.3", "\"xyzzy\"", "\"xyzzy\"" },
		{ "RFC 9110 section 8.8.3, weak", "W/\"xyzzy\"", "" },
		{ "RFC 9110 section 8.8.3, empty", "\"\"", "" },
		{ "bare, quoted as common practice", "xyzzy", "\"xyzzy\"" },
		{ "blanks", " \"a\"\r\n", "\"a\"" },
		{ "RFC 9110 section 8.8.3: no quote within", "\"a\"b\"", "" },
		{ "a line end within would be a header of its own", "\"a\r\nX: b\"", "" },
		{ "no octets past ASCII of ours", "\"\xc3\xa4\"", "" },
	};
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		char got[DAV_ETAG];
		dav_etag(rows[i].text, strlen(rows[i].text), got);
		if (strcmp(got, rows[i].want) != 0)
			fail_msg("%s: %s", rows[i].src, got);
	}
}

static void line_ends(void **state)
{
	(void)state;
	char text[] = "a\r\nb\rc\n\r\r\nd\r";
	size_t n = dav_lines(text, sizeof text - 1);
	assert_int_equal(n, 10);
	assert_memory_equal(text, "a\nb\rc\n\r\nd\r", 10);
}

/* ---- addresses ---- */

static void the_same_address(void **state)
{
	static const struct {
		const char *a, *b;
		bool same;
	} rows[] = {
		{ "/c/a.ics", "/c/a.ics", true },
		{ "/c/a.ics", "/c/b.ics", false },
		{ "/c%20d/", "/c d", true },
		{ "https://a.example/c/%61.ics", "/c/a.ics", true },
		{ "https://a.example", "/", true },
		{ "/c/", "/c", true },
		{ "/c/", "/c/d", false },
		{ "/c/%c3%a4", "/c/%C3%A4", true },
		{ "/c/%C3%A4", "/c/\xc3\xa4", true },
		{ "/c%2Fd", "/c/d",
			false }, /* RFC 3986 section 2.2: a slash that is encoded is data */
		{ "/c/%2520", "/c/%20", false },
		{ "/c/%4", "/c/%4", true },
		{ "/a/http://b/c", "/c", false },
	};
	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++)
		if (dav_href_same(rows[i].a, rows[i].b) != rows[i].same ||
			dav_href_same(rows[i].b, rows[i].a) != rows[i].same)
			fail_msg("%s, %s", rows[i].a, rows[i].b);
	assert_true(dav_href_same_twice("/c/a%2520b.ics", "/c/a%20b.ics"));
	assert_false(dav_href_same_twice("/c/a%2520b.ics", "/c/a%2520b.ics"));
}

static void where_addresses_lead(void **state)
{
	static const struct {
		const char *href;
		enum dav_lead lead;
		const char *want;
	} rows[] = {
		{ "/c/a%20b.ics", LEADS_HERE, "/c/a%20b.ics" },
		{ "/c/a b\xc3\xa4.ics", LEADS_HERE, "/c/a%20b%C3%A4.ics" },
		{ "a.ics", LEADS_HERE, "/base/a.ics" },
		{ "https://cal.example/x/", LEADS_HERE, "/x/" },
		{ "HTTPS://CAL.EXAMPLE", LEADS_HERE, "/" },
		{ "http://cal.example:8080/x/", LEADS_HERE,
			"/x/" }, /* a proxy's inside; asked at home */
		{ "https://bad.example/x/", LEADS_ELSEWHERE, "bad.example" },
		{ "//bad.example/x/", LEADS_ELSEWHERE, "bad.example" },
		{ "https://cal.example@bad.example/x/", LEADS_ELSEWHERE, "bad.example" },
		{ "https://cal.example.bad.example/", LEADS_ELSEWHERE, "cal.example.bad.example" },
		{ "ftp://cal.example/x", LEADS_NOWHERE, NULL },
		{ "", LEADS_NOWHERE, NULL },
		{ "/x\r\nHost: bad.example", LEADS_HERE, "/x%0D%0AHost:%20bad.example" },
	};
	struct fetch_origin home;
	char out[DAV_HREF], longest[DAV_HREF + 2];
	(void)state;
	assert_true(fetch_origin_of("https://cal.example", &home));
	for (size_t i = 0; i < COUNT(rows); i++)
		if (dav_lead(&home, "/base/c", rows[i].href, out, sizeof out) != rows[i].lead ||
			(rows[i].want && strcmp(out, rows[i].want) != 0))
			fail_msg("%s: %s", rows[i].href, out);
	memset(longest, 'a', sizeof longest);
	longest[0] = '/';
	longest[sizeof longest - 1] = '\0';
	assert_int_equal(dav_lead(&home, "/", longest, out, sizeof out), LEADS_NOWHERE);
}

static void segments(void **state)
{
	char path[64] = "/home", name[16];
	(void)state;
	assert_true(dav_append_segment(path, sizeof path, "to do/\xc3\xa4"));
	assert_string_equal(path, "/home/to%20do%2F%C3%A4");
	assert_true(dav_append_segment(path, sizeof path, ""));
	assert_string_equal(path, "/home/to%20do%2F%C3%A4/");
	assert_true(dav_last_segment("/home/to%20do/", name, sizeof name));
	assert_string_equal(name, "to do");
	assert_true(dav_last_segment("/", name, sizeof name));
	assert_string_equal(name, "");
	assert_false(dav_last_segment("/0123456789abcdef", name, sizeof name));
	char full[8] = "/home";
	assert_false(dav_append_segment(full, sizeof full, "abc"));
}

/* XML 1.0 section 2.4 */
static void texts_are_escaped(void **state)
{
	(void)state;
	struct dav_text t = { 0 };
	dav_text_escaped(&t, "a<b>&\"c\x01\t\xc3\xa4");
	assert_string_equal(t.bytes, "a&lt;b&gt;&amp;&quot;c\t\xc3\xa4");
	mem_free(t.bytes);
}

static int end(void **state)
{
	(void)state;
	dav_end();
	return 0;
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_home_in_the_default_namespace),
		cmocka_unit_test(texts_with_prefixes_of_its_own),
		cmocka_unit_test(several_hrefs_share_a_status),
		cmocka_unit_test(conditions_of_errors),
		cmocka_unit_test(what_is_not_asked_for_is_passed_over),
		cmocka_unit_test(document_types_are_refused),
		cmocka_unit_test(broken_xml_is_refused),
		cmocka_unit_test(other_encodings_are_refused),
		cmocka_unit_test(what_is_too_large_is_refused),
		cmocka_unit_test(long_values_count_as_none),
		cmocka_unit_test(each_failing_allocation_is_told),
		cmocka_unit_test(entity_tags),
		cmocka_unit_test(line_ends),
		cmocka_unit_test(the_same_address),
		cmocka_unit_test(where_addresses_lead),
		cmocka_unit_test(segments),
		cmocka_unit_test(texts_are_escaped),
	};
	return cmocka_run_group_tests(tests, NULL, end);
}
