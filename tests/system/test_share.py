#!/usr/bin/python3 -B
"""Calendars on CalDAV servers, kept in step both ways: live Radicale (TLS with an authority of ours, a password) and live
Xandikos, a person with other programs at the same calendars (plain requests, python3-caldav, tsdav), and a proxy in between that
counts, cuts and holds. Of the standards: RFC 4791 (CalDAV), 6578 (sync), 6764 (finding), 5545 (what is in an entry)."""
import concurrent.futures
import contextlib
import datetime
import os
import pathlib
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import threading
import time

import bench
from bench import Bench, Skip, until
from calproxy import Person, Proxy, lines, unfolded, value, with_lines
from davserver import Radicale, Xandikos
from webserver import Authority

NOW = int(time.time())
DAY = 86400
USER, PASSWORD = "bench", "a-secret-of-ours"

MODULES = pathlib.Path(os.environ.get("SEASOND_NODE_MODULES", bench.BUILD / "npm/node_modules")).resolve()

SETTINGS = """zone = "UTC";
store = "bench.db";
library = [ "%s/conf", "rules" ];
places = ( { name = "room"; band = [40, 60]; } );
sensors = ( { name = "room"; place = "room"; silent_after = "20 d"; } );
sources = ( { name = "drop"; kind = "spool"; path = "spool"; } );
outputs = ( %%s );
""" % bench.REPO

OUTPUT = """{ name = "%(name)s"; server = "%(url)s"; show = "%(show)s"; %(more)s }"""


class Site:
    """A server, a proxy before it, a bench behind it and a person beside it."""

    def __init__(self, kind, show="todos", direct=False, more='interval = "10 s";', n=1):
        self.stack = contextlib.ExitStack()
        self.b = self.stack.enter_context(Bench())
        self.kind, self.show, self.more = kind, show, more
        (self.b.folder / "rules").mkdir()
        (self.b.folder / "servers").mkdir()
        if kind == "radicale":
            authority = Authority()
            self.stack.callback(authority.remove)
            self.ca = authority.ca
            self.server = Radicale(self.b.folder / "servers", tls=authority.certificate("localhost", "DNS:localhost"),
                                   users={USER: PASSWORD})
            self.person = Person(self.server.url, USER, PASSWORD)
        else:
            self.server = Xandikos(self.b.folder / "servers")
            self.person = Person(self.server.url)
        self.stack.enter_context(self.server)
        self.proxy = self.stack.enter_context(Proxy(self.server.url))
        self.password(PASSWORD)
        self.settings([self.output(url=self.server.url if direct else None)])
        for i in range(n):
            self.instrument("one" if n == 1 else "i%03d" % i)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.stack.close()

    def password(self, text):
        path = self.b.file("password", text + "\n")
        path.chmod(0o600)

    def output(self, name="bench", url=None, show=None, more=None):
        words = self.more if more is None else more
        if self.kind == "radicale":
            words += ' auth = "basic"; user = "%s"; credential = "%s/password"; ca_file = "%s";' % (USER, self.b.folder, self.ca)
        return OUTPUT % {"name": name, "url": url or self.proxy.url, "show": show or self.show, "more": words}

    def settings(self, outputs):
        self.b.config.write_text(SETTINGS % ", ".join(outputs))

    def instrument(self, name, *more):
        """One with a job open since now: look it over after new strings."""
        self.b.ctl("instrument", name, "build=parlour", "place=room", "since=" + bench.stamp(NOW - 30 * DAY), *more)
        self.b.ctl("finding", name, "restrung", "--at", bench.stamp(NOW - DAY))

    def many(self, n):
        """So many at once, by a text of records."""
        each = """{ name = "i%%03d"; build = "parlour"; since = "%s+00:00"; stays = ( { at = "%s+00:00"; place = "room"; } );
            findings = ( { at = "%s+00:00"; restrung = true; } ); }""" % tuple(
            bench.stamp(NOW - x * DAY).replace(" ", "T") for x in (30, 30, 1))
        self.b.file("records", "instruments = ( %s );" % ",\n".join(each % i for i in range(n)))
        self.b.ctl("records", "apply", "records")

    def band(self, low):
        """What is dry for the room."""
        self.b.config.write_text(re.sub(r"band = .[^,]*, [0-9.]*", "band = [%.1f, 60.0" % low, self.b.config.read_text()))

    def once(self, code=0):
        return self.b.daemon("--once", code=code)

    def path(self, edition="bench", kind=1):
        """Of a collection, as the store knows it."""
        found = self.b.query("SELECT url FROM collection WHERE edition = ? AND kind = ?", edition, kind)
        return re.sub("^https?://[^/]*", "", found[0][0]) if found else None

    def items(self, edition="bench", kind=1):
        return self.person.items(self.path(edition, kind))

    def only(self):
        """(UID, href, text) of the one entry there."""
        found = self.items()
        assert len(found) == 1, found
        (uid, (href, text)), = found.items()
        return uid, href, text

    def agenda(self):
        """{uid: (state, closed, by, moved)}; 0 open, 1 done, 2 withdrawn, 3 put aside."""
        rows = self.b.query("SELECT uid, state, closed, due_by, moved FROM item")
        return {uid: tuple(rest) for uid, *rest in rows}

    def resources(self):
        return {uid: (state, outcome) for uid, state, outcome in self.b.query("SELECT uid, state, outcome FROM resource")}

    def quiet(self):
        """Nothing is sent when there is nothing new."""
        self.proxy.forget()
        self.once()
        assert self.proxy.count("PUT", "DELETE", "MKCALENDAR") == 0, self.proxy.asks

    def log(self):
        return self.server.log.read_text()


