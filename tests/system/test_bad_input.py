#!/usr/bin/python3 -B
"""Whatever is wrong with what comes in is told - what, where, what would be right - and nothing is lost by it."""
import contextlib
import os
import random
import signal
import sqlite3
import subprocess
import time

import bench
from bench import Bench, Skip, export, rows, seconds, until

NOW = int(time.time())
START = seconds("2026-01-05 00:00:00")
GOOD = rows(START, 500)
MORE = rows(START + 500 * 600, 100)
LONG = rows(START, 5000)  # longer than what a layout is guessed from
AFTER_LONG = rows(START + 5000 * 600, 100)
MEMORY_KB = 100000 * (10 if bench.SANITIZED else 1)


def tells(text, *words):
    """One line for people that holds every word and no stray control characters."""
    missing = [w for w in words if w not in text]
    assert not missing, "%r lacks %s" % (text, missing)
    assert text.replace("\n", "").replace("\t", "").isprintable(), repr(text)


def refused(content, *words, name="bad.csv", code=65):
    """Neither seasonctl nor the spool take it; what was there stays, and the next good file is taken."""
    with Bench() as b:
        b.ctl("import", b.file("room.csv", export(GOOD)))
        result = b.ctl("import", "--sensor", "room", b.file(name, content), code=code)
        tells(result.err, name, *words)
        b.holds(GOOD)
        service = b.start()
        b.drop(name, content)
        until((b.spool / "failed" / (name + ".reason")).exists, "the reason")
        service.log("moved to failed/")
        tells((b.spool / "failed" / (name + ".reason")).read_text(), name, *words)
        assert not (b.spool / name).exists() and (b.spool / "failed" / name).exists()
        b.holds(GOOD)
        b.drop("room.csv", export(MORE))
        until((b.spool / "done" / "room.csv").exists, "the good file")
        assert service.end() == 0
        b.holds(GOOD + MORE)


def test_empty_file():
    refused("", "empty")


def test_only_a_heading():
    refused(export([]), "no")


def test_binary_file():
    refused(random.Random(1).randbytes(300000), "not text", "delimited text export")


def test_file_name_of_a_nasty_sort():
    refused("", "empty", name="a'b \"c\" $(x);.csv")


def test_folder_instead_of_file():
    with Bench() as b:
        tells(b.ctl("import", b.spool, code=None).err, "spool")
        assert b.ctl("import", b.spool, code=None).code in (65, 74)
        tells(b.ctl("import", "no-such.csv", code=None).err, "no-such.csv", "No such file")


def huge(b, name, head, tail):
    """Head, two gigabytes of holes, tail."""
    path = b.folder / name
    with open(path, "wb") as f:
        f.write(head)
        f.truncate(2 << 30)
        f.seek(0, os.SEEK_END)
        f.write(tail)
    return path


def test_line_of_two_gigabytes():
    later = b"\n" + export(AFTER_LONG).split("\n", 1)[1].encode()
    for head, tail, words in ((b"", b"", "not text"), (b"x", b"\n", "not text"), (export(LONG).encode(), later, None)):
        with Bench() as b:
            result = b.ctl("import", huge(b, "room.csv", head, tail), code=None)
            assert result.rss_kb < MEMORY_KB, "%d kB" % result.rss_kb
            if words:
                assert result.code == 65, result
                tells(result.err, words)
            else:  # one bad row between good ones
                assert result.code == 0, result
                tells(result.out, "room.csv:5002", "longer than")
                b.holds(LONG + AFTER_LONG)


def test_line_of_two_gigabytes_in_the_spool():
    with Bench() as b:
        service = b.start()
        huge(b, "room.csv", export(LONG).encode(), b"\n").rename(b.spool / "room.csv")
        until((b.spool / "done" / "room.csv").exists, "the file")
        assert service.peak_kb() < MEMORY_KB, service.peak_kb()
        assert service.end() == 0
        b.holds(LONG)


# ---- files still being written ----

