#!/usr/bin/python3 -B
"""seasonctl salt: a hygrometer is checked over salts, its air is corrected from then on, its readings are not touched.

NaCl 75.398 % and MgCl2 32.954 % at 22 degC: Greenspan 1977, table 2, between its steps of 5 K.
"""
import math
import re
import time

import bench
from bench import Bench, rows, seconds

TWO = ("salt", "room", "nacl", "76.9", "mgcl2", "35.1", "--temp", "22")


def begun():
    b = Bench()
    b.file("room.csv", bench.export(rows(seconds("2026-01-01 00:00:00"), 6 * 24 * 20)))
    b.ctl("import", "room.csv", "--sensor", "room")
    return b


def air(b, at):
    """RH of the hour before, as status shows it."""
    line = [x for x in b.ctl("status", "--at", at).out.splitlines() if x.startswith("room")][0]
    return float(line.split("last hour ")[1].split()[0])


def raw(b):
    return b.query("SELECT count(*), sum(rh), sum(temp) FROM reading") + b.query("SELECT sum(rh_sum), sum(n) FROM hour")


def test_two_salts_are_told_and_correct_from_their_time():
    with begun() as b:
        before, was = raw(b), (air(b, "2026-01-05 12:00"), air(b, "2026-01-15 12:00"))
        told = b.ctl(*TWO, "--at", "2026-01-10 12:00", "--dry-run").out
        assert "75.40 +- 0.13 % RH" in told and "32.95 +- 0.17 % RH" in told, told
        assert "1.0154 x shown -2.69" in told and "nothing was stored" in told, told
        assert b.ctl(*TWO[:-1], "71.6F", "--at", "2026-01-10 12:00", "--dry-run").out == told  # 22 degC
        assert air(b, "2026-01-15 12:00") == was[1]
        b.ctl(*TWO, "--at", "2026-01-10 12:00")
        assert air(b, "2026-01-05 12:00") == was[0]
        assert abs(air(b, "2026-01-15 12:00") - (1.01541 * was[1] - 2.687)) < 0.11, (was, air(b, "2026-01-15 12:00"))
        assert raw(b) == before
        assert "sensor room corrected since 2026-01-10: 1.015 x shown -2.69" in b.ctl("status", "--at", "2026-01-15").out
        assert "corrected" not in b.ctl("status", "--at", "2026-01-09").out
        assert b.query("SELECT quantity, subject FROM finding") == [("checked", "room")]


def test_corrections_are_listed_replaced_and_removed():
    with begun() as b:
        was = air(b, "2026-01-15 12:00")
        b.ctl(*TWO, "--at", "2026-01-10 12:00")
        b.ctl("salt", "room", "nacl", "77.9", "--temp", "22", "--at", "2026-01-10 12:00")
        listed = b.ctl("salt", "room").out
        assert listed.startswith("2026-01-10 12:00  1.0000 x shown -2.50") and listed.count("\n") == 1, listed
        assert abs(air(b, "2026-01-15 12:00") - (was - 2.5)) < 0.11
        b.ctl("remove", "correction", "room", "--at", "2026-01-10 12:00")
        assert air(b, "2026-01-15 12:00") == was
        assert "never checked" in b.ctl("salt", "room").out
        b.ctl("remove", "correction", "room", "--at", "2026-01-10 12:00", code=66)


def test_what_cannot_be_is_refused():
    with begun() as b:
        for words, code, says in (
                (("nacl", "95", "--temp", "22"), 65, "more than 15 % RH off"),
                (("nacl", "75", "kcl", "85", "--temp", "22"), 65, "less than 20 % RH apart"),
                (("nacl", "75", "mgcl2", "45", "--temp", "22"), 65, "gain 1.415"),
                (("nacl", "75", "--temp", "45"), 65, "from 0 to 40 degC"),
                (("nacl", "wet", "--temp", "22"), 65, "what it shows"),
                (("nacl", "75"), 64, "--temp"),
                (("nacl", "--temp", "22"), 64, "usage"),
                (("suger", "75", "--temp", "22"), 66, "not known"),
                (("nacl", "75", "--temp", "22", "--at", "2099-01-01"), 65, "future")):
            refused = b.ctl("salt", "room", *words, code=code)
            assert says in refused.err, refused.err
        assert "did you mean room" in b.ctl("salt", "rom", "nacl", "75", "--temp", "22", code=66).err
        assert b.query("SELECT count(*) FROM correction") == [(0,)] and b.query("SELECT count(*) FROM finding") == [(0,)]


def saturation_pa(t_degc):
    """ASHRAE Fundamentals 2017 ch. 1 eq. 6 (Hyland and Wexler 1983)."""
    t = t_degc + 273.15
    return math.exp(-5.8002206e3 / t + 1.3914993 - 4.8640239e-2 * t + 4.1764768e-5 * t**2 - 1.4452093e-8 * t**3
                    + 6.5459673 * math.log(t))


def test_two_sensors_that_disagree_are_explained_for_a_pocket_calculator():
    with Bench(bench.SETTINGS.replace('name = "case"; place = "case"', 'name = "case"; place = "room"')) as b:
        start = int(time.time()) // 3600 * 3600 - 10 * 86400
        for name, rh, temp in (("room", 45.0, 20.0), ("case", 54.0, 23.0)):
            b.file(name + ".csv", bench.export(rows(start, 6 * 24 * 10, rh=rh, temp=temp)))
            b.ctl("import", name + ".csv", "--sensor", name)
        number = re.search(r"#(\d+) .*case: Two sensors disagree", b.ctl("agenda").out).group(1)
        told = b.ctl("explain", number).out
        for mine, other, sign in (("room", "case", -1), ("case", "room", 1)):
            figures = re.search(mine + r" +([\d.]+) Pa at ([\d.]+) degC, the others ([\d.]+) Pa at ([\d.]+) degC;\s+([-+.\d]+) % RH,"
                                r" expected \+- ([\d.]+)", told)
            pa, t, others_pa, _, rh, expected = (float(x) for x in figures.groups())
            assert abs(rh - 100 * (pa - others_pa) / saturation_pa(t)) < 0.02 and rh * sign > 0, figures.group(0)
            assert abs(expected - math.sqrt(4 + 4 + 2 * (0.06 * 100 * pa / saturation_pa(t) * 0.3)**2)) < 0.02, figures.group(0)
        before = b.ctl("agenda").out
        b.ctl("salt", "case", "nacl", "75.4", "--temp", "22", "--at", bench.stamp(start))  # it is right: so the other is not
        assert "case: Two sensors" in before and "room: Two sensors" in b.ctl("agenda").out, b.ctl("agenda").out


bench.main(globals())
