#!/usr/bin/python3 -B
"""Pages fetched over HTTP and HTTPS: certificates, credentials, redirects, limits, faults in words, and getting well again.

Certificates are made for the run by the openssl tool; the server is Python's own. RFC 9110 for statuses, RFC 6750 and
RFC 7617 for how a credential is shown.
"""
import atexit
import base64
import functools
import json
import os
import shutil
import signal
import socket
import sqlite3
import threading
import time

import bench
from bench import Bench, Skip, until
from webserver import Authority, Web

SECRET = "s3cr3t-Tok3n-of-0urs"
AIR = b'{"room": {"rh": 45.5, "t": 20.25}, "case": {"rh": 51, "t": 19}}'
NOW = int(time.time())


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


def secure(name="localhost", names="DNS:localhost,IP:127.0.0.1", **more):
    return Web(certificate(name, names, **more))


def source(name, url, interval=10, **more):
    """A source and its streams: of JSON, room and case, unless said otherwise."""
    streams = more.pop("streams", None) or [
        {"sensor": s, "humidity": "/%s/rh" % s, "temperature": "/%s/t" % s} for s in ("room", "case")]
    rows = dict({"name": name, "kind": "http", "url": url, "interval": "%d s" % interval}, **more)
    return rows, [dict({"name": "%s-%d" % (name, i), "source": name}, **x) for i, x in enumerate(streams)]


def group(rows):
    return "{ %s }" % " ".join("%s = %s;" % (k, json.dumps(v)) for k, v in rows.items())


def settings(*sources):
    text = bench.SETTINGS
    at = text.index("sources =")
    end = text.index("outputs =")
    streams = [group(x) for _, of_source in sources for x in of_source]
    return "%ssources = ( %s );\nstreams = ( %s );\n%s" % (
        text[:at], ",\n".join(group(rows) for rows, _ in sources), ",\n".join(streams), text[end:])


def bench_of(*sources):
    return Bench(settings(*sources))


def once(url, code=0, words=(), **more):
    """Fetches it with --once and returns what was said, and the readings of room."""
    with bench_of(source("hub", url, **more)) as b:
        result = b.daemon("--once", code=code)
        for word in [words] if isinstance(words, str) else words:
            assert word in result.err, result.err
        b.whole()
        return result.err, list(b.readings().values())


def own(**more):
    return dict({"ca_file": str(authority().ca), "time_limit": "20 s"}, **more)


def credential(b, mode=0o600):
    path = b.file("token", SECRET + "\n")
    path.chmod(mode)
    return str(path)


# ---- what arrives ----

def test_readings_of_several_sensors_arrive():
    with secure() as web:
        with bench_of(source("hub", web.page("/air", lambda ask: ask.give(AIR)), **own())) as b:
            b.daemon("--once")
            assert list(b.readings("room").values()) == [(4550, 2025)], b.readings("room")
            assert list(b.readings("case").values()) == [(5100, 1900)], b.readings("case")
            assert abs(list(b.readings())[0] - time.time()) < 60
        headers, = web.asked("/air")
        assert not {"Accept-Encoding", "Authorization", "Cookie", "Referer"} & headers.keys(), headers
        assert headers["User-Agent"].startswith("seasond/"), headers


def test_other_formats():
    rows = "Time (UTC),Humidity (%),Temperature (C)\n2026-01-05 10:00:00,44.5,21.0\n2026-01-05 10:10:00,44.7,21.1\n"
    with Web() as web:
        metrics = web.page("/metrics", lambda ask: ask.give(b'# TYPE rh gauge\nrh{at="room"} 47.5\nrh{at="yard"} 90\n'))
        table = web.page("/table", lambda ask: ask.give(rows.encode()))
        plain = web.page("/plain", lambda ask: ask.give(b"46.5\n"))
        assert once(metrics, format="metrics", streams=[{"sensor": "room", "humidity": 'rh{at="room"}'}])[1][0][0] == 4750
        assert once(table, format="delimited", streams=[{"sensor": "room"}])[1] == [(4450, 2100), (4470, 2110)]
        assert once(plain, format="plain", streams=[{"sensor": "room"}])[1][0][0] == 4650


