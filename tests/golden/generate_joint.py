"""Writes joint.csv: the probability that nested counts keep their limits, with factors of Student's distribution.

By another way than the library's. Given the common variable, the concentrations are the times at which one Poisson process
reaches `k + 1` events; so the process is followed over whole events from limit to limit, its probabilities summed. What
remains is the mean over the common variable, by Gauss-Legendre panels so fine that halving them changes nothing.

    python generate_joint.py > joint.csv        (numpy and scipy)
"""

import numpy as np
from scipy import signal, stats

from rows import row

HEADER = """\
# title: probability that nested counts keep their limits together, with random factors on their concentrations
# standard: none: Poisson process followed over whole events from limit to limit, averaged over the common variable by fine panels (generate_joint.py)
# status: per row
# unit: raw: particles at and above each size, smallest size first; limit: particles expected at each limit; log_sd: scale of the logarithm of each factor; degrees: of freedom of each, "inf" for a lognormal factor; p: probability that all limits are kept; each: of each by itself
# note: the largest bin has the posterior Gamma(k + 1), every other Gamma(k), so that each size by itself has Gamma(k + 1); all factors are driven by one common variable
id,inputs,expected,tolerance,status,source
"""


def given(limits, shapes):
    """The probability that the process has at least `shape` events at each limit, largest size first."""
    limits = np.minimum.accumulate(limits)[::-1]
    shapes = shapes[::-1]
    probabilities, first, at = np.array([1.0]), 0, 0.0
    for limit, shape in zip(limits, shapes):
        mean = limit - at
        reach = 9.5 * np.sqrt(mean) + 40.0
        low, high = max(0, int(mean - reach)), int(mean + reach)
        steps = stats.poisson.pmf(np.arange(low, high + 1), mean) if mean > 0 else np.array([1.0])
        low = low if mean > 0 else 0
        if len(probabilities) * len(steps) < 200_000:
            probabilities = np.convolve(probabilities, steps)
        else:
            probabilities = np.maximum(signal.fftconvolve(probabilities, steps), 0.0)
        first, at = first + low, limit
        cut = int(shape) - first
        if cut > 0:
            probabilities, first = probabilities[cut:], int(shape)
        if len(probabilities) == 0:
            return 0.0
    return min(1.0, probabilities.sum())


def joint(raw, limit, log_sd, degrees, panels):
    raw, limit, log_sd = map(np.asarray, (raw, limit, log_sd))
    shapes = raw + 1.0
    laws = [stats.norm if d == np.inf else stats.t(d) for d in degrees]
    heaviest = laws[int(np.argmin(degrees))]
    spread = 7.5 / np.sqrt(shapes) + 30.0 / shapes
    marks = []
    for i, law in enumerate(laws):
        ends = (np.log(limit[i] / shapes[i]) + spread[i] * np.linspace(-1, 1, panels)) / log_sd[i]
        marks.extend(between(law, heaviest, t) for t in ends)
    marks = sorted(set(marks))
    extra = [m for m in np.sinh(np.linspace(-20, 20, 4 * panels)) if marks[0] < m < marks[-1]]
    marks = np.array(sorted(marks + extra))
    nodes, weights = np.polynomial.legendre.leggauss(10)
    total = heaviest.cdf(marks[0])
    for low, high in zip(marks[:-1], marks[1:]):
        if high - low < 1e-300:
            continue
        t = (low + high) / 2 + (high - low) / 2 * nodes
        density = heaviest.pdf(t) * weights * (high - low) / 2
        if density.sum() < 1e-13:
            continue
        for ti, d in zip(t, density):
            moved = np.array([m * np.exp(-s * between(heaviest, law, ti)) for m, s, law in zip(limit, log_sd, laws)])
            within = stats.gamma.cdf(moved, shapes)
            if within.min() < 1e-15:
                continue
            total += d * (1.0 if within.min() > 1 - 1e-15 else given(moved, shapes))
    return total


def between(one, other, t):
    if one is other or (getattr(one, "args", 0) == getattr(other, "args", 0)):
        return t
    return other.isf(one.sf(t)) if t > 0 else other.ppf(one.cdf(t))


def single(raw, limit, log_sd, d):
    """One size by itself: the mean of its gamma distribution over its own factor."""
    return joint([raw], [limit], [log_sd], [d], 60)


def cases():
    draw = np.random.default_rng(20261128)
    inf = np.inf
    for degrees in ([1, 1, 1], [2, 2, 2], [20, 20, 20], [inf, inf, inf], [8.4, 13.2, 20], [4.6, 3.1, 2.2]):
        for mean in (3, 40, 900, 20_000):
            raw = np.sort(np.maximum(draw.poisson(mean * np.array([1, 0.3, 0.02])), 0))[::-1]
            log_sd = np.round(draw.uniform(0.004, 0.05, 3) + draw.uniform(0, 1) / np.sqrt(raw + 1.0), 5)
            sd = np.sqrt(1 / (raw + 1.0) + log_sd**2)
            limit = np.round((raw + 1) * np.exp(sd * draw.uniform(-0.3, 2.2, 3)), 4)
            yield raw, limit, log_sd, degrees
    yield np.array([210_000, 61_000, 3_900]), np.array([2.16e5, 6.25e4, 4.0e3]), np.array([0.012, 0.012, 0.014]), [20, 20, 18]
    yield np.array([400, 400, 60]), np.array([440.0, 430.0, 75.0]), np.array([0.02, 0.02, 0.05]), [2, 2, 2]
    yield np.array([120, 55, 21, 8, 2]), np.array([140.0, 66.0, 28.0, 13.0, 5.0]), np.array([0.05] * 5), [6] * 5
    yield np.array([6, 3, 0]), np.array([11.2, 6.9, 2.9]), np.array([0.05, 0.06, 0.29]), [10, 10, 10]
    yield np.array([3, 2, 0]), np.array([5.4, 4.4, 2.2]), np.array([0.058, 0.057, 0.26]), [4, 4, 4]
    yield np.array([0, 0, 0]), np.array([3.2, 3.1, 3.0]), np.array([0.05, 0.05, 0.05]), [4, 4, 4]


def main():
    print(HEADER, end="")
    for i, (raw, limit, log_sd, degrees) in enumerate(cases()):
        p, finer = (joint(raw, limit, log_sd, degrees, n) for n in (30, 45))
        assert abs(p - finer) < 1e-8, (i, p, finer)
        each = [single(*size) for size in zip(raw, limit, log_sd, degrees)]
        write = lambda values: [None if v is None else ("inf" if v == np.inf else float(v)) for v in values]
        inputs = {"raw": [int(k) for k in raw], "limit": write(limit), "log_sd": write(log_sd), "degrees": write(degrees)}
        expected = {"p": round(finer, 10), "each": [round(p, 10) for p in each]}
        print(row(f"J{i + 1:02}", inputs, expected, "abs 1e-7"), flush=True)


if __name__ == "__main__":
    main()
