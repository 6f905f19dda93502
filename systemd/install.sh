#!/usr/bin/env bash
# Install, upgrade or remove lungwort as a service, from the unpacked source it lies in.
#
#   sudo ./systemd/install.sh              install, or upgrade what is installed
#   sudo ./systemd/install.sh --dry-run    only say what would be done; needs no root
#   sudo ./systemd/install.sh --uninstall  remove everything but records and configs
#   sudo ./systemd/install.sh --uninstall --purge   remove those too, and the user
#
# Every version gets a directory of its own, and /opt/lungwort is a link to the one in use. A new
# version is made and tried beside the old one first: it must read every config in /etc/lungwort
# that the old one reads. Only then the link is changed and running tents are started again. If one
# doesn't come up, the link goes back and the old version goes on.
#
# No config is written over, none is started that did not run before, and no pin is touched:
# `lungwort check`, then `systemctl enable --now`, are yours to say.
set -euo pipefail

here=$(dirname "$(readlink -f "$0")")
source=$(dirname "$here")
link=/opt/lungwort
versions=/opt/lungwort-versions
python=${PYTHON:-python3}

dry= remove= purge=
for word in "$@"; do
    case $word in
        --dry-run) dry=1 ;;
        --uninstall) remove=1 ;;
        --purge) purge=1 ;;
        -h | --help) sed -n '2,/^set /{/^set /d;s/^# \{0,1\}//;p}' "$0"; exit 0 ;;
        *) echo "install.sh: unknown option $word; see --help" >&2; exit 2 ;;
    esac
done
if [ -n "$purge" ] && [ -z "$remove" ]; then
    echo "install.sh: --purge goes with --uninstall" >&2
    exit 2
fi
if [ -z "$dry" ] && [ "$(id -u)" != 0 ]; then
    echo "install.sh: run it with sudo, or with --dry-run to see what it would do" >&2
    exit 1
fi

say() { echo "install.sh: $*"; }

run() {
    if [ -n "$dry" ]; then
        printf '  '
        printf '%q ' "$@"
        printf '\n'
    else
        "$@"
    fi
}

# In a chroot or a container there is no systemd to talk to.
has_systemd() { [ -d /run/systemd/system ]; }

running_tents() {
    has_systemd || return 0
    systemctl list-units --plain --no-legend --state=active,activating,reloading 'lungwort@*' |
        awk '{ print $1 }'
}

enabled_tents() {
    find /etc/systemd/system -name 'lungwort@*.service' -type l -printf '%f\n' 2>/dev/null | sort -u
}

if [ -n "$remove" ]; then
    say "what is installed goes; records and configs stay${purge:+ not}"
    for unit in $(running_tents; enabled_tents); do
        if has_systemd; then run systemctl disable --now "$unit"; fi
    done
    run rm -f /etc/systemd/system/lungwort@.service /etc/sysusers.d/lungwort.conf \
        /etc/tmpfiles.d/lungwort.conf /etc/udev/rules.d/70-lungwort.rules \
        /usr/share/bash-completion/completions/lungwort
    # Debian has none before the first file in it.
    [ ! -d /etc/sysusers.d ] || run rmdir --ignore-fail-on-non-empty /etc/sysusers.d
    if [ "$(readlink /usr/local/bin/lungwort || true)" = $link/bin/lungwort ]; then
        run rm -f /usr/local/bin/lungwort
    fi
    if has_systemd; then run systemctl daemon-reload; fi
    run rm -rf $link $versions /run/lungwort
    if [ -n "$purge" ]; then
        run rm -rf /var/lib/lungwort /etc/lungwort
        if getent passwd lungwort >/dev/null; then run userdel lungwort; fi
        if getent group lungwort >/dev/null; then run groupdel lungwort; fi
    fi
    exit 0
fi

if dpkg-query -W -f '${Status}' lungwort 2>/dev/null | grep -q 'ok installed'; then
    say "the Debian package lungwort is installed; first: sudo apt remove lungwort" >&2
    exit 1
fi

# What pip needs where a pin library has no wheel for this Python.
missing=
for package in python3-venv python3-dev gcc swig; do
    dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q 'ok installed' ||
        missing="$missing $package"
done
if [ -n "$missing" ]; then
    say "Debian packages first:$missing"
    # shellcheck disable=SC2086  # one word a package
    run apt-get install -y -q --no-install-recommends $missing
fi

# A version goes by what is in it, so that the same source is installed once.
new=$versions/$(cd "$source" && {
    "$python" --version
    find controller simulators pyproject.toml .lock/pi.txt -type f ! -name '*.pyc' -print0 |
        sort -z | xargs -0 sha256sum
} | sha256sum | cut -c1-16)
done_well= made_new=
cleanup() {
    if [ -z "$done_well" ] && [ -z "$dry" ]; then
        if [ -n "$made_new" ]; then rm -rf "$new"; fi
        say "it failed; what was in use before still is" >&2
    fi
}
trap cleanup EXIT
if [ -e "$new/complete" ]; then
    say "this version is in $new already"
