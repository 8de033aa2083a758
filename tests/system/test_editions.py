#!/usr/bin/python3 -B
"""One agenda, several calendars: each shows what it is for and no word of others, in its own language, units and zone;
nothing new changes no byte of any; what is no more goes."""
import datetime
import json
import os
import sqlite3
import subprocess
import time
import zoneinfo

import bench
from bench import Bench, Skip, export, rows

NOW = int(time.time())
START = NOW - NOW % 3600 - 86400 * 3
DRY = rows(START, 400, rh=20.0)

CLIENTS = {  # name: (title, address, e-mail, instruments)
    "school": ("Harbour School of Music", "4 Quay Lane", "office@harbour.example", ("school-1", "school-2")),
    "quartet": ("The Tide Quartet", "9 Mill Street", "tide@quartet.example", ("quartet-1",)),
    "anna": ("Anna of the ferry", "1 Pier", "anna@ferry.example", ("anna-1",)),
    "idle": ("Nothing due here", "0 Nowhere", "idle@nobody.example", ()),
}
OWN = ("shop-1",)
OUTPUTS = """outputs = (
	{ name = "bench"; folder = "calendars"; round = "Mon 09:00"; alarms = true; },
	{ name = "clients"; title = "Care"; folder = "calendars"; each = "client"; privacy = "private"; },
	{ name = "rooms"; folder = "calendars"; each = "place"; show = "todos"; },
	{ name = "german"; folder = "calendars"; language = "de"; zone = "Pacific/Kiritimati"; show = "events"; alarms = true; },
	{ name = "harbour"; folder = "harbour"; client = "school"; units = "inch"; privacy = "confidential"; },
	{ name = "gone"; folder = "calendars"; client = "nobody"; }
);
"""


def settings(outputs=OUTPUTS):
    base = bench.SETTINGS[:bench.SETTINGS.index("outputs =")].replace('zone = "UTC";', 'zone = "Europe/Vienna";')
    return base + 'bench = "The Pier Bench";\n' + outputs


def furnished(outputs=OUTPUTS):
    b = Bench(settings(outputs))
    (b.folder / "harbour").mkdir()
    b.ctl("import", b.file("room.csv", export(DRY)))
    b.ctl("import", b.file("case.csv", export(rows(START, 400, rh=72.0))))
    since = "since=" + bench.stamp(START - 86400)
    for name, (title, address, email, instruments) in CLIENTS.items():
        b.ctl("client", name, "title=" + title, "address=" + address, "email=" + email)
        for i, one in enumerate(instruments):
            b.ctl("instrument", one, "title=Instrument " + one, "build=set-neck", "place=" + ("room", "case")[i % 2],
                  "client=" + name, since)
            b.ctl("finding", one, "restrung", "relief=.010in", "--at", bench.stamp(NOW - 86400) + "Z")
    b.ctl("instrument", "shop-1", "title=Instrument shop-1", "build=bolt-on", "place=case", since)
    b.ctl("finding", "shop-1", "restrung", "--at", bench.stamp(NOW - 86400) + "Z")
    return b


def files(b):
    """{folder/name: (bytes, mtime, inode)}."""
    return {str(p.relative_to(b.folder)): (p.read_bytes(), p.stat().st_mtime_ns, p.stat().st_ino)
            for folder in (b.calendars, b.folder / "harbour") for p in folder.iterdir()}


def names(*editions):
    return sorted("calendars/%s-%s.ics" % (name, kind) for name, kinds in editions for kind in kinds)


BOTH = ("events", "todos")
WANTED = sorted(names(("bench", BOTH), *(("clients-" + c, BOTH) for c in CLIENTS), ("rooms-room", ("todos",)),
                      ("rooms-case", ("todos",)), ("german", ("events",))) +
                ["harbour/harbour-events.ics", "harbour/harbour-todos.ics"])


def text(data):
    return data.decode().replace("\r\n ", "").replace("\\,", ",")


def words_of(client):
    title, address, email, instruments = CLIENTS[client]
    return [client, title, address, email, *instruments]


def test_each_edition_has_its_files():
    with furnished() as b:
        assert sorted(files(b)) == WANTED, sorted(files(b))


