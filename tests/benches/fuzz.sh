#!/usr/bin/env bash
# Fuzz what reads input of strangers: the config loader, the record reader, the control socket and
# weather files. Coverage-guided with Atheris where that is installed ("pip install atheris", for
# tests only, no wheel for every Python); else it says so and edits the kept corpus at random.
#
#   fuzz.sh            10 min for each target; the result goes to results/fuzz.json
#   fuzz.sh --short    30 s for each; nothing is written, what CI runs
#   SECONDS_EACH=60 PYTHON=/path/to/python fuzz.sh
#
# An input that raises is printed and fails the bench; put it into tests/fuzz/corpus/TARGET, where
# it is tried in every test run from then on. New inputs that reach more code: see --keep.
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
exec "$python" tests/benches/fuzz.py "$@"
