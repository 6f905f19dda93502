#!/bin/sh
# Checks the unit as systemd sees it: it must be free of complaints, and its exposure 1.5 or less
# (systemd-analyze(1), "security"). Needs no root, no Pi and nothing installed.
set -eu
cd "$(dirname "$0")"
limit=1.5

if ! command -v systemd-analyze >/dev/null; then
    echo "verify.sh: skipped: systemd-analyze is not on this machine" >&2
    exit 0
fi
# Older ones know neither --offline nor half of the settings.
version=$(systemd-analyze --version | sed -n '1s/^systemd \([0-9]*\).*/\1/p')
if [ "${version:-0}" -lt 250 ]; then
    echo "verify.sh: skipped: systemd ${version:-?} is older than 250" >&2
    exit 0
fi

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
# verify also wants every program to exist: put one that does in the place of the installed one.
sed 's#/opt/lungwort/bin/lungwort#/bin/true#' lungwort@.service >"$work/lungwort@.service"

complaints=$(systemd-analyze verify "$work/lungwort@.service" 2>&1) || {
    printf 'verify.sh: systemd-analyze verify failed:\n%s\n' "$complaints" >&2
    exit 1
}
# It reports unknown or misspelt settings and succeeds all the same. What it says of other units
# of this machine is none of ours.
complaints=$(printf '%s\n' "$complaints" | grep -F "lungwort@" || true)
if [ -n "$complaints" ]; then
    printf 'verify.sh: systemd-analyze verify complains:\n%s\n' "$complaints" >&2
    exit 1
fi

score=$(systemd-analyze security --offline=true --no-pager "$work/lungwort@.service" |
    sed -n 's/.*Overall exposure level[^:]*: *\([0-9.]*\).*/\1/p')
if [ -z "$score" ]; then
    echo "verify.sh: systemd-analyze security told no exposure level" >&2
    exit 1
fi
if ! awk -v score="$score" -v limit="$limit" 'BEGIN { exit !(score <= limit) }'; then
    echo "verify.sh: exposure level $score is above $limit" >&2
    exit 1
fi

if command -v systemd-sysusers >/dev/null; then
    systemd-sysusers --dry-run "$PWD/sysusers.d-lungwort.conf" >"$work/sysusers" 2>&1 || {
        cat "$work/sysusers" >&2
        exit 1
    }
fi
echo "systemd: the unit is clean, exposure level $score (at most $limit)"
