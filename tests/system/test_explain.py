#!/usr/bin/python3 -B
"""What `seasonctl explain` prints can be made again from what it prints, and every species it uses has its source.

The formulas are written here anew from their sources, each named beside it. A result may differ from its remaking by
what rounding of the printed figures allows and no more.
"""
import functools
import math
import re
import time

import bench
from bench import Bench, REPO, stamp

NOW = int(time.time())
DAYS = 480
START = NOW - NOW % 86400 - DAYS * 86400  # whole days, up to the last midnight: the same air at any hour of the day

# An invented instrument that has everything a section can tell: pegs, uneven cuts, two sorption curves.
BUILD = """name = "pegged"; title = "Invented, with pegs"; band = [40, 55]; scale = "650mm"; joint = "325mm";
relief_span = "288mm"; relief_share = 0.8; top_span = "280mm"; top_share = 0.25; brace_pitch = "45mm";
body_length = "490mm"; body_depth = "95mm"; cavity_lag = "5 h"; sorption_ratio = 0.9; string_life = "120 d";
top = { species = "norway_spruce"; cut = 20; thickness = "2.4mm"; width = "370mm"; outer = "varnish"; };
back = { species = "maple_sugar"; cut = "flat"; thickness = "2.5mm"; width = "370mm"; outer = "varnish"; };
neck = { species = "spanish_cedar"; cut = "quarter"; thickness = "16mm"; width = "56mm"; outer = "varnish"; inner = "glued"; };
fingerboard = { species = "ebony_african"; cut = "flat"; thickness = "6mm"; width = "56mm"; inner = "glued"; };
headstock = { species = "spanish_cedar"; cut = "rift"; thickness = "20mm"; width = "75mm"; outer = "varnish"; inner = "varnish"; };
top_brace = { species = "norway_spruce"; cut = "quarter"; thickness = "5mm"; width = "6mm"; inner = "glued"; };
peg = { member = "headstock"; species = "boxwood"; count = 6; diameter = "7.8mm"; taper = 0.0333; };
screw = { member = "headstock"; count = 8; thread = "2.2x10 wood"; pitch = "1mm"; grip = "10mm"; };
strap_button = { member = "neck"; count = 1; thread = "3.5x25 wood"; pitch = "1.5mm"; grip = "15mm"; };
"""


def air(day):
    """From autumn through a dry winter and a damp summer into the next dry season."""
    return 45 + 17 * math.cos(2 * math.pi * (day + 30) / 365), 20 + 3 * math.cos(2 * math.pi * (day + 200) / 365)


def readings():
    for hour in range(DAYS * 24):
        rh, temp = air(hour / 24)
        t = START + hour * 3600
        yield t, round(rh + (hour * 7 % 13) / 10, 2), round(temp + (hour * 5 % 11) / 10, 2)


def at(day):
    return stamp(START + day * 86400 + 43200)


def day(number):
    return at(number)[:10]


FINDINGS = [  # instrument, day, what: autumn, winter, a rod turn and spring; a surprise; a slip
    ("one", 20, "relief=0.25mm action_bass=2.4mm action_treble=1.8mm fret_ends=0mm snug"),
    ("one", 150, "relief=0.29mm action_bass=2.2mm fret_ends=0.12mm"),
    ("one", 240, "truss_turn=1/8 tuner_turn=1/12"),
    ("one", 241, "relief=0.20mm action_bass=2.3mm action_treble=1.7mm"),
    ("one", 330, "relief=0.15mm"),
    ("two", 20, "relief=0.30mm action_treble=3.0mm snug"),
    ("two", 250, "snug pegs"),
    ("two", 300, "relief=1.20mm"),
    ("three", 30, "relief=0.25mm"),
    ("three", 60, "relief=0.25mm"),
    ("three", 90, "relief=2.50mm"),
    ("three", 100, "relief=0.27mm"),
]