def test_a_client_reads_nothing_of_others():
    """Nor of the bench's own instruments, places and sensors."""
    with furnished() as b:
        seen = files(b)
        for client in CLIENTS:
            for path in ([p for p in seen if "clients-%s-" % client in p] +
                         ([p for p in seen if p.startswith("harbour/")] if client == "school" else [])):
                data = text(seen[path][0])
                for other in (c for c in CLIENTS if c != client):
                    for word in words_of(other):
                        assert word.lower() not in data.lower(), "%s has %r" % (path, word)
                for word in (*OWN, "room", "case:", "hygrometer", "Air too"):
                    assert word not in data.replace("nothing", ""), "%s has %r" % (path, word)
        for client, (title, _, _, instruments) in CLIENTS.items():
            for kind in BOTH:
                found = list(b.entries(kind, "clients-" + client).values())
                assert len(found) == (1 if instruments else 0), (client, kind, found)
                for entry in found:
                    assert entry["SUMMARY"].startswith("Seasonal visit: The Pier Bench\\, %d" % len(instruments)), entry
                    assert all("Instrument " + x in entry["DESCRIPTION"] for x in instruments)
                    assert entry["CLASS"] == "PRIVATE"
            head = text((b.calendars / ("clients-%s-events.ics" % client)).read_bytes())
            assert "X-WR-CALNAME:Care: " + title in head, head
        assert all(e["CLASS"] == "CONFIDENTIAL" for e in b.entries("todos", "harbour", b.folder / "harbour").values())
        assert all("CLASS" not in e for e in b.entries("todos").values())


def test_a_place_shows_its_own_one_by_one():
    with furnished() as b:
        for place, inside, outside in (("room", ("school-1", "quartet-1", "anna-1"), ("school-2", "shop-1")),
                                       ("case", ("school-2", "shop-1"), ("school-1", "quartet-1", "anna-1"))):
            shown = [e["SUMMARY"] for e in b.entries("todos", "rooms-" + place).values()]
            assert not any("visit" in s for s in shown), shown
            for name in inside:
                assert any(s.startswith("Instrument %s: " % name) for s in shown), (place, name, shown)
            assert not any("Instrument %s: " % name in s for name in outside for s in shown), (place, shown)
            assert sum(s.startswith("%s: Air too" % place) for s in shown) == 1, (place, shown)


def test_the_bench_sees_it_all():
    with furnished() as b:
        data = text((b.calendars / "bench-todos.ics").read_bytes())
        for client in ("school", "quartet", "anna"):
            assert CLIENTS[client][0] in data and all("Instrument " + x in data for x in CLIENTS[client][3])
        assert "Instrument shop-1" in data and "room: Air too dry" in data and "case: Air too damp" in data


def test_nothing_new_changes_no_byte():
    with furnished() as b:
        first = files(b)
        for command in (["agenda"], ["status"], ["calendars", "--preview"], ["calendars"]):
            b.ctl(*command)
            assert files(b) == first, command
        b.daemon("--once")
        assert files(b) == first
        service = b.start()
        (b.folder / "bench.db.bell").open("a").close()
        assert service.end() == 0
        assert files(b) == first


def test_a_change_reaches_those_whom_it_concerns():
    with furnished() as b:
        first = files(b)
        b.ctl("instrument", "anna-1", "title=Renamed at the pier")
        changed = {p for p, now in files(b).items() if now != first[p]}
        assert changed == {*names(("bench", BOTH), ("clients-anna", BOTH), ("german", ("events",)),
                                  ("rooms-room", ("todos",)))}, changed


def test_what_is_no_more_goes_and_others_files_stay():
    with furnished() as b:
        mine = b.file("clients-mine-events.ics", "not of the program", b.calendars)
        also = b.file("rooms-case-events.ics", "somebody else's", b.calendars)
        b.ctl("remove", "client", "idle")
        assert sorted(files(b)) == sorted({*WANTED, "calendars/clients-mine-events.ics", "calendars/rooms-case-events.ics"} -
                                          {*names(("clients-idle", BOTH))})
        b.config.write_text(settings(OUTPUTS.replace('language = "de"; zone = "Pacific/Kiritimati"; show = "events";',
                                                     'show = "todos";').replace('each = "place"; ', 'place = "case"; ')))
        b.ctl("agenda")
        left = sorted(p for p in files(b) if "german" in p or "rooms" in p)
        assert left == names(("german", ("todos",)), ("rooms", ("todos",)), ("rooms-case", ("events",))), left
        assert mine.read_text() == "not of the program" and also.read_text() == "somebody else's"