def utc(t):
    return datetime.datetime.fromtimestamp(t, datetime.timezone.utc).strftime("%Y%m%dT%H%M%SZ")


def day(t):
    return datetime.datetime.fromtimestamp(t, datetime.timezone.utc).strftime("%Y%m%d")


def tick(text, at):
    """As a to-do program ticks (RFC 5545 3.6.2, 3.8.1.11, 3.8.2.1)."""
    return with_lines(text, "STATUS:COMPLETED", "COMPLETED:" + utc(at), "PERCENT-COMPLETE:100", "LAST-MODIFIED:" + utc(at),
                      without=("STATUS", "COMPLETED", "PERCENT-COMPLETE", "LAST-MODIFIED"))


def written(text, *more):
    """With lines at the end of the description."""
    words = (value(text, "DESCRIPTION") or "") + "".join("\n" + x for x in more)
    escaped = words.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")
    return with_lines(text, "DESCRIPTION:" + escaped, without=("DESCRIPTION",))


# ---- on both servers ----

def check_create(kind):
    with Site(kind, n=3) as s:
        s.once()
        found = s.items()
        assert set(found) == {u for u, row in s.agenda().items() if row[0] == 0} and len(found) == 3
        for uid, (href, text) in found.items():
            assert href.endswith(uid + ".ics") and "METHOD" not in text and value(text, "STATUS") != "COMPLETED"
        assert s.proxy.count("PUT") == 3
        s.quiet()


def check_tick(kind):
    with Site(kind, n=2) as s:
        s.once()
        (first, (href, _)), (second, (other, _)) = sorted(s.items().items())
        at = int(time.time())
        s.person.edit(href, lambda t: tick(t, at))
        s.person.edit(other, lambda t: tick(t, NOW - 3 * DAY))  # before it was called for
        s.once()
        opened = s.b.query("SELECT opened FROM item WHERE uid = ?", second)[0][0]
        assert s.agenda()[first][:2] == (1, at) and s.agenda()[second][:2] == (1, opened), s.agenda()
        s.quiet()  # the rule rests, and what the person wrote stands
        assert len(s.agenda()) == 2
        assert value(s.items()[first][1], "COMPLETED") == utc(at)
        assert value(s.items()[second][1], "COMPLETED") == utc(NOW - 3 * DAY)


def check_move(kind):
    with Site(kind) as s:
        s.once()
        uid, href, text = s.only()
        to = NOW + 40 * DAY
        s.person.edit(href, lambda t: with_lines(t, "DUE;VALUE=DATE:" + day(to), without=("DUE",)))
        s.once()
        moved = s.agenda()[uid]
        assert moved[0] == 0 and moved[3] // DAY == to // DAY, moved
        for _ in range(3):
            s.quiet()
            assert value(s.only()[2], "DUE") == day(to)
        assert bench.stamp(to)[:10] in s.b.ctl("agenda").out


def check_moved_until_the_reason_changes(kind):
    """A moved day holds while the air is as dry for its place as it was, and ends when it is much drier for it."""
    with Site(kind, n=0) as s:
        rows = bench.rows(NOW - 8 * DAY, 8 * 144, rh=37.0)
        s.b.ctl("import", s.b.file("air.csv", bench.export(rows)), "--sensor", "room")
        s.once()
        uid, href, text = s.only()
        to = NOW + 60 * DAY
        s.person.edit(href, lambda t: with_lines(t, "DUE;VALUE=DATE:" + day(to), without=("DUE",)))
        s.once()
        s.band(40.5)
        s.once()
        assert value(s.only()[2], "DUE") == day(to) and s.agenda()[uid][3] // DAY == to // DAY
        s.band(55)
        s.once()
        assert s.agenda()[uid][0] == 0 and s.agenda()[uid][3] is None, s.agenda()
        assert value(s.only()[2], "DUE") == day(s.agenda()[uid][2]) != day(to)
        s.quiet()


def check_delete(kind):
    with Site(kind, n=3) as s:
        s.once()
        gone = sorted(s.items())[1]
        s.person.delete(s.items()[gone][0])
        s.once()
        assert s.agenda()[gone][0] == 3 and len(s.items()) == 2
        assert s.resources()[gone][0] == 2, s.resources()
        assert sum(row[0] == 0 for row in s.agenda().values()) == 2
        s.quiet()


def check_lines(kind):
    with Site(kind) as s:
        s.once()
        uid, href, text = s.only()
        s.person.edit(href, lambda t: written(t, "relief .010 tuner 1/6", "relief a hair more than last time", "Call Ms Alder"))
        s.once()
        found = s.b.query("SELECT kind, value FROM finding WHERE text = 'from the calendar' ORDER BY value")
        assert len(found) == 2, found
        assert abs(found[0][1] - 0.010 * 0.0254) < 1e-9 and abs(found[1][1] - 1 / 6) < 1e-9, found
        words = value(s.only()[2], "DESCRIPTION")
        assert "Noted: relief" in words and "Not noted: " in words and words.count("Call Ms Alder") == 1, words
        for line in ("relief .010 tuner 1/6", "relief a hair more than last time"):
            assert words.split("\n").count(line) == 1, words
        for _ in range(3):
            s.quiet()
        assert len(s.b.query("SELECT 1 FROM finding WHERE text = 'from the calendar'")) == 2


