#!/usr/bin/env bash
# Forecasts of hidden tents in hidden rooms, in four seasons, against what came and against "as
# today". Nothing but simulated truth has been tried.
#
#   tests/benches/tomorrow.sh            about six minutes of two cores; writes results/tomorrow.json
#   tests/benches/tomorrow.sh --short    two tents in one season each, under 40 s of processor time
#   tests/benches/tomorrow_table.py      puts the figures of both benches into DEVELOPERS.md
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
PYTHONPATH="$PWD${PYTHONPATH:+:$PYTHONPATH}" exec "$python" tests/benches/tomorrow.py "$@"
