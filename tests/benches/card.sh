#!/usr/bin/env bash
# What a day of a tent's record writes to a memory card: bytes, writes and cache flushes at the block
# layer of a loop device with ext4 in blocks of 4 KiB, as a card has. The daemon, its record and the
# file system are real, the tent and the clock simulated: after each commit everything is written
# back, as it is between two commits minutes apart.
#
#   sudo tests/benches/card.sh [--short] [--hours N] [--block-size BYTES]
#
# --short             for CI: two hours
# --hours N           how long; 24 by default, one to two minutes
# --block-size BYTES  of the file system; 4096 by default
#
# Needs root, losetup and mkfs.ext4. Prints figures.
set -euo pipefail
cd "$(dirname "$0")/../.."
case " $* " in
    *' --help '* | *' -h '*) sed -n '2,/^set /{/^set /d;s/^# \{0,1\}//;p}' "$0"; exit 0 ;;
esac
[ "$(id -u)" = 0 ] || { echo 'card: SKIPPED: it needs root to mount a file system'; exit 0; }
for program in losetup mkfs.ext4 mount; do
    command -v $program >/dev/null || { echo "card: SKIPPED: no $program"; exit 0; }
done
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
PYTHONPATH="$PWD${PYTHONPATH:+:$PYTHONPATH}" exec "$python" tests/benches/card.py "$@"
