"""Roots of Debian: fetched once and kept, copied for each use, and programs run in them."""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

from debian_host import mirror, run

ROOT = Path(__file__).parents[3]
SUITE = "trixie"
_ENVIRONMENT = {
    "HOME": "/root",
    "LC_ALL": "C.UTF-8",
    "DEBIAN_FRONTEND": "noninteractive",
    "PATH": "/usr/sbin:/usr/bin:/sbin:/bin",
}
# What a person's system has and the smallest Debian lacks.
_SYSTEM = "systemd,systemd-sysv,dbus,udev,ca-certificates"


@contextlib.contextmanager
def kernel_files(root: Path) -> Iterator[None]:
    """Have /proc in a root, which many installations read."""
    run(["mount", "-t", "proc", "proc", str(root / "proc")])
    try:
        yield
    finally:
        run(["umount", str(root / "proc")])


def inside(root: Path, script: str) -> str:
    """Run a shell script in a root; its output."""
    return run(["chroot", str(root), "/bin/bash", "-ec", script], env=_ENVIRONMENT)


def copy(source: Path, target: Path) -> Path:
    """Copy a root."""
    shutil.rmtree(target, ignore_errors=True)
    run(["cp", "-a", "--reflink=auto", str(source), str(target)])
    return target


def _kept(target: Path, make_part: object) -> Path:
    """A root under its final name only once it is whole."""
    if not target.is_dir():
        part = target.with_name(target.name + ".part")
        shutil.rmtree(part, ignore_errors=True)
        part.parent.mkdir(parents=True, exist_ok=True)
        make_part(part)  # type: ignore[operator]
        part.rename(target)
    return target


def system(cache: Path) -> Path:
    """The smallest Debian that boots."""

    def make(part: Path) -> None:
        uri = mirror()
        run(["debootstrap", "--variant=minbase", f"--include={_SYSTEM}", SUITE, str(part), uri])
        sources = f"deb {uri} {SUITE} main\ndeb {uri} {SUITE}-updates main\n"
        (part / "etc/apt/sources.list").write_text(sources, "utf-8")
        # These roots are copies: nothing is lost by a power cut.
        (part / "etc/dpkg/dpkg.cfg.d/bench").write_text("force-unsafe-io\n", "utf-8")
        with kernel_files(part):
            inside(part, "apt-get update -q")

    return _kept(cache / f"{SUITE}-system", make)


def builder(cache: Path) -> Path:
    """That, with what the package's build asks for and lintian; anew when it asks for more."""
    control = (ROOT / "systemd/debian/control").read_bytes()

    def make(part: Path) -> None:
        copy(system(cache), part)
        # An empty source with our control file: apt reads it as it would the real one.
        put = part / "tmp/source/debian"
        put.mkdir(parents=True)
        (put / "control").write_bytes(control)
        with kernel_files(part):
            inside(
                part,
                "apt-get install -y -q --no-install-recommends dpkg-dev lintian; "
                "apt-get build-dep -y -q --no-install-recommends /tmp/source",
            )
        shutil.rmtree(part / "tmp/source")

    return _kept(cache / f"{SUITE}-builder-{hashlib.sha256(control).hexdigest()[:12]}", make)


def put_source(root: Path, where: str) -> None:
    """What a person unpacks: the files that git knows, as they are now."""
    listed = run(["git", "ls-files", "-z"], cwd=ROOT)
    for name in listed.split("\0"):
        if name and (ROOT / name).is_file():
            target = root / where / name
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, target)


def cache_directory() -> Path:
    """Where roots are kept from run to run."""
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "lungwort-bench"
