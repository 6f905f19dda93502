#!/usr/bin/env bash
# Does a behaviour test notice if the decision, the timetable or the plausibility is broken? Changes
# one thing at a time in each module (the list is in mutation/__main__.py) and runs the tests beside
# it; what no test notices is printed. Known survivors and why: mutation/survivors.toml.
#
#   mutation.sh                  all, about half an hour on 2 cores; results/mutation.json
#   mutation.sh --only decide    the modules whose path contains "decide"; only their rows change
#   mutation.sh --only decide --lines 80,81    the mutants of these lines; nothing is written
#   mutation.sh --short          every 40th, under a minute; nothing is written, what CI runs
#   PYTHON=/path/to/python mutation.sh --processes 4
#
# Fails below 95 % killed of those that change something; --short where one survives that is not
# accounted for.
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
exec env PYTHONPATH=. "$python" tests/benches/mutation "$@"
