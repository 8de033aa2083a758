#!/usr/bin/python3
"""want_calendar.py FOLDER FILE: the entries of want.tsv that are in FILE, as readers should give them back.

Cleans texts in its own way, not with seasond's: Python's decoder puts one U+FFFD for each maximal subpart.
One JSON object a line; the same keys in the same order as read_calendar.py and read_calendar.mjs.
"""
import datetime
import json
import re
import sys

EPOCH = datetime.datetime(1970, 1, 1)


def clean(octets):
    text = octets.decode("utf-8", "replace")
    text = re.sub("\r\n|\r", "\n", text)
    text = re.sub("[\x00-\x08\x0b-\x1f\x7f-\x9f]", "", text).lstrip(" \t\n")
    return text.encode()[:8192].decode("utf-8", "ignore").rstrip(" \t\n")


def day(n):
    return (EPOCH + datetime.timedelta(days=n)).strftime("%Y-%m-%d")


def moment(s):
    return (EPOCH + datetime.timedelta(seconds=s)).strftime("%Y-%m-%dT%H:%M:%SZ")


def entry(fields):
    texts = [clean(bytes.fromhex(f)) for f in fields[2:7]]
    start, due, alarm, priority, sequence, created, modified, done, status = map(int, fields[7:])
    event = fields[0] == "events.ics"
    names = [n.strip(" ") for n in re.sub("[;\\\\\n\t]", " ", texts[4]).split(",")]
    return {
        "kind": "VEVENT" if event else "VTODO",
        "uid": fields[1],
        "summary": texts[0] or None,
        "description": texts[1] or None,
        "location": texts[2] or None,
        "contact": texts[3] or None,
        "categories": [n for n in names if n],
        "dtstart": day(start) if event or due > start else None,
        "dtend": day(start + 1) if event else None,
        "due": None if event else day(due),
        "dtstamp": moment(modified),
        "created": moment(created),
        "last-modified": moment(modified),
        "sequence": sequence,
        "priority": priority or None,
        "status": None if event else ["NEEDS-ACTION", "COMPLETED", "CANCELLED"][status],
        "completed": moment(done) if status == 1 else None,
        "percent-complete": 100 if status == 1 else None,
        "transp": "TRANSPARENT" if event else None,
        "alarms": [["DISPLAY", moment(alarm), texts[0] or "Reminder"]] if alarm >= 0 and status == 0 else [],
    }


def main():
    folder, name = sys.argv[1:]
    head = {
        "name": "Gr\u00fc\u00dfe, bench; \U0001f3bb",
        "x-wr-calname": "Gr\u00fc\u00dfe, bench; \U0001f3bb",
        "x-wr-timezone": "Europe/Berlin",
        "color": "teal",
        "refresh-interval": "PT12H",
        "x-published-ttl": "PT12H",
        "version": "2.0",
        "method": None,
        "zones": ["Etc/UTC"] if name == "none.ics" else [],
    }
    print(json.dumps(head, ensure_ascii=False, separators=(",", ":")))
    with open(folder + "/want.tsv", encoding="ascii") as want:
        for line in want:
            fields = line.rstrip("\n").split("\t")
            if fields[0] == name:
                print(json.dumps(entry(fields), ensure_ascii=False, separators=(",", ":")))


main()