FOREIGN = ["X-THEIR-SORT-ORDER:4711", "X-SOMETHING;X-PARAM=\"a;b\":with\\, commas", "CATEGORIES:Hers,Bench",
           "COLOR:tomato"]
ALARM = ["BEGIN:VALARM", "ACTION:DISPLAY", "DESCRIPTION:mine", "TRIGGER:-PT3H", "X-THEIR-LASTACK:20260101T000000Z", "END:VALARM"]


def check_foreign(kind):
    with Site(kind) as s:
        s.once()
        uid, href, text = s.only()
        s.person.edit(href, lambda t: with_lines(t, "SUMMARY:Her own words", *FOREIGN, *ALARM, without=("SUMMARY", "CATEGORIES")))
        s.once()
        s.proxy.forget()
        s.b.ctl("finding", "one", "settled")  # done by us
        s.once()
        assert s.proxy.count("PUT") == 1
        after = s.only()[2]
        assert value(after, "STATUS") == "COMPLETED" and value(after, "SUMMARY") == "Her own words"
        have = lines(after)
        for line in FOREIGN + ALARM:
            assert line in have, (line, after)
        s.quiet()


def check_conflict(kind):
    """A person writes between our look and our put: 412, read again, merged, put again (RFC 4791 5.3.4)."""
    with Site(kind) as s:
        s.once()
        uid, href, text = s.only()
        raced = []

        def race(ask):
            if ask.method == "PUT" and not raced:
                raced.append(ask)
                s.person.edit(href, lambda t: with_lines(t, "SUMMARY:Written in that moment", without=("SUMMARY",)))

        s.b.ctl("finding", "one", "settled")
        s.proxy.hook = race
        s.proxy.forget()
        s.once()
        assert [a.status for a in s.proxy.asks if a.method == "PUT"][0] == 412, s.proxy.asks
        assert s.proxy.count("PUT") == 2, s.proxy.asks
        after = s.only()[2]
        assert value(after, "SUMMARY") == "Written in that moment" and value(after, "STATUS") == "COMPLETED"
        s.proxy.hook = None
        s.quiet()


def check_stubborn(kind):
    """Someone who writes each time we do: we give up after three, say so, and come back later."""
    with Site(kind) as s:
        s.once()
        uid, href, text = s.only()
        count = []

        def race(ask):
            if ask.method == "PUT":
                count.append(1)
                s.person.edit(href, lambda t: with_lines(t, "X-COUNT:%d" % len(count), without=("X-COUNT",)))

        s.b.ctl("finding", "one", "settled")
        s.proxy.hook = race
        s.once()
        assert len(count) == 3 and s.resources()[uid][0] == 3, (count, s.resources())
        assert "again and again" in s.b.ctl("calendars").out
        s.proxy.hook = None
        s.once()
        assert value(s.only()[2], "STATUS") == "COMPLETED" and value(s.only()[2], "X-COUNT") == "3"
        assert s.resources()[uid] == (0, "")


def check_lost_answer(kind):
    """Puts whose answers are lost, at create and at change: no second entry, nothing of ours is taken for a person's."""
    with Site(kind) as s:
        s.proxy.hook = lambda ask: "cut answer" if ask.method == "PUT" else None
        s.once(code=74)
        s.proxy.hook = None
        s.once()
        uid, href, text = s.only()
        assert s.agenda()[uid][0] == 0
        s.b.ctl("instrument", "one", "title=Another name altogether")
        s.proxy.hook = lambda ask: "cut answer" if ask.method == "PUT" else None
        s.once(code=74)
        s.proxy.hook = None
        s.once()
        s.quiet()
        assert "Another name altogether" in unfolded(s.only()[2])
        assert s.agenda()[uid][0] == 0 and s.agenda()[uid][3] is None
        assert not s.b.query("SELECT 1 FROM noted") and not s.b.query("SELECT 1 FROM finding WHERE text = 'from the calendar'")


def check_lost_answer_of_other_words(kind):
    """The answer to a put of new reasons is lost: our own new lines are not taken for a person's."""
    with Site(kind, n=0) as s:
        rows = bench.rows(NOW - 8 * DAY, 8 * 144, rh=37.0)
        s.b.ctl("import", s.b.file("air.csv", bench.export(rows)), "--sensor", "room")
        s.once()
        before = value(s.only()[2], "DESCRIPTION")
        s.band(55)
        s.proxy.hook = lambda ask: "cut answer" if ask.method == "PUT" else None
        s.once(code=74)
        s.proxy.hook = None
        s.once()
        after = value(s.only()[2], "DESCRIPTION")
        assert after != before and not set(after.split("\n")) & set(before.split("\n")[:2]), after
        assert not s.b.query("SELECT * FROM noted"), s.b.query("SELECT * FROM noted")
        assert [row[3] for row in s.agenda().values()] == [None]
        s.quiet()


def check_killed(kind):
    """seasond is killed at every place of publishing, then left alone: each entry is there once."""
    with Site(kind, n=0) as s:
        s.many(30)
        for at in (1, 2, 3, 5, 6, 7, 10, 13, 21):
            seen, children = [], []

            def kill(ask, seen=seen, at=at, children=children):
                seen.append(ask)
                if len(seen) == at:
                    until(lambda: children, "the program's number")
                    children[-1].kill()
                    return "cut" if at % 2 else None

            s.proxy.hook = kill
            with open(s.b.folder / "err", "wb") as err:
                children.append(subprocess.Popen([bench.program("seasond"), "--config", str(s.b.config), "--once"],
                                                 stderr=err))
            children[-1].wait(bench.LIMIT_S)
        s.proxy.hook = None
        s.once()
        assert set(s.items()) == set(s.agenda()) and all(r[0] == 0 for r in s.agenda().values())
        s.quiet()
        s.b.whole()


