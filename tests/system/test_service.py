#!/usr/bin/python3 -B
"""The service as its manager and the people round it see it: messages, signals, sudden death, work side by side."""
import concurrent.futures
import fcntl
import os
import random
import signal
import subprocess
import threading
import time

import bench
from bench import Bench, export, rows, until

NOW = int(time.time())
START = NOW - NOW % 3600 - 86400 * 3
SEED = int(os.environ.get("SEED", random.randrange(1 << 30)))


# ---- messages ----

def test_messages_to_the_manager():
    with Bench() as b:
        service = b.start(ready=False)
        ready = service.message("READY=1")
        assert "STATUS=2 sensors, 1 of 1 sources" in ready, ready
        service.child.send_signal(signal.SIGHUP)
        reloading = service.message("RELOADING=1")
        assert int(reloading.split("MONOTONIC_USEC=")[1].split()[0]) <= time.clock_gettime_ns(time.CLOCK_MONOTONIC) / 1000
        service.message("READY=1", after=service.messages.index(reloading))
        assert service.end() == 0
        assert "STOPPING=1" in service.messages[-1], service.messages
        assert not [m for m in service.messages if "WATCHDOG" in m]


def test_watchdog_is_fed_in_time():
    with Bench() as b:
        service = b.start(WATCHDOG_USEC="900000")
        begun = time.monotonic()
        for fed in range(3):
            until(lambda: service.messages.count("WATCHDOG=1") > fed, "being fed")
        assert time.monotonic() - begun < 3 * 0.9 + 1
        assert service.end(signal.SIGINT) == 0
        other = b.start(WATCHDOG_USEC="900000", WATCHDOG_PID="1")
        until((b.calendars / "bench-todos.ics").exists, "the calendars")
        assert other.end() == 0 and "WATCHDOG=1" not in other.messages


def test_usage():
    with Bench() as b:
        for words in (["--no-such"], ["--once", "--replay", "2026-01-01..2026-01-02"], ["more"], ["--replay", "then..now"],
                      ["--replay", "2026-01-02..2026-01-01"], ["--config"], ["--once=yes"], ["--replay", "2026-13-01..2026-14-01"]):
            result = b.daemon(*words, code=64)
            assert result.err.startswith("seasond: error: ") and result.err.count("\n") == 1, result.err
        for words in ([], ["--no-such"], ["agend"], ["agenda", "--no-such"], ["log", "room"], ["import"], ["done", "x"],
                      ["records", "export", "more"], ["--at"], ["log", "room", "45", "20", "--at", "noonish"]):
            result = b.ctl(*words, code=64 if "noonish" not in words else None)
            assert result.code in (64, 65) and result.err, (words, result)
        assert "agenda" in b.ctl("agend", code=64).err
        assert b.ctl("--help").out and b.daemon("--help").out and "zone" in b.daemon("--print-settings").out
        assert b.daemon("--version").out.split()[1] == b.ctl("--version").out.split()[1]
        assert b.daemon("--help", before=("sh", "-c", 'exec "$@" >/dev/full', "sh"), code=74).err


def test_once():
    with Bench() as b:
        readings = rows(START, 400, rh=20.0)
        b.drop("room.csv", export(readings))
        b.drop("bad.csv", "")
        os.utime(b.spool / "room.csv", (0, 0))
        first = b.daemon("--once", code=None)
        assert "left for the next time" in first.err and not b.readings()
        until(lambda: time.time() - max(p.stat().st_ctime for p in b.spool.iterdir()) > 11, "quiet")
        result = b.daemon("--once", code=65)
        assert "bad.csv" in result.err and "empty" in result.err
        assert len(b.entries()) == 1
        b.holds(readings)
        b.daemon("--once")
        b.holds(readings)


# ---- side by side ----

def test_a_finding_reaches_the_calendars_at_once():
    with Bench() as b:
        service = b.start()
        b.ctl("instrument", "one", "build=parlour", "place=room", "since=" + bench.stamp(START))
        b.ctl("finding", "one", "restrung", "--at", bench.stamp(NOW - 86400))
        until(lambda: len(b.entries("events")) == 1, "the job", 45)
        b.ctl("finding", "one", "settled")
        until(lambda: not b.entries("events"), "the job to be closed", 45)
        assert [e["STATUS"] for e in b.entries().values()] == ["COMPLETED"]
        assert service.end() == 0


def test_the_bell_wakes_the_service():
    with Bench() as b:
        service = b.start()
        for how in ("touch", "removed"):
            until(lambda: len(list(b.calendars.iterdir())) == 2, "the calendars")
            for path in b.calendars.iterdir():
                path.unlink()
            if how == "removed":
                (b.folder / "bench.db.bell").unlink()
            else:
                (b.folder / "bench.db.bell").open("a").close()
            until(lambda: len([p for p in b.calendars.iterdir() if p.name[0] != "."]) == 2, "new calendars", 45)
        assert service.end() == 0


