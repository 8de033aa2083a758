#!/usr/bin/python3
"""read_calendar.py FILE: what python3-icalendar finds in a calendar, one JSON object a line."""
import datetime
import json
import sys

import icalendar

TEXTS = ("summary", "description", "location", "contact")
TIMES = ("dtstart", "dtend", "due", "dtstamp", "created", "last-modified")
HEAD = ("name", "x-wr-calname", "x-wr-timezone", "color", "refresh-interval", "x-published-ttl", "version", "method")


def moment(value):
    if value is None:
        return None
    if isinstance(value, list):
        raise SystemExit("property more than once: %s" % value)
    t = value.dt
    if not isinstance(t, datetime.datetime):
        return "%04d-%02d-%02d" % (t.year, t.month, t.day)
    return t.astimezone(datetime.timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")


def plain(component, name, kind=str):
    value = component.get(name)
    return None if value is None else kind(value)


def categories(component):
    value = component.get("categories")
    return [] if value is None else [str(name) for name in value.cats]


def alarms(component):
    found = [c for c in component.subcomponents if c.name == "VALARM"]
    return [[plain(a, "action"), moment(a.get("trigger")), plain(a, "description")] for a in found]


def entry(component):
    found = {"kind": component.name, "uid": plain(component, "uid")}
    found.update((name, plain(component, name)) for name in TEXTS)
    found["categories"] = categories(component)
    found.update((name, moment(component.get(name))) for name in TIMES)
    found["sequence"] = plain(component, "sequence", int)
    found["priority"] = plain(component, "priority", int)
    found["status"] = plain(component, "status")
    found["completed"] = moment(component.get("completed"))
    found["percent-complete"] = plain(component, "percent-complete", int)
    found["transp"] = plain(component, "transp")
    found["alarms"] = alarms(component)
    return found


def main():
    with open(sys.argv[1], "rb") as f:
        calendar = icalendar.Calendar.from_ical(f.read())
    head = {name: plain(calendar, name) for name in HEAD}
    head["zones"] = [str(c["tzid"]) for c in calendar.subcomponents if c.name == "VTIMEZONE"]
    faults = [e for c in calendar.walk() for e in c.errors]
    if faults:
        raise SystemExit("errors: %s" % faults[:3])
    print(json.dumps(head, ensure_ascii=False, separators=(",", ":")))
    for component in calendar.subcomponents:
        if component.name != "VTIMEZONE":
            print(json.dumps(entry(component), ensure_ascii=False, separators=(",", ":")))


main()
