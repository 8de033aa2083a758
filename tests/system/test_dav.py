#!/usr/bin/env python3
"""Talking CalDAV (daemon/dav.h, by dav_talk) with real servers, Radicale and Xandikos, and with one that does all that servers
should not. RFC numbers stand beside what they ask for."""
import base64
import contextlib
import functools
import json
import pathlib
import re
import resource
import signal
import socket
import ssl
import subprocess
import tempfile
import threading
import time
import urllib.error
import urllib.request

import bench
from bench import SANITIZED, main, program
from davserver import Radicale, Xandikos
from webserver import Authority, Web

MULTISTATUS = '<?xml version="1.0"?><multistatus xmlns="DAV:" xmlns:C="urn:ietf:params:xml:ns:caldav">%s</multistatus>'
FOLDER = tempfile.TemporaryDirectory(prefix="seasond-dav-")


@functools.lru_cache(None)
def authority():
    return Authority()


@functools.lru_cache(None)
def certificate():
    return authority().certificate("localhost", "DNS:localhost")


def secret(text):
    path = pathlib.Path(FOLDER.name) / ("secret-" + text)
    if not path.exists():
        path.touch(0o600)
        path.write_text(text + "\n")
    return str(path)


class Account:
    """How dav_talk gets in."""

    def __init__(self, url, ca=None, user=None, password=None, limit_s=20):
        self.url, self.words = url, ["--limit", str(limit_s)]
        self.user, self.password = user, password
        self.ca = ca
        if ca:
            self.words += ["--ca", str(ca)]
        if user:
            self.words += ["--user", user, "--credential", secret(password)]

    def at(self, path):
        return Account(self.url.rstrip("/") + "/" + path, self.ca, self.user, self.password)

    def talk(self, *calls):
        """Each call a list of words; the answers."""
        words = list(calls[0])
        for call in calls[1:]:
            words += ["then", *call]
        child = subprocess.run([program("tests/system/dav_talk"), *self.words, self.url, *words], capture_output=True,
                               timeout=bench.LIMIT_S)
        self.kb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
        assert child.returncode == 0, child.stderr.decode()
        answers = [json.loads(line) for line in child.stdout.splitlines()]
        assert len(answers) == len(calls), answers
        for a in answers:
            assert (a["verdict"] == "OK") == (a["why"] == ""), a
            for hidden in (self.password, "/hidden"):
                assert not hidden or hidden not in a["why"], a
        return answers

    def one(self, *call):
        return self.talk(call)[0]

    def person(self, method, path, body=None, **headers):
        """Another client of the account, which shares no code with ours: status, headers, body."""
        request = urllib.request.Request(self.url + path, None if body is None else body.encode(), method=method,
                                         headers={k.replace("_", "-"): v for k, v in headers.items()})
        if self.user:
            pair = base64.b64encode(("%s:%s" % (self.user, self.password)).encode()).decode()
            request.add_header("Authorization", "Basic " + pair)
        context = ssl.create_default_context(cafile=str(self.ca)) if self.ca else None
        try:
            with urllib.request.urlopen(request, context=context) as answer:
                return answer.status, answer.headers, answer.read().decode()
        except urllib.error.HTTPError as error:
            return error.code, error.headers, error.read().decode()

    def person_puts(self, path, text):
        status, _, _ = self.person("PUT", path, text, Content_Type="text/calendar; charset=utf-8")
        assert status in (201, 204), status


def todo(uid, summary="Check humidity"):
    return ("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//bench//test//EN\r\nBEGIN:VTODO\r\nUID:%s\r\n"
            "DTSTAMP:20260101T000000Z\r\nSUMMARY:%s\r\nEND:VTODO\r\nEND:VCALENDAR\r\n" % (uid, summary))


def written(text, name="it.ics"):
    path = pathlib.Path(FOLDER.name) / name
    path.write_bytes(text.encode())
    return str(path)


@contextlib.contextmanager
def real():
    """Both servers: (account, path of its calendar home, server)."""
    with tempfile.TemporaryDirectory() as folder:
        with Radicale(folder, tls=certificate(), users={"bob": "swordfish", "eve": "x"}) as one, Xandikos(folder) as other:
            yield [(Account(one.url, authority().ca, "bob", "swordfish"), "bob/", one),
                   (Account(other.url), "user/calendars/", other)]


FIND = ("find", "todos", "bench", "The bench & <its> wood", "What wood asks for")


def hrefs(answer, gone=False):
    return sorted(e["href"] for e in answer["entries"] if e["gone"] == gone)


# ---- real servers ----