def watch_calendars(b, stop, faults):
    """Reads the calendars as fast as it can: whole every time, never away once there."""
    while not stop.is_set():
        for kind in ("events", "todos"):
            try:
                b.entries(kind)
            except Exception as fault:
                faults.append("%s: %s" % (kind, fault))
                return


def work_side_by_side(b, rounds):
    """Import, finding, agenda and a reading by hand at the same time, round by round; all that was imported."""
    stop, faults = threading.Event(), []
    watcher = threading.Thread(target=watch_calendars, args=(b, stop, faults))
    watcher.start()
    every = {"room": [], "case": []}
    with concurrent.futures.ThreadPoolExecutor(4) as pool:
        for i in range(rounds):
            sensor = ("room", "case")[i % 2]
            part = rows(START + i * 20 * 600, 20, rh=45.0 - 30 * (i % 3 == 2))
            path = b.file("%s.%d.csv" % (sensor, i), export(part))
            jobs = [pool.submit(b.ctl, "import", path), pool.submit(b.ctl, "agenda"),
                    pool.submit(b.ctl, "finding", "one", ("restrung", "settled")[i % 2], "--at", bench.stamp(START + i * 600)),
                    pool.submit(b.ctl, "log", sensor, "44", "20", "--at", bench.stamp(START + i * 12000 + 7))]
            for job in jobs:
                job.result()
            every[sensor] += part + [(START + i * 12000 + 7, 44, 20)]
    stop.set()
    watcher.join()
    assert not faults, faults
    return every


def side_by_side(with_service):
    with Bench() as b:
        b.ctl("instrument", "one", "build=parlour", "place=room", "since=" + bench.stamp(START - 86400))
        service = b.start() if with_service else None
        every = work_side_by_side(b, 20)
        for sensor, readings in every.items():
            b.holds(readings, sensor)
        assert len(b.query("SELECT 1 FROM finding")) == 20
        if service:
            assert service.end() == 0
            assert not [x for x in service.lines if "error" in x or "warning" in x], service.lines
        b.ctl("agenda")
        open_items = b.query("SELECT uid FROM item WHERE state = 0")
        assert b.entries("events").keys() == {uid for uid, in open_items}
        assert not list(b.calendars.glob(".*")), list(b.calendars.iterdir())


def test_many_programs_beside_the_service():
    side_by_side(True)


def test_many_programs_without_the_service():
    side_by_side(False)


def waits_for_folder(child):
    """The process stands before the lock of a calendar folder."""
    return " -> FLOCK  ADVISORY  WRITE %d " % child.pid in open("/proc/locks").read()


def test_slower_program_brings_no_older_agenda_back():
    with Bench() as b:
        b.ctl("instrument", "one", "build=parlour", "place=room", "since=" + bench.stamp(START - 86400))
        b.ctl("finding", "one", "restrung", "--at", bench.stamp(NOW - 86400))
        assert len(b.entries("events")) == 1
        folder = os.open(b.calendars, os.O_RDONLY)
        fcntl.flock(folder, fcntl.LOCK_EX)
        slow = subprocess.Popen([bench.program("seasonctl"), "--config", str(b.config), "agenda"], cwd=b.folder,
                                stdout=subprocess.DEVNULL)
        until(lambda: waits_for_folder(slow), "the slow program")
        settings = b.config.read_text()
        b.config.write_text(settings[:settings.index("outputs")])
        b.ctl("finding", "one", "settled")  # it has no calendars to write
        b.config.write_text(settings)
        os.close(folder)
        assert slow.wait() == 0
        assert not b.entries("events") and [e["STATUS"] for e in b.entries().values()] == ["COMPLETED"]


# ---- endings ----

def taken_or_not(b, name, readings):
    """The file lies in the spool and gave nothing, or lies in done/ and is stored whole."""
    done, waiting = (b.spool / "done" / name).exists(), (b.spool / name).exists()
    assert done != waiting, sorted(str(p) for p in b.spool.rglob("*"))
    b.holds(readings if done else [])
    return done


def test_term_during_an_import():
    print("seed", SEED)
    chance = random.Random(SEED)
    readings = rows(START - 86400 * 90, 60000, step_s=120)
    text = export(readings)
    done = 0
    for _ in range(6):
        with Bench() as b:
            service = b.start()
            b.drop("room.csv", text)
            time.sleep(chance.choice((0, 0.02, 0.15)) * chance.random())
            assert service.end() == 0
            done += taken_or_not(b, "room.csv", readings)
            again = b.start()
            until((b.spool / "done" / "room.csv").exists, "the file")
            again.end()
            b.holds(readings)
    print("taken before the end in %d of 6 rounds" % done)


