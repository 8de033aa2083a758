"""Real CalDAV servers for tests, each on a free port of the loopback; what they hold stays in the folder over stops.

	with Radicale(folder, users={"bob": "secret"}) as server:
		server.url + "bob/"
		server.stop(signal.SIGKILL); server.start()  # the same port and collections
"""
import pathlib
import shutil
import signal
import socket
import subprocess

from bench import LIMIT_S, Skip, until
from broker import free_port


class Server:
    """One of them: a folder, a port, a process."""
    program = None

    def __init__(self, folder, name):
        self.path = shutil.which(self.program, path="/usr/bin:/usr/local/bin")
        if not self.path:
            raise Skip("%s is missing: make deps" % self.program)
        self.folder = pathlib.Path(folder) / name
        self.folder.mkdir()
        self.port = free_port()
        self.log = self.folder / "log"
        self.child = None
        self.scheme = "http"

    @property
    def url(self):
        return "%s://localhost:%d/" % (self.scheme, self.port)

    def words(self):
        raise NotImplementedError

    def start(self):
        with open(self.log, "ab") as log:
            self.child = subprocess.Popen([self.path, *self.words()], stdin=subprocess.DEVNULL, stdout=log, stderr=log,
                                          cwd=self.folder)
        until(self._listens, self.program)

    def _listens(self):
        assert self.child.poll() is None, "%s ended:\n%s" % (self.program, self.log.read_text())
        try:
            socket.create_connection(("localhost", self.port), 1).close()
            return True
        except OSError:
            return False

    def stop(self, signo=signal.SIGTERM):
        if self.child and self.child.poll() is None:
            self.child.send_signal(signo)
            try:
                self.child.wait(LIMIT_S)
            except subprocess.TimeoutExpired:
                self.child.kill()
                self.child.wait()
        self.child = None

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.stop(signal.SIGKILL)


class Radicale(Server):
    """users: names and passwords; without them any name comes in, and everyone may do everything. tls: a file with key and
    certificate (webserver.Authority.certificate), for the name localhost."""
    program = "radicale"

    def __init__(self, folder, tls=None, users=None, name="radicale"):
        super().__init__(folder, name)
        self.scheme = "https" if tls else "http"
        lines = ["[server]", "hosts = 127.0.0.1:%d" % self.port]
        if tls:
            lines += ["ssl = True", "certificate = %s" % tls, "key = %s" % tls]
        lines += ["[auth]"]
        if users:
            (self.folder / "users").write_text("".join("%s:%s\n" % pair for pair in users.items()))
            lines += ["type = htpasswd", "htpasswd_filename = %s/users" % self.folder, "htpasswd_encryption = plain",
                      "delay = 0"]
        else:
            lines += ["type = none"]
        lines += ["[storage]", "filesystem_folder = %s/coll" % self.folder, "[logging]", "level = info"]
        (self.folder / "conf").write_text("\n".join(lines) + "\n")
        self.start()

    def words(self):
        return ["--config", str(self.folder / "conf")]

    def items(self, user, collection):
        """The files of a collection."""
        where = self.folder / "coll" / "collection-root" / user / collection
        return sorted(p for p in where.glob("*.ics")) if where.exists() else []


class Xandikos(Server):
    """Knows nobody: one principal, /user/, with one calendar, /user/calendars/calendar/."""
    program = "xandikos"

    def __init__(self, folder, name="xandikos"):
        super().__init__(folder, name)
        self.start()

    def words(self):
        return ["-d", str(self.folder / "dav"), "--autocreate", "--defaults", "-l", "localhost", "-p", str(self.port),
                "--current-user-principal", "/user/"]

    def items(self, collection="calendar"):
        where = self.folder / "dav" / "user" / "calendars" / collection
        return sorted(p for p in where.glob("*.ics")) if where.exists() else []