def test_a_calendar_is_made_once_and_found_from_wherever_one_comes():
    with real() as both:
        for account, home, server in both:
            first, second = account.talk(FIND, FIND)
            assert first["verdict"] == "OK" and first["made"], first
            assert first["url"] == account.url + home + "bench/", first
            assert (second["verdict"], second["made"], second["url"]) == ("OK", False, first["url"]), second
            for path in (home + "bench/", home + "bench", home, home.split("/")[0] + "/", ".well-known/caldav"):
                answer = account.at(path).one(*FIND)
                assert (answer["verdict"], answer["made"], answer["url"].rstrip("/")) == \
                    ("OK", False, first["url"].rstrip("/")), (path, answer)
            odd = account.one("find", "todos", "b\u00e4nk & more", "x", "")
            assert odd["made"] and odd["url"].endswith("/b%C3%A4nk%20%26%20more/"), odd
            assert not account.one("find", "todos", "b\u00e4nk & more", "x", "")["made"]
            _, _, listed = account.person("PROPFIND", home + "bench/", "<propfind xmlns='DAV:'><prop><displayname/></prop></propfind>",
                                          Depth="0", Content_Type="application/xml")
            assert "The bench &amp; &lt;its&gt; wood" in listed, listed


def test_a_calendar_of_another_kind_is_told():
    with real() as both:
        account, home, server = both[0]
        assert account.one(*FIND)["made"]
        for at in (account, account.at("bob/bench/")):
            answer = at.one("find", "events", "bench", "x", "")
            assert answer["verdict"] == "ODD" and 'takes no events: show = "todos"' in answer["why"], answer
        assert account.one("find", "events", "visits", "x", "")["made"]
        answer = account.one("find", "todos", "visits", "x", "")
        assert answer["verdict"] == "ODD" and 'takes no to-dos: show = "events"' in answer["why"], answer


def test_an_entry_is_put_changed_read_and_taken_away():
    with real() as both:
        for account, home, server in both:
            collection = account.one(*FIND)["url"]
            path = "/" + home + "bench/one.ics"
            first, again = account.talk(("put", path, "none", written(todo("one"))), ("put", path, "none", written(todo("one"))))
            assert first["verdict"] == "OK" and re.fullmatch('"[^"]+"', first["entries"][0]["etag"]), first
            assert first["entries"][0]["href"] == path
            assert again["verdict"] == "CHANGED", again
            etag = first["entries"][0]["etag"]
            _, headers, text = account.person("GET", path[1:])
            assert headers["ETag"] == etag and "UID:one" in text and "METHOD" not in text
            changed = account.one("put", collection + "one.ics", etag, written(todo("one", "Now")))
            assert changed["verdict"] == "OK" and changed["entries"][0]["etag"] not in ("", etag), changed
            late, gone = account.talk(("put", path, etag, written(todo("one", "Late"))), ("delete", path, etag))
            assert (late["verdict"], gone["verdict"]) == ("CHANGED", "CHANGED"), (late, gone)
            got = account.one("get", collection, path, "/" + home + "bench/two.ics")
            assert hrefs(got) == [path] and "SUMMARY:Now" in got["entries"][0]["text"] and "\r" not in got["entries"][0]["text"]
            assert got["entries"][0]["etag"] == changed["entries"][0]["etag"]
            taken = account.one("put", collection + "other.ics", "none", written(todo("one")))
            assert taken["verdict"] == "TAKEN" and "UID" in taken["why"], taken
            nowhere = account.one("put", "/" + home + "none/one.ics", "none", written(todo("one")))
            assert nowhere["verdict"] == "GONE", nowhere
            blind = account.one("put", path, "", written(todo("one", "Blind")))
            assert blind["verdict"] == "OK", blind
            away, twice = account.talk(("delete", path, blind["entries"][0]["etag"]), ("delete", path, ""))
            assert (away["verdict"], twice["verdict"]) == ("OK", "GONE"), (away, twice)
            assert account.person("GET", path[1:])[0] == 404


def test_what_people_change_is_told_once():
    with real() as both:
        for account, home, server in both:
            collection = account.one(*FIND)["url"]
            inside = home + "bench/"
            for name in ("a", "b%20%C3%A4", "c"):
                account.person_puts(inside + name + ".ics", todo("u" + name.replace("%", "")))
            everything = account.one("changes", collection, "")
            assert everything["verdict"] == "OK" and everything["whole"] and everything["token"], everything
            assert len(everything["entries"]) == 3 and all(e["etag"] for e in everything["entries"]), everything
            got = account.one("get", collection, *hrefs(everything))
            assert hrefs(got) == hrefs(everything) and all("BEGIN:VTODO" in e["text"] for e in got["entries"])
            quiet = account.one("changes", collection, everything["token"])
            assert (quiet["verdict"], quiet["whole"], quiet["entries"]) == ("OK", False, []), quiet
            account.person_puts(inside + "a.ics", todo("ua", "Changed"))
            account.person("DELETE", inside + "c.ics")
            news = account.one("changes", collection, quiet["token"])
            assert not news["whole"] and hrefs(news) == ["/" + inside + "a.ics"], news
            assert hrefs(news, gone=True) == ["/" + inside + "c.ics"], news
            broken = account.one("changes", collection, "no such token")
            assert broken["verdict"] == "OK" and broken["whole"] and len(broken["entries"]) == 2, broken
            gone = account.one("changes", "/" + home + "none/", news["token"])
            assert gone["verdict"] in ("GONE", "ODD") and gone["why"], gone