def check_acknowledged(b, parts):
    """Every reading of every file in done/ is there once; what is there belongs to some file."""
    b.whole()
    got = b.readings()
    acknowledged = {p.name for p in (b.spool / "done").iterdir()} if (b.spool / "done").exists() else set()
    assert len(acknowledged) == len({n.partition("-")[0] for n in acknowledged}), acknowledged
    for name, readings in parts.items():
        stored = sum(got.get(t) == (round(rh * 100), round(temp * 100)) for t, rh, temp in readings)
        assert stored in (0, len(readings)), "%s: %d of %d" % (name, stored, len(readings))
        if name in acknowledged:
            assert stored, "%s was acknowledged and is lost" % name
        else:
            assert (b.spool / name).exists(), "%s is gone" % name
    assert len(got) == sum(len(r) for n, r in parts.items() if r[0][0] in got)


def test_kill_at_any_moment():
    print("seed", SEED)
    chance = random.Random(SEED)
    parts, start, unfinished, moved = {}, START - 86400 * 300, 0, 0
    with Bench() as b:
        for i in range(20):
            service = b.start()
            for k in range(3):
                name = "room.%02d%d.csv" % (i, k)
                parts[name] = rows(start, chance.randrange(50, 6000), step_s=60)
                start = parts[name][-1][0] + 60
                b.drop(name, export(parts[name]))
            time.sleep(chance.uniform(0, 0.2))
            service.end(signal.SIGKILL)
            check_acknowledged(b, parts)
            unfinished += any((b.spool / n).exists() for n in parts)
            moved += (b.spool / "done").exists() and any((b.spool / "done").glob("room.%02d*" % i))
        print("of 20 rounds %d left files, %d had moved some of their own" % (unfinished, moved))
        service = b.start()
        until(lambda: all((b.spool / "done" / n).exists() for n in parts), "all files")
        assert service.end() == 0
        check_acknowledged(b, parts)
        b.holds([r for part in parts.values() for r in part])
        assert not list((b.spool / "failed").glob("*"))


# ---- kernel sensors ----

KERNEL = bench.SETTINGS.replace("sources = (", 'sources = ( { name = "chip"; kind = "kernel"; sensor = "case"; path = "sys";'
                                ' chip = "sht4x"; interval = "10 s"; },')


def hwmon(b, number, name, rh_milli, temp_milli):
    folder = b.folder / "sys/class/hwmon" / ("hwmon%d" % number)
    folder.mkdir(parents=True)
    for file, text in (("name", name), ("humidity1_input", rh_milli), ("temp1_input", temp_milli)):
        (folder / file).write_text("%s\n" % text)
    return folder


def test_kernel_sensor_that_gets_another_number():
    with Bench(KERNEL) as b:
        chip = hwmon(b, 3, "sht4x", 45230, 21370)
        hwmon(b, 1, "hdc3020", 71000, 5000)
        service = b.start()
        until(lambda: b.readings("case"), "the first reading")
        assert set(b.readings("case").values()) == {(4523, 2137)}
        chip.rename(chip.with_name("hwmon7"))
        (b.folder / "sys/class/hwmon/hwmon1").rename(chip)  # the other chip has its number now
        (chip.with_name("hwmon7") / "humidity1_input").write_text("46000\n")
        until(lambda: len(b.readings("case")) > 1, "the second reading")
        assert sorted(b.readings("case").values()) == [(4523, 2137), (4600, 2137)]
        (chip.with_name("hwmon7") / "humidity1_input").write_text("nonsense\n")
        service.child.send_signal(signal.SIGHUP)  # reads at once
        fault = service.log("source \"chip\"")
        assert "hwmon7/humidity1_input" in fault and "nonsense" in fault and "a decimal number is expected" in fault
        assert service.end() == 0
        b.whole()
        assert len(b.readings("case")) == 2


def test_kernel_sensor_that_is_not_there():
    with Bench(KERNEL) as b:
        hwmon(b, 1, "hdc3020", 71000, 5000)
        result = b.daemon("--once", code=66)
        for words in ("chip \"sht4x\"", "\"hdc3020\"", "sys"):
            assert words in result.err, result.err
        hwmon(b, 2, "sht4x", 45, 21)
        result = b.daemon("--once", code=65)
        assert "set unit = \"percent\"" in result.err and not b.readings("case"), result.err


if __name__ == "__main__":
    bench.main(globals())
