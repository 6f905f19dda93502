#!/usr/bin/env bash
# Learn eight hidden tents in four seasons each, and hold what was learned, and the next day's peak
# with the room known, against the simulated truth. Nothing but simulated truth has been tried.
#
#   tests/benches/learning.sh            about eight minutes; writes results/learning.json
#   tests/benches/learning.sh --short    two tents in one season, under a minute
#   tests/benches/learning.sh --small-errors   sensors as SHT4x; writes learning_small_errors.json
#   tests/benches/learning_table.py      puts the figures into DEVELOPERS.md
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
PYTHONPATH="$PWD${PYTHONPATH:+:$PYTHONPATH}" exec "$python" tests/benches/learning.py "$@"