def test_an_entry_that_was_moved_is_found():
    with real() as both:
        for account, home, server in both:
            collection = account.one(*FIND)["url"]
            assert account.one("elsewhere", collection, "mo-ved")["entries"] == []
            assert account.one("find", "todos", "other", "x", "")["made"]
            account.person_puts(home + "other/mo-ved-too.ics", todo("mo-ved-too", "UID:mo-ved"))
            assert account.one("elsewhere", collection, "mo-ved")["entries"] == []
            account.person_puts(home + "other/x.ics", todo("mo-ved"))
            found = account.one("elsewhere", collection, "mo-ved")
            assert found["verdict"] == "OK" and hrefs(found) == ["/" + home + "other/x.ics"], found
            assert found["entries"][0]["etag"] and "UID:mo-ved\n" in found["entries"][0]["text"]
            assert account.one("elsewhere", "/" + home + "other/", "mo-ved")["entries"] == []


def test_who_may_not_is_told():
    with real() as both:
        account, home, server = both[0]
        assert account.one(*FIND)["made"]
        for who, words in ((Account(account.url, account.ca, "bob", "wrong"), "does not know who asks"),
                           (Account(account.url, account.ca), "does not know who asks")):
            for call in (FIND, ("changes", "/bob/bench/", ""), ("put", "/bob/bench/x.ics", "none", written(todo("x"))),
                         ("get", "/bob/bench/", "/bob/bench/x.ics"), ("delete", "/bob/bench/x.ics", "")):
                answer = who.one(*call)
                assert answer["verdict"] == "REFUSED" and words in answer["why"], answer
        eve = Account(account.url, account.ca, "eve", "x")
        assert eve.one("put", "/bob/bench/x.ics", "none", written(todo("x")))["verdict"] == "REFUSED"
        answer = Account(account.url, None, "bob", "swordfish").one(*FIND)
        assert answer["verdict"] == "UNREACHED" and "ca_file" in answer["why"], answer


def test_a_server_that_was_away_is_the_same_after():
    with real() as both:
        for account, home, server in both:
            collection = account.one(*FIND)["url"]
            assert account.one("put", "/" + home + "bench/one.ics", "none", written(todo("one")))["verdict"] == "OK"
            before = account.one("changes", collection, "")
            server.stop(signal.SIGKILL)
            for call in (FIND, ("changes", collection, before["token"]), ("put", "/" + home + "bench/x.ics", "none", written(todo("x")))):
                answer = account.one(*call)
                assert answer["verdict"] == "UNREACHED" and "localhost: no connection" in answer["why"], answer
            server.start()
            assert account.one("changes", collection, before["token"])["verdict"] == "OK"


# ---- a server that does what servers should not ----

def entry(href, etag='"1"', text=None, status=200):
    prop = ""
    if etag is not None:
        prop += "<getetag>%s</getetag>" % etag.replace('"', "&quot;")
    if text is not None:
        prop += "<C:calendar-data>%s</C:calendar-data>" % text.replace("&", "&amp;").replace("<", "&lt;")
    return "<response><href>%s</href><propstat><prop>%s</prop><status>HTTP/1.1 %d x</status></propstat></response>" % (
        href, prop, status)


def place(href, kind="<C:calendar/>", more=""):
    return ("<response><href>%s</href><propstat><prop><resourcetype><collection/>%s</resourcetype>%s</prop>"
            "<status>HTTP/1.1 200 OK</status></propstat></response>" % (href, kind, more))


def status_of(href, status):
    return "<response><href>%s</href><status>HTTP/1.1 %d x</status></response>" % (href, status)


def multi(*responses):
    body = (MULTISTATUS % "".join(responses)).encode()
    return lambda ask: ask.give(body, 207, Content_Type="application/xml")


def by_method(**pages):
    """A page for each method."""
    return lambda ask: pages[ask.command](ask) if ask.command in pages else ask.give(b"", 405)


CAL = "/hidden/cal/"
CALLS = (("changes", CAL, ""), ("changes", CAL, "t"), ("get", CAL, CAL + "a.ics"), ("put", CAL + "a.ics", '"1"', "FILE"),
         ("put", CAL + "a.ics", "none", "FILE"), ("delete", CAL + "a.ics", '"1"'), FIND)


def calls():
    return [[written(todo("a")) if word == "FILE" else word for word in call] for call in CALLS]


def everywhere(web, page):
    for path in (CAL, CAL + "a.ics", "/", "/.well-known/caldav"):
        web.page(path, page)
    return Account(web.url("/"), user="bob", password="swordfish")


def all_come_to(page, verdict, *words, limit_s=None):
    """Each call, when every address answers so."""
    with Web() as web:
        account = everywhere(web, page)
        if limit_s:
            account = Account(account.url, user="bob", password="swordfish", limit_s=limit_s)
        for call in calls():
            answer = account.one(*call)
            assert answer["verdict"] == verdict, (call, answer)
            assert all(word in answer["why"] for word in words), (call, answer)
        return account


