#!/usr/bin/env bash
# Try every fault of the failure policy (systemd/UNATTENDED.md) by the tests that its rows name, and
# keep what came of each: held or not, days, seconds to the safe state, readings lost.
#
#   tests/benches/faults.sh            writes results/faults.json
#   tests/benches/faults.sh --short    says what it would run, since these tests are part of the
#                                      normal test run that CI has done before
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
exec "$python" tests/benches/faults.py "$@"
