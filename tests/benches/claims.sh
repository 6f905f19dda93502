#!/usr/bin/env bash
# What alarms, events and reviews claim of tents without a fault, held against the simulator's truth:
# 40 random tents of every size in every kind of room, 14 days in summer and 14 in winter.
#
#   tests/benches/claims.sh            about a quarter of an hour of one core; writes results/claims.json
#   tests/benches/claims.sh --short    two tents, two days
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
PYTHONPATH="$PWD${PYTHONPATH:+:$PYTHONPATH}" exec "$python" tests/benches/claims.py "$@"
