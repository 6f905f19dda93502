#!/usr/bin/env bash
# lungwort on a fresh system, from nothing to purged. Prints each check.
#
#   tests/benches/fresh_install.sh [--short] [--suite trixie|bookworm] [--guest] [--json FILE]
#                                  [--keep DIRECTORY]
#
# In a container that has booted its own systemd, and whose tents drive gpiozero's mock pins:
#   trixie (by default)  the Debian package is built twice in a fresh Debian 13, looked over by
#            lintian, installed with apt into another, upgraded, upgraded to versions that fail;
#            the root is put under an overlay in memory, with one record on it and one beside it;
#            then the package is removed, installed again and purged
#   bookworm install.sh: installed, started, removed, purged
# --guest  in a whole emulated machine, with Debian's kernel and lines of its GPIO simulator: the
#          package by apt, which brings all it depends on, or install.sh. Nothing drives a line
#          before the tent is enabled; then fan and lamp do what `lungwort check` says, seen from
#          the simulator's side; rebooted; with trixie, a root under Debian's overlayroot, with the
#          record on it and on a data partition; removed and purged. The guest has no network: what
#          apt or pip fetch lies in it. Raspberry Pi OS's gpiozero and lgpio, which Debian lacks,
#          are packed from the lock. Plain emulation: half an hour on an idle machine of two cores,
#          and hours on a busy one.
# --short  for CI: only what needs neither root nor network, the maintainer scripts' syntax
# --json   puts the figures into tests/benches/results/fresh_install.json
# --keep   where the package that was built is left
#
# Needs root, and installs with apt-get what is missing of debootstrap, systemd-container and QEMU.
# Debian is fetched once, in minutes, into ${XDG_CACHE_HOME:-~/.cache}/lungwort-bench.
set -euo pipefail
cd "$(dirname "$0")/../.."

skip() { echo "fresh install: SKIPPED: $*"; exit 0; }

case " $* " in
    *' --help '* | *' -h '*) sed -n '2,/^set /{/^set /d;s/^# \{0,1\}//;p}' "$0"; exit 0 ;;
    *' --short '*)
        for script in systemd/debian/lungwort.p*; do sh -n "$script"; done
        bash -n systemd/build-deb.sh
        echo 'fresh install: the maintainer scripts can be read; the long form installs the package'
        exit 0
        ;;
esac
[ "$(uname -sm)" = 'Linux x86_64' ] || skip "needs Linux on x86-64, this is $(uname -sm)"
[ "$(id -u)" = 0 ] || skip 'needs root (debootstrap, systemd-nspawn)'
grep -q '^ID=debian' /etc/os-release || skip "needs Debian's package mirror, this is another system"

python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
case " $* " in
    *' --suite bookworm '*)
        "$python" -c 'import sys; sys.exit(sys.version_info[:2] != (3, 11))' ||
            skip 'needs Python 3.11, whose locked wheels the Debian 12 guest runs'
        ;;
esac
missing=()
for pair in debootstrap:debootstrap systemd-nspawn:systemd-container \
    qemu-system-x86_64:qemu-system-x86 mkfs.ext4:e2fsprogs; do
    command -v "${pair%%:*}" >/dev/null || missing+=("${pair##*:}")
done
[ -e /usr/share/keyrings/debian-archive-keyring.gpg ] || missing+=(debian-archive-keyring)
if [ ${#missing[@]} -gt 0 ]; then
    echo "fresh install: installing ${missing[*]}"
    export DEBIAN_FRONTEND=noninteractive
    apt-get update -q >/dev/null
    apt-get install -y -q --no-install-recommends "${missing[@]}" >/dev/null
fi
PYTHONPATH="tests/benches/power_cut:tests/benches${PYTHONPATH:+:$PYTHONPATH}" exec "$python" tests/benches/fresh_install "$@"
