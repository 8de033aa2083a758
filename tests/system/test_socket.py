#!/usr/bin/python3 -B
"""The local intake as its clients see it: a Unix socket and HTTP POST, durable before they say so, and both bounded."""
import http.client
import json
import os
import pathlib
import shutil
import signal
import socket
import sqlite3
import stat
import threading
import time

import bench
from bench import Bench, until

NOW = int(time.time())
TOKEN = "correct-horse-battery-staple"
AUTH = {"Authorization": "Bearer " + TOKEN}
SOURCES = """sources = ( { name = "door"; kind = "socket"; %s } );
streams = (
	{ name = "room"; source = "door"; sensor = "room"; humidity = "%s"; %s },
	{ name = "case"; source = "door"; sensor = "case"; humidity = "%s"; %s }
);
outputs"""
PLACES = {"json": ("/room/rh", 'temperature = "/room/t"; time = "/t";', "/case/rh", 'time = "/t";'),
          "line": ("air,at=room rh", "", "air,at=case rh", "")}


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def gate(settings="", unix=True, http=False, form="json"):
    text = bench.SETTINGS
    if unix:
        settings += ' path = "in.sock";'
    port = free_port() if http else 0
    if http:
        settings += ' listen = "127.0.0.1:%d"; auth = "bearer"; credential = "token";' % port
    settings += ' format = "%s";' % form
    b = Bench(text[:text.index("sources")] + (SOURCES % (settings, *PLACES[form])) +
              text[text.index("outputs") + len("outputs"):])
    b.config.write_text(b.config.read_text().replace('"token"', '"%s/token"' % b.folder))
    b.file("token", TOKEN + "\n").chmod(0o600)
    b.path, b.port = str(b.folder / "in.sock"), port
    return b


def open_gate(b, **more):
    service = b.start(**more)
    if b.port:
        until(lambda: listening(service.child.pid), "the port")
    if "in.sock" in b.config.read_text():
        until(lambda: answers(b.path), "the socket")
    return service


def answers(path):
    try:
        Client(path).close()
    except OSError:
        return False
    return True


def listening(pid):
    """Ports that the process listens on by TCP."""
    inodes = set()
    for fd in pathlib.Path("/proc/%d/fd" % pid).iterdir():
        try:
            target = os.readlink(fd)
        except OSError:
            continue
        if target.startswith("socket:["):
            inodes.add(target[8:-1])
    ports = []
    for table in ("tcp", "tcp6"):
        for line in pathlib.Path("/proc/%d/net/%s" % (pid, table)).read_text().splitlines()[1:]:
            words = line.split()
            if words[3] == "0A" and words[9] in inodes:
                ports.append(int(words[1].rpartition(":")[2], 16))
    return ports


class Client:
    """Of the Unix socket."""

    def __init__(self, path):
        self.socket = socket.socket(socket.AF_UNIX)
        self.socket.settimeout(bench.LIMIT_S)
        try:
            self.socket.connect(path)
        except OSError:
            self.socket.close()
            raise
        self.file = self.socket.makefile("rb")

    def send(self, payload):
        self.socket.sendall(payload if isinstance(payload, bytes) else payload.encode())

    def answer(self):
        return self.file.readline().decode()

    def ask(self, payload):
        self.send(payload)
        return self.answer()

    def finish(self):
        self.socket.shutdown(socket.SHUT_WR)
        return self.file.read().decode()

    def close(self):
        self.file.close()
        self.socket.close()


def body(t, room=45.0, case=None):
    content = {"t": t, "room": {"rh": room, "t": 20}}
    if case is not None:
        content["case"] = {"rh": case}
    return json.dumps(content)


def post(b, content, headers=AUTH, method="POST", url="/readings", chunked=False):
    c = http.client.HTTPConnection("127.0.0.1", b.port, timeout=bench.LIMIT_S)
    c.request(method, url, content, headers, encode_chunked=chunked)
    r = c.getresponse()
    result = r.status, r.read().decode(), dict(r.getheaders())
    c.close()
    return result


# ---- the Unix socket ----