def test_each_status_comes_to_its_verdict():
    # RFC 9110 section 15, RFC 4918 section 11, RFC 6585 section 4
    for status, verdict, words in ((401, "REFUSED", "user and credential"), (403, "REFUSED", "403"), (404, "GONE", "404"),
                                   (410, "GONE", "410"), (413, "FULL", "too large"), (429, "UNREACHED", "too often"),
                                   (500, "UNREACHED", "fault of its own"), (502, "UNREACHED", "502"), (503, "UNREACHED", "no time"),
                                   (507, "FULL", "no room"), (400, "ODD", "400"), (415, "ODD", "415"), (405, "ODD", "405"),
                                   (501, "ODD", "501")):
        with Web() as web:
            account = everywhere(web, lambda ask: ask.give(b"no", status, Retry_After="77"))
            for call in calls():
                answer = account.one(*call)
                if call[0] == "get" and status in (404, 410):
                    assert answer["verdict"] == "OK" and answer["entries"] == [], answer
                    continue
                assert answer["verdict"] == verdict and words in answer["why"], (status, call, answer)
                assert answer["retry"] == 77, (status, call, answer)
    with Web() as web:
        account = everywhere(web, by_method(PUT=lambda ask: ask.give(b"", 412), DELETE=lambda ask: ask.give(b"", 412)))
        for call in calls()[3:6]:
            assert account.one(*call)["verdict"] == "CHANGED", call


def test_a_put_is_done_only_when_the_answer_says_so():
    error = '<error xmlns="DAV:" xmlns:C="urn:ietf:params:xml:ns:caldav">%s</error>'
    rows = (  # what PUT answers with, what it comes to
        (lambda ask: ask.give(b"", 200, ETag='"2"'), "OK"),
        (lambda ask: ask.give(b"", 201, ETag='"2"'), "OK"),
        (lambda ask: ask.give(b"", 204, ETag='"2"'), "OK"),
        (lambda ask: ask.give(b"", 202, ETag='"2"'), "ODD"),
        (lambda ask: ask.give(b"\n<!DOCTYPE html><html>Log in</html>", 200, ETag='"2"'), "ODD"),
        (multi(status_of(CAL + "a.ics", 412)), "CHANGED"),  # RFC 4918 section 13; Xandikos
        (multi(status_of(CAL + "a.ics", 507)), "FULL"),
        (multi(status_of(CAL + "a.ics", 200)), "ODD"),
        (multi(), "ODD"),
        (lambda ask: ask.give(b"not xml", 207), "ODD"),
        (lambda ask: ask.give(b"", 409), "GONE"),  # RFC 4918 section 9.7.1
        (lambda ask: ask.give((error % "<C:no-uid-conflict/>").encode(), 409), "TAKEN"),  # RFC 4791 section 5.3.2.1
        (lambda ask: ask.give((error % "<C:no-uid-conflict/>").encode(), 403), "TAKEN"),
        (lambda ask: ask.give((error % "<C:max-resource-size/>").encode(), 403), "FULL"),
        (lambda ask: ask.give((error % "<quota-not-exceeded/>").encode(), 403), "FULL"),  # RFC 4331 section 6
        (lambda ask: ask.give(b"<error", 403), "REFUSED"),
    )
    with Web() as web:
        for number, (page, verdict) in enumerate(rows):
            account = everywhere(web, page)
            answer = account.one(*calls()[3])
            assert answer["verdict"] == verdict, (number, answer)
            assert answer["verdict"] != "OK" or answer["entries"][0]["etag"] == '"2"', answer


def test_what_is_sent():
    with Web() as web:
        account = everywhere(web, lambda ask: ask.give(b"", 204, ETag='"2"'))
        account.talk(calls()[3], calls()[4], ("put", CAL + "a.ics", "", written(todo("a"))), calls()[5])
        change, create, blind, delete = web.got(CAL + "a.ics")
        for method, headers, body in (change, create, blind):
            assert method == "PUT" and body == todo("a").encode() and headers["Content-Type"] == "text/calendar; charset=utf-8"
        for method, headers, _ in (change, create, blind, delete):
            assert headers["Authorization"] == "Basic " + base64.b64encode(b"bob:swordfish").decode()
            assert "Expect" not in headers and headers["User-Agent"].startswith("seasond/"), headers
        assert change[1]["If-Match"] == '"1"' and "If-None-Match" not in change[1]
        assert create[1]["If-None-Match"] == "*" and "If-Match" not in create[1]
        assert not {"If-Match", "If-None-Match"} & blind[1].keys()
        assert delete[0] == "DELETE" and delete[1]["If-Match"] == '"1"' and delete[2] == b""


