#!/usr/bin/python3 -B
"""Random letters as Python's email package reads them: RFC 5322, 2045, 2046, 2047; and their octets: RFC 5321 4.5.3.1.6."""
import email
import email.header
import email.policy
import email.utils
import os
import pathlib
import subprocess
import tempfile
import time

import bench

COUNT = 400


def words(raw):
    """A header's value by the older reader: the newer one keeps blanks between encoded words of names, against RFC 2047 6.2."""
    return str(email.header.make_header(email.header.decode_header(raw)))


def check(folder, i):
    def went_in(name):
        path = folder / ("%d.%s" % (i, name))
        return path.read_bytes().decode() if path.exists() else None
    data = (folder / ("%d.eml" % i)).read_bytes()
    assert data.isascii() and data.endswith(b"\r\n") and b"\r\n\r\n" in data
    lines = data.split(b"\r\n")
    assert all(len(x) <= 78 for x in lines), max(lines, key=len)
    assert b"\r" not in b"".join(lines) and b"\n" not in b"".join(lines) and b"\0" not in data
    new = email.message_from_bytes(data, policy=email.policy.default)
    old = email.message_from_bytes(data)
    for part in new.walk():
        assert not part.defects, part.defects
    for name in ("Date", "From", "To", "Subject", "Message-ID", "MIME-Version", "Auto-Submitted"):
        assert len(old.get_all(name)) == 1, name
        assert not new[name].defects, (name, new[name].defects)
    assert words(old["Subject"].replace("\r\n", "")) == went_in("subject"), (old["Subject"], went_in("subject"))
    for header, name, address in (("From", "from_name", "bench@bench.example"), ("To", "to_name", went_in("to"))):
        got = email.utils.parseaddr(old[header].replace("\r\n", ""))
        assert (words(got[0]), got[1]) == (went_in(name), address), (old[header], went_in(name))
        assert len(new[header].addresses) == 1
    assert new["Message-ID"] == went_in("id")
    assert int(new["Date"].datetime.timestamp()) == int(went_in("date"))
    text = new.get_body(("plain",)).get_content().replace("\r\n", "\n")
    assert text.rstrip("\n") == went_in("text"), (text, went_in("text"))
    calendar = went_in("calendar")
    if calendar is None:
        assert new.get_content_type() == "text/plain"
        return
    kinds = {p.get_content_type(): p for p in new.walk()}
    assert list(kinds) == ["multipart/mixed", "multipart/alternative", "text/plain", "text/calendar", "application/ics"]
    for kind in ("text/calendar", "application/ics"):
        assert kinds[kind].get_payload(decode=True).decode() == calendar
    assert kinds["text/calendar"]["Content-Type"].params["method"] == "REQUEST"


def test_random_letters_come_apart_as_they_were_put_together():
    seed = os.environ.get("SEED", str(int(time.time())))
    print("seed", seed)
    with tempfile.TemporaryDirectory() as folder:
        program = bench.program("tests/system/make_letter")
        subprocess.run([program, folder, str(COUNT)], env=dict(os.environ, SEED=seed), check=True)
        for i in range(COUNT):
            check(pathlib.Path(folder), i)


if __name__ == "__main__":
    bench.main(globals())