def test_a_file_that_is_not_ours_any_more_stays():
    with furnished() as b:
        other = b.calendars / "clients-idle-todos.ics"
        other.write_text("BEGIN:VCALENDAR\r\nPRODID:-//another//EN\r\n")
        b.config.write_text(settings('outputs = ( { name = "bench"; folder = "calendars"; } );\n'))
        b.ctl("agenda")
        assert sorted(p.name for p in b.calendars.iterdir()) == ["bench-events.ics", "bench-todos.ics", other.name]
        assert "another" in other.read_text()


def test_language_and_units():
    """Long dates and decimal commas of German: Unicode CLDR. The day is that of the calendar's zone."""
    with furnished() as b:
        data = text((b.calendars / "german-events.ics").read_bytes()).replace("\u00a0", " ").replace("\u202f", " ")
        month = ("Januar", "Februar", "M\u00e4rz", "April", "Mai", "Juni", "Juli", "August", "September", "Oktober",
                 "November", "Dezember")
        restrung = datetime.datetime.fromtimestamp(NOW - 86400, zoneinfo.ZoneInfo("Pacific/Kiritimati"))
        assert "restrung %d. %s %d um %s" % (restrung.day, month[restrung.month - 1], restrung.year,
                                             restrung.strftime("%H:%M")) in data, data
        plain = text((b.calendars / "bench-events.ics").read_bytes())
        here = datetime.datetime.fromtimestamp(NOW - 86400, zoneinfo.ZoneInfo("Europe/Vienna"))
        assert "restrung %s" % here.strftime("%Y-%m-%d %H:%M") in plain
        mean = plain.split("two-day mean ")[1].split(" %")[0]
        assert "two-day mean %s % RH".replace("%s", mean.replace(".", ",")) in data, (mean, data)


def test_alarms_ring_at_nine_of_the_editions_zone():
    with furnished() as b:
        for output, zone in (("bench", "Europe/Vienna"), ("german", "Pacific/Kiritimati")):
            data = text((b.calendars / ("%s-events.ics" % output)).read_bytes())
            triggers = [x.split(":")[1] for x in data.split("\r\n") if x.startswith("TRIGGER")]
            assert triggers
            for at in triggers:
                local = datetime.datetime.strptime(at, "%Y%m%dT%H%M%S%z").astimezone(zoneinfo.ZoneInfo(zone))
                assert local.strftime("%H:%M") == "09:00", (output, at)


def rounds(b, output="bench"):
    return [(uid, e) for uid, e in b.entries("events", output).items() if "round" in e["SUMMARY"].lower() and "RRULE" in e]


def test_the_weekly_round():
    with furnished() as b:
        (uid, entry), = rounds(b)
        assert entry["SUMMARY"] == "Humidity round" and "FREQ=WEEKLY" in entry["RRULE"]
        first = datetime.datetime.strptime(entry["DTSTART"], "%Y%m%dT%H%M%S")
        assert first.weekday() == 0 and first.strftime("%H:%M") == "09:00"
        here = datetime.datetime.fromtimestamp(NOW, zoneinfo.ZoneInfo("Europe/Vienna")).replace(tzinfo=None)
        assert datetime.timedelta(0) < first - here <= datetime.timedelta(7)
        assert "DTSTART;TZID=Europe/Vienna:" in text((b.calendars / "bench-events.ics").read_bytes())
        assert uid not in b.entries("todos")
        assert not any(rounds(b, "clients-" + c) for c in CLIENTS)
        b.config.write_text(settings(OUTPUTS.replace("Mon 09:00", "Thu 16:30")))
        b.ctl("agenda")
        (again, changed), = rounds(b)
        first = datetime.datetime.strptime(changed["DTSTART"], "%Y%m%dT%H%M%S")
        assert again == uid and first.weekday() == 3 and first.strftime("%H:%M") == "16:30"
        assert int(changed["SEQUENCE"]) == int(entry["SEQUENCE"]) + 1


def change(b, sql, *values):
    db = sqlite3.connect(b.store, timeout=30)
    with db:
        assert db.execute(sql, values).rowcount > 0
    db.close()
    b.ctl("agenda")


def test_a_day_moved_by_a_person_counts():
    with furnished() as b:
        (number, by), = b.query("SELECT id, due_by FROM item WHERE subject = 'shop-1' AND rule = 'settle'")
        for moved in (by + 20 * 86400, NOW - 40 * 86400):
            change(b, "UPDATE item SET moved = ? WHERE id = ?", moved, number)
            entry, = (e for e in b.entries("todos").values() if e["SUMMARY"].startswith("Instrument shop-1: Settle"))
            day = datetime.datetime.fromtimestamp(moved, zoneinfo.ZoneInfo("Europe/Vienna")).strftime("%Y%m%d")
            assert entry["DUE"] == day, (entry, day)
            assert "DTSTART" not in entry
            event, = (e for e in b.entries("events").values() if e["SUMMARY"].startswith("Instrument shop-1: Settle"))
            assert event["DTSTART"] == day, (event, day)
            assert "moved there by hand" in entry["DESCRIPTION"].replace("\\", "")