def test_trying_a_source_stores_nothing():
    with secure() as web:
        with bench_of(source("hub", web.page("/air", lambda ask: ask.give(AIR)), **own())) as b:
            said = b.ctl("try", "hub").out
            assert "45.50 % RH" in said and "51.00 % RH" in said and "2 readings" in said, said
            web.page("/air", lambda ask: ask.give(b"", 404))
            assert "has no such page" in b.ctl("try", "hub", code=65).err
            assert not b.store.exists() or not b.readings()


def test_replay_fetches_nothing():
    with Web() as web:
        with bench_of(source("hub", web.page("/air", lambda ask: ask.give(AIR)))) as b:
            b.daemon("--replay", "2026-01-01..2026-01-02")
        assert not web.requests


# ---- certificates ----

def test_certificates_that_are_not_good_are_refused():
    other = dict(name="other", names="DNS:other.example")
    old = dict(name="old", names="DNS:localhost", start="20200101000000Z", end="20210101000000Z")
    new = dict(name="new", names="DNS:localhost", start="20390101000000Z")
    for made, more, words in (
            ({}, {"time_limit": "5 s"}, "of no authority that is trusted here: ca_file"),
            (other, own(), "is for another name"),
            (old, own(), "has expired"),
            (new, own(), "not valid yet")):
        with secure(**made) as web:
            _, readings = once(web.page("/air", lambda ask: ask.give(AIR)), 74, ["localhost", words], **more)
            assert not readings and not web.requests, (words, web.requests)
    with Web() as web:
        once(web.url("/air").replace("http:", "https:"), 74, "does not speak TLS", time_limit="5 s")
    with secure() as web:
        once(web.url("/air"), 78, "no certificates to read", ca_file="/dev/null")
        once(web.url("/air").replace("https:", "http:"), 74, "localhost", time_limit="5 s")


# ---- credentials ----

def shows(auth, name, value, **more):
    """It is shown to its own host, there after a redirect too, and to no other host, port or scheme."""
    with secure() as web, secure() as strange:
        kept = [web.page("/air", lambda ask: ask.give(AIR)), web.page("/moved", lambda ask: ask.move("/air"))]
        lost = [web.page("/host", lambda ask: ask.move(web.url("/air", "127.0.0.1"))),
                web.page("/port", lambda ask: ask.move(strange.url("/air"))),
                web.page("/back", lambda ask: ask.move(strange.url("/home"), 307))]
        strange.page("/air", lambda ask: ask.give(AIR))
        strange.page("/home", lambda ask: ask.move(web.url("/air"), 308))
        for url in kept + lost:
            with bench_of(source("hub", url, auth=auth, credential="TOKEN", **own(**more))) as b:
                b.config.write_text(b.config.read_text().replace("TOKEN", credential(b)))
                b.daemon("--once")
                assert b.readings()
            last = (web.asked("/air") + strange.asked("/air"))[-1] if url != lost[1] else strange.asked("/air")[-1]
            assert last.get(name) == (value if url in kept else None), (url, last)
        for path, headers in strange.requests:
            assert SECRET not in str(headers) and name not in headers, (path, headers)
        for first in ("/host", "/port", "/back"):
            assert [x.get(name) for x in web.asked(first)] == [value]


def test_a_bearer_token_is_shown_to_its_host_only():
    shows("bearer", "Authorization", "Bearer " + SECRET)


def test_a_password_is_shown_to_its_host_only():
    shows("basic", "Authorization", "Basic " + base64.b64encode(("me:" + SECRET).encode()).decode(), user="me")


def test_a_header_is_shown_to_its_host_only():
    shows("header", "X-Api-Key", SECRET, header="X-Api-Key")


def test_who_is_not_known_is_told_so():
    with secure() as web, secure() as strange:
        web.page("/air", lambda ask: ask.give(b"", 401))
        web.page("/moved", lambda ask: ask.move(strange.url("/air")))
        strange.page("/air", lambda ask: ask.give(b"", 401))
        once(web.url("/air"), 65, "status 401: wants to know who asks: auth, user and credential", **own())
        for path, words in (("/air", "wants to know who asks"), ("/moved", "led there by a redirect, where the credential")):
            with bench_of(source("hub", web.url(path), auth="bearer", credential="TOKEN", **own())) as b:
                b.config.write_text(b.config.read_text().replace("TOKEN", credential(b)))
                assert words in b.daemon("--once", code=65).err