@functools.cache
def told():
    """{instrument, instrument@day or number of an item: (its line in the agenda, what explain prints)}."""
    settings = bench.SETTINGS.replace("/conf\" ];", "/conf\", \"library\" ];") + 'units = "inch";\n'
    with Bench(settings) as b:
        (b.folder / "library" / "builds").mkdir(parents=True)
        b.file("pegged.conf", BUILD, b.folder / "library" / "builds")
        for name, build in (("one", "flat-top"), ("two", "pegged"), ("three", "bolt-on")):
            b.ctl("instrument", name, "build=" + build, "place=room", "since=" + stamp(START))
        for name, day, words in FINDINGS:
            b.ctl("finding", name, *words.split(), "--at", at(day))
        b.ctl("import", b.file("room.csv", bench.export(readings())))
        agenda = b.ctl("agenda").out
        items = {number: line for line, number in re.findall(r"^( *#(\d+) .*)$", agenda, re.M)}
        found = {name: (items.get(name, ""), b.ctl("explain", name).out) for name in ["one", "two", "three", *items]}
        for number in (240, 330):  # the hour after the finding
            after = stamp(START + number * 86400 + 46800)
            found["one@%d" % number] = "", b.ctl("explain", "one", "--at", after).out
        return found


def parts(text):
    """The parts of an explanation: [(first line, all of it)]. Parts stand two blanks in."""
    found = re.split(r"^(?=  [^ \n])", text, flags=re.M)
    return [(x.split("\n")[0].strip(), x) for x in found]


def part(text, name):
    found = [x for first, x in parts(text) if first.startswith(name)]
    assert len(found) == 1, "%d parts %r in\n%s" % (len(found), name, text)
    return found[0]


# ---- formulas ----

def emc(rh_pct, t):
    """Wood Handbook FPL-GTR-190 (2010) eq. 4-5, SI coefficients."""
    h = rh_pct / 100
    w = 349 + 1.29 * t + 0.0135 * t * t
    k = 0.805 + 0.000736 * t - 0.00000273 * t * t
    k1 = 6.27 - 0.00938 * t - 0.000303 * t * t
    k2 = 1.91 + 0.0407 * t - 0.000293 * t * t
    bound = (k1 * k * h + 2 * k1 * k2 * (k * h) ** 2) / (1 + k1 * k * h + k1 * k2 * (k * h) ** 2)
    return 1800 / w * (k * h / (1 - k * h) + bound)


def kappa(h1, w1, e1, s1, h2, w2, e2, s2):
    """Two bonded layers, Timoshenko (1925) eq. 4, for unlike widths: each stiffness counts by its width. Thickness in
    mm, free strain in %; positive: the first grows longer."""
    m, n, h = h1 / h2, e1 * w1 / (e2 * w2), (h1 + h2) / 1e3
    return 6 * (s1 - s2) / 100 * (1 + m) ** 2 / (h * (3 * (1 + m) ** 2 + (1 + m * n) * (m * m + 1 / (m * n))))


def square(*x):
    return math.sqrt(sum(v * v for v in x))


def swelling(c, before, after):
    """Wood Handbook ch. 13 eq. 13-2, in percent."""
    return 100 * c * (after - before)


