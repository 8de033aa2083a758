#include "tests/unit/support.h"

#include <stdio.h>
#include <string.h>

#include "core/mem.h"
#include "daemon/mime.h"
#include "daemon/reply.h"
#include "daemon/state.h"

/* ---- mail ---- */

#define EVENT                                                                                      \
	"UID:0b5c9d5e\nSEQUENCE:2\nDTSTAMP:20260420T070000Z\n"                                     \
	"ATTENDEE;PARTSTAT=ACCEPTED:mailto:school@harbour.example\n"
#define CALENDAR "BEGIN:VCALENDAR\nMETHOD:REPLY\nBEGIN:VEVENT\n" EVENT "END:VEVENT\nEND:VCALENDAR\n"

static void read_mail(const char *text, struct mime *m)
{
	struct err err = { 0 };
	OK(mime_read(text, strlen(text), m, &err), &err);
}

/* RFC 5322 2.2.3 (folding), 3.4; RFC 2047 4.1, 4.2, 6.2 */
static void headers_are_unfolded_and_decoded(void **state)
{
	(void)state;
	static const struct {
		const char *text, *from, *subject, *id;
	} rows[] = {
		{ "From: school@harbour.example\r\nSubject: Re: stop\r\nMessage-ID: <a@b>\r\n\r\n",
			"school@harbour.example", "Re: stop", "<a@b>" },
		{ "from:\n \"A, <x@y.example>\"\n\t<school@harbour.example>\nSUBJECT:st\n op\n\n",
			"school@harbour.example", "st op", "" },
		{ "Subject: =?utf-8?b?c3Q=?=\r\n =?UTF-8?Q?o=70?= =?x?Q?_a?= b\r\n\r\n", "",
			"stop a b", "" },
		{ "Subject: =?UTF-8?B?c3RvcA?\nFrom: a@b.example, c@d.example\n\n", "",
			"=?UTF-8?B?c3RvcA?", "" },
		{ "Subject: =?UTF-8?Q?a=0D=0ABcc=3A_x?=\nMessage-ID: <a b>\n\n", "", "a Bcc: x",
			"" },
		{ "Subject: =?UTF-8?Q?=FF=C3?=\n\n", "", "\xef\xbf\xbd\xef\xbf\xbd", "" },
		{ "X: y\n\nFrom: body@b.example\nSubject: body\n", "", "", "" },
		{ "", "", "", "" },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct mime m;
		read_mail(rows[i].text, &m);
		assert_string_equal(m.from, rows[i].from);
		assert_string_equal(m.subject, rows[i].subject);
		assert_string_equal(m.message_id, rows[i].id);
		assert_null(m.calendar);
		mime_done(&m);
	}
}

/* RFC 2045 6.7, 6.8; RFC 2046 5.1.1; base64 by base64(1) */
static void the_calendar_is_found_and_decoded(void **state)
{
	(void)state;
	static const struct {
		const char *what, *text, *want;
	} rows[] = {
		{ "alone", "Content-Type: text/calendar; method=REPLY\n\nA:b\n", "A:b\n" },
		{ "base64",
			"Content-Type: TEXT/Calendar\nContent-Transfer-Encoding: "
			"BASE64\n\nQTpi\nDQ o\n=",
			"A:b\r\n" },
		{ "quoted-printable",
			"Content-Transfer-Encoding: quoted-printable\nContent-Type: "
			"text/calendar\n\nA=3A=\r\nb=\n=c3=A4=\n=Q",
			"A:b\xc3\xa4=Q" },
		{ "in parts",
			"Content-Type: multipart/mixed; x=\"; boundary=no\"; boundary=\"a "
			"b\"\n\npreamble\n--a b\n\ntext\n--a b\n"
			"Content-Type: multipart/alternative; boundary=c\n\n--c\nContent-Type: "
			"text/html\n\nA\n--c\n"
			"Content-Type: text/calendar\n\nA:b\n--c--\n--a b--\nend\n",
			"A:b\n" },
		{ "the first of two",
			"Content-Type: multipart/mixed;\n boundary=a\n\n--a\nContent-Type: "
			"text/calendar\n\nA:1\n--a\n"
			"Content-Type: text/calendar\n\nA:2\n--a--\n",
			"A:1\n" },
		{ "cut short",
			"Content-Type: multipart/mixed; boundary=a\n\n--a\nContent-Type: "
			"text/calendar\n\nA:b",
			"A:b" },
		{ "behind the end",
			"Content-Type: multipart/mixed; boundary=a\n\n--a--\n--a\nContent-Type: "
			"text/calendar\n\nA:b",
			NULL },
		{ "a line that only begins like a boundary",
			"Content-Type: multipart/mixed; boundary=a\n\n--a\nContent-Type: "
			"text/calendar\n\n--ab\n--a \n",
			"--ab\n" },
		{ "attached mail",
			"Content-Type: message/rfc822\n\nContent-Type: text/calendar\n\nA:b\n",
			NULL },
		{ "no boundary",
			"Content-Type: multipart/mixed\n\n--\nContent-Type: text/calendar\n\nA:b\n",
			NULL },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct mime m;
		read_mail(rows[i].text, &m);
		if ((m.calendar != NULL) != (rows[i].want != NULL))
			fail_msg("%s: %s", rows[i].what, m.calendar ? m.calendar : "none");
		if (m.calendar && strcmp(m.calendar, rows[i].want) != 0)
			fail_msg("%s: %s", rows[i].what, m.calendar);
		assert_int_equal(m.n, m.calendar ? strlen(m.calendar) : 0);
		mime_done(&m);
	}
}

