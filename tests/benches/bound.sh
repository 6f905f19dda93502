#!/usr/bin/env bash
# How near the fan's laws come to the best that any fan could do: energy against harm.
#
#   tests/benches/bound.sh            30 days of both example tents, about three minutes; writes
#                                     results/bound.json, from which .pictures/make-laws.py draws
#   tests/benches/bound.sh --short    two days; fails where anything beats the bound. What CI runs
#   tests/benches/bound.sh --write    puts results/bound.json into the table of DEVELOPERS.md
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
PYTHONPATH="$PWD${PYTHONPATH:+:$PYTHONPATH}" exec "$python" tests/benches/bound.py "$@"