def test_a_large_put_waits_for_no_leave():
    """From a megabyte on libcurl would ask for leave, and wait a second for a server that gives none."""
    big = todo("a", "x" * 2000000)
    with Web() as web:
        account = everywhere(web, lambda ask: ask.give(b"", 204, ETag='"2"'))
        begun = time.monotonic()
        assert account.one("put", CAL + "a.ics", "none", written(big, "big.ics"))["verdict"] == "OK"
        print("# a put of 2 MB: %.2f s" % (time.monotonic() - begun))
        (_, headers, body), = web.got(CAL + "a.ics")
        assert body == big.encode() and "Expect" not in headers


def test_entity_tags_that_are_missing_or_weak():
    def put(etag):
        return lambda ask: ask.give(b"", 204, **({"ETag": etag} if etag else {}))
    with Web() as web:
        for of_put, of_look, want in ((None, '"3"', '"3"'), ('W/"2"', '"3"', '"3"'), (None, 'W/"3"', ""), (None, None, ""),
                                      ("2", '"3"', '"2"'), ('"a b"', '"3"', '"3"')):
            account = everywhere(web, by_method(PUT=put(of_put), PROPFIND=multi(entry(CAL + "a.ics", of_look))))
            answer = account.one(*calls()[3])
            assert answer["verdict"] == "OK" and answer["entries"][0]["etag"] == want, (of_put, of_look, answer)
        account = everywhere(web, by_method(PUT=put(None), PROPFIND=lambda ask: ask.give(b"", 500)))
        answer = account.one(*calls()[3])  # it is put all the same
        assert answer["verdict"] == "OK" and answer["entries"][0]["etag"] == "", answer
        account = everywhere(web, by_method(REPORT=multi(entry(CAL + "a.ics", 'W/"3"', "BEGIN:VCALENDAR\n"))))
        assert account.one(*calls()[2])["entries"][0]["etag"] == ""


BOMB = ('<?xml version="1.0"?><!DOCTYPE m [<!ENTITY a "ha">' + "".join(
    '<!ENTITY %s "%s">' % (chr(98 + i), ("&%s;" % chr(97 + i)) * 10) for i in range(9)) + ']><multistatus xmlns="DAV:">&j;</multistatus>')


def test_answers_that_are_none():
    for body, words in ((b"<multistatus xmlns='DAV:'><response>", "no XML"), (b"", "empty"), (BOMB.encode(), "document type"),
                        (b"<x xmlns='DAV:'/>", "not with what a CalDAV server answers"),
                        (b"<!DOCTYPE html>\n<html><body>Log in", "a page for people"),
                        (b"<multistatus xmlns='DAV:'>" + b"<a>" * 100000, "levels")):
        with Web() as web:
            account = everywhere(web, lambda ask: ask.give(body, 207))
            for call in (calls()[0], calls()[1], FIND):
                answer = account.one(*call)
                assert answer["verdict"] == "ODD" and words in answer["why"], (body[:40], call, answer)
            answer = account.one(*calls()[2])  # got by GET then, which brings no calendar either
            assert answer["verdict"] == "ODD", answer


def test_a_login_page_is_no_calendar():
    page = b"<!DOCTYPE html>\n<html><head><title>Log in</title></head><body>Who are you?</body></html>"
    all_come_to(lambda ask: ask.give(page, 200, Content_Type="text/html", ETag='"p"'), "ODD", "login")


def test_listings_that_lack_the_calendar_are_not_believed():
    with Web() as web:
        for page in (multi(), multi(entry(CAL + "a.ics"))):
            answer = everywhere(web, page).one(*calls()[0])
            assert answer["verdict"] == "ODD" and "without the calendar" in answer["why"], answer
        answer = everywhere(web, multi(place(CAL), entry(CAL + "a.ics"), place(CAL + "sub/"), status_of(CAL + "b.ics", 403))).one(*calls()[0])
        assert answer["whole"] and hrefs(answer) == [CAL + "a.ics"] and answer["token"] == "", answer


def test_large_answers_are_cut_off():
    def large(ask):
        ask.send_response(207 if ask.command in ("PROPFIND", "REPORT") else 200)
        ask.send_header("Connection", "close")
        ask.end_headers()
        ask.close_connection = True
        ask.wfile.write(b"<multistatus xmlns='DAV:'>")
        for _ in range(100):
            ask.wfile.write(b"<!-- " + b"x" * 1048576 + b" -->")
    account = all_come_to(large, "ODD", "its answer is larger than 16777216 bytes")
    assert SANITIZED or account.kb < 90000, account.kb


def test_slow_and_broken_answers():
    stop = threading.Event()

    def loris(ask):
        ask.send_response(207)
        ask.end_headers()
        while not stop.wait(0.1):
            ask.wfile.write(b" ")
            ask.wfile.flush()

    def cut(ask):
        ask.send_response(207)
        ask.send_header("Content-Length", "5000")
        ask.end_headers()
        ask.wfile.write(b"<multistatus xmlns='DAV:'>")
        ask.wfile.flush()
        ask.connection.shutdown(socket.SHUT_RDWR)
    try:
        begun = time.monotonic()
        all_come_to(loris, "UNREACHED", "too slow", limit_s=1)
        assert time.monotonic() - begun < 60
    finally:
        stop.set()
    all_come_to(cut, "UNREACHED", "the connection broke off")


