"""A web server for tests: pages are functions, over TLS with certificates of an authority made for the run.

	with Web() as web:
		web.page("/air", lambda ask: ask.give(b'{"rh": 45}'))
		web.url("/air")  # https://localhost:PORT/air
		web.asked("/air")  # the headers of each request so far
	web.got("/air")  # [(method, headers, body)]
"""
import http.server
import pathlib
import shutil
import socket
import ssl
import subprocess
import tempfile
import threading
import time

AUTHORITY = """[ca]
default_ca = it
[it]
database = %(d)s/index
serial = %(d)s/serial
new_certs_dir = %(d)s
default_md = sha256
policy = any
unique_subject = no
[any]
commonName = supplied
[names]
subjectAltName = %(names)s
"""


class Authority:
    """Certificates by the openssl tool: each is a file of key and certificate."""

    def __init__(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="seasond-ca-"))
        self.ca = self.folder / "ca.pem"
        (self.folder / "index").touch()
        (self.folder / "serial").write_text("01\n")
        self._openssl("req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "9",
                      "-subj", "/CN=an authority of our own", "-keyout", "ca.key", "-out", "ca.pem")

    def _openssl(self, *words):
        subprocess.run(["openssl", *words], cwd=self.folder, check=True, capture_output=True)

    def certificate(self, name, names, start="20200101000000Z", end="20400101000000Z"):
        (self.folder / "ca.conf").write_text(AUTHORITY % {"d": self.folder, "names": names})
        self._openssl("req", "-new", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-subj", "/CN=" + name,
                      "-keyout", name + ".key", "-out", name + ".csr")
        self._openssl("ca", "-batch", "-notext", "-config", "ca.conf", "-extensions", "names", "-keyfile", "ca.key", "-cert",
                      "ca.pem", "-startdate", start, "-enddate", end, "-in", name + ".csr", "-out", name + ".crt")
        path = self.folder / (name + ".pem")
        path.write_text((self.folder / (name + ".key")).read_text() + (self.folder / (name + ".crt")).read_text())
        return path

    def remove(self):
        shutil.rmtree(self.folder)


class Ask(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def log_message(self, *_):
        pass

    def handle(self):
        try:
            super().handle()
        except (ConnectionError, ssl.SSLError, TimeoutError):
            pass  # the other side left early: often what is tested

    def do_GET(self):
        self.body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        self.server.web.note(self.path, self.headers, self.command, self.body)
        page = self.server.web.pages.get(self.path, lambda ask: ask.give(b"none", 404))
        page(self)

    do_PUT = do_DELETE = do_PROPFIND = do_REPORT = do_MKCALENDAR = do_GET

    def give(self, body=b"", status=200, **headers):
        self.send_response(status)
        for name, value in headers.items():
            self.send_header(name.replace("_", "-"), value)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        if status != 304:
            self.wfile.write(body)

    def move(self, to, status=302):
        self.give(b"elsewhere", status, Location=to)


class Listener(http.server.ThreadingHTTPServer):
    daemon_threads = True
    allow_reuse_address = True
    request_queue_size = 512

    def __init__(self, web, port, certificate):
        self.web, self.context, self.open = web, None, set()
        if certificate:
            self.context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            self.context.load_cert_chain(certificate)
        super().__init__(("127.0.0.1", port), Ask)

    def handle_error(self, *_):
        pass  # refused handshakes are what is tested

    def finish_request(self, request, client_address):
        request.settimeout(60)
        if self.context:
            request = self.context.wrap_socket(request, server_side=True)
        self.open.add(request)
        try:
            super().finish_request(request, client_address)
        finally:
            self.open.discard(request)
            request.close()


class Web:
    def __init__(self, certificate=None, port=0):
        self.pages, self.requests, self.whole, self.times, self.lock = {}, [], [], [], threading.Lock()
        self.certificate = certificate
        self.listener = None
        self.port = port
        self.start()

    def start(self):
        self.listener = Listener(self, self.port, self.certificate)
        self.port = self.listener.server_address[1]
        threading.Thread(target=self.listener.serve_forever, args=(0.05,), daemon=True).start()

    def stop(self):
        """No more, and the connections kept break."""
        self.listener.shutdown()
        self.listener.server_close()
        for request in list(self.listener.open):
            try:
                request.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.stop()

    def page(self, path, function):
        self.pages[path] = function
        return self.url(path)

    def url(self, path, host="localhost"):
        return "http%s://%s:%d%s" % ("s" if self.certificate else "", host, self.port, path)

    def note(self, path, headers, method="GET", body=b""):
        with self.lock:
            self.requests.append((path, dict(headers.items())))
            self.whole.append((path, method, dict(headers.items()), body))
            self.times.append((path, time.monotonic()))

    def asked(self, path):
        with self.lock:
            return [headers for where, headers in self.requests if where == path]

    def got(self, path):
        with self.lock:
            return [request[1:] for request in self.whole if request[0] == path]
