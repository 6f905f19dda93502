#!/usr/bin/env bash
# A fall of the fan's flow: 20 random tents, 30 days without a fault, 30 with a filter that clogs.
#
#   tests/benches/flow_change.sh            about five minutes; writes results/flow_change.json
#   tests/benches/flow_change.sh --short    two tents, 22 days
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
PYTHONPATH="$PWD${PYTHONPATH:+:$PYTHONPATH}" exec "$python" tests/benches/flow_change.py "$@"