def test_file_is_taken_once_its_writer_closed_it():
    with Bench() as b:
        service = b.start()
        text = export(GOOD)
        with open(b.spool / "room.csv", "w") as f:
            for i, part in enumerate((text[:3000], text[3000:9001], text[9001:])):
                f.write(part)
                f.flush()
                b.drop("case-%d.csv" % i, export(rows(START + i * 600, 1)).replace("Humidity", "case Humidity"))
                service.log("case-%d.csv" % i)  # a pass went over the folder
                assert (b.spool / "room.csv").exists() and not b.readings()
        until((b.spool / "done" / "room.csv").exists, "the file")
        assert service.end() == 0
        assert len([x for x in service.lines if ": room.csv: " in x]) == 1, service.lines
        b.holds(GOOD)


def test_file_nobody_closes_is_taken_after_its_quiet_time():
    with Bench(bench.SETTINGS.replace('path = "spool"', 'path = "spool"; interval = "10 s"')) as b:
        service = b.start()
        with open(b.spool / "room.csv", "w") as f:
            f.write(export(GOOD))
            f.flush()
            begun = time.monotonic()
            until((b.spool / "done" / "room.csv").exists, "the file")
            assert time.monotonic() - begun > 8
        assert service.end() == 0
        b.holds(GOOD)


def test_hidden_and_part_names_and_other_things_stay():
    with Bench() as b:
        names = (".room.csv", "room.csv.part", "room.tmp")
        for name in names:
            b.file(name, export(GOOD), b.spool)
        os.mkfifo(b.spool / "fifo.csv")
        (b.spool / "link.csv").symlink_to(b.spool / ".room.csv")
        (b.spool / "folder.csv").mkdir()
        b.daemon("--once")
        assert sorted(x.name for x in b.spool.iterdir()) == sorted(names + ("fifo.csv", "link.csv", "folder.csv"))
        assert not b.readings()


# ---- times ----

def test_second_value_for_a_time_is_told_and_the_first_kept():
    with Bench() as b:
        b.ctl("import", b.file("room.csv", export(GOOD)))
        others = [(t, rh + 3, temp) for t, rh, temp in GOOD[100:110]]
        result = b.ctl("import", b.file("room.csv", export(GOOD[90:100] + others + MORE)))
        tells(result.out, bench.stamp(others[0][0]), "stored with other values", "first was kept",
              "stored 100", "already known 10", "refused 10")
        b.holds(GOOD + MORE)
        within = b.ctl("import", b.file("case.csv", export(MORE + [(t, rh + 3, temp) for t, rh, temp in MORE])))
        tells(within.out, "stored 100", "refused 100")
        b.holds(MORE, "case")


def test_readings_from_the_future_are_flagged_and_not_used():
    with Bench() as b:
        past, future = rows(NOW - 86400 * 3, 400), rows(NOW + 86400 * 30, 400, rh=5.0)
        plain = b.ctl("import", b.file("room.csv", export(past)))
        before = b.ctl("status", "room").out, b.ctl("agenda").out
        result = b.ctl("import", b.file("room.csv", export(future)))
        tells(result.out, "stored 400", "questionable 400")
        assert "questionable 0" in plain.out
        assert (b.ctl("status", "room").out, b.ctl("agenda").out) == before
        b.holds(past + future)
        tells(b.ctl("log", "room", "45", "--at", bench.stamp(NOW + 7200), code=65).err, "future", "--at")


def agenda(b):
    """What was judged, without the numbers and names that are made by chance."""
    return b.query("SELECT rule, kind, subject, state, weight, opened, due_from, due_by, value, reasons, closed, visit IS NULL"
                   " FROM item ORDER BY opened, rule, kind, subject")


def test_clock_set_back():
    with Bench() as b:
        season = [(t, rh - 20 * (1000 < i < 6000), temp) for i, (t, rh, temp) in enumerate(rows(START, 9000))]
        b.ctl("import", b.file("room.csv", export(season)))
        b.daemon("--replay", "2026-01-06..2026-03-10")
        first = agenda(b)
        assert first, "nothing was ever due"
        b.daemon("--replay", "2026-01-20..2026-02-01")
        late = seconds("2026-02-02 00:00:00")
        assert all(row[5] < late and (row[10] is None or row[10] < late) for row in agenda(b)), agenda(b)
        b.daemon("--replay", "2026-01-06..2026-03-10")
        assert agenda(b) == first
        b.holds(season)
        b.ctl("agenda")  # and the true clock, far ahead
        b.holds(season)


# ---- settings ----

