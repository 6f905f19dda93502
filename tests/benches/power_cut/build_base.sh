#!/usr/bin/env bash
# The root of a Debian guest with systemd, a simulated GPIO chip and an I2C sensor; lungwort comes
# later. Run by image.py, as root:
#
#   build_base.sh SUITE TARGET    makes the directory TARGET
#
# Debian's kernel leaves out gpio-sim, so it is compiled from Debian's own kernel source, changed
# in one point: a line that is let go of stays as it was driven. So does a Raspberry Pi's under
# Raspberry Pi OS, which the parking of fan and lamp rests on.
set -euo pipefail
suite=$1 target=$2
here=$(dirname "$(readlink -f "$0")")

# What the bench itself needs in the guest, then what systemd/INSTALL.md asks for (a package brings
# that itself) and what makes a root read-only there.
packages=systemd,systemd-sysv,dbus,udev,kmod,procps,linux-image-amd64,initramfs-tools,i2c-tools,sudo
packages+=,python3
case $suite in
    bookworm) packages+=,python3-venv,python3-dev,gcc,swig ;;
    *) packages+=,busybox,e2fsprogs ;;
esac

mirror() { # the one that this machine's own apt uses
    apt-get indextargets --format '$(REPO_URI) $(RELEASE)' 'Created-By: Packages' |
        awk '$2 !~ /-/ { print $1; exit }'
}

inside() {
    env -i HOME=/root LC_ALL=C DEBIAN_FRONTEND=noninteractive \
        ${http_proxy:+http_proxy="$http_proxy"} ${https_proxy:+https_proxy="$https_proxy"} \
        PATH=/usr/sbin:/usr/bin:/sbin:/bin chroot "$target" /bin/sh -ec "$1"
}

cleanup() { umount -q "$target/proc" || true; }
trap cleanup EXIT

rm -rf --one-file-system "$target"
debootstrap --variant=minbase --include="$packages" "$suite" "$target" "$(mirror)"
mountpoint -q "$target/proc" || mount -t proc proc "$target/proc"

version=$(ls "$target/lib/modules")
source=linux-source-$(echo "$version" | cut -d. -f1-2)
# The security suite may have a newer kernel than the one just installed: headers of that very one.
inside "apt-get update -q && apt-get install -y -q --no-install-recommends make xz-utils linux-headers-$version"
inside "mkdir -p /tmp/module && cd /tmp && apt-get download -q $source &&
    dpkg-deb --fsys-tarfile ${source}_*.deb | tar xO ./usr/src/$source.tar.xz |
    tar xJ --strip-components=1 -C /tmp/module --wildcards '*/drivers/gpio/gpio-sim.c' \
        '*/drivers/gpio/gpiolib*.h' '*/kernel/irq/irq_sim.c'
    cd module && find . -mindepth 2 -name '*.[ch]' -exec mv {} . \;
    sed -i 's/irq_to_desc(\([a-z]*\))/irq_data_to_desc(irq_get_irq_data(\1))/' irq_sim.c
    grep -q MODULE_LICENSE irq_sim.c ||
        printf '#include <linux/module.h>\nMODULE_LICENSE(\"GPL\");\n' >>irq_sim.c
    sed -i '/^static void gpio_sim_free/,/^}/ {
        /__assign_bit(.*value_map/ { :more; /;/! { N; b more }; s/.*/\t(void)chip;/ }
    }' gpio-sim.c
    sed -n '/^static void gpio_sim_free/,/^}/p' gpio-sim.c | tee /dev/stderr | grep -q '(void)chip'
    printf 'obj-m := irq_sim.o gpio-sim.o\n' >Makefile
    make -s -C /lib/modules/$version/build M=/tmp/module modules && strip -d ./*.ko
    mkdir -p /lib/modules/$version/extra && cp ./*.ko /lib/modules/$version/extra/
    depmod $version"
[ "$suite" = bookworm ] || inside 'apt-get install -y -q --no-install-recommends overlayroot'
inside "apt-get purge -y -q linux-headers-$version make >/dev/null && apt-get autoremove -y -q >/dev/null
    apt-get clean && rm -rf /tmp/module /tmp/*.deb /var/lib/apt/lists/*"
# Drivers of hardware that this machine doesn't have: the image is made anew in every run.
(cd "$target/lib/modules/$version/kernel" &&
    rm -rf sound drivers/{gpu,media,net,infiniband,staging,iio,usb,target,mtd,md})
rm -rf "$target"/usr/share/{doc,locale,man}/*
inside "depmod $version"
# What autoremove may have taken with it is asked for again by nobody, so look.
inside 'dpkg-query -W '"${packages//,/ }"' >/dev/null'

echo chilli-pi >"$target/etc/hostname"
echo '127.0.0.1 localhost chilli-pi' >"$target/etc/hosts"
# As Raspberry Pi OS mounts its card.
echo '/dev/vda / ext4 defaults,noatime 0 1' >"$target/etc/fstab"
: >"$target/etc/machine-id"
mkdir -p "$target/var/log/journal"

# A small initramfs boots faster than Debian's default one.
mkdir -p "$target/etc/initramfs-tools/conf.d"
echo MODULES=list >"$target/etc/initramfs-tools/conf.d/bench"
printf '%s\n' virtio_pci virtio_blk ext4 crc32c_generic >>"$target/etc/initramfs-tools/modules"
inside 'update-initramfs -u' >/dev/null

# The board (GPIO and sensor) and the bench's hands and ears in the guest.
install -m755 -D -t "$target/usr/local/sbin" "$here"/guest/bench-*.sh
install -m644 -D -t "$target/etc/systemd/system" "$here"/guest/bench-*.service
mkdir -p "$target/etc/systemd/system/lungwort@.service.d"
printf '[Service]\nBindReadOnlyPaths=/run/cpuinfo:/proc/cpuinfo\n' \
    >"$target/etc/systemd/system/lungwort@.service.d/is-a-pi.conf"
inside 'systemctl enable -q bench-board.service bench-hands.service bench-ears.service
    systemctl mask -q apt-daily.timer apt-daily-upgrade.timer e2scrub_all.timer fstrim.timer \
        dpkg-db-backup.timer getty@tty1.service serial-getty@ttyS0.service e2scrub_reap.service \
        systemd-binfmt.service systemd-logind.service modprobe@drm.service modprobe@efi_pstore.service'
umount "$target/proc"
