"""A proxy in front of a calendar server that counts, holds, cuts and answers in its place, and a person with another program
at the same calendars. The servers are in davserver.py.

	with Radicale(folder) as server, Proxy(server.url) as proxy:
		proxy.url            # what seasond is given
		proxy.count("PUT")   # requests so far
		proxy.hook = lambda ask: ...   # see Ask
		Person(server.url).items(path)
"""
import base64
import http.client
import http.server
import re
import ssl
import threading
import urllib.parse
import xml.etree.ElementTree

DAV = "{DAV:}"


# ---- the proxy ----

class Ask:
    """One request on its way. A hook returns None to let it through, or "cut" (it never arrives), "cut answer" (it
    arrives, the answer does not), or (status, headers, body)."""

    def __init__(self, method, path, headers, body):
        self.method, self.path, self.headers, self.body, self.status = method, path, headers, body, None

    def __repr__(self):
        return "%s %s %s" % (self.method, self.path, self.status)


class Handler(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def log_message(self, *_):
        pass

    def handle(self):
        try:
            super().handle()
        except (ConnectionError, ssl.SSLError, TimeoutError, http.client.HTTPException):
            self.close_connection = True

    def _pass(self):
        body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
        ask = Ask(self.command, self.path, dict(self.headers.items()), body)
        proxy = self.server.proxy
        with proxy.lock:
            proxy.asks.append(ask)
        verdict = proxy.hook(ask) if proxy.hook else None
        if verdict == "cut":
            self.close_connection = True
            return
        if verdict is None or verdict == "cut answer":
            answer = proxy.forward(ask)
            if verdict:
                self.close_connection = True
                return
        else:
            answer = verdict
        ask.status, headers, body = answer
        ask.answer = body
        self.send_response(ask.status)
        for name, value in headers.items():
            if name.lower() not in ("content-length", "transfer-encoding", "connection", "date", "server"):
                self.send_header(name, value)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    do_GET = do_PUT = do_DELETE = do_PROPFIND = do_REPORT = do_MKCALENDAR = do_MKCOL = do_OPTIONS = do_POST = _pass


class Listener(http.server.ThreadingHTTPServer):
    daemon_threads = True
    request_queue_size = 128

    def handle_error(self, *_):
        pass


class Proxy:
    """In front of a server, on a port of its own, for as long as the test wants."""

    def __init__(self, url):
        self.behind, self.asks, self.lock, self.hook = url, [], threading.Lock(), None
        self.listener = Listener(("127.0.0.1", 0), Handler)
        self.listener.proxy = self
        self.port = self.listener.server_address[1]
        threading.Thread(target=self.listener.serve_forever, args=(0.05,), daemon=True).start()

    @property
    def url(self):
        return "http://localhost:%d" % self.port

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.listener.shutdown()
        self.listener.server_close()

    def forward(self, ask):
        try:
            return exchange(self.behind, ask.method, ask.path, ask.body, ask.headers)
        except OSError:
            return 502, {}, b"no server behind"

    def count(self, *methods):
        """How many requests of these methods (all without) came."""
        with self.lock:
            return len([a for a in self.asks if not methods or a.method in methods])

    def forget(self):
        with self.lock:
            self.asks.clear()


def exchange(url, method, path, body=b"", headers=None):
    """One request to the host of that address: (status, headers, body)."""
    where = urllib.parse.urlsplit(url)
    if where.scheme == "https":
        context = ssl.create_default_context()
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
        link = http.client.HTTPSConnection("localhost", where.port, timeout=30, context=context)
    else:
        link = http.client.HTTPConnection("localhost", where.port, timeout=30)
    try:
        link.request(method, path, body or None, {k: v for k, v in (headers or {}).items() if k.lower() != "connection"})
        answer = link.getresponse()
        return answer.status, dict(answer.getheaders()), answer.read()
    finally:
        link.close()


# ---- a person ----

class Person:
    """Another program at the same calendars: plain requests over http.client, text as it came."""

    def __init__(self, url, user=None, password=None):
        self.url, self.user, self.password = url, user, password

    def ask(self, method, path, body=b"", good=(200, 201, 204, 207), **headers):
        headers = {k.replace("_", "-"): v for k, v in headers.items()}
        if self.user:
            token = base64.b64encode(("%s:%s" % (self.user, self.password)).encode()).decode()
            headers["Authorization"] = "Basic " + token
        status, got, text = exchange(self.url, method, path, body.encode() if isinstance(body, str) else body, headers)
        assert not good or status in good, "%s %s: %d %r" % (method, path, status, text[:500])
        return status, {k.lower(): v for k, v in got.items()}, text

    def list(self, path):
        """Paths of what is in a collection."""
        body = '<propfind xmlns="DAV:"><prop><getetag/></prop></propfind>'
        status, _, text = self.ask("PROPFIND", path, body, good=(207, 404), Depth="1", Content_Type="application/xml")
        if status == 404:
            return []
        tree = xml.etree.ElementTree.fromstring(text)
        hrefs = [r.findtext(DAV + "href") for r in tree.iter(DAV + "response")]
        return sorted(h for h in hrefs if h.endswith(".ics"))

    def get(self, href):
        return self.ask("GET", href)[2].decode()

    def items(self, path):
        """{UID: (href, text)} of a collection; no UID is there twice."""
        found = {}
        for href in self.list(path):
            text = self.get(href)
            uid = value(text, "UID")
            assert uid not in found, "UID %s is there twice: %s, %s" % (uid, found[uid][0], href)
            found[uid] = (href, text)
        return found

    def put(self, href, text, good=(200, 201, 204)):
        self.ask("PUT", href, text, good=good, Content_Type="text/calendar; charset=utf-8")

    def edit(self, href, change):
        """Reads, changes and puts with If-Match, as a calendar program does."""
        _, headers, text = self.ask("GET", href)
        self.ask("PUT", href, change(text.decode()), If_Match=headers["etag"], Content_Type="text/calendar; charset=utf-8")

    def delete(self, href):
        self.ask("DELETE", href)

    def make(self, path):
        body = ('<C:mkcalendar xmlns:D="DAV:" xmlns:C="urn:ietf:params:xml:ns:caldav"><D:set><D:prop>'
                '<D:displayname>hers</D:displayname></D:prop></D:set></C:mkcalendar>')
        self.ask("MKCALENDAR", path, body, Content_Type="application/xml")


def unfolded(text):
    return re.sub("\r?\n[ \t]", "", text)


def lines(text):
    return [x for x in unfolded(text).replace("\r\n", "\n").split("\n") if x]


def value(text, name):
    """Of the first such property of the entry, unescaped; None: it has none."""
    inside = False
    for line in lines(text):
        inside = inside or line in ("BEGIN:VTODO", "BEGIN:VEVENT")
        if inside and re.match(name + "[:;]", line):
            return re.sub(r"\\(.)", lambda m: "\n" if m[1] in "nN" else m[1], line.partition(":")[2])
    return None


def with_lines(text, *more, without=()):
    """The entry with these lines in the place of those properties, before its first alarm or end."""
    out, done, depth = [], False, 0
    for line in lines(text):
        entry = line in ("BEGIN:VTODO", "BEGIN:VEVENT")
        depth = 1 if entry else depth
        if depth == 1 and not done and (line.startswith("END:V") or line == "BEGIN:VALARM"):
            out, done = out + list(more), True
        if not (depth == 1 and any(re.match(n + "[:;]", line) for n in without)):
            out.append(line)
        depth += line == "BEGIN:VALARM"
        depth -= line == "END:VALARM"
        depth = 0 if line in ("END:VTODO", "END:VEVENT") else depth
    return "\r\n".join(out) + "\r\n"
