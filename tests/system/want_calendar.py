#!/usr/bin/python3
"""want_calendar.py FOLDER FILE [short]: the entries of want.tsv that are in FILE, as readers should give them back.

Cleans texts in its own way, not with seasond's: Python's decoder puts one U+FFFD for each maximal subpart. Weekly times
are counted on the wall clock and turned into instants by zoneinfo, which reads the system's zones itself; fold 0 is what
RFC 5545 3.3.5 says of times shown twice or never. One JSON object a line; the same keys in the same order as
read_calendar.py and read_calendar.mjs. short: only what read_vobject.py reads.
"""
import datetime
import json
import re
import sys
import zoneinfo

EPOCH = datetime.datetime(1970, 1, 1)
UTC = datetime.timezone.utc
WEEKS = 54
SHORT = ("kind", "uid", "dtstart", "dtend", "zone", "weekly", "due", "dtstamp", "status", "class", "alarms")


def clean(octets):
    text = octets.decode("utf-8", "replace")
    text = re.sub("\r\n|\r", "\n", text)
    text = re.sub("[\x00-\x08\x0b-\x1f\x7f-\x9f]", "", text).lstrip(" \t\n")
    return text.encode()[:8192].decode("utf-8", "ignore").rstrip(" \t\n")


def day(n):
    return (EPOCH + datetime.timedelta(days=n)).strftime("%Y-%m-%d")


def moment(s):
    return (EPOCH + datetime.timedelta(seconds=s)).strftime("%Y-%m-%dT%H:%M:%SZ")


def weekly(at, zone):
    wall = (EPOCH + datetime.timedelta(seconds=at)).replace(tzinfo=UTC).astimezone(zoneinfo.ZoneInfo(zone))
    walls = (wall + datetime.timedelta(days=7 * k) for k in range(WEEKS))
    return [w.replace(fold=0).astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ") for w in walls]


def event_time(start, at, length, zone):
    if not length:
        return {"dtstart": day(start), "dtend": day(start + 1), "zone": None, "weekly": []}
    return {
        "dtstart": moment(at),
        "dtend": moment(at + length),
        "zone": zone if zone not in ("", "UTC") else None,
        "weekly": weekly(at, zone) if zone else [],
    }


def entry(fields):
    event = fields[0] not in ("todos.ics", "hard.ics")
    method = fields[20] if len(fields) > 20 else None
    texts = [clean(bytes.fromhex(f)) for f in fields[2:7]]
    start, due, alarm, priority, sequence, created, modified, done, status, secrecy, at, length = map(int, fields[7:19])
    zone = fields[19]
    names = [n.strip(" ") for n in re.sub("[;\\\\\n\t]", " ", texts[4]).split(",")]
    times = {"dtstart": day(start) if due > start else None, "dtend": None, "zone": None, "weekly": []}
    rings = alarm >= 0 and status == 0 and method != "CANCEL"
    return {
        "kind": "VEVENT" if event else "VTODO",
        "uid": fields[1],
        "summary": texts[0] or None,
        "description": texts[1] or None,
        "location": texts[2] or None,
        "contact": texts[3] or None,
        "categories": [n for n in names if n],
        **(event_time(start, at, length, zone) if event else times),
        "due": None if event else day(due),
        "dtstamp": moment(modified),
        "created": moment(created),
        "last-modified": moment(modified),
        "sequence": sequence,
        "priority": priority or None,
        "class": [None, "PRIVATE", "CONFIDENTIAL"][secrecy],
        "status": {"REQUEST": "CONFIRMED", "CANCEL": "CANCELLED"}.get(method)
        if event
        else ["NEEDS-ACTION", "COMPLETED", "CANCELLED"][status],
        "completed": moment(done) if status == 1 and not event else None,
        "percent-complete": 100 if status == 1 and not event else None,
        "transp": ("OPAQUE" if length else "TRANSPARENT") if event else None,
        "alarms": [["DISPLAY", moment(alarm), texts[0] or "Reminder"]] if rings else [],
        "people": people(*fields[20:]) if method else [],
    }


def name(octets):
    return clean(octets)[:10000].encode()[:255].decode("utf-8", "ignore").rstrip(" \t\n") or None


def people(method, organizer, attendee):
    """Every person: address, name, role, state, whether an answer is wanted."""
    asked = ["REQ-PARTICIPANT", "NEEDS-ACTION", "TRUE"] if method == "REQUEST" else [None, None, None]
    return [
        ["mailto:bench+visits@bench.example", name(bytes.fromhex(organizer)), None, None, None],
        ["mailto:a%26b@client.example", name(bytes.fromhex(attendee)), *asked],
    ]


def put(record):
    print(json.dumps(record, ensure_ascii=False, separators=(",", ":")))


def head(name, zones, method=None):
    own = name not in ("zones.ics", "messages.ics")
    return {
        "name": "Gr\u00fc\u00dfe, bench; \U0001f3bb" if own else None,
        "x-wr-calname": "Gr\u00fc\u00dfe, bench; \U0001f3bb" if own else None,
        "x-wr-timezone": "Europe/Berlin" if own else None,
        "color": "teal" if own else None,
        "refresh-interval": "PT12H" if own else None,
        "x-published-ttl": "PT12H" if own else None,
        "version": "2.0",
        "method": method,
        "zones": zones,
    }


def main():
    folder, name = sys.argv[1:3]
    short = sys.argv[3:] == ["short"]
    rows = []
    with open(folder + "/want.tsv", encoding="ascii") as want:
        for line in want:
            fields = line.rstrip("\n").split("\t")
            if fields[0] == name:
                rows.append((fields[20] if len(fields) > 20 else None, entry(fields)))
    zones = sorted({e["zone"] for _, e in rows} - {None})
    many = name in ("zones.ics", "messages.ics")
    if not many and not short:
        put(head(name, ["Etc/UTC"] if name == "none.ics" else zones))
    for method, e in rows:
        if many and not short:
            put(head(name, [e["zone"]] if e["zone"] else [], method))
        if short:
            e["alarms"] = [at for _, at, _ in e["alarms"]]
        put({k: e[k] for k in SHORT} if short else e)


main()
