"""Throughput of scipy.special.gammaincinv for both Garwood limits of 1e6 counts, as benches/poisson.rs draws them."""

import time

import numpy as np
from scipy.special import gammaincinv

for name, decades in [("1 to 1e5", 5), ("1 to 1e9", 9)]:
    at = np.modf(np.arange(1_000_000) * (1 + 5**0.5) / 2)[0]
    counts = np.floor(10.0 ** (at * decades))
    times = []
    for _ in range(5):
        begin = time.perf_counter()
        gammaincinv(counts, 0.025)
        gammaincinv(counts + 1, 0.975)
        times.append(time.perf_counter() - begin)
    best = min(times)
    print(f"gammaincinv, both limits, counts {name}: {best * 1e3:.0f} ms, {1e6 / best:.3g} counts/s")
