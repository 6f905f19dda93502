"""The daemon as a process on a broken machine: disk, config, zone files."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from small_disk import small_disk
from test_service_process import CONFIG, Daemon

from controller.config import load_settings
from controller.config.store import LastGood


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of its own, with room for nothing but a few small files."""
    at = tmp_path / "disk"
    with small_disk(at, "16k"):
        yield at


@pytest.mark.parametrize("how", ["full", "read-only"])
def test_a_daemon_starts_and_runs_on_a_full_or_read_only_disk(
    tmp_path: Path, disk: Path, how: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Record, lock, copy of the config and runtime directory are all on it."""
    monkeypatch.setenv("STATE_DIRECTORY", str(disk))
    record = disk / "tent.sqlite3"
    (tmp_path / "tent.yaml").write_text(CONFIG.format(record=record), encoding="utf-8")
    if how == "full":
        with pytest.raises(OSError, match="No space"):
            (disk / "filler").write_bytes(b"x" * 100_000)
    else:
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
    daemon = Daemon(tmp_path, "--or-last-good")
    try:
        assert daemon.heard() == "READY=1"
        failed = daemon.wait_for("record.failed")
        assert failed["path"] == str(record)
        assert daemon.heard().startswith("WATCHDOG=1\nSTATUS=fan at 100 %")
        if how == "full":
            (disk / "filler").unlink()
        subprocess.run(["mount", "-o", "remount,rw,size=8m", str(disk)], check=True)
        assert daemon.wait_for("record.recovered")["lost"] == 0
        status = daemon.stop()
        assert status == 0
    finally:
        daemon.close()
    assert record.stat().st_size > 0


def test_a_half_written_config_at_a_start_gives_way_to_the_last_good_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path / "state"))
    config = tmp_path / "tent.yaml"
    good = CONFIG.format(record=tmp_path / "tent.sqlite3")
    LastGood(config).keep(good)
    config.write_text(good[: len(good) // 2], encoding="utf-8")
    daemon = Daemon(tmp_path, "--or-last-good")
    try:
        assert daemon.heard() == "READY=1"
        rejected = daemon.wait_for("config.rejected")
        assert rejected["file"] == str(config)
        assert daemon.wait_for("alarm.raised")["alarm"] == "config"
        # Put right, it is in force by itself, and the alarm is over.
        new = tmp_path / "new"
        new.write_text(good, encoding="utf-8")
        new.replace(config)
        assert daemon.wait_for("config.reloaded")
        assert daemon.wait_for("alarm.cleared")["alarm"] == "config"
    finally:
        daemon.close()
    assert load_settings(LastGood(config).path).text == good


def test_a_machine_without_zone_files_still_knows_its_zone() -> None:
    """Python then takes those installed beside lungwort; Debian has them in its tzdata alone."""
    pytest.importorskip("tzdata")
    script = (
        "import zoneinfo\n"
        "assert zoneinfo.TZPATH == (), zoneinfo.TZPATH\n"
        "import datetime as dt\n"
        "noon = dt.datetime(2025, 7, 1, 12, tzinfo=zoneinfo.ZoneInfo('Europe/Rome'))\n"
        "assert noon.utcoffset() == dt.timedelta(hours=2)\n"
    )
    subprocess.run(
        [sys.executable, "-c", script], check=True, env=os.environ | {"PYTHONTZPATH": ""}
    )