def test_certificates_that_are_not_good():
    expired = authority().certificate("old", "DNS:localhost", "20200101000000Z", "20210101000000Z")
    other = Authority()
    try:
        for pem, ca, words in ((expired, authority().ca, "has expired"), (certificate(), other.ca, "no authority that is trusted"),
                               (authority().certificate("away", "DNS:away.example"), authority().ca, "for another name")):
            with Web(pem) as web:
                web.page("/", lambda ask: ask.give(b"", 204))
                account = Account(web.url("/"), ca, "bob", "swordfish")
                for call in calls():
                    answer = account.one(*call)
                    assert answer["verdict"] == "UNREACHED" and words in answer["why"], answer
                assert web.requests == []
    finally:
        other.remove()


# ---- redirects ----

def test_redirects_keep_method_and_body():
    with Web() as web:
        for status in (301, 302, 307, 308):
            account = everywhere(web, lambda ask: ask.move("/moved" + ask.path, status))
            web.page("/moved" + CAL, by_method(PROPFIND=multi(place("/moved" + CAL), entry("/moved" + CAL + "a.ics")),
                                               REPORT=multi("<sync-token>t2</sync-token>")))
            web.page("/moved" + CAL + "a.ics", lambda ask: ask.give(b"", 204, ETag='"2"'))
            web.whole.clear()
            for call in calls()[:6]:
                if call[0] != "get":
                    answer = account.one(*call)
                    assert answer["verdict"] == "OK" and "/moved" in answer["url"], (status, call, answer)
            for path in (CAL, CAL + "a.ics"):
                before, after = web.got(path), web.got("/moved" + path)
                assert [(m, b) for m, _, b in before] == [(m, b) for m, _, b in after] and before
                keep = ("Depth", "If-Match", "If-None-Match", "Content-Type", "Authorization")
                assert [[h.get(k) for k in keep] for _, h, _ in before] == [[h.get(k) for k in keep] for _, h, _ in after]
                assert not any("Expect" in h for _, h, _ in before + after)


def test_redirects_elsewhere_are_told_and_not_followed():
    with Web() as web, Web() as other:
        trap = other.url("/hidden/trap/", "127.0.0.1")
        for to, words in ((trap, "leads to http://127.0.0.1:%d" % other.port),
                          (other.url("/hidden/trap/"), "leads to http://localhost:%d" % other.port),
                          ("//127.0.0.1:%d/hidden/" % other.port, "leads to http://127.0.0.1"),
                          ("ftp://localhost/hidden", "no page of http or https")):
            account = everywhere(web, lambda ask: ask.move(to, 307))
            for call in calls():
                answer = account.one(*call)
                assert answer["verdict"] == "ODD" and words in answer["why"], answer
        assert other.requests == []
        assert web.requests and all("Authorization" in headers for _, headers in web.requests)
    all_come_to(lambda ask: ask.move(ask.path, 302), "ODD", "more than 3 redirects")
    all_come_to(lambda ask: ask.move("/login", 303), "ODD", "status 303")


def test_addresses_in_answers_that_lead_elsewhere_are_told_and_not_asked():
    with Web() as web, Web() as other:
        trap = other.url("/hidden/trap/", "127.0.0.1")
        rows = (
            (multi(place(CAL), entry(trap + "a.ics")), ("changes", CAL, "")),
            (multi(place("/", "", "<current-user-principal><href>%s</href></current-user-principal>" % trap)), FIND),
            (multi(place("/", "", "<C:calendar-home-set><href>%s</href></C:calendar-home-set>" % trap)), FIND),
            (multi(place("/", "", "<C:calendar-home-set><href>%s</href></C:calendar-home-set>" % trap)), ("elsewhere", CAL, "a")),
        )
        for page, call in rows:
            answer = everywhere(web, page).one(*call)
            assert answer["verdict"] == "ODD" and "127.0.0.1" in answer["why"], answer
        answer = everywhere(web, multi()).one("put", trap + "a.ics", "none", written(todo("a")))
        assert answer["verdict"] == "ODD", answer
        assert other.requests == []
        # RFC 4918 section 8.3: a full address of the server itself is one way to name a resource
        answer = everywhere(web, multi(place(web.url(CAL)), entry(web.url(CAL + "a.ics")))).one("changes", CAL, "")
        assert hrefs(answer) == [CAL + "a.ics"], answer


# ---- finding and making ----

HOME = "<C:calendar-home-set><href>/home/</href></C:calendar-home-set>"