def check_server_killed(kind):
    """The server is killed in mid-publish and comes back, twice, and seasond with it."""
    with Site(kind, n=0) as s:
        s.many(60)
        for at in (17, 23):
            puts = []

            def kill(ask, at=at, puts=puts):
                if ask.method == "PUT":
                    puts.append(ask)
                    if len(puts) == at:
                        s.server.stop(signal.SIGKILL)

            s.proxy.hook = kill
            s.once(code=74)
            s.server.start()
        s.proxy.hook = None
        s.once()
        assert set(s.items()) == set(s.agenda()) and len(s.agenda()) == 60
        s.quiet()


def check_away(kind):
    """Days without the server come to one put an entry."""
    with Site(kind, n=2) as s:
        s.once()
        s.server.stop(signal.SIGKILL)
        uid = s.b.query("SELECT uid FROM item WHERE subject = 'i000'")[0][0]
        for i in range(4):
            s.b.ctl("instrument", "i000", "title=Name %d" % i)
            s.once(code=74)
        told = s.b.ctl("calendars").out
        assert "localhost" in told, told
        s.server.start()
        s.proxy.forget()
        s.once()
        assert s.proxy.count("PUT") == 1, s.proxy.asks
        assert "Name 3" in s.items()[uid][1]
        s.quiet()


def check_wiped(kind):
    with Site(kind, n=3) as s:
        s.once()
        before = s.items()
        noted = sorted(before)[0]
        s.person.edit(before[noted][0], lambda t: with_lines(t, "SUMMARY:Her own words", without=("SUMMARY",)))
        s.once()
        s.person.delete(s.path())
        s.once()
        after = s.items()
        assert set(after) == set(before) and value(after[noted][1], "SUMMARY") == "Her own words"
        assert all(r[0] == 0 for r in s.agenda().values())
        s.quiet()


def check_emptied(kind):
    """The calendar stays, all entries go."""
    with Site(kind, n=3) as s:
        s.once()
        before = s.items()
        for href, _ in before.values():
            s.person.delete(href)
        s.once()
        assert set(s.items()) == set(before) and all(r[0] == 0 for r in s.agenda().values())
        s.quiet()


def check_elsewhere(kind):
    """A person moves an entry to a calendar of their own: it is read there, and our news goes there."""
    with Site(kind, n=2) as s:
        s.once()
        uid = sorted(s.items())[0]
        href, text = s.items()[uid]
        own = re.sub("[^/]*/$", "hers/", s.path())
        s.person.make(own)
        s.person.delete(href)
        s.person.put(own + "moved.ics", text)
        s.once()
        assert s.agenda()[uid][0] == 0 and s.resources()[uid][0] == 1, (s.agenda(), s.resources())
        assert uid not in s.items()
        subject = s.b.query("SELECT subject FROM item WHERE uid = ?", uid)[0][0]
        s.b.ctl("instrument", subject, "title=The moved one")
        s.once()
        assert "The moved one" in s.person.get(own + "moved.ics")
        s.person.edit(own + "moved.ics", lambda t: tick(t, NOW - 50))
        s.once()
        assert s.agenda()[uid][0] == 1
        s.quiet()
        assert "another calendar" in s.b.ctl("calendars").out


def check_elsewhere_and_back(kind):
    """An entry that was moved comes back; another that was moved is deleted there."""
    with Site(kind, n=3) as s:
        s.once()
        own = re.sub("[^/]*/$", "hers/", s.path())
        s.person.make(own)
        back, gone = sorted(s.items())[:2]
        texts = {}
        for uid in (back, gone):
            href, texts[uid] = s.items()[uid]
            s.person.delete(href)
            s.person.put(own + uid + ".ics", texts[uid])
        s.once()
        assert s.resources()[back][0] == s.resources()[gone][0] == 1
        s.quiet()
        for uid in (back, gone):
            s.person.delete(own + uid + ".ics")
        s.person.put(s.path() + "back.ics", with_lines(texts[back], "X-BACK:yes"))
        s.once()
        assert s.resources()[back] == (0, "") and s.items()[back][0].endswith("back.ics"), s.resources()
        assert s.agenda()[back][0] == 0 and s.agenda()[gone][0] == 3, s.agenda()
        s.quiet()


def check_renamed(kind):
    """A program that writes each change under a new name in the same calendar."""
    with Site(kind, n=2) as s:
        s.once()
        uid = sorted(s.items())[0]
        href, text = s.items()[uid]
        s.person.delete(href)
        s.person.put(s.path() + "other-name.ics", with_lines(text, "SUMMARY:Renamed", without=("SUMMARY",)))
        s.once()
        assert s.agenda()[uid][0] == 0 and s.items()[uid][0].endswith("other-name.ics")
        s.quiet()


def check_uid_taken(kind):
    """A store from a backup, which knows nothing of an entry that stands there under another name (RFC 4791 5.3.2.1,
    no-uid-conflict): it is found, and there is no second one."""
    with Site(kind, n=2) as s:
        s.once()
        uid = sorted(s.items())[0]
        href, text = s.items()[uid]
        s.person.delete(href)
        s.person.put(s.path() + "other-name.ics", with_lines(text, "X-KEPT:yes"))
        with contextlib.closing(sqlite3.connect(s.b.store)) as db:
            db.execute("DELETE FROM resource")
            db.commit()
        s.once()
        found = s.items()
        assert len(found) == 2 and value(found[uid][1], "X-KEPT") == "yes" and found[uid][0].endswith("other-name.ics")
        assert all(r[0] == 0 for r in s.agenda().values()), s.agenda()
        assert not s.b.query("SELECT 1 FROM noted WHERE answer != ''")
        s.quiet()


