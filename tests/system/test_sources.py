#!/usr/bin/python3
"""What sources did and would bring: seasonctl sources and try, on a chip of a kernel's tree made here."""
import bench
from bench import Bench, SETTINGS

CHIP = SETTINGS.replace('sources = (', 'sources = ( { name = "chip"; kind = "kernel"; sensor = "room"; chip = "sht4x"; '
                        'path = "sys"; interval = "10 s"; },')


def chip(b, rh="45230", temp="21500"):
    """A humidity chip as the kernel's hwmon shows it: Documentation/ABI/testing/sysfs-class-hwmon."""
    folder = b.folder / "sys/class/hwmon/hwmon3"
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in (("name", "sht4x"), ("humidity1_input", rh), ("temp1_input", temp)):
        (folder / name).write_text(text + "\n")
    return folder


def has(text, *words):
    for word in words:
        assert word in text, (word, text)


def test_try_shows_and_stores_nothing():
    with Bench(CHIP) as b:
        chip(b)
        has(b.ctl("try", "chip").out, "room", "45.23 % RH", "21.50 degC", "1 reading would be stored; nothing was")
        assert b.query("SELECT count(*) FROM reading") == [(0,)]
        has(b.ctl("sources").out, "chip", "kernel, sht4x", "nothing heard of it yet")


def test_a_failing_try_says_why_and_leaves_no_trace():
    with Bench(CHIP) as b:
        has(b.ctl("try", "chip", code=66).err, "sht4x", "not below")
        has(b.ctl("sources").out, "nothing heard of it yet")
        has(b.ctl("try", "chp", code=66).err, "not in the settings", "did you mean chip?")
        has(b.ctl("try", "drop", code=64).err, "waits for what others bring", "seasonctl import")


def test_sources_tell_what_they_did():
    with Bench(CHIP) as b:
        folder = chip(b)
        b.daemon("--once")
        b.daemon("--once")
        has(b.ctl("sources").out, "last worked", "readings 2, failures 0")
        (folder / "name").unlink()
        b.daemon("--once", code=66)
        has(b.ctl("sources").out, "readings 2, failures 1", "chip \"sht4x\": not below")
        chip(b)
        b.daemon("--once")
        out = b.ctl("sources").out
        has(out, "readings 3, failures 1")
        assert "not below" not in out, out


if __name__ == "__main__":
    bench.main(globals())
