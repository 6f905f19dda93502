#!/usr/bin/env bash
# Learn three tents in which something acts that no config knows (a second lamp, a humidifier, an
# open door, cooled air, plants taken out ...), and count the figures that are said with confidence
# and are not so. Nothing but simulated truth has been tried.
#
#   tests/benches/learning_unmodelled.sh           some minutes; writes results/learning_unmodelled.json
#   tests/benches/learning_unmodelled.sh --short   one tent in three cases
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
PYTHONPATH="$PWD${PYTHONPATH:+:$PYTHONPATH}" exec "$python" tests/benches/learning_unmodelled.py "$@"
