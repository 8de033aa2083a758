#!/usr/bin/python3
"""The same calendars as a user would script them with python3-icalendar.

Runs the bench program calendar in a folder of its own, passes its lines on, then writes its 10,000 items and reads its file.
"""
import datetime
import os
import subprocess
import sys
import tempfile
import time

import icalendar

EPOCH = datetime.datetime(1970, 1, 1, tzinfo=datetime.timezone.utc)


def at(seconds):
    return EPOCH + datetime.timedelta(seconds=seconds)


def day(n):
    return (EPOCH + datetime.timedelta(days=n)).date()


def todo(item):
    uid, summary, description, start, due, alarm, sequence, modified, done, status = item
    t = icalendar.Todo()
    t.add("uid", uid)
    t.add("dtstamp", at(modified))
    t.add("created", at(1767600000))
    t.add("last-modified", at(modified))
    t.add("sequence", sequence)
    t.add("dtstart", day(start))
    t.add("due", day(due))
    t.add("status", "COMPLETED" if status == 1 else "NEEDS-ACTION")
    t.add("summary", summary)
    t.add("description", description)
    t.add("location", "Room 2")
    t.add("contact", "Bench customer")
    t.add("categories", ["seasonal care"])
    t.add("priority", 5)
    if status == 1:
        t.add("completed", at(done))
        t.add("percent-complete", 100)
    elif alarm >= 0:
        a = icalendar.Alarm()
        a.add("action", "DISPLAY")
        a.add("trigger", at(alarm))
        a.add("description", summary)
        t.add_component(a)
    return t


def write(items):
    calendar = icalendar.Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", "-//a//b//EN")
    for item in items:
        calendar.add_component(todo(item))
    return calendar.to_ical()


def read(text):
    calendar = icalendar.Calendar.from_ical(text)
    names = ("status", "completed", "due", "description")
    return [(str(t["uid"]), *(t.get(name) for name in names)) for t in calendar.walk("VTODO")]


def best(call, argument):
    times = []
    for _ in range(3):
        start = time.perf_counter()
        result = call(argument)
        times.append(time.perf_counter() - start)
    return min(times), result


def main():
    with tempfile.TemporaryDirectory() as folder:
        program = os.environ["B"] + "/tests/bench/calendar"
        out = subprocess.run([program, folder], check=True, capture_output=True, text=True).stdout
        sys.stdout.write("".join(line + "\n" for line in out.splitlines() if not line.startswith("#")))
        wrote, did_read = map(float, out.splitlines()[-1].split()[2:])
        with open(folder + "/items.tsv", encoding="utf-8", newline="\n") as f:
            rows = [line.rstrip("\n").split("\t") for line in f]
        with open(folder + "/todos.ics", "rb") as f:
            text = f.read()
    items = [(r[0], r[1], r[2].replace("\v", "\n"), *map(int, r[3:])) for r in rows]
    took, _ = best(write, items)
    print("bench calendar_icalendar_write_to_ours %.0f ratio goal >= 20" % (took / wrote))
    took, found = best(read, text)
    assert [f[0] for f in found] == [i[0] for i in items], "not the same items"
    print("bench calendar_icalendar_read_to_ours %.0f ratio goal >= 8" % (took / did_read))


main()