def check_others_entries(kind):
    """What is not ours is not touched, not even at an address that we would have taken."""
    with Site(kind) as s:
        s.once()
        uid, href, text = s.only()
        theirs = with_lines(text, "UID:of-someone-else", "SUMMARY:Theirs", without=("UID", "SUMMARY"))
        s.person.put(s.path() + "theirs.ics", theirs)
        second = "second"
        s.instrument(second)
        new = s.b.query("SELECT uid FROM item WHERE subject = 'second'")[0][0]
        s.person.put(s.path() + new + ".ics", theirs.replace("of-someone-else", "of-a-third"))
        s.once()
        assert s.resources()[new][0] == 3 and "another UID" in s.resources()[new][1], s.resources()
        found = s.items()
        assert value(found["of-someone-else"][1], "SUMMARY") == value(found["of-a-third"][1], "SUMMARY") == "Theirs"
        s.b.ctl("aside", str(s.b.query("SELECT id FROM item WHERE uid = ?", new)[0][0]))
        s.once()
        assert set(s.items()) == {uid, "of-someone-else", "of-a-third"}


def check_garbage(kind):
    """What stands at an entry's address is none any more: told, and well again once it can be read."""
    with Site(kind) as s:
        s.once()
        uid, href, text = s.only()
        broken = {}
        forward = s.proxy.forward

        def garble(ask):
            status, headers, body = forward(ask)
            if b"BEGIN:VTODO" in body and broken:
                body = body.replace(b"BEGIN:VTODO", b"BEGIN:VSOMETHING").replace(b"END:VTODO", b"END:VSOMETHING")
            return status, headers, body

        s.proxy.forward = garble
        broken["yes"] = True
        s.person.edit(href, lambda t: with_lines(t, "X-A:1"))
        s.once()
        assert s.resources()[uid][0] == 3 and "cannot be read" in s.resources()[uid][1], s.resources()
        assert s.agenda()[uid][0] == 0
        broken.clear()
        s.person.edit(href, lambda t: with_lines(t, "X-B:1"))
        s.once()
        assert s.resources()[uid] == (0, "")
        assert {"X-A:1", "X-B:1"} <= set(lines(s.only()[2]))
        s.quiet()


def check_put_aside_and_done_by_us(kind):
    with Site(kind, n=2) as s:
        s.once()
        rows = s.b.query("SELECT id, uid FROM item ORDER BY id")
        s.b.ctl("done", str(rows[0][0]))
        s.b.ctl("aside", str(rows[1][0]))
        s.once()
        found = s.items()
        assert set(found) == {rows[0][1]} and value(found[rows[0][1]][1], "STATUS") == "COMPLETED"
        s.quiet()


def check_idle(kind):
    """A hundred runs without news send no PUT; one changed item sends exactly one."""
    with Site(kind, n=3) as s:
        s.once()
        s.proxy.forget()
        for _ in range(100):
            s.once()
        assert s.proxy.count("PUT", "DELETE", "MKCALENDAR", "PROPPATCH") == 0
        print("# requests of an idle run: %.1f" % (s.proxy.count() / 100))
        s.b.ctl("instrument", "i001", "title=Changed")
        s.once()
        assert s.proxy.count("PUT") == 1


def check_service(kind):
    """The service: put at once, a tick read back within the interval, an idle settle sends nothing at all."""
    with Site(kind) as s:
        service = s.b.start()
        until(lambda: s.path() and s.items(), "the first entry")
        uid, href, text = s.only()
        until(lambda: s.b.query("SELECT worked FROM collection WHERE worked IS NOT NULL"), "the round")
        s.instrument("second")
        until(lambda: len(s.items()) == 2, "the second entry")
        at = int(time.time())
        s.person.edit(href, lambda t: tick(t, at))
        until(lambda: s.agenda()[uid][:2] == (1, at), "the tick")
        assert service.end() == 0
        s.quiet()


def check_events(kind):
    """Both kinds: a collection each, with the same UIDs; events of what is done go."""
    with Site(kind, show="both", n=2) as s:
        s.once()
        assert s.path(kind=0) != s.path(kind=1)
        assert set(s.items(kind=0)) == set(s.items(kind=1)) == set(s.agenda())
        assert all("BEGIN:VEVENT" in t for _, t in s.items(kind=0).values())
        uid = sorted(s.agenda())[0]
        href, text = s.items(kind=0)[uid]
        to = NOW + 3 * DAY
        s.person.edit(href, lambda t: with_lines(t, "DTSTART;VALUE=DATE:" + day(to), "DTEND;VALUE=DATE:" + day(to + DAY),
                                                 without=("DTSTART", "DTEND")))
        s.once()
        assert s.agenda()[uid][3] // DAY == to // DAY
        assert value(s.items(kind=1)[uid][1], "DUE") == day(to)
        assert value(s.items(kind=0)[uid][1], "DTSTART") == day(to)
        s.quiet()
        s.person.delete(s.items(kind=0)[uid][0])
        s.once()
        assert s.agenda()[uid][0] == 3 and uid not in s.items(kind=1) and uid not in s.items(kind=0)
        s.quiet()


