#!/usr/bin/env bash
# Both pin factories in a real Debian guest, on GPIO lines of the kernel (gpio-sim): the levels that
# a line is given from power-on to kill, how often the daemon is woken with and without a turning
# tachometer, and whether every pulse is counted. Prints figures; fails where levels or counts are
# wrong.
#
#   tests/benches/pins.sh [--short] [--seconds N] [--counts] [--json FILE]
#
# --short      for CI: nothing, since an emulated kernel on a busy machine misses edges
# --seconds N  how long wake-ups are counted each time; 20 by default
# --counts     only count pulses
# --json FILE  the figures for tests/benches/results/pins.json
#
# Needs what tests/benches/power_cut.sh needs, and uses its guest: run that first, its --short form.
# The guest runs under plain emulation, several times slower than a Pi 4.
set -euo pipefail
cd "$(dirname "$0")/../.."
case " $* " in
    *' --help '* | *' -h '*) sed -n '2,/^set /{/^set /d;s/^# \{0,1\}//;p}' "$0"; exit 0 ;;
    *' --short '*) echo 'pins: SKIPPED: a guest of minutes on a quiet machine; run it without --short'; exit 0 ;;
esac
command -v qemu-system-x86_64 >/dev/null || { echo 'pins: SKIPPED: no QEMU'; exit 0; }
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
exec "$python" tests/benches/pins "$@"
