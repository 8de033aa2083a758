#!/usr/bin/python3 -B
"""Mail: the digest, invitations, answers to them, and what happens when servers refuse, are away, or are not who they say.

The servers are real ones: aiosmtpd takes mail, dovecot keeps it. What was sent is read by Python's email package
(RFC 5322, 2045, 2047), python3-icalendar and ical.js (RFC 5545, 5546, 6047).
"""
import atexit
import contextlib
import datetime
import email.header
import email.message
import email.utils
import functools
import json
import os
import pathlib
import shutil
import signal
import sqlite3
import subprocess
import time

import bench
from bench import BUILD, Bench, Skip, rows, stamp, until
from mailserver import PASSWORD, USER, Inbox, Server
from webserver import Authority

BENCH = "bench@bench.example"
CLIENT = "school@harbour.example"
NOW = int(time.time()) // 60 * 60
DAY = 86400


@functools.lru_cache(None)
def authority():
    if not shutil.which("openssl"):
        raise Skip("openssl is missing")
    made = Authority()
    atexit.register(made.remove)
    return made


@functools.lru_cache(None)
def certificate(name="localhost", names="DNS:localhost,IP:127.0.0.1", **more):
    return authority().certificate(name, names, **more)


def group(values):
    return "mail = { %s };\n" % " ".join("%s = %s;" % (k, json.dumps(v)) for k, v in values.items())


@contextlib.contextmanager
def a_bench(server, top="", **mail):
    """A bench whose client's instrument has a job due, and so a visit."""
    with Bench() as b:
        secret = b.file("secret", PASSWORD + "\n")
        secret.chmod(0o600)
        values = {"server": server, "ca_file": str(authority().ca), "user": USER, "credential": str(secret), "from": BENCH,
                  "invite": True, **mail}
        b.config.write_text(bench.SETTINGS + top + group({k: v for k, v in values.items() if v is not None}))
        b.file("room.csv", bench.export(rows(NOW - 40 * DAY, 40 * 24, step_s=3600)))
        b.ctl("import", "room.csv", "--sensor", "room")
        b.ctl("client", "harbour", "title=Harbour School", "address=4 Quay Lane", "email=" + CLIENT, "agreed=yes")
        b.ctl("client", "alder", "title=Alder", "email=alder@alder.example")
        for client in ("harbour", "alder"):
            b.ctl("instrument", client + "-1", "build=parlour", "place=room", "client=" + client,
                  "since=" + stamp(NOW - 40 * DAY)[:16])
            b.ctl("finding", client + "-1", "restrung", "--at", stamp(NOW - 20 * DAY)[:16])
        yield b
        for service in b.services:
            assert service.end() in (0, -signal.SIGKILL), service.lines


def change(b, sql, *values):
    """What only time would bring, put into the store; then the bell."""
    db = sqlite3.connect(b.store, timeout=30)
    with db:
        db.execute("PRAGMA foreign_keys = ON")
        assert db.execute(sql, values).rowcount == 1, sql
    db.close()
    ring(b)


def ring(b):
    (b.folder / "bench.db.bell").write_bytes(b"")


def letters(b, fields="state, recipient, error"):
    return b.query("SELECT %s FROM letter ORDER BY id" % fields)


WAITS, UNDER_WAY, SENT, REFUSED, GIVEN_UP, DROPPED = range(6)


def states(b):
    return [x[0] for x in letters(b)]


def visit(b, client="harbour"):
    found = b.query("SELECT v.id, v.uid, v.answer, v.answered, v.state FROM visit v JOIN client c ON c.id = v.client "
                    "WHERE c.name = ?", client)
    assert len(found) == 1, found
    return found[0]


def appoint(b, at):
    b.ctl("visit", str(visit(b)[0]), stamp(at)[:16], "--length", "90 min")