# What a part prints: (first words of the part, pattern, formula of its numbers). In a pattern # is a number, @ the
# result, a blank any space, ... anything inside one paragraph (what begins three blanks in) and *** anything.
LEARNT = [  # Bishop (2006) eqs 3.50, 3.51, 3.58, 3.59, as learn.h tells them
    ("prior (care.conf): gain 1 +- #, reading #, scatter # ...: k @ ", lambda g, r, s: (r * r + s * s) / (g * g)),
    (": k # gain (k + Sxy)/(k + Sxx) = @ +- #; Sxx #, Sxy #", lambda k, sd, xx, xy: (k + xy) / (k + xx)),
    ("reading #, scatter # ...: k # gain (k + Sxy)/(k + Sxx) = # +- @; Sxx #", lambda r, s, k, g, xx: square(r, s) / math.sqrt(k + xx)),
]
MOVES = LEARNT + [
    ("(k + Sxx) = #***change since ...: gain @ x", lambda g: g),
    ("change since ...: gain # x # = @ mm", lambda g, x: g * x),
    ("root of (# x #)^2 + reading #^2 + 3 x scatter #^2 = @ mm", lambda g, x, r, s: square(g * x, r, s, s, s)),
    ("level: mean found # + gain # x # (...) = @ mm", lambda y, g, x: y + g * x),
    ("root of (# x #)^2 + (reading #^2 + scatter #^2)/# + scatter^2 = @ mm",
     lambda g, x, r, s, n: square(g * x, square(r, s) / math.sqrt(n), s)),
]
BENDS = [
    ("C_L # moisture # -> # %: free strain @ %", swelling),
    ("kappa # /m; sagitta kappa L^2/8 over # mm x share # = @ mm", lambda k, l, share: k * l * l / 8e3 * share),
    ("by mean moistures #, by what differs inside #: in all @ mm", lambda a, b: a + b),
]
EQUATIONS = [(name, *x) for name, group in {
    "air of": [
        ("hour from ...: # % RH, # degC; equilibrium moisture by eq. 4-5: @ %", emc),
        ("1 - exp(-1 h/# h) = @ of the way", lambda lag: 1 - math.exp(-1 / lag)),
        ("inside ... takes up water below @, ", lambda: 2 * 0.9 / 1.9),
    ],
    "relief, since": MOVES + BENDS + [
        ("fingerboard ..., # x # mm; E_L # GPa...strain # % neck ..., # x # mm; E_L # GPa...strain # % balance of "
         "layers: kappa @ /m", kappa),
        ("in all # mm ...change since ...: gain # x @ = ", lambda x, g: x),
    ],
    "action at": MOVES + BENDS + [
        ("C across # moisture # -> # %: free strain @ %", swelling),
        ("top ..., # x # mm, of these # mm; E_R # GPa...strain # % top_brace ..., # x # mm; E_L # GPa...strain # % "
         "balance of layers: kappa @ /m", lambda h1, _, *rest: kappa(h1, *rest)),
        ("inside #: in all # mm; half @ mm", lambda _, x: x / 2),
        ("C_L # x (# - #) = @ %", lambda c, after, before: swelling(c, before, after)),
        # geometry: what the back gains on the top in length, over the depth, all the way from joint to bridge
        ("neck: (back # % - top # %)/depth # mm x (scale # - joint # mm) = @ mrad",
         lambda back, top, depth, scale, joint: (back - top) * 10 / depth * (scale - joint)),
        ("(scale # - joint # mm) = # mrad x (scale - joint)/2 = @ mm", lambda scale, joint, turn: turn * (scale - joint) / 2e3),
        ("relief: in all # mm; half @ mm", lambda x: x / 2),
        ("half # mm back ...x (scale - joint)/2 = # mm relief: ...half # mm model: parts together @ mm", lambda *halves: sum(halves)),
        ("parts together # mm, at the last finding # mm: change @ mm", lambda now, then: now - then),
    ],
    "fret ends": MOVES + [
        ("C across #...C x (# - #) x # mm/2 = @ mm", lambda c, before, after, w: c * (before - after) * w / 2),
        ("C across #...followed #, at the last finding #, now ...) x # mm/2 = # mm, at the last finding @ mm",
         lambda c, before, after, w, _: c * (before - after) * w / 2),
        ("level: ... = # mm ...stand-out: the level, at least 0: @ +-", lambda x: max(0, x)),
        ("change since ...: gain # x # = # mm ...stand-out: the change, at least 0: @ +-", lambda g, m, x: max(0, x)),
    ],
    "hardware": LEARNT + [
        ("thickness # ...at # %, now # %: free strain C x change @ %", swelling),
        ("thickness # snug strain # %,...touch strain then C x # - snug = @ %", lambda c, snug, mc: 100 * c * mc - snug),
        ("snug = # %, moved since by crushing and relaxing # % contact strain C x ... - touch @ %", lambda a, b: a + b),
        ("thickness # ...contact strain C x # - touch # % = @ %", lambda c, mc, touch: 100 * c * mc - touch),
        ("snug strain # %,...touch # % = # %; over snug, at most 1: hold @ ", lambda snug, _, contact: min(1, contact / snug)),
        ("grip # mm of ...touch # % = # %;...gap @ mm", lambda grip, _, contact: max(0, -contact / 100 * grip)),
        ("gap # mm / pitch # mm = @ turn", lambda gap, pitch: gap / pitch),
        ("grip # mm of ...snug strain # %,...hold # gap # mm / pitch # mm = # turn; to snug ... = @ turn",
         lambda grip, snug, hold, gap, pitch, turn: (1 - hold) * snug / 100 * grip / pitch),
        ("(k + Sxx) = # ...to make it snug: gain @ x", lambda g: g),
        ("to make it snug: gain # x # = @ turn", lambda g, x: g * x),
        ("root of (# x #)^2 + scatter #^2 = @ turn", lambda g, x, s: square(g * x, s)),
    ],
    "pegs and": [
        ("last fitted #, now # % peg C_R #: @ %", lambda before, after, c: swelling(c, before, after)),
        ("last fitted #, now # % peg C_R #: # %, C_T #: @ %", lambda before, after, _r, _s, c: swelling(c, before, after)),
        ("last fitted #, now # % ...hole C_L #: @ %", lambda before, after, c: swelling(c, before, after)),
        ("last fitted #, now # % ...hole ...%, C ... #: @ %", lambda before, after, c: swelling(c, before, after)),
        # geometry of a taper
        (", # mm thick, ...peg C_R #: # %, C_T #: # % hole C_L #: # %, C ... #: # % fit: ... = @ mm",
         lambda d, _r, r, _t, t, _l, l, _a, a: d * ((r + t) - (l + a)) / 200),
        (", # mm thick, ...peg C_R #: # %, C_T #: # % hole C_L #: # %, C ... #: # % ...out of round: ... = @ mm",
         lambda d, _r, r, _t, t, _l, l, _a, a: d * (abs(r - t) + abs(l - a)) / 100),
        ("hole's) = # mm; x # = @ mm further out", lambda fit, taper: fit * taper),
    ],
    "stretched": [
        ("C across # without stress at # %, now # %: ... = forced @ %", lambda c, rest, mc: 100 * c * (rest - mc)),
        # yield: Richard, Mecklenburg and Tumosa, The Structural Conservation of Panel Paintings (Getty 1998)
        ("forced # %, of the yield @ %", lambda x: abs(x) / 0.4 * 100),
    ],
    "glue under": [
        ("forced # %, of the yield @ %", lambda x: abs(x) / 0.4 * 100),
        ("under bridge ...C across #, # % bridge ...C_L #, # % ... = @ %",
         lambda c, mc, c_l, mc_bridge: 100 * (c * mc - c_l * mc_bridge)),
        ("moisture = # %, without stress at # % forced @ %", lambda free, rest: rest - free),
    ],
}.items() for x in group]