def test_socket_file_and_its_removal():
    with gate() as b:
        service = open_gate(b)
        st = os.lstat(b.path)
        assert stat.S_ISSOCK(st.st_mode) and stat.S_IMODE(st.st_mode) == 0o660, oct(st.st_mode)
        assert service.end() == 0 and not os.path.exists(b.path)
        service = open_gate(b)
        service.end(signal.SIGKILL)
        assert os.path.exists(b.path)  # stale
        service = open_gate(b)
        assert service.end() == 0 and not os.path.exists(b.path)
        pathlib.Path(b.path).write_text("a file of somebody's")
        service = b.start()
        service.log("no socket lies there")
        assert service.end() == 0 and pathlib.Path(b.path).read_text() == "a file of somebody's"


def test_socket_somebody_listens_to_is_left_alone():
    with gate() as b, socket.socket(socket.AF_UNIX) as other:
        other.bind(b.path)
        other.listen()
        inode = os.lstat(b.path).st_ino
        service = b.start()
        service.log("somebody listens there")
        assert service.end() == 0 and os.lstat(b.path).st_ino == inode


def test_payloads_by_line_and_at_the_end():
    with gate() as b:
        service = open_gate(b)
        c = Client(b.path)
        assert c.ask(body(NOW - 600) + "\n") == "ok 1\n"
        assert b.readings("room") == {NOW - 600: (4500, 2000)}  # durable by now
        assert c.ask(body(NOW - 500, 46, 50) + "\r\n") == "ok 2\n"
        assert c.ask(json.dumps(json.loads(body(NOW - 400)), indent=4) + "\n") == "ok 1\n"
        c.send("\n \n" + body(NOW - 300) + "\n" + body(NOW - 200) + "\nnonsense\n" + body(NOW - 100))
        told = c.finish().splitlines()
        assert [x.split()[0] for x in told] == ["ok", "ok", "error:", "ok"], told
        assert sorted(b.readings("room")) == [NOW - n for n in (600, 500, 400, 300, 200, 100)]
        assert list(b.readings("case")) == [NOW - 500]
        assert service.end() == 0
        b.whole()


def test_line_protocol():
    with gate(form="line", http=True) as b:
        service = open_gate(b)
        lines = ["air,at=%s rh=4%d %d" % (at, i, (NOW - 600 + i) * 10**9) for i in range(3) for at in ("room", "case")]
        c = Client(b.path)
        c.send("\n".join(lines) + "\n")
        assert c.finish() == "ok 1\n" * 6
        assert len(b.readings("room")) == len(b.readings("case")) == 3
        assert post(b, "air,at=room rh=50 %d\nair,at=case rh=51 %d\n" % (NOW * 10**9, NOW * 10**9))[:2] == (200, "ok 2\n")
        assert service.end() == 0


def test_garbage():
    junk = (b"\0\0\0\n", b"{}\n", b"[]\n", b'"\n', b"}}\n", b"\xff\xfe\xfd\n", b'{"t": 1e999, "room": {"rh": 45}}\n', b"null\n",
            b'{"t": %d, "room": {"rh": "\\u001b[1m"}}\n' % NOW, b"GET / HTTP/1.1\n")
    with gate() as b:
        service = open_gate(b)
        for bytes_ in junk:
            c = Client(b.path)
            told = c.ask(bytes_)
            assert told.startswith("error: ") and told.isascii() and told[:-1].isprintable(), (bytes_, told)
            assert c.ask(body(NOW) + "\n") == "ok 1\n", bytes_  # the next payload is well
            c.close()
        c = Client(b.path)
        c.send(b"{" * 1000 + b"\n" + body(NOW).encode())
        assert c.finish().startswith("error: ")
        assert service.end() == 0
        assert list(b.readings("room")) == [NOW]


def test_limits_of_the_unix_socket():
    with gate("size_limit = 200; rate_limit = 5;") as b:
        service = open_gate(b)
        c = Client(b.path)
        c.send("[" + "1," * 5000)
        assert c.answer() == "error: more than 200 bytes\n"
        try:
            assert c.answer() == ""
        except ConnectionResetError:
            pass  # not all of it was read
        c = Client(b.path)
        told = [c.ask(body(NOW - 600 + i) + "\n") for i in range(7)]
        assert told[:5] == ["ok 1\n"] * 5, told
        assert all(x.startswith("error: more than 5 payloads a minute: again in ") for x in told[5:]), told
        assert service.end() == 0
        assert len(b.readings("room")) == 5


