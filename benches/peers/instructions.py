"""Instructions that each piece of work takes for a value, counted by callgrind: no clock, so no noise.

Each piece is done once and then twice, and the difference is what one takes. Run by `make instructions`, which needs
valgrind; see ../README.md.
"""

import argparse
import re
import subprocess
import sys
from pathlib import Path

from run import arrays

WORKS = {
    "numbers": ("range numbers, f64", "values"),
    "numbers f32": ("range numbers, f32", "values"),
    "numbers portable": ("range numbers, f64, portable", "values"),
    "score": ("3 channels, outcome, a row", "column-4"),
    "poisson": ("Poisson limits", "counts"),
    "odds": ("code odds", "counts"),
    "forecast": ("forecasts, 3 channels", "tank-0"),
}


def instructions(binary, folder, works):
    """Instructions of a whole run that does these pieces of work."""
    tool = ["valgrind", "--tool=callgrind", "--callgrind-out-file=/dev/null", binary, folder]
    run = subprocess.run(tool, input="\n".join(works), capture_output=True, text=True)
    counted = re.search(r"Collected\s*:\s*(\d+)", run.stderr)
    if run.returncode or not counted:
        sys.exit(f"callgrind: {run.stderr}")
    return int(counted[1])


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("binary", type=Path, help="the Rust side: cargo build --release -p siltcode-benches --bin ours")
    parser.add_argument("folder", type=Path, help="where the arrays go")
    parser.add_argument("--size", type=int, default=1_000_000, help="values of the range number benches")
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    made = arrays(given.folder, given.size)
    print("| bench | instructions a value |\n|---|---|")
    for work, (bench, array) in WORKS.items():
        # The first time some tables are made.
        twice, once = (instructions(given.binary, given.folder, [work] * times) for times in (3, 2))
        print(f"| {bench} | {(twice - once) / made[array].size:.2f} |", flush=True)


if __name__ == "__main__":
    main()
