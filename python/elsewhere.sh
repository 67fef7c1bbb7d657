#!/usr/bin/env bash
# The wheel on every Python from 3.11 up that this machine has, and the source archive compiled away from the repository.
# Usage: elsewhere.sh WHEEL SDIST
set -euo pipefail
wheel=$(realpath "$1") sdist=$(realpath "$2")
place=$(mktemp -d)
trap 'rm -rf "$place"' EXIT
cd "$place"

cat > try.py <<'PY'
import pickle, sys
import numpy as np
import siltcode

assert str(siltcode.iso4406(1752, 517, 55)) == "18/16/13"
assert siltcode.range_numbers(np.array([1752.0, np.nan])).tolist() == [18, 255]
scores = siltcode.Batch.of([siltcode.Sample.of({4: 95, 6: 25, 14: 3}, "A", per="raw", volume_ml=0.05)]).score("18/16/13")
assert pickle.loads(pickle.dumps(scores)) == scores and scores.frame["id"] == ["A"]
assert siltcode.passes("22/20/17", "18/16/13", {4: 3, 6: 20, 14: 1000}, "18 m3", "60 L/min").reachable
try:
    siltcode.parse_code("16/18/13")
except siltcode.SiltcodeError as error:
    assert error.code == "code-rises-with-size"
print("siltcode", siltcode.__version__, "on Python", sys.version.split()[0], "with numpy", np.__version__)
PY

# Prints the interpreters from 3.11 up, one for each version.
pythons() {
  local found
  for found in "${PYENV_ROOT:-$HOME/.pyenv}"/versions/*/bin/python3 $(compgen -c python3. | sort -u | grep -E '^python3\.[0-9]+$'); do
    "$found" -c 'import sys; v = sys.version_info; v >= (3, 11) and print(v.minor, sys.executable)' 2>/dev/null || true
  done | sort -u -k1,1n | cut -d' ' -f2-
}

# Installs one file and its dependencies into a new environment and tries it there.
try() {
  "$1" -m venv --clear there
  there/bin/python -m pip install -q --only-binary numpy "${@:2}"
  there/bin/python -W error try.py
}

while read -r python; do try "$python" "$wheel"; done < <(pythons)

echo "from source, away from the repository:"
try python3 "$sdist" --config-settings=build-args="--profile dev"