def test_a_credential_others_may_read_is_refused():
    with secure() as web:
        url = web.page("/air", lambda ask: ask.give(AIR))
        with bench_of(source("hub", url, auth="bearer", credential="TOKEN", **own())) as b:
            path = credential(b, 0o644)
            b.config.write_text(b.config.read_text().replace("TOKEN", path))
            result = b.daemon("--once", code=78)
            assert 'credential "%s": mode 0644 lets others at it: chmod 600' % path in result.err, result.err
            assert not web.requests
            os.chmod(path, 0o600)
            b.daemon("--once")
        with bench_of(source("hub", url, auth="bearer", credential="token", **own())) as b:
            assert "LoadCredential=token:FILE" in b.daemon("--once", code=78).err
            credential(b, 0o400)
            b.environment["CREDENTIALS_DIRECTORY"] = str(b.folder)
            b.daemon("--once")
            assert web.asked("/air")[-1]["Authorization"] == "Bearer " + SECRET


def test_secrets_are_seen_nowhere():
    pages = {"/air": lambda ask: ask.give(AIR), "/401": lambda ask: ask.give(SECRET.encode(), 401),
             "/moved": lambda ask: ask.move("ftp://%s@localhost/" % SECRET), "/garbage": lambda ask: ask.give(b"{"),
             "/cut": lambda ask: ask.connection.shutdown(socket.SHUT_RDWR)}
    with secure() as web:
        many = [source("s%d" % i, web.page(path, page) + "?key=" + SECRET, auth="bearer", credential="TOKEN", **own())
                for i, (path, page) in enumerate(pages.items())]
        for path, page in pages.items():
            web.page(path + "?key=" + SECRET, page)
        with bench_of(*many) as b:
            b.config.write_text(b.config.read_text().replace("TOKEN", credential(b)))
            service = b.start()
            for i in range(1, len(pages)):
                service.log('source "s%d"' % i)
            until(b.readings, "readings")
            with open("/proc/%d/cmdline" % service.child.pid) as f:
                assert SECRET not in f.read()
            said = [b.ctl(*x.split(), code=None) for x in ("agenda", "check", "sources", "try s0", "try s1", "try s3")]
            assert service.end() == 0
            assert not [x for x in service.lines if SECRET in x], service.lines
            assert not [x for x in said if SECRET in x.out + x.err]
            assert not [m for m in service.messages if SECRET in m]
            files = [p for p in b.folder.rglob("*") if p.is_file() and p.name not in ("token", "seasond.conf")]
            assert not [p for p in files if SECRET.encode() in p.read_bytes()]
            assert all(x["Authorization"] == "Bearer " + SECRET for _, x in web.requests)


def in_memory(pid, text):
    """How often text stands in what the process may write."""
    found = 0
    with open("/proc/%d/mem" % pid, "rb", 0) as memory, open("/proc/%d/maps" % pid) as maps:
        for line in maps:
            span, rights = line.split()[:2]
            start, end = (int(x, 16) for x in span.split("-"))
            if rights.startswith("rw"):
                memory.seek(start)
                found += memory.read(end - start).count(text)
    return found


def test_secrets_do_not_stay_in_memory():
    if bench.SANITIZED:
        raise Skip("sanitizers keep what was freed")
    with secure() as web:
        url = web.page("/air", lambda ask: ask.give(AIR))
        with bench_of(source("hub", url, auth="basic", user="who", credential="TOKEN", **own())) as b:
            b.config.write_text(b.config.read_text().replace("TOKEN", credential(b)))
            service = b.start()
            until(b.readings, "readings")
            until((b.calendars / "bench-todos.ics").exists, "settling")
            shown = web.asked("/air")[0]["Authorization"].split()[1]
            assert in_memory(service.child.pid, url.encode()), "looks in the wrong place"
            for text in (SECRET, shown):
                assert in_memory(service.child.pid, text.encode()) == 0, text
            assert service.end() == 0


# ---- redirects ----

