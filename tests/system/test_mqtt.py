#!/usr/bin/python3 -B
"""Readings from an MQTT broker: nothing it took for us is lost and nothing counts twice, whoever dies when.

Behaviour of the protocol: MQTT 3.1.1 (OASIS, 2014): 3.3.1.3 RETAIN, 4.3.2 QoS 1, 4.4 delivery again, 4.7 topics. Figures
of readings are invented.
"""
import json
import os
import pathlib
import random
import signal
import socket
import sqlite3
import subprocess
import threading
import time

from bench import REPO, SANITIZED, Bench, main, until
from broker import Broker, Played, Publisher

NOW = int(time.time())
START = NOW - 10 * 86400
ROOM = """{ name = "room"; source = "broker"; topic = "bench/room"; sensor = "room"; humidity = "/rh"; temperature = "/temp";
    time = "/t"; }"""
MANY = 3000 if SANITIZED else 12000


def settings(port, streams=ROOM, more=""):
    return """zone = "UTC";
store = "bench.db";
library = [ "%s/conf" ];
places = ( { name = "room"; }, { name = "case"; room = "room"; } );
sensors = ( { name = "room"; place = "room"; }, { name = "case"; place = "case"; } );
sources = ( { name = "broker"; kind = "mqtt"; host = "127.0.0.1"; port = %d; %s } );
streams = ( %s );
outputs = ( { name = "bench"; folder = "calendars"; } );
""" % (REPO, port, more, streams)


def reading(i):
    """Number i of a stream; one a minute."""
    return START + 60 * i, round(40 + i % 1700 / 100, 2), round(18 + i % 300 / 100, 2)


def payload(i):
    return json.dumps(dict(zip(("t", "rh", "temp"), reading(i))))


def numbered(n):
    return [reading(i) for i in range(n)]


def stored(b, n, sensor="room"):
    until(lambda: len(b.readings(sensor)) >= n, "%d readings" % n)


# ---- what is read ----

def test_topics_and_payloads():
    streams = """
    { name = "rooms"; source = "broker"; topic = "house/+/climate/#"; segment = 2; humidity = "/air/rh";
      temperature = "/air/temp"; time = "/at"; },
    { name = "one"; source = "broker"; topic = "lid"; sensor = "case"; humidity = "/0"; humidity_unit = "fraction"; }"""
    with Bench() as b, Broker(b.folder) as broker:
        b.config.write_text(settings(broker.port, streams))
        service = b.start()
        service.log("connected to")
        p = Publisher(broker.port)
        for i, (name, below) in enumerate([("room", "/a/b"), ("case", ""), ("room", "/a"), ("attic", "/a")]):
            p.publish("house/%s/climate%s" % (name, below),
                      json.dumps({"air": {"rh": 40.5 + i, "temp": "21.25"}, "at": START + i}))
        p.publish("house/room", json.dumps({"air": {"rh": 99}, "at": START + 50}))
        p.publish("lid", "[0.512]")
        service.log("not in the settings")
        stored(b, 2, "case")
        assert b.readings() == {START: (4050, 2125), START + 2: (4250, 2125)}, b.readings()
        lid = b.readings("case")
        assert lid.pop(START + 1) == (4150, 2125)
        (t, (rh, _)), = lid.items()
        assert rh == 5120 and NOW <= t <= time.time(), lid
        assert service.end() == 0


def test_plain_numbers():
    streams = '{ name = "room"; source = "broker"; topic = "+/rh"; segment = 1; }'
    with Bench() as b, Broker(b.folder) as broker:
        b.config.write_text(settings(broker.port, streams, 'format = "plain";'))
        service = b.start()
        service.log("connected to")
        p = Publisher(broker.port)
        p.publish("room/rh", "47.5\n")
        stored(b, 1)
        assert [rh for rh, _ in b.readings().values()] == [4750]
        assert service.end() == 0


