"""The guest's disk image: Debian, and lungwort put there as systemd/INSTALL.md says.

Debian is built once and kept; lungwort goes into a copy of it, so that every run tries the tree as
it is. `install_by_hand` takes the commands out of INSTALL.md, so that the bench fails when they no
longer work: those up to the package's installation run in a chroot here, with its locked
dependencies at hand and no network; the others run in the guest at its first boot.
"""

from __future__ import annotations

import hashlib
import os
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

HERE = Path(__file__).parent
ROOT = HERE.parents[2]
SUITE = "bookworm"
SIZE = "2600M"
_CUT_BEFORE = "# user, directories, permissions"
_SOURCE = "usr/src/lungwort"


class BuildError(Exception):
    """The guest could not be built."""


class Image(NamedTuple):
    """What a machine boots."""

    disk: Path
    kernel: Path
    initrd: Path


def install_commands() -> tuple[str, str]:
    """Read INSTALL.md: what installs the package, and what sets the service up."""
    text = (ROOT / "systemd" / "INSTALL.md").read_text("utf-8")
    block = text.partition("## By hand\n")[2].partition("```sh\n")[2].partition("```")[0]
    package, mark, service = block.partition(_CUT_BEFORE)
    if "pip install" not in package or "systemctl enable --now lungwort@chillies" not in service:
        raise BuildError(f"systemd/INSTALL.md has no longer the parts around {_CUT_BEFORE!r}")
    return package, mark + service


def install_by_hand(root: Path, work: Path) -> None:
    """Put lungwort into a root by the commands of INSTALL.md, "By hand"."""
    package, service = install_commands()
    copy_source(root / _SOURCE)
    shutil.copytree(wheels(work), root / "wheels")
    _install_package(root, package)
    shutil.rmtree(root / "wheels")
    (root / "root" / "set-up-service.sh").write_text(_shims() + service, "utf-8")


def build(
    cache: Path,
    work: Path,
    say: Callable[[str], None],
    suite: str = SUITE,
    install: Callable[[Path, Path], None] = install_by_hand,
) -> Image:
    """Build the guest.

    Parameters
    ----------
    cache : Path
        Where Debian is kept from run to run.
    work : Path
        Where this run's image is made.
    say : callable
        Told of each step.
    suite : str
        Debian's release.
    install : callable
        Puts lungwort, or what it is installed from, into a root; may write into `work`.
    """
    base = debian(cache, say, suite)
    root = work / "root"
    _run(["cp", "-a", "--reflink=auto", str(base), str(root)])
    try:
        install(root, work)
        say("lungwort is put there")
        for tent in (HERE / "tents").glob("*.yaml"):
            shutil.copy(tent, root / "root" / tent.name)
        shutil.copy(HERE / "guest" / "bench_nag.py", root / "usr/local/sbin/bench_nag.py")
        shutil.copy(HERE / "guest" / "bench_record.py", root / "usr/local/sbin/bench_record.py")
        image = Image(work / "disk.img", work / "vmlinuz", work / "initrd.img")
        shutil.copy(next((root / "boot").glob("vmlinuz-*")), image.kernel)
        shutil.copy(next((root / "boot").glob("initrd.img-*")), image.initrd)
        _run(["truncate", "-s", SIZE, str(image.disk)])
        _run(["mkfs.ext4", "-q", "-F", "-L", "root", "-d", str(root), str(image.disk)])
    finally:
        shutil.rmtree(root, ignore_errors=True)
    say(f"the guest's disk is made: {image.disk.stat().st_blocks * 512 / 2**20:.0f} MiB")
    return image


def debian(cache: Path, say: Callable[[str], None], suite: str) -> Path:
    """Debian's root, made by build_base.sh unless it is there."""
    digest = hashlib.sha256()
    for file in sorted([HERE / "build_base.sh", *(HERE / "guest").glob("bench-*")]):
        digest.update(file.read_bytes())
    base = cache / f"{suite}-{digest.hexdigest()[:12]}"
    if base.is_dir():
        say(f"{suite} is there: {base}")
        return base
    cache.mkdir(parents=True, exist_ok=True)
    # Made by an earlier state of the bench.
    for old in cache.glob(f"{suite}-{'[0-9a-f]' * 12}"):
        shutil.rmtree(old, ignore_errors=True)
    say(f"building {suite}; this takes minutes")
    with tempfile.TemporaryDirectory(prefix=f"{suite}-", dir=cache) as part:
        log = cache / "build.log"
        with log.open("w", encoding="utf-8") as out:
            done = subprocess.run(
                ["bash", str(HERE / "build_base.sh"), suite, f"{part}/root"],
                stdout=out,
                stderr=out,
                check=False,
            )
        if done.returncode:
            tail = "\n".join(log.read_text("utf-8", "replace").splitlines()[-20:])
            raise BuildError(f"building {suite} failed, see {log}:\n{tail}")
        Path(part, "root").rename(base)
    return base


def wheels(work: Path) -> Path:
    """The locked dependencies as wheels, and what builds the package."""
    made = work / "wheels"
    pip = [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(made)]
    _run([*pip, "--require-hashes", "-r", str(ROOT / ".lock" / "pi.txt")])
    _run([*pip, "-r", str(ROOT / ".lock" / "build.in")])
    return made


def copy_source(target: Path) -> None:
    """What a person unpacks: the files that git knows, as they are now."""
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True
    ).stdout
    for name in listed.decode().split("\0"):
        if name and not name.startswith("tests/") and (ROOT / name).is_file():
            (target / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, target / name)


def _shims() -> str:
    """What stands in for a person at the keyboard, who is root here."""
    return (
        "set -euo pipefail\n"
        'sudo() { "$@"; }\n'
        # The person edits the example until it describes the tent: here, the bench's own.
        'sudoedit() { cp "/root/$(basename "$1")" "$1"; }\n'
        f"cd /{_SOURCE}\n"
    )


def _install_package(root: Path, commands: str) -> None:
    script = root / "root" / "install-package.sh"
    script.write_text(_shims() + commands, "utf-8")
    environment = {
        "HOME": "/root",
        "LC_ALL": "C",
        "DEBIAN_FRONTEND": "noninteractive",
        "PATH": "/usr/sbin:/usr/bin:/sbin:/bin",
        "PIP_NO_INDEX": "1",
        "PIP_FIND_LINKS": "/wheels",
        "PIP_DISABLE_PIP_VERSION_CHECK": "1",
    }
    _run(["mount", "-t", "proc", "proc", str(root / "proc")])
    try:
        _run(["chroot", str(root), "/bin/bash", "/root/install-package.sh"], environment)
    finally:
        _run(["umount", str(root / "proc")])


def _run(command: list[str], environment: dict[str, str] | None = None) -> None:
    done = subprocess.run(
        command, env=environment or dict(os.environ), capture_output=True, text=True, check=False
    )
    if done.returncode:
        tail = "\n".join((done.stdout + done.stderr).splitlines()[-20:])
        raise BuildError(f"{shlex.join(command)} failed ({done.returncode}):\n{tail}")
