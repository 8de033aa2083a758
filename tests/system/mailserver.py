"""Servers for tests of mail, on free ports of the loopback: one that takes mail over STARTTLS with a login (aiosmtpd, in
this process), and one that keeps it for IMAP (dovecot, as nobody special, out of a temporary folder).
"""
import email
import email.policy
import grp
import logging
import os
import pathlib
import pwd
import shutil
import signal
import socket
import ssl
import subprocess
import tempfile
import warnings

from bench import LIMIT_S, Skip, until

logging.getLogger("mail.log").setLevel(logging.CRITICAL)  # refused handshakes are what is tested
warnings.filterwarnings("ignore", module="aiosmtpd")

try:
    from aiosmtpd.controller import Controller
    from aiosmtpd.smtp import SMTP, AuthResult
except ImportError:
    Controller = None

USER, PASSWORD = "bench", "s3cr3t-p4ss-of-0urs"


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


class Taker:
    """Takes letters: (from, recipients, bytes, over TLS); refuses the recipients it was told to, as often as told."""

    def __init__(self):
        self.letters, self.refusals, self.pause, self.tries, self.sender_refused = [], {}, None, [], None

    async def handle_MAIL(self, server, session, envelope, address, options):
        if self.sender_refused:
            return self.sender_refused
        envelope.mail_from = address
        return "250 OK"

    async def handle_RCPT(self, server, session, envelope, address, options):
        self.tries.append(address)
        code, times = self.refusals.get(address, (None, 0))
        if code and times > 0:
            self.refusals[address] = code, times - 1
            return code
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        self.letters.append((envelope.mail_from, list(envelope.rcpt_tos), envelope.content, session.ssl is not None))
        if self.pause:
            return self.pause()
        return "250 taken"


class Server:
    """tls: "starttls", "smtps" or "none"; certificate of webserver.Authority."""

    def __init__(self, certificate, tls="starttls", port=None):
        if not Controller:
            raise Skip("python3-aiosmtpd is not there: run with /usr/bin/python3")
        self.taker, self.logins, self.certificate, self.tls = Taker(), [], certificate, tls
        self.port = port or free_port()
        self.controller = None
        self.start()

    def _login(self, server, session, envelope, mechanism, data):
        self.logins.append((data.login.decode(), data.password.decode(), session.ssl is not None))
        good = (data.login, data.password) == (USER.encode(), PASSWORD.encode())
        return AuthResult(success=good, handled=False)

    def start(self):
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.certificate)
        taker, login, tls = self.taker, self._login, self.tls

        class Listener(Controller):
            def factory(self):
                return SMTP(self.handler, hostname="mail.example", tls_context=context if tls == "starttls" else None,
                            require_starttls=tls == "starttls", auth_required=tls != "none", authenticator=login,
                            auth_require_tls=tls == "starttls")

        self.controller = Listener(taker, hostname="127.0.0.1", port=self.port,
                                   ssl_context=context if tls == "smtps" else None)
        self.controller.start()

    def stop(self):
        if self.controller:
            self.controller.stop()
            self.controller = None

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.stop()

    @property
    def url(self):
        return "%s://localhost:%d" % ("smtps" if self.tls == "smtps" else "smtp", self.port)

    def wait(self, n, what="letters"):
        until(lambda: len(self.taker.letters) >= n, "%d %s" % (n, what))
        assert len(self.taker.letters) == n, "%d letters, wanted %d" % (len(self.taker.letters), n)
        return self.read(n - 1)

    def read(self, i):
        """A letter by the email package, free of defects."""
        message = email.message_from_bytes(self.taker.letters[i][2], policy=email.policy.default)
        for part in message.walk():
            assert not part.defects, part.defects
        return message


DOVECOT = """base_dir = %(d)s/run
state_dir = %(d)s/state
log_path = %(d)s/log
protocols = imap
listen = 127.0.0.1
ssl = required
ssl_cert = <%(certificate)s
ssl_key = <%(certificate)s
default_internal_user = %(user)s
default_internal_group = %(group)s
default_login_user = %(user)s
service anvil { 
  chroot =
}
service imap-login {
  chroot =
  inet_listener imap {
    port = %(plain)d
  }
  inet_listener imaps {
    port = %(secure)d
    ssl = yes
  }
}
service stats {
  chroot =
}
passdb {
  driver = static
  args = password=%(password)s
}
userdb {
  driver = static
  args = uid=%(uid)d gid=%(gid)d home=%(d)s/home
}
mail_location = maildir:%(d)s/home/Maildir
first_valid_uid = 0
first_valid_gid = 0
"""


class Inbox:
    """An IMAP server with one maildir, new mail is put into it as a file."""

    def __init__(self, certificate):
        program = shutil.which("dovecot", path=os.environ.get("PATH", "") + ":/usr/sbin:/usr/local/sbin")
        if not program:
            raise Skip("dovecot is not there")
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="seasond-imap-"))
        who = pwd.getpwnam("nobody") if os.geteuid() == 0 else pwd.getpwuid(os.geteuid())
        self.plain, self.secure, self.who = free_port(), free_port(), who
        own = self.folder / "certificate.pem"
        shutil.copy(certificate, own)
        for name in ("run", "state", "home/Maildir/new", "home/Maildir/cur", "home/Maildir/tmp"):
            (self.folder / name).mkdir(parents=True)
        config = self.folder / "dovecot.conf"
        config.write_text(DOVECOT % {
            "d": self.folder, "certificate": own, "user": who.pw_name, "group": grp.getgrgid(who.pw_gid).gr_name,
            "plain": self.plain, "secure": self.secure, "password": PASSWORD, "uid": who.pw_uid, "gid": who.pw_gid})
        if os.geteuid() == 0:
            for path in [self.folder, *self.folder.rglob("*")]:
                os.chown(path, who.pw_uid, who.pw_gid)
        more = {"user": who.pw_uid, "group": who.pw_gid, "extra_groups": []} if os.geteuid() == 0 else {}
        self.child = subprocess.Popen([program, "-F", "-c", str(config)], stdin=subprocess.DEVNULL,
                                      stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, **more)
        until(self._answers, "dovecot, whose log says: %s" % self.log())

    def log(self):
        path = self.folder / "log"
        return path.read_text() if path.exists() else ""

    def _answers(self):
        if self.child.poll() is not None:
            raise AssertionError("dovecot ended: %s%s" % (self.child.stderr.read(), self.log()))
        try:
            with socket.create_connection(("127.0.0.1", self.plain), 5) as s:
                return b"OK" in s.recv(200)
        except OSError:
            return False

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.child.send_signal(signal.SIGTERM)
        self.child.wait(LIMIT_S)
        self.child.stderr.close()
        shutil.rmtree(self.folder)

    def url(self, secure=True):
        return "imap%s://localhost:%d/INBOX" % ("s" if secure else "", self.secure if secure else self.plain)

    def put(self, name, data):
        new = self.folder / "home/Maildir/new"
        path = new.parent / "tmp" / name
        path.write_bytes(data)
        if os.geteuid() == 0:
            os.chown(path, self.who.pw_uid, self.who.pw_gid)
        path.rename(new / name)

    def seen(self, name):
        """Whether it is marked as read (flag S of a maildir)."""
        for path in (self.folder / "home/Maildir").glob("*/*"):
            if path.name.startswith(name):
                return "S" in path.name.partition(":2,")[2]
        raise AssertionError("%s is gone" % name)