def test_wrong_settings_at_reload_change_nothing():
    with Bench() as b:
        service = b.start()
        good = b.config.read_text()
        b.config.write_text(good.replace('place = "case"', 'place = "cave"').replace("[40, 60]", "[60, 400]")
                            .replace('"calendars"', '"other"').replace('silent_after = "20 d"', 'silnt_after = "1 d"', 1))
        before = len(service.messages)
        service.child.send_signal(signal.SIGHUP)
        service.log("keeping the settings in force")
        service.message("READY=1", after=before)
        text = "\n".join(service.lines)
        for line, words in ((4, "band"), (6, "silnt_after"), (7, "cave")):
            fault = [x for x in service.lines if "seasond.conf:%d: " % line in x]
            assert fault and words in fault[0], "line %d, %s: %s" % (line, words, text)
        b.drop("room.csv", export(GOOD))
        until((b.spool / "done" / "room.csv").exists, "the old spool")
        assert service.child.poll() is None and not (b.folder / "other").exists()

        (b.folder / "other").mkdir()
        b.config.write_text(good.replace('"calendars"', '"other"'))
        service.child.send_signal(signal.SIGHUP)
        service.log("settings read again")
        until((b.folder / "other" / "bench-todos.ics").exists, "the calendars of the new settings")
        assert service.end() == 0
        b.holds(GOOD)


def test_wrong_settings_at_start():
    with Bench(bench.SETTINGS.replace('zone = "UTC"', 'zone = "Mars/Base"')) as b:
        for result in (b.daemon(code=78), b.ctl("check", code=78), b.ctl("agenda", code=78)):
            tells(result.out + result.err, "seasond.conf:1", "Mars/Base")
        assert not b.store.exists()


# ---- a store that can't be used ----

@contextlib.contextmanager
def locked(b):
    db = sqlite3.connect(b.store, isolation_level=None)
    db.execute("BEGIN IMMEDIATE")
    yield
    db.execute("ROLLBACK")
    db.close()


def test_locked_store():
    with Bench() as b:
        service = b.start()
        until((b.calendars / "bench-todos.ics").exists, "the first settling")
        with locked(b):
            b.drop("room.csv", export(GOOD))
            result = b.ctl("import", b.file("case.csv", export(GOOD)), code=75)
            assert result.seconds > 4, result.seconds
            tells(result.err, "bench.db", "another process is writing", "try again")
            service.log("trying again soon")
            assert (b.spool / "room.csv").exists() and not b.readings()
        until((b.spool / "done" / "room.csv").exists, "the next try")
        assert service.end() == 0
        b.holds(GOOD)
        b.ctl("import", "case.csv")
        b.holds(GOOD, "case")


def test_locked_store_at_start():
    with Bench() as b:
        b.ctl("import", b.file("room.csv", export(GOOD)))
        with locked(b):
            tells(b.daemon(code=75).err, "bench.db", "try again")
        b.daemon("--once")
        b.holds(GOOD)


NOBODY = ("setpriv", "--reuid=65534", "--regid=65534", "--clear-groups")


def reachable_by_nobody(b):
    """How to run as somebody whom permissions bind."""
    if os.geteuid() != 0:
        return ()
    there = [*NOBODY, "test", "-x", bench.program("seasond"), "-a", "-r", str(bench.REPO / "conf" / "care.conf")]
    if subprocess.run(there).returncode != 0:
        raise Skip("the build folder is closed to other users")
    for path in (b.folder, *b.folder.rglob("*")):
        os.chown(path, 65534, 65534)
    return NOBODY


def test_read_only_store():
    with Bench() as b:
        b.ctl("import", b.file("room.csv", export(GOOD)))
        as_user = reachable_by_nobody(b)
        b.drop("room.csv", export(MORE))
        b.folder.chmod(0o555)
        b.store.chmod(0o444)
        for result in (b.ctl("import", "room.csv", before=as_user, code=74), b.daemon(before=as_user, code=74),
                       b.daemon("--once", before=as_user, code=74), b.ctl("check", before=as_user, code=74)):
            tells(result.err, "bench.db", "give this user the right")
        assert (b.spool / "room.csv").exists()
        b.store.chmod(0o644)
        for result in (b.ctl("import", "room.csv", before=as_user, code=74), b.daemon(before=as_user, code=74)):
            tells(result.err, "bench.db", "folder")
        b.folder.chmod(0o755)
        b.daemon("--once", before=as_user, code=None)
        b.holds(GOOD)


