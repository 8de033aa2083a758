#!/usr/bin/python3
"""The moisture problem as a user would script it: scipy's LSODA on the same cells.

usage: moisture_scipy.py PROBLEM [HOURS]
PROBLEM is the file that the moisture bench writes. Same cells, table of D, film, finish and hourly
air; the right hand side is vectorised and the Jacobian declared banded (lband = uband = 1).

The air is constant within an hour and jumps between. Two honest ways are timed, one call an hour and
one call for the whole stretch with max_step of an hour so that no hour is overlooked, and the faster
is printed by its name.
"""
import sys
import time

import numpy as np
from scipy.integrate import solve_ivp

FILM_M_S, FILM_EXP = 3.2e-8, 0.04


class Problem:
    def __init__(self, path):
        with open(path) as f:
            head = f.readline().split()
            self.n = int(head[0])
            thickness, self.finish, self.start, self.ours_s = map(float, head[1:5])
            self.hours = int(head[5])
            self.ours = np.array(f.readline().split(), dtype=float)
            self.table = np.array([f.readline().split() for _ in range(33)], dtype=float)
            self.air = np.array([f.readline().split() for _ in range(self.hours)], dtype=float)
        self.dx = thickness / self.n
        self.hour = -1
        self.columns = np.arange(61) * 0.5

    def set_hour(self, hour):
        if hour == self.hour:
            return
        self.hour = hour
        t, self.eq = self.air[hour]
        at = (t + 20) / 2.5
        r = int(at)
        self.row = self.table[r] + (at - r) * (self.table[r + 1] - self.table[r])

    def outer(self, mc, d, finish):
        return 1 / (1 / (FILM_M_S * np.exp(FILM_EXP * mc)) + finish + self.dx / (2 * d))

    def rate(self, _t, m):
        """Percent a second of each cell, air of the hour that was set."""
        at = np.concatenate((m[:1], 0.5 * (m[:-1] + m[1:]), m[-1:]))
        d = np.interp(at, self.columns, self.row)
        flux = np.empty(self.n + 1)
        flux[1:-1] = d[1:-1] / self.dx * (m[:-1] - m[1:])
        flux[0] = self.outer(m[0], d[0], self.finish) * (self.eq - m[0])
        flux[-1] = self.outer(m[-1], d[-1], 0.0) * (m[-1] - self.eq)
        return (flux[:-1] - flux[1:]) / self.dx

    def rate_at(self, t, m):
        self.set_hour(min(int(t / 3600), self.hours - 1))
        return self.rate(t, m)


def hourly(p, hours, options):
    m = np.full(p.n, p.start)
    for hour in range(hours):
        p.set_hour(hour)
        m = solve_ivp(p.rate, (0, 3600), m, **options).y[:, -1]
    return m


def whole(p, hours, options):
    m = np.full(p.n, p.start)
    s = solve_ivp(p.rate_at, (0, 3600.0 * hours), m, max_step=3600.0, **options)
    return s.y[:, -1]


def timed(way, p, hours, options):
    start = time.perf_counter()
    m = way(p, hours, options)
    return time.perf_counter() - start, m, way.__name__


def main():
    p = Problem(sys.argv[1])
    hours = int(sys.argv[2]) if len(sys.argv) > 2 else p.hours
    for name, extra, goal in (("default", {}, 25), ("rtol_1e-6", {"rtol": 1e-6}, 200)):
        options = dict(method="LSODA", lband=1, uband=1, **extra)
        took, m, way = min((timed(w, p, hours, options) for w in (hourly, whole)),
                           key=lambda run: run[0])
        ratio = took / hours / (p.ours_s / p.hours)
        print(f"bench moisture_scipy_{name}_{way} {took / hours * 1e3:.3f} ms/hour")
        print(f"bench moisture_scipy_{name}_to_ours {ratio:.0f} ratio goal >= {goal}")
        if hours == p.hours:
            off = np.abs(m - p.ours).max()
            print(f"bench moisture_scipy_{name}_off {off:.5f} %MC goal <= 0.02")
            print("#", " ".join(f"{v:.4f}" for v in m))


main()
