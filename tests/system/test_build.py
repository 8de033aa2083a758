#!/usr/bin/python3 -B
"""seasonctl build lists the builds and tells of one, or of an instrument with its own lines, what to expect."""
import re

import bench
from bench import REPO, Bench

NAMES = sorted(p.stem for p in (REPO / "conf" / "builds").glob("*.conf"))


def words(out, label):
    """The words behind the label that begins a line."""
    found = [line.split() for line in out.splitlines() if line.startswith("    " + label + " ")]
    assert len(found) >= 1, "no line %r in %s" % (label, out)
    return found[0][len(label.split()):]


def test_list_has_every_build_without_a_store():
    with Bench() as b:
        lines = b.ctl("build").out.splitlines()
        assert [line.split()[0] for line in lines] == NAMES
        assert all(len(line.split()) > 1 for line in lines)
        assert not (b.folder / "bench.db").exists()


def test_every_build_is_told():
    with Bench() as b:
        for name in NAMES:
            result = b.ctl("build", name)
            assert result.out.startswith(name + " ") and "sources" in result.out and "caution" in result.out
        assert not (b.folder / "bench.db").exists()


def test_anatomy_of_a_flat_top():
    with Bench() as b:
        out = b.ctl("build", "flat-top").out
        assert words(out, "top")[:4] == ["sitka_spruce", "quarter", "2.8", "mm"]
        assert words(out, "top")[-4:-2] == ["lacquer", "bare"]
        assert words(out, "tuner nuts")[:3] == ["6", "in", "headstock,"]
        assert words(out, "relief") == "usually 0.10 mm to 0.30 mm".split()
        hours = {role: words(out, role)[-2:] for role in ("top", "neck")}
        assert hours["top"][1] == "h" and hours["neck"][1] == "d", hours
        assert "Sitka spruce (Picea sitchensis)" in out and "from memory" in out
        assert out.count("(Dalbergia latifolia)") == 1  # board, back and bridge, told once


def test_instrument_is_told_with_its_own_lines():
    with Bench() as b:
        text = b.file("own.conf", 'instruments = ( { name = "mine"; build = "flat-top"; since = "2026-01-01"; place = "room";\n'
                      'overrides = { top = { species = "western_redcedar"; thickness = "3.1mm"; outer = "polyester"; };'
                      ' bridge_pin = { species = "ebony_african"; }; }; } );\n')
        b.ctl("records", "apply", text)
        mine, base = b.ctl("build", "mine").out, b.ctl("build", "flat-top").out
        assert mine.startswith("mine ")
        assert words(mine, "top")[:4] == ["western_redcedar", "quarter", "3.1", "mm"]
        assert words(mine, "top")[-4] == "polyester"
        assert "ebony_african" in " ".join(words(mine, "bridge pins")) and "ebony_african" not in base
        assert words(mine, "neck") == words(base, "neck")
        assert "Western redcedar" in mine and "Western redcedar" not in base


def test_unknown_name_is_told():
    with Bench() as b:
        assert "flat-top" in b.ctl("build", "flattop", code=66).err
        b.ctl("instrument", "mine", "build=flat-top", "place=room")
        result = b.ctl("build", "mien", code=66)
        assert re.search(r'"mien".*mine', result.err), result.err
        assert "flat-top" in b.ctl("build", "flattop", code=66).err
        b.ctl("build", "a", "b", code=64)


bench.main(globals())