def test_slow_and_many_clients():
    with gate('time_limit = "2 s";') as b:
        service = open_gate(b)
        slow = [Client(b.path) for _ in range(8)]
        for c in slow:
            c.send('{"t"')
        begun = time.monotonic()
        assert Client(b.path).answer().startswith("error: too many clients")
        stop = threading.Event()

        def drip():
            while not stop.wait(0.2):
                for x in slow:
                    try:
                        x.send(" ")
                    except OSError:
                        pass
        dripping = threading.Thread(target=drip)
        dripping.start()
        assert slow[-1].answer() == "error: it took too long\n"
        assert 1 < time.monotonic() - begun < 10
        stop.set()
        dripping.join()
        c = until(lambda: answers(b.path) and Client(b.path), "room")
        assert c.ask(body(NOW) + "\n") == "ok 1\n"
        assert service.end() == 0


def test_client_that_reads_no_answers():
    with gate("rate_limit = 100000;") as b:
        service = open_gate(b)
        c = Client(b.path)
        c.socket.setblocking(False)
        sent = 0
        try:
            while sent < 50000000:
                sent += c.socket.send(b"x\n" * 2000)
        except BlockingIOError:
            pass
        assert sent < 50000000  # it is held back
        other = Client(b.path)
        assert other.ask(body(NOW) + "\n") == "ok 1\n"
        assert service.end() == 0


def test_several_clients_at_once():
    with gate(http=True) as b:
        service = open_gate(b)
        faults = []

        def by_socket(k):
            c = Client(b.path)
            for i in range(20):
                if c.ask(body(NOW - 10000 + k * 1000 + i) + "\n") != "ok 1\n":
                    faults.append((k, i))

        def by_http(k):
            for i in range(20):
                if post(b, body(NOW - 10000 + k * 1000 + i))[0] != 200:
                    faults.append((k, i))
        threads = [threading.Thread(target=by_http if k % 2 else by_socket, args=(k,)) for k in range(4)]
        for t in threads:
            t.start()
        for t in threads:
            t.join()
        assert not faults, faults
        assert service.end() == 0
        assert len(b.readings("room")) == 80
        b.whole()


def test_what_was_acknowledged_outlives_sudden_death():
    for i in range(6):
        with gate(http=True) as b:
            service = open_gate(b)
            if i % 2:
                assert post(b, body(NOW - i, 45, 50))[:2] == (200, "ok 2\n")
            else:
                assert Client(b.path).ask(body(NOW - i, 45, 50) + "\n") == "ok 2\n"
            service.end(signal.SIGKILL)
            again = open_gate(b)
            assert b.readings("room") == {NOW - i: (4500, 2000)} and list(b.readings("case")) == [NOW - i]
            again.end()
            b.whole()


def test_store_that_is_held():
    with gate(http=True) as b:
        service = open_gate(b)
        db = sqlite3.connect(b.store, isolation_level=None)
        until(lambda: (b.calendars / "bench-todos.ics").exists(), "the first settling")
        db.execute("BEGIN IMMEDIATE")
        status, words, headers = post(b, body(NOW))
        assert status == 503 and headers["Retry-After"] == "30" and words.startswith("error: can't be stored now"), words
        db.execute("ROLLBACK")
        assert post(b, body(NOW))[0] == 200
        assert service.end() == 0
        assert list(b.readings("room")) == [NOW]


# ---- HTTP ----

def test_no_port_without_the_setting():
    with gate() as b:
        service = open_gate(b)
        assert listening(service.child.pid) == []
        assert service.end() == 0
    with gate(unix=False, http=True) as b:
        service = open_gate(b)
        assert listening(service.child.pid) == [b.port] and not os.path.exists(b.path)
        service.child.send_signal(signal.SIGHUP)
        service.log("settings read again")
        until(lambda: listening(service.child.pid) == [b.port], "the port")
        assert post(b, body(NOW))[0] == 200
        b.config.write_text(bench.SETTINGS)
        service.child.send_signal(signal.SIGHUP)
        until(lambda: listening(service.child.pid) == [], "no port")
        assert service.end() == 0


