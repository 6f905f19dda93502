"""systemd/install.sh says what it would do, and does nothing of it, without root."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
SCRIPT = ROOT / "systemd" / "install.sh"

pytestmark = pytest.mark.skipif(
    not (shutil.which("bash") and shutil.which("dpkg-query")), reason="for Debian"
)


def script(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["bash", SCRIPT, *words], capture_output=True, text=True, check=False, timeout=60
    )


def steps(*words: str) -> list[str]:
    done = script(*words)
    assert done.returncode == 0, done.stderr
    return [line.strip() for line in done.stdout.splitlines() if line.startswith("  ")]


def test_an_installation_is_tried_before_the_link_to_it_changes() -> None:
    lines = steps("--dry-run")
    tried = next(n for n, line in enumerate(lines) if line.endswith("/bin/lungwort --version"))
    linked = next(n for n, line in enumerate(lines) if line.startswith("mv -fT"))
    assert tried < linked
    assert any("--require-hashes" in line for line in lines)


def test_no_config_is_written_and_no_tent_is_started() -> None:
    lines = steps("--dry-run")
    assert not [line for line in lines if line.endswith(".yaml")]
    assert not [line for line in lines if "enable" in line]


def test_what_is_installed_is_what_uninstalling_removes_but_records_and_configs() -> None:
    removed = " ".join(steps("--dry-run", "--uninstall")).split()
    for line in steps("--dry-run"):
        words = line.split()
        if words[0] == "install" and not words[-1].startswith("/etc/lungwort/"):
            assert words[-1] in removed
    assert "/opt/lungwort" in removed
    assert "/opt/lungwort-versions" in removed
    assert not {"/var/lib/lungwort", "/etc/lungwort"} & set(removed)
    purged = " ".join(steps("--dry-run", "--uninstall", "--purge")).split()
    assert {"/var/lib/lungwort", "/etc/lungwort"} <= set(purged)


def test_a_word_it_does_not_know_is_refused() -> None:
    done = script("--dry-rum")
    assert done.returncode == 2
    assert "unknown option --dry-rum" in done.stderr
    assert script("--purge").returncode == 2
