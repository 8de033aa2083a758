"""A bench in a temporary folder for system tests: settings, spool, calendars, and the real programs over them.

A test is a function test_NAME() of a script that ends in bench.main(globals()); it prints `ok NAME`, `not ok NAME`
with the traceback, or `skipped NAME: REASON`. Waiting is for events, with a limit that only a fault reaches.
Environment: B, the build folder; ONLY, a part of the names of tests to run.
"""
import collections
import datetime
import os
import pathlib
import resource
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
import traceback

REPO = pathlib.Path(__file__).resolve().parents[2]
BUILD = (REPO / os.environ.get("B", "build")).resolve()
LIMIT_S = 60  # for what should take a moment: the machine may be loaded
SANITIZED = b"__asan_init" in (BUILD / "seasond").read_bytes() if (BUILD / "seasond").exists() else False

SETTINGS = """zone = "UTC";
store = "bench.db";
library = [ "%s/conf" ];
places = ( { name = "room"; band = [40, 60]; }, { name = "case"; room = "room"; } );
sensors = (
	{ name = "room"; place = "room"; silent_after = "20 d"; },
	{ name = "case"; place = "case"; silent_after = "20 d"; }
);
sources = ( { name = "drop"; kind = "spool"; path = "spool"; } );
outputs = ( { name = "bench"; folder = "calendars"; } );
""" % REPO

Result = collections.namedtuple("Result", "code out err rss_kb seconds")


class Skip(Exception):
    """Why a test can't be made here."""


def until(true, what, limit_s=LIMIT_S):
    """Waits until true() is, and returns its value."""
    end = time.monotonic() + limit_s
    while True:
        value = true()
        if value:
            return value
        assert time.monotonic() < end, "waited %d s in vain for %s" % (limit_s, what)
        time.sleep(0.01)


def stamp(t):
    return datetime.datetime.fromtimestamp(t, datetime.timezone.utc).strftime("%Y-%m-%d %H:%M:%S")


def seconds(text):
    return int(datetime.datetime.fromisoformat(text + "+00:00").timestamp())


def rows(start, n, rh=45.0, step_s=600, temp=20.0):
    """n readings that wander a little, so that no check takes the sensor for stuck: [(t, rh, temp)]."""
    return [(start + i * step_s, round(rh + (i * 7 % 13) / 10, 2), round(temp + (i * 5 % 11) / 10, 2)) for i in range(n)]


def export(readings):
    """The text of a logger export."""
    lines = ["%s,%.2f,%.2f\n" % (stamp(t), rh, temp) for t, rh, temp in readings]
    return "Time (UTC),Humidity (%),Temperature (C)\n" + "".join(lines)


def program(name):
    path = BUILD / name
    if not path.exists():
        raise Skip("%s is not built" % path)
    return str(path)


def run(command, **more):
    """Runs to the end; its peak memory counts from its own start."""
    start = time.monotonic()
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        child = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=out, stderr=err, **more)
        killer = threading.Timer(LIMIT_S * 2, child.kill)
        killer.start()
        _, status, usage = os.wait4(child.pid, 0)
        killer.cancel()
        child.returncode = os.waitstatus_to_exitcode(status)
        out.seek(0)
        err.seek(0)
        return Result(child.returncode, out.read().decode(), err.read().decode(), usage.ru_maxrss,
                      time.monotonic() - start)


