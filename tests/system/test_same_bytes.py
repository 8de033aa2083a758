#!/usr/bin/python3 -B
"""Nothing new, nothing written: the calendars keep every byte and their times; what is new changes its own entry only."""
import signal
import time

import bench
from bench import Bench, export, rows, seconds, until

NOW = int(time.time())
START = NOW - NOW % 3600 - 86400 * 3
DRY = rows(START, 400, rh=20.0)
NAMES = ("events", "todos")


def files(b):
    """{name: (bytes, mtime, inode)}."""
    found = {p.name: (p.read_bytes(), p.stat().st_mtime_ns, p.stat().st_ino) for p in b.calendars.iterdir()}
    assert sorted(found) == ["bench-events.ics", "bench-todos.ics"], sorted(found)
    return found


def furnished(b):
    """Three jobs of different kinds, one of them in a client's visit."""
    b.ctl("import", b.file("room.csv", export(DRY)))
    b.ctl("client", "school", "title=A School, with; odd\\signs")
    b.ctl("instrument", "one", "build=bolt-on", "place=room", "since=" + bench.stamp(START - 86400))
    b.ctl("instrument", "two", "build=set-neck", "place=room", "client=school", "since=" + bench.stamp(START - 86400))
    b.ctl("finding", "one", "restrung", "--at", bench.stamp(NOW - 86400))
    b.ctl("finding", "two", "restrung", "--at", bench.stamp(NOW - 86400))
    assert len(b.entries("events")) == 3, b.entries("events")


def settled_again(b, service):
    """Lets the running service settle, and waits until it has."""
    before = len(service.messages)
    service.child.send_signal(signal.SIGHUP)
    service.message("READY=1", after=before)
    (b.folder / "bench.db.bell").open("a").close()
    b.drop("room.%d.csv" % before, export(DRY[:1]))
    service.log("room.%d.csv: 1 readings, 0 new" % before)


def test_nothing_new_changes_no_byte():
    with Bench() as b:
        furnished(b)
        first = files(b)
        for command in (["agenda"], ["status"], ["explain", "one"], ["import", b.folder / "room.csv"], ["check"],
                        ["records", "export"], ["finding", "one", "restrung", "--at", bench.stamp(NOW - 86400)]):
            b.ctl(*command)
            assert files(b) == first, command
        b.daemon("--once")
        assert files(b) == first, "--once"
        for _ in range(2):
            service = b.start()
            settled_again(b, service)
            assert service.end() == 0  # settles once more
            assert files(b) == first, "the service"
        records = b.file("records.conf", b.ctl("records", "export").out)
        b.ctl("records", "apply", records)
        assert files(b) == first, "records"


def test_lost_or_edited_files_come_back_with_the_same_bytes():
    with Bench() as b:
        furnished(b)
        first = {name: found[0] for name, found in files(b).items()}
        service = b.start()
        settled_again(b, service)
        for harm in (lambda p: p.unlink(), lambda p: p.write_text("edited"), lambda p: p.write_bytes(first[p.name][:-9])):
            for name in first:
                harm(b.calendars / name)
            (b.folder / "bench.db.bell").open("a").close()
            until(lambda: all((b.calendars / n).exists() and (b.calendars / n).read_bytes() == first[n] for n in first),
                  "the calendars", 5)
        assert service.end() == 0


def without(entry, *names):
    return {k: v for k, v in entry.items() if k not in names}


def test_one_change_touches_one_entry():
    with Bench() as b:
        furnished(b)
        before = {kind: b.entries(kind) for kind in NAMES}
        time.sleep(1.1)  # times have a resolution of a second
        b.ctl("instrument", "one", "title=The first one")
        for kind in NAMES:
            after = b.entries(kind)
            assert after.keys() == before[kind].keys()
            changed = [uid for uid in after if after[uid] != before[kind][uid]]
            assert len(changed) == 1, (kind, changed)
            old, new = before[kind][changed[0]], after[changed[0]]
            assert "The first one" in new["SUMMARY"]
            assert int(new["SEQUENCE"]) == int(old["SEQUENCE"]) + 1
            assert new["LAST-MODIFIED"] > old["LAST-MODIFIED"] and new["CREATED"] == old["CREATED"]
            moved = ("SUMMARY", "SEQUENCE", "LAST-MODIFIED", "DTSTAMP")
            assert without(new, *moved) == without(old, *moved)


def test_done_job_leaves_the_events_and_stays_among_the_todos():
    with Bench() as b:
        furnished(b)
        before = {kind: b.entries(kind) for kind in NAMES}
        (number,), = b.query("SELECT id FROM item WHERE subject = 'one' AND state = 0")
        b.ctl("done", str(number))
        gone = before["events"].keys() - b.entries("events").keys()
        assert len(gone) == 1
        todos = b.entries()
        assert todos.keys() == before["todos"].keys()
        for uid, entry in todos.items():
            if uid in gone:
                assert entry["STATUS"] == "COMPLETED" and int(entry["SEQUENCE"]) == int(before["todos"][uid]["SEQUENCE"]) + 1
            else:
                assert entry == before["todos"][uid]


def test_time_goes_by_and_changes_nothing_by_itself():
    """Days of hourly settlings with an unchanged agenda write the files once."""
    with Bench() as b:
        season = rows(seconds("2026-01-05 00:00:00"), 3000)
        b.ctl("import", b.file("room.csv", export(season)))
        b.ctl("import", b.file("case.csv", export(season)))
        b.daemon("--replay", "2026-01-12..2026-01-13")
        first = files(b)
        b.daemon("--replay", "2026-01-14..2026-01-24")
        assert files(b) == first


def told(b):
    """The agenda and the calendars without what is made by chance or by the order of making."""
    items = b.query("SELECT rule, kind, subject, state, weight, opened, due_from, due_by, value, reasons, closed"
                    " FROM item ORDER BY opened, rule, kind, subject")
    shown = [sorted(sorted(without(e, "UID").items()) for e in b.entries(kind).values()) for kind in NAMES]
    return items, shown


def test_replay_on_two_stores_tells_the_same():
    season = [(t, rh - 22 * (1500 < i < 6500), temp) for i, (t, rh, temp) in enumerate(rows(seconds("2025-10-05 00:00:00"), 12000))]
    stories = []
    for parts in (1, 7):  # in one file or in many: the same readings
        with Bench() as b:
            b.ctl("client", "school")
            for name, build in (("one", "parlour"), ("two", "nylon"), ("three", "bolt-on")):
                b.ctl("instrument", name, "build=" + build, "place=room", "client=school", "since=2025-10-06")
                b.ctl("finding", name, "snug", "relief=0.25mm", "restrung", "--at", "2025-10-12 10:00")
            for i in range(parts):
                b.drop("room.%d.csv" % i, export(season[i::parts]))
            b.daemon("--replay", "2025-10-06..2025-12-27")
            b.holds(season)
            stories.append(told(b))
            b.daemon("--replay", "2025-10-06..2025-12-27")
            stories.append((told(b)[0], stories[-1][1]))  # SEQUENCE has gone on since
    assert len(stories[0][0]) > 5, stories[0]
    assert stories.count(stories[0]) == 4, "they differ"


if __name__ == "__main__":
    bench.main(globals())