static void mail_has_caps(void **state)
{
	(void)state;
	struct mime m;
	struct err err[3] = { 0 };
	char *text = mem_new(MIME_MAX + 2, 1);
	size_t n = 0;
	assert_non_null(text);
	memset(text, 'a', MIME_MAX + 1);
	assert_int_equal(mime_read(text, MIME_MAX + 1, &m, &err[0]), RC_INPUT);
	assert_string_equal(err[0].text, "mail: more than 1048576 bytes");
	OK(mime_read(text, MIME_MAX, &m, NULL), NULL);
	mime_done(&m);
	for (int i = 0; i < 12; i++)
		n += (size_t)snprintf(text + n, MIME_MAX - n,
			"Content-Type: multipart/mixed; boundary=b%d\n\n--b%d\n", i, i);
	assert_int_equal(mime_read(text, n, &m, &err[1]), RC_INPUT);
	assert_string_equal(err[1].text, "mail: parts more than 8 deep");
	n = (size_t)snprintf(text, MIME_MAX, "Content-Type: multipart/mixed; boundary=b\n\n");
	for (int i = 0; i < 80; i++)
		n += (size_t)snprintf(text + n, MIME_MAX - n, "--b\n\nx\n");
	assert_int_equal(mime_read(text, n, &m, &err[2]), RC_INPUT);
	assert_string_equal(err[2].text, "mail: more than 64 parts");
	mem_free(text);
}

/* ---- answers ---- */

/* RFC 5546 3.2.3, RFC 5545 3.1 (folding, parameters), 3.2.12 (PARTSTAT) */
static void an_answer_is_read(void **state)
{
	(void)state;
	static const char text[] =
		"BEGIN:VCALENDAR\r\nPRODID:x\r\nmethod:reply\r\nBEGIN:VTIMEZONE\r\nBEGIN:"
		"STANDARD\r\n"
		"END:STANDARD\r\nEND:VTIMEZONE\r\nBEGIN:VEVENT\r\nUID:0b5c\r\n 9d5e\r\n"
		"ATTENDEE;CN=\"x:y;PARTSTAT=DECLINED\";partstat=Tentative;ROLE=CHAIR:MAILTO:\r\n"
		"\tschool@harbour.example\r\nDTSTAMP:20260420T070000Z\r\nSEQUENCE:2\r\n"
		"BEGIN:VALARM\r\nUID:other\r\nEND:VALARM\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n";
	struct reply r;
	struct err err = { 0 };
	OK(reply_read(text, sizeof text - 1, &r, &err), &err);
	assert_string_equal(r.uid, "0b5c9d5e");
	assert_string_equal(r.attendee, "school@harbour.example");
	assert_int_equal(r.answer, ANSWER_TENTATIVE);
	assert_int_equal(r.sequence, 2);
	assert_int_equal(r.stamp_s, 1776668400); /* date -u -d 2026-04-20T07:00 +%s */
}

static void what_is_no_answer_is_told(void **state)
{
	(void)state;
	static const struct {
		const char *text, *why;
	} rows[] = {
		{ "", "answer: not METHOD:REPLY" },
		{ "BEGIN:VCALENDAR\nMETHOD:COUNTER\nBEGIN:VEVENT\n" EVENT "END:VEVENT\n",
			"answer: not METHOD:REPLY" },
		{ "BEGIN:VCALENDAR\nMETHOD:REPLY\nBEGIN:VTODO\n" EVENT "END:VTODO\n",
			"answer: not one event" },
		{ "BEGIN:VCALENDAR\nMETHOD:REPLY\nBEGIN:VEVENT\n" EVENT
		  "END:VEVENT\nBEGIN:VEVENT\nEND:VEVENT\n",
			"answer: not one event" },
		{ "BEGIN:VCALENDAR\nMETHOD:REPLY\nBEGIN:VEVENT\nRECURRENCE-ID:20260420\n" EVENT
		  "END:VEVENT\n",
			"answer: about one of several times, which we never have" },
		{ "BEGIN:VCALENDAR\nMETHOD:REPLY\nBEGIN:VEVENT\nDTSTAMP:20260420T070000Z\n",
			"answer: no UID" },
		{ "BEGIN:VCALENDAR\nMETHOD:REPLY\nBEGIN:VEVENT\nUID:a\nDTSTAMP:20261320T070000Z\n",
			"answer: no DTSTAMP in UTC" },
		{ "BEGIN:VCALENDAR\nMETHOD:REPLY\nBEGIN:VEVENT\nUID:a\nDTSTAMP:20260420T070000\n",
			"answer: no DTSTAMP in UTC" },
		{ "BEGIN:VCALENDAR\nMETHOD:REPLY\nBEGIN:VEVENT\n" EVENT EVENT "END:VEVENT\n",
			"answer: not one attendee" },
		{ "BEGIN:VCALENDAR\nMETHOD:REPLY\nBEGIN:VEVENT\nUID:a\nDTSTAMP:"
		  "20260420T070000Z\nATTENDEE:tel:1\n",
			"answer: its attendee is no mail address" },
	};
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct reply r;
		struct err err = { 0 };
		assert_int_equal(
			reply_read(rows[i].text, strlen(rows[i].text), &r, &err), RC_INPUT);
		assert_string_equal(err.text, rows[i].why);
	}
	struct reply r;
	OK(reply_read(CALENDAR, sizeof CALENDAR - 1, &r, NULL), NULL);
	assert_int_equal(r.answer, ANSWER_ACCEPTED);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(headers_are_unfolded_and_decoded),
		cmocka_unit_test(the_calendar_is_found_and_decoded),
		cmocka_unit_test(mail_has_caps),
		cmocka_unit_test(an_answer_is_read),
		cmocka_unit_test(what_is_no_answer_is_told),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
