#!/usr/bin/python3 -B
"""Entries of seasond that programs on other libraries changed and wrote anew: what they changed is seen, our news is
laid in, and the libraries find all of theirs in it again. The libraries share no code with ours: python3-icalendar,
python3-vobject and ical.js, which programs of people are built on. SEED: of the random entries."""
import datetime
import os
import pathlib
import random
import subprocess
import tempfile

import bench
from bench import Skip

EDITOR = bench.REPO / "tests/npm/edit_calendar.mjs"
MODULES = pathlib.Path(os.environ.get("SEASOND_NODE_MODULES", bench.BUILD / "npm/node_modules")).resolve()
SEED = int(os.environ.get("SEED", "1"))
DONE = datetime.datetime(2026, 6, 1, 10, 15, tzinfo=datetime.timezone.utc)
MOVED = datetime.date(2026, 7, 15)
TITLE = "Mine, now; really"
WRITTEN = "relief .010\n\nkey, please; Grüße\\"
COMMENT = "a comment, of some length; with 中文 and more than fits on one line"
JOBS = ("tick", "move", "title", "write", "own", "acknowledge", "ring")
STAMPS = {"DTSTAMP", "LAST-MODIFIED", "SEQUENCE"}  # of our news, when there is any


def run(*command, code=0):
    result = subprocess.run([str(c) for c in command], capture_output=True, timeout=bench.LIMIT_S,
                            env=dict(os.environ, SEASOND_NODE_MODULES=str(MODULES)))
    assert result.returncode == code, (command, result)
    return result.stdout


def helper(*arguments):
    return run(bench.program("tests/system/merge_texts"), *arguments)


# ---- as programs change an entry

def with_icalendar(path, jobs):
    try:
        import icalendar
    except ImportError:
        raise Skip("python3-icalendar is not installed")
    calendar = icalendar.Calendar.from_ical(path.read_bytes())
    todo = calendar.walk("VTODO")[0]
    alarm = todo.walk("VALARM")[0]

    def put(component, name, value, **parameters):
        if name in component:
            del component[name]
        component.add(name, value, parameters=parameters)

    for job in jobs:
        if job == "tick":
            put(todo, "status", "COMPLETED")
            put(todo, "completed", DONE)
            put(todo, "percent-complete", 100)
        elif job == "move":
            put(todo, "due", MOVED, VALUE="DATE")
        elif job == "title":
            put(todo, "summary", TITLE)
        elif job == "write":
            put(todo, "description", "%s\n%s" % (todo["description"], WRITTEN))
        elif job == "own":
            todo.add("categories", ["mine, too", "wood"])
            todo.add("comment", COMMENT)
            todo.add("x-own", "as it is")
        elif job == "acknowledge":
            alarm["acknowledged"] = icalendar.vDatetime(DONE)
            alarm.add("uid", "an-alarm")
        elif job == "ring":
            put(alarm, "trigger", datetime.timedelta(minutes=-15), RELATED="END")
    return calendar.to_ical()


def with_vobject(path, jobs):
    try:
        import vobject
    except ImportError:
        raise Skip("python3-vobject is not installed")
    calendar = vobject.readOne(path.read_bytes().decode())
    todo = calendar.vtodo
    alarm = todo.valarm

    def put(component, name, value):
        for old in list(component.contents.get(name, [])):
            component.remove(old)
        added = component.add(name)
        added.value = value
        return added

    for job in jobs:
        if job == "tick":
            put(todo, "status", "COMPLETED")
            put(todo, "completed", DONE.replace(tzinfo=vobject.icalendar.utc))
            put(todo, "percent-complete", "100")
        elif job == "move":
            put(todo, "due", MOVED)
        elif job == "title":
            put(todo, "summary", TITLE)
        elif job == "write":
            todo.description.value += "\n" + WRITTEN
        elif job == "own":
            todo.add("categories").value = ["mine, too", "wood"]
            todo.add("comment").value = COMMENT
            todo.add("x-own").value = "as it is"
        elif job == "acknowledge":
            alarm.add("acknowledged").value = "20260601T101500Z"
            alarm.add("uid").value = "an-alarm"
        elif job == "ring":
            put(alarm, "trigger", datetime.timedelta(minutes=-15)).params["RELATED"] = ["END"]
    return calendar.serialize().encode()


def with_ical_js(path, jobs):
    if not (MODULES / "ical.js").exists():
        raise Skip("no ical.js in %s (make deps)" % MODULES)
    return run("node", EDITOR, path, *jobs)


# ---- what is in a text, by python3-icalendar

def found(data):
    """{name: sorted values} of the to-do and of each of its alarms."""
    import icalendar
    todo = icalendar.Calendar.from_ical(data).walk("VTODO")[0]

    def properties(component):
        all_of = {}
        for name, value in component.property_items(recursive=False):
            if name in ("BEGIN", "END"):
                continue
            text = value.to_ical()
            all_of.setdefault(name, []).append((text if isinstance(text, str) else text.decode()).replace("\r\n ", ""))
        return {name: sorted(values) for name, values in all_of.items()}

    return properties(todo), [properties(a) for a in todo.walk("VALARM")], str(todo.get("description", ""))


