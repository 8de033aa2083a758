#!/usr/bin/python3
"""core/moisture.c beside scipy's Radau at a tight tolerance: every cell of every column of a guitar, single
pieces and glued ones, at each eighth hour of ten days."""
import sys

try:
    import scipy  # noqa: F401
except ImportError:
    print("skipped moisture_reference: no python3-scipy (make deps)")
    sys.exit(0)
import moisture_reference as reference
import numpy as np

HOURS, EVERY = 240, 8
AGREE_PCT = 0.02  # the step's own error is within 0.01 % MC, its table of D within 0.3 %


def main():
    ours = {hours: reference.problem(hours) for hours in range(EVERY, HOURS + 1, EVERY)}
    p, failed = ours[HOURS], 0
    for i, column in enumerate(p["columns"]):
        states = reference.Column(p, column, tabulated=False).hourly(
            p["start_pct"], p["air"], method="Radau", rtol=1e-6, atol=1e-8)
        off = moved = 0
        for hour, want in enumerate(states, 1):
            moved = max(moved, np.abs(want - p["start_pct"]).max())
            if hour in ours:
                off = max(off, np.abs(reference.cells(ours[hour]["columns"][i]) - want).max())
        good = off <= AGREE_PCT and moved > 20 * AGREE_PCT
        failed += not good
        print("%s moisture_reference %s: off by %.4f %% MC at most, moved by %.2f"
              % ("ok" if good else "not ok", column["name"], off, moved))
    return failed > 0


sys.exit(main())