def test_large_payloads():
    """More readings at once than one transaction has room for."""
    streams = '{ name = "room"; source = "broker"; topic = "batch"; sensor = "room"; humidity = "air rh"; temperature = "air t"; }'
    with Bench() as b, Broker(b.folder) as broker:
        b.config.write_text(settings(broker.port, streams, 'format = "line";'))
        service = b.start()
        service.log("connected to")
        p = Publisher(broker.port)
        for start in range(0, 8000, 2000):
            p.publish("batch", "".join("air rh=%.2f,t=%.2f %d000000000\n" % (rh, temp, t)
                                       for t, rh, temp in map(reading, range(start, start + 2000))))
        stored(b, 8000)
        b.holds(numbered(8000))
        assert service.end() == 0


def test_garbage_and_oversize():
    """What is no payload is told and acknowledged; the stream goes on."""
    noise = random.Random(5)
    with Bench() as b, Broker(b.folder) as broker:
        b.config.write_text(settings(broker.port, more="size_limit = 1000;"))
        service = b.start()
        service.log("connected to")
        p = Publisher(broker.port)
        for i in range(50):
            p.publish("bench/room", noise.randbytes(noise.randrange(0, 400)))
            p.publish("bench/room", payload(i))
        p.publish("bench/room", json.dumps({"t": START + 1, "rh": 50, "x": "y" * 1000}))
        p.publish("bench/room", payload(50))
        stored(b, 51)
        b.holds(numbered(51))
        assert "bench/room" in service.log("size_limit 1000")
        assert b.query("SELECT failures FROM source WHERE name = 'broker'") == [(0,)]
        # all were acknowledged: none comes again in the session
        assert service.end() == 0
        service = b.start()
        service.log("connected to")
        assert service.end() == 0
        assert not [x for x in service.lines if "topic" in x], service.lines


def test_retained():
    """A retained value counts with a time of its own only."""
    streams = ROOM + """, { name = "case"; source = "broker"; topic = "bench/case"; sensor = "case"; humidity = "/rh"; }"""
    with Bench() as b, Broker(b.folder) as broker:
        b.config.write_text(settings(broker.port, streams))
        p = Publisher(broker.port)
        p.publish("bench/room", payload(0), retain=True)
        p.publish("bench/case", '{"rh": 41}', retain=True)
        p.settle()
        service = b.start()
        service.log("1 values without a time of their own")
        stored(b, 1)
        p.publish("bench/case", '{"rh": 42}', retain=True)  # new, so not marked as retained for us
        stored(b, 1, "case")
        b.holds(numbered(1))
        assert [rh for rh, _ in b.readings("case").values()] == [4200]
        assert service.end() == 0


def test_while_away():
    """The broker keeps what comes while we are away. Of that, only what has a time of its own counts."""
    streams = ROOM + """, { name = "case"; source = "broker"; topic = "bench/case"; sensor = "case"; humidity = "/rh"; }"""
    with Bench() as b, Broker(b.folder) as broker:
        b.config.write_text(settings(broker.port, streams))
        service = b.start()
        service.log("connected to")
        assert service.end() == 0
        p = Publisher(broker.port)
        for i in range(200):
            p.publish("bench/room", payload(i))
            p.publish("bench/case", '{"rh": 41}')
        p.settle()
        service = b.start()
        service.log("200 values without a time of their own")
        b.holds(numbered(200))
        p.publish("bench/case", '{"rh": 42}')
        stored(b, 1, "case")
        assert [rh for rh, _ in b.readings("case").values()] == [4200]
        assert service.end() == 0
        # ... and the command that looks once
        for i in range(200, 250):
            p.publish("bench/room", payload(i))
        p.settle()
        b.daemon("--once")
        b.holds(numbered(250))


def test_delivered_twice():
    with Played() as played, Bench() as b:
        b.config.write_text(settings(played.port))
        service = b.start()
        stream, topics = played.accept()
        assert topics == [("bench/room", 1)], topics
        for mid, again in ((1, False), (1, True), (2, False)):
            stream.publish("bench/room", mid, payload(7), again)
            assert played.acknowledged(stream) == mid
        b.holds([reading(7)])
        assert service.end() == 0


# ---- what is acknowledged ----

