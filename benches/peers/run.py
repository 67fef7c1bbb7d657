"""Ours beside peers built from general libraries, in one table: ours, peer, ratio, target, met or not.

Every round runs each side once, so that both meet the same machine, and the medians of all rounds are compared: of
processor time where both sides have one thread, so that other work on the machine counts for neither, and of the clock
where one has more. Both sides must come to the same result. Run by `make bench`; see ../README.md.
"""

import argparse
import os
import resource
import statistics
import subprocess
import sys
import time
from pathlib import Path

os.environ.update({name: "1" for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")})
os.environ["POLARS_MAX_THREADS"] = os.environ.get("PEER_THREADS", "1")
for name in ("OPENBLAS_CORETYPE", "OPENBLAS_L2_SIZE"):
    os.environ.pop(name, None)

import numpy as np
import pandas as pd
import polars as pl
from scipy.integrate import solve_ivp
from scipy.special import gammainc, gammaincinv

ROOT = Path(__file__).resolve().parents[2]
CODE = "18/16/13"
VOLUME_ML = 10.0
# One invented tank in doubt: start, target, filtration ratio and ingress a turnover of each channel, and how far each
# of start, ratio less 1, ingress and mixing may be off (geometric standard deviations).
DOUBTFUL = np.array([[40_000, 2500, 20, 300], [10_000, 640, 75, 60], [1_300, 80, 1000, 5]], dtype=float)
SPREADS = np.array([1.15, 1.5, 1.6, 1.25])
PLANNED = [0.5, 0.8, 0.9, 0.95]
CONFORMS, UNDECIDED, DOES_NOT_CONFORM, IMPOSSIBLE = 0, 1, 2, 255


def bounds():
    """The upper bounds of ISO 4406, from the table the library reads."""
    table = pd.read_csv(ROOT / "reference-tables" / "iso4406.csv", comment="#")
    return table["up_to_per_ml"].dropna().to_numpy()


UPPER = bounds()
LIMITS = UPPER[[int(number) for number in CODE.split("/")]]


class Side:
    """One side of the comparison in a process of its own, kept running, with its arrays in memory."""

    def __init__(self, folder, *command, threads=1):
        self.folder = folder
        # numpy asks for huge pages for its arrays; the Rust side is to have the same
        environment = os.environ | {"PEER_THREADS": str(threads), "GLIBC_TUNABLES": "glibc.malloc.hugetlb=1"}
        self.process = subprocess.Popen(
            [*command, folder], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1, env=environment
        )
        self.path = self.process.stdout.readline().strip()

    def __call__(self, work):
        """Seconds that one piece of work took: by the clock, and of the processors."""
        print(work, file=self.process.stdin, flush=True)
        answer = self.process.stdout.readline()
        if not answer:
            sys.exit(f"{self.path or 'one side'} failed at `{work}`")
        return tuple(float(seconds) for seconds in answer.split())

    def result(self, save, dtype=np.uint8):
        """The last result."""
        self(save)
        return np.fromfile(self.folder / "result", dtype)


def timed(peer):
    """Seconds that a peer took, by the clock and of the processors, and what it came to."""
    start, used = time.perf_counter(), time.process_time()
    result = peer()
    return time.perf_counter() - start, time.process_time() - used, result


class Table:
    """Rows of the comparison, printed as they are measured."""

    def __init__(self, rounds):
        self.rounds = rounds
        self.missed = 0
        print(f"| bench | ours | peer | ours [ms] | peer [ms] | ratio | target | |\n|{'---|' * 8}", flush=True)

    def compare(self, bench, ours, peer, names, target, same=None, threads=1):
        """One row. Both sides give seconds by the clock and of the processors; a peer may add its result.

        Where the two do not do the same work there is no target.
        """
        pairs = []
        for _ in range(self.rounds):
            us, (*them, result) = ours(), (*peer(), None)[:3]
            if same is not None and not same(result):
                sys.exit(f"{bench}: {' and '.join(names)} differ")
            pairs.append((us[threads == 1], them[threads == 1]))
        us, them = (statistics.median(side) for side in zip(*pairs))
        ratio = them / us
        cells = [bench, *names, f"{us * 1e3:.2f}", f"{them * 1e3:.1f}", f"{ratio:.2f}"]
        if target is None:
            self.row(cells, "none: ours does more", None)
        else:
            self.row(cells, f">= {target}", ratio >= target)

    def row(self, cells, target, met):
        """One row; `met` is None where there is no target."""
        self.missed += met is False
        verdict = "" if met is None else "met" if met else "**missed**"
        print("| " + " | ".join([*cells, target, verdict]) + " |", flush=True)


def arrays(folder, size):
    """Invented counts, log-uniform over the scale, the same each time."""
    random = np.random.default_rng(4406)
    values = 10.0 ** random.uniform(-3, 7, size)
    fine = 10.0 ** random.uniform(1, 5, size // 4)
    middle = fine * random.uniform(0.1, 0.6, fine.size)
    coarse = middle * random.uniform(0.02, 0.3, fine.size)
    counts = np.floor(10.0 ** random.uniform(0, 5, 1_000_000))
    made = {"values": values, "column-4": fine, "column-6": middle, "column-14": coarse, "counts": counts}
    made |= {f"tank-{i}": column for i, column in enumerate(column for channel in tanks(random) for column in channel)}
    made["doubtful"] = np.concatenate([DOUBTFUL.ravel(), SPREADS])
    for name, array in made.items():
        array.tofile(folder / name)
    (folder / "code").write_text(CODE)
    return made


def tanks(random, scenarios=1_000_000):
    """Start, target, filtration ratio and ingress a turnover of three channels of invented tanks."""
    for cleanest in (1000.0, 300.0, 40.0):
        target = cleanest * 10.0 ** random.uniform(0, 1, scenarios)
        start = target * 10.0 ** random.uniform(0.5, 2.5, scenarios)
        yield start, target, 1.0 + 10.0 ** random.uniform(0, 3, scenarios), target * random.uniform(0, 0.9, scenarios)


def numbers(per_ml):
    return np.searchsorted(UPPER, per_ml).astype(np.uint8)


def outcomes(columns):
    """Range numbers of three columns and the outcome of each row, the plain way."""
    numbers_of = [numbers(column) for column in columns]
    over = np.zeros(columns[0].size, dtype=bool)
    missing = np.zeros(columns[0].size, dtype=bool)
    for column, limit in zip(columns, LIMITS):
        over |= column > limit
        missing |= np.isnan(column)
    rises = (columns[1] > columns[0]) | (columns[2] > columns[1]) | (columns[2] > columns[0])
    refused = rises | (columns[0] < 0) | (columns[1] < 0) | (columns[2] < 0)
    outcome = np.where(over, DOES_NOT_CONFORM, np.where(missing, UNDECIDED, CONFORMS))
    return numbers_of, np.where(refused, IMPOSSIBLE, outcome).astype(np.uint8)


def bench_numbers(table, ours, values):
    ours("numbers")
    expected = ours.result("save")
    peer = lambda: timed(lambda: numbers(values))
    cut_edges = np.concatenate([[-np.inf], UPPER, [np.inf]])
    series = pl.Series(values)
    breaks = UPPER.tolist()
    labels = [str(number) for number in range(UPPER.size + 1)]
    cut = lambda: timed(lambda: pd.cut(values, cut_edges, labels=False))
    polars_cut = lambda: timed(lambda: series.cut(breaks, labels=labels).to_physical())
    same = lambda result: np.array_equal(np.asarray(result), expected)
    size = f"{values.size / 1e6:.0f}e6 f64"
    rows = [
        ("numbers", "1 thread", peer, "numpy searchsorted, uint8", 40),
        ("numbers portable", "portable, 1 thread", peer, "numpy searchsorted, uint8", 20),
        ("numbers", "1 thread", cut, "pandas.cut", 40),
        ("numbers", "1 thread", polars_cut, "polars cut", 40),
    ]
    for work, how, other, name, target in rows:
        how = how if "portable" in how else f"{ours.path}, {how}"
        table.compare(f"range numbers, {size}", lambda w=work: ours(w), other, (how, name), target, same)
    table.compare(
        f"range numbers, {size}",
        lambda: ours("numbers 2 threads"),
        lambda: ours("sum 2 threads"),
        ("2 threads", "summing the array, 2 threads"),
        0.8,
        threads=2,
    )
    table.compare(
        "range numbers, f32 beside f64",
        lambda: ours("numbers f32"),
        lambda: ours("numbers"),
        ("f32", "f64"),
        1.5,
    )


def bench_score(table, ours, columns):
    ours("score")
    expected = ours.result("save score")
    for threads, work, how in [(1, "score", "1 thread"), (2, "score 2 threads", "2 threads")]:
        table.compare(
            f"3 channels, outcome, {columns[0].size / 1e6:.1f}e6 rows",
            lambda w=work: ours(w),
            lambda: timed(lambda: outcomes(columns)),
            (how, "numpy"),
            25,
            lambda result: np.array_equal(result[1], expected),
            threads,
        )


def bench_certainty(table, ours, counts):
    limits = lambda: timed(lambda: (gammaincinv(counts, 0.025), gammaincinv(counts + 1, 0.975)))
    table.compare("Poisson limits, 1e6 counts", lambda: ours("poisson"), limits, ("1 thread", "scipy gammaincinv"), 50)
    # The peer's odds of all 30 numbers would fill 240 MB: it works through blocks.
    bars = UPPER * VOLUME_ML

    def odds():
        for block in np.array_split(counts, counts.size // 1000):
            below = gammainc(block[:, None] + 0.5, bars)
            odds = np.diff(below, axis=1, prepend=0.0, append=1.0)
        return odds

    ours("odds")
    expected = ours.result("save odds", float).reshape(-1, UPPER.size + 1)
    table.compare(
        "code odds, 1e6 samples",
        lambda: ours("odds"),
        lambda: timed(odds),
        ("1 thread, each count once", "scipy gammainc, every sample"),
        50,
        # Both sides keep their last block; ours leaves out what is less likely.
        lambda result: np.allclose(result[-len(expected) :], expected, rtol=0, atol=1e-6),
    )
    # The peer spared the same work: each distinct count once.
    distinct = lambda: timed(lambda: gammainc(np.unique(counts)[:, None] + 0.5, bars))
    table.compare(
        "code odds, 1e6 samples",
        lambda: ours("odds"),
        distinct,
        ("1 thread, each count once", "scipy gammainc, each count once"),
        1,
    )


def closed_form(channels):
    """Turnovers of the slowest channel of each tank, by the formula ours uses."""
    slowest = np.zeros(channels[0][0].size)
    with np.errstate(divide="ignore", invalid="ignore"):
        for start, target, beta, ingress in channels:
            efficiency = 1.0 - 1.0 / beta
            floor = ingress / efficiency
            falling = np.log((start - floor) / (target - floor)) / efficiency
            reached = np.where(floor < target, falling, np.inf)
            slowest = np.maximum(slowest, np.where(start <= target, 0.0, reached))
    return slowest


def integrated(channels, tank):
    """The same of one tank by steps in time, until every channel is clean."""
    start, target, beta, ingress = (np.array([channel[k][tank] for channel in channels]) for k in range(4))
    efficiency = 1.0 - 1.0 / beta
    met = lambda _, n: np.max(n / target) - 1.0
    met.terminal = True
    run = solve_ivp(lambda _, n: ingress - efficiency * n, (0.0, 200.0), start, events=met)
    return run.t_events[0][0] if run.t_events[0].size else np.inf


def bench_forecast(table, ours, columns):
    channels = [columns[i : i + 4] for i in range(0, 12, 4)]
    scenarios, stepped = channels[0][0].size, 100
    ours("forecast")
    expected = ours.result("save forecast", float)
    table.compare(
        "forecasts, 1e6 tanks, 3 channels",
        lambda: ours("forecast"),
        lambda: timed(lambda: closed_form(channels)),
        ("1 thread", "numpy, same formula"),
        5,
        lambda result: np.allclose(result, expected, rtol=1e-10, atol=0),
    )
    table.compare(
        f"forecasts, {stepped} tanks, 3 channels",
        lambda: tuple(seconds * stepped / scenarios for seconds in ours("forecast")),
        lambda: timed(lambda: [integrated(channels, tank) for tank in range(stepped)]),
        ("1 thread, of 1e6 tanks", "scipy solve_ivp"),
        20_000,
        lambda result: np.allclose(result, expected[:stepped], rtol=0.02, atol=0),  # its steps are no closer
    )


def drawn(random, draws=1_000_000):
    """The turnovers to plan with of the tank in doubt, by drawing everything that is not known of it."""
    start, beta, ingress, mixing = (spread ** random.standard_normal(draws) for spread in SPREADS)
    channels = [(n * start, target, 1.0 + (ratio - 1.0) * beta, entering * ingress) for n, target, ratio, entering in DOUBTFUL]
    return np.quantile(closed_form(channels) * mixing, PLANNED)


def bench_doubt(table, ours):
    ours("doubt")
    expected = ours.result("save doubt", float)
    random = np.random.default_rng(11171)
    table.compare(
        "turnovers to plan with, 3 channels, 4 causes of doubt",
        lambda: ours("doubt"),
        lambda: timed(lambda: drawn(random)),
        ("1 thread, by quadrature", "numpy, 1e6 drawn tanks"),
        20,
        lambda result: np.allclose(result, expected, rtol=5e-3, atol=0),  # what the draws leave open
    )


HEADING = "bottle,time,>=4 um(c) /mL,>=6 um(c) /mL,>=14 um(c) /mL\n"
WORDS = np.array(["conforms", "undecided", "does not conform"])


def write_text(path, rows):
    """A file of invented bottles: names, times, counts with two decimals."""
    random = np.random.default_rng(11171)
    with path.open("w") as out:
        out.write(HEADING)
        for start in range(0, rows, 100_000):
            at = np.arange(start, min(rows, start + 100_000))
            fine = 10.0 ** random.uniform(1, 5, at.size)
            middle = fine * random.uniform(0.1, 0.6, at.size)
            coarse = middle * random.uniform(0.02, 0.3, at.size)
            times = np.datetime_as_string(np.datetime64("2026-03-01T00:00:00") + at)
            lines = zip(at, times, fine, middle, coarse)
            out.writelines(f"S{i:08d},{time},{a:.2f},{b:.2f},{c:.2f}\n" for i, time, a, b, c in lines)


def most_memory(process):
    """The most memory a running process took so far [MB]; 0 once it has ended."""
    try:
        status = Path(f"/proc/{process.pid}/status").read_text()
    except OSError:
        return 0.0
    return next((int(line.split()[1]) * 1024 / 1e6 for line in status.splitlines() if line.startswith("VmHWM")), 0.0)


def command(binary, *arguments, out=os.devnull):
    """Seconds that the command took, by the clock and of the processor, and the most memory it took [MB]."""
    used, start, memory = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter(), 0.0
    with open(out, "wb") as file:
        process = subprocess.Popen([binary, *arguments], stdout=file, stderr=subprocess.DEVNULL)
        while process.poll() is None:
            memory = max(memory, most_memory(process))
            time.sleep(0.002)
    if process.returncode not in (0, 1):
        sys.exit(f"{binary.name} ended with status {process.returncode}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    seconds = after.ru_utime + after.ru_stime - used.ru_utime - used.ru_stime
    return time.perf_counter() - start, seconds, memory


def outcomes_of(frame):
    """Range numbers and outcomes of the columns of counts of a frame."""
    return outcomes([np.ascontiguousarray(frame[name]) for name in HEADING.strip().split(",")[2:]])


def columns_by(read):
    """The frame that a reader makes of a text, with its numbers and outcomes."""
    frame = read()
    return frame, outcomes_of(frame)


def scored_frame(frame):
    """Code and outcome put beside a frame's own columns."""
    numbers_of, outcome = outcomes_of(frame)
    texts = [number.astype(str) for number in numbers_of]
    code = np.char.add(np.char.add(np.char.add(np.char.add(texts[0], "/"), texts[1]), "/"), texts[2])
    return numbers_of, code, WORDS[outcome]


def with_pandas(source, target):
    frame = pd.read_csv(source, engine="c")
    (frame["n4"], frame["n6"], frame["n14"]), frame["code"], frame["outcome"] = scored_frame(frame)
    frame.to_csv(target, index=False)


def with_polars(source, target):
    frame = pl.read_csv(source)
    numbers_of, code, outcome = scored_frame(frame)
    columns = dict(zip(("n4", "n6", "n14"), numbers_of)) | {"code": code, "outcome": outcome}
    frame.with_columns(pl.Series(name, column) for name, column in columns.items()).write_csv(target)


def same_columns(folder, result):
    """Whether a peer's names, times, counts, numbers and outcomes are those that ours saved."""
    frame, (numbers_of, outcome) = result
    names = HEADING.strip().split(",")
    counts = np.fromfile(folder / "result-counts").reshape(3, -1)
    # Not every parser gives the nearest double.
    near = all(np.allclose(frame[name], count, rtol=1e-15, atol=0) for name, count in zip(names[2:], counts))
    texts = "".join(frame[names[0]]) + "".join(frame[names[1]]) == (folder / "result-texts").read_text()
    scores = np.concatenate([*numbers_of, outcome])
    return near and texts and np.array_equal(scores, np.fromfile(folder / "result", dtype=np.uint8))


def serve(folder):
    """A side that reads texts by polars: answers each line with the seconds it took."""
    print("polars", flush=True)
    for _ in sys.stdin:
        clock, used, result = timed(lambda: columns_by(lambda: pl.read_csv(folder / "bottles.csv")))
        if not same_columns(folder, result):
            sys.exit("polars came to something else")
        print(clock, used, flush=True)


def bench_columns(table, ours, folder, rows):
    source = folder / "bottles.csv"
    write_text(source, rows)
    ours("text")
    ours("save text")
    bench = f"text to columns and scores, {rows / 1e6:.1f}e6 rows"
    same = lambda result: same_columns(folder, result)
    by_pandas = lambda: timed(lambda: columns_by(lambda: pd.read_csv(source, engine="c")))
    by_polars = lambda: timed(lambda: columns_by(lambda: pl.read_csv(source)))
    two_polars = Side(folder, sys.executable, __file__, "--serve", threads=2)
    one, two = lambda: ours("text"), lambda: ours("text 2 threads")
    table.compare(bench, one, by_pandas, ("1 thread", "pandas C engine + numpy"), 2, same)
    table.compare(bench, two, by_pandas, ("2 threads", "pandas C engine + numpy"), 3, same, threads=2)
    table.compare(bench, one, by_polars, ("1 thread", "polars + numpy, 1 thread"), 1.5, same)
    table.compare(bench, two, lambda: two_polars("text"), ("2 threads", "polars, 2 threads, + numpy"), 1.5, threads=2)
    expected = (folder / "result").read_bytes()
    ours("save text")
    if (folder / "result").read_bytes() != expected:
        sys.exit("text to columns: two threads and one differ")


def bench_text(table, binary, folder, rows):
    source, ours_out, peer_out = folder / "bottles.csv", folder / "ours.csv", folder / "peer.csv"
    write_text(source, rows)
    ours = lambda: command(binary, "score", source, "--spec", CODE, "--format", "csv", out=ours_out)[:2]
    for peer, name in [(with_pandas, "pandas C engine + numpy"), (with_polars, "polars + numpy")]:
        table.compare(
            f"text to text, {rows / 1e6:.1f}e6 rows",
            ours,
            lambda peer=peer: timed(lambda: peer(source, peer_out)),
            ("the command, 1 thread", name),
            None,
        )
        mine, theirs = pd.read_csv(ours_out, dtype=str), pd.read_csv(peer_out, dtype=str)
        same = mine["iso4406"].eq(theirs["code"]).all() and mine["outcome"].eq(theirs["outcome"]).all()
        if not same:
            sys.exit(f"text to text: the command and {name} differ")
    source.unlink()


def bench_command(table, binary, folder, large):
    starts = [command(binary, "specs", "--format", "json")[1] for _ in range(50)]
    start = statistics.fmean(starts) * 1e3
    table.row(["start of the command", "", "", f"{start:.2f}", "", ""], "< 5 ms", start < 5)
    sizes = {rows: folder / f"bottles-{rows}.csv" for rows in (100_000, 1_000_000, large)}
    for rows, source in sizes.items():
        write_text(source, rows)
    arguments = lambda source: ("score", source, "--spec", CODE, "--format", "csv")
    # Round by round, so that all sizes meet the same machine; the largest takes minutes and is read once.
    rounds = {rows: table.rounds if rows <= 1_000_000 else 1 for rows in sizes}
    runs = {rows: [] for rows in sizes}
    for i in range(table.rounds):
        for rows, source in sizes.items():
            if i < rounds[rows]:
                runs[rows].append(command(binary, *arguments(source)))
    first = None
    for rows, source in sizes.items():
        rate = rows / statistics.median(seconds for _, seconds, _ in runs[rows])
        memory = max(memory for *_, memory in runs[rows])
        first = first or rate
        name = f"score, {rows:.0e} rows, {source.stat().st_size / 1e6:.0f} MB"
        met = memory < 200 and rate > 0.8 * first
        table.row([name, f"{rate:.0f} rows/s", "", "", f"{memory:.0f} MB", ""], "< 200 MB, rows/s flat", met)
        source.unlink()


def main():
    if sys.argv[1:2] == ["--serve"]:
        return serve(Path(sys.argv[2]))
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("binary", type=Path, help="the Rust side: cargo build --release -p siltcode-benches --bin ours")
    parser.add_argument("command", type=Path, help="the command: cargo build --release -p siltcode-cli")
    parser.add_argument("folder", type=Path, help="where the arrays go")
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--size", type=int, default=10_000_000, help="values of the range number benches")
    parser.add_argument("--rows", type=int, default=1_000_000, help="rows of the text benches")
    parser.add_argument("--only", choices=["arrays", "text"], help="the benches of arrays, or those of text")
    parser.add_argument("--large", type=int, default=10_000_000, help="rows of the largest text")
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    made = arrays(given.folder, given.size)
    ours = Side(given.folder, given.binary)
    table = Table(given.rounds)
    if given.only != "text":
        bench_numbers(table, ours, made["values"])
        bench_score(table, ours, [made["column-4"], made["column-6"], made["column-14"]])
        bench_certainty(table, ours, made["counts"])
        bench_forecast(table, ours, [made[f"tank-{i}"] for i in range(12)])
        bench_doubt(table, ours)
    if given.only != "arrays":
        bench_columns(table, ours, given.folder, given.rows)
        bench_text(table, given.command, given.folder, given.rows)
        bench_command(table, given.command, given.folder, given.large)
    print(f"\n{table.missed} targets missed")


if __name__ == "__main__":
    main()
