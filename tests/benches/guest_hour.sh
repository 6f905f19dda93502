#!/usr/bin/env bash
# An hour of a daemon with default keys and two sensors in a real Debian guest: what its record
# writes to its disk (/proc/diskstats of a disk of its own), its processor time, the memory of a
# second daemon beside it, and how long it takes from power-on to the right fan. Prints figures.
#
#   tests/benches/guest_hour.sh [--short] [--minutes N] [--json FILE]
#
# --short      for CI: nothing, since an hour is an hour
# --minutes N  how long; 60 by default
# --json FILE  the figures for tests/benches/results/guest_hour.json
#
# Needs what tests/benches/power_cut.sh needs, and uses its guest, of Debian 12 (bookworm). That runs
# under plain emulation: a loop in Python, timed here and there, tells how much slower it is.
set -euo pipefail
cd "$(dirname "$0")/../.."
case " $* " in
    *' --help '* | *' -h '*) sed -n '2,/^set /{/^set /d;s/^# \{0,1\}//;p}' "$0"; exit 0 ;;
    *' --short '*) echo 'guest hour: SKIPPED: it takes more than an hour; run it without --short'; exit 0 ;;
esac
command -v qemu-system-x86_64 >/dev/null || { echo 'guest hour: SKIPPED: no QEMU'; exit 0; }
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
exec "$python" tests/benches/guest_hour "$@"