@contextlib.contextmanager
def small_disk(b, kb):
    """A file system of that size where the store is; makes it larger when called."""
    place = b.folder / "small"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=%dk,mode=755" % kb, "none", str(place)]
    if os.geteuid() != 0 or subprocess.run(mount, capture_output=True).returncode != 0:
        raise Skip("may not mount a small file system")
    b.store = place / "bench.db"
    b.config.write_text(b.config.read_text().replace('"bench.db"', '"small/bench.db"'))
    try:
        yield lambda more_kb: subprocess.run(["mount", "-o", "remount,size=%dk" % more_kb, str(place)], check=True)
    finally:
        subprocess.run(["umount", "-l", str(place)], check=True)


def test_full_disk():
    many = rows(START + 500 * 600, 60000, step_s=60)
    with Bench() as b, small_disk(b, 600) as grow:
        b.ctl("import", b.file("room.csv", export(GOOD)))
        result = b.ctl("import", b.file("room.csv", export(many)), code=73)
        tells(result.err, "bench.db", "full", "make room on the disk")
        b.holds(GOOD)
        service = b.start()
        b.drop("room.csv", export(many))
        service.log("trying again soon")
        assert (b.spool / "room.csv").exists()
        b.holds(GOOD)
        grow(32000)
        until((b.spool / "done" / "room.csv").exists, "the next try")
        assert service.end() == 0
        b.holds(GOOD + many)


def test_full_disk_of_the_calendars():
    with Bench() as b:
        recent = rows(NOW - 86400 * 3, 400)
        b.ctl("import", b.file("room.csv", export(recent)))
        with small_disk(b, 8):
            b.store = b.folder / "bench.db"
            b.config.write_text(bench.SETTINGS.replace('"calendars"', '"small"'))
            b.ctl("agenda")
            before = {p.name: p.read_bytes() for p in (b.folder / "small").iterdir()}
            b.config.write_text(b.config.read_text().replace("[40, 60]", "[80, 90]"))
            result = b.ctl("agenda", code=73)
            tells(result.err, "ics", "make room on the disk")
            assert {p.name: p.read_bytes() for p in (b.folder / "small").iterdir()} == before
        b.config.write_text(bench.SETTINGS.replace("[40, 60]", "[80, 90]"))
        assert "damp" in b.ctl("agenda").out or "dry" in b.ctl("agenda").out
        assert len(b.entries()) == 1
        b.holds(recent)


def test_limit_on_file_size():
    many = rows(START + 500 * 600, 60000, step_s=60)
    limit = ("prlimit", "--fsize=400000")
    with Bench() as b:
        b.ctl("import", b.file("room.csv", export(GOOD)))
        result = b.ctl("import", b.file("room.csv", export(many)), before=limit, code=70)
        tells(result.err, "bench.db", "quota")
        b.holds(GOOD)
        service = b.start(before=limit)
        b.drop("room.csv", export(many))
        service.log("trying again soon")
        assert (b.spool / "room.csv").exists(), "the file is not at fault"
        assert service.end() in (0, 74), service.lines
        b.holds(GOOD)
        service = b.start()
        until((b.spool / "done" / "room.csv").exists, "the file")
        assert service.end() == 0
        b.holds(GOOD + many)


def test_damaged_store():
    seed = int(os.environ.get("SEED", random.randrange(1 << 30)))
    print("seed", seed)
    chance = random.Random(seed)
    with Bench() as b:
        b.ctl("import", b.file("room.csv", export(rows(NOW - 86400 * 60, 8640))))
        b.ctl("instrument", "one", "build=parlour", "place=room", "since=" + bench.stamp(NOW - 86400 * 55))
        b.ctl("finding", "one", "restrung", "--at", bench.stamp(NOW - 86400 * 3))
        sound = b.store.read_bytes()
        found = 0
        for i in range(12):
            for path in b.folder.glob("bench.db-*"):
                path.unlink()
            at = len(sound) // 2 if i == 0 else chance.randrange(0, len(sound) - 8192)
            b.store.write_bytes(sound[:at] + chance.randbytes(12000)[:len(sound) - at] + sound[at + 12000:])
            for result in (b.ctl("check", code=None), b.ctl("agenda", code=None), b.ctl("import", "room.csv", code=None)):
                assert result.code in (0, 70), result
                if result.code:
                    tells(result.err, "bench.db")
                    assert any(x in result.err for x in ("recover", "name another file", "newer")), result.err
                    found += 1
        assert found > 12, found


