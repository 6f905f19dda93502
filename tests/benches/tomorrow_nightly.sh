#!/usr/bin/env bash
# Foresee tomorrow at 03:00, as the nightly job does, on a handful of hidden
# tents, and on some that get another lamp, another fan or an open door half-way. Nothing but simulated
# truth has been tried.
#
#   tests/benches/tomorrow_nightly.sh            about five minutes; writes results/tomorrow_nightly.json
#   tests/benches/tomorrow_nightly.sh --short    one tent, a night before the change and one after
#   tests/benches/tomorrow_table.py              puts the figures into DEVELOPERS.md
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
PYTHONPATH="$PWD${PYTHONPATH:+:$PYTHONPATH}" exec "$python" tests/benches/tomorrow_nightly.py "$@"
