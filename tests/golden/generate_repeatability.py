"""Writes repeatability.csv: how much runs vary, by SciPy's root finder and, for lone bottles, by statsmodels.

A lone bottle of runs of one volume is the model of a meta-analysis: the runs over their mean are effects of variance
`1 / mean`, and Paule and Mandel's variance between effects is that between runs.

    python generate_repeatability.py > repeatability.csv        (numpy, scipy and statsmodels)
"""

import numpy as np
from scipy.optimize import brentq
from statsmodels.stats.meta_analysis import combine_effects

from rows import row

HEADER = """\
# title: variation between runs of a batch, after Paule and Mandel, with its effective number of degrees of freedom
# standard: none: the estimating equation solved by SciPy's brentq and, for lone bottles, by statsmodels' combine_effects (generate_repeatability.py)
# status: per row
# unit: runs: particles counted in each run of each bottle; volumes_ml: volume of each run [mL]; results, variances, sd: of other measurements, any unit; cv: coefficient of variation between runs [-]; effective_number: degrees of freedom [-]; bottles: bottles it rests on
# note: where counting alone leaves the variation open, a floor stands for it: 0.7 max(1, sum X / sum d) / (sqrt(nu0) sqrt(sum d mean^2 / sum d)), at most 0.15^2
id,inputs,expected,tolerance,status,source
"""


def pooled(bottles, volumes):
    x, d, mu = [], [], []
    for runs, ml in zip(bottles, volumes):
        runs, ml = np.array(runs, float), np.array(ml, float)
        share = ml / ml.sum()
        expected = runs.sum() * share
        x.append(((runs - expected) ** 2 / expected).sum())
        d.append(len(runs) - 1)
        mu.append(runs.sum() * (1 - (share**2).sum()) / (len(runs) - 1))
    x, d, mu = map(np.array, (x, d, mu))
    excess = lambda tau2: (x / (1 + tau2 * mu)).sum() - d.sum()
    tau2 = brentq(excess, 0, 100, xtol=1e-18, rtol=1e-14) if excess(0) > 0 else 0.0
    number = lambda q: (d * q).sum() ** 2 / (d * q**2).sum()
    weight = lambda tau2: (mu / (1 + tau2 * mu)) ** 2
    floor = 0.7 * max(1, x.sum() / d.sum()) / np.sqrt(number(weight(0))) / np.sqrt((d * mu**2).sum() / d.sum())
    return tau2, max(tau2, min(floor, 0.15**2)), min(20.0, number(weight(tau2)))


CASES = [
    [[20_310, 19_480, 20_760]],
    [[1012, 1187, 948, 1430, 1101]],
    [[3050, 2890]],
    [[20_310, 19_480, 20_760], [30_120, 31_540, 30_230]],
    [[905, 941, 918], [412, 398, 431], [1510, 1462, 1533]],
    [[5, 9], [14, 11, 12], [7, 3, 6, 8]],
    [[20_000 + 97 * i, 20_500 - 61 * i, 19_800 + 150 * (i % 5)] for i in range(12)],
]


# Nine results with their variances, and the standard deviation between them that R. Kacker prints (Metrologia 41 (2004) 135).
PUBLISHED = [61.00, 61.40, 62.21, 62.30, 62.34, 62.60, 62.70, 62.84, 65.90]
VARIANCES = [0.2025, 1.2100, 0.0900, 0.2025, 0.3844, 0.5625, 0.0676, 0.0225, 1.8225]
PRINTED = 0.8399


def published(name):
    tau2 = combine_effects(np.array(PUBLISHED), np.array(VARIANCES), method_re="pm", atol=1e-10, maxiter=500).tau2
    assert abs(np.sqrt(tau2) - PRINTED) < 6e-5, tau2
    inputs, expected = {"results": PUBLISHED, "variances": VARIANCES}, {"sd": PRINTED}
    print(row(name, inputs, expected, "abs 6e-5", "READ", "kacker-2004"))


def main():
    for i, bottles in enumerate(CASES):
        volumes = [[10.0] * len(runs) for runs in bottles]
        if i == 4:
            volumes = [[10.0, 10.0, 9.5], [5.0, 5.0, 5.0], [10.0, 9.8, 10.0]]
        tau2, variance, degrees = pooled(bottles, volumes)
        if len(bottles) == 1:
            runs = np.array(bottles[0], float)
            mean = runs.mean()
            other = combine_effects(runs / mean, np.full(len(runs), 1 / mean), method_re="pm", atol=1e-12, maxiter=500).tau2
            assert abs(other - tau2) < 1e-9 * max(tau2, 1e-6), (other, tau2)
        inputs = {"runs": bottles, "volumes_ml": volumes}
        expected = {"cv": float(np.sqrt(variance)), "effective_number": float(degrees), "bottles": len(bottles)}
        print(row(f"R{i + 1:02}", inputs, expected, "rel 1e-9"))
    published(f"R{len(CASES) + 1:02}")


if __name__ == "__main__":
    print(HEADER, end="")
    main()