def calendar_of(message):
    """The event of an invitation: both copies are the same, and headers and calendar agree (RFC 6047 2.4)."""
    import icalendar
    parts = list(message.walk())
    assert [p.get_content_type() for p in parts] == ["multipart/mixed", "multipart/alternative", "text/plain",
                                                     "text/calendar", "application/ics"], parts
    inline, attached = parts[3], parts[4]
    data = inline.get_payload(decode=True)
    assert data == attached.get_payload(decode=True)
    assert attached.get_filename() == "visit.ics" and attached.get_content_disposition() == "attachment"
    calendar = icalendar.Calendar.from_ical(data.decode())
    assert inline["Content-Type"].params["method"] == calendar["METHOD"]
    assert inline["Content-Type"].params["component"] == "VEVENT" and inline.get_content_charset() == "utf-8"
    events = calendar.walk("VEVENT")
    assert len(events) == 1
    event = events[0]
    assert str(event["ORGANIZER"]) == "mailto:" + BENCH
    assert not event.walk("VALARM")
    return calendar["METHOD"], event, data


def reply(uid, attendee=CLIENT, word="ACCEPTED", sequence=0, at=None, sender=None, subject="Re: Seasonal visit", number=[0],
          method="REPLY", encoding="base64"):
    """A mail as calendar programs answer (RFC 5546 3.2.3, RFC 6047 4.2)."""
    number[0] += 1
    when = datetime.datetime.fromtimestamp(at or NOW, datetime.timezone.utc).strftime("%Y%m%dT%H%M%SZ")
    text = "\r\n".join([
        "BEGIN:VCALENDAR", "PRODID:-//an invented program//EN", "VERSION:2.0", "METHOD:" + method, "BEGIN:VEVENT",
        "ATTENDEE;CN=\"Harbour: School\";PARTSTAT=%s:mailto:%s" % (word, attendee), "ORGANIZER:mailto:" + BENCH, "UID:" + uid,
        "SEQUENCE:%d" % sequence, "DTSTAMP:" + when, "REQUEST-STATUS:2.0;Success", "END:VEVENT", "END:VCALENDAR", ""])
    m = email.message.EmailMessage()
    m["From"], m["To"], m["Subject"] = sender or attendee, BENCH, subject
    m["Message-ID"] = "<answer-%d@harbour.example>" % number[0]
    m.set_content("An answer.\n")
    m.add_alternative(text, subtype="calendar", params={"method": method}, cte=encoding)
    return m.as_bytes(policy=m.policy.clone(linesep="\r\n"))


def maildir(b):
    path = b.folder / "answers"
    for name in ("new", "cur", "tmp"):
        (path / name).mkdir(parents=True)
    return path


def no_secret(b, service):
    log = "\n".join(service.lines)
    assert PASSWORD not in log and PASSWORD not in pathlib.Path(b.store).read_bytes().decode("latin-1")
    if service.child.returncode is None:
        assert PASSWORD not in pathlib.Path("/proc/%d/cmdline" % service.child.pid).read_text()


# ---- invitations ----

def test_only_who_agreed_is_invited_moved_and_called_off():
    with Server(certificate()) as s, a_bench(s.url) as b:
        service = b.start()
        first = s.wait(1)
        method, event, _ = calendar_of(first)
        assert (method, event["SEQUENCE"], str(event["UID"])) == ("REQUEST", 0, visit(b)[1])
        assert str(event["ATTENDEE"]) == "mailto:" + CLIENT and event["ATTENDEE"].params["CN"] == "Harbour School"
        assert type(event["DTSTART"].dt) is datetime.date and event["DTSTART"].dt > datetime.date.today()
        assert s.taker.letters[0][:2] == (BENCH, [CLIENT]) and s.taker.letters[0][3], "not encrypted"
        assert s.logins == [(USER, PASSWORD, True)]
        assert [(x.display_name, x.addr_spec) for x in (*first["From"].addresses, *first["To"].addresses)] == [
            ("", BENCH), ("Harbour School", CLIENT)]
        assert first["Auto-Submitted"] == "auto-generated"
        assert first["List-Unsubscribe"] == "<mailto:%s?subject=stop>" % BENCH
        assert first["Message-ID"].endswith("@bench.example>")
        assert abs(first["Date"].datetime.timestamp() - time.time()) < 300
        text = first.get_body(("plain",)).get_content()
        assert "harbour-1" in text and "alder" not in text and "stop as subject" in text, text
        # an appointment, moved, and the same again
        at = NOW + 9 * DAY
        appoint(b, at)
        method, event, _ = calendar_of(s.wait(2))
        assert (method, event["SEQUENCE"]) == ("REQUEST", 1)
        assert event["DTSTART"].dt.timestamp() == at and event["DTEND"].dt.timestamp() == at + 5400
        appoint(b, at + 3600)
        assert calendar_of(s.wait(3))[1]["SEQUENCE"] == 2
        appoint(b, at + 3600)
        b.ctl("client", "harbour", "title=School by the harbour")
        b.ctl("agenda")
        number = b.query("SELECT id FROM item WHERE visit = ? AND state = 0", visit(b)[0])[0][0]
        b.ctl("aside", "#%d" % number)
        last = s.wait(4)
        method, event, _ = calendar_of(last)
        assert (method, event["SEQUENCE"], event["STATUS"]) == ("CANCEL", 3, "CANCELLED")
        assert event["DTSTART"].dt.timestamp() == at + 3600 and last["Subject"].startswith("Called off")
        assert len({x["Message-ID"] for x in map(s.read, range(4))}) == 4
        assert {x[1] for x in letters(b)} == {CLIENT}
        service.end()
        s.wait(4)
        no_secret(b, service)


