#!/usr/bin/python3
"""One instrument as a user would script it: scipy's LSODA on the same columns and cells.

usage: moisture_scipy.py [HOURS]
Same cells, table of D, film, finishes and hourly air; the right hand side is vectorised and the Jacobian declared banded
(lband = uband = 1). Two honest ways are timed, one call an hour and one call for the whole stretch, and the faster is
printed by its name.
"""
import pathlib
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "system"))
import moisture_reference as reference
import numpy as np


def hourly(column, p, options):
    return list(column.hourly(p["start_pct"], p["air"], **options))[-1]


def whole(column, p, options):
    return column.whole(p["start_pct"], p["air"], **options)


def timed(way, p, options):
    """Seconds for all columns, and how far the worst cell is from ours in the end."""
    start = time.perf_counter()
    ends = [way(reference.Column(p, c, tabulated=True), p, options) for c in p["columns"]]
    took = time.perf_counter() - start
    return took, max(np.abs(m - reference.cells(c)).max() for m, c in zip(ends, p["columns"])), way.__name__


def main():
    hours = int(sys.argv[1]) if len(sys.argv) > 1 else 480
    p = reference.problem(hours)
    print("bench moisture_instrument %.4f ms/hour" % (p["seconds"] / hours * 1e3))
    for name, extra, goal in (("default", {}, 50), ("rtol_1e-6", {"rtol": 1e-6}, 200)):
        options = dict(method="LSODA", lband=1, uband=1, **extra)
        took, off, way = min(timed(w, p, options) for w in (hourly, whole))
        print("bench moisture_scipy_%s_%s %.3f ms/hour" % (name, way, took / hours * 1e3))
        print("bench moisture_scipy_%s_to_ours %.0f ratio goal >= %d" % (name, took / p["seconds"], goal))
        print("bench moisture_scipy_%s_off %.5f %%MC" % (name, off))


main()