def regex(pattern):
    """With the groups of its numbers; the result's is `result`."""
    number = r"[+-]?\d+(?:\.\d+)?(?:e[+-]\d+)?"
    tokens = {"#": "(%s)" % number, "@": "(?P<result>%s)" % number, "...": r"(?:(?!\n   \S).)*?", "***": ".*?", " ": r"\s+"}
    return re.compile("".join(tokens.get(x) or re.escape(x) for x in re.split(r"(#|@|\.\.\.|\*\*\*| )", pattern)), re.S)


def half_step(number):
    """Half of the last digit printed; whole numbers are exact."""
    digits, _, power = number.partition("e")
    return 0.5 * 10.0 ** (int(power or 0) - len(digits.partition(".")[2])) if "." in digits else 0


def agrees(formula, given, result):
    """The printed result is the formula's of the printed numbers, as far as these were rounded."""
    values = [float(x) for x in given]
    want, room = formula(*values), half_step(result)
    for i, x in enumerate(given):
        room += max(abs(formula(*values[:i], values[i] + h, *values[i + 1:]) - want) for h in (half_step(x), -half_step(x)))
    return abs(float(result) - want) <= room * 1.001 + 1e-12


def remade(text):
    """[(pattern, formula, given, result)] of every figure found in an explanation."""
    found = []
    for name, pattern, formula in EQUATIONS:
        for first, body in parts(text):
            for m in regex(pattern).finditer(body) if first.startswith(name) else ():
                at_result = m.re.groupindex["result"]
                given = [m.group(i) for i in range(1, m.re.groups + 1) if i != at_result]
                found.append((pattern, formula, given, m.group("result")))
    return found


# ---- tests ----

def test_every_figure_can_be_made_again():
    seen = set()
    for name, (_, text) in told().items():
        for pattern, formula, given, result in remade(text):
            seen.add(pattern)
            assert agrees(formula, given, result), "%s: %s: %s of %s, wanted %.7g" % (
                name, pattern, result, given, formula(*map(float, given)))
    missing = [x[1] for x in EQUATIONS if x[1] not in seen]
    assert not missing, "never printed: %s" % missing