def test_redirects():
    with secure() as web, Web() as plain:
        plain.page("/air", lambda ask: ask.give(AIR))
        web.page("/air", lambda ask: ask.give(AIR))
        for i in range(1, 5):
            web.page("/%d" % i, lambda ask: ask.move("air" if ask.path == "/1" else "/%d" % (int(ask.path[1:]) - 1)))
        assert once(web.url("/3"), **own())[1]
        once(web.url("/4"), 65, "more than 3 redirects", **own())
        assert len(web.asked("/1")) == 2 and len(web.asked("/air")) == 1
        web.page("/loop", lambda ask: ask.move("/loop"))
        once(web.url("/loop"), 65, "more than 3 redirects", **own())
        assert len(web.asked("/loop")) == 4
        for to in ("file:///etc/passwd", "ftp://localhost/x", "gopher://localhost/", "//", "http://"):
            web.page("/bad", lambda ask: ask.move(to))
            err, readings = once(web.url("/bad"), 65, "redirects to what is no page of http or https", **own())
            assert "root:" not in err and not readings
        web.page("/down", lambda ask: ask.move(plain.url("/air")))
        once(web.url("/down"), 65, "redirects from https to http", **own())
        web.page("/named", lambda ask: ask.move("https://me:it@localhost:%d/air" % web.port))
        once(web.url("/named"), 74, "localhost", **own())
        web.page("/nowhere", lambda ask: ask.give(b"", 302))
        once(web.url("/nowhere"), 65, "redirects to what is no page", **own())
        assert not plain.requests
        plain.page("/up", lambda ask: ask.move(web.url("/air")))
        assert once(plain.url("/up"), **own())[1]


# ---- limits ----

def drip(ask):
    ask.send_response(200)
    ask.send_header("Content-Length", "1000")
    ask.end_headers()
    for _ in range(600):
        ask.wfile.write(b" ")
        ask.wfile.flush()
        time.sleep(0.1)


def never(ask):
    time.sleep(20)


def much(ask, chunked):
    ask.send_response(200)
    ask.send_header(*(("Transfer-Encoding", "chunked") if chunked else ("X-No-Length", "1")))
    ask.end_headers()
    ask.close_connection = True
    part = b" " * 65536
    ask.server.web.sent = 0
    for _ in range(160):
        ask.wfile.write(b"10000\r\n" + part + b"\r\n" if chunked else part)
        ask.server.web.sent += len(part)


def many_headers(ask):
    ask.send_response(200)
    for i in range(2000):
        ask.send_header("X-%d" % i, "x" * 60)
    ask.end_headers()


def test_slow_pages_are_cut_off():
    with secure() as web:
        for page, words in ((drip, "time_limit (1 s) for one that needs longer"), (never, "too slow, 0 bytes of the page in")):
            begun = time.monotonic()
            once(web.page("/slow", page), 74, words, **own(time_limit="1 s"))
            assert time.monotonic() - begun < 15
        web.page("/moved", lambda ask: time.sleep(0.7) or ask.move("/moved2"))
        web.page("/moved2", lambda ask: time.sleep(0.7) or ask.give(AIR))
        once(web.url("/moved"), 74, "too slow", **own(time_limit="1 s"))  # both together are one try


def test_silent_port_is_given_up():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        s.listen(1)  # the kernel connects, nobody answers
        once("http://127.0.0.1:%d/" % s.getsockname()[1], 74, "too slow, 0 bytes of the page in", time_limit="1 s")


def test_large_pages_are_cut_off():
    with secure() as web:
        web.page("/told", lambda ask: ask.give(b" " * (10 << 20)))
        web.page("/chunks", lambda ask: much(ask, True))
        web.page("/open", lambda ask: much(ask, False))
        for path in ("/told", "/chunks", "/open"):
            web.sent = 0
            once(web.url(path), 65, "more than 100000 bytes: size_limit", **own(size_limit=100000))
            assert web.sent < 9 << 20, "%s: all of it was read" % path
        once(web.page("/headers", many_headers), 65, "more than 65536 bytes of headers", **own())
        exact = AIR + b" " * (1000 - len(AIR))
        assert once(web.page("/fits", lambda ask: ask.give(exact)), **own(size_limit=1000))[1]
        once(web.url("/fits"), 65, "more than 999 bytes", **own(size_limit=999))


# ---- faults in words ----

