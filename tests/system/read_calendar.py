#!/usr/bin/python3
"""read_calendar.py FILE: what python3-icalendar finds in calendars, one JSON object a line.

Local times are turned into instants by the VTIMEZONE of the same calendar, not by zones of the system. Its changes are
counted here (RFC 5545 3.6.5), as icalendar 4.0.3 and dateutil stumble over UNTIL in UTC beside a local DTSTART.
"""
import datetime
import json
import re
import sys

import icalendar
from dateutil import rrule

TEXTS = ("summary", "description", "location", "contact")
LATER = ("due", "dtstamp", "created", "last-modified")
HEAD = ("name", "x-wr-calname", "x-wr-timezone", "color", "refresh-interval", "x-published-ttl", "version", "method")
UTC = datetime.timezone.utc
WEEKS = 54
LAST = datetime.datetime(2100, 1, 1)


class Zone:
    """A VTIMEZONE as a list of its changes."""

    def __init__(self, component):
        self.changes = sorted(change for c in component.subcomponents for change in self.changes_of(c))
        self.offsets = {offset for _, offset in self.changes}

    @staticmethod
    def changes_of(observance):
        was, offset = (observance[name].td for name in ("TZOFFSETFROM", "TZOFFSETTO"))
        onsets = [observance["DTSTART"].dt]
        dates = observance.get("RDATE", [])
        onsets += [d.dt for some in (dates if isinstance(dates, list) else [dates]) for d in some.dts]
        if "RRULE" in observance:
            rule = observance["RRULE"].copy()
            until = rule.pop("UNTIL", [None])[0]
            until = until.replace(tzinfo=None) + was if until else LAST
            text = icalendar.vRecur(rule).to_ical().decode()
            onsets += rrule.rrulestr(text, dtstart=onsets[0]).between(onsets[0], until, inc=True)
        return [(onset - was, offset) for onset in onsets]

    def offset(self, utc):
        before = [offset for onset, offset in self.changes if onset <= utc]
        if not before:
            raise SystemExit("%s is before the first change of the zone" % utc)
        return before[-1]

    def instant(self, local):
        """The first instant at which clocks show it."""
        fits = [local - o for o in self.offsets if self.changes[0][0] <= local - o and self.offset(local - o) == o]
        return min(fits).replace(tzinfo=UTC)


def moment(value, zones):
    if value is None:
        return None
    if isinstance(value, list):
        raise SystemExit("property more than once: %s" % value)
    t = value if isinstance(value, datetime.date) else value.dt
    if not isinstance(t, datetime.datetime):
        return "%04d-%02d-%02d" % (t.year, t.month, t.day)
    return instant(t, zones).strftime("%Y-%m-%dT%H:%M:%SZ")


def instant(t, zones):
    zone = str(t.tzinfo)
    if zone in zones:
        return zones[zone].instant(t.replace(tzinfo=None))
    if zone != "UTC":
        raise SystemExit("neither UTC nor of a zone of the calendar: %s" % t)
    return t.astimezone(UTC)


def plain(component, name, kind=str):
    value = component.get(name)
    return None if value is None else kind(value)


def categories(component):
    value = component.get("categories")
    return [] if value is None else [str(name) for name in value.cats]


def alarms(component, zones):
    found = [c for c in component.subcomponents if c.name == "VALARM"]
    return [[plain(a, "action"), ringing(a["trigger"].dt, component, zones), plain(a, "description")] for a in found]


def ringing(trigger, component, zones):
    if isinstance(trigger, datetime.timedelta):
        trigger = instant(component["dtstart"].dt, zones) + trigger
    return moment(trigger, zones)


def end(component, zones):
    if "dtend" in component or "dtstart" not in component or "duration" not in component:
        return moment(component.get("dtend"), zones)
    return moment(instant(component["dtstart"].dt, zones) + component["duration"].dt, zones)


def weekly(component, zones):
    if "rrule" not in component:
        return []
    start = component["dtstart"].dt
    rule = rrule.rrulestr(component["rrule"].to_ical().decode(), dtstart=start.replace(tzinfo=None))
    return [moment(t.replace(tzinfo=start.tzinfo), zones) for _, t in zip(range(WEEKS), rule)]


def people(component):
    found = [component[name] for name in ("organizer", "attendee") if name in component]
    return [[str(p), cn(p)] + [p.params.get(name) for name in ("ROLE", "PARTSTAT", "RSVP")] for p in found]


def cn(person):
    """icalendar 4 leaves the codes of RFC 6868 as they are."""
    name = person.params.get("CN")
    return name and re.sub(r"\^([n^'])", lambda m: {"n": "\n", "^": "^", "'": '"'}[m[1]], name)


def entry(component, zones):
    start = component.get("dtstart")
    found = {"kind": component.name, "uid": plain(component, "uid")}
    found.update((name, plain(component, name)) for name in TEXTS)
    found["categories"] = categories(component)
    found["dtstart"] = moment(start, zones)
    found["dtend"] = end(component, zones)
    found["zone"] = start.params.get("TZID") if start is not None else None
    found["weekly"] = weekly(component, zones)
    found.update((name, moment(component.get(name), zones)) for name in LATER)
    found["sequence"] = plain(component, "sequence", int)
    found["priority"] = plain(component, "priority", int)
    found["class"] = plain(component, "class")
    found["status"] = plain(component, "status")
    found["completed"] = moment(component.get("completed"), zones)
    found["percent-complete"] = plain(component, "percent-complete", int)
    found["transp"] = plain(component, "transp")
    found["alarms"] = alarms(component, zones)
    found["people"] = people(component)
    return found


def put(record):
    print(json.dumps(record, ensure_ascii=False, separators=(",", ":")))


def read(calendar):
    faults = [e for c in calendar.walk() for e in c.errors]
    if faults:
        raise SystemExit("errors: %s" % faults[:3])
    zones = {str(c["tzid"]): Zone(c) for c in calendar.subcomponents if c.name == "VTIMEZONE"}
    head = {name: plain(calendar, name) for name in HEAD}
    head["zones"] = sorted(zones)
    put(head)
    for component in calendar.subcomponents:
        if component.name != "VTIMEZONE":
            put(entry(component, zones))


def main():
    with open(sys.argv[1], "rb") as f:
        for calendar in icalendar.Calendar.from_ical(f.read(), multiple=True):
            read(calendar)


main()