def rot(b, chance):
    """Some bytes of every snapshot of the wood change; SQLite has no means to see that."""
    db = sqlite3.connect(b.store)
    for instrument, hour, state in db.execute("SELECT instrument, hour, state FROM snapshot").fetchall():
        state = bytearray(state)
        for _ in range(chance.choice((1, 8, 200))):
            state[chance.randrange(8, len(state))] ^= chance.randrange(1, 256)
        db.execute("UPDATE snapshot SET state = ? WHERE instrument = ? AND hour = ?", (bytes(state), instrument, hour))
    db.commit()
    db.close()


def test_rotten_states_are_made_anew():
    seed = int(os.environ.get("SEED", random.randrange(1 << 30)))
    print("seed", seed)
    chance = random.Random(seed)
    with Bench() as b:
        b.ctl("import", b.file("room.csv", export(rows(NOW - 86400 * 60, 8640))))
        b.ctl("instrument", "one", "build=parlour", "place=room", "since=" + bench.stamp(NOW - 86400 * 55))
        at = ("--at", bench.stamp(NOW - 3600))
        sound = b.ctl("explain", "one", *at).out, b.query("SELECT hour, state FROM snapshot ORDER BY 1")
        assert len(sound[1]) > 2
        for _ in range(5):
            rot(b, chance)
            assert (b.ctl("explain", "one", *at).out, b.query("SELECT hour, state FROM snapshot ORDER BY 1")) == sound


def test_damaged_store_and_the_service():
    with Bench() as b:
        b.ctl("import", b.file("room.csv", export(GOOD)))
        sound = b.store.read_bytes()
        b.store.write_bytes(sound[:8192] + b"\xa5" * (len(sound) - 8192))
        result = b.daemon(code=70)
        tells(result.err, "bench.db", "damaged", "recover")
        b.store.write_bytes(sound)
        service = b.start()
        with open(b.store, "r+b") as f:  # under its feet
            f.seek(8192)
            f.write(b"\xa5" * (len(sound) - 8192))
        b.drop("room.csv", export(MORE))
        service.log("room.csv")
        assert service.end() in (0, 70), service.lines
        b.store.write_bytes(sound)
        for path in b.folder.glob("bench.db-*"):
            path.unlink()
        b.holds(GOOD)


def test_store_of_a_newer_version():
    with Bench() as b:
        b.ctl("import", b.file("room.csv", export(GOOD)))
        db = sqlite3.connect(b.store)
        db.execute("PRAGMA user_version = 99")
        db.close()
        for result in (b.daemon(code=70), b.ctl("agenda", code=70), b.ctl("check", code=70)):
            tells(result.err, "bench.db", "99", "newer")


def test_findings_that_cannot_be():
    """Before the instrument, in the future, against each other: told, and nothing stored."""
    since, then = NOW - 86400 * 30, NOW - 86400 * 5
    with Bench() as b:
        b.ctl("import", b.file("room.csv", export(rows(since, 4300))))
        b.ctl("instrument", "one", "build=parlour", "place=room", "since=" + bench.stamp(since))
        at = ["--at", bench.stamp(then)]
        b.ctl("finding", "one", "relief=.010in", "action_bass=6/64", *at)
        count = "SELECT count(*), sum(value) FROM finding"
        before = b.query(count)
        for words, why in (
                (["relief=.010in", "--at", bench.stamp(since - 86400)], ("followed since", "--at")),
                (["relief=.010in", "--at", bench.stamp(NOW + 86400)], ("future", "now or earlier")),
                (["relief=.010in", "relief=.020in"], ("relief", "two values", "--at")),
                (["relief=.020in", *at], ("relief", "two values", "--at")),
                (["first_fret_bass=3mm", "action_bass=2mm"], ("first_fret_bass", "action_bass", "cannot both be")),
                (["first_fret_bass=2.5mm", *at], ("first_fret_bass", "action_bass", "cannot both be")),
                (["relief=1in"], ("relief", "cannot be true")),
                (["tuner_turn=-1/6"], ("tuner_turn", "cannot be true"))):
            result = b.ctl("finding", "one", *words, code=65)
            tells(result.err, *why)
            assert b.query(count) == before, words
        b.ctl("finding", "one", "relief=.010in", *at)  # the same again is no contradiction
        assert b.query(count) == before