def check(sent, theirs, ours, out, jobs, day_ours):
    (s, s_alarms, s_text), (t, t_alarms, t_text), (o, o_alarms, o_text), (m, m_alarms, m_text) = map(
        found, (sent, theirs, ours, out))
    person = set()  # what is theirs in this round
    if "tick" in jobs:
        person |= {"STATUS", "COMPLETED", "PERCENT-COMPLETE"}
    if "move" in jobs and not day_ours:
        person |= {"DUE", "DTSTART"}
    if "title" in jobs:
        person |= {"SUMMARY"}
    person |= {"CATEGORIES", "COMMENT", "X-OWN", "CREATED"}
    for name in sorted(set(s) | set(t) | set(o) | set(m)):
        if out is theirs and name in STAMPS:
            assert m[name] == t[name]
        elif name == "SEQUENCE":
            assert int(m[name][0]) > int(s[name][0]) and int(m[name][0]) >= int(o[name][0])
        elif name != "DESCRIPTION":
            want = t if name in person else o
            assert m.get(name) == want.get(name), (name, m.get(name), want.get(name))
    ours_changed = s_text != o_text
    if not ours_changed:
        assert m_text == t_text, (m_text, t_text)
    elif "write" in jobs:
        assert m_text == o_text + "\n\n" + WRITTEN, (m_text, o_text)
    else:
        assert m_text == o_text, (m_text, o_text)
    keep = "ring" in jobs or s_alarms == o_alarms
    assert m_alarms == (t_alarms if keep else o_alarms), (m_alarms, t_alarms, o_alarms)


def changed_by(edit, rounds):
    draw = random.Random(SEED)
    print("SEED=%d" % SEED)
    with tempfile.TemporaryDirectory() as name:
        sent, theirs, ours, merged = (pathlib.Path(name, "%s.ics" % x) for x in ("sent", "theirs", "ours", "merged"))
        for i in range(rounds):
            os.environ["SEED"] = str(SEED * 1000 + i)
            helper("make", name)
            jobs = [j for k, j in enumerate(JOBS) if i >> k & 1] if rounds == 1 << len(JOBS) else \
                draw.sample(JOBS, draw.randrange(len(JOBS) + 1))
            day_ours = draw.random() < 0.3
            theirs.write_bytes(edit(sent, jobs))
            seen = helper("seen", theirs).decode()
            state, when, day = seen.split("\n", 1)[0].split(" ")
            ticked = ("done", str(int(DONE.timestamp())))
            assert (state, when) == (ticked if "tick" in jobs else ("open", "-")), seen
            if "move" in jobs:
                assert int(day) == (MOVED - datetime.date(1970, 1, 1)).days, seen
            given = theirs.read_bytes()
            out = helper("merge", sent, theirs, ours, int(day_ours)) or given
            merged.write_bytes(out)
            check(sent.read_bytes(), given, ours.read_bytes(), out, jobs, day_ours)
            assert helper("merge", sent, merged, ours, int(day_ours)) == b"", "once more changes it"


def test_python3_icalendar_finds_its_own_again():
    changed_by(with_icalendar, 1 << len(JOBS))


def test_python3_vobject_finds_its_own_again():
    changed_by(with_vobject, 1 << len(JOBS))


def test_ical_js_finds_its_own_again():
    changed_by(with_ical_js, 24)


def test_zones_that_vobject_wrote_are_followed():
    """Zones under a name that the system does not know, against the system's own by zoneinfo; two days round each
    change are left out, as vobject puts changes to another hour."""
    try:
        import dateutil.tz
        import vobject
        import zoneinfo
    except ImportError as missing:
        raise Skip("python3-vobject is not installed (%s)" % missing)
    draw, compared = random.Random(SEED), 0
    with tempfile.TemporaryDirectory() as name:
        path = pathlib.Path(name, "entry.ics")
        for zone in ("Europe/Berlin", "America/New_York", "Australia/Sydney", "Pacific/Auckland", "America/Toronto",
                     "America/Sao_Paulo"):
            text = vobject.icalendar.TimezoneComponent(dateutil.tz.gettz(zone)).serialize()
            lines = ["TZID:Own" if x.startswith("TZID:") else x for x in text.split("\r\n")]
            known = zoneinfo.ZoneInfo(zone)
            for _ in range(60):
                t = datetime.datetime(2005, 1, 1) + datetime.timedelta(minutes=draw.randrange(25 * 525600))
                two = datetime.timedelta(days=2)
                if len({(t + d).replace(tzinfo=known).utcoffset() for d in (-two, 0 * two, two)}) > 1:
                    continue
                path.write_text("BEGIN:VCALENDAR\nVERSION:2.0\nPRODID:x\n%sBEGIN:VTODO\nUID:u\nCOMPLETED;TZID=Own:%s\n"
                                "END:VTODO\nEND:VCALENDAR\n" % ("\n".join(lines), t.strftime("%Y%m%dT%H%M%S")))
                got = helper("seen", path).decode().split()[1]
                want = t.replace(tzinfo=known).timestamp()
                assert int(got) == want, (zone, t, int(got) - want)
                compared += 1
    assert compared > 300, compared


if __name__ == "__main__":
    bench.main(globals())
