#!/usr/bin/env bash
# Build the Debian package, for Debian 13 (trixie) and Raspberry Pi OS made from it, of any machine:
#
#   ./systemd/build-deb.sh [--version VERSION] [DIRECTORY]
#   sudo apt install ./lungwort_VERSION_all.deb
#
# DIRECTORY  where the package is put; the current one by default
# --version  by default the project's, and the time of the last commit: 0.1.0+20260102.0304
#
# What debhelper needs is installed first, with sudo where needed. Nothing is written into the source.
# The same source gives the same bytes: times in the package are those of the last commit, or
# SOURCE_DATE_EPOCH.
set -euo pipefail

here=$(dirname "$(readlink -f "$0")")
source=$(dirname "$here")
version= target=.
while [ $# -gt 0 ]; do
    case $1 in
        --version)
            version=${2:?build-deb.sh: --version wants a version}
            shift
            ;;
        -h | --help) sed -n '2,/^set /{/^set /d;s/^# \{0,1\}//;p}' "$0"; exit 0 ;;
        -*) echo "build-deb.sh: unknown option $1; see --help" >&2; exit 2 ;;
        *) target=$1 ;;
    esac
    shift
done
[ -d "$target" ] || { echo "build-deb.sh: there is no directory $target" >&2; exit 2; }
target=$(readlink -f "$target")

command -v apt-get >/dev/null || { echo 'build-deb.sh: this needs Debian or a system like it' >&2; exit 1; }
if ! command -v dpkg-checkbuilddeps >/dev/null ||
    ! dpkg-checkbuilddeps "$here/debian/control" 2>/dev/null; then
    sudo=
    [ "$(id -u)" = 0 ] || sudo=sudo
    echo "build-deb.sh: installing what the build needs: apt-get build-dep $here" >&2
    $sudo apt-get install -y -q --no-install-recommends dpkg-dev >/dev/null
    # Where this fails, the release is too old: see INSTALL.md for install.sh.
    $sudo apt-get build-dep -y -q --no-install-recommends "$here" >/dev/null
fi

in_git() { git -C "$source" rev-parse --is-inside-work-tree >/dev/null 2>&1; }

if [ -z "${SOURCE_DATE_EPOCH:-}" ]; then
    if in_git; then
        SOURCE_DATE_EPOCH=$(git -C "$source" log -1 --format=%ct)
    else
        SOURCE_DATE_EPOCH=$(find "$source/controller" "$source/simulators" "$source/pyproject.toml" \
            -type f ! -name '*.pyc' -printf '%Ts\n' | sort -n | tail -1)
    fi
fi
export SOURCE_DATE_EPOCH
if [ -z "$version" ]; then
    version=$(sed -n 's/^version = "\(.*\)"$/\1/p' "$source/pyproject.toml")
    # Between releases each commit is newer than the one before, for apt too.
    if ! { in_git && [ -n "$(git -C "$source" tag --points-at HEAD "v$version")" ]; }; then
        version+=+$(date -u -d "@$SOURCE_DATE_EPOCH" +%Y%m%d.%H%M)
    fi
fi

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
tree=$work/lungwort
mkdir "$tree"
# The files that git knows, as they are now; in an unpacked archive all are the project's.
names=(controller simulators config pyproject.toml README.md LICENSE CHANGELOG.md)
if in_git; then
    git -C "$source" ls-files -z -- "${names[@]}"
else
    (cd "$source" && find "${names[@]}" -type f ! -name '*.pyc' -print0)
fi | (cd "$source" && xargs -0 cp --parents -t "$tree")
cp -R "$here/debian" "$tree/debian"
chmod -R u=rwX,go=rX "$tree"

# The unit and its company, which install.sh takes from the same place, under debhelper's names.
sed 's#/opt/lungwort/bin/lungwort#/usr/bin/lungwort#' \
    "$here/lungwort@.service" >"$tree/debian/lungwort@.service"
cp "$here/sysusers.d-lungwort.conf" "$tree/debian/lungwort.sysusers"
cp "$here/tmpfiles.d-lungwort.conf" "$tree/debian/lungwort.tmpfiles"
cp "$here/70-lungwort.rules" "$tree/debian/lungwort.udev"
cp "$here/INSTALL.md" "$here/UNATTENDED.md" "$here/SECURITY.md" "$tree"
cat >"$tree/debian/changelog" <<CHANGELOG
lungwort ($version) unstable; urgency=medium

  * Built from its source; what changed is in CHANGELOG.md.

 -- $(sed -n 's/^Maintainer: //p' "$here/debian/control")  $(LC_ALL=C date -u -R -d "@$SOURCE_DATE_EPOCH")
CHANGELOG

cd "$tree"
if ! dpkg-buildpackage -b -us -uc >"$work/log" 2>&1; then
    tail -40 "$work/log" >&2
    echo 'build-deb.sh: the package could not be built; above is what was said last' >&2
    exit 1
fi
deb=lungwort_${version}_all.deb
cp "$work/$deb" "$target/$deb"
echo "$target/$deb"
