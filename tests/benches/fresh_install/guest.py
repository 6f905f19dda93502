"""A whole machine for the life: Debian in QEMU, with lines of the kernel's GPIO simulator."""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable
from pathlib import Path

import image
import packages
import roots
from debian_host import run
from disk import Disk, Fate
from machine import Machine

# One command under plain emulation, on a busy machine.
PATIENCE_S = 1500.0
# As a person's shell has it: nothing of the bench's own.
_SHELL = (
    "export PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin "
    "DEBIAN_FRONTEND=noninteractive LC_ALL=C.UTF-8; set -e\n"
)


class Guest:
    """A machine that can be asked, switched off and on again.

    It is off at first.

    Parameters
    ----------
    built : image.Image
        Kernel, initramfs and disk.
    work : Path
        For its sockets, its console and its second disk, /dev/vdb, which is empty.
    """

    def __init__(self, built: image.Image, work: Path) -> None:
        self._image, self._work = built, work
        self._disk = Disk(built.disk)
        self._data = work / "data.img"
        run(["truncate", "-s", "256M", str(self._data)])
        self._machine: Machine | None = None

    @property
    def machine(self) -> Machine:
        """The machine of this boot."""
        assert self._machine is not None
        return self._machine

    def boot(self, options: str = "") -> None:
        """Switch it on."""
        self._machine = Machine(
            self._image, self._disk, self._work, data=self._data, options=options
        )
        self.machine.wait_awake()

    def reboot(self, options: str = "") -> None:
        """Shut down in order and switch on again."""
        self.machine.power_off()
        self.boot(options)

    def ask(self, script: str) -> tuple[int, str]:
        """Run a shell script in it as root; its status and output."""
        return self.machine.ask(_SHELL + script, PATIENCE_S)

    def tell(self, script: str) -> str:
        """Run one that must succeed; its output."""
        return self.machine.tell(_SHELL + script, PATIENCE_S)

    def power_off(self) -> None:
        """Cut its power."""
        if self._machine is not None and self._machine.is_on():
            self.machine.cut(Fate.KEPT, random.Random(0))


def build(suite: str, cache: Path, work: Path, say: Callable[[str], None]) -> image.Image:
    """Build the guest: nothing installed, and all at hand that apt or pip would fetch."""
    put = with_packages if suite == roots.SUITE else with_source
    return image.build(cache, work, say, suite, put)


def with_packages(root: Path, work: Path) -> None:
    """Ours, those of Raspberry Pi OS, and what apt will want, in its cache."""
    builder = roots.copy(roots.builder(roots.cache_directory()), work / "builder")
    debs = {
        "good": packages.build(builder, "0.1.0", "tmp/a", "022", "UTC"),
        "gpiozero": packages.gpiozero(builder, work),
        "lgpio": packages.lgpio(builder, work),
    }
    for name, deb in debs.items():
        shutil.copy(deb, root / "root" / f"{name}.deb")
    shutil.rmtree(builder)
    with roots.kernel_files(root):
        roots.inside(
            root,
            "apt-get update -q; "
            "apt-get install -y -q --no-install-recommends --download-only "
            "/root/*.deb python3-libgpiod",
        )


def installed_packages(root: Path, work: Path) -> None:
    """Those installed, as the bench of power cuts wants it: with a script that starts the tent.

    The bench's own helpers in the guest run lungwort's Python by the path that "By hand" gives it.
    """
    with_packages(root, work)
    with roots.kernel_files(root):
        roots.inside(root, "apt-get install -y -q --no-install-recommends /root/*.deb")
    (root / "root/set-up-service.sh").write_text(
        "set -e\ncp /root/chillies.yaml /etc/lungwort/chillies.yaml\n"
        "lungwort check /etc/lungwort/chillies.yaml\n"
        "systemctl enable --now lungwort@chillies\n",
        "utf-8",
    )
    python = root / "opt/lungwort/bin/python"
    python.parent.mkdir(parents=True)
    python.write_text('#!/bin/sh\nPYTHONPATH=/usr/share/lungwort exec python3 "$@"\n', "utf-8")
    python.chmod(0o755)


def with_source(root: Path, work: Path) -> None:
    """The unpacked source, and the wheels of its lock in place of the index."""
    image.copy_source(root / "usr/src/lungwort")
    shutil.copytree(image.wheels(work), root / "srv/wheels")
    (root / "etc/pip.conf").write_text(
        "[global]\nno-index = true\nfind-links = /srv/wheels\n", "utf-8"
    )
