#!/usr/bin/python3 -B
"""Programs that print readings: run, bounded, heard to their end, and none left behind."""
import json
import os
import pathlib
import signal
import sqlite3
import sys
import time

import bench
from bench import Bench, until

SOURCES = """sources = ( { name = "probe"; kind = "command"; program = "probe"; %s } );
streams = (
	{ name = "room"; source = "probe"; sensor = "room"; %s },
	{ name = "case"; source = "probe"; sensor = "case"; %s }
);
outputs"""
JSON = ('humidity = "/room/rh"; temperature = "/room/t";', 'humidity = "/case/rh";')
GOOD = """echo '{"room": {"rh": 45.5, "t": 21.25}, "case": {"rh": 51}}'\n"""


def command(script, settings="", streams=JSON, shell="#!/bin/sh\n"):
    text = bench.SETTINGS[:bench.SETTINGS.index("sources")] + (SOURCES % (settings, *streams)) + \
        bench.SETTINGS[bench.SETTINGS.index("outputs") + len("outputs"):]
    b = Bench(text)
    b.file("probe", shell + script).chmod(0o755)
    return b


def children(pid):
    return pathlib.Path("/proc/%d/task/%d/children" % (pid, pid)).read_text().split()


def alive(marker):
    """Processes whose arguments hold the marker."""
    found = []
    for folder in pathlib.Path("/proc").glob("[0-9]*"):
        try:
            words = (folder / "cmdline").read_bytes()
            state = (folder / "stat").read_text().rpartition(")")[2].split()[0]
        except OSError:
            continue
        if marker.encode() in words and state != "Z":
            found.append(int(folder.name))
    return found


def fails(b, words, code=74):
    """Run once it fails with these words, and stores nothing."""
    result = b.daemon("--once", code=code)
    for word in words:
        assert word in result.err, "%r is not in: %s" % (word, result.err)
    assert not b.readings("room") and not b.readings("case")
    return result


def test_values_of_two_sensors_at_once():
    with command(GOOD) as b:
        service = b.start()
        until(lambda: b.readings("room") and b.readings("case"), "the readings")
        assert list(b.readings("room").values()) == [(4550, 2125)]
        assert [rh for rh, _ in b.readings("case").values()] == [5100]
        until(lambda: not children(service.child.pid), "the program's end")
        assert service.end() == 0
        assert not [x for x in service.lines if "warning" in x or "error" in x], service.lines


def test_once_and_replay():
    with command(GOOD + "echo ran >>%s/runs\n") as b:
        script = b.folder / "probe"
        script.write_text(script.read_text() % b.folder)
        b.daemon("--once")
        assert (b.folder / "runs").read_text() == "ran\n" and len(b.readings("room")) == 1
        b.daemon("--replay", "2026-01-01..2026-01-03")
        assert (b.folder / "runs").read_text() == "ran\n"


def test_try_shows_and_stores_nothing():
    with command(GOOD) as b:
        shown = b.ctl("try", "probe").out
        assert "45.50 % RH" in shown and "51.00 % RH" in shown and "2 readings would be stored" in shown, shown
        assert not b.readings("room")
        b.file("probe", "#!/bin/sh\nexit 3\n").chmod(0o755)
        assert "exit status 3" in b.ctl("try", "probe", code=74).err
        assert not b.query("SELECT 1 FROM source")


def test_other_formats():
    cases = (
        ("plain", "echo 47.25", ("", "")),
        ("metrics", "echo 'rh{at=\"room\"} 47.25'; echo 'rh{at=\"case\"} 50'",
         ('humidity = "rh{at=\\"room\\"}";', 'humidity = "rh{at=\\"case\\"}";')),
        ("line", "echo 'air,at=room rh=47.25'; echo 'air,at=case rh=50'",
         ('humidity = "air,at=room rh";', 'humidity = "air,at=case rh";')),
    )
    for form, script, streams in cases:
        with command(script + "\n", 'format = "%s";' % form, streams) as b:
            if form == "plain":  # one number can't be two sensors'
                text = b.config.read_text()
                at = text.index('\t{ name = "case"; source')
                b.config.write_text(text[:at].rstrip().rstrip(",") + "\n);\n" + text[text.index("outputs = "):])
            b.daemon("--once")
            assert [rh for rh, _ in b.readings("room").values()] == [4725], form
            assert form == "plain" or [rh for rh, _ in b.readings("case").values()] == [5000], form


def test_environment_and_descriptors():
    script = """import json, os, resource, sys
fds = sorted(int(n) for n in os.listdir("/proc/self/fd"))
json.dump({"environment": dict(os.environ), "fds": [n for n in fds if os.path.exists("/proc/self/fd/%d" % n)],
           "stdin": os.readlink("/proc/self/fd/0"), "cwd": os.getcwd(), "arguments": sys.argv[1:],
           "group": os.getpgid(0) == os.getpid(), "blocked": open("/proc/self/status").read().split("SigBlk:")[1].split()[0],
           "ignored": open("/proc/self/status").read().split("SigIgn:")[1].split()[0],
           "privileges": open("/proc/self/status").read().split("NoNewPrivs:")[1].split()[0],
           "core": resource.getrlimit(resource.RLIMIT_CORE)}, open(sys.argv[1], "w"))
print('{"room": {"rh": 45}}')
"""
    with command(script, 'arguments = ["OUT", "; echo x", "$HOME"];', shell="#!%s -I\n" % sys.executable) as b:
        b.config.write_text(b.config.read_text().replace("OUT", str(b.folder / "seen")))
        b.environment["SECRET_OF_OURS"] = "hunter2"
        b.daemon("--once")
        seen = json.loads((b.folder / "seen").read_text())
        environment = seen["environment"]
        environment.pop("LC_CTYPE", None)  # python's own
        assert environment == {"PATH": "/usr/local/bin:/usr/bin:/bin", "LANG": "C.UTF-8", "TZ": "UTC"}, environment
        assert seen["fds"] == [0, 1, 2] and seen["stdin"] == "/dev/null" and seen["cwd"] == "/", seen
        assert seen["arguments"][1:] == ["; echo x", "$HOME"] and seen["group"], seen
        # python itself ignores SIGPIPE (13) and SIGXFSZ (25)
        ignored = int(seen["ignored"], 16) & ~(3 << 31)  # signals 32 and 33 are the C library's own and stay as inherited
        assert int(seen["blocked"], 16) == 0 and ignored == 1 << 12 | 1 << 24, seen
        assert seen["privileges"] == "1" and seen["core"] == [0, 0], seen