def check_round(kind):
    """The weekly round has no item behind it: a person who deletes it is left in peace."""
    with Site(kind, show="both", n=1, more='round = "Mon 09:00";') as s:
        s.once()
        weekly = set(s.items(kind=0)) - set(s.agenda())
        assert len(weekly) == 1 and set(s.items(kind=1)) == set(s.agenda())
        uid = weekly.pop()
        assert "RRULE:FREQ=WEEKLY" in s.items(kind=0)[uid][1]
        s.quiet()
        s.person.delete(s.items(kind=0)[uid][0])
        for _ in range(3):
            s.once()
            assert set(s.items(kind=0)) == set(s.items(kind=1)) == set(s.agenda())


class Soak:
    """Persons, the bench and faults at random; what has to be true at the end is kept beside."""

    def __init__(self, s, seed):
        self.s, self.random = s, random.Random(seed)
        self.deleted, self.ticked, self.aside, self.own, self.noted = set(), set(), set(), {}, {}
        self.names = 0

    def some(self, among):
        among = sorted(among)
        return self.random.choice(among) if among else None

    def entry(self, but=()):
        """(UID, href) of something on the server; some are never deleted, so that the calendar is never empty."""
        found = {u: h for u, (h, _) in self.s.items().items() if u not in but} if self.s.path() else {}
        uid = self.some(found)
        return uid, found.get(uid)

    def person(self):
        act = self.random.choice(["tick", "own", "own", "line", "delete", "rename"])
        kept = set(sorted(self.s.agenda())[:4])
        uid, href = self.entry({"delete": kept | set(self.noted), "tick": self.ticked, "line": set(self.noted)}.get(act, ()))
        if not uid:
            return
        if act == "tick":
            self.s.person.edit(href, lambda t: tick(t, int(time.time())))
            self.ticked.add(uid)
        elif act == "own":
            line = "X-OWN-%d:of hers" % self.random.randrange(10 ** 6)
            self.own.setdefault(uid, []).append(line)
            self.s.person.edit(href, lambda t: with_lines(t, line))
        elif act == "line":
            self.noted[uid] = 5 + len(self.noted)
            self.s.person.edit(href, lambda t: written(t, "relief .0%02d" % self.noted[uid]))
        elif act == "delete":
            self.s.person.delete(href)
            self.deleted.add(uid)
        else:
            text = self.s.person.get(href)
            self.s.person.delete(href)
            self.s.person.put(re.sub("[^/]*$", "n%06d.ics" % self.random.randrange(10 ** 6), href), text)

    def bench(self):
        act = self.random.choice(["new", "title", "title", "done", "aside"])
        rows = self.s.b.query("SELECT id, uid, subject FROM item WHERE state = 0 ORDER BY subject")
        if act == "new" or not rows:
            self.names += 1
            self.s.instrument("x%03d" % self.names)
            return
        item, uid, subject = self.random.choice(rows)
        if act == "title":
            self.s.b.ctl("instrument", subject, "title=Title %d" % self.random.randrange(1000))
        elif uid not in self.ticked:
            self.s.b.ctl(act, str(item))
            self.aside |= {uid} if act == "aside" else set()

    def round(self):
        """seasond once, with a fault in most of them."""
        at, fault = self.random.randrange(1, 12), self.random.choice([None, "cut", "cut answer", "kill", "race"])
        seen, child = [], []

        def hook(ask):
            seen.append(ask)
            if len(seen) < at or not fault or (fault != "race" and len(seen) > at):
                return "cut" if fault == "kill" and len(seen) > at else None
            if fault == "race":
                if ask.method == "PUT" and len(seen) < at + 2:
                    self.person()
                return None
            if fault == "kill":
                child[0].kill()
                return self.random.choice([None, "cut"])
            return fault

        with open(self.s.b.folder / "err", "wb") as err:
            self.s.proxy.hook = hook if fault != "kill" else None
            child.append(subprocess.Popen([bench.program("seasond"), "--config", str(self.s.b.config), "--once"], stderr=err))
            self.s.proxy.hook = hook
        child[0].wait(bench.LIMIT_S)
        assert child[0].returncode in (0, 74, -9), (self.s.b.folder / "err").read_text()
        self.s.proxy.hook = None

    def check(self):
        self.s.once()
        self.s.once()
        self.s.quiet()
        agenda, found = self.s.agenda(), self.s.items()
        want = {u for u, row in agenda.items() if row[0] in (0, 1)} - self.deleted
        assert set(found) == want, (set(found) ^ want, agenda, self.s.resources())
        for uid in self.deleted | self.ticked:
            assert agenda[uid][0] in ((1, 3) if uid in self.ticked else (3, 1)), (uid, agenda)
        for uid, lines_of in self.own.items():
            if uid in found:
                assert not set(lines_of) - set(lines(found[uid][1])), (uid, lines_of, found[uid][1])
        noted = self.s.b.query("SELECT value FROM finding WHERE text = 'from the calendar'")
        want = sorted(n * 0.001 * 0.0254 for n in self.noted.values())
        assert [round(v[0], 9) for v in sorted(noted)] == [round(v, 9) for v in want], (noted, want)
        assert not self.s.b.query("SELECT 1 FROM noted WHERE answer LIKE 'Not noted%'"), self.s.b.query("SELECT * FROM noted")
        heard = {line for line, in self.s.b.query("SELECT line FROM noted")}
        assert heard == {"relief .0%02d" % n for n in self.noted.values()}, heard
        titles = dict(self.s.b.query("SELECT item.uid, title FROM item JOIN instrument ON name = subject"))
        for uid, (_, text) in found.items():
            words = value(text, "DESCRIPTION").split("\n")
            assert len(set(words)) == len(words), words
            assert value(text, "SUMMARY").startswith(titles[uid]), (titles[uid], text)


