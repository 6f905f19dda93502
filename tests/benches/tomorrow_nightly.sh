#!/usr/bin/env bash
# Tomorrow at 03:00, as the nightly job foresees it, on tents of `tomorrow.sh` and on some that get
# another lamp, another fan or an open door half-way.
#
#   tests/benches/tomorrow_nightly.sh            about five minutes; writes results/tomorrow_nightly.json
#   tests/benches/tomorrow_nightly.sh --short    one tent, a night before the change and one after
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
PYTHONPATH="$PWD${PYTHONPATH:+:$PYTHONPATH}" exec "$python" tests/benches/tomorrow_nightly.py "$@"
