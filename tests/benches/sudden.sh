#!/usr/bin/env bash
# Changes within hours: 20 random tents, 30 days without a fault, and some with each of six faults.
#
#   tests/benches/sudden.sh            about half an hour of one core; writes results/sudden.json
#   tests/benches/sudden.sh --drifts   drifts alone, a quarter of it; keeps the other results
#   tests/benches/sudden.sh --short    one tent, 11 days, two faults
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
PYTHONPATH="$PWD${PYTHONPATH:+:$PYTHONPATH}" exec "$python" tests/benches/sudden.py "$@"