else
    say "a new version in $new"
    made_new=1
    run rm -rf "$new"
    run mkdir -p $versions
    run "$python" -m venv "$new"
    # PYPI=1 has lgpio compile the library it would otherwise look for in the system.
    run env PYPI=1 "$new/bin/pip" install -q --disable-pip-version-check --require-hashes \
        -r "$source/.lock/pi.txt"
    # From a copy, since building leaves files in the source, and root's at that.
    copy=$(mktemp -d)
    run cp -a "$source/controller" "$source/simulators" "$source/pyproject.toml" \
        "$source/README.md" "$source/LICENSE" "$copy"
    run "$new/bin/pip" install -q --disable-pip-version-check --no-build-isolation --no-deps "$copy"
    rm -rf "$copy"
    # The service may write no bytecode, so all of it is compiled now.
    run "$new/bin/python" -m compileall -q "$new/lib"
    run touch "$new/complete"
fi

say "it must read the configs that are in use"
run "$new/bin/lungwort" --version
for config in /etc/lungwort/*.yaml; do
    [ -e "$config" ] || continue
    if [ -x $link/bin/lungwort ] && ! $link/bin/lungwort check "$config" >/dev/null 2>&1; then
        say "$config is refused by the version in use already"
        continue
    fi
    run "$new/bin/lungwort" check "$config" >/dev/null
done

say "user, directories, permissions, unit, completion"
put() { # an identical file is left as it is
    cmp -s "$1" "$2" || run install -Dm644 "$1" "$2"
}
put "$here/sysusers.d-lungwort.conf" /etc/sysusers.d/lungwort.conf
put "$here/tmpfiles.d-lungwort.conf" /etc/tmpfiles.d/lungwort.conf
put "$here/70-lungwort.rules" /etc/udev/rules.d/70-lungwort.rules
run systemd-sysusers /etc/sysusers.d/lungwort.conf
run systemd-tmpfiles --create /etc/tmpfiles.d/lungwort.conf
# A container runs systemd without udev.
if has_systemd && [ -S /run/udev/control ]; then
    run udevadm control --reload
    run udevadm trigger --subsystem-match=pwm --subsystem-match=gpio
    # As at a start: converters for the group gpio, drivers of I2C parts, CO2 sensors' calibration.
    run udevadm trigger --action=add --subsystem-match=i2c --subsystem-match=iio
fi
example=/etc/lungwort/chillies.yaml.example
put "$source/config/chillies.yaml" $example # under a name that no service starts by
if [ -n "$dry" ]; then
    say "completion for bash into /usr/share/bash-completion/completions/lungwort"
else
    mkdir -p /usr/share/bash-completion/completions
    "$new/bin/lungwort" completion bash >/usr/share/bash-completion/completions/lungwort
fi
[ -e /usr/local/bin/lungwort ] || run ln -s $link/bin/lungwort /usr/local/bin/lungwort

old=
if [ -L $link ]; then
    old=$(readlink $link)
elif [ -d $link ]; then
    old=$versions/by-hand # from before this script
    run mv $link $old
fi
point_to() { # in one step: whoever looks finds either
    run ln -sfn "$1" $link.next
    run mv -fT $link.next $link
}
unit=/etc/systemd/system/lungwort@.service
[ -z "$old" ] || [ ! -e $unit ] || run cp -p $unit "$versions/unit-before"
point_to "$new"
put "$here/lungwort@.service" $unit
if has_systemd; then run systemctl daemon-reload; fi

for tent in $(running_tents); do
    say "$tent is started again"
    # Type=notify: this comes back once the first tick was completed, or fails.
    if ! run systemctl restart "$tent"; then
        say "$tent does not start with the new version; going back to the old one" >&2
        point_to "$old"
        [ ! -e "$versions/unit-before" ] || run install -m644 "$versions/unit-before" $unit
        run systemctl daemon-reload
        for again in $(running_tents); do run systemctl restart "$again" || true; done
        exit 1
    fi
done
done_well=1

# The version before is kept, for going back by hand; those before it go.
for directory in "$versions"/*; do
    case $directory in
        "$new" | "$old" | "$versions/unit-before") ;;
        *) [ ! -d "$directory" ] || run rm -rf "$directory" ;;
    esac
done
say "done. Next: copy $example to a name ending in .yaml, put in your own figures, and"
say "  lungwort check /etc/lungwort/NAME.yaml && sudo systemctl enable --now lungwort@NAME"