def test_what_http_answers():
    with gate("size_limit = 1000;", unix=False, http=True) as b:
        service = open_gate(b)
        good = body(NOW, 45, 50)
        wrong = [{}, {"Authorization": TOKEN}, {"Authorization": "Basic " + TOKEN}, {"Authorization": "Bearer"},
                 {"Authorization": "Bearer " + TOKEN[:-1]}, {"Authorization": "Bearer " + TOKEN + "x"},
                 {"Authorization": "Bearer " + "x" * 9000}, {"Authorization": "Bearer \xe4"}]
        for headers in wrong:
            status, words, got = post(b, good, headers)
            assert status == 401 and got["WWW-Authenticate"].startswith("Bearer") and TOKEN not in words, (headers, status)
        assert not b.readings("room")
        for method in ("GET", "PUT", "DELETE", "HEAD", "OPTIONS", "PATCH"):
            status, _, got = post(b, None, method=method)
            assert status == 405 and got["Allow"] == "POST", (method, status)
        for url in ("/", "/reading", "/readings/", "/readings/../readings", "//readings", "/%3Cscript%3E"):
            status, words, got = post(b, good, url=url)
            assert status == 404 and "script" not in words and got["Content-Type"] == "text/plain", (url, status, words)
        assert post(b, good, dict(AUTH, **{"Content-Encoding": "gzip"}))[0] == 415
        assert post(b, " " * 1001)[0] == 413
        assert post(b, iter([b" " * 600] * 2), chunked=True)[0] == 413
        for bad in ("", "nonsense", "{}", '{"room": {"rh": "<b>\\u001b"}, "t": %d}' % NOW, "\xff\xfe"):
            status, words, _ = post(b, bad.encode("latin-1"))
            assert status == 400 and words.startswith("error: ") and words.isascii() and words[:-1].isprintable(), (bad, status, words)
        assert not b.readings("room")
        assert post(b, good, {"authorization": "bearer  " + TOKEN})[:2] == (200, "ok 2\n")
        assert post(b, iter([body(NOW - 1).encode()[:9], body(NOW - 1).encode()[9:]]), chunked=True)[:2] == (200, "ok 1\n")
        assert post(b, body(NOW - 2).ljust(1000), url="/readings?x=<script>")[:2] == (200, "ok 1\n")
        assert service.end() == 0
        assert sorted(b.readings("room")) == [NOW - 2, NOW - 1, NOW] and list(b.readings("case")) == [NOW]
        log = "\n".join(service.lines)
        assert "without the right token" in log and TOKEN[:-1] not in log and "script" not in log, log


def test_new_token_needs_no_reload():
    with gate(unix=False, http=True) as b:
        service = open_gate(b)
        b.file("token", "another").chmod(0o600)
        assert post(b, body(NOW))[0] == 401
        assert post(b, body(NOW), {"Authorization": "Bearer another"})[0] == 200
        (b.folder / "token").chmod(0o644)
        assert post(b, body(NOW), {"Authorization": "Bearer another"})[0] == 503
        service.log("lets others at it")
        assert service.end() == 0
        assert "another" not in "\n".join(service.lines).replace("another path", "")


def test_rate_limit_of_http():
    with gate("rate_limit = 3;", unix=False, http=True) as b:
        service = open_gate(b)
        for _ in range(5):
            assert post(b, body(NOW), {})[0] == 401  # takes nothing from those who may
        told = [post(b, body(NOW - i)) for i in range(5)]
        assert [x[0] for x in told] == [200, 200, 200, 429, 429], told
        assert 1 <= int(told[3][2]["Retry-After"]) <= 60
        assert service.end() == 0


def test_pipelined_requests():
    with gate(unix=False, http=True) as b:
        service = open_gate(b)
        wire = b""
        for i in range(10):
            content = body(NOW - i).encode()
            wire += b"POST /readings HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\nContent-Length: %d\r\n\r\n%s" % (
                TOKEN.encode(), len(content), content)
        with socket.create_connection(("127.0.0.1", b.port), bench.LIMIT_S) as s:
            s.sendall(wire)
            got = b""
            while got.count(b"ok 1\n") < 10:
                part = s.recv(4096)
                assert part, got
                got += part
        assert got.count(b"HTTP/1.1 200") == 10
        assert len(b.readings("room")) == 10
        assert service.end() == 0


def sockets(service):
    """How many it has open; files come and go with each settling."""
    folder, n = pathlib.Path("/proc/%d/fd" % service.child.pid), 0
    for fd in folder.iterdir():
        try:
            n += os.readlink(fd).startswith("socket:")
        except FileNotFoundError:
            pass  # closed meanwhile
    return n


