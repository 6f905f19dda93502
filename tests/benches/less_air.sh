#!/usr/bin/env bash
# Try the alarm less_air on 20 random tents of 0.2 to 20 m³: 30 simulated days without a fault, with
# sensors and tents off within their doubts, in which it must never be raised; and a fan that dies.
#
#   tests/benches/less_air.sh            about ten minutes; writes results/less_air.json
#   tests/benches/less_air.sh --short    two tents, two days
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
PYTHONPATH="$PWD${PYTHONPATH:+:$PYTHONPATH}" exec "$python" tests/benches/less_air.py "$@"
