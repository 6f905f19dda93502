"""A root of another processor: Debian's packages unpacked, none of their scripts run."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

from debian_host import StepError, mirror, run

ROOT = Path(__file__).parents[3]
SUITE = "trixie"
_PACKAGES = (
    *("bash", "coreutils", "tzdata", "python3", "python3-yaml", "python3-structlog"),
    *("python3-apscheduler", "python3-shtab", "python3-colorzero", "python3-scipy"),
    *("python3-pytest", "python3-pytest-timeout", "python3-hypothesis"),
)
# Pure Python, and not in Debian in the version that is needed.
_WHEELS = ("gpiozero", "psychrolib", "fluids")
_PROCESSORS = {"arm64": "cortex-a72", "armhf": "cortex-a7"}
KEYRING = "/usr/share/keyrings/debian-archive-keyring.gpg"


def root_of(architecture: str, cache: Path) -> Path:
    """The root of a machine, fetched unless it is there.

    Parameters
    ----------
    architecture : str
        Debian's word: amd64, arm64, armhf.
    cache : Path
        Where roots are kept from run to run.
    """
    digest = hashlib.sha256(repr((_PACKAGES, _WHEELS)).encode()).hexdigest()[:12]
    root = cache / f"{SUITE}-unpacked-{architecture}-{digest}"
    if root.is_dir():
        return root
    part = root.with_name(root.name + ".part")
    shutil.rmtree(part, ignore_errors=True)
    _unpack(architecture, part)
    _put_wheels(part / "usr/local/lib/python3.13/dist-packages", part / "tmp")
    part.rename(root)
    return root


def _unpack(architecture: str, part: Path) -> None:
    # apt itself works out what is needed, in a state of its own with nothing installed.
    state, archives = part / "apt", part / "apt/archives"
    for directory in ("lists/partial", "archives/partial", "etc", "empty"):
        (state / directory).mkdir(parents=True)
    (state / "status").touch()
    (state / "etc/sources.list").write_text(
        f"deb [signed-by={KEYRING}] {mirror()} {SUITE} main\n", "utf-8"
    )
    options = {
        "APT::Architecture": architecture,
        "APT::Architectures": architecture,
        "APT::Install-Recommends": "false",
        "Dir::State": state,
        "Dir::State::status": state / "status",
        "Dir::State::lists": state / "lists",
        "Dir::Cache": state,
        "Dir::Cache::archives": archives,
        "Dir::Etc::sourcelist": state / "etc/sources.list",
        "Dir::Etc::sourceparts": state / "empty",
        "Dir::Etc::preferencesparts": state / "empty",
        "Debug::NoLocking": "true",
        "APT::Sandbox::User": "root",
        "Binary::apt-get::APT::Keep-Downloaded-Packages": "true",
    }
    apt = ["apt-get", "-q", "-y", *(f"-o{name}={value}" for name, value in options.items())]
    run([*apt, "update"])
    # This machine's own settings may have apt delete what it fetched, so it only names it here.
    said = run([*apt, "install", "--print-uris", *_PACKAGES])
    uris = [x.split("'")[1] for x in said.splitlines() if x.startswith("'")]
    if not uris:
        raise StepError(f"apt-get names no packages:\n{said[-1000:]}")
    (archives / "uris.txt").write_text("\n".join(uris) + "\n", "utf-8")
    run([*apt, "install", "--download-only", *_PACKAGES])
    for package in sorted(archives.glob("*.deb")):
        run(["dpkg-deb", "-x", str(package), str(part)])
    for directory in ("proc", "dev", "tmp", "srv"):
        (part / directory).mkdir(exist_ok=True)
    shutil.rmtree(state)


def _put_wheels(site: Path, work: Path) -> None:
    lock = (ROOT / ".lock/dev.txt").read_text("utf-8")
    site.mkdir(parents=True, exist_ok=True)
    wanted = [
        line.split()[0]
        for line in lock.splitlines()
        if "==" in line and line.split("==")[0] in _WHEELS
    ]
    run([sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(work), *wanted])
    for wheel in work.glob("*.whl"):
        with zipfile.ZipFile(wheel) as archive:
            archive.extractall(site)
        wheel.unlink()


def inside(root: Path, architecture: str, script: str, limit_s: float) -> tuple[int, str]:
    """Run a shell script in a root; its status and output."""
    done = subprocess.run(
        ["chroot", str(root), "/bin/bash", "-c", script],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
        timeout=limit_s,
        env={
            "HOME": "/tmp",
            "PYTHONUTF8": "1",
            "PATH": "/usr/sbin:/usr/bin:/bin",
            "PYTHONPATH": "/srv/source",
            "PYTHONDONTWRITEBYTECODE": "1",
            # A Pi 3's or 4's kind of processor. The newest that QEMU knows signs every return
            # address, which takes it six times as long to emulate.
            **({"QEMU_CPU": _PROCESSORS[architecture]} if architecture in _PROCESSORS else {}),
            # Debian's alternatives, which nobody set: the reference BLAS and LAPACK.
            "LD_LIBRARY_PATH": ":".join(
                f"/usr/lib/{triplet}/{library}"
                for triplet in ("x86_64-linux-gnu", "aarch64-linux-gnu", "arm-linux-gnueabihf")
                for library in ("blas", "lapack")
            ),
        },
    )
    return done.returncode, done.stdout


def cache_directory() -> Path:
    """Where roots are kept from run to run."""
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "lungwort-bench"
