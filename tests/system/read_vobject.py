#!/usr/bin/python3
"""read_vobject.py FILE: what python3-vobject finds in calendars that it has validated, one JSON object a line."""
import datetime
import json
import sys

import vobject

UTC = datetime.timezone.utc
WEEKS = 54


def moment(t):
    if not isinstance(t, datetime.datetime):
        return t.strftime("%Y-%m-%d")
    if t.tzinfo is None:
        raise SystemExit("floating time: %s" % t)
    return t.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def value(component, name):
    found = component.contents.get(name, [])
    if len(found) > 1:
        raise SystemExit("%s more than once" % name)
    return found[0].value if found else None


def time(component, name):
    t = value(component, name)
    return None if t is None else moment(t)


def end(component):
    length = value(component, "duration")
    if length is None:
        return time(component, "dtend")
    return moment(component.dtstart.value.astimezone(UTC) + length)


def weekly(component):
    if "rrule" not in component.contents:
        return []
    zone = component.dtstart.value.tzinfo
    walls = (t.replace(tzinfo=None) for _, t in zip(range(WEEKS), component.rruleset))
    # vobject takes a zone that once was at +00 for UTC, and pytz in place of its VTIMEZONE
    localize = getattr(zone, "localize", lambda t: t.replace(tzinfo=zone))
    return [moment(localize(t)) for t in walls]


def ringing(alarm, component):
    trigger = alarm.trigger.value
    if isinstance(trigger, datetime.timedelta):
        trigger = component.dtstart.value.astimezone(UTC) + trigger
    return moment(trigger)


def entry(component):
    start = component.contents.get("dtstart", [None])[0]
    zone = start.params.get("X-VOBJ-ORIGINAL-TZID", [None])[0] if start is not None else None
    return {
        "kind": component.name,
        "uid": component.uid.value,
        "dtstart": time(component, "dtstart"),
        "dtend": end(component),
        "zone": None if zone == "UTC" else zone,
        "weekly": weekly(component),
        "due": time(component, "due"),
        "dtstamp": time(component, "dtstamp"),
        "status": value(component, "status"),
        "class": value(component, "class"),
        "alarms": [ringing(a, component) for a in component.contents.get("valarm", [])],
    }


def main():
    with open(sys.argv[1], encoding="utf-8", newline="") as f:
        text = f.read()
    known = getattr(vobject.icalendar, "__tzidMap")
    before = dict(known)
    for calendar in vobject.readComponents(text):
        known.clear()  # else the first VTIMEZONE of a name stays for all calendars
        known.update(before)
        calendar.validate(raiseException=True)
        for component in calendar.components():
            if component.name != "VTIMEZONE":
                print(json.dumps(entry(component), separators=(",", ":")))


main()
