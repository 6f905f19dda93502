"""The package under test, the one that Debian lacks, and later versions that work or don't."""

from __future__ import annotations

import os
import shutil
import sys
import zipfile
from pathlib import Path

from debian_host import StepError, run
from roots import ROOT, inside, kernel_files, put_source

# Inside a root.
OUT = "srv/packages"


def build(root: Path, version: str, where: str, umask: str, zone: str) -> Path:
    """Build the package by the project's own command, from a directory and under a user's habits.

    Parameters
    ----------
    root : Path
        With everything that the build needs.
    version : str
        The package's.
    where : str
        The source's directory in the root.
    umask, zone : str
        What must not be seen in the package.
    """
    put_source(root, where)
    out = f"{where}-out"
    (root / out).mkdir(parents=True)
    epoch = run(["git", "log", "-1", "--format=%ct"], cwd=ROOT).strip()
    with kernel_files(root):
        inside(
            root,
            f"umask {umask}; export TZ={zone} SOURCE_DATE_EPOCH={epoch}; cd /{where}; "
            f"./systemd/build-deb.sh --version {version} /{out}",
        )
    return next((root / out).glob("*.deb"))


def lint(root: Path, deb: Path) -> tuple[list[str], list[str]]:
    """What lintian calls errors, and warnings."""
    with kernel_files(root):
        said = inside(root, f"lintian --allow-root --fail-on none /{deb.relative_to(root)}")
    lines = said.splitlines()
    return [x for x in lines if x.startswith("E:")], [x for x in lines if x.startswith("W:")]


def gpiozero(root: Path, work: Path) -> Path:
    """Pack gpiozero 2 from the project's lock, as Raspberry Pi OS carries it and Debian doesn't."""
    version = _download("gpiozero", work, "--only-binary=:all:")
    tree = root / "tmp/gpiozero"
    with zipfile.ZipFile(next(work.glob("gpiozero-*.whl"))) as wheel:
        wheel.extractall(tree / "usr/lib/python3/dist-packages")
    return _stand_in(root, "gpiozero", version, "all", "python3, python3-colorzero")


def lgpio(root: Path, work: Path) -> Path:
    """Pack lgpio, likewise: compiled in the root, with the library that it wraps."""
    version = _download("lgpio", work, "--no-binary=:all:")
    shutil.unpack_archive(next(work.glob("lgpio-*.tar.gz")), root / "tmp")
    with kernel_files(root):
        inside(
            root,
            "apt-get install -y -q --no-install-recommends python3-dev swig; "
            f"cd /tmp/lgpio-{version}; PYPI=1 python3 setup.py -q install --root=/tmp/lgpio "
            "--prefix=/usr --install-layout=deb",
        )
    return _stand_in(root, "lgpio", version, "amd64", "python3, libc6")


def _download(name: str, work: Path, kind: str) -> str:
    """Fetch a library as the lock has it; its version."""
    lock = (ROOT / ".lock/pi.txt").read_text("utf-8")
    entry = next(x for x in lock.split("\n") if x.startswith(f"{name}=="))
    block = lock[lock.index(entry) :].replace("\\\n", " ").splitlines()[0]
    (work / f"{name}.txt").write_text(block + "\n", "utf-8")
    pip = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--require-hashes", kind]
    run([*pip, "-d", str(work), "-r", str(work / f"{name}.txt")], env={**os.environ, "PYPI": "1"})
    return entry.split("==")[1].split()[0]


def _stand_in(root: Path, name: str, version: str, machine: str, depends: str) -> Path:
    """Make a Debian package of the tree in /tmp/NAME."""
    control = root / "tmp" / name / "DEBIAN/control"
    control.parent.mkdir()
    control.write_text(
        f"Package: python3-{name}\nVersion: {version}\nArchitecture: {machine}\n"
        f"Maintainer: bench <bench@lungwort.invalid>\nDepends: {depends}\n"
        "Description: stands in for the package of Raspberry Pi OS\n",
        "utf-8",
    )
    deb = f"/tmp/python3-{name}.deb"
    inside(root, f"dpkg-deb --root-owner-group -b /tmp/{name} {deb}")
    return root / deb[1:]


def changed(root: Path, deb: Path, version: str, edits: dict[str, tuple[str, str]]) -> Path:
    """Make another version of a package by changing texts in its files.

    Parameters
    ----------
    root : Path
        Where dpkg-deb runs.
    deb : Path
        In that root.
    version : str
        The new one.
    edits : dict
        By the file's path in the package: what is replaced, by what.
    """
    tree = root / "tmp" / version
    name = f"/{deb.relative_to(root)}"
    inside(root, f"dpkg-deb -R {name} /tmp/{version}")
    control = tree / "DEBIAN/control"
    lines = control.read_text("utf-8").splitlines()
    lines = [f"Version: {version}" if x.startswith("Version: ") else x for x in lines]
    control.write_text("\n".join(lines) + "\n", "utf-8")
    for path, (old, new) in edits.items():
        text = (tree / path).read_text("utf-8")
        if old not in text:
            raise StepError(f"{path} has no {old!r} to change")
        (tree / path).write_text(text.replace(old, new, 1), "utf-8")
    inside(root, f"dpkg-deb --root-owner-group -b /tmp/{version} /tmp/lungwort_{version}_all.deb")
    shutil.rmtree(tree)
    return root / f"tmp/lungwort_{version}_all.deb"
