#!/usr/bin/python3 -B
"""Visits at the bench: their numbers in the agenda, appointments made, changed and dropped, days moved by hand."""
import datetime
import sqlite3
import time

import bench
from bench import Bench, export, rows

NOW = int(time.time()) // 600 * 600
START = NOW - 10 * 86400


def school():
    """A client with two instruments, restrung yesterday: one visit with two settle checks."""
    b = Bench()
    b.ctl("import", "--sensor", "room", b.file("room.csv", export(rows(START, 10 * 144))))
    b.ctl("client", "school", "title=Harbour School")
    for name in ("cedar", "maple"):
        b.ctl("instrument", name, "build=flat-top", "place=room", "client=school", "since=" + day(START))
        b.ctl("finding", name, "restrung", "--at", "%s 12:00" % day(NOW - 86400))
    return b


def day(t):
    return datetime.datetime.fromtimestamp(t, datetime.timezone.utc).strftime("%Y-%m-%d")


def change(b, sql, *values):
    """What another part of the programs, or a person's calendar, left in the store."""
    db = sqlite3.connect(b.store, timeout=30)
    with db:
        assert db.execute(sql, values).rowcount > 0
    db.close()


def visit(b):
    return b.query("SELECT at, length, answer, answered FROM visit WHERE state = 0")[0]


def test_an_appointment_is_made_changed_and_dropped():
    with school() as b:
        agenda = b.ctl("agenda").out
        assert agenda.startswith("visit 1  ") and "Harbour School\n" in agenda, agenda
        assert "appointment" not in agenda and visit(b) == (None, 0, 0, None)
        when = day(NOW + 5 * 86400)
        at = bench.seconds(when + " 10:00:00")
        b.ctl("visit", "1", when + " 10:00")
        assert visit(b) == (at, 3600, 0, None)
        assert "      appointment %s 10:00, 60 min: no answer yet\n" % when in b.ctl("agenda").out
        change(b, "UPDATE visit SET answer = 1, answered = ?", NOW)
        assert "60 min: accepted on %s\n" % day(NOW) in b.ctl("agenda").out
        b.ctl("visit", "#1", when + " 10:00", "--length", "1 h")  # the same: its answer stands
        assert visit(b) == (at, 3600, 1, NOW)
        b.ctl("visit", "1", when + " 10:00", "--length=45 min")
        assert visit(b) == (at, 2700, 0, None)
        change(b, "UPDATE visit SET answer = 2, answered = ?", NOW)
        assert "45 min: declined on" in b.ctl("agenda").out
        b.ctl("visit", "1", "--drop")
        assert visit(b) == (None, 0, 0, None)
        assert "appointment" not in b.ctl("agenda").out


def test_what_is_no_appointment_is_refused():
    with school() as b:
        b.ctl("agenda")
        later, before = day(NOW + 5 * 86400), day(NOW - 2 * 86400)
        for words, code, told in (
                (("1",), 64, "usage: seasonctl visit NUMBER TIME"),
                (("one", later + " 10:00"), 64, "its number"),
                (("9", later + " 10:00"), 66, "visit 9: not open"),
                (("1", later), 64, '"%s 10:00"' % later),
                (("1", "Tuesday"), 64, "Tuesday"),
                (("1", before + " 10:00"), 65, "has passed"),
                (("1", later + " 10:00", "--length", "1 min"), 64, "5 min to 24 h"),
                (("1", later + " 10:00", "--length", "long"), 64, "such as"),
                (("1", later + " 10:00", "--length", "600.5 min"), 64, "whole minutes"),
                (("1", later + " 10:00", "--length"), 64, "value is missing"),
                (("1", later + " 10:00", "--drop"), 64, "usage"),
                (("1", "--drop"), 65, "no appointment")):
            result = b.ctl("visit", *words, code=None)
            assert result.code == code and told in result.err, (words, result)
            assert visit(b) == (None, 0, 0, None)


def test_moved_days_are_shown():
    with school() as b:
        b.ctl("agenda")
        by, to = day(NOW + 6 * 86400), NOW + 20 * 86400
        change(b, "UPDATE visit SET moved = ?", to)
        change(b, "UPDATE item SET moved = ? WHERE subject = 'maple'", NOW - 3 * 86400)
        agenda = b.ctl("agenda").out.splitlines()
        assert agenda[0].split("  ")[1].endswith(" to " + day(to)), agenda[0]
        assert agenda[1].startswith("      moved from ") and agenda[1].endswith(" to %s by hand" % day(to)), agenda[1]
        line = next(i for i, x in enumerate(agenda) if "maple" in x)
        assert "%s to %s" % (day(NOW - 3 * 86400), day(NOW - 3 * 86400)) in agenda[line], agenda[line]
        assert agenda[line + 2] == "        moved from %s to %s by hand" % (by, day(NOW - 3 * 86400)), agenda[line + 2]
        cedar = next(i for i, x in enumerate(agenda) if "cedar" in x)
        assert "moved" not in "".join(agenda[cedar:cedar + 2])


if __name__ == "__main__":
    bench.main(globals())