def test_faults_in_words():
    with secure() as web:
        for status, words in ((403, "does not show it to us"), (404, "has no such page: the path of url"),
                              (429, "is asked too often"), (500, "has a fault of its own"), (503, "has no time now"),
                              (204, "is no page")):
            web.page("/x", lambda ask: ask.give(b"", status))
            once(web.url("/x"), 65, 'source "hub": localhost: status %d: %s' % (status, words), **own())
        web.page("/cut", lambda ask: ask.connection.shutdown(socket.SHUT_RDWR))
        once(web.url("/cut"), 74, "the connection broke off", **own())
        web.page("/short", lambda ask: (ask.send_response(200), ask.send_header("Content-Length", "99"), ask.end_headers(),
                                        setattr(ask, "close_connection", True)))
        once(web.url("/short"), 74, "the connection broke off", **own())
        port = web.port
    once("http://127.0.0.1:%d/air" % port, 74, ["no connection to port %d" % port, "refused", "does a server run there"])
    once("http://no-such-host.invalid/", 74, "no-such-host.invalid", time_limit="5 s")
    with socket.create_server(("127.0.0.1", 0)) as s:
        threading.Thread(target=lambda: s.accept()[0].sendall(b"SSH-2.0-x\r\n"), daemon=True).start()
        once("http://127.0.0.1:%d/" % s.getsockname()[1], 74, "does not answer in HTTP", time_limit="3 s")


def test_wrong_settings_are_told():
    for more, words in (({"url": "http://"}, "url: no address of a page"),
                        ({"auth": "basic", "user": "a:b", "credential": "x"}, "no colon"),
                        ({"auth": "header", "header": "X: y", "credential": "x"}, "no name of a header")):
        with bench_of(source("hub", **dict({"url": "https://localhost/"}, **more))) as b:
            assert words in b.daemon("--once", code=None).err


def test_what_is_no_page_of_its_format():
    deep = b"[" * 100000 + b"]" * 100000
    for body in (b"", b"{", b"<html>502</html>", b"\xff\xfe\x00", b"[]x", deep, b'{"room": {"rh": NaN, "t": 20}}'):
        with Web() as web:
            err, readings = once(web.page("/air", lambda ask: ask.give(body)), 65, 'source "hub": ')
            assert not readings, (body[:40], readings)
    with Web() as web:
        text = b'{"room": {"rh": "45.5", "t": "20"}, "case": {"rh": null, "t": 20}}'
        err, readings = once(web.page("/air", lambda ask: ask.give(text)), 0, "values are not there")
        assert readings == [(4550, 2000)], readings
        for body in (b'{"room": {"rh": "wet"}}', b'{"room": {"rh": 1e999}}', b'{"other": 1}', b'{"room": {"rh": 700}}'):
            err, readings = once(web.page("/air", lambda ask: ask.give(body)), 65, "the page holds no reading")
            assert not readings


# ---- the environment ----

def test_proxies_and_netrc_of_the_environment_are_not_used():
    with Web() as web:
        with bench_of(source("hub", web.page("/air", lambda ask: ask.give(AIR)))) as b:
            b.file(".netrc", "machine localhost login me password %s\n" % SECRET).chmod(0o600)
            nowhere = "http://127.0.0.1:1"
            b.environment.update(http_proxy=nowhere, https_proxy=nowhere, all_proxy=nowhere, ALL_PROXY=nowhere,
                                 HOME=str(b.folder))
            b.daemon("--once")
            assert b.readings()
        assert "Authorization" not in web.asked("/air")[0]


# ---- over time ----

