#!/usr/bin/env bash
# The processors of Raspberry Pis, emulated: the core's tests and one simulated day on arm64 and
# armhf (Debian 13, Python 3.13), and whether their figures are those of x86-64. Prints a table.
#
#   tests/benches/other_machines.sh [--short] [--arch NAME ...] [--only PART] [--json FILE]
#
# --short  for CI: skips, since an emulated processor takes minutes
# --arch   arm64, armhf; both by default. amd64 is always run beside, on the same libraries.
# --only   figures or tests: one of the two parts
# --json   the figures for tests/benches/results/other_machines.json
#
# Needs root, and installs with apt-get what is missing of qemu-user-static. Debian's packages are
# fetched once into ${XDG_CACHE_HOME:-~/.cache}/lungwort-bench and unpacked, nothing of them is run
# but Python. QEMU computes floating-point numbers by software as the processor's manual says, with
# the C library of that machine; a real Pi was not at hand.
set -euo pipefail
cd "$(dirname "$0")/../.."

skip() { echo "other machines: SKIPPED: $*"; exit 0; }

case " $* " in
    *' --help '* | *' -h '*) sed -n '2,/^set /{/^set /d;s/^# \{0,1\}//;p}' "$0"; exit 0 ;;
    *' --short '*) skip 'an emulated processor takes minutes; run it without --short' ;;
esac
[ "$(uname -sm)" = 'Linux x86_64' ] || skip "needs Linux on x86-64, this is $(uname -sm)"
[ "$(id -u)" = 0 ] || skip 'needs root (chroot, binfmt_misc)'
grep -q '^ID=debian' /etc/os-release || skip "needs Debian's package mirror, this is another system"

if ! command -v qemu-aarch64-static >/dev/null || ! command -v qemu-arm-static >/dev/null; then
    echo 'other machines: installing qemu-user-static'
    export DEBIAN_FRONTEND=noninteractive
    apt-get update -q >/dev/null
    apt-get install -y -q --no-install-recommends qemu-user-static >/dev/null
fi
# What a booted system does by itself: tell the kernel who runs such programs.
registry=/proc/sys/fs/binfmt_misc
[ -e $registry/register ] || mount -t binfmt_misc none $registry || skip 'the kernel has no binfmt_misc'
for machine in aarch64 arm; do
    [ -e $registry/qemu-$machine ] || cat /usr/lib/binfmt.d/qemu-$machine.conf >$registry/register
done
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
PYTHONPATH="tests/benches${PYTHONPATH:+:$PYTHONPATH}" exec "$python" tests/benches/other_machines "$@"
