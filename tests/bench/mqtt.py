#!/usr/bin/python3 -B
"""Readings from a broker into the store: how fast what has waited comes in against a bare subscriber, how long one
takes from publishing to durable, and whether memory stays. No instruments: what settling costs with them is not asked.

Rate: a broker has READINGS of 20 sensors for a session; the subscriber starts; the time from a tenth to all of them in
its store, as another process sees them. Both sides in turn, PAIRS times; the middle ratio. The broker has its default
limits. The bare one acknowledges what it has not stored yet and so need not wait for its commits; we do.
"""
import json
import pathlib
import signal
import sqlite3
import statistics
import subprocess
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "system"))
from bench import BUILD, REPO, Bench, Skip  # noqa: E402
from broker import Broker, Publisher  # noqa: E402

READINGS, PAIRS, SENSORS, BATCH = 30000, 5, 20, 1000
RATE, LIVE_S = 1000, 15
START = int(time.time()) - 100 * 86400


def settings(port):
    sensors = ", ".join('{ name = "s%d"; place = "room"; }' % i for i in range(SENSORS))
    return """zone = "UTC"; store = "bench.db"; library = [ "%s/conf" ]; places = ( { name = "room"; } );
sensors = ( %s );
sources = ( { name = "broker"; kind = "mqtt"; host = "127.0.0.1"; port = %d; } );
streams = ( { name = "air"; source = "broker"; topic = "bench/+/air"; segment = 2; humidity = "/rh";
    temperature = "/temp"; time = "/t"; } );
outputs = ( { name = "bench"; folder = "calendars"; } );
""" % (REPO, sensors, port)


def publish(p, i):
    body = {"t": START + i // SENSORS * 60, "rh": round(40 + i % 1700 / 100, 2), "temp": round(18 + i % 300 / 100, 2)}
    p.publish("bench/s%d/air" % (i % SENSORS), json.dumps(body))


def counter(path):
    db = sqlite3.connect("file:%s?mode=ro" % path, uri=True, timeout=30, isolation_level=None)
    return lambda: db.execute("SELECT count(*) FROM reading").fetchone()[0]


def drained(count, n):
    """Readings a second from a tenth of n to all."""
    times = []
    for part in (n // 10, n):
        while count() < part:
            time.sleep(0.01)
        times.append((time.monotonic(), count()))
    (t0, n0), (t1, n1) = times
    return (n1 - n0) / (t1 - t0)


def fill(port):
    p = Publisher(port)
    for i in range(READINGS):
        publish(p, i)
    p.settle()
    p.close()


def our_rate():
    with Bench() as b, Broker(b.folder) as broker:
        b.config.write_text(settings(broker.port))
        b.start().log("connected to")
        b.services[0].end()
        fill(broker.port)
        service = b.start()
        rate = drained(counter(b.store), READINGS)
        service.end()
        return rate


def bare_rate():
    with Bench() as b, Broker(b.folder) as broker:
        command = [str(BUILD / "tests/bench/mqtt_bare"), str(broker.port), "bare", str(b.store), str(BATCH)]

        def start():
            child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
            assert child.stdout.readline() == "connected\n"
            return child

        def end(child):
            child.send_signal(signal.SIGTERM)
            child.wait()
            child.stdout.close()
        end(start())
        fill(broker.port)
        child = start()
        rate = drained(counter(b.store), READINGS)
        end(child)
        return rate


def resident_kb(pid):
    return int(pathlib.Path("/proc/%d/status" % pid).read_text().split("VmRSS:")[1].split()[0])


def live():
    """(seconds from publishing to durable of each, resident memory after a fifth, and at the end)"""
    n = RATE * LIVE_S
    with Bench() as b, Broker(b.folder) as broker:
        b.config.write_text(settings(broker.port))
        service = b.start()
        service.log("connected to")
        count, sent, seen, early = counter_of_source(b.store), [], [], 0

        def pour():
            p, begin = Publisher(broker.port), time.monotonic()
            for i in range(n):
                time.sleep(max(0, begin + i / RATE - time.monotonic()))
                sent.append(time.monotonic())
                publish(p, i)
            p.settle()
        thread = threading.Thread(target=pour)
        thread.start()
        while len(seen) < n:
            here = count()
            seen.extend([time.monotonic()] * (here - len(seen)))
            if not early and len(seen) >= n / 5:
                early = resident_kb(service.child.pid)
            time.sleep(0.002)
        thread.join()
        late = resident_kb(service.child.pid)
        service.end()
        return [s - t for s, t in zip(seen, sent)], early, late


def counter_of_source(path):
    """Readings come in the order they were published: the n-th is durable when n are."""
    db = sqlite3.connect("file:%s?mode=ro" % path, uri=True, timeout=30, isolation_level=None)
    return lambda: (db.execute("SELECT readings FROM source WHERE name = 'broker'").fetchone() or (0,))[0]


def main():
    pairs = [(our_rate(), bare_rate()) for _ in range(PAIRS)]
    print("bench mqtt_rate %.0f readings_per_s" % statistics.median(a for a, _ in pairs))
    print("bench mqtt_rate_to_bare %.2f ratio goal >= 0.5" % statistics.median(a / b for a, b in pairs))
    latency, early, late = live()
    latency.sort()
    print("bench mqtt_latency_p99 %.3f s goal <= 1" % latency[len(latency) * 99 // 100])
    print("bench mqtt_resident_growth %.2f ratio goal <= 1.1" % (late / early))


try:
    main()
except Skip as reason:
    print("bench mqtt: skipped, %s" % reason)
