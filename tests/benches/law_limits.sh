#!/usr/bin/env bash
# Hold what the fan's laws promise against random tents, fans and faults: minimum times, never below
# the schedule when too hot, full speed far over the band, no more energy than fixed speeds for more
# harm. Tents of 0.2 to 20 m³, fans of 10 to 3,000 m³/h, lamps up to 2,000 W.
#
#   tests/benches/law_limits.sh            60 configs, two days each, about two minutes
#   tests/benches/law_limits.sh --short    four configs. What CI runs; both fail where one is broken
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
PYTHONPATH="$PWD${PYTHONPATH:+:$PYTHONPATH}" exec "$python" tests/benches/law_limits.py "$@"
