"""Brokers for tests of MQTT: a real one on a free port of the loopback, and one that is played by the test to see each
packet; and a publisher that knows what the broker took. Packets as in MQTT 3.1.1 (OASIS, 2014), sections 2 and 3.
"""
import getpass
import os
import pathlib
import shutil
import signal
import socket
import struct
import subprocess

from bench import LIMIT_S, Skip, until

CONNECT, CONNACK, PUBLISH, PUBACK, SUBSCRIBE, SUBACK, UNSUBSCRIBE, UNSUBACK, PINGREQ, PINGRESP, DISCONNECT = \
    1, 2, 3, 4, 8, 9, 10, 11, 12, 13, 14
WINDOW = 200  # messages a publisher has on the way


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def text(value):
    data = value if isinstance(value, bytes) else value.encode()
    return struct.pack(">H", len(data)) + data


def packet(kind, flags, body):
    length, n = b"", len(body)
    while True:
        length += bytes([n % 128 | (0x80 if n > 127 else 0)])
        n //= 128
        if n == 0:
            return bytes([kind << 4 | flags]) + length + body


class Stream:
    """Packets of a connection."""

    def __init__(self, connection):
        self.connection, self.buffer = connection, b""
        connection.settimeout(LIMIT_S)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def send(self, kind, flags=0, body=b""):
        self.connection.sendall(packet(kind, flags, body))

    def _need(self, n):
        while len(self.buffer) < n:
            more = self.connection.recv(65536)
            if not more:
                raise ConnectionError("closed")
            self.buffer += more

    def next(self):
        """(kind, flags, body)"""
        self._need(2)
        n, shift, at = 0, 0, 1
        while True:
            self._need(at + 1)
            byte = self.buffer[at]
            n |= (byte & 127) << shift
            shift, at = shift + 7, at + 1
            if byte < 128:
                break
        self._need(at + n)
        first, body = self.buffer[0], self.buffer[at:at + n]
        self.buffer = self.buffer[at + n:]
        return first >> 4, first & 15, body

    def publish(self, topic, mid, payload, again=False):
        self.send(PUBLISH, 10 if again else 2, text(topic) + struct.pack(">H", mid) + payload.encode())

    def close(self):
        self.connection.close()


class Publisher:
    """Publishes with QoS 1; `taken` counts what the broker acknowledged, in order."""

    def __init__(self, port, name="publisher"):
        self.stream = Stream(socket.create_connection(("127.0.0.1", port), LIMIT_S))
        self.stream.send(CONNECT, 0, text("MQTT") + bytes([4, 2, 0, 0]) + text(name))
        kind, _, body = self.stream.next()
        assert kind == CONNACK and body[1] == 0, (kind, body)
        self.mid, self.taken, self.waiting = 0, 0, []

    def _hear(self):
        kind, _, body = self.stream.next()
        assert kind == PUBACK, kind
        assert struct.unpack(">H", body)[0] == self.waiting.pop(0)
        self.taken += 1

    def publish(self, topic, payload, retain=False):
        while len(self.waiting) >= WINDOW:
            self._hear()
        self.mid = self.mid % 65535 + 1
        self.waiting.append(self.mid)
        body = text(topic) + struct.pack(">H", self.mid) + (payload if isinstance(payload, bytes) else payload.encode())
        self.stream.send(PUBLISH, 2 | retain, body)

    def settle(self):
        """Until the broker has taken all."""
        while self.waiting:
            self._hear()

    def close(self):
        self.stream.close()


class Broker:
    """The real one. Its settings and what it keeps lie in the folder."""

    def __init__(self, folder, *lines, name="broker"):
        self.program = shutil.which("mosquitto", path=os.environ["PATH"] + ":/usr/sbin:/usr/local/sbin")
        if not self.program:
            raise Skip("mosquitto is missing: make deps")
        self.folder = pathlib.Path(folder) / name
        self.folder.mkdir()
        self.port = free_port()
        self.config = self.folder / "broker.conf"
        self.config.write_text("\n".join([
            "listener %d 127.0.0.1" % self.port, "user " + getpass.getuser(), "persistence true",
            "persistence_location %s/" % self.folder, "max_queued_messages 0", "log_dest file %s/log" % self.folder,
            "log_type all", *(lines or ["allow_anonymous true"])]) + "\n")
        self.child = None
        self.start()

    def start(self):
        self.child = subprocess.Popen([self.program, "-c", str(self.config)], stdin=subprocess.DEVNULL,
                                      stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        until(self._listens, "the broker")

    def _listens(self):
        assert self.child.poll() is None, "the broker ended:\n" + (self.folder / "log").read_text()
        try:
            socket.create_connection(("127.0.0.1", self.port), 1).close()
            return True
        except OSError:
            return False

    def save(self):
        """What it holds is on the disk."""
        file = self.folder / "mosquitto.db"
        before = file.stat().st_mtime_ns if file.exists() else 0
        self.child.send_signal(signal.SIGUSR1)
        until(lambda: file.exists() and file.stat().st_mtime_ns > before, "the broker's file")

    def end(self, signo=signal.SIGTERM):
        if self.child and self.child.poll() is None:
            self.child.send_signal(signo)
            self.child.wait(LIMIT_S)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.end(signal.SIGKILL)


class Played:
    """A broker played by the test, for one client at a time."""

    def __init__(self):
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.listener.settimeout(LIMIT_S)
        self.port = self.listener.getsockname()[1]

    def accept(self, session=False, grant=1):
        """Up to a connection that is subscribed: (stream, topics). grant: the code that answers each."""
        connection, _ = self.listener.accept()
        stream, topics = Stream(connection), None
        kind, _, body = stream.next()
        assert kind == CONNECT and body[:7] == text("MQTT") + b"\x04", (kind, body)
        assert not body[7] & 2, "the session is not durable"
        stream.send(CONNACK, 0, bytes([session, 0]))
        while True:
            kind, _, body = stream.next()
            if kind == SUBSCRIBE:
                topics, at = [], 2
                while at < len(body):
                    n = struct.unpack(">H", body[at:at + 2])[0]
                    topics.append((body[at + 2:at + 2 + n].decode(), body[at + 2 + n]))
                    at += 3 + n
                stream.send(SUBACK, 0, body[:2] + bytes([grant] * len(topics)))
            elif kind == UNSUBSCRIBE:
                stream.send(UNSUBACK, 0, body[:2])
                return stream, topics

    def acknowledged(self, stream):
        """The identifier of the next message that is acknowledged, 0 once the connection is gone."""
        while True:
            try:
                kind, _, body = stream.next()
            except ConnectionError:
                return 0
            if kind == PUBACK:
                return struct.unpack(">H", body)[0]
            assert kind == UNSUBSCRIBE, kind  # it asks whether more waits
            stream.send(UNSUBACK, 0, body[:2])

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.listener.close()