def test_accounts_are_found_without_a_well_known_address():
    with Web() as web:
        web.page("/", multi(place("/", "", "<current-user-principal><href>who/bob/</href></current-user-principal>")))
        web.page("/who/bob/", multi(place("/who/bob/", "<principal/>", HOME.replace("/home/", "../../home/"))))
        web.page("/home/", multi(place("/home/", ""), place("/home/other/"), place("/home/ben%63h/")))
        for missing in (lambda ask: ask.give(b"", 404), lambda ask: ask.give(b"<html>", 200), lambda ask: ask.give(b"", 405),
                        lambda ask: ask.give(b"", 500), lambda ask: ask.move("/.well-known/caldav")):
            web.page("/.well-known/caldav", missing)
            answer = Account(web.url("/")).one(*FIND)
            assert answer["verdict"] == "OK" and answer["url"] == web.url("/home/ben%63h/"), answer
        web.page("/.well-known/caldav", lambda ask: ask.give(b"", 401))
        assert Account(web.url("/")).one(*FIND)["verdict"] == "REFUSED"


def test_servers_that_tell_of_no_account():
    with Web() as web:
        web.page("/c/", multi(place("/c/")))  # absent component set: all kinds (RFC 4791 section 5.2.3)
        for kind in ("todos", "events"):
            answer = Account(web.url("/c/")).one("find", kind, "whatever", "x", "")
            assert answer["verdict"] == "OK" and answer["url"] == web.url("/c/"), answer
        web.page("/hidden/c/", multi(place("/hidden/c/", more="<C:supported-calendar-component-set><C:comp name='VEVENT'/>"
                                           "</C:supported-calendar-component-set>")))
        answer = Account(web.url("/hidden/c/")).one(*FIND)
        assert answer["verdict"] == "ODD" and "the calendar takes no to-dos" in answer["why"], answer
        web.page("/page", multi("<response><href>/page</href><propstat><prop><resourcetype/></prop><status>HTTP/1.1 200 OK</status>"
                                "</propstat></response>"))
        answer = Account(web.url("/page")).one(*FIND)
        assert answer["verdict"] == "ODD" and "is no calendar and leads to none" in answer["why"], answer
        web.page("/folder/", by_method(PROPFIND=multi(place("/folder/", ""), place("/folder/bench/", ""))))
        answer = Account(web.url("/folder/")).one(*FIND)
        assert answer["verdict"] == "ODD" and 'what is called "bench" there is no calendar' in answer["why"], answer


def test_a_folder_of_calendars_is_meant_as_it_stands():
    account = "<current-user-principal><href>/who/</href></current-user-principal>"
    with Web() as web:
        web.page("/who/", multi(place("/who/", "", HOME)))
        web.page("/home/", multi(place("/home/", ""), place("/home/bench/")))
        web.page("/dav/", multi(place("/dav/", "", account), place("/dav/files/", "")))
        assert Account(web.url("/dav/")).one(*FIND)["url"] == web.url("/home/bench/")
        web.page("/team/", multi(place("/team/", "", account), place("/team/bench/", more=account)))
        assert Account(web.url("/team/")).one(*FIND)["url"] == web.url("/team/bench/")


def test_calendars_that_cannot_be_made():
    exists = b'<error xmlns="DAV:"><resource-must-be-null/></error>'
    with Web() as web:
        web.page("/.well-known/caldav", lambda ask: ask.move("/home/"))
        web.page("/home/", multi(place("/home/", "", HOME)))
        for status, body, verdict, words in (
                (201, b"", "OK", ""), (403, b"", "REFUSED", "makes no calendar"), (405, b"", "ODD", "makes no calendar"),
                (409, b"", "ODD", "makes no calendar"), (501, b"", "ODD", "makes no calendar"), (507, b"", "FULL", "no room"),
                (500, b"", "UNREACHED", "fault of its own"), (429, b"", "UNREACHED", "too often"),
                (409, exists, "ODD", "something else is called"), (403, exists, "ODD", "something else is called"),
                (200, b"<html>Log in", "ODD", "makes no calendar"),
                (207, (MULTISTATUS % status_of("/home/bench/", 403)).encode(), "REFUSED", "makes no calendar")):
            web.page("/home/bench/", by_method(MKCALENDAR=lambda ask: ask.give(body, status)))
            answer = Account(web.url("/")).one(*FIND)
            assert answer["verdict"] == verdict and words in answer["why"] and answer["made"] == (status == 201), (status, answer)
        method, headers, body = web.got("/home/bench/")[0]
        assert method == "MKCALENDAR" and b'<C:comp name="VTODO"/>' in body and b"The bench &amp; &lt;its&gt; wood" in body


# ---- changes and texts ----