def test_a_wrong_figure_is_noticed():
    """A tenth and ten of the last digit more or less is too much for every check, once the wood has moved."""
    for name, (_, text) in told().items():
        for pattern, formula, given, result in remade(text) if "@" not in name else ():
            off = abs(float(result)) / 10 + 20 * half_step(result) + (0 if "." in result else 1)
            for wrong in (float(result) + off, float(result) - off):
                places = len(result.partition(".")[2].partition("e")[0])
                wrong = ("%.*e" if "e" in result else "%.*f") % (places, wrong)
                assert not agrees(formula, given, wrong), "%s: %s: %s for %s of %s" % (name, pattern, wrong, result, given)


def test_the_last_hour_is_that_of_the_readings():
    given = {stamp(t)[:16]: (rh, temp) for t, rh, temp in readings()}
    hours = re.findall(r"hour from (\S+ \S+): (\S+) % RH, (\S+) degC", told()["one"][1])
    assert len(hours) == 1 and (float(hours[0][1]), float(hours[0][2])) == given[hours[0][0]], hours
    assert "readings of room from %s to %s; in the last day 25, questionable 0" % (
        stamp(START)[:16], max(given)) in told()["one"][1]


def test_summary_and_workings_agree():
    text = told()["one"][1]
    thou = re.search(r"relief +(\S+) thou \+- (\S+) thou since", text)
    mm = re.search(r"change since.*? = (\S+) mm\n.*? = (\S+) mm", part(text, "relief, since"))
    for i in (1, 2):
        assert abs(float(thou[i]) - float(mm[i]) / 0.0254) < 0.05 + 0.00005 / 0.0254, (thou[0], mm[0])


def test_the_most_stretched_counts():
    for name in ("one", "two"):
        text = part(told()[name][1], "stretched")
        plates = [float(x) for forced, x in re.findall(r"forced (.)\S+ %, of the yield (\S+) %", text) if forced == "+"]
        assert "most tension %.1f %% of the yield\n" % max(plates) in text


def test_moistures_of_then_are_those_told_then():
    now = told()["one"][1]
    snug = re.search(r"snug since (\S+) at (\S+) %", part(now, "hardware"))
    there = re.search(r"contact strain C x (\S+) ", part(told()["one@240"][1], "hardware"))
    assert snug.groups() == (day(240), there[1]), (snug[0], there[0])
    pieces = re.findall(r"moisture (\S+) -> ", part(now, "relief, since"))
    assert pieces == re.findall(r"moisture \S+ -> (\S+) %", part(told()["one@330"][1], "relief, since")), pieces
    assert len(pieces) == 2


def held(text):
    """[(why it began, [(day, what, mm)])] of the findings that hold."""
    return [(why, re.findall(r"      (\S+) (\w+) (\S+) mm", rows)) for why, rows in
            re.findall(r"findings that hold: \d+, ([^\n]*)\n((?:      [^\n]+\n)*)", text)]


def test_segments_tell_what_began_them():
    text = told()["one"][1]
    relief = held(part(text, "relief, since"))
    assert relief == [("begun by truss_turn of " + day(240), [(day(241), "relief", "0.200"), (day(330), "relief", "0.150")])], relief
    assert "mean found 0.1750" in part(text, "relief, since")
    bass, treble = held(part(text, "action at"))
    assert bass == ("begun by truss_turn of " + day(240), [(day(241), "action_bass", "2.300")]), bass
    assert treble == ("begun by truss_turn of " + day(240), [(day(241), "action_treble", "1.700")]), treble
    ends = held(part(text, "fret ends"))
    assert ends == [("begun by dressing", [(day(20), "fret_ends", "0.000"), (day(150), "fret_ends", "0.120")])], ends
    assert day(240) + " tuner_turn 0.0833 turn" in part(text, "hardware")
    relief = part(told()["two"][1], "relief, since")
    assert held(relief) == [("begun by a surprise", [(day(300), "relief", "1.200")])], held(relief)
    assert "surprise of %s:" % day(300) in relief and "differs from the expected" in relief
    relief = part(told()["three"][1], "relief, since")
    fit = [(day(30), "relief", "0.250"), (day(60), "relief", "0.250"), (day(100), "relief", "0.270")]
    assert held(relief) == [("begun by the first finding", fit)] and "surprise of %s:" % day(90) in relief, relief
    assert "    findings that hold: none, the level is unknown\n" in part(told()["three"][1], "action at")