def test_acknowledged_means_durable():
    """At the moment of each acknowledgement the store has the reading: another process sees it."""
    n, flying = 400, 20
    with Played() as played, Bench() as b:
        b.config.write_text(settings(played.port))
        service = b.start()
        stream, _ = played.accept()
        sent = 0
        for got in range(n):
            while sent < min(n, got + flying):
                stream.publish("bench/room", sent + 1, payload(sent))
                sent += 1
            assert played.acknowledged(stream) == got + 1
            assert b.query("SELECT 1 FROM reading WHERE t = ?", reading(got)[0]), "acknowledged before it was stored"
        b.holds(numbered(n))
        assert service.end() == 0


def test_no_acknowledgement_while_the_store_is_shut():
    """The store can't be written: nothing is acknowledged, the connection is given up, and all comes again."""
    with Played() as played, Bench() as b:
        b.config.write_text(settings(played.port))
        service = b.start()
        stream, _ = played.accept()
        service.log("connected to")
        lock = sqlite3.connect(b.store, isolation_level=None, timeout=60)
        lock.execute("BEGIN IMMEDIATE")
        for i in range(10):
            stream.publish("bench/room", i + 1, payload(i))
        assert played.acknowledged(stream) == 0, "acknowledged with the store shut"
        assert b.readings() == {}
        lock.execute("ROLLBACK")
        lock.close()
        stream, _ = played.accept(session=True)
        for i in range(10):
            stream.publish("bench/room", i + 1, payload(i), again=True)
        assert [played.acknowledged(stream) for _ in range(10)] == list(range(1, 11))
        b.holds(numbered(10))
        assert service.end() == 0


# ---- who dies when ----

def test_we_die():
    """kill -9 of the service in the midst of a stream, again and again: it flows until the service is dead and after."""
    seed = int(os.environ.get("SEED", time.time()))
    print("seed", seed)
    chance = random.Random(seed)
    with Bench() as b, Broker(b.folder) as broker:
        b.config.write_text(settings(broker.port))
        service = b.start()
        service.log("connected to")
        p, sent = Publisher(broker.port), 0

        def pour(start, dead):
            n, last = start, False
            while not last:
                last = dead.is_set()
                for n in range(n, n + 200):
                    p.publish("bench/room", payload(n))
                n += 1
            p.settle()
            poured.append(n)
        for _ in range(6):
            dead, poured = threading.Event(), []
            thread = threading.Thread(target=pour, args=(sent, dead))
            thread.start()
            until(lambda: len(b.readings()) > sent, "the first of this part")
            time.sleep(chance.random() * 0.02)
            service.end(signal.SIGKILL)
            stored_then = len(b.readings())
            dead.set()
            thread.join()
            sent = poured[0]
            assert stored_then < sent
            service = b.start()
        stored(b, sent)
        b.holds(numbered(sent))
        assert service.end() == 0