def test_changes_in_pieces_are_put_together():
    """RFC 6578 section 3.6: 507 for the collection itself means that there is more."""
    pieces = {"t": (["a", "b"], ["c"], True, "t1"), "t1": (["d"], ["a"], True, "t2"), "t2": (["c"], [], False, "t3")}

    def report(ask):
        there, gone, more, token = pieces[re.search(b"<D:sync-token>(.*?)</D:sync-token>", ask.body).group(1).decode()]
        multi(*[entry(CAL + name + ".ics", '"%s"' % token) for name in there], *[status_of(CAL + name + ".ics", 404) for name in gone],
              status_of(CAL, 507) if more else "", "<sync-token>%s</sync-token>" % token)(ask)
    with Web() as web:
        answer = everywhere(web, by_method(REPORT=report)).one("changes", CAL, "t")
        assert (answer["verdict"], answer["whole"], answer["token"]) == ("OK", False, "t3"), answer
        assert {e["href"]: (e["etag"], e["gone"]) for e in answer["entries"]} == {
            CAL + "a.ics": ("", True), CAL + "b.ics": ('"t1"', False), CAL + "c.ics": ('"t3"', False), CAL + "d.ics": ('"t2"', False)}
        assert len(answer["entries"]) == 4, answer


def test_trouble_with_a_token_ends_in_a_listing():
    listing = multi(place(CAL, more="<sync-token>new</sync-token>"), entry(CAL + "a.ics"))
    with Web() as web:
        for page in (lambda ask: ask.give(b"", 403), lambda ask: ask.give(b"", 500), lambda ask: ask.give(b"", 501),
                     lambda ask: ask.give(b"nonsense", 207), lambda ask: ask.give(b"<html>", 200), multi(entry(CAL + "b.ics")),
                     multi(status_of(CAL, 507), "<sync-token>t</sync-token>")):
            answer = everywhere(web, by_method(REPORT=page, PROPFIND=listing)).one("changes", CAL, "t")
            assert (answer["verdict"], answer["whole"], answer["token"], hrefs(answer)) == ("OK", True, "new", [CAL + "a.ics"]), answer
        web.whole.clear()
        answer = everywhere(web, by_method(REPORT=lambda ask: ask.give(b"", 503, Retry_After="9"), PROPFIND=listing)).one("changes", CAL, "t")
        assert (answer["verdict"], answer["retry"]) == ("UNREACHED", 9) and len(web.got(CAL)) == 1, answer


def test_texts_that_multiget_leaves_out_are_got_one_by_one():
    names = [CAL + name + ".ics" for name in ("a", "b%20b", "c", "d")]
    for report in (multi(entry(names[0], text="BEGIN:VCALENDAR\r\nA\r\n"), status_of(names[2], 404)),
                   multi(entry(names[0], text="BEGIN:VCALENDAR\nA\n"), entry(names[1]), status_of(names[2], 404)),
                   multi(entry(names[0].replace(CAL, "http://LOCALHOST" + CAL), text="BEGIN:VCALENDAR\nA\n")),
                   lambda ask: ask.give(b"", 400), lambda ask: ask.give(b"", 501), lambda ask: ask.give(b"", 500),
                   lambda ask: ask.give(b"odd", 207), lambda ask: ask.give(b"<html>", 200)):
        with Web() as web:
            account = everywhere(web, by_method(REPORT=report))
            for name, text in zip(names, ("A", "B", None, "D")):
                web.page(name, lambda ask, text=text: ask.give(("BEGIN:VCALENDAR\r\n%s\r\n" % text).encode(), 200, ETag='"1"')
                         if text else ask.give(b"", 404))
            answer = account.one("get", CAL, *names)
            assert answer["verdict"] == "OK", answer
            assert [(e["href"], e["text"], e["etag"]) for e in answer["entries"]] == [
                (name, "BEGIN:VCALENDAR\n%s\n" % text, '"1"') for name, text in ((names[0], "A"), (names[1], "B"), (names[3], "D"))]
    with Web() as web:  # encoded twice
        account = everywhere(web, by_method(REPORT=multi(entry(names[1].replace("%", "%25"), text="BEGIN:VCALENDAR\nB\n"))))
        answer = account.one("get", CAL, names[1])
        assert hrefs(answer) == [names[1]] and len(web.whole) == 1, answer


def test_a_filter_that_is_not_heeded():
    """Some servers find more than was asked for; only the entry itself counts."""
    folded = todo("a").replace("UID:a", "uid;X-A=\"b:c\":\r\n a")
    with Web() as web:
        web.page("/.well-known/caldav", multi(place("/", "", HOME)))
        web.page("/home/", multi(place("/home/", ""), place(CAL), place("/no/", ""), place("/bad/"), place("/other/")))
        web.page("/bad/", lambda ask: ask.give(b"", 403))
        web.page("/other/", multi(entry("/other/1.ics", text=todo("aa")), entry("/other/2.ics", text=todo("b", "UID:a")),
                                  entry("/other/3.ics", text=folded), entry("/other/4.ics", text=todo("a"))))
        answer = Account(web.url("/")).one("elsewhere", CAL, "a")
        assert hrefs(answer) == ["/other/3.ics"], answer
        assert web.got(CAL) == [] and web.got("/no/") == []


try:
    main(globals())
finally:
    FOLDER.cleanup()
    if authority.cache_info().currsize:
        authority().remove()
