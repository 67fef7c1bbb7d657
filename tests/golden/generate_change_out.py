"""Writes change_out.csv: where a pressure is reached over all loading laws, by SciPy, independent of the library's method.

Each curve is the integral of dR/dv = K R^n from the first reading on, with the parameters ln p0, K and n; the library
describes a curve by two of its points. Minima are searched by Nelder and Mead from many starts, ends by Brent.
Run: python generate_change_out.py > change_out.csv
"""

import json
import sys

import numpy as np
import scipy
from scipy.optimize import brentq, minimize, minimize_scalar
from scipy.stats import t as student

HEAD = """\
# title:     Where the pressure of an element reaches the terminal one, over all loading laws dR/dv = K R^n, 0 <= n <= 2
# publisher: computed with SciPy {version} by generate_change_out.py beside this file
# edition:   profile of the sum of squares of ln p, threshold t(N - 3)^2 s^2; the single reading as a further observation
# source:    own-arithmetic
# status:    DERIVED (inputs drawn at random with fixed seeds, and L07 of loading.csv; not data about a real element)
# unit:      readings [place g, pressure kPa] as JSON, terminal_kpa [kPa], level [-], exponent [-], places [g]"""

TERMINAL = 8.0


def log_pressure(x, log0, k, n):
    """ln p along x; infinite where the law has ended."""
    power = 1.0 - n
    if abs(power) < 1e-9:
        return log0 + k * x
    grown = 1.0 + power * k * x
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(grown > 0.0, log0 + np.log(np.maximum(grown, 1e-300)) / power, np.inf)


def place_of(log, log0, k, n):
    """Where a curve has this pressure."""
    power = 1.0 - n
    return (log - log0) / k if abs(power) < 1e-9 else np.expm1(power * (log - log0)) / (power * k)


def squares(x, y, log0, k, n):
    found = np.sum((y - log_pressure(x, log0, k, n)) ** 2)
    return found if np.isfinite(found) else 1e6


def least(objective, starts):
    """The least value of an objective of one variable and n, by n in an outer search."""
    def inner(n):
        best = None
        for start in starts:
            found = minimize(lambda q: objective(q, n), start, method="Nelder-Mead",
                             options={"xatol": 1e-12, "fatol": 1e-16, "maxiter": 4000, "maxfev": 4000})
            best = found if best is None or found.fun < best.fun else best
        return best

    grid = np.linspace(0.0, 2.0, 9)
    values = [inner(n).fun for n in grid]
    at = int(np.argmin(values))
    low, high = grid[max(at - 1, 0)], grid[min(at + 1, 8)]
    found = minimize_scalar(lambda n: inner(n).fun, bounds=(low, high), method="bounded", options={"xatol": 1e-9})
    return min([(inner(n).fun, n, inner(n).x) for n in (found.x, 0.0, 2.0)], key=lambda each: each[0])


def fit(x, y):
    rise = (y[-1] - y[0]) / (x[-1] - x[0])
    return least(lambda q, n: squares(x, y, q[0], q[1], n), [[y[0], rise], [y[0], 0.3 * rise]])


def profile(x, y, place, terminal):
    """The least squares of a curve with the terminal pressure at a place: ln p0 is free, K follows."""
    def objective(q, n):
        power = 1.0 - n
        k = (terminal - q[0]) / place if abs(power) < 1e-9 else np.expm1(power * (terminal - q[0])) / (power * place)
        return squares(x, y, q[0], k, n)

    return least(objective, [[y[0]], [y[0] - 0.1]])[0]


def further(x, y, place, terminal):
    return fit(np.append(x, place), np.append(y, terminal))[0]


def ends(over, at):
    high = 1.02 * at
    while over(high) < 0.0:
        high *= 1.1
    low = 0.98 * at
    while over(low) < 0.0:
        low *= 0.95
    return brentq(over, low, at, xtol=1e-8, rtol=1e-9), brentq(over, at, high, xtol=1e-8, rtol=1e-9)


def row(name, x, p, terminal, level=0.95):
    y, log = np.log(p), np.log(terminal)
    sum_, n, (log0, k) = fit(x, y)
    dof = len(x) - 3
    most = sum_ * (1.0 + student.ppf(0.5 + level / 2, dof) ** 2 / dof)
    at = place_of(log, log0, k, n)
    mean = ends(lambda place: profile(x, y, place, log) - most, at)
    single = ends(lambda place: further(x, y, place, log) - most, at)
    readings = json.dumps([[round(float(a), 6), round(float(b), 6)] for a, b in zip(x, p)])
    values = ",".join(f"{value:.10g}" for value in (terminal, level, n, at, *mean, *single))
    return f'{name},"{readings}",{values}'


def main():
    print(HEAD.format(version=scipy.__version__))
    print("id,readings,terminal_kpa,level,exponent,at,mean_low,mean_high,single_low,single_high")
    bar = np.array([0.30, 0.36, 0.47, 0.58, 0.76, 0.95, 1.22])
    print(row("L07", np.arange(0.0, 14.0, 2.0), 100 * bar, 220.0))
    for seed, (n, noise, share, count) in enumerate([(0.0, 0.03, 0.7, 8), (0.5, 0.02, 0.8, 9), (1.0, 0.02, 0.7, 8),
                                                     (1.5, 0.01, 0.8, 10), (2.0, 0.02, 0.9, 12), (2.0, 0.01, 0.7, 8)]):
        generator = np.random.default_rng(seed)
        power = 1.0 - n
        k = np.log(TERMINAL) if power == 0 else (TERMINAL**power - 1.0) / power
        v = np.linspace(0.0, share, count)
        ratio = np.exp(log_pressure(v, 0.0, k, n) + noise * generator.standard_normal(count))
        x, p = np.round(100.0 * v, 6), np.round(30.0 * ratio, 6)
        print(row(f"n{n:g}-{seed}", x, p, 30.0 * TERMINAL, 0.9 if seed == 1 else 0.95))


if __name__ == "__main__":
    sys.exit(main())