def check_soak(kind):
    for seed in [int(os.environ["SEED"])] if "SEED" in os.environ else (1, 2):
        with Site(kind, n=8) as s:
            soak = Soak(s, seed)
            s.once()
            for i in range(14):
                for _ in range(soak.random.randrange(3)):
                    soak.person()
                for _ in range(soak.random.randrange(2)):
                    soak.bench()
                soak.round()
                if i % 7 == 6:
                    soak.check()


def check_clients(kind):
    """Each client a calendar of their own, with nothing of the other."""
    with Site(kind, n=0, more='each = "client";') as s:
        for name in ("ash", "birch"):
            s.b.ctl("client", name, "title=Client " + name)
            s.instrument("of-" + name, "client=" + name, "title=Guitar of " + name)
        s.once()
        for name, other in (("ash", "birch"), ("birch", "ash")):
            found = s.items("bench-" + name)
            assert len(found) >= 1
            assert all(name in t and other not in t for _, t in found.values()), found
        s.quiet()
        for href, _ in s.items("bench-ash").values():  # a visit: all its jobs are done
            s.person.edit(href, lambda t: tick(t, int(time.time())))
        s.once()
        states = dict(s.b.query("SELECT subject, state FROM item"))
        assert states == {"of-ash": 1, "of-birch": 0}, states
        s.quiet()


def check_redirects(kind):
    """Every request is sent elsewhere first, by 301, 307 and 308 in turn: to its address in other percent-encoding. Methods and
    bodies survive (RFC 9110 15.4)."""
    with Site(kind) as s:
        moved, given = [], []

        def move(ask):
            if len(ask.path) < 2 or ask.path in given:
                given.clear()
                return None
            moved.append(ask.method)
            other = chr(int(ask.path[2:4], 16)) if ask.path[1] == "%" else "%%%02x" % ord(ask.path[1])
            to = "/" + other + ask.path[4 if ask.path[1] == "%" else 2:]
            given.append(to)
            return (301, 307, 308)[len(moved) % 3], {"Location": s.proxy.url + to}, b""

        s.proxy.hook = move
        s.once()
        assert len(s.items()) == 1
        s.b.ctl("instrument", "one", "title=After the move")
        s.once()
        assert "After the move" in unfolded(s.only()[2])
        s.person.edit(s.only()[1], lambda t: with_lines(t, "X-READ:again"))
        s.once()
        s.b.ctl("aside", str(s.b.query("SELECT id FROM item")[0][0]))
        s.once()
        assert not s.items()
        assert {"PROPFIND", "MKCALENDAR", "REPORT", "PUT", "DELETE"} <= set(moved), moved


def check_caldav_library(kind):
    """python3-caldav as the person's program."""
    import caldav
    with Site(kind, n=2) as s:
        s.once()
        client = caldav.DAVClient(s.server.url, username=USER, password=PASSWORD, ssl_verify_cert=str(getattr(s, "ca", "")) or True)
        calendar = client.calendar(url=s.server.url.rstrip("/") + s.path())
        todos = calendar.todos()
        assert len(todos) == 2
        uid = str(todos[0].vobject_instance.vtodo.uid.value)
        todos[0].complete()
        s.once()
        assert s.agenda()[uid][0] == 1
        assert len(calendar.todos()) == 1
        calendar.todos()[0].delete()
        s.once()
        assert sorted(r[0] for r in s.agenda().values()) == [1, 3]
        s.quiet()


def check_tsdav(kind):
    """tsdav on Node.js, which finds the calendars on its own (RFC 6764)."""
    if not (MODULES / "tsdav").exists() or not shutil.which("node"):
        raise Skip("%s is missing: make check installs it" % (MODULES / "tsdav"))
    with Site(kind, n=3) as s:
        s.once()

        def person(job, uid=""):
            done = subprocess.run(
                ["node", str(bench.REPO / "tests/npm/person.mjs"), s.server.url, USER, PASSWORD, "bench", job, uid],
                capture_output=True, text=True, timeout=bench.LIMIT_S,
                env=dict(os.environ, SEASOND_NODE_MODULES=str(MODULES), NODE_EXTRA_CA_CERTS=str(getattr(s, "ca", ""))))
            assert done.returncode == 0, done
            return sorted(done.stdout.split())

        uids = person("list")
        assert uids == sorted(s.agenda())
        person("tick", uids[0])
        person("delete", uids[1])
        s.once()
        assert [s.agenda()[uid][0] for uid in uids] == [1, 3, 0]
        s.quiet()
        assert person("list") == [uids[0], uids[2]]


# ---- on one server ----

def test_no_secret_is_told():
    with Site("radicale", direct=True) as s:
        service = s.b.start()
        until(lambda: s.path() and s.items(), "the first entry")
        command = pathlib.Path("/proc/%d/cmdline" % service.child.pid).read_text()
        assert PASSWORD not in command
        s.password("wrong-" + PASSWORD)
        s.instrument("second")
        service.log("bench")
        assert service.end() == 0
        told = "\n".join(service.lines) + s.b.ctl("calendars").out + s.once(code=74).err
        assert PASSWORD not in told, told
        assert "status 401" in told, told
        # the password is right again
        s.password(PASSWORD)
        service = s.b.start()
        until(lambda: len(s.items()) == 2, "the second entry")
        until(lambda: "status 401" not in s.b.ctl("calendars").out, "the end of the round that went well")
        assert service.end() == 0


