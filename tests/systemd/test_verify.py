"""The check of the unit passes the unit that is shipped, and would not pass a worse one."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "systemd"

pytestmark = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd-analyze is not on this machine"
)


def verify(directory: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [directory / "verify.sh"], capture_output=True, text=True, check=False, timeout=60
    )


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    return Path(shutil.copytree(SOURCE, tmp_path / "systemd"))


def test_shipped_unit_is_clean_and_hardened() -> None:
    result = verify(SOURCE)
    assert result.returncode == 0, result.stderr
    assert result.stderr == ""


def test_the_unit_restarts_whatever_happens() -> None:
    """What systemd does for a daemon that was killed, hangs, grows or can't have its pins."""
    lines = (SOURCE / "lungwort@.service").read_text(encoding="utf-8").splitlines()
    for wanted in (
        "Restart=always",
        "RestartSec=10",
        "StartLimitIntervalSec=0",
        "Type=notify",
        "WatchdogSec=30",
        "MemoryMax=256M",
        "ExecStopPost=-/opt/lungwort/bin/lungwort park /etc/lungwort/%i.yaml",
        "ExecStart=/opt/lungwort/bin/lungwort run --or-last-good /etc/lungwort/%i.yaml",
    ):
        assert wanted in lines


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ("ProtectHome=yes", "ProtectHoem=yes", "Unknown key"),
        ("SystemCallFilter=@system-service\n", "", "is above 1.5"),
        ("CapabilityBoundingSet=\n", "", "is above 1.5"),
    ],
)
def test_worse_unit_is_refused(copy: Path, old: str, new: str, complaint: str) -> None:
    unit = copy / "lungwort@.service"
    text = unit.read_text()
    assert old in text
    if "above" in complaint:
        # One hole alone is within the limit: open a few more.
        for line in ("PrivateNetwork=yes\n", "RestrictNamespaces=yes\n", "NoNewPrivileges=yes\n"):
            text = text.replace(line, "")
    unit.write_text(text.replace(old, new))
    result = verify(copy)
    assert result.returncode == 1
    assert complaint in result.stderr
