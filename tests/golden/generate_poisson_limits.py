"""Writes poisson_limits.csv: Poisson limits to 25 digits by mpmath, independent of the library's own method.

The tail is the definition, summed: P(a, x) = x^a exp(-x) / Gamma(a + 1) * sum x^n / ((a + 1) ... (a + n)).
Run: python generate_poisson_limits.py > poisson_limits.csv
"""

import sys

from mpmath import exp, gammainc, log, loggamma, mp, mpf
from scipy.special import gammaincinv, gammainccinv

mp.dps = 60
COUNTS = [*range(13), 15, 19, 20, 30, 50, 77, 100, 120, 150, 200, 250, 300, 400, 500, 700, 1_000, 1_500, 2_000,
          5_000, 10_000, 100_000, 1_000_000, 123_456_789, 1_000_000_000]
LEVELS = ["0.8", "0.9", "0.95", "0.99", "0.999"]
EXTREME = ["0.01", "0.5", "0.999999", "0.999999999999"]  # for the smaller counts only
HEAD = """\
# title:     Poisson limits of a raw count
# publisher: computed with mpmath {version}, 60 digits, by generate_poisson_limits.py beside this file
# edition:   limits of the expected count by F. Garwood, Biometrika 28 (1936) 437-442, by mid-P, and by the Gamma(k + 1/2) posterior
# source:    own-arithmetic
# status:    DERIVED (definition summed to 60 digits, printed to 25)
# unit:      count [particles], level [-], low and high [particles]"""


def term(a, x):
    """x^a exp(-x) / Gamma(a + 1)."""
    return exp(a * log(x) - x - loggamma(a + 1))


def lower_tail(a, x):
    """P(a, x)."""
    add = total = mpf(1)
    n = 1
    while add > mpf(10) ** -45 * total:
        add *= x / (a + n)
        total += add
        n += 1
    return term(a, x) * total


def solve(tail, slope, target, x):
    """Newton on the logarithm of the lower tail, from a start near the root."""
    for _ in range(60):
        p = tail(x)
        step = (p - target) / slope(x)
        new = x - step if x > step else x / 2
        if abs(new - x) < mpf(10) ** -30 * x:
            return new
        x = new
    raise ArithmeticError("no convergence")


def start(a, p):
    q = float(p)
    x = gammaincinv(float(a), q) if q < 0.5 else gammainccinv(float(a), float(1 - p))
    return mpf(x) if x > 0 else (p * exp(loggamma(a + 1))) ** (1 / a)


def gamma_quantile(a, p):
    a = mpf(a)
    return solve(lambda x: lower_tail(a, x), lambda x: term(a, x) * a / x, p, start(a, p))


def mid_quantile(k, p):
    """Where (P(k, x) + P(k + 1, x)) / 2 = p."""
    k = mpf(k)
    tail = lambda x: lower_tail(k + 1, x) + term(k, x) / 2
    slope = lambda x: term(k, x) * (k / x + 1) / 2
    return solve(tail, slope, p, start(k, p))


def limits(method, k, low, high):
    if method == "jeffreys":
        return gamma_quantile(k + mpf(1) / 2, low), gamma_quantile(k + mpf(1) / 2, high)
    if method == "garwood":
        return gamma_quantile(k, low) if k else mpf(0), gamma_quantile(k + 1, high)
    return (mid_quantile(k, low), mid_quantile(k, high)) if k else (mpf(0), -log(2 * (1 - high)))


def main():
    assert abs(lower_tail(mpf(7), mpf(5)) - gammainc(7, 0, 5, regularized=True)) < mpf(10) ** -40
    import mpmath
    print(HEAD.format(version=mpmath.__version__))
    print("method,count,level,low,high")
    for method in ["garwood", "mid-p", "jeffreys"]:
        for k in COUNTS:
            for level in LEVELS + (EXTREME if k <= 10_000 else []):
                tail = (1 - mpf(level)) / 2
                low, high = limits(method, k, tail, 1 - tail)
                print(f"{method},{k},{level},{mp.nstr(low, 25)},{mp.nstr(high, 25)}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