def test_settings_change_in_the_stream():
    """A reload takes leave and comes back; a topic that is no more in the settings brings nothing."""
    with Bench() as b, Broker(b.folder) as broker:
        b.config.write_text(settings(broker.port, ROOM.replace("bench/room", "bench/+")))
        service = b.start()
        service.log("connected to")
        p = Publisher(broker.port)
        for i in range(2000):
            p.publish("bench/room", payload(i))
            if i in (500, 1500):
                stored(b, i // 2)
                heard = len(service.lines)
                b.config.write_text(settings(broker.port))
                service.child.send_signal(signal.SIGHUP)
                service.log("settings read again", after=heard)
            if i > 1000:
                p.publish("bench/lid", payload(i + 5000))
        p.settle()
        service.log("connected to", after=heard)
        stored(b, 2000)
        b.holds(numbered(2000))
        assert service.end() == 0


def test_broker_dies_with_a_full_queue():
    """kill -9 of the broker while it hands out what it has on its disk: it then hands all of it out again."""
    with Bench() as b, Broker(b.folder) as broker:
        b.config.write_text(settings(broker.port))
        service = b.start()
        service.log("connected to")
        assert service.end() == 0
        p = Publisher(broker.port)
        for i in range(MANY):
            p.publish("bench/room", payload(i))
        p.settle()
        broker.save()
        broker.end(signal.SIGKILL)
        service = b.start()
        lock = sqlite3.connect(b.store, isolation_level=None, timeout=60)
        lock.execute("BEGIN IMMEDIATE")  # nothing is acknowledged, so the broker has most of it still
        broker.start()
        service.log("the broker keeps")
        broker.end(signal.SIGKILL)
        lock.execute("ROLLBACK")
        lock.close()
        assert len(b.readings()) < MANY
        broker.start()
        until(lambda: len(b.readings()) >= 0.4 * MANY, "the first readings")
        broker.end(signal.SIGKILL)  # in the midst or, where that went fast, at its end
        broker.start()
        stored(b, MANY)
        b.holds(numbered(MANY))
        service.log("retrying in")
        assert service.end() == 0


def test_broker_dies_in_the_stream():
    """kill -9 of the broker while readings pour in. What it took and had not on its disk is its own loss, so the
    publisher goes back to the last moment at which it had."""
    with Bench() as b, Broker(b.folder) as broker:
        b.config.write_text(settings(broker.port))
        service = b.start()
        service.log("connected to")
        broker.save()
        saved, n = 0, MANY // 4
        for stop in (n, 2 * n, 3 * n):
            p = Publisher(broker.port)
            for i in range(saved, stop):
                p.publish("bench/room", payload(i))
            p.settle()
            broker.save()
            saved = stop
            try:
                for i in range(saved, saved + n // 2):
                    p.publish("bench/room", payload(i))
                    if i == saved + n // 4:
                        broker.end(signal.SIGKILL)
            except OSError:
                pass
            broker.start()
        p = Publisher(broker.port)
        for i in range(saved, MANY):
            p.publish("bench/room", payload(i))
        p.settle()
        stored(b, MANY)
        b.holds(numbered(MANY))
        assert service.end() == 0


def test_broker_comes_late():
    with Bench() as b, Broker(b.folder) as broker:
        broker.end()
        b.config.write_text(settings(broker.port))
        service = b.start()
        assert "refused" in service.log("retrying in 2 s")
        assert "refused" in service.log("retrying in 4 s")
        b.daemon("--once", code=74)
        broker.start()
        service.log("connected to")
        until(lambda: b.query("SELECT error FROM source WHERE name = 'broker'") == [("",)], "that it works again")
        assert service.end() == 0


def test_broker_talks_nonsense():
    with Played() as played, Bench() as b:
        b.config.write_text(settings(played.port))
        service = b.start()
        stream, _ = played.accept()
        service.log("connected to")
        stream.send(0)  # no packet there is
        service.log("retrying in")
        played.accept(session=True)
        assert service.end() == 0


def test_broker_says_nothing():
    """Whoever takes the connection and never answers is given up after half a minute."""
    with Played() as played, Bench() as b:
        b.config.write_text(settings(played.port))
        service = b.start()
        assert "no answer" in b.daemon("--once", code=74).err
        assert "no answer" in service.log("retrying in")
        assert service.end() == 0


# ---- who may read it ----

def openssl(folder, *arguments):
    subprocess.run(["openssl", *arguments], cwd=folder, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def authority(folder, name):
    openssl(folder, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=" + name,
            "-keyout", name + ".key", "-out", name + ".crt")


def certificate(folder, ca, name, alt):
    openssl(folder, "req", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=" + name, "-keyout", name + ".key",
            "-out", name + ".csr")
    pathlib.Path(folder, name + ".ext").write_text("subjectAltName=%s\n" % alt)
    openssl(folder, "x509", "-req", "-days", "2", "-in", name + ".csr", "-CA", ca + ".crt", "-CAkey", ca + ".key",
            "-CAcreateserial", "-extfile", name + ".ext", "-out", name + ".crt")


def encrypted(b, name):
    return Broker(b.folder, "allow_anonymous true", "certfile %s/%s.crt" % (b.folder, name),
                  "keyfile %s/%s.key" % (b.folder, name), name="broker-" + name)


def test_encrypted():
    with Bench() as b:
        authority(b.folder, "ours")
        authority(b.folder, "theirs")
        certificate(b.folder, "ours", "good", "DNS:localhost,IP:127.0.0.1")
        certificate(b.folder, "ours", "elsewhere", "DNS:broker.example,IP:127.0.0.9")
        with encrypted(b, "good") as good, encrypted(b, "elsewhere") as elsewhere:
            for broker, ca in ((good, "theirs"), (elsewhere, "ours"), (good, "")):
                ca_file = 'ca_file = "%s/%s.crt";' % (b.folder, ca) if ca else ""
                b.config.write_text(settings(broker.port, more="tls = true; " + ca_file))
                service = b.start()
                line = service.log("retrying in")
                assert "verif" in line or "certificate" in line, line
                assert not [x for x in service.lines if "connected to" in x]
                assert service.end() == 0
            b.config.write_text(settings(good.port, more='tls = true; ca_file = "%s/none.crt";' % b.folder))
            service = b.start()
            assert "none.crt" in service.log("retrying in")
            assert service.end() == 0
            b.config.write_text(settings(good.port, more='tls = true; ca_file = "%s/ours.crt";' % b.folder))
            service = b.start()
            service.log("connected to")
            publish = subprocess.run(["mosquitto_pub", "-h", "localhost", "-p", str(good.port), "--cafile",
                                      str(b.folder / "ours.crt"), "-q", "1", "-t", "bench/room", "-l"],
                                     input="".join(payload(i) + "\n" for i in range(2000)), text=True, timeout=60)
            assert publish.returncode == 0
            stored(b, 2000)
            b.holds(numbered(2000))
            assert service.end() == 0


SECRET = "kVr9-no-one-sees-this"


def test_password():
    with Bench() as b:
        words = b.folder / "words"
        words.touch(mode=0o600)
        subprocess.run(["mosquitto_passwd", "-b", str(words), "reader", SECRET], check=True)
        with Broker(b.folder, "allow_anonymous false", "password_file %s" % words) as broker:
            right, wrong = b.file("right", SECRET + "\n"), b.file("wrong", "x" + SECRET + "\n")
            for file in (right, wrong):
                file.chmod(0o600)
            more = 'auth = "basic"; user = "reader"; credential = "%s";'
            b.config.write_text(settings(broker.port, more=more % wrong))
            service = b.start()
            line = service.log("retrying in")
            assert "authori" in line.lower(), line
            lines = service.lines
            assert service.end() == 0
            b.config.write_text(settings(broker.port, more=more % right))
            service = b.start()
            service.log("connected to")
            shown = b"".join(pathlib.Path("/proc/%d/%s" % (service.child.pid, x)).read_bytes() for x in ("cmdline", "environ"))
            assert service.end() == 0
            everything = "\n".join(lines + service.lines) + "\n".join(service.messages)
            assert SECRET not in everything and SECRET.encode() not in shown
            assert SECRET.encode() not in b.store.read_bytes()
            # a file that others may read is no place for it
            right.chmod(0o644)
            service = b.start()
            assert "chmod 600" in service.log("retrying in")
            assert service.end() == 0


def test_topic_refused():
    """What a broker answers to a subscription: 3.9.3."""
    for code, words in ((0x80, "the broker refuses it"), (0, "only QoS 0")):
        with Played() as played, Bench() as b:
            b.config.write_text(settings(played.port))
            service = b.start()
            played.accept(grant=code)
            assert "bench/room" in service.log(words)
            assert service.end() == 0


def test_replay_connects_to_nothing():
    with socket.create_server(("127.0.0.1", 0)) as listener, Bench() as b:
        listener.settimeout(0)
        b.config.write_text(settings(listener.getsockname()[1]))
        b.daemon("--replay", "2026-01-01..2026-01-05")
        try:
            listener.accept()
            raise AssertionError("it connected")
        except BlockingIOError:
            pass


if __name__ == "__main__":
    main(globals())