def test_a_reload_tries_again_what_was_refused():
    with Site("radicale") as s:
        s.password("wrong")
        service = s.b.start()
        service.log("retrying in 3600 s")
        s.password(PASSWORD)
        service.child.send_signal(signal.SIGHUP)
        until(lambda: s.path() and s.items(), "the first entry")
        assert service.end() == 0


def test_a_reader_of_both_directions_backs_off():
    """Asked for time by the server (RFC 9110 10.2.3), the agenda goes on meanwhile."""
    with Site("radicale") as s:
        s.proxy.hook = lambda ask: (503, {"Retry-After": "777"}, b"")
        service = s.b.start()
        service.log("retrying in 777 s")
        s.instrument("second")
        assert len(s.agenda()) == 2
        asked = s.proxy.count()
        told = len(service.messages)
        (s.b.folder / "bench.db.bell").open("a").close()
        service.message("settled", told)
        assert s.proxy.count() == asked
        assert service.end() == 0


def test_an_idle_settle_sends_nothing():
    with Site("radicale", more="") as s:
        service = s.b.start()
        until(lambda: s.b.query("SELECT 1 FROM collection WHERE worked IS NOT NULL") if s.b.store.exists() else [], "the round")
        until(lambda: len(s.items()) == 1, "the entry")
        s.proxy.forget()
        for _ in range(5):
            told = len(service.messages)
            (s.b.folder / "bench.db.bell").open("a").close()
            service.message("settled", told)
        assert s.proxy.count() == 0, s.proxy.asks
        s.b.ctl("instrument", "one", "title=News")
        until(lambda: "News" in unfolded(s.only()[2]), "the news")
        assert s.proxy.count("PUT") == 1
        assert service.end() == 0


def test_a_stop_or_a_reload_in_the_middle_of_a_put():
    with Site("radicale", n=3) as s:
        arrived, go_on = threading.Event(), threading.Event()

        def hold(ask):
            if ask.method == "PUT" and not arrived.is_set():
                arrived.set()
                go_on.wait(bench.LIMIT_S)

        s.proxy.hook = hold
        service = s.b.start()
        assert arrived.wait(bench.LIMIT_S)
        service.child.send_signal(signal.SIGHUP)
        service.log("settings read again")
        go_on.set()
        until(lambda: len(s.items()) == 3, "the entries")
        arrived.clear(), go_on.clear()
        s.b.ctl("instrument", "i000", "title=News")
        assert arrived.wait(bench.LIMIT_S)
        assert service.end() == 0
        go_on.set()
        s.proxy.hook = None
        s.once()
        assert len(s.items()) == 3 and "News" in "".join(t for _, t in s.items().values())
        s.quiet()


def test_no_room():
    """507 of one entry (RFC 4918 11.5) leaves the others alone, is told, and is tried again when there is room."""
    with Site("radicale", n=3) as s:
        full = []

        def hook(ask):
            if ask.method == "PUT" and (not full or ask.path in full):
                full.append(ask.path)
                return 507, {}, b""

        s.proxy.hook = hook
        s.once()
        assert len(s.items()) == 2
        stuck = [u for u, r in s.resources().items() if r[0] == 3]
        assert len(stuck) == 1
        told = s.b.ctl("calendars").out
        assert "1 stuck" in told and stuck[0][:8] in told, told
        s.proxy.forget()
        s.once()
        assert s.proxy.count("PUT") == 0  # once a day, or when it has changed
        s.proxy.hook = None
        subject = s.b.query("SELECT subject FROM item WHERE uid = ?", stuck[0])[0][0]
        s.b.ctl("instrument", subject, "title=Shorter")
        s.once()
        assert len(s.items()) == 3 and s.resources()[stuck[0]] == (0, "")
        s.quiet()


def test_one_calendar_address_holds_one_edition():
    with Site("radicale", show="both") as s:
        s.person.make("/bench/mine/")
        s.settings([s.output(url=s.proxy.url + "/bench/mine/")])
        result = s.once(code=None)
        assert result.code != 0 and "account's address" in result.err, result.err
        found = s.person.items("/bench/mine/")
        assert len(found) == 1


def test_an_output_that_leaves_the_settings_is_told():
    with Site("radicale") as s:
        s.once()
        before = s.only()
        s.settings([])
        s.proxy.forget()
        s.once()
        assert s.proxy.count() == 0
        assert "not in the settings any more" in s.b.ctl("calendars").out
        s.settings([s.output()])
        s.once()
        assert s.only() == before


def test_another_server_gets_all_of_it():
    with Site("radicale", n=2) as s, Radicale(s.b.folder, users={USER: PASSWORD}, name="other") as other:
        s.once()
        uids = set(s.items())
        s.settings([s.output(url=other.url)])
        s.once()
        assert set(Person(other.url, USER, PASSWORD).items(s.path())) == uids
        assert all(r[0] == 0 for r in s.agenda().values())


def test_a_replay_asks_nothing():
    with Site("radicale") as s:
        s.b.daemon("--replay", "%s..%s" % (bench.stamp(NOW - 5 * DAY)[:10], bench.stamp(NOW)[:10]))
        assert s.proxy.count() == 0


for _name, _check in list(globals().items()):
    if _name.startswith("check_"):
        for _kind in ("radicale", "xandikos"):
            globals()["test_%s_on_%s" % (_name[6:], _kind)] = (lambda check, kind: lambda: check(kind))(_check, _kind)

if __name__ == "__main__":
    bench.main(globals())