class Service:
    """seasond in the background with a notify socket of its own."""

    def __init__(self, folder, command, environment):
        self.heard = threading.Condition()
        self.lines, self.messages = [], []
        self.notify_path = str(folder / "notify")
        pathlib.Path(self.notify_path).unlink(missing_ok=True)
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind(self.notify_path)
        os.chmod(self.notify_path, 0o777)
        environment = dict(environment, NOTIFY_SOCKET=self.notify_path)
        self.child = subprocess.Popen(command, cwd=folder, env=environment, stdin=subprocess.DEVNULL,
                                      stderr=subprocess.PIPE, text=True)
        self.reader = threading.Thread(target=self._read_log, daemon=True)
        self.reader.start()
        threading.Thread(target=self._read_messages, daemon=True).start()

    def _add(self, to, text):
        with self.heard:
            to.append(text)
            self.heard.notify_all()

    def _read_log(self):
        for line in self.child.stderr:
            self._add(self.lines, line.rstrip("\n"))
        self._add(self.lines, "(end of log)")

    def _read_messages(self):
        while True:
            message = self.socket.recv(4096).decode()
            if message == "end":
                return
            self._add(self.messages, message)

    def _wait(self, where, text, after, limit_s):
        def found():
            return [x for x in where[after:] if text in x]
        with self.heard:
            ended = self.heard.wait_for(lambda: found() or "(end of log)" in self.lines, limit_s)
        if found():
            return found()[0]
        raise AssertionError("%s in vain for %r; log:\n%s\nmessages: %s" % (
            "it ended, waited" if ended else "waited", text, "\n".join(self.lines), self.messages))

    def log(self, text, after=0, limit_s=LIMIT_S):
        """Waits for a line of the log with that text."""
        return self._wait(self.lines, text, after, limit_s)

    def message(self, text, after=0, limit_s=LIMIT_S):
        """Waits for a message to the manager with that text."""
        return self._wait(self.messages, text, after, limit_s)

    def peak_kb(self):
        text = pathlib.Path("/proc/%d/status" % self.child.pid).read_text()
        return int(text.split("VmHWM:")[1].split()[0])

    def end(self, signo=signal.SIGTERM):
        """Signals (None: waits only) and returns the exit status once it is gone."""
        if self.child.returncode is None:
            if signo:
                self.child.send_signal(signo)
            try:
                self.child.wait(LIMIT_S * 2)
            except subprocess.TimeoutExpired:
                self.child.kill()
                self.child.wait()
                raise AssertionError("did not end; log:\n" + "\n".join(self.lines))
            self.reader.join()
            self.child.stderr.close()
            self.socket.sendto(b"end", self.notify_path)
        return self.child.returncode


