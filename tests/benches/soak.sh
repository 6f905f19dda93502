#!/usr/bin/env bash
# The real daemon for a simulated year, as fast as it goes: does anything grow, is a tick lost?
#
#   tests/benches/soak.sh [--short] [--days 365] [--json FILE] [--keep DIR]
#
# --short is a few simulated days, for CI. A year takes one to three hours on one core. Needs the
# project's environment: .venv as the README makes it, or the one PYTHON names.
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
exec "$python" tests/benches/soak.py "$@"