def library():
    """{species: (C_R, C_T, C_L, source)} out of species.conf."""
    text = (REPO / "conf" / "species.conf").read_text()
    found = {}
    for entry in text.split("\tname = ")[1:]:
        value = lambda key: float(re.search(r"\b%s = ([\d.]+);" % key, entry)[1])
        source = "".join(re.findall(r'"((?:[^"\\]|\\.)*)"', entry[entry.index("source = "):]))
        found[entry.split('"')[1]] = (value("c_r"), value("c_t"), value("c_l"), source)
    return found


def sources(text):
    """{species: all that is printed of it, on one line}."""
    found = re.findall(r"^    (\w+): [^\n]*\n      C_R ((?:.*\n)(?:      .*\n)+)", part(text, "sources"), re.M)
    return {name: "C_R " + " ".join(x.split()) for name, x in found}


def test_every_species_used_has_its_values_and_source():
    known = library()
    for name, (_, text) in told().items():
        if not any(first.startswith("wood: ") for first, _ in parts(text)):
            continue
        used = set(re.findall(r"^    \w[\w ]{15} (\w+) +\d", part(text, "wood: "), re.M))
        used |= {x for first, body in parts(text) if first == "pegs and pins" for x in re.findall(r"\d of (\w+), ", body)}
        printed = sources(text)
        assert used and used == set(printed), (name, used, set(printed))
        for species in used:
            c_r, c_t, c_l, source = known[species]
            assert printed[species].startswith("C_R %.5f C_T %.5f C_L %.6f /%%" % (c_r, c_t, c_l)), printed[species]
            assert " ".join(source.split()) in printed[species], (species, source, printed[species])


def test_coefficients_are_those_of_the_cut():
    """Rotation of strain: C_R cos^2 + C_T sin^2 of the angle of the growth rings to that direction."""
    degrees, seen = {"quarter": 0, "rift": 45, "flat": 90, "20 deg": 20}, set()
    for name in ("one", "two", "three"):
        for species, cut, way, c in re.findall(r"^    \w[\w ]+ (\w+), ([\w ]+), [\d.]+ x [^\n]*C (across|through the thickness) "
                                               r"([\d.]+)", told()[name][1], re.M):
            c_r, c_t = library()[species][:2]
            a = math.radians(degrees[cut] if way == "across" else 90 - degrees[cut])
            want = c_r * math.cos(a) ** 2 + c_t * math.sin(a) ** 2
            assert abs(float(c) - want) <= 0.51e-7, (species, cut, way, c, want)
            seen.add(cut)
    assert seen == set(degrees), seen


FIGURES = {"relief": ["relief, since"], "action": ["action at"], "fret_ends": ["fret ends"], "hardware": ["hardware"],
           "after_winter": ["turn of", "hardware"], "before_winter": ["turn of"], "crack": ["stretched"],
           "glue": ["glue under"], "pegs": ["pegs and"], "strings": ["strings:"], "settle": ["strings:"]}


def test_an_item_tells_its_own_figure_only():
    every, seen = sorted({x for names in FIGURES.values() for x in names}), set()
    for number, (line, text) in told().items():
        rule = re.search(r"^  rule (\w+),", text, re.M)
        if not rule:
            continue
        got = sorted({x for x in every for first, _ in parts(text) if first.startswith(x)})
        assert got == sorted(FIGURES.get(rule[1], [])), (line, rule[1], got)
        assert "course, at the end" not in text
        seen.add(rule[1])
    assert len(seen & {"relief", "action", "fret_ends", "hardware", "crack", "glue", "pegs"}) >= 4, seen


def test_lines_are_short():
    for name, (_, text) in told().items():
        if name in ("one", "two", "three"):
            long = [x for x in text.split("\n") if len(x) > 112]
            assert not long, (name, long)


if __name__ == "__main__":
    bench.main(globals())