def test_the_service_gets_well_again():
    """Told once when it fails and once when it works again; others go on meanwhile; connections are kept."""
    state = {"/a": 0, "/c": 0}
    stamped = json.dumps({"room": {"rh": 45, "t": 20, "at": NOW - 60}, "case": {"rh": 50, "t": 20, "at": NOW - 60}}).encode()

    def failing(ask):
        state["/a"] += 1
        ask.give(b"", 500) if state["/a"] < 3 else ask.give(AIR)

    def known(ask):
        state["/c"] += 1
        if ask.headers.get("If-None-Match") == '"v1"':
            ask.give(b"", 304, ETag='"v1"')
        else:
            ask.give(stamped, ETag='"v1"')

    timed = [{"sensor": s, "humidity": "/%s/rh" % s, "time": "/%s/at" % s} for s in ("room", "case")]
    with secure() as web, secure() as dying:
        a = source("a", web.page("/a", failing), **own())
        c = source("c", web.page("/c", known), streams=timed, **own())
        d = source("d", dying.page("/d", lambda ask: ask.give(AIR, ETag='"d"')), **own())
        e = source("e", web.page("/e", never), **own(time_limit="9 s"))
        f = source("f", web.page("/f", lambda ask: ask.give(AIR)), jitter="6 s", **own())
        g = source("g", web.page("/g", drip), **own(time_limit="100 s"))
        with bench_of(a, c, d, e, f, g) as b:
            service = b.start()
            line = service.log('warning: source "a": localhost: status 500: has a fault of its own')
            assert "retrying in 10 s" in line, line
            until(lambda: dying.asked("/d"), "the first fetch")
            dying.stop()
            down = service.log('warning: source "d"')
            assert "retrying in 10 s" in down and "no connection to port" in down, down
            dying.start()
            service.log('source "d": works again')
            service.log('source "a": works again')
            service.log('source "e": localhost: too slow')
            service.log("s: fewer than 16 a second for 30 s")
            until(lambda: state["/c"] >= 3 and len(web.asked("/f")) >= 3, "pages fetched thrice")
            assert service.end() == 0
            for name in "ad":
                assert len([x for x in service.lines if 'source "%s"' % name in x]) == 2, service.lines
            steps = {path: [b - a for a, b in zip(at, at[1:])] for path in ("/c", "/f")
                     for at in [[t for where, t in web.times if where == path]]}
            assert all(5 < x < 15 for x in steps["/c"]), steps
            assert all(2 < x < 20 for x in steps["/f"]) and any(abs(x - 10) > 0.5 for x in steps["/f"]), steps
            assert [x.get("If-None-Match") for x in web.asked("/c")][:3] == [None, '"v1"', '"v1"']
            assert not [x for x in dying.asked("/d") if "If-None-Match" in x], "steady air would look silent"
            b.whole()
            assert NOW - 60 in b.readings()
            worked = dict(b.query("SELECT name, readings FROM source"))
            tried = dict(b.query("SELECT name, worked - tried FROM source"))
            assert worked["c"] == 2 and tried["c"] == 0, (worked, tried)


def test_readings_wait_for_the_store():
    with Web() as web:
        with bench_of(source("hub", web.page("/air", lambda ask: ask.give(AIR)))) as b:
            service = b.start()
            until(lambda: b.store.exists() and b.query("SELECT 1 FROM sensor"), "the store")
            held = sqlite3.connect(b.store, isolation_level=None)
            held.execute("BEGIN IMMEDIATE")
            until(lambda: web.asked("/air"), "a fetch")
            assert "retrying in" in service.log('source "hub"')
            assert not b.readings()
            held.execute("ROLLBACK")
            held.close()
            service.log('source "hub": works again')
            assert service.end() == 0
            assert len(b.readings()) == len(web.asked("/air")), (b.readings(), web.times)
            b.whole()


def test_readings_held_are_capped():
    readings = bench.rows(NOW - 86400 * 9, 400)
    with Web() as web:
        web.page("/table", lambda ask: ask.give(bench.export(readings).encode()) if len(web.asked("/table")) == 1
                 else ask.give(b"", 304))
        with bench_of(source("hub", web.url("/table"), format="delimited", streams=[{"sensor": "room"}])) as b:
            service = b.start()
            until(lambda: b.store.exists() and b.query("SELECT 1 FROM sensor"), "the store")
            held = sqlite3.connect(b.store, isolation_level=None)
            held.execute("BEGIN IMMEDIATE")
            service.log("the oldest 100 readings held are lost")
            held.execute("ROLLBACK")
            held.close()
            service.log('source "hub": works again')
            assert service.end() == 0
            b.holds(readings[100:])


def test_a_server_says_when_to_come_again():
    with Web() as web:
        web.page("/busy", lambda ask: ask.give(b"", 503, Retry_After="77"))
        web.page("/greedy", lambda ask: ask.give(b"", 429, Retry_After="9999999"))
        with bench_of(source("a", web.url("/busy")), source("b", web.url("/greedy"))) as b:
            service = b.start()
            assert "retrying in 77 s" in service.log('source "a"')
            assert "retrying in 3600 s" in service.log('source "b"')
            assert service.end() == 0


def test_stops_and_reloads_while_fetches_are_under_way():
    with secure() as web:
        many = [source("s%d" % i, web.page("/%d" % i, never), **own(time_limit="60 s")) for i in range(6)]
        with bench_of(*many) as b:
            service = b.start()
            until(lambda: len(web.requests) >= 3, "fetches")
            service.child.send_signal(signal.SIGHUP)
            service.log("settings read again")
            before = len(web.requests)
            until(lambda: len(web.requests) >= before + 2, "more fetches")
            begun = time.monotonic()
            assert service.end() == 0 and time.monotonic() - begun < 10


if __name__ == "__main__":
    bench.main(globals())
