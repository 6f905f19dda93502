#!/usr/bin/env bash
# Compare the laws by which the fan's speed is chosen: energy against harm, on two tents, over
# shipped weather and weather that no tuning has seen, with several draws of the sensors' errors.
#
#   tests/benches/laws.sh            all of it, some ten minutes; writes results/laws.json
#   tests/benches/laws.sh --short    July in one tent, six draws, some ten seconds; fails where the
#                                    modulating law takes more than 0.8 of the fixed one's energy or
#                                    does more than 1.01 of its harm. What CI runs; writes nothing
#   tests/benches/laws.sh --write    puts results/laws.json into the table of DEVELOPERS.md
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
exec "$python" tests/benches/laws.py "$@"