class Bench:
    def __init__(self, settings=SETTINGS):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="seasond-"))
        self.folder.chmod(0o755)
        self.services = []
        self.config = self.folder / "seasond.conf"
        self.config.write_text(settings)
        self.spool = self.folder / "spool"
        self.calendars = self.folder / "calendars"
        self.store = self.folder / "bench.db"
        self.spool.mkdir()
        self.calendars.mkdir()
        self.environment = {k: v for k, v in os.environ.items() if k not in ("SEASOND_CONFIG", "NOTIFY_SOCKET",
                            "WATCHDOG_USEC", "WATCHDOG_PID", "JOURNAL_STREAM")}

    def __enter__(self):
        return self

    def __exit__(self, *_):
        for service in self.services:
            if service.child.returncode is None:
                service.end(signal.SIGKILL)
        shutil.rmtree(self.folder)

    def start(self, *options, ready=True, before=(), **environment):
        """The service, ready to be worked with unless ready is False."""
        command = [*before, program("seasond"), "--config", str(self.config), *options]
        service = Service(self.folder, command, dict(self.environment, **environment))
        self.services.append(service)
        if ready:
            service.message("READY=1")
        return service

    def daemon(self, *options, before=(), code=0):
        """seasond in the foreground, to its end."""
        return self._finish([*before, program("seasond"), "--config", str(self.config), *options], code)

    def ctl(self, *arguments, before=(), code=0):
        """seasonctl; code None: any exit status but a crash."""
        return self._finish([*before, program("seasonctl"), "--config", str(self.config), *arguments], code)

    def _finish(self, command, code):
        result = run([str(c) for c in command], cwd=self.folder, env=self.environment)
        good = 0 <= result.code < 128 if code is None else result.code == code
        assert good, "%s: exit status %d, wanted %s:\n%s%s" % (command, result.code, code, result.out, result.err)
        return result

    def file(self, name, content, folder=None):
        path = (folder or self.folder) / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    def drop(self, name, content):
        """A whole file into the spool at once."""
        return self.file("." + name, content, self.spool).rename(self.spool / name)

    # ---- what the store holds ----

    def query(self, sql, *values):
        return self.queries((sql, values))[0]

    def queries(self, *pairs):
        """The rows of each (SQL, values), all of one moment."""
        db = sqlite3.connect("file:%s?mode=ro" % self.store, uri=True, timeout=30, isolation_level=None)
        try:
            db.execute("BEGIN")
            return [db.execute(sql, values).fetchall() for sql, values in pairs]
        finally:
            db.close()

    def readings(self, sensor="room"):
        """{t: (hundredths of % RH, of degC)} as stored, flagged ones too."""
        found = self.query("SELECT t, rh, temp FROM reading JOIN sensor ON sensor = id WHERE name = ?", sensor)
        return {t: (rh, temp) for t, rh, temp in found}

    def whole(self):
        """The store is sound and its sums fit its readings."""
        verdict, sums, want = self.queries(
            ("PRAGMA integrity_check", ()), ("SELECT sensor, hour, n, rh_sum FROM hour ORDER BY 1, 2", ()),
            ("SELECT sensor, t / 3600, count(*), sum(rh) FROM reading WHERE flags = 0 GROUP BY 1, 2 ORDER BY 1, 2", ()))
        assert verdict == [("ok",)], verdict
        assert sums == want, "hourly sums differ from the readings"

    def holds(self, readings, sensor="room"):
        """The sensor has exactly these readings, and the store is whole."""
        self.whole()
        got, want = self.readings(sensor), {t: (round(rh * 100), round(temp * 100)) for t, rh, temp in readings}
        wrong = [(stamp(t), got.get(t), want.get(t)) for t in sorted(got.keys() | want.keys()) if got.get(t) != want.get(t)]
        assert not wrong, "%d readings for %d, first difference %s" % (len(got), len(want), wrong[0])

    # ---- what the calendars hold ----

    def entries(self, kind="todos", output="bench", folder=None):
        return entries((folder or self.calendars).joinpath("%s-%s.ics" % (output, kind)).read_bytes())


def entries(data):
    """{UID: {NAME: value}} of a calendar after checking its form."""
    assert data.endswith(b"END:VCALENDAR\r\n"), "cut short: %r" % data[-60:]
    lines = data.decode().split("\r\n")[:-1]
    assert all(len(x.encode()) <= 75 and "\n" not in x for x in lines), "a line is too long or ends wrongly"
    lines = data.decode().replace("\r\n ", "").split("\r\n")[:-1]
    found, entry, depth = {}, None, []
    for line in lines:
        name, _, value = line.partition(":")
        if name == "BEGIN":
            depth.append(value)
            entry = {} if len(depth) == 2 else entry
        elif name == "END":
            assert depth.pop() == value, "%s ends out of order" % value
            if len(depth) == 1 and value != "VTIMEZONE":
                assert entry["UID"] not in found, "UID twice"
                found[entry["UID"]] = entry
        elif len(depth) == 2:
            entry[name.partition(";")[0]] = value
    assert not depth
    return found


def _one(name, test):
    try:
        test()
        print("ok", name, flush=True)
    except Skip as reason:
        print("skipped %s: %s" % (name, reason), flush=True)
    except Exception:
        print("not ok", name)
        print("\n".join("  " + x for x in traceback.format_exc().splitlines()), flush=True)
        return False
    return True


def main(names):
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    only = os.environ.get("ONLY", "")
    tests = [(n[5:], f) for n, f in names.items() if n.startswith("test_") and only in n]
    results = [_one(name, test) for name, test in tests]
    sys.exit(0 if all(results) else 1)