def test_a_visit_with_an_appointment_has_its_time_and_answer():
    with furnished() as b:
        at = NOW - NOW % 86400 + 30 * 86400 + 13 * 3600
        change(b, "UPDATE visit SET at = ?, length = 5400, answer = 1 WHERE client = "
               "(SELECT id FROM client WHERE name = 'anna')", at)
        for output in ("bench", "clients-anna"):
            visit, = (e for e in b.entries("events", output).values() if "Instrument anna-1" in e["DESCRIPTION"])
            stamp = lambda t: datetime.datetime.fromtimestamp(t, datetime.timezone.utc).strftime("%Y%m%dT%H%M%SZ")
            assert visit["DTSTART"] == stamp(at) and visit["DTEND"] == stamp(at + 5400), visit
            here = datetime.datetime.fromtimestamp(at, zoneinfo.ZoneInfo("Europe/Vienna"))
            assert "Appointment %s\\, accepted." % here.strftime("%Y-%m-%d %H:%M") in visit["DESCRIPTION"], visit
            todo, = (e for e in b.entries("todos", output).values() if "Instrument anna-1" in e["DESCRIPTION"])
            assert todo["DUE"] == here.strftime("%Y%m%d"), todo


def test_the_preview_tells_it_all_and_changes_nothing():
    with Bench(settings()) as b:
        (b.folder / "harbour").mkdir()
        b.ctl("client", "school", "title=Harbour School of Music")
        b.ctl("instrument", "school-1", "build=set-neck", "place=room", "client=school", "since=" + bench.stamp(START - 86400))
        b.ctl("import", b.file("room.csv", export(DRY)))
        before = files(b)
        wait = b.query("SELECT count(*) FROM item"), b.query("SELECT count(*) FROM published")
        told = b.ctl("calendars", "--preview").out
        assert files(b) == before
        assert (b.query("SELECT count(*) FROM item"), b.query("SELECT count(*) FROM published")) == wait
        for words in ("bench: Instrument care", "into folder", "clients-school: Care: Harbour School of Music",
                      "only instruments of client school", "marked private", "rooms-case: ", "as de",
                      "every week  Humidity round", "to-do, event", "room: Air too dry",
                      "gone: client nobody is not in the records"):
            assert words in told, (words, told)
        lines = b.ctl("calendars").out.splitlines()
        assert [x.split()[0] for x in lines] == ["bench", "clients-school", "rooms-case", "rooms-room", "german", "harbour"]


def test_check_tells_of_a_client_nobody_has_entered():
    with Bench(settings()) as b:
        (b.folder / "harbour").mkdir()
        b.ctl("client", "school")
        told = b.ctl("check", code=78).out  # EX_CONFIG of sysexits.h
        assert 'output "gone": client "nobody": not in the records' in told, told
        assert "harbour" not in told, told
        b.ctl("client", "nobody")
        b.ctl("check")


def test_an_output_for_a_server_alone_needs_no_folder():
    with Bench(settings('outputs = ( { name = "far"; server = "https://cal.example"; } );\n')) as b:
        b.ctl("check")
        b.ctl("agenda")
        assert not any(b.calendars.iterdir())


def test_other_readers_find_the_same_entries():
    """python3-icalendar reads every file; its word counts for what is there."""
    with furnished() as b:
        reader = bench.REPO / "tests/system/read_calendar.py"
        for path in files(b):
            done = subprocess.run(["/usr/bin/python3", str(reader), path], cwd=b.folder, capture_output=True, text=True)
            assert done.returncode == 0, (path, done.stderr)
            kind = path.rsplit("-", 1)[1][:-4]
            mine = bench.entries((b.folder / path).read_bytes())
            shown = [x for x in map(json.loads, done.stdout.splitlines()) if x.get("summary")]
            assert len(shown) == len(mine), (path, kind, len(shown), len(mine))


if __name__ == "__main__":
    if not os.path.isdir("/usr/share/zoneinfo/Pacific"):
        raise Skip("tzdata is missing")
    bench.main(globals())
