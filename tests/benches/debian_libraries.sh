#!/usr/bin/env bash
# The quick tests on the libraries of Debian 13 (trixie) and its Python 3.13, which the Debian package
# runs on, instead of those of the lock. Prints what passed, failed and could not be tried.
#
#   tests/benches/debian_libraries.sh [--short] [TESTS ...]
#
# --short  for CI: skips, since Debian's packages have to be fetched
# TESTS    files or folders; all of tests/ by default
#
# Needs root. Debian's packages are fetched once into ${XDG_CACHE_HOME:-~/.cache}/lungwort-bench and
# unpacked, nothing of them is run but Python. Test files that import what Debian lacks, or what only
# tests need, are left out, and named with it.
set -euo pipefail
cd "$(dirname "$0")/../.."

skip() { echo "Debian's libraries: SKIPPED: $*"; exit 0; }

case " $* " in
    *' --help '* | *' -h '*) sed -n '2,/^set /{/^set /d;s/^# \{0,1\}//;p}' "$0"; exit 0 ;;
    *' --short '*) skip 'it fetches packages; run it without --short' ;;
esac
[ "$(uname -sm)" = 'Linux x86_64' ] || skip "needs Linux on x86-64, this is $(uname -sm)"
[ "$(id -u)" = 0 ] || skip 'needs root (chroot)'
grep -q '^ID=debian' /etc/os-release || skip "needs Debian's package mirror, this is another system"
python=${PYTHON:-.venv/bin/python}
[ -x "$python" ] || python=python3
PYTHONPATH="tests/benches:tests/benches/other_machines${PYTHONPATH:+:$PYTHONPATH}" \
    exec "$python" tests/benches/debian_libraries.py "$@"