def test_exit_status_with_its_words():
    with command("echo starting >&2\nprintf 'no probe on \\033[1mbus 2\\n\\n' >&2\n" + GOOD + "exit 3\n") as b:
        result = fails(b, ["probe: exit status 3: no probe on ", "bus 2"])
        assert "\033" not in result.err
        told = b.query("SELECT failures, error FROM source WHERE name = 'probe'")
        assert told[0][0] == 1 and "exit status 3" in told[0][1], told


def test_ended_by_a_signal():
    with command("kill -SEGV $$\n") as b:
        fails(b, ["ended by signal 11"])


def test_nothing_usable():
    with command("echo '{\"room\": {\"rh\": null}}'\n") as b:
        fails(b, ["no usable value"], 65)
    with command("echo '{\"room\"'\n") as b:
        fails(b, ["source \"probe\""], 65)
    with command("true\n") as b:
        fails(b, ["source \"probe\""], 65)


def test_program_that_cannot_be_run():
    with command(GOOD) as b:
        (b.folder / "probe").chmod(0o644)
        fails(b, ["probe: can't be run: Permission denied"])
        (b.folder / "probe").unlink()
        fails(b, ["probe: can't be run: No such file"])


def test_program_that_hangs():
    with command("echo waiting for the bus >&2\nexec sleep 987651\n", 'time_limit = "1 s";') as b:
        begun = time.monotonic()
        fails(b, ["ran longer than 1 s: waiting for the bus"])
        assert 1 <= time.monotonic() - begun < 2.5, "SIGTERM is enough for it"
        assert not alive("987651")


def test_program_that_ignores_sigterm():
    with command("trap '' TERM\nwhile :; do sleep 987652; done\n", 'time_limit = "1 s";') as b:
        begun = time.monotonic()
        fails(b, ["ran longer than 1 s"])
        assert 3 <= time.monotonic() - begun < 10
        assert not alive("987652")


def test_program_that_floods():
    with command("exec yes\n", "size_limit = 100000;") as b:
        begun = time.monotonic()
        fails(b, ["printed more than 100000 bytes"])
        assert time.monotonic() - begun < 10
    with command("yes >&2 & " + GOOD + "exit 0\n") as b:
        b.daemon("--once")
        assert len(b.readings("room")) == 1


def test_grandchild_that_holds_the_pipe():
    with command("sleep 987653 &\n" + GOOD) as b:
        begun = time.monotonic()
        b.daemon("--once")
        assert time.monotonic() - begun < 10 and len(b.readings("room")) == 1
        until(lambda: not alive("987653"), "the end of what it started")
    with command("setsid sleep 98765.4 &\n" + GOOD) as b:  # it left the group: it is not waited for
        begun = time.monotonic()
        b.daemon("--once")
        assert time.monotonic() - begun < 10 and len(b.readings("room")) == 1
        for pid in alive("98765.4"):
            os.kill(pid, signal.SIGKILL)


def test_readings_wait_for_a_store_that_is_held():
    with command(GOOD, 'interval = "1 h";') as b:
        service = b.start()
        service.message("settled")
        until(lambda: b.readings("room"), "the first reading")
        db = sqlite3.connect(b.store, isolation_level=None)
        db.execute("BEGIN IMMEDIATE")
        service.child.send_signal(signal.SIGHUP)
        service.log("running it again in 3600 s")
        db.execute("ROLLBACK")
        before = len(b.readings("room"))
        assert service.end() == 0
        assert len(b.readings("room")) == before + 1


def test_end_of_the_service_ends_it():
    for signo, marker in ((signal.SIGTERM, "987655"), (signal.SIGKILL, "987656"), (signal.SIGHUP, "987657")):
        with command("exec sleep %s\n" % marker) as b:
            service = b.start()
            running = until(lambda: alive("sleep\0" + marker), "the program")
            if signo == signal.SIGHUP:
                service.child.send_signal(signo)
                until(lambda: alive("sleep\0" + marker) not in (running, []), "the next one")
                assert len(alive("sleep\0" + marker)) == 1
                signo = signal.SIGTERM
            begun = time.monotonic()
            service.end(signo)
            until(lambda: not alive("sleep\0" + marker), "its end")
            assert time.monotonic() - begun < 10


def test_many_runs_leave_nothing():
    with command(GOOD) as b:
        service = b.start()
        pid = service.child.pid
        until(lambda: len(b.readings("room")) >= 1, "the first reading")
        until(lambda: not children(pid), "the end of the program")
        fds = set(os.listdir("/proc/%d/fd" % pid))
        for _ in range(20):
            before = len(service.messages)
            service.child.send_signal(signal.SIGHUP)  # begins anew, often in the middle of a run
            service.message("READY=1", after=before)
        until(lambda: not children(pid) and set(os.listdir("/proc/%d/fd" % pid)) <= fds, "nothing but what was there")
        assert service.end() == 0


if __name__ == "__main__":
    bench.main(globals())