def test_anatomies_that_cannot_be():
    with Bench() as b:
        for overrides, why in (
                ("top = { thickness = \"0mm\"; };", ("thickness", "too small", "mm")),
                ("top = { thickness = \"-2mm\"; };", ("thickness", "mm")),
                ("top = { species = \"sitka_sprucee\"; };", ("sitka_sprucee", "did you mean", "sitka_spruce")),
                ("top = { outer = \"laquer\"; };", ("laquer", "did you mean", "lacquer")),
                ("tuner_nut = { grip = \"60mm\"; };", ("grip", "thickness of headstock")),
                ("relief_span = \"900mm\";", ("relief_span", "scale")),
                ("joint = \"900mm\";", ("joint", "scale")),
                ("brace_pitch = \"2mm\";", ("brace_pitch",)),
                ("cavity_lag = \"-1 h\";", ("cavity_lag",)),
                ("sorption_ratio = 1.5;", ("sorption_ratio", "0.7 to 1"))):
            result = b.ctl("instrument", "one", "build=flat-top", "place=room", "overrides=" + overrides, code=None)
            assert result.code in (65, 78), (overrides, result)
            tells(result.err, *why)
            assert b.query("SELECT count(*) FROM instrument") == [(0,)], overrides
        b.ctl("instrument", "one", "build=flat-top", "place=room",
              "overrides=top = { species = \"engelmann_spruce\"; cut = 10; thickness = \"2.6mm\"; outer = \"shellac\"; };")


def test_something_else_in_place_of_the_store():
    with Bench() as b:
        other = b.folder / "other.db"
        db = sqlite3.connect(other)
        db.execute("CREATE TABLE shopping(what)")
        db.commit()
        db.close()
        for content in (b"Dear diary,\n" * 1000, other.read_bytes()):
            b.store.write_bytes(content)
            for result in (b.daemon(code=70), b.ctl("agenda", code=70), b.ctl("check", code=70)):
                tells(result.err, "bench.db", "name another file")
            assert b.store.read_bytes() == content
        b.store.unlink()
        b.store.mkdir()
        tells(b.daemon(code=74).err, "bench.db")
        b.config.write_text(bench.SETTINGS.replace('"bench.db"', '"no/such/bench.db"'))
        tells(b.daemon(code=74).err, "no/such/bench.db", "folder")


# ---- a calendar folder that is missing ----

TWO_OUTPUTS = bench.SETTINGS.replace("outputs = (", 'outputs = ( { name = "away"; folder = "away"; },')


def test_missing_calendar_folder():
    with Bench(TWO_OUTPUTS) as b:
        dry = rows(NOW - 86400 * 3, 430, rh=20.0)
        result = b.ctl("import", b.file("room.csv", export(dry)), code=74)
        tells(result.err, "away", "No such file", "make it")
        assert len(b.entries()) == 1, b.entries()
        service = b.start()
        service.log("retrying in")
        assert len(b.query("SELECT 1 FROM item WHERE state = 0")) == 1
        (b.folder / "away").mkdir()
        service.child.send_signal(signal.SIGHUP)
        until((b.folder / "away" / "away-todos.ics").exists, "the calendars", 45)
        assert b.entries(output="away", folder=b.folder / "away").keys() == b.entries().keys()
        assert service.end() == 0
        b.holds(dry)


def test_missing_calendar_folder_does_not_delay_the_others():
    with Bench(TWO_OUTPUTS) as b:
        service = b.start()
        service.log("retrying in")
        b.drop("room.csv", export(rows(NOW - 86400 * 3, 430, rh=20.0)))
        until(lambda: len(b.entries()) == 1, "the other output", 45)
        service.end()


if __name__ == "__main__":
    bench.main(globals())
