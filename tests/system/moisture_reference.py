"""Moisture in columns of wood as one would script it: method of lines, scipy's solve_ivp.

Written apart from core/moisture.c; it shares with it the equations, the cells and the air, not the table of D, the
solver or the steps. Input is what print_moisture prints.
"""
import json
import os
import pathlib
import subprocess

import numpy as np
from scipy.integrate import solve_ivp

HOUR_S = 3600.0
GRID_PCT = np.arange(0, 30.5, 0.5)


def siau(t_degc, mc, gravity):
    """Transverse diffusivity, m2/s: Siau 1984 eqs 1.2, 6.14, 6.15, 6.18, 6.19, 6.22; isotherm of Simpson 1973."""
    t_k, t_f = t_degc + 273.15, 1.8 * t_degc + 32
    bound = 0.07 * np.exp(-(9200 - 70 * mc) / (1.9872 * t_k))
    l1 = 0.839 + 2.02e-5 * t_f - 1.56e-6 * t_f**2
    l2 = 3.56 + 0.00392 * t_f - 4.45e-5 * t_f**2
    power = l2 * l1**mc
    slope = -100 * np.log(l1) * power * np.exp(-power - 0.0219 - 1.64e-5 * t_f)
    in_air, p0 = 0.220 * (t_k / 273) ** 1.75, 8.75e7 * np.exp(-10400 / (1.9872 * t_k))
    vapour = 18 * in_air * p0 * slope * (1 + 0.015 * mc) / (1.54 * 6236 * t_k)
    void = gravity / 1.54
    return 1e-4 * bound * vapour / (void * (bound + vapour * (1 - np.sqrt(1 - void))))


class Column:
    """tabulated: D from a line through Siau's values at each half percent, which is faster."""

    def __init__(self, problem, column, tabulated):
        pieces = column["pieces"]
        self.film, self.film_exp = problem["film_m_s"], problem["film_exp"]
        self.counts = [len(p["mc_pct"]) for p in pieces]
        self.n = sum(self.counts)
        self.gravity = [p["gravity"] for p in pieces]
        self.dx = [p["thickness_m"] / len(p["mc_pct"]) for p in pieces]
        self.finish = pieces[0]["finish_s_m"][0], pieces[-1]["finish_s_m"][1]
        self.glue = column["glue_s_m"]
        self.capacity = np.repeat(np.multiply(self.gravity, self.dx), self.counts)
        self.tabulated = tabulated

    def set_air(self, t_degc, eq):
        self.t_degc, self.eq = t_degc, eq
        if self.tabulated:
            self.rows = [siau(t_degc, GRID_PCT, g) for g in self.gravity]

    def d(self, piece, mc):
        if self.tabulated:
            return np.interp(mc, GRID_PCT, self.rows[piece])
        return siau(self.t_degc, np.clip(mc, 0, 30), self.gravity[piece])

    def outer(self, piece, mc, d, finish):
        film = 1 / (self.film * np.exp(self.film_exp * mc / 100))
        return self.gravity[piece] / (film + finish + self.dx[piece] / (2 * d))

    def rate(self, _t, m):
        """Percent a second of each cell."""
        mean = 0.5 * (m[:-1] + m[1:])
        at = np.concatenate((m[:1], mean, m[-1:]))
        g = np.empty(self.n + 1)
        cut, last = self.counts[0], len(self.counts) - 1
        d = self.d(0, at[: cut + 1])
        g[1:cut] = self.gravity[0] * d[1:cut] / self.dx[0]
        first, glued = d[0], d[cut]
        if last:
            d = self.d(1, at[cut:])
            g[cut + 1 : -1] = self.gravity[1] * d[1:-1] / self.dx[1]
            near, far = (dx / (2 * gr * x) for dx, gr, x in zip(self.dx, self.gravity, (glued, d[0])))
            g[cut] = 1 / (near + self.glue + far)
        g[0] = self.outer(0, m[0], first, self.finish[0])
        g[-1] = self.outer(last, m[-1], d[-1], self.finish[1])
        flux = g * np.concatenate(([self.eq - m[0]], m[:-1] - m[1:], [m[-1] - self.eq]))
        return (flux[:-1] - flux[1:]) / self.capacity

    def hourly(self, start, air, **options):
        """The state after each hour. The air jumps at full hours, so each is an integration of its own."""
        m = np.full(self.n, start)
        for t_degc, eq in air:
            self.set_air(t_degc, eq)
            m = solve_ivp(self.rate, (0, HOUR_S), m, **options).y[:, -1]
            yield m

    def whole(self, start, air, **options):
        """The state in the end. One integration over the jumps, with steps of an hour at most so that no hour is overlooked."""
        hour = -1

        def rate(t, m):
            nonlocal hour
            now = min(int(t / HOUR_S), len(air) - 1)
            if now != hour:
                hour = now
                self.set_air(*air[hour])
            return self.rate(t, m)

        span = 0, HOUR_S * len(air)
        return solve_ivp(rate, span, np.full(self.n, start), max_step=HOUR_S, **options).y[:, -1]


def problem(hours):
    build = pathlib.Path(os.environ.get("B", "build")).resolve()
    program = build / "tests" / "system" / "print_moisture"
    return json.loads(subprocess.run([program, str(hours)], check=True, stdout=subprocess.PIPE).stdout)


def cells(column):
    """What the program under test has at the end, cell by cell."""
    return np.concatenate([p["mc_pct"] for p in column["pieces"]])
