#!/usr/bin/env bash
# The Debian package, from source to purge: built twice in a fresh Debian 13 (trixie), looked over by
# lintian, installed with apt into a fresh system that has booted its own systemd, then upgraded,
# upgraded to versions that fail, removed and purged. Prints each check.
#
#   tests/benches/fresh_install.sh [--short] [--json FILE] [--keep DIRECTORY]
#
# --short  for CI: only what needs neither root nor network, the maintainer scripts' syntax
# --json   the figures for tests/benches/results/fresh_install.json
# --keep   where the package that was built is left
#
# Needs root, and installs with apt-get what is missing of debootstrap and systemd-container. Debian
# is fetched once, in minutes, into ${XDG_CACHE_HOME:-~/.cache}/lungwort-bench. The system is a
# container, which has no GPIO lines: its tent drives gpiozero's mock pins. Lines of a kernel are
# driven in tests/benches/power_cut.sh.
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

missing=()
for pair in debootstrap:debootstrap systemd-nspawn:systemd-container; do
    command -v "${pair%%:*}" >/dev/null || missing+=("${pair##*:}")
done
[ -e /usr/share/keyrings/debian-archive-keyring.gpg ] || missing+=(debian-archive-keyring)
if [ ${#missing[@]} -gt 0 ]; then
    echo "fresh install: installing ${missing[*]}"
    export DEBIAN_FRONTEND=noninteractive
    apt-get update -q >/dev/null
    apt-get install -y -q --no-install-recommends "${missing[@]}" >/dev/null
fi
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
PYTHONPATH="tests/benches${PYTHONPATH:+:$PYTHONPATH}" exec "$python" tests/benches/fresh_install "$@"
