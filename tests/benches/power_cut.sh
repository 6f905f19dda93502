#!/usr/bin/env bash
# lungwort as systemd/INSTALL.md installs it, in a real Debian guest, on GPIO lines of the kernel:
# the unit's checks, then power cuts at random moments while it writes. Prints figures.
#
#   tests/benches/power_cut.sh [--short] [--suite trixie] [--cuts N] [--minutes M] [--seed N]
#                              [--volatile | --kept] [--json FILE] [--log FILE]
#
# --short     the quick ones of the unit's checks, two cuts and no control, for CI
# --suite     Debian's release: bookworm, "By hand", by default; trixie, the Debian package
# --cuts N    so many cuts; 20 by default
# --minutes M begin no further cut after so many minutes; 120 by default
# --volatile  at every cut, all that was not flushed to the disk is lost; --kept: nothing is.
#             By default the cuts take turns, and in some of them every sector that was not
#             flushed is kept or lost by the toss of a coin, torn blocks included.
#             In the long form a last cut goes to a disk that only pretends to flush: the control
#             that shows that a loss would be noticed.
# --json      the figures for tests/benches/results/power_cut.json
# --log       every line that the daemon logged, as the host heard it
#
# Needs root, and installs with apt-get what is missing of qemu-system-x86, debootstrap and
# e2fsprogs. Debian is built once, in minutes, into ${XDG_CACHE_HOME:-~/.cache}/lungwort-bench.
# The guest runs under plain emulation, several times slower than a Pi 4: seconds are no promise.
set -euo pipefail
cd "$(dirname "$0")/../.."

skip() { echo "power cuts: SKIPPED: $*"; exit 0; }

case " $* " in
    *' --help '* | *' -h '*) sed -n '2,/^set /{/^set /d;s/^# \{0,1\}//;p}' "$0"; exit 0 ;;
esac
[ "$(uname -sm)" = 'Linux x86_64' ] || skip "needs Linux on x86-64, this is $(uname -sm)"
[ "$(id -u)" = 0 ] || skip 'needs root (debootstrap, chroot)'
command -v apt-get >/dev/null || skip 'needs apt-get to install QEMU and to build the guest'

missing=()
for pair in qemu-system-x86_64:qemu-system-x86 debootstrap:debootstrap mkfs.ext4:e2fsprogs; do
    command -v "${pair%%:*}" >/dev/null || missing+=("${pair##*:}")
done
[ -e /usr/share/keyrings/debian-archive-keyring.gpg ] || missing+=(debian-archive-keyring)
if [ ${#missing[@]} -gt 0 ]; then
    echo "power cuts: installing ${missing[*]}"
    export DEBIAN_FRONTEND=noninteractive
    # Failing here is a failure: a bench that was asked for must not quietly do nothing.
    apt-get update -q >/dev/null
    apt-get install -y -q --no-install-recommends "${missing[@]}" >/dev/null
fi
grep -q '^ID=debian' /etc/os-release || skip "needs Debian's package mirror, this is another system"

python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
version=$("$python" -c 'import sys; print("%d.%d" % sys.version_info[:2])')
[[ "$version" = 3.11 || " $* " = *' --suite trixie '* ]] ||
    skip "needs Python 3.11, whose locked wheels the Debian 12 guest runs, not $version"
exec "$python" tests/benches/power_cut "$@"