def test_ical_js_reads_an_invitation():
    modules = os.environ.get("SEASOND_NODE_MODULES", str(BUILD / "npm" / "node_modules"))
    if not pathlib.Path(modules, "ical.js").exists() or not shutil.which("node"):
        raise Skip("ical.js is not there")
    with Server(certificate()) as s, a_bench(s.url) as b:
        b.start()
        s.wait(1)
        appoint(b, NOW + 9 * DAY)
        event, data = calendar_of(s.wait(2))[1:]
        path = b.file("invitation.ics", data)
        script = bench.REPO / "tests/npm/read_calendar.mjs"
        out = subprocess.run(["node", str(script), str(path)], env=dict(os.environ, SEASOND_NODE_MODULES=modules),
                             capture_output=True, text=True, check=True).stdout
        head, found = map(json.loads, out.splitlines())
        assert head["method"] == "REQUEST" and found["uid"] == str(event["UID"]) and found["sequence"] == 1
        want = datetime.datetime.fromtimestamp(NOW + 9 * DAY, datetime.timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")
        assert found["dtstart"] == want and found["summary"] == str(event["SUMMARY"])


def test_whoever_takes_it_back_gets_nothing_more():
    with Server(certificate()) as s, a_bench(s.url) as b:
        s.stop()
        service = b.start()
        service.log("not reached")
        b.ctl("client", "harbour", "agreed=no")
        s.start()
        service.child.send_signal(signal.SIGHUP)
        until(lambda: states(b) == [DROPPED], "the letter to be dropped")
        assert "does not agree" in letters(b)[0][2]
        number = b.query("SELECT id FROM item WHERE visit = ?", visit(b)[0])[0][0]
        b.ctl("aside", "#%d" % number)
        b.ctl("agenda")
        service.end()
        assert s.taker.letters == [] and len(letters(b)) == 1


def test_an_unsent_invitation_is_overtaken_and_never_called_off():
    with Server(certificate()) as s, a_bench(s.url) as b:
        s.stop()
        service = b.start()
        service.log("not reached")
        appoint(b, NOW + 9 * DAY)
        until(lambda: states(b) == [DROPPED, WAITS], "the newer letter")
        s.start()
        service.child.send_signal(signal.SIGHUP)
        assert calendar_of(s.wait(1))[1]["SEQUENCE"] == 1
        s.stop()
        appoint(b, NOW + 10 * DAY)
        until(lambda: states(b)[2:] == [WAITS], "the third letter")
        number = b.query("SELECT id FROM item WHERE visit = ?", visit(b)[0])[0][0]
        b.ctl("aside", "#%d" % number)
        until(lambda: states(b)[2:] == [DROPPED, WAITS], "the one that calls off")
        s.start()
        service.child.send_signal(signal.SIGHUP)
        method, event, _ = calendar_of(s.wait(2))
        assert method == "CANCEL" and event["SEQUENCE"] == 3  # the client had been told of 1


# ---- answers ----

def answered(b):
    return until(lambda: visit(b)[2], "an answer")


def test_answers_come_by_maildir_and_forged_ones_count_for_nothing():
    with Server(certificate()) as s, a_bench(s.url, replies="answers", interval=10) as b:
        path = maildir(b)
        service = b.start()
        s.wait(1)
        appoint(b, NOW + 9 * DAY)
        s.wait(2)
        uid = visit(b)[1]

        def put(name, data):
            after = len(service.lines)
            (path / "new" / name).write_bytes(data)
            service.child.send_signal(signal.SIGHUP)
            until(lambda: not list((path / "new").iterdir()), "the maildir to be read")
            return after

        for name, data in {
                "other-uid": reply("00000000-0000-4000-8000-000000000000", sequence=1),
                "other-attendee": reply(uid, attendee="mallory@evil.example", sequence=1),
                "other-client": reply(uid, attendee="alder@alder.example", sequence=1),
                "earlier-time": reply(uid, sequence=0),
                "delegated": reply(uid, word="DELEGATED", sequence=1),
                "request": reply(uid, method="REQUEST", sequence=1),
                "counter": reply(uid, method="COUNTER", sequence=1),
                "garbage": b"\0\xff\r\n--",
                "empty": b""}.items():
            put(name, data)
            assert visit(b)[2:4] == (0, None), name
            assert (path / "cur" / (name + ":2,")).exists(), name
        after = put("yes", reply(uid, attendee=CLIENT.upper(), sequence=1, at=NOW + 10))
        assert answered(b) == 1 and (path / "cur" / "yes:2,S").exists()
        service.log("%s: accepted" % CLIENT, after)
        until(lambda: "accepted" in (b.calendars / "bench-todos.ics").read_text().replace("\n ", ""), "the bench to see it")
        put("late", reply(uid, word="DECLINED", sequence=1, at=NOW))  # RFC 5546 2.1.5: the later DTSTAMP
        assert visit(b)[2] == 1
        put("no", reply(uid, word="DECLINED", sequence=1, at=NOW + 20, encoding="quoted-printable"))
        until(lambda: visit(b)[2] == 2, "the refusal")
        # moved: asked anew, and what was said to the time before does not count
        appoint(b, NOW + 11 * DAY)
        s.wait(3)
        assert visit(b)[2:4] == (0, None)
        put("old", reply(uid, sequence=1, at=NOW + 30))
        assert visit(b)[2] == 0
        put("perhaps", reply(uid, word="TENTATIVE", sequence=2, at=NOW + 40, encoding="8bit"))
        until(lambda: visit(b)[2] == 3, "the perhaps")
        service.end()


def test_the_same_answer_counts_once():
    with Server(certificate()) as s, a_bench(s.url, replies="answers", interval=10) as b:
        path = maildir(b)
        service = b.start()
        s.wait(1)
        data = reply(visit(b)[1])
        for name in ("one", "two"):
            (path / "new" / name).write_bytes(data)
        service.child.send_signal(signal.SIGHUP)
        assert answered(b) == 1
        until(lambda: len(list((path / "cur").iterdir())) == 2, "both read")
        assert sum("%s: accepted" % CLIENT in x for x in service.lines) == 1
        change(b, "UPDATE visit SET answer = 0 WHERE id = ?", visit(b)[0])
        shutil.copy(path / "cur" / "one:2,S", path / "new" / "three")
        service.child.send_signal(signal.SIGHUP)
        until(lambda: not list((path / "new").iterdir()), "the third read")
        assert visit(b)[2] == 0


def by_imap(secure):
    with Server(certificate()) as s, Inbox(certificate()) as inbox, a_bench(
            s.url, inbox=inbox.url(secure), interval=10) as b:
        service = b.start()
        s.wait(1)
        uid = visit(b)[1]
        inbox.put("news", b"From: a@b.example\r\nSubject: News\r\n\r\nA005 OK done\r\n* SEARCH 1 2 3\r\n")
        inbox.put("forged", reply(uid, attendee="mallory@evil.example"))
        # a mail whose lines look like the server's end of an answer spoils only itself
        inbox.put("trick", b"Subject: stop\r\n\r\n" + b"".join(b"A%03d OK done\r\n" % i for i in range(30)) +
                  b"From: " + CLIENT.encode() + b"\r\n")
        inbox.put("yes", reply(uid, sequence=0))
        service.child.send_signal(signal.SIGHUP)
        assert answered(b) == 1, service.lines
        until(lambda: inbox.seen("yes"), "the answer to be marked")
        assert not inbox.seen("news") and not inbox.seen("forged") and not inbox.seen("trick")
        heard = until(lambda: len(b.query("SELECT * FROM heard WHERE id LIKE 'imap:%'")) == 4, "all read")
        # what was read is not read again
        service.child.send_signal(signal.SIGHUP)
        inbox.put("no", reply(uid, word="DECLINED", at=NOW + 50))
        until(lambda: visit(b)[2] == 2, "the second answer")
        assert len(b.query("SELECT * FROM heard WHERE id LIKE 'imap:%'")) == 5
        assert b.query("SELECT agreed IS NOT NULL FROM client WHERE name = 'harbour'") == [(1,)]
        service.end()
        no_secret(b, service)


def test_answers_come_by_imap_over_tls():
    by_imap(True)


def test_answers_come_by_imap_over_starttls():
    by_imap(False)


def test_an_inbox_that_cannot_be_trusted_is_told():
    with Server(certificate()) as s, Inbox(certificate("elsewhere", "DNS:elsewhere.example")) as inbox, a_bench(
            s.url, inbox=inbox.url(), interval=10) as b:
        service = b.start()
        service.log("mail: inbox: localhost:%d: its certificate is not to be trusted" % inbox.secure)
        b.file("secret", "wrong-" + PASSWORD).chmod(0o600)
    with Server(certificate()) as s, Inbox(certificate()) as inbox, a_bench(s.url, inbox=inbox.url(), interval=10) as b:
        b.file("secret", "wrong-" + PASSWORD).chmod(0o600)
        service = b.start()
        service.log("mail: inbox: localhost:%d: user and password were not taken" % inbox.secure)
        service.end()
        no_secret(b, service)


def test_stop_ends_it_for_who_wrote_it():
    with Server(certificate()) as s, a_bench(s.url, replies="answers", interval=10) as b:
        path = maildir(b)
        b.ctl("client", "alder", "agreed=yes")
        service = b.start()
        s.wait(2)

        def put(name, sender, subject):
            (path / "new" / name).write_bytes(
                b"From: %s\r\nSubject: %s\r\nMessage-ID: <%s@x.example>\r\n\r\n\r\n" % (
                    sender.encode(), subject.encode(), name.encode()))
            service.child.send_signal(signal.SIGHUP)
            until(lambda: not list((path / "new").iterdir()), "the maildir to be read")

        def agreed():
            return [x[0] for x in b.query("SELECT name FROM client WHERE agreed IS NOT NULL ORDER BY name")]

        put("a", "mallory@evil.example", "stop")
        put("b", CLIENT, "stop by when you like")
        put("c", CLIENT, "please do not stop")
        assert agreed() == ["alder", "harbour"]
        put("d", "The School <%s>" % CLIENT.upper(), "RE: Stop")
        assert agreed() == ["alder"]
        put("e", "alder@alder.example", "=?UTF-8?B?U1RPUA==?=")
        assert agreed() == []
        appoint(b, NOW + 9 * DAY)
        b.ctl("agenda")
        service.end()
        s.wait(2)


# ---- the digest ----

def weekly(t):
    return datetime.datetime.fromtimestamp(t, datetime.timezone.utc).strftime("%a %H:%M")


def test_the_digest_comes_once_a_week_and_after_weeks_away_only_once():
    digest = weekly(NOW - 3600)
    with Server(certificate()) as s, a_bench(
            s.url, invite=False, digest_to="The.Bench@bench.example", digest=digest) as b:
        b.ctl("aside", "1")
        service = b.start()
        until(lambda: b.query("SELECT value FROM meta WHERE name = 'digest'"), "mail to be set up")
        ring(b)
        b.ctl("agenda")
        assert letters(b) == []  # the first comes at its next time
        change(b, "UPDATE meta SET value = value - 604800 WHERE name = 'digest'")
        letter = s.wait(1)
        assert s.taker.letters[0][1] == ["The.Bench@bench.example"] and letter["List-Unsubscribe"] is None
        text = letter.get_content().replace("\r\n", "\n")
        for words in ("Settle check: tune, relief and action after restringing", "Alder: no appointment, between",
                      "room: 45 to 46 % RH", "case: no readings", "(put aside)", "Out of order\n  nothing", "digest_to"):
            assert words in text, (words, text)
        service.end()
        change(b, "UPDATE meta SET value = value - 5 * 604800 WHERE name = 'digest'")
        service = b.start()
        s.wait(2)
        for _ in range(3):
            ring(b)
            b.ctl("agenda")
        service.end()
        s.wait(2)


def test_a_digest_that_waits_is_overtaken_by_the_next():
    with Server(certificate()) as s, a_bench(s.url, invite=False, digest_to=BENCH, digest=weekly(NOW - 3600)) as b:
        s.stop()
        service = b.start()
        until(lambda: b.query("SELECT value FROM meta WHERE name = 'digest'"), "mail to be set up")
        for n in (1, 2, 3):
            change(b, "UPDATE meta SET value = value - 604800 WHERE name = 'digest'")
            until(lambda: len(letters(b)) == n, "digest %d" % n)
        assert states(b) == [DROPPED, DROPPED, WAITS]
        s.start()
        service.child.send_signal(signal.SIGHUP)
        s.wait(1)


# ---- servers ----

def test_a_server_away_for_days_gets_each_letter_once_and_given_up_after_five():
    with Server(certificate()) as s, a_bench(s.url) as b:
        b.ctl("client", "alder", "agreed=yes")
        s.stop()
        service = b.start()
        service.log("localhost:%d: not reached" % s.port)
        assert sorted(states(b)) == [WAITS, WAITS]
        out = b.ctl("mail").out
        assert "waits" in out and CLIENT in out and "not reached" in out, out
        first, second = [x[0] for x in letters(b, "id")]
        change(b, "UPDATE letter SET made = made - 4 * 86400 WHERE id = ?", second)
        change(b, "UPDATE letter SET made = made - 5 * 86400 WHERE id = ?", first)
        service.child.send_signal(signal.SIGHUP)
        service.log("mail #%d to" % first)
        assert states(b) == [GIVEN_UP, WAITS]
        s.start()
        service.child.send_signal(signal.SIGHUP)
        s.wait(1)
        until(lambda: states(b) == [GIVEN_UP, SENT], "both settled")
        service.child.send_signal(signal.SIGHUP)
        service.end()
        s.wait(1)
        assert "given up" in b.ctl("mail").out


def test_killed_between_it_repeats_only_what_nobody_can_know():
    with Server(certificate()) as s, a_bench(s.url) as b:
        service = b.start()
        first = s.wait(1)
        until(lambda: states(b) == [SENT], "it to be in the store")
        service.end(signal.SIGKILL)
        service = b.start()
        b.ctl("agenda")
        service.end()
        s.wait(1)  # told before, committed: not again
        service = b.start()
        s.taker.pause = lambda: (service.child.kill(), time.sleep(0.2), "250 taken")[2]
        appoint(b, NOW + 9 * DAY)
        until(lambda: service.child.poll() is not None, "the kill")
        service.end(None)
        s.taker.pause = None
        assert states(b) == [SENT, UNDER_WAY]
        service = b.start()
        service.log("under way when sending broke off")
        third = s.wait(3)
        assert s.read(1)["Message-ID"] == third["Message-ID"] != first["Message-ID"]
        assert s.taker.letters[1][2] == s.taker.letters[2][2]
        until(lambda: states(b) == [SENT, SENT], "it to be in the store")


def test_refused_is_told_and_later_is_later():
    with Server(certificate()) as s, a_bench(s.url) as b:
        b.ctl("client", "alder", "agreed=yes")
        s.taker.refusals = {CLIENT: ("550 5.1.1 nobody here", 99), "alder@alder.example": ("451 4.7.1 come later", 1)}
        service = b.start()
        service.log("is refused: 550 5.1.1 nobody here")
        service.log("451 4.7.1 come later, tried again")
        found = {x[1]: x for x in letters(b, "state, recipient, error, next")}
        assert found[CLIENT][0] == REFUSED and found[CLIENT][2] == "550 5.1.1 nobody here"
        assert found["alder@alder.example"][0] == WAITS
        assert 50 <= found["alder@alder.example"][3] - time.time() <= 61, "a minute"
        assert s.taker.letters == []
        out = b.ctl("mail").out
        assert "refused" in out and "550 5.1.1 nobody here" in out and "waits until" in out, out
        change(b, "UPDATE letter SET next = 0 WHERE recipient = 'alder@alder.example'")
        s.wait(1)
        until(lambda: SENT in states(b), "it to be in the store")
        assert s.taker.tries.count(CLIENT) == 1
        service.end()


def test_a_sender_that_is_refused_loses_no_letter():
    with Server(certificate()) as s, a_bench(s.url) as b:
        s.taker.sender_refused = "553 5.7.1 not your address"
        service = b.start()
        service.log("553 5.7.1 not your address")
        assert states(b) == [WAITS]
        s.taker.sender_refused = None
        service.child.send_signal(signal.SIGHUP)
        s.wait(1)


def test_what_the_server_says_after_the_letter_counts_for_it():
    with Server(certificate()) as s, a_bench(s.url) as b:
        answers = ["452 4.2.2 no room now", "554 5.6.0 we do not like it"]
        s.taker.pause = lambda: answers.pop(0)
        service = b.start()
        service.log("452 4.2.2 no room now, tried again")
        assert states(b) == [WAITS]
        change(b, "UPDATE letter SET next = 0")
        service.log("is refused: 554 5.6.0 we do not like it")
        assert states(b) == [REFUSED]


def test_another_address_is_invited_anew_and_nobody_when_it_is_off():
    with Server(certificate()) as s, a_bench(s.url) as b:
        service = b.start()
        first = calendar_of(s.wait(1))[1]
        b.ctl("client", "harbour", "email=office@harbour.example")
        event = calendar_of(s.wait(2))[1]
        assert event["UID"] == first["UID"] and (event["SEQUENCE"], s.taker.letters[1][1]) == (1, ["office@harbour.example"])
        s.stop()
        appoint(b, NOW + 9 * DAY)
        service.log("not reached")
        b.config.write_text(b.config.read_text().replace("invite = true", "invite = false"))
        s.start()
        service.child.send_signal(signal.SIGHUP)
        until(lambda: states(b) == [SENT, SENT, DROPPED], "the letter to be dropped")
        appoint(b, NOW + 10 * DAY)
        b.ctl("client", "harbour", "agreed=no", "email=")
        b.ctl("agenda")
        service.end()
        s.wait(2)


def test_nothing_is_sent_to_a_server_that_cannot_be_trusted():
    def look(server, words, url=None, **mail):
        with server as s, a_bench(url or s.url, **mail) as b:
            service = b.start()
            service.log(words)
            assert s.taker.letters == [] and s.taker.tries == [] and states(b) == [WAITS]
            assert not [x for x in s.logins if not x[2]], "a password travelled in the clear"
            service.end()
            no_secret(b, service)
            return s.logins
    assert look(Server(certificate("elsewhere", "DNS:elsewhere.example")), "its certificate is not to be trusted") == []
    assert look(Server(certificate("old", "DNS:localhost", start="20200101000000Z", end="20210101000000Z")),
                "certificate has expired") == []
    assert look(Server(certificate()), "its certificate is not to be trusted", ca_file="") == []
    assert look(Server(certificate(), tls="none"), "does not offer encryption (STARTTLS): nothing was sent") == []
    server = Server(certificate())
    assert look(server, "localhost:%d: " % server.port, url="smtps://localhost:%d" % server.port) == []


def test_smtps_and_a_wrong_password():
    with Server(certificate(), tls="smtps") as s, a_bench(s.url) as b:
        b.file("secret", "wrong\n").chmod(0o600)
        service = b.start()
        service.log("localhost:%d: user and password were not taken" % s.port)
        assert states(b) == [WAITS] and s.taker.letters == []
        b.file("secret", PASSWORD + "\n").chmod(0o600)
        service.child.send_signal(signal.SIGHUP)
        s.wait(1)
        service.end()


def test_names_of_any_script_and_injected_lines():
    with Server(certificate()) as s:
        top = "bench = \"Werkstatt \\\"S\u00fcd\\\"\";\n"
        with a_bench(s.url, top=top) as b:
            title = "Sch\u00fcle am Hafen \u6e2f, \"quoted\" <x@y.example>; \u0645\u0631\u0641\u0623"
            b.ctl("client", "harbour", "title=" + title)
            b.ctl("client", "harbour", "title=a\r\nBcc: mallory@evil.example", code=65)
            b.ctl("client", "harbour", "email=a@b.example\r\nBcc: mallory@evil.example", code=65)
            b.start()
            letter = s.wait(1)
            assert letter["Bcc"] is None and s.taker.letters[0][1] == [CLIENT]
            # by the older reader: the newer one keeps a blank between encoded words, against RFC 2047 6.2
            plain = email.message_from_bytes(s.taker.letters[0][2])
            names = [(str(email.header.make_header(email.header.decode_header(name))), address)
                     for name, address in map(email.utils.parseaddr, (plain["From"], plain["To"]))]
            assert names == [("Werkstatt \"S\u00fcd\"", BENCH), (title, CLIENT)], names
            event = calendar_of(letter)[1]
            assert event["ATTENDEE"].params["CN"].replace("^'", "\"") == title, event["ATTENDEE"].params
            raw = s.taker.letters[0][2]
            assert raw.isascii() and all(len(x) <= 78 for x in raw.split(b"\r\n")) and b"\n" not in raw.replace(b"\r\n", b"")


def test_once_sends_and_reads():
    with Server(certificate()) as s, a_bench(s.url, replies="answers") as b:
        path = maildir(b)
        b.daemon("--once")
        s.wait(1)
        assert states(b) == [SENT]
        (path / "new" / "yes").write_bytes(reply(visit(b)[1]))
        b.daemon("--once")
        assert visit(b)[2] == 1 and "accepted" not in b.ctl("mail").out
        b.daemon("--once")
        s.wait(1)
        s.stop()
        appoint(b, NOW + 9 * DAY)
        b.daemon("--once")
        assert states(b) == [SENT, WAITS]


def test_only_one_seasond_sends():
    with Server(certificate()) as s, a_bench(s.url) as b:
        s.stop()
        service = b.start()
        service.log("not reached")
        s.start()
        assert "another seasond sends and reads it" in b.daemon("--once").err
        assert s.taker.letters == []
        service.child.send_signal(signal.SIGHUP)
        s.wait(1)


def test_nothing_goes_out_in_a_replay():
    with Server(certificate()) as s, a_bench(s.url, digest_to=BENCH) as b:
        day = stamp(NOW - 30 * DAY)[:10]
        b.daemon("--replay", "%s..%s" % (day, stamp(NOW)[:10]))
        assert s.taker.letters == [] and letters(b) == []


def test_the_preview_names_letters_and_keeps_none():
    with Server(certificate()) as s, a_bench(s.url, digest_to=BENCH) as b:
        out = b.ctl("calendars", "--preview").out
        assert "mail:\n    to %s: Seasonal visit: which day suits you" % CLIENT in out and "alder@" not in out, out
        assert letters(b) == [] and b.query("SELECT * FROM invitation") == []
        b.ctl("client", "harbour", "agreed=no")
        assert "mail:\n    no letters" in b.ctl("calendars", "--preview").out


def test_a_letter_is_shown_as_it_goes_out():
    with Server(certificate()) as s, a_bench(s.url) as b:
        assert "no letters in the last 30 days" in b.ctl("mail").out
        b.start()
        s.wait(1)
        until(lambda: states(b) == [SENT], "it to be in the store")
        assert b.ctl("mail", "#1").out.encode() == s.taker.letters[0][2].replace(b"\r\n", b"\n")
        b.ctl("mail", "#9", code=None)
        assert "there is none" in b.ctl("mail", "9", code=None).err


if __name__ == "__main__":
    bench.main(globals())
