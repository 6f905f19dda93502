"""The Debian package's files agree with the project; tests/benches/fresh_install.sh installs it."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SYSTEMD = ROOT / "systemd"
DEBIAN = SYSTEMD / "debian"
# Names of one thing on the public index and in Debian.
IN_DEBIAN = {
    "APScheduler": "python3-apscheduler",
    "PyYAML": "python3-yaml",
    "gpiozero": "python3-gpiozero",
    "shtab": "python3-shtab",
    "structlog": "python3-structlog",
    "tzdata": "tzdata",
}
# Not in Debian: the kernel reads such a sensor, which `lungwort check` says.
LEFT_OUT = {"adafruit-circuitpython-dht"}
# Debian numbers it by the zones' own releases.
OTHER_NUMBERS = {"tzdata"}


def field(name: str) -> dict[str, str]:
    """A list of packages in control, with the least version of each."""
    text = (DEBIAN / "control").read_text("utf-8")
    block = re.search(rf"^{name}:((?:.*\n)(?: .*\n)*)", text, re.MULTILINE)
    assert block is not None
    words = [word for item in block[1].split(",") for word in item.split("|")]
    found = (re.fullmatch(r"\s*(\S+)(?:\s+\(>= (\S+)\))?\s*", word) for word in words)
    return {match[1]: match[2] or "" for match in found if match and "$" not in match[1]}


def required() -> dict[str, str]:
    """What pyproject.toml asks for, with the least version of each."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    rows = [re.fullmatch(r"([\w-]+)>=([\w.]+)(?:,.*)?", row) for row in project["dependencies"]]
    assert all(rows)
    return {row[1]: row[2] for row in rows if row}


def test_the_package_depends_on_what_the_project_needs_in_the_same_versions() -> None:
    depends = field("Depends")
    for name, version in required().items():
        if name in LEFT_OUT:
            continue
        assert name in IN_DEBIAN, f"{name}: what is its package in Debian called?"
        assert IN_DEBIAN[name] in depends
        if name not in OTHER_NUMBERS:
            assert depends[IN_DEBIAN[name]] == version
    assert set(required()) - set(IN_DEBIAN) == LEFT_OUT


def test_the_build_needs_no_later_versions_than_the_package() -> None:
    depends, build = field("Depends"), field("Build-Depends")
    shared = {name for name in build if name in depends}
    assert "python3-structlog" in shared
    assert {name: build[name] for name in shared} == {name: depends[name] for name in shared}


def test_the_unit_of_the_package_runs_the_program_of_the_package() -> None:
    line = next(
        line
        for line in (SYSTEMD / "build-deb.sh").read_text("utf-8").splitlines()
        if line.startswith("sed ") and "/opt/" in line
    )
    old, new = line.split("#")[1:3]
    unit = (SYSTEMD / "lungwort@.service").read_text("utf-8").replace(old, new)
    assert "/opt/" not in unit
    assert unit.count(new) == 2
    # The upgrade keeps the version before under that very name.
    assert f"s#{new}#" in (DEBIAN / "lungwort.preinst").read_text("utf-8")


def test_the_program_finds_its_modules_beside_itself_through_a_link(tmp_path: Path) -> None:
    private, programs = tmp_path / "share" / "lungwort", tmp_path / "bin"
    private.mkdir(parents=True)
    programs.mkdir()
    shutil.copy(DEBIAN / "lungwort.script", private / "lungwort")
    for package in ("controller", "simulators"):
        (private / package).symlink_to(ROOT / package)
    (programs / "lungwort").symlink_to("../share/lungwort/lungwort")
    done = subprocess.run(
        [sys.executable, programs / "lungwort", "--version"],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
        env={name: value for name, value in os.environ.items() if name != "PYTHONPATH"},
    )
    assert done.stdout.startswith("lungwort "), done.stderr


@pytest.mark.skipif(shutil.which("dash") is None, reason="Debian's sh is not on this machine")
@pytest.mark.parametrize("name", ["preinst", "postinst", "prerm", "postrm"])
def test_maintainer_scripts_can_be_read_by_debians_shell(name: str) -> None:
    script = DEBIAN / f"lungwort.{name}"
    done = subprocess.run(["dash", "-n", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    text = script.read_text("utf-8")
    assert "\nset -e\n" in text
    assert "\n#DEBHELPER#\n" in text


def test_no_maintainer_script_starts_or_enables_a_tent_that_did_not_run() -> None:
    scripts = "".join(path.read_text("utf-8") for path in DEBIAN.glob("lungwort.p*"))
    assert not re.search(r"systemctl (start|enable)|deb-systemd-invoke start", scripts)
    started = re.findall(r"deb-systemd-invoke restart [^\s;]+", scripts)
    assert set(started) == {'deb-systemd-invoke restart "$tent"'}, started


def test_records_and_configs_are_removed_by_a_purge_alone() -> None:
    removing = re.compile(r"rm -rf?\b.*(/var/lib/lungwort|/etc/lungwort)(?![-@\w])")
    removers = set()
    for path in DEBIAN.glob("lungwort.p*"):
        before, _, purge = path.read_text("utf-8").partition('if [ "$1" = purge ]; then')
        assert not removing.search(before), path.name
        if removing.search(purge):
            removers.add(path.name)
    assert removers == {"lungwort.postrm"}


@pytest.mark.skipif(shutil.which("bash") is None, reason="needs bash")
def test_the_build_says_what_it_does_not_know() -> None:
    script = SYSTEMD / "build-deb.sh"
    for words, status in ((["--help"], 0), (["--versoin"], 2), (["/no/such/directory"], 2)):
        done = subprocess.run(
            ["bash", script, *words], capture_output=True, text=True, check=False, timeout=60
        )
        assert done.returncode == status
        assert (words[-1] in done.stderr) == (status == 2)