def test_slow_and_broken_http_clients():
    with gate('time_limit = "2 s";', unix=False, http=True) as b:
        service = open_gate(b)
        opened = sockets(service)
        slow = [socket.create_connection(("127.0.0.1", b.port), bench.LIMIT_S) for _ in range(8)]
        for i, s in enumerate(slow):
            s.sendall(b"POST /readings HTTP/1.1\r\nHost: x\r\n" if i % 2 else b"POST /readings HTTP/1.1\r\nHost: x\r\n"
                      b"Authorization: Bearer %s\r\nContent-Length: 1000\r\n\r\n{" % TOKEN.encode())
        stop = threading.Event()

        def drip():
            while not stop.wait(0.2):
                for s in slow:
                    try:
                        s.sendall(b"x")
                    except OSError:
                        pass
        dripping = threading.Thread(target=drip)
        dripping.start()
        begun = time.monotonic()
        assert post(b, body(NOW))[0] == 200  # let in once the slow are cut off
        assert 1 < time.monotonic() - begun < 15, time.monotonic() - begun
        stop.set()
        dripping.join()
        for junk in (b"\0" * 100, b"POST\r\n\r\n", b"POST /readings HTTP/9.9\r\n\r\n", b"\x16\x03\x01\x02\x00" * 20,
                     b"POST /readings HTTP/1.1\r\nHost: x\r\nContent-Length: -5\r\n\r\n",
                     b"POST /readings HTTP/1.1\r\nHost: x\r\nX: " + b"y" * 100000 + b"\r\n\r\n",
                     b"POST /readings HTTP/1.1\r\nHost: x\r\nContent-Length: 99999999999999999999\r\n\r\n"):
            with socket.create_connection(("127.0.0.1", b.port), bench.LIMIT_S) as s:
                try:
                    s.sendall(junk)
                    s.shutdown(socket.SHUT_WR)
                    s.recv(1000)
                except OSError:
                    pass  # a reset
        for s in slow:
            s.close()
        assert post(b, body(NOW - 1))[0] == 200
        until(lambda: sockets(service) == opened, "all closed")
        assert service.end() == 0
        assert sorted(b.readings("room")) == [NOW - 1, NOW]


def test_address_that_is_taken():
    with gate(http=True) as b, socket.socket() as other:
        other.bind(("127.0.0.1", b.port))
        other.listen()
        service = b.start()
        service.log("Address already in use, retrying in 10 s")
        assert Client(b.path).ask(body(NOW) + "\n") == "ok 1\n"  # one door does not close the other
        assert service.end() == 0


def test_address_others_reach_is_told():
    with gate(unix=False, http=True) as b:
        b.config.write_text(b.config.read_text().replace("127.0.0.1", "0.0.0.0"))
        service = open_gate(b)
        service.log("source \"door\": hears HTTP at 0.0.0.0:")
        assert service.end() == 0
        b.config.write_text(b.config.read_text().replace("0.0.0.0:", ""))
        service = open_gate(b)
        assert post(b, body(NOW))[0] == 200
        assert service.end() == 0 and not [x for x in service.lines if "hears HTTP" in x]


def test_curl():
    if not shutil.which("curl"):
        raise bench.Skip("curl is missing")
    with gate(http=True) as b:
        service = open_gate(b)
        url = "http://127.0.0.1:%d/readings" % b.port
        b.file("auth", "header = \"Authorization: Bearer %s\"\n" % TOKEN)
        common = ["curl", "-sS", "-K", str(b.folder / "auth"), "-w", "%{http_code}"]
        assert bench.run([*common, "--data-binary", body(NOW), url]).out == "ok 1\n200"
        large = b.file("large", " " * 3000000)
        assert bench.run([*common, "--data-binary", "@%s" % large, url]).out.endswith("413")
        assert bench.run([*common, "-H", "Transfer-Encoding: chunked", "--data-binary", body(NOW - 1), url]).out == "ok 1\n200"
        assert service.end() == 0


def test_once_and_replay_open_no_door():
    with gate(http=True) as b:
        service = open_gate(b)
        b.daemon("--once")
        assert Client(b.path).ask(body(NOW) + "\n") == "ok 1\n"
        assert service.end() == 0
        assert not b.daemon("--replay", "2026-01-01..2026-01-02").err.count("door")


if __name__ == "__main__":
    bench.main(globals())
